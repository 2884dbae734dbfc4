"""Whether a run is believable as a whole: its rates beside rates that were counted elsewhere.

Where witness B has spoken (the table `scoring.mechanics`) its yearly probabilities are summed; for
the rest each word counts with the middle of its band, and a tree of which nothing speaks as
improbable. A run whose rates lie far from all that was ever counted warns on every page that opens
it: its ratings still order trees, but the level is off.
"""

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pipeline.published.table import Library, PublishedTable
from pipeline.render.context import RenderContext
from pipeline.render.expected_deaths import expected_deaths
from pipeline.render.files import write_bytes
from pipeline.tables.catalogue import TABLES
from pipeline.tables.catalogue_scoring import FAILURE, TREE_RATINGS
from pipeline.tables.store import RunStore

NAME = "plausibility.csv"
MECHANICS = "scoring.mechanics"
_YEARLY, _BEYOND = "p1", "probability_beyond"
_ROOTS_BUTT_STEM = 3  # parts below this number are not branches
_PER = {
    "per 1000 trees a year": 1000.0, "per million people a year": 1e6, "share a year": 1.0,
    "share": 1.0,
}  # fmt: skip
_TITLES = {
    "failures": "Failures of any part",
    "tree_failures": "Failures of roots, butt or stem",
    "advanced_failures": "Failure of trees with advanced decay of butt or stem",
    "serious_decay": "Trees with serious decay",
    "signed_high": "Trees with a sign of decay found probable or worse",
    "no_sign_above": "Trees without a sign above the lowest limit",
    "expected_deaths": "Expected deaths by the trees of this list",
}
INSIDE, OUTSIDE, FAR, OPEN = "inside", "outside", "far outside", "not compared"
_PERCENT = 100.0


@dataclass(frozen=True, slots=True)
class Check:
    """One rate of the run beside the published one.

    Parameters
    ----------
    found : the run's rate in `unit`, None where the run cannot tell.
    low, high : where an ordinary city lies; `wide_low`, `wide_high`: beyond, something is wrong.
    verdict : inside, outside, far outside, or not compared.
    how : how the rate was found, or why it is not compared.
    driven_by : the assumption that moves it most.
    """

    quantity: str
    title: str
    found: float | None
    unit: str
    published: float | None
    low: float
    high: float
    wide_low: float
    wide_high: float
    verdict: str
    how: str
    driven_by: str
    source: str
    note: str

    @property
    def loud(self) -> bool:
        """Whether the run as a whole must not be taken at its word."""
        return self.verdict == FAR

    @property
    def found_words(self) -> str:
        """The run's rate as people say it."""
        return "not told" if self.found is None else in_unit(self.unit, self.found)

    @property
    def published_words(self) -> str:
        """The published rate."""
        return "not counted" if self.published is None else in_unit(self.unit, self.published)

    @property
    def band_words(self) -> str:
        """Where an ordinary city lies."""
        return in_unit(self.unit, self.low, self.high)

    @property
    def wide_words(self) -> str:
        """The wide bounds."""
        return in_unit(self.unit, self.wide_low, self.wide_high)

    @property
    def warning(self) -> str:
        """What a loud check says."""
        return (
            f"{self.title}: this run implies {self.found_words}; believable is {self.wide_words}. "
            f"It hangs on {self.driven_by}."
        )


@dataclass(frozen=True, slots=True)
class _Found:
    """A rate of the run, how many trees it rests on, and how it came about.

    `at_least` says why the true rate is higher, so that too low a rate says nothing; `driven_by`
    what this run's rate hangs on besides what every run's does.
    """

    rate: float | None
    trees: int
    how: str
    at_least: str = ""
    driven_by: str = ""


def in_unit(unit: str, *values: float) -> str:
    """One rate, or the two ends of a band, as people say them; the unit stands once."""
    factor = _PERCENT if unit.startswith("share") else 1.0
    said = " to ".join(f"{float(f'{value * factor:.2g}'):,.10g}" for value in values)
    return f"{said} {unit.replace('share', '%') if unit.startswith('share') else unit}"


