"""Rules that every published and rule table keeps; each rule is named in the developers' guide."""

import re
import tomllib
from pathlib import Path

import pytest

from pipeline.published.locate import config_dir
from pipeline.published.table import read_table

CONFIG = config_dir()
TABLES = sorted([*CONFIG.glob("published/*.csv"), *CONFIG.glob("rules/*.csv")])
SOURCES = tomllib.loads((CONFIG / "published" / "sources.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_every_row_names_a_known_source(path: Path) -> None:
    table = read_table(path)
    unknown = sorted(set(table.texts("source")) - set(SOURCES))
    assert len(table) > 0
    assert unknown == []


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_published_means_there_is_a_place_to_look(path: Path) -> None:
    rows = read_table(path).rows
    bare = [row for row in rows if row["basis"] == "published" and not row["locator"].strip()]
    assert bare == []


def test_every_source_is_used() -> None:
    """As the source of a row, by its id in a locator or note, or of a statement."""
    cited = " ".join(
        f"{row['source']} {row['locator']} {row['note']}"
        for path in TABLES
        for row in read_table(path).rows
    )
    statements = CONFIG.parent / "pipeline" / "scoring" / "assembly" / "thread.py"
    cited += statements.read_text(encoding="utf-8")
    words = set(re.findall(r"[a-z0-9_]+", cited))
    assert sorted(set(SOURCES) - words) == []


def test_every_source_says_what_it_is_and_how_far_it_was_read() -> None:
    bad = [
        key
        for key, entry in SOURCES.items()
        if not entry.get("title") or not entry.get("read") or not entry.get("authors")
    ]
    assert bad == []


def test_names_of_tables_are_unique() -> None:
    names = [path.stem for path in TABLES]
    assert len(names) == len(set(names))
