"""The cases written from published descriptions: the file alone, before any key reads it."""

import csv
import tomllib
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

import pytest

from pipeline.tables.inputs import (
    ARRANGEMENTS,
    ATTACHMENTS,
    BRUISING,
    COLOURS,
    FLESH,
    FORMS,
    POSITIONS,
    STALKS,
    UNDER_SURFACES,
    UPPER_TEXTURES,
)

ROOT = Path(__file__).resolve().parents[3]
CHECK_VALUES = ROOT / "tests" / "check_values"
WORDS: Mapping[str, tuple[str, ...]] = {
    "attachment": ATTACHMENTS,
    "position": POSITIONS,
    "form": FORMS,
    "upper_colour": COLOURS,
    "under_colour": COLOURS,
    "upper_texture": UPPER_TEXTURES,
    "under_surface": UNDER_SURFACES,
    "flesh": FLESH,
    "arrangement": ARRANGEMENTS,
    "stalk": STALKS,
    "bruising": BRUISING,
}
COLUMNS = (
    *("case", "expected_taxon", "expected_rot_type", "region", "month", "host"),
    *WORDS,
    *("layers", "source", "locator", "basis", "note"),
)
ROT_TYPES = {"white", "brown", "soft", "none"}
FEWEST_CASES = 48
FEWEST_SEEN = 4


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


CASES = _rows(CHECK_VALUES / "identification" / "cases.csv")
BY_CASE = [pytest.param(case, id=case["case"]) for case in CASES]


def test_columns_are_those_agreed() -> None:
    """Every row has these columns and no others (agreed before the key was written)."""
    assert {tuple(row) for row in CASES} == {COLUMNS}


def test_there_are_enough_different_cases() -> None:
    """Enough cases, none twice, of both continents, every rot type and many forms."""
    assert len(CASES) >= FEWEST_CASES
    assert max(Counter(row["case"] for row in CASES).values()) == 1
    assert {row["region"] for row in CASES} == {"north_america", "europe"}
    assert {row["expected_rot_type"] for row in CASES} == ROT_TYPES
    forms = {word for row in CASES for word in row["form"].split("|") if word}
    assert len(forms) >= len(FORMS) - 1
    seen = [tuple(row[column] for column in COLUMNS[3:18]) for row in CASES]
    assert max(Counter(seen).values()) == 1, "two cases say the same"


def test_expected_taxa_are_species_of_the_catalogue() -> None:
    """A case can only be right if the catalogue knows its species."""
    taxa = _rows(ROOT / "config" / "published" / "taxa.csv")
    species = {row["taxon_id"] for row in taxa if row["rank"] == "species"}
    assert {row["expected_taxon"] for row in CASES} - species == set()


@pytest.mark.parametrize("case", BY_CASE)
def test_words_are_of_the_vocabularies(case: Mapping[str, str]) -> None:
    """The same words as in the sightings table, none twice in one cell."""
    for column, allowed in WORDS.items():
        words = case[column].split("|") if case[column] else []
        assert set(words) <= set(allowed), column
        assert len(words) == len(set(words)), column


@pytest.mark.parametrize("case", BY_CASE)
def test_numbers_and_host_are_plain(case: Mapping[str, str]) -> None:
    """A month of the year, a genus with a capital, whole layers, or nothing."""
    assert case["month"] in {"", *map(str, range(1, 13))}
    assert not case["layers"] or int(case["layers"]) > 0
    assert not case["host"] or (case["host"].isalpha() and case["host"].istitle())


@pytest.mark.parametrize("case", BY_CASE)
def test_enough_was_seen_to_be_a_description(case: Mapping[str, str]) -> None:
    """Partial descriptions stay in, but not those that say next to nothing."""
    seen = [column for column in ("month", "host", *WORDS, "layers") if case[column]]
    assert len(seen) >= FEWEST_SEEN


@pytest.mark.parametrize("case", BY_CASE)
def test_what_is_free_on_the_ground_rots_no_wood(case: Mapping[str, str]) -> None:
    """One that grows loose says nothing of a tree's wood (common practice, no source)."""
    assert (case["attachment"] == "free") == (case["expected_rot_type"] == "none")


def test_every_case_says_where_it_was_read() -> None:
    """Source, place in it and how its words were read; no source stands idle."""
    known = tomllib.loads((CHECK_VALUES / "SOURCES.toml").read_text(encoding="utf-8"))
    described = {key for key, entry in known.items() if entry.get("use") == "descriptions"}
    assert {row["source"] for row in CASES} == described
    assert {row["basis"] for row in CASES} == {"published"}
    assert all(row["locator"] and row["note"] for row in CASES)
