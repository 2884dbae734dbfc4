"""One campus in two vintages: what vanished, is new, changed: history, and never new trees.

The counts are those measured on the files by whoever collected them. They joined the files by id
alone: of the 11 ids that both vintages repeat, each tree then meets the other's twin as well. The
plain join below gives those counts; paired by place, as the trees stand, some of them vanish.
"""

import csv
import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from pipeline.ingest import stage
from pipeline.progress import Silent
from pipeline.published.table import Library
from pipeline.settings.load import load
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore

pytestmark = pytest.mark.slow
CITY = Path(__file__).resolve().parents[2] / "config" / "ithaca.toml"
Row = dict[str, str]


@dataclass(frozen=True)
class Plain:
    """Both vintages as the csv module reads them."""

    before: list[Row]
    now: list[Row]

    def joined(self) -> list[tuple[Row, Row]]:
        """All pairs of rows with one id, whatever their places."""
        by_id: dict[str, list[Row]] = {}
        for row in self.now:
            by_id.setdefault(row["treeid"], []).append(row)
        return [(old, new) for old in self.before for new in by_id.get(old["treeid"], [])]

    def by_place(self) -> list[tuple[Row, Row]]:
        """Of the pairs with one id, those that stand on one place."""
        return [pair for pair in self.joined() if apart_m(*pair) <= 5]


def apart_m(one: Row, other: Row) -> float:
    """Distance on a sphere of 6,371 km, good to a hand's breadth here."""
    lon, lat, lon2, lat2 = (
        math.radians(float(row[name])) for row in (one, other) for name in ("longitude", "latitude")
    )
    east = (lon2 - lon) * math.cos((lat + lat2) / 2)
    return 6_371_000 * math.hypot(east, lat2 - lat)


def inches(row: Row) -> float:
    try:
        return float(row["dbh"])
    except ValueError:
        return 0.0


@pytest.fixture(scope="module")
def plain(shared_file: Callable[[str], Path]) -> Plain:
    folder = shared_file("data/inventory/ithaca-cornell")
    read = []
    for year in (2019, 2022):
        with (folder / f"trees-{year}.csv").open(encoding="utf-8", newline="") as file:
            read.append(list(csv.DictReader(file)))
    return Plain(*read)


@pytest.fixture(scope="module")
def store(shared_file: Callable[[str], Path], tmp_path_factory: pytest.TempPathFactory) -> RunStore:
    data = shared_file("data/inventory/ithaca-cornell").parents[1]
    made = RunStore(tmp_path_factory.mktemp("ithaca"))
    stage.run(load(CITY, data_dir=data), made, Library(), Silent())
    return made


@pytest.fixture(scope="module")
def changes(store: RunStore) -> dict[str, int]:
    rows = store.query("select change, count(*) as n from ingest.history group by change")
    return {row["change"]: row["n"] for row in rows.to_pylist()}


def test_an_earlier_vintage_adds_no_tree(store: RunStore) -> None:
    assert store.read(TABLES["ingest.trees"]).num_rows == 8_987
    accounts = store.query(
        "select input, rows_in, rows_accepted, rows_set_aside from ingest.sources order by input"
    ).to_pylist()
    assert [tuple(row.values()) for row in accounts] == [
        ("earlier_trees", 9_022, 9_022, 0), ("trees", 8_987, 8_987, 0),
    ]  # fmt: skip


def test_what_vanished_and_what_is_new(changes: dict[str, int], plain: Plain) -> None:
    assert changes["vanished"] == 139
    assert changes["new"] == 104
    # of the new ones 89 have no id, so that nothing tells whether they are new
    assert sum(not row["treeid"] for row in plain.now) == 89


def test_a_vanished_tree_is_in_the_history_only(store: RunStore) -> None:
    gone = store.query("select * from ingest.history where change = 'vanished'").to_pylist()
    listed = set(store.read(TABLES["ingest.trees"], columns=("tree_id",))["tree_id"].to_pylist())
    assert not listed & {row["tree_id"] for row in gone}
    for row in gone:
        assert row["tree_key"] == -1
        assert row["before"]
        assert row["after"] is None
        assert row["x_m"] > 0
        assert row["surveyed_on"].isoformat() == "2019-12-31"


def test_species_that_changed(changes: dict[str, int], plain: Plain) -> None:
    assert sum(old["botanic"] != new["botanic"] for old, new in plain.joined()) == 39
    standing = [(old["botanic"], new["botanic"]) for old, new in plain.by_place()]
    assert sum(old != new for old, new in standing) == 17
    # five of the 17 differ by a quotation mark
    marks = sum(old != new and old.replace('"', "") == new for old, new in standing)
    assert changes["species_respelt"] == marks == 5
    assert changes["species_changed"] == 17 - marks


def test_diameters_that_shrank(changes: dict[str, int], plain: Plain) -> None:
    assert sum(inches(new) < inches(old) for old, new in plain.joined()) == 2_928
    standing = [(inches(old), inches(new)) for old, new in plain.by_place()]
    # a diameter of 0 is none, so that nothing shrank to it
    assert changes["shrank"] == sum(0 < new < old for old, new in standing) == 2_906
    assert changes["grew"] == sum(0 < old < new for old, new in standing) == 218


def test_only_what_reading_does_not_explain_is_flagged(store: RunStore, plain: Plain) -> None:
    wrong = [(i, n) for i, n in plain.by_place() if 0 < inches(n) < inches(i) - 2.6 / 2.54]
    flagged = store.query(
        "select tree_id from ingest.trees where list_contains(split(flags, '|'), 'dbh_shrank')"
    ).to_pylist()
    assert sorted(row["tree_id"] for row in flagged) == sorted(new["treeid"] for _, new in wrong)
    codes = store.query("select code, count(*) as n from ingest.findings group by code").to_pylist()
    told = {row["code"]: row["n"] for row in codes}
    assert told["dbh_shrank"] == len(wrong) == 5
    assert told["species_changed"] == 12


def test_nothing_moved(changes: dict[str, int], plain: Plain) -> None:
    far = [pair for pair in plain.joined() if apart_m(*pair) > 5]
    assert len(far) == 22
    # all of them are one twin and the other's place
    again = {name for name, n in Counter(row["treeid"] for row in plain.before).items() if n > 1}
    assert {old["treeid"] for old, _ in far} == again
    assert "moved" not in changes


def test_repeated_ids(store: RunStore, plain: Plain) -> None:
    before = Counter(row["treeid"] for row in plain.before)
    now = Counter(row["treeid"] for row in plain.now)
    assert sum(n - 1 for n in before.values()) == 11
    assert sum(n - 1 for n in now.values()) == 99
    # 88 of the 99 are the blank ids, which get one of their own and are told apart from repeats
    renamed = store.query("select count(*) as n from ingest.trees where contains(tree_id, '~2')")
    assert renamed.to_pylist() == [{"n": 99 - (now[""] - 1)}]
    assert store.query("select count(*) as n from ingest.trees where id_made_up").to_pylist() == [
        {"n": now[""]}
    ]


def test_diameters_of_zero_and_the_thickest(store: RunStore) -> None:
    rows = store.query(
        "select s.input, c.zeros, c.most from ingest.columns c join ingest.sources s "
        "using (source_key) where c.used_for = 'dbh_cm' order by s.input"
    ).to_pylist()
    assert [row["zeros"] for row in rows] == [28, 15]
    assert [row["most"] for row in rows] == pytest.approx([86 * 2.54] * 2)
