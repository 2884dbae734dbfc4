"""The whole stage: accounts close, tables fit, real cities keep every tree with a place."""

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from pipeline.ingest import stage
from pipeline.progress import Silent
from pipeline.published.table import Library
from pipeline.settings.load import load
from pipeline.tables.catalogue import tables_of
from pipeline.tables.store import RunStore
from tests.ingest.little_city import LittleCity, inventory, tree

ROOT = Path(__file__).resolve().parents[2]
AS_OF = date(2026, 11, 15)


def ingested(settings: str, data: Path | None, folder: Path) -> RunStore:
    """A run of the ingest stage."""
    store = RunStore(folder)
    run = load(ROOT / "config" / settings, data_dir=data, as_of=AS_OF)
    stage.run(run, store, Library(overrides=run.overrides_dir), Silent())
    return store


def one(store: RunStore, sql: str) -> dict[str, object]:
    """The one row of an answer."""
    (row,) = store.query(sql).to_pylist()
    found: dict[str, object] = row
    return found


def accounts_close(store: RunStore) -> None:
    """Rows in = accepted + set aside in each file, and the quarantine holds what was set aside."""
    wrong = store.query(
        "select file from ingest.sources where rows_in <> rows_accepted + rows_set_aside"
    )
    assert wrong.num_rows == 0
    kept = store.query(
        "select s.file, s.rows_set_aside, count(q.row) as found, count(distinct q.row) as rows "
        "from ingest.sources s left join ingest.quarantine q using (source_key) "
        "group by all having s.rows_set_aside <> found or found <> rows"
    )
    assert kept.num_rows == 0, kept.to_pylist()


def test_every_table_is_written_and_every_account_closes(tmp_path: Path) -> None:
    city = LittleCity(tmp_path).ingest({"trees.csv": inventory(tree(1, longitude=""), "x")})
    assert all(city.store.has(table) for table in tables_of("ingest"))
    accounts_close(city.store)
    for empty in ("sightings", "inspections", "zones", "streets", "wards", "decisions"):
        assert city.rows(empty) == []


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    folders = [tmp_path / "a", tmp_path / "b"]
    for folder in folders:
        folder.mkdir()
        LittleCity(folder).ingest({"trees.csv": inventory(tree(1, dbh_cm="x"), tree(1))})
    for table in tables_of("ingest"):
        first, second = (RunStore(f / "run").path(table).read_bytes() for f in folders)
        assert first == second, table.name


def test_the_order_of_rows_changes_no_tree(tmp_path: Path) -> None:
    """A law: rows turned round give the same trees."""
    folders = [tmp_path / "a", tmp_path / "b"]
    header, *rows = inventory(tree(1, dbh_cm="x"), tree(2, species="oak")).splitlines()
    for folder, several in zip(folders, (rows, rows[::-1]), strict=True):
        folder.mkdir()
        LittleCity(folder).ingest({"trees.csv": "\n".join([header, *several]) + "\n"})
    one_way, other = (
        {k: {n: v for n, v in t.items() if n not in {"tree_key", "row"}}
         for k, t in LittleCity(folder).trees().items()}
        for folder in folders
    )  # fmt: skip
    assert one_way == other


@pytest.mark.slow
def test_larkmere(tmp_path: Path) -> None:
    store = ingested("larkmere.toml", None, tmp_path)
    accounts_close(store)
    first = one(store, "select * from ingest.quarantine where quarantine_key = 0")
    assert first["danger"] is not None


@pytest.mark.slow
def test_san_francisco(tmp_path: Path, shared_file: Callable[[str], Path]) -> None:
    """Counts: measured on the files by who stored them, and written in their description."""
    data = shared_file("data/inventory/san-francisco").parents[1]
    store = ingested("san_francisco.toml", data, tmp_path)
    accounts_close(store)
    trees = one(
        store,
        "select count(*) as n, count(*) filter (dbh_cm is null) as without, "
        "count(*) filter (shares_place > 1) as sharing, max(dbh_cm) as thickest, "
        "count(distinct tree_id) as ids, count(*) filter (status = 'vacant') as vacant "
        "from ingest.trees",
    )
    # 200 inches = 508 cm
    assert trees == {
        "n": 195_297, "without": 44_585, "sharing": 40_286, "thickest": pytest.approx(508),
        "ids": 195_297, "vacant": 155,
    }  # fmt: skip
    seen = one(
        store,
        "select count(*) as n, count(*) filter (accuracy_m is null) as without, "
        "count(*) filter (match in ('by_id', 'by_place')) as attached, "
        "count(*) filter (tree_key >= 0) as keyed from ingest.sightings",
    )
    assert seen == {"n": 52, "without": 6, "attached": 0, "keyed": 0}
    wards = one(store, "select count(*) as n from ingest.wards")
    assert wards == {"n": 11}
    streets = one(store, "select note from ingest.sources where input = 'streets'")
    assert "no road classes" in str(streets["note"])
    classes = one(store, "select distinct street_class from ingest.streets")
    assert classes == {"street_class": "unknown"}


@pytest.mark.slow
def test_graz(tmp_path: Path, shared_file: Callable[[str], Path]) -> None:
    """Counts: measured on the files by who stored them, and written in their description."""
    data = shared_file("data/inventory/graz").parents[1]
    store = ingested("graz.toml", data, tmp_path)
    accounts_close(store)
    trees = one(
        store,
        "select count(*) as n, count(*) filter (status = 'removed') as removed, "
        "count(*) filter (flags like '%area_mapping%') as mapped, "
        "count(notes) as remarks, "
        "count(*) filter (notes is not null and status = 'removed') as both from ingest.trees",
    )
    assert trees == {"n": 17_535, "removed": 485, "mapped": 23, "remarks": 144, "both": 87}
    outside = one(store, "select count(*) filter (ward is null) as n from ingest.trees")
    assert outside == {"n": 3}, "three trees stand on the far side of the city's border"
    assert one(store, "select count(*) as n from ingest.quarantine") == {"n": 0}
