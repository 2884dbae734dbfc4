"""Earlier vintages: pairing by id and by place, what counts as a change, what is refused."""

from pathlib import Path

import pytest

from pipeline.errors import InputError
from tests.ingest.little_city import HEADER, LAT, LON, LittleCity, inventory, tree

BOTH = (
    '[[inputs.trees]]\nfiles=["trees.csv"]\n'
    '[[inputs.earlier_trees]]\nfiles=["old.csv"]\nsurveyed_on={day}\n'
)
Change = tuple[object, object, object, object]


def compared(folder: Path, now: str, old: str, *, day: str = "2020-12-31") -> LittleCity:
    return LittleCity(folder).ingest(
        {"trees.csv": now, "old.csv": old}, inputs=BOTH.format(day=day)
    )


def told(city: LittleCity) -> list[Change]:
    names = ("change", "tree_id", "before", "after")
    return [tuple(row[name] for name in names) for row in city.rows("history")]  # type: ignore[misc]


def test_the_same_inventory_twice_has_no_history(tmp_path: Path) -> None:
    assert told(compared(tmp_path, inventory(), inventory())) == []


def test_each_kind_of_change(tmp_path: Path) -> None:
    old = inventory(
        tree(1), tree(2), tree(3), tree(4, species="Acer"), tree(5), tree(6), tree(7, dbh_cm="")
    )
    now = inventory(
        tree(2, dbh_cm="20"), tree(3, species="Tilia cordata"), tree(4), tree(5, dbh_cm="29"),
        tree(6, latitude=f"{LAT + 0.005:.6f}"), tree(7), tree(8),
    )  # fmt: skip
    city = compared(tmp_path, now, old)
    assert told(city) == [
        ("vanished", "T1", "Acer rubrum, 30 cm", None),
        ("new", "T8", None, "Acer rubrum, 30 cm"),
        ("species_changed", "T3", "Acer rubrum", "Tilia cordata"),
        ("species_respelt", "T4", "Acer", "Acer rubrum"),
        ("shrank", "T2", "30 cm", "20 cm"),
        ("shrank", "T5", "30 cm", "29 cm"),
        ("moved", "T6", None, city.rows("history")[-1]["after"]),
    ]
    assert str(city.rows("history")[-1]["after"]).endswith("m away")
    assert city.codes("findings") == {"dbh_shrank": 1, "species_changed": 1}
    assert "dbh_shrank" in str(city.trees()["T2"]["flags"])
    assert "dbh_shrank" not in str(city.trees()["T5"]["flags"])  # a centimetre is reading
    assert "T1" not in city.trees()


def test_two_trees_under_one_id_are_paired_by_place(tmp_path: Path) -> None:
    far = f"{LON + 0.004:.6f}"
    oak = tree(1, longitude=far, species="Quercus robur", dbh_cm="80")
    city = compared(tmp_path, inventory(oak, tree(1)), inventory(tree(1), oak))
    assert told(city) == []
    lost = compared(tmp_path, inventory(oak), inventory(tree(1), oak))
    assert told(lost) == [("vanished", "T1", "Acer rubrum, 30 cm", None)]


def test_rows_without_an_id_cannot_be_followed_and_are_told(tmp_path: Path) -> None:
    blank = tree(1, tree_id="")
    city = compared(tmp_path, inventory(blank), inventory(blank, tree(2, tree_id="")))
    assert [change[0] for change in told(city)] == ["new"]
    assert city.codes("quarantine") == {"id_missing": 2}
    source = city.rows("sources")[1]
    assert (source["input"], source["rows_in"], source["rows_set_aside"]) == (
        "earlier_trees", 32, 2,
    )  # fmt: skip


def test_an_id_that_names_no_tree_is_a_filler(tmp_path: Path) -> None:
    fillers = [tree(n, tree_id="0") for n in range(60)]
    city = compared(tmp_path, inventory(), inventory(*fillers))
    assert city.codes("quarantine") == {"id_filler": 60}
    assert told(city) == []


def test_several_vintages_are_each_compared(tmp_path: Path) -> None:
    inputs = BOTH.format(day="2020-12-31") + (
        '[[inputs.earlier_trees]]\nfiles=["older.csv"]\nsurveyed_on=2010-12-31\n'
    )
    city = LittleCity(tmp_path).ingest(
        {"trees.csv": inventory(), "old.csv": inventory(tree(1)),
         "older.csv": inventory(tree(1), tree(2))},
        inputs=inputs,
    )  # fmt: skip
    rows = [(str(row["surveyed_on"]), row["tree_id"]) for row in city.rows("history")]
    assert rows == [("2010-12-31", "T1"), ("2010-12-31", "T2"), ("2020-12-31", "T1")]


def test_an_earlier_row_without_a_place_still_has_its_id(tmp_path: Path) -> None:
    text = "tree_id,species\nT100,Acer rubrum\nT1,Acer rubrum\n"
    city = compared(tmp_path, inventory(), text)
    changes = {(row["change"], row["tree_id"]) for row in city.rows("history")}
    assert ("vanished", "T1") in changes
    assert not any(name == "T100" for _, name in changes)


@pytest.mark.parametrize(
    ("old", "day", "said"),
    [
        (inventory(), "2030-01-01", "surveyed on 2030-01-01"),
        (HEADER.removeprefix("tree_id,") + "\n" + tree(1, tree_id="").removeprefix(",") + "\n",
         "2020-12-31", "no id in any row"),
    ],
)  # fmt: skip
def test_a_vintage_that_cannot_be_compared(tmp_path: Path, old: str, day: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        compared(tmp_path, inventory(), old, day=day)
    assert said in caught.value.found