def checks(store: RunStore, library: Library, population: int | None = None) -> list[Check]:
    """All rates of a run beside the published ones, in the order of plausibility.csv.

    Parameters
    ----------
    population : residents of the place; without them deaths are not compared.

    Raises
    ------
    PublishedValueError
        If a published table lacks what is asked of it.
    """
    if not (store.has(TREE_RATINGS) and store.has(FAILURE)):
        return []
    by_mechanics = _mechanics_spoke(store)
    limits = _limits(library)
    found = _rates(store, library, limits, by_mechanics=by_mechanics)
    found["expected_deaths"] = _deaths(store, library, population, by_mechanics=by_mechanics)
    table = library.table("plausibility")
    return [
        _check(table, row, found[row["quantity"]], library, limits, by_mechanics=by_mechanics)
        for row in table.rows
    ]


def checks_of(context: RenderContext) -> list[Check]:
    """All rates of the run of a context, reckoned once."""
    population = context.settings.settings.city.population
    return context.once("plausibility", lambda: checks(context.store, context.library, population))


def write(context: RenderContext) -> list[Path]:
    """Write plausibility.csv beside the pages, for the command's last words and for audit."""
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(("quantity", "found", "unit", "published", "low", "high", "wide_low", "wide_high",
                  "verdict", "how", "driven_by", "source", "warning"))  # fmt: skip
    for one in checks_of(context):
        found = "" if one.found is None else f"{one.found:.4g}"
        out.writerow((one.quantity, found, one.unit, one.published, one.low, one.high,
                      one.wide_low, one.wide_high, one.verdict, one.how, one.driven_by,
                      one.source, one.warning if one.loud else ""))  # fmt: skip
    return [write_bytes(context.out / NAME, text.getvalue().encode("utf-8"))]


def warnings_of(folder: Path) -> list[str]:
    """Loud warnings that a finished run's plausibility.csv holds."""
    path = folder / NAME
    if not path.is_file():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        return [row["warning"] for row in csv.DictReader(file) if row.get("warning")]


def _mechanics_spoke(store: RunStore) -> bool:
    """Whether witness B gave a yearly probability to any part of any tree."""
    if not (MECHANICS in TABLES and store.has(TABLES[MECHANICS])):
        return False
    (row,) = store.query(f"select count({_YEARLY}) as spoken from {MECHANICS}").to_pylist()
    return bool(row["spoken"])


def _limits(library: Library) -> dict[str, float]:
    table = library.table("plausibility_limits")
    return dict(zip(table.texts("quantity"), table.numbers("limit").tolist(), strict=True))


def _check(
    table: PublishedTable,
    row: Mapping[str, str],
    found: _Found,
    library: Library,
    limits: Mapping[str, float],
    *,
    by_mechanics: bool,
) -> Check:
    quantity = row["quantity"]
    low, high, wide_low, wide_high = (
        table.number(column, quantity=quantity)
        for column in ("low", "high", "wide_low", "wide_high")
    )
    published = table.number("published", quantity=quantity) if row["published"] else None
    fewest = limits["fewest_signed" if quantity in {"signed_high", "advanced_failures"}
                    else "fewest_trees"]  # fmt: skip
    rate = None if found.rate is None else found.rate * _PER[row["unit"]]
    how, verdict = found.how, OPEN
    if rate is not None and found.trees < fewest:
        how = f"Not compared: {found.trees:,} trees are too few. {how}"
    elif rate is not None and found.at_least and rate < low:
        how = f"Not compared: {found.at_least}, so it is at least this. {how}"
    elif rate is not None:
        verdict = INSIDE if low <= rate <= high else OUTSIDE
        verdict = verdict if wide_low <= rate <= wide_high else FAR
    source = library.sources.get(row["source"])
    driven_by = row["driven_by" if by_mechanics else "driven_by_words"] + found.driven_by
    return Check(
        quantity=quantity, title=_TITLES[quantity], found=rate, unit=row["unit"],
        published=published, low=low, high=high, wide_low=wide_low, wide_high=wide_high,
        verdict=verdict, how=how, driven_by=driven_by,
        source=source.citation if source else row["source"], note=row["note"],
    )  # fmt: skip


