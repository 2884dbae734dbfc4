"""Marks that turn the direction of writing are taken out of what is read, and said."""

import json
from pathlib import Path

import pytest

from tests.ingest.little_city import LittleCity, inventory, tree

# The nine characters of Unicode Standard Annex 9, table of explicit formatting characters.
MARKS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


@pytest.mark.parametrize("mark", MARKS)
def test_a_mark_is_taken_out_and_said(tmp_path: Path, mark: str) -> None:
    text = inventory(tree(1, notes=f"do not {mark}fell\u2013me"), tree(2, notes="Stra\u00dfe"))
    city = LittleCity(tmp_path).ingest({"trees.csv": text})
    (found,) = (row for row in city.rows("findings") if row["code"] == "direction_mark")
    assert found["done"] == "mended"
    assert found["column"] == "notes"
    assert found["value"] == f"do not <U+{ord(mark):04X}>fell\u2013me"
    assert found["row"] == 31
    assert city.trees()["T1"]["notes"] == "do not fell\u2013me"


def test_an_id_with_a_mark_is_the_id_without_it(tmp_path: Path) -> None:
    city = LittleCity(tmp_path).ingest({"trees.csv": inventory(tree(1, tree_id="T\u202e1"))})
    assert "T1" in city.trees()


def test_rows_set_aside_carry_no_mark(tmp_path: Path) -> None:
    rows = (tree(1, longitude="", latitude="", notes="\u202ereversed"), "T3,\u20671")
    city = LittleCity(tmp_path).ingest({"trees.csv": inventory(*rows)})
    originals = [json.loads(str(row["original"])) for row in city.rows("quarantine")]
    assert [row.get("notes") for row in originals] == ["reversed", None]
    assert not any(mark in str(originals) for mark in MARKS)
