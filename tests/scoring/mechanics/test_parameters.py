"""Every row of the tables of mechanics changes what comes out; a row or a unit amiss is refused."""

import csv
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import PublishedValueError
from pipeline.published.locate import config_dir
from pipeline.published.table import Library, PublishedTable
from pipeline.scoring.decay import anchorage, residual
from pipeline.scoring.mechanics import (
    allometry,
    applicable,
    branches,
    climate,
    fragility,
    resistance,
    wind,
    words,
)
from pipeline.scoring.parameters.mechanics import (
    MechanicsParameters,
    gust_climate,
    mechanics_parameters,
)
from pipeline.units import Floats
from tests.scoring.changed import Change, changed_library, number_changes

WITH_UNIT = (
    "weak_zone", "thin_shell", "anchorage", "allometry", "wind_load", "fragility", "branch_rate",
)  # fmt: skip
# Rows of these tables that another subject reads, and tests.
READ_ELSEWHERE = {"dead_before_told", "set_from"}
PLACE = {"gust_50_years_m_s": 40.0, "location_m_s": 25.0, "scale_m_s": 3.0}


def _strength_left(p: MechanicsParameters) -> list[Floats]:
    x = np.array([0.0, 0.005, 0.05, 0.3, 0.6, 0.8, 0.93, 1.0])[:, None]
    q, far = np.linspace(0, 1, 9), np.array([0.0, 1.0, 2.5, 9.0])
    rots, years = np.arange(4, dtype=np.int8), np.array([1.0, 3.0])
    with_roots = np.array([True, False])
    return [
        residual.strength_kept(x, rots, p.zone) @ p.zone.weights,
        anchorage.anchorage_kept(q, p.anchorage),
        anchorage.trench_kept(far, p.anchorage),
        anchorage.dead_kept(years, roots=with_roots, loss=p.anchorage),
        np.array([p.anchorage.dead_load]),
    ]


def _chances(p: MechanicsParameters, of: climate.GustClimate) -> list[Floats]:
    dbh, kind = np.array([4.9, 15, 60, 230] * 2), np.repeat(np.array([0, 1], np.int8), 4)
    none, some = np.full(8, np.nan), np.full(8, 9.0)
    told = allometry.tree_sizes(dbh, kind, height_m=none, crown_m=some, curves=p.curves)
    other = allometry.tree_sizes(dbh, kind, height_m=some, crown_m=none, curves=p.curves)
    load = wind.crown_load(told.height, other.crown, kind, p.wind)
    gusts = fragility.gusts_of(of, p.fragility)
    results = [told.height, told.crown, other.crown, told.outside.astype(float), load.base]
    for roots in (True, False):
        flag = np.full(8, roots)
        factor = fragility.load_multiplier(dbh, kind, roots=flag, fragility=p.fragility)
        wet = np.arange(8) % 2 == 0
        bears = (
            resistance.root_moment(dbh, told.height, kind, wet=wet, resistance=p.resistance)
            if roots
            else resistance.stem_moment(dbh, np.full(8, 60.0), p.resistance)
        )
        spread = fragility.spread_of(
            roots=flag, pulled=wet, no_height=wet, no_crown=dbh > 20, fragility=p.fragility
        )
        capacity = fragility.ln_capacity(bears, load.base, factor)
        p1 = fragility.chance_of_capacity(
            capacity, np.log(load.profile), gusts, p.wind,
            spread=0.5, stood=p.fragility.stood, years=1.0, season=p.wind.leaf_on_share,
        )  # fmt: skip
        share = float(p.fragility.size_response[0 if roots else 1])
        results.append(fragility.answered(capacity, capacity + 1.0, share))
        results += [factor, bears, spread, capacity, p1.fails, np.array([len(gusts.speed)])]
    return results


def _rest(p: MechanicsParameters, of: climate.GustClimate) -> list[Floats]:
    gusts = fragility.gusts_of(of, p.fragility)
    dead, union = np.array([False, True, False]), np.array([False, False, True])
    branch = branches.branch_chance(
        np.ones(3), dead, np.array([1.0, p.wind.leafless[0], p.wind.leafless[1]]), gusts,
        p.branches, season_shares=(0.3, 0.4, 0.3), years=1.0, weak_union=union,
    )  # fmt: skip
    chances = np.geomspace(1e-4, 1, 400)
    flags = np.eye(5, dtype=np.bool_)
    left_out = applicable.not_applicable(
        palm=flags[0], multi_stem=flags[1], pole=flags[2], topped=flags[3],
        diameter_cm=np.full(5, 30.0), rules=p.applicability,
    )  # fmt: skip
    limits = (p.limits.yearly, p.limits.three_years)
    return [
        branch,
        branches.large_branch_chance(branch, p.branches),
        np.array([p.branches.large_from]),
        *(words.words_of(chances, chances, x, p.limits.imminent_median) for x in limits),
        left_out,
        p.strength.rupture,
    ]


@cache
def _results(change: Change | None = None) -> bytes:
    library = changed_library(change) if change else Library()
    p = mechanics_parameters(library)
    out = [*_strength_left(p)]
    ground = "suburban"
    of = gust_climate(library, region="as_nzs_a", terrain=ground)
    out += [*_chances(p, of), *_rest(p, of)]
    for row in library.table("gust_regions").rows:
        for terrain in ("open_water", "open", "suburban", "dense_city"):
            one = gust_climate(library, region=row["region"], terrain=terrain, **PLACE)
            out.append(climate.rate_above(np.array([12.0, 25, 40]), one))
            out.append(fragility.gusts_of(one, p.fragility).speed)
    return b"".join(np.asarray(x, dtype=np.float64).tobytes() for x in out)