def _rates(
    store: RunStore, library: Library, limits: Mapping[str, float], *, by_mechanics: bool
) -> dict[str, _Found]:
    """Each rate of the run by its quantity, as shares."""
    with_p = _yearly(library, by_mechanics=by_mechanics)
    return {
        **_failures(store, with_p, by_mechanics=by_mechanics),
        **_advanced(store, with_p, limits),
        **_serious(store, limits),
        **_signed(store, limits),
        **_no_sign(store, library, by_mechanics=by_mechanics),
    }


def _yearly(library: Library, *, by_mechanics: bool) -> str:
    """SQL of `pair`: yearly probability of each tree and part of which a witness speaks.

    Also `unknown`: what a tree of which none speaks counts with.
    """
    bands = library.table("failure_bands")
    lows = bands.numbers("probability_low_per_year")
    highs = bands.numbers("probability_high_per_year")
    middles = sorted((lows * highs) ** 0.5)
    values = ", ".join(f"({word}, {p!r})" for word, p in enumerate(map(float, middles), start=1))
    told = (
        f"select tree_key, part, {_YEARLY} as p from {MECHANICS} where {_YEARLY} is not null"
        if by_mechanics
        else "select tree_key, part, null::double as p from scoring.failure where false"
    )
    return f"""
    with band(word, p) as (values {values}),
    unknown as (select p from band where word = 1),
    spoken as (
        select tree_key, part, max(failure) as word from scoring.failure group by tree_key, part),
    computed as ({told}),
    pair as (
        select coalesce(c.tree_key, s.tree_key) as tree_key, coalesce(c.part, s.part) as part,
            c.p is not null as computed, least(coalesce(c.p, b.p), 1 - 1e-9) as p
        from computed c full join spoken s on c.tree_key = s.tree_key and c.part = s.part
        left join band b on b.word = s.word)
    """


def _failures(store: RunStore, with_p: str, *, by_mechanics: bool) -> dict[str, _Found]:
    (row,) = store.query(
        f"""
        {with_p},
        whole as (
            select tree_key, bool_or(computed) as computed, 1 - exp(sum(ln(1 - p))) as any_part,
                1 - exp(sum(case when part < {_ROOTS_BUTT_STEM} then ln(1 - p) else 0 end)) as tree
            from pair group by tree_key)
        select count(*) as trees, count(w.tree_key) as spoken,
            count(*) filter (w.computed) as computed,
            avg(coalesce(w.any_part, u.p)) as any_part, avg(coalesce(w.tree, u.p)) as tree
        from scoring.tree_ratings r cross join unknown u left join whole w using (tree_key)
        where r.rated
        """
    ).to_pylist()
    words = row["spoken"] - row["computed"]
    rest = row["trees"] - row["spoken"]
    how = (
        f"Of {row['trees']:,} trees {row['computed']:,} by the mechanics, {words:,} by the middle "
        f"of their word's band, {rest:,} of which nothing speaks as improbable."
    )
    if not by_mechanics:
        how += " The mechanics was not computed in this run: the level is that of the bands."
    trees = int(row["trees"])
    unseen = not by_mechanics and rest > row["spoken"]
    at_least = "most trees were never looked at" if unseen else ""
    return {
        "failures": _Found(row["any_part"], trees, how, at_least),
        "tree_failures": _Found(row["tree"], trees, how, at_least),
    }


def _advanced(store: RunStore, with_p: str, limits: Mapping[str, float]) -> dict[str, _Found]:
    (row,) = store.query(
        f"""
        {with_p}
        select count(*) as trees, avg(p) as p from pair
        join (select tree_key, part from scoring.decay
              where decayed_share >= {limits["advanced_decay_from"]!r} and part in (1, 2)) d
        using (tree_key, part)
        """
    ).to_pylist()
    how = f"Butts and stems with decay over so much of the diameter: {row['trees']:,}."
    return {"advanced_failures": _Found(row["p"], int(row["trees"]), how)}


