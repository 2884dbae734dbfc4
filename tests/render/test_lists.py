"""Lists as CSV: whole, inert in a spreadsheet, and fit to be fed back."""

import csv
from pathlib import Path

import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.published.table import Library
from pipeline.render.context import RenderContext
from pipeline.render.exports import lists
from pipeline.run import execute
from pipeline.settings.load import load
from pipeline.settings.model import RunSettings
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore
from tests.conftest import ROOT
from tests.render import map_world, sheet_world
from tests.render.sheet_world import FORMULA


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run with its lists."""
    made = sheet_world.context(tmp_path_factory.mktemp("run"))
    for write in (lists.write_queue, lists.write_review, lists.write_quarantine):
        write(made)
    return made


def _rows(path: Path) -> list[dict[str, str]]:
    raw = path.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf")  # office programs see the encoding by this mark
    return list(csv.DictReader(raw.decode("utf-8-sig").splitlines()))


def test_queue_and_left_out_hold_every_job(run: RenderContext) -> None:
    queue, left = _rows(run.out / "queue.csv"), _rows(run.out / "unscheduled.csv")
    assert tuple(queue[0]) == lists.QUEUE_COLUMNS
    assert tuple(left[0]) == lists.LEFT_OUT_COLUMNS
    jobs = [*(row["job_id"] for row in queue), *(row["job_id"] for row in left)]
    assert sorted(jobs) == sorted(run.table("planning.jobs")["job_id"].to_pylist())
    assert all(row["reason"] for row in left)


def test_a_street_that_looks_like_a_formula_is_inert(run: RenderContext) -> None:
    streets = {row["street"] for row in _rows(run.out / "queue.csv")}
    assert f"'{FORMULA}" in streets
    assert not any(street.startswith("=") for street in streets)


def test_the_review_list_heads_with_danger_and_says_where(run: RenderContext) -> None:
    rows = _rows(run.out / "review.csv")
    assert len(rows) == run.table("scoring.reviews").num_rows
    assert rows[0]["urgency"] == "now"
    assert rows[0]["row_set_aside"] == "trees.csv, line 19"
    assert "root plate is lifting" in rows[0]["what_to_do"]
    assert rows[1]["tree_id"].startswith("LM-")
    assert rows[-1]["sighting_id"].startswith("S")
    assert rows[-1]["tree_id"] == ""
    sighted = run.layers.places("ingest.sightings")[0][int(rows[-1]["sighting_id"][1:])]
    assert float(rows[-1]["longitude"]) == pytest.approx(sighted, abs=1e-6)  # where to go and look
    assert rows[0]["longitude"] == ""
    order = [lists.URGENCY.index(row["urgency"]) for row in rows]
    assert order == sorted(order)


def test_rows_set_aside_keep_their_columns_and_can_be_fed_back(run: RenderContext) -> None:
    rows = _rows(run.out / "quarantine.csv")
    assert len(rows) == 3
    assert rows[1]["Tree No"] == "LK-1"
    assert rows[1]["Lat"] == "-33.1"  # a number stays a number
    assert rows[1]["Notes"] == f"'{FORMULA}"
    assert rows[1]["why_reason"] == "The place lies outside the world of the city."
    assert rows[0]["why_danger"] == "root plate is lifting"
    assert rows[2]["name"] == "Meripilus giganteus"
    assert rows[2]["why_file"] == "sightings.csv"
    assert rows[2]["Tree No"] == ""


def test_each_file_has_its_own_list_with_its_own_columns(run: RenderContext) -> None:
    names = sorted(path.name for path in (run.out / "quarantine").iterdir())
    assert names == ["0_trees_trees.csv", "1_sightings_sightings.csv"]
    trees = _rows(run.out / "quarantine" / names[0])
    assert len(trees) == 2
    assert set(trees[0]) - set(lists.WHY) == {"Tree No", "Lat", "Notes"}


def test_a_list_that_was_mended_is_read_and_nothing_is_lost(tmp_path: Path) -> None:
    """The invented town's own rows: set aside, mended as a clerk would, read again."""
    town = _settings(tmp_path / "town.toml", ROOT / "sample_inventory" / "trees.csv")
    first = execute(town, stages=("ingest",), out=tmp_path / "first").folder
    made = RenderContext(town, RunStore(first), Library(), tmp_path / "out", map_world.say)
    lists.write_quarantine(made)
    path = tmp_path / "out" / "quarantine" / "0_trees_trees.csv"
    rows = _rows(path)
    placeless = [row for row in rows if row["why_column"] == "Lon" and not row["Lon"]]
    assert placeless
    for row in placeless:
        row["Lat"], row["Lon"] = "43.2001", "-76.9001"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    mended = _settings(tmp_path / "again.toml", path)
    again = execute(mended, stages=("ingest",), out=tmp_path / "second")
    trees = RunStore(again.folder).read(TABLES["ingest.trees"])
    aside = RunStore(again.folder).read(TABLES["ingest.quarantine"])
    assert {row["Tree No"] for row in placeless} <= set(trees["tree_id"].to_pylist())
    assert trees.num_rows + aside.num_rows == len(rows)