def _rows_with_unit() -> list[tuple[str, int]]:
    return [
        (name, number)
        for name in WITH_UNIT
        for number, row in enumerate(Library().table(name).rows)
        if row["quantity"] not in READ_ELSEWHERE
    ]


def _changes() -> list[Change]:
    ours = set(_rows_with_unit())
    made = [
        *number_changes("gust_regions", "limit_m_s"),
        *number_changes("gust_regions", "span_m_s"),
        *number_changes("gust_regions", "power"),
        *number_changes("gust_regions", "shape"),
        *number_changes("gust_regions", "location_share"),
        *number_changes("gust_regions", "scale_share"),
        *number_changes("failure_probability_words", "from_per_year", factor=1.3)[1:],
        *number_changes("failure_probability_words", "from_3_years", factor=1.3)[1:],
        *number_changes("failure_probability_words", "median_from_per_year", factor=1.5),
        *number_changes("wood_strength", "rupture_mpa", factor=1.1),
        *[c for c in number_changes("wood_strength", "specific_gravity", factor=1.1)
          if not Library().table("wood_strength").rows[c[1]]["rupture_mpa"]],
        *number_changes("gust_terrain", "multiplier", factor=1.1)[:4],
    ]  # fmt: skip
    for name in WITH_UNIT:
        made += number_changes(name, "value", factor=0.93)
    weights = {("weak_zone", row) for row in _weights()}
    return [c for c in made if c[:2] not in weights and (c[0] not in WITH_UNIT or c[:2] in ours)]


@cache
def _weights() -> tuple[int, ...]:
    rows = Library().table("weak_zone").rows
    return tuple(n for n, row in enumerate(rows) if row["quantity"].startswith("weight_"))


@pytest.mark.parametrize("change", _changes(), ids=str)
def test_every_row_changes_some_result(change: Change) -> None:
    assert _results(change) != _results()


@pytest.mark.parametrize("row", range(4))
def test_a_kind_that_mechanics_is_let_speak_of_is_no_longer_left_out(row: int) -> None:
    assert _results(("mechanics_applies", row, "applies", "1")) != _results()


@pytest.mark.parametrize("row", _weights())
def test_weights_that_do_not_sum_to_one_are_refused(row: int) -> None:
    with pytest.raises(PublishedValueError) as fault:
        _results(("weak_zone", row, "value", "0.35"))
    assert "weights" in str(fault.value)


@pytest.mark.parametrize(("name", "row"), _rows_with_unit(), ids=str)
def test_a_unit_that_was_changed_is_refused_with_its_row(name: str, row: int) -> None:
    quantity = Library().table(name).rows[row]["quantity"]
    with pytest.raises(PublishedValueError) as fault:
        mechanics_parameters(changed_library((name, row, "unit", "furlongs")))
    assert name in fault.value.where
    assert quantity in fault.value.where
    assert "furlongs" in fault.value.found


class _Without(Library):
    """A library in which one row of one table is missing."""

    def __init__(self, name: str, row: int) -> None:
        super().__init__()
        self._name, self._row = name, row

    def table(
        self, name: str, *, key: Sequence[str] = (), folder: str = "published"
    ) -> PublishedTable:
        whole = super().table(name, key=key, folder=folder)
        if name != self._name:
            return whole
        rows = tuple(r for n, r in enumerate(whole.rows) if n != self._row)
        return PublishedTable(whole.name, whole.columns, rows)


@pytest.mark.parametrize(("name", "row"), _rows_with_unit(), ids=str)
def test_a_missing_row_is_refused_by_its_key(name: str, row: int) -> None:
    quantity = Library().table(name).rows[row]["quantity"]
    with pytest.raises(PublishedValueError) as fault:
        mechanics_parameters(_Without(name, row))
    assert name in fault.value.where
    assert quantity in fault.value.found


@pytest.mark.parametrize(
    "change",
    [
        ("thin_shell", 0, "value", "0.05"),
        ("anchorage", 2, "value", "0.9"),
        ("allometry", 1, "value", "-20"),
        ("wind_load", 1, "value", "0"),
        ("fragility", 0, "value", "-85"),
        ("fragility", 2, "value", "1.5"),
        ("branch_rate", 1, "value", "0"),
        ("failure_probability_words", 1, "from_per_year", "0.02"),
        ("failure_probability_words", 1, "failure", "perhaps"),
        ("wood_strength", 0, "rupture_mpa", "0"),
    ],
    ids=str,
)
def test_a_value_that_would_turn_a_law_round_is_refused(change: Change) -> None:
    with pytest.raises(PublishedValueError):
        mechanics_parameters(changed_library(change))


@pytest.mark.parametrize("name", [*WITH_UNIT, "wood_strength", "failure_probability_words"])
def test_values_lie_within_their_ranges(name: str) -> None:
    path = Path(config_dir()) / "published" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            value = row.get("value") or row.get("rupture_mpa") or row.get("from_per_year")
            if row["low"] and value:
                assert float(row["low"]) <= float(value) <= float(row["high"]), row