def _serious(store: RunStore, limits: Mapping[str, float]) -> dict[str, _Found]:
    told = store.read(TABLES["scoring.decay"], columns=("tree_key", _BEYOND)).column_names
    beyond = _BEYOND if _BEYOND in told else "null::double"
    (row,) = store.query(
        f"""
        with part as (
            select tree_key, coalesce({beyond}, case when decayed_share is not null
                then (decayed_share > {limits["serious_decay_above"]!r})::int end) as p
            from scoring.decay where part in (1, 2)),
        one as (
            select tree_key, 1 - exp(sum(ln(1 - least(p, 1 - 1e-9)))) as p from part
            where p is not null group by tree_key)
        select count(*) as trees, count(p) as known, coalesce(sum(p), 0) as serious
        from scoring.tree_ratings join ingest.trees t using (tree_key)
        left join one using (tree_key)
        where rated and t.dbh_cm >= {limits["large_from"]!r}
        """
    ).to_pylist()
    trees, known, serious = row["trees"], row["known"], row["serious"]
    size = f"{limits['large_from']:.0f} cm"
    how = (
        f"{serious:,.0f} of {trees:,} trees from {size}; decay is estimated for {known:,} of them."
    )
    if not trees or known < limits["estimated_from"] * trees:
        how = f"Not compared: too few trees have an estimate of decay. {how}"
        return {"serious_decay": _Found(None, known, how)}
    return {"serious_decay": _Found(serious / trees, trees, how)}


def _signed(store: RunStore, limits: Mapping[str, float]) -> dict[str, _Found]:
    (row,) = store.query(
        f"""
        with sign as (
            select tree_key from ingest.defects where latest and defect in ('decay', 'cavity')
            union
            select tree_key from scoring.sighting_trees where attached and tree_key >= 0),
        worst as (select tree_key, max(failure) as word from scoring.failure group by tree_key)
        select count(*) as trees, count(*) filter (w.word >= 3) as high
        from sign join scoring.tree_ratings r using (tree_key) left join worst w using (tree_key)
        where r.rated and coalesce(r.action_code, 0) < {limits["serious_code"]!r}
        """
        if all(store.has(TABLES[name]) for name in ("ingest.defects", "scoring.sighting_trees"))
        else "select 0 as trees, 0 as high"
    ).to_pylist()
    trees, high = int(row["trees"]), int(row["high"])
    how = f"{high:,} of {trees:,} trees with decay, a cavity or a fungus that is no named danger."
    return {"signed_high": _Found(high / trees if trees else None, trees, how)}


def _no_sign(store: RunStore, library: Library, *, by_mechanics: bool) -> dict[str, _Found]:
    if not by_mechanics:
        how = "Not told: without the mechanics a tree without a sign has no probability of its own."
        return {"no_sign_above": _Found(None, 0, how)}
    limit = library.table("failure_bands").number("probability_low_per_year", failure="possible")
    (row,) = store.query(
        f"""
        select count(*) as trees, count(*) filter (p >= {limit!r}) as above
        from scoring.tree_ratings r
        join (select tree_key, max({_YEARLY}) as p from {MECHANICS}
              where part < {_ROOTS_BUTT_STEM} group by tree_key) m
        using (tree_key) where r.rated and not r.evidence and p is not null
        """
    ).to_pylist()
    trees, above = int(row["trees"]), int(row["above"])
    how = f"{above:,} of {trees:,} trees without a sign reach {limit:.4g} a year, branches apart."
    return {"no_sign_above": _Found(above / trees if trees else None, trees, how)}


def _deaths(
    store: RunStore, library: Library, population: int | None, *, by_mechanics: bool
) -> _Found:
    found = expected_deaths(store, library, by_mechanics=by_mechanics)
    if population is None:
        how = f"Not told: the settings give no population (city.population). {found.how}"
        return _Found(None, found.trees, how)
    return _Found(
        found.a_year / population if population else None, found.trees, found.how,
        "the list holds part of a place's trees and what was counted is of all", found.driven_by,
    )  # fmt: skip
