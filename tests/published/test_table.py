"""Published tables: range, keys, overrides, and refusals."""

from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library, read_table

HEADER = "size_cm,hours,basis,source,locator,note\n"
ROWS = "10,1,elicited,town,,\n20,3,elicited,town,,\n"


def _config(folder: Path, text: str = HEADER + ROWS) -> Path:
    published = folder / "published"
    published.mkdir(parents=True)
    (published / "hours.csv").write_text(text, encoding="utf-8")
    (published / "sources.toml").write_text(
        '[town]\nauthors = "A"\nyear = 2000\ntitle = "T"\npublisher = "P"\n', encoding="utf-8"
    )
    return folder


def test_interpolates_between_and_refuses_beyond(tmp_path: Path) -> None:
    table = Library(config=_config(tmp_path)).table("hours")
    middle = table.interpolate(np.array([10.0, 15.0, 20.0]), at="size_cm", value="hours")
    assert middle.tolist() == [1.0, 2.0, 3.0]
    with pytest.raises(PublishedValueError, match="size_cm from 5 to 5"):
        table.interpolate(np.array([5.0]), at="size_cm", value="hours")


def test_rows_by_key(tmp_path: Path) -> None:
    table = Library(config=_config(tmp_path)).table("hours")
    assert table.number("hours", size_cm="20") == 3.0
    with pytest.raises(PublishedValueError, match="0 rows"):
        table.number("hours", size_cm="30")


def test_an_override_replaces_adds_and_is_kept_for_the_report(tmp_path: Path) -> None:
    config = _config(tmp_path / "config")
    overrides = tmp_path / "overrides"
    overrides.mkdir()
    text = HEADER + "20,9,elicited,town,,own crews\n30,12,elicited,town,,\n"
    (overrides / "hours.csv").write_text(text, encoding="utf-8")
    library = Library(config=config, overrides=overrides)
    table = library.table("hours", key=("size_cm",))
    assert table.numbers("hours").tolist() == [1.0, 9.0, 12.0]
    assert [(o.row["size_cm"], o.replaced is None) for o in library.overridden] == [
        ("20", False),
        ("30", True),
    ]


def test_an_override_with_other_columns_is_refused(tmp_path: Path) -> None:
    config = _config(tmp_path / "config")
    overrides = tmp_path / "overrides"
    overrides.mkdir()
    text = "size_cm,basis,source,locator,note\n1,elicited,town,,\n"
    (overrides / "hours.csv").write_text(text, encoding="utf-8")
    with pytest.raises(PublishedValueError, match="columns size_cm, hours"):
        Library(config=config, overrides=overrides).table("hours")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        pytest.param("size_cm,hours\n1,2\n", "no column basis", id="no basis"),
        pytest.param(HEADER + "1,2,elicited,town\n", "4 cells", id="ragged"),
        pytest.param(HEADER + "1,2,guessed,town,,\n", "basis 'guessed'", id="unknown basis"),
        pytest.param(HEADER + "1,2,elicited,,,\n", "source ''", id="no source"),
    ],
)
def test_what_is_refused(tmp_path: Path, text: str, found: str) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PublishedValueError, match=found):
        read_table(path)


def test_a_word_where_a_number_should_be(tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(HEADER + "ten,2,elicited,town,,\n", encoding="utf-8")
    with pytest.raises(PublishedValueError, match="'ten'"):
        read_table(path).numbers("size_cm")


def test_a_table_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(PublishedValueError, match="no readable table"):
        Library(config=_config(tmp_path)).table("absent")
