"""Texts that stand in several columns: a genus before its species, remarks by part."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from pipeline.errors import InputError, PipelineError
from pipeline.ingest.cells import clean, labelled
from pipeline.ingest.column_map import DEFAULT_MISSING, ColumnMap
from pipeline.ingest.columns import apply
from pipeline.ingest.notes import NoteReader
from pipeline.ingest.readers import RawTable
from pipeline.published.table import Library

DATA = {
    "id": ["1", "2", "3", "4"],
    "genus": ["Tilia", "Photinia", None, " "],
    "epithet": [" europaea - L.", "", "cordata - Mill.", None],
    "foot": ["sucker", None, "", None],
    "crown": [" dead limb ", "thin", None, None],
}


def table(tmp_path: Path) -> RawTable:
    """The rows above as a file that was read."""
    return RawTable(
        source_key=0, kind="trees", file=str(tmp_path / "t.csv"), sha256="", bytes=0,
        format="CSV", data=pa.table(DATA), rows=np.arange(1, 5),
    )  # fmt: skip


def mapped(tmp_path: Path, columns: dict[str, object]) -> dict[str, list[str | None]]:
    """Canonical columns by that map."""
    column_map = ColumnMap.from_toml(
        {"kind": "trees", "columns": {"tree_id": "id", **columns}}, where="map"
    )
    found = apply(table(tmp_path), column_map, "trees")
    return {name: found.text(name).to_pylist() for name in columns}


def test_a_text_before_the_column_or_the_one_that_there_is(tmp_path: Path) -> None:
    rule = {"column": "epithet", "before": "genus", "split": "-", "take": 0}
    assert mapped(tmp_path, {"species": rule})["species"] == [
        "Tilia europaea", "Photinia", "cordata", None,
    ]  # fmt: skip


def test_several_columns_as_one_text_each_after_its_label(tmp_path: Path) -> None:
    rule = {"columns": {"foot": "collar", "crown": "crown"}}
    assert mapped(tmp_path, {"notes": rule})["notes"] == [
        "collar: sucker; crown: dead limb", "crown: thin", None, None,
    ]  # fmt: skip


def test_the_label_stands_before_every_sentence_of_its_column() -> None:
    told = pa.array(["Fissure. Écorce incluse;  bois mort\nfente", "env. 2 m", None])
    assert labelled({"houppier": told}).to_pylist() == [
        "houppier: Fissure. houppier: Écorce incluse;  houppier: bois mort\nhouppier: fente",
        "houppier: env. 2 m", None,
    ]  # fmt: skip
    said = NoteReader(Library()).read_alone(labelled({"houppier": told})[0].as_py())
    assert [(one.word, one.part) for one in said] == [
        ("crack", "branch"), ("weak_union", "branch"), ("dead_branch", "branch"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "rule",
    [
        pytest.param({"columns": {}}, id="none"),
        pytest.param({"columns": ["foot", "crown"]}, id="no labels"),
        pytest.param({"columns": {"foot": "f"}, "split": "-"}, id="another key"),
    ],
)
def test_what_may_not_be_said_of_several_columns(tmp_path: Path, rule: dict[str, object]) -> None:
    with pytest.raises(PipelineError, match="header = 'label'"):
        mapped(tmp_path, {"notes": rule})
    with pytest.raises(PipelineError, match="for a text"):
        mapped(tmp_path, {"dbh_cm": {"columns": {"foot": "f"}}})


@pytest.mark.parametrize(
    "rule", [{"column": "epithet", "before": "gnus"}, {"columns": {"foot": "f", "crwn": "c"}}]
)
def test_a_header_that_is_not_there_is_told(tmp_path: Path, rule: dict[str, object]) -> None:
    with pytest.raises(InputError, match="the nearest is"):
        mapped(tmp_path, {"notes": rule})


def test_missing_is_written_in_many_ways() -> None:
    written = pa.array(["NA", "n/a", " NaN ", "NULL", "<Null>", "Nana", None, ""])
    kept = clean(written, frozenset(DEFAULT_MISSING)).to_pylist()
    assert kept == [None] * 5 + ["Nana", None, None]
