"""Every term that is read or written is a recommended one of the standard's own list.

Source: Biodiversity Information Standards (TDWG), list of Darwin Core terms with all versions.
"""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.ingest.darwin_core_cells import PROPERTIES
from pipeline.published.table import Library
from pipeline.render.exports import occurrences
from pipeline.tables.inputs import INPUTS
from tests.render import map_world

TERMS = "data/standards/darwin-core/term_versions.csv"


@pytest.fixture(scope="module")
def versions(shared_file: Callable[[str], Path]) -> list[dict[str, str]]:
    """All versions of all terms."""
    with shared_file(TERMS).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def recommended(versions: list[dict[str, str]]) -> dict[str, dict[str, str]]:
    """The terms that the standard recommends now, by their full name."""
    return {row["term_iri"]: row for row in versions if row["status"] == "recommended"}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The terms of the archive that a run writes."""
    context = map_world.context(tmp_path_factory.mktemp("run"))
    return list(occurrences.occurrences(context).column_names)


def test_terms_read_are_recommended_and_their_version_is_the_one_that_is_told(
    recommended: dict[str, dict[str, str]],
) -> None:
    rows = Library().table("darwin_core_terms").rows
    assert [row["iri"] for row in rows if row["iri"] not in recommended] == []
    for row in rows:
        term = recommended[row["iri"]]
        assert row["term"] == term["term_localName"]
        assert row["locator"] == f"{row['term']}, version {term['issued']}"


def test_terms_written_are_recommended(
    written: list[str], recommended: dict[str, dict[str, str]]
) -> None:
    assert [term for term in written if occurrences.iri(term) not in recommended] == []
    simple = {row["term_localName"] for row in recommended.values() if row["flags"] == "simple"}
    assert set(written) <= simple  # one flat table may hold them


def test_words_written_are_those_that_the_list_gives_as_examples(
    recommended: dict[str, dict[str, str]],
) -> None:
    for term, word in (("basisOfRecord", "HumanObservation"), ("occurrenceStatus", "detected"),
                       ("identificationVerificationStatus", "0"),
                       ("associatedTaxa", '"host":"Quercus alba"')):  # fmt: skip
        assert f"`{word}`" in recommended[occurrences.iri(term)]["examples"]
    words = Library().table("darwin_core_words").rows
    known = {row["word"] for row in words if row["term"] == "occurrenceStatus"}
    assert {"detected", "notdetected"} <= known
    kinds = {row["word"] for row in words if row["term"] == "basisOfRecord"}
    told = recommended[occurrences.iri("basisOfRecord")]["examples"].replace("`", "").split("; ")
    assert {kind.lower() for kind in told} <= kinds


def test_terms_that_were_withdrawn_are_not_read(versions: list[dict[str, str]]) -> None:
    now = {row["term_localName"].lower() for row in versions if row["status"] == "recommended"}
    gone = {row["term_localName"].lower() for row in versions} - now
    assert gone  # the list holds withdrawn terms too
    assert not gone & {row["term"].lower() for row in Library().table("darwin_core_terms").rows}


def test_what_is_written_is_what_is_read() -> None:
    own = {column.name for column in INPUTS["sightings"].columns}
    table = Library().table("darwin_core_terms")
    assert {row["column"] for row in table.rows} - {""} <= own
    assert set(PROPERTIES.values()) <= own
    assert set(occurrences.PROPERTIES.items()) == {
        (column, key) for key, column in PROPERTIES.items() if column != "accuracy_m"
    }
