"""Every fault planted in the sample town is found, row by row, and nothing else is lost."""

import csv
from functools import cache

import pytest
from _pytest.mark import ParameterSet

from tests.conftest import ROOT, LarkmereRun

LIST = ROOT / "sample_inventory" / "planted_faults.csv"

# What the run must say of each row with the fault: a condition on ingest.trees.
TREE_CHECKS = {
    "dbh_with_own_unit": "dbh_how = 'measured' and flags = ''",
    "dbh_decimal_comma": "dbh_how = 'measured' and flags = ''",
    "dbh_missing": "dbh_how = 'missing' and dbh_cm is null",
    "dbh_zero": "dbh_cm is null and flags = 'dbh_zero'",
    "dbh_negative": "dbh_cm is null and dbh_how = 'impossible'",
    "dbh_impossible": "dbh_cm is null and dbh_how = 'impossible'",
    "dbh_not_a_number": "dbh_cm is null and dbh_how = 'impossible'",
    "species_synonym": "species is not null and species <> species_text",
    # 'Quercus rubrum' may be two species: the genus is kept, the rest is not guessed
    "species_misspelt": "genus is not null and species_how in ('misspelling', 'genus_only')",
    "species_genus_only": "species is null and genus is not null",
    "species_unknown": "species_how = 'unknown' and species_text is not null",
    "species_missing": "species_how = 'missing'",
    "species_common_name_only": "species_how = 'common_name' and species is not null",
    "date_in_three_styles": "planted_year between 1850 and 2026",
    "date_year_9999": "planted_year is null and flags like '%planted_on%'",
    "status_unknown_word": "status = 'standing' and flags like '%status_word_unknown%'",
    "markup_in_street": "street like '%<%' and flags = ''",
    "markup_in_notes": "notes like '%<%' and flags = ''",
    "formula_in_notes": "regexp_matches(notes, '^[=+@-]') and flags = ''",
    "line_break_in_notes": "contains(notes, chr(10))",
    "lonlat_swapped": "place_doubtful and flags like '%lonlat_swapped%'",
    "outside_town": "place_doubtful and flags like '%outside_wards%'",
    "file_latin1_semicolons_girth": "dbh_how in ('girth', 'missing')",
    "status_stump": "status = 'stump'",
    "status_vacant": "status = 'vacant'",
    "status_removed": "status = 'removed'",
    "status_dead": "status = 'dead'",
    "status_habitat_pole": "status = 'habitat_pole'",
}
SIGHTING_CHECKS = {
    "sighting_nearer_to_another_tree": "match_note = 'id_and_place_disagree'",
    "sighting_between_two_trees": "match = 'ambiguous' and match_note = 'several_trees_near'",
    "sighting_accuracy_500_m": "match = 'unmatched' and match_note = 'accuracy_beyond_cap'",
    "sighting_without_accuracy_or_tree": "match_note = 'accuracy_unknown'",
    "sighting_free_standing": "match = 'not_decay'",
    "sighting_soil_over_roots": "attachment = 'soil_over_root' and match in ('by_id', 'by_place')",
    "sighting_reported_twice": "match in ('by_id', 'by_place')",
    "sighting_seen_again": "match in ('by_id', 'by_place')",
    "sighting_unknown_tree": "match_note = 'id_unknown'",
}
# Rows that must be set aside, with the code of the reason.
ASIDE = {
    "at_zero_zero": "place_zero",
    "no_place_danger": "place_missing",
    "no_place": "place_missing",
    "id_exact_duplicate": "row_repeated",
    "inspection_unknown_tree": "tree_unknown",
    "sighting_without_place": "place_missing",
}
BY_ROW = {"id_repeated_elsewhere": "tree_id like '%~2'", "id_missing": "id_made_up"}
STORIES = {"split_over_school_path", "root_plate_heaving", "hanging_branch_over_market"}


@cache
def planted() -> tuple[dict[str, str], ...]:
    with LIST.open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def _of(checks: dict[str, str]) -> list[ParameterSet]:
    return [
        pytest.param(row, id=f"{row['fault']} in {row['file']}")
        for row in planted()
        if row["fault"] in checks
    ]


