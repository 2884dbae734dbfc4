"""How many deaths a year a run implies, and which of its assumptions make most of them.

Trees with evidence count with their expected harm. The others are ranked by a prior that is low on
purpose, for it only orders inspections; here they count with the chance that the mechanics gives
their roots, butt and stem, so that the sum can be held against deaths that were counted.
"""

from dataclasses import dataclass

from pipeline.published.table import Library
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore
from pipeline.terms import FailureWord

# What occupancy rests on, as in scoring.impacts, and where that can be changed.
_BASES = {
    "count": "counts of people and traffic that the city gave",
    "word": "words of occupancy and the share of time each stands for (occupancy_limits)",
    "tag default": "default traffic of road classes and map tags (street_classes, osm_targets)",
    "always there": "things that are always there",
    "assumed": "occupancy that nobody told (rating.assumed_occupancy, assumed_targets)",
}
_UNSEEN = "trees of which nothing was seen (prior_failure, wind_load, street_classes)"
_BY_PAIR = ("scoring.part_ratings", "scoring.impacts")
_MECHANICS = "scoring.mechanics"
_ROOTS_BUTT_STEM = 3  # parts below this number are not branches
_PERCENT = 100.0


@dataclass(frozen=True, slots=True)
class Deaths:
    """Expected deaths of a run.

    Parameters
    ----------
    a_year : equivalent fatalities over all rated trees.
    trees : rated trees.
    how : from which trees they come.
    driven_by : what makes most of them, read on from 'it hangs on ...'; empty where none are.
    """

    a_year: float
    trees: int
    how: str
    driven_by: str


def expected_deaths(store: RunStore, library: Library, *, by_mechanics: bool) -> Deaths:
    """Sum of the expected harm of all rated trees, and its largest sources.

    Parameters
    ----------
    by_mechanics : the mechanics gave a yearly chance to the parts of trees.
    """
    (row,) = store.query(
        f"""
        {_with_factor(library, by_mechanics=by_mechanics)}
        select count(*) as trees, count(*) filter (where not evidence) as unseen,
            coalesce(sum(harm_per_year) filter (where evidence), 0) as seen,
            coalesce(sum(harm_per_year * coalesce(w.factor, 1)) filter (where not evidence), 0)
                as of_unseen
        from scoring.tree_ratings left join whole w using (tree_key) where rated
        """
    ).to_pylist()
    seen, unseen, trees = float(row["seen"]), float(row["of_unseen"]), int(row["trees"])
    total = seen + unseen
    how = (
        f"{total:.2g} equivalent deaths a year over {trees:,} trees, to people outdoors, in "
        f"vehicles and in buildings; {_share(unseen, total)} of it from the {row['unseen']:,} "
        "trees of which nothing was seen."
    )
    if total <= 0:
        return Deaths(total, trees, how, "")
    most = [max([(unseen, _UNSEEN), *_by_word(store)])]
    if most[0][1] != _UNSEEN:
        most.append(max(_by_basis(store)))
    said = " and ".join(f"{_share(harm, total)} of it on {text}" for harm, text in most)
    return Deaths(total, trees, how, f"; here {said}")


def _share(part: float, total: float) -> str:
    return f"{_PERCENT * part / total:.0f} %" if total > 0 else "0 %"


def _with_factor(library: Library, *, by_mechanics: bool) -> str:
    """SQL of `whole`: the chance by mechanics over the prior, of trees that mechanics speaks of."""
    if not by_mechanics:
        return "with whole as (select 0 as tree_key, 1.0 as factor where false)"
    prior = library.table("prior_failure")
    values = ", ".join(
        f"('{row['condition']}', {prior.number('per_year', condition=row['condition'])!r})"
        for row in prior.rows
    )
    return f"""
    with prior(condition, per_year) as (values {values}),
    state as (
        select tree_key, case when status = 'dead' then 'dead'
            else coalesce(condition, 'unknown') end as condition from ingest.trees),
    together as (
        select tree_key, 1 - exp(sum(ln(1 - least(p1, 1 - 1e-9)))) as p from {_MECHANICS}
        where part < {_ROOTS_BUTT_STEM} and p1 is not null group by tree_key),
    whole as (
        select tree_key, p / per_year as factor
        from together join state using (tree_key) join prior using (condition))
    """


def _by_word(store: RunStore) -> list[tuple[float, str]]:
    """Harm of the parts that each word of failure was found for, and what to call them."""
    if not all(store.has(TABLES[name]) for name in _BY_PAIR):
        return []
    rows = store.query(
        "select failure, sum(harm_per_year) as harm from scoring.part_ratings group by failure"
    ).to_pylist()
    return [
        (
            float(row["harm"]),
            f"parts found {FailureWord(row['failure']).name.lower()} to fail (failure_bands)",
        )
        for row in rows
    ]


def _by_basis(store: RunStore) -> list[tuple[float, str]]:
    """Harm over targets whose occupancy rests on the same, and what that is."""
    rows = store.query(
        """
        select i.occupancy_from as basis, sum(p.harm_per_year) as harm
        from scoring.part_ratings p join scoring.impacts i using (tree_key, part, zone_key)
        group by i.occupancy_from
        """
    ).to_pylist()
    return [(float(row["harm"]), _BASES[row["basis"]]) for row in rows]