def _settings(path: Path, trees: Path) -> RunSettings:
    path.write_text(
        f"""
data = "{trees.parent.as_posix()}"
as_of = 2026-11-15
[city]
name = "Larkmere"
crs = "EPSG:32618"
[[inputs.trees]]
files = ["{trees.name}"]
columns = "larkmere_trees"
""",
        encoding="utf-8",
    )
    return load(path)


def test_an_empty_list_has_its_header(tmp_path: Path) -> None:
    made = map_world.context(tmp_path / "run")
    bare = RenderContext(made.settings, type(made.store)(tmp_path / "bare"), made.library,
                         tmp_path, made.sentence)  # fmt: skip
    bare.store.epsg = sheet_world.EPSG
    for write in (lists.write_queue, lists.write_review, lists.write_quarantine):
        for path in write(bare):
            header = path.read_text(encoding="utf-8-sig").splitlines()
            assert len(header) == 1, path.name


@given(st.lists(st.text(max_size=12), min_size=1, max_size=20))
def test_no_text_starts_a_formula_and_none_is_lost(texts: list[str]) -> None:
    texts = [text.replace("\x00", "").replace("\r", " ") for text in texts]
    written = lists.csv_bytes(pa.table({"t": texts, "n": list(range(len(texts)))}))
    rows = list(csv.DictReader(written.decode("utf-8-sig").splitlines(keepends=True)))
    for text, row in zip(texts, rows, strict=True):
        assert row["t"] in {text, f"'{text}"}
        if row["t"][:1] in {"=", "@", "\t", "\n"}:
            pytest.fail(f"{row['t']!r} would run as a formula")


@pytest.mark.parametrize("number", ["-76.9", "+4", "-1,5", "-1e-3", "12"])
def test_numbers_stay_numbers(number: str) -> None:
    assert f'"{number}"' in lists.csv_bytes(pa.table({"t": [number]})).decode("utf-8-sig") or (
        number in lists.csv_bytes(pa.table({"t": [number]})).decode("utf-8-sig").splitlines()
    )


@pytest.mark.parametrize("text", ["=1+1", "@SUM(A1)", "+cmd|' /C calc'!A0", "-2+3+cmd|x", "\tx"])
def test_formulas_become_text(text: str) -> None:
    # Starts that the OWASP page "CSV Injection" lists: = + - @ tab and carriage return.
    written = lists.csv_bytes(pa.table({"t": [text]})).decode("utf-8-sig")
    assert list(csv.reader(written.splitlines()))[1] == [f"'{text}"]


def test_lists_say_what_each_sighting_is_found_to_be(run: RenderContext) -> None:
    review = _rows(run.out / "review.csv")
    found = {row["sighting_key"]: row for row in run.table("scoring.identifications").to_pylist()}
    one = next(row for row in review if row["sighting_id"])
    told = found[int(one["sighting_id"][1:])]
    assert float(one["probability_1"]) == pytest.approx(told["probability_1"])
    assert one["rot_type"] == told["rot_type"]
    assert one["needs_expert"] == str(told["needs_expert"]).lower()
    assert one["fungus"] != ""
    assert review[0]["fungus"] == ""  # a row set aside
    named = [row for row in _rows(run.out / "queue.csv") if row["fungus"]]
    assert named
    assert {row["next_look"] for row in named} == {"", "bruising"}