def _quoted(row: dict[str, str]) -> str:
    return ", ".join(f"'{name.lstrip('#')}'" for name in row["row_ids"].split("|"))


def test_every_planted_fault_has_a_check() -> None:
    known = {*TREE_CHECKS, *SIGHTING_CHECKS, *ASIDE, *BY_ROW, *STORIES}
    assert {row["fault"] for row in planted()} == known


@pytest.mark.parametrize("row", _of(TREE_CHECKS))
def test_faults_of_trees(larkmere: LarkmereRun, row: dict[str, str]) -> None:
    (found,) = larkmere.sql(
        f"""
        select count(*) as rows, count(*) filter ({TREE_CHECKS[row["fault"]]}) as as_told
        from ingest.trees where tree_id in ({_quoted(row)})
        """
    )
    assert found == {"rows": int(row["count"]), "as_told": int(row["count"])}


@pytest.mark.parametrize("row", _of(SIGHTING_CHECKS))
def test_faults_of_sightings(larkmere: LarkmereRun, row: dict[str, str]) -> None:
    (found,) = larkmere.sql(
        f"""
        select count(*) filter ({SIGHTING_CHECKS[row["fault"]]}) as as_told
        from ingest.sightings where sighting_id in ({_quoted(row)})
        """
    )
    assert found == {"as_told": int(row["count"])}


@pytest.mark.parametrize("row", _of(ASIDE))
def test_rows_that_are_set_aside(larkmere: LarkmereRun, row: dict[str, str]) -> None:
    id_column = {"trees": "Tree No", "sightings": "sighting_id", "inspections": "inspection_id"}
    by_row = row["row_ids"].startswith("#")
    what = "q.row" if by_row else f"q.original ->> '$.\"{id_column[row['input']]}\"'"
    (found,) = larkmere.sql(
        f"""
        select count(*) as n from ingest.quarantine q join ingest.sources s using (source_key)
        where s.file = '{row["file"]}' and q.code = '{ASIDE[row["fault"]]}'
          and cast({what} as varchar) in ({_quoted(row)})
        """
    )
    assert found == {"n": int(row["count"])}


@pytest.mark.parametrize("row", _of(BY_ROW))
def test_faults_of_ids(larkmere: LarkmereRun, row: dict[str, str]) -> None:
    (found,) = larkmere.sql(
        f"""
        select count(*) as n from ingest.trees t join ingest.sources s using (source_key)
        where s.file = '{row["file"]}' and t.row in ({_quoted(row)})
          and {BY_ROW[row["fault"]]}
        """
    )
    assert found == {"n": int(row["count"])}


def test_nothing_is_set_aside_that_was_not_planted(larkmere: LarkmereRun) -> None:
    expected = sum(int(row["count"]) for row in planted() if row["expected"] == "set_aside")
    assert len(larkmere.table("ingest.quarantine")) == expected


def test_rows_that_need_review_are_on_the_list(larkmere: LarkmereRun) -> None:
    for row in planted():
        if row["expected"] != "review" or row["input"] != "sightings":
            continue
        listed = larkmere.sql(
            f"""
            select distinct s.sighting_id
            from scoring.reviews r join ingest.sightings s using (sighting_key)
            where s.sighting_id in ({_quoted(row)})
            """
        )
        found = {one["sighting_id"] for one in listed}
        expected = int(row["count"])
        if row["fault"] == "sighting_between_two_trees":
            # A host told for certain settles between two trees what the place leaves open, where
            # one of them alone is of that host.
            settled = larkmere.sql(
                f"""
                select s.sighting_id, c.probability, s.host_certain, s.host_text, t.species
                from scoring.sighting_trees c join ingest.sightings s using (sighting_key)
                join ingest.trees t on t.tree_key = c.tree_key
                where c.attached and s.sighting_id in ({_quoted(row)})
                """
            )
            assert all(one["host_certain"] and one["probability"] >= 0.9 for one in settled)
            assert all(one["host_text"] == one["species"] for one in settled)
            assert len(settled) <= expected / 2
            expected -= len(settled)
            found -= {one["sighting_id"] for one in settled}
        assert len(found) == expected, row["fault"]
