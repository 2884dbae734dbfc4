"""What is made of remarks: sightings and defects with their words, and an account of the rest."""

from datetime import date

import pyarrow as pa
import pytest

from pipeline.ingest import notes_evidence
from pipeline.ingest.notes_evidence import Said
from pipeline.published.table import Library
from pipeline.tables.catalogue_notes import NOTES

REMARKS = [
    ("Brandkrustenpilz am Stammfuß, evtl. Höhlung", "standing"),
    ("kein Pilz, Totholz entfernt", "standing"),
    (None, "standing"),
    ("Hallimasch", "removed"),
    ("Fäule, Bruchgefahr", "standing"),
    ("Puussa on kuollutta oksaa latvassa ja runko vaurioitunut", "standing"),
]
SURVEYED, INSPECTED = date(2026, 5, 4), date(2025, 9, 1)


def _trees(remarks: list[tuple[str | None, str]]) -> pa.Table:
    return pa.table(
        {
            "notes": pa.array([text for text, _ in remarks], pa.string()),
            "status": pa.array([status for _, status in remarks]),
            "source_key": pa.array([3] * len(remarks), pa.int32()),
            "last_inspected_on": pa.array(
                [
                    INSPECTED if status == "standing" and text and "Bruch" in text else None
                    for text, status in remarks
                ],
                pa.date32(),
            ),
        }
    )


@pytest.fixture(scope="module")
def said() -> Said:
    return notes_evidence.read(_trees(REMARKS), Library(), surveyed_on={3: SURVEYED})


def test_a_fungus_becomes_a_weak_sighting_with_its_words(said: Said) -> None:
    (told,) = said.derived.sightings
    assert told.origin == "note"
    assert told.tree_key.tolist() == [0]
    assert told.quoted.to_pylist() == ["Brandkrustenpilz"]
    assert told.name.to_pylist() == ["Kretzschmaria deusta"]
    assert told.position.to_pylist() == ["butt"]
    assert told.attachment.to_pylist() == ["attached"]
    assert told.name_certainty.tolist() == [0.5]  # config/published/notes_certainty.csv
    assert told.seen_on.to_pylist() == [SURVEYED]


def test_damage_becomes_a_defect_and_a_silent_part_the_usual_one(said: Said) -> None:
    (told,) = said.derived.defects
    assert told.tree_key.tolist() == [0, 4]
    assert told.defect.to_pylist() == ["cavity", "decay"]
    assert told.part.to_pylist() == ["stem", "stem"]
    assert told.flags.to_pylist() == ["note_suspected", "note_stated"]
    # As old as its row; the day of the survey where the row has none.
    assert told.seen_on.to_pylist() == [SURVEYED, INSPECTED]


def test_every_finding_is_kept_with_what_became_of_it(said: Said) -> None:
    rows = said.table.to_pylist()
    assert set(said.table.column_names) == set(NOTES.column_names)
    assert [(row["tree_key"], row["word"], row["used"]) for row in rows] == [
        (0, "fungus", "sighting"), (0, "cavity", "defect"), (1, "fungus", "counted"),
        (1, "dead_branch", "counted"), (3, "fungus", "counted"), (4, "decay", "defect"),
        (4, "danger", "review"),
    ]  # fmt: skip
    assert [row["speaks_of_danger"] for row in rows] == [False] * 6 + [True]


def test_what_became_nothing_and_what_was_not_understood_is_counted(said: Said) -> None:
    assert said.notes == {
        3: "findings in notes that became nothing: 1 denied, 1 of the past, 1 of trees no longer "
        "there; 1 notes hold hardly a word that is known, and are kept as they are"
    }
    assert said.beside({3: (2, "2 from notes")})[3] == (2, f"2 from notes; {said.notes[3]}")


@pytest.mark.parametrize("remarks", [[(None, "standing")], [("pruned in May", "standing")]])
def test_an_inventory_that_says_nothing_gives_nothing(
    remarks: list[tuple[str | None, str]],
) -> None:
    said = notes_evidence.read(_trees(remarks), Library(), surveyed_on={3: None})
    assert said.table.num_rows == 0
    assert said.notes == {}
    assert not any(len(part) for part in said.derived.sightings)
    assert not any(len(part) for part in said.derived.defects)
