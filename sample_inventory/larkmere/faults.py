"""Faults planted on purpose in the tree files, and the list of all of them.

Every fault sits on trees that no other file speaks of, and no tree carries two faults, so that a
count has one meaning.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from larkmere.draws import Draws
from larkmere.geometry import degrees
from larkmere.species import MISSPELT, SYNONYMS, UNKNOWN_NAMES
from larkmere.trees import Tree

Row = dict[str, str]
COLUMNS = ("fault", "input", "file", "count", "row_ids", "expected", "note")


@dataclass
class Register:
    """The list of planted faults."""

    rows: list[Row] = field(default_factory=list)

    def add(
        self, fault: str, where: tuple[str, str], ids: list[str], what: tuple[str, str]
    ) -> None:
        """Note one fault: (input, file), the ids of its rows, (expected, note)."""
        self.rows.append({
            "fault": fault, "input": where[0], "file": where[1], "count": str(len(ids)),
            "row_ids": "|".join(ids), "expected": what[0], "note": what[1],
        })  # fmt: skip


class Planter:
    """Takes trees for faults, each once, and writes the faults into their rows.

    Parameters
    ----------
    rows : the rows of trees.csv by tree id, changed in place.
    """

    def __init__(self, trees: list[Tree], rows: dict[str, Row], register: Register, draws: Draws
                 ) -> None:  # fmt: skip
        """Shuffle the trees that may carry a fault."""
        free = [t for t in trees if t.ward != 5 and t.status == "standing" and not t.uses]
        self.pool = draws.shuffled(free)
        self.rows, self.register, self.draws = rows, register, draws
        self.extra: list[Row] = []

    def take(self, count: int, fit: Callable[[Tree], bool] = lambda _: True) -> list[Tree]:
        """The next trees of the pool that fit.

        Raises
        ------
        LookupError
            If the pool holds too few of them.
        """
        chosen = [tree for tree in self.pool if fit(tree)][:count]
        if len(chosen) < count:
            msg = f"only {len(chosen)} trees fit, {count} are needed"
            raise LookupError(msg)
        gone = {tree.tree_id for tree in chosen}
        self.pool = [tree for tree in self.pool if tree.tree_id not in gone]
        return chosen

    def note(self, fault: str, ids: list[str], expected: str, text: str) -> None:
        """Enter a fault of trees.csv in the list."""
        self.register.add(fault, ("trees", "trees.csv"), ids, (expected, text))

    def put(self, fault: str, column: str, texts: list[str], what: tuple[str, str]) -> None:
        """Write each text into a column of its own tree."""
        chosen = self.take(len(texts))
        for tree, text in zip(chosen, texts, strict=True):
            self.rows[tree.tree_id][column] = text
        self.note(fault, [tree.tree_id for tree in chosen], *what)


def plant(planter: Planter) -> None:
    """Plant every fault of trees.csv."""
    _diameters(planter)
    _names(planter)
    _dates_and_words(planter)
    _markup(planter)
    _places(planter)
    _ids(planter)


def _diameters(p: Planter) -> None:
    chosen = p.take(40)
    for number, tree in enumerate(chosen):
        text = f"{tree.dbh_cm:.1f} cm"
        p.rows[tree.tree_id]["DBH (in)"] = text.replace(".", ",") if number % 2 else text
    p.note("dbh_with_own_unit", [t.tree_id for t in chosen], "accepted_as_is",
           "the value carries its own unit, half of them with a decimal comma")  # fmt: skip
    chosen = p.take(25)
    for tree in chosen:
        p.rows[tree.tree_id]["DBH (in)"] = f"{tree.dbh_cm / 2.54:.1f}".replace(".", ",")
    p.note("dbh_decimal_comma", [t.tree_id for t in chosen], "accepted_as_is",
           "inches with a decimal comma")  # fmt: skip
    texts = ["", "", "NULL", "n/a"] * 30
    p.put("dbh_missing", "DBH (in)", texts, ("accepted_as_is", "no diameter was entered"))
    for fault, text, count in (
        ("dbh_zero", "0", 14), ("dbh_negative", "-3", 5), ("dbh_impossible", "1000000", 4),
        ("dbh_not_a_number", "big", 3),
    ):  # fmt: skip
        p.put(fault, "DBH (in)", [text] * count, ("emptied", f"the cell says {text}"))


def _names(p: Planter) -> None:
    for fault, pairs, each, what in (
        ("species_synonym", SYNONYMS, 4, ("accepted_as_is", "a name that botanists gave up")),
        ("species_misspelt", MISSPELT, 4, ("flagged", "a slip of the pen, meaning clear")),
    ):  # fmt: skip
        ids = []
        for written, meant in pairs:
            for tree in p.take(each, _is_species(meant)):
                p.rows[tree.tree_id]["Species"] = written
                ids.append(tree.tree_id)
        p.note(fault, ids, *what)
    genera = ("Quercus", "Acer", "Ulmus", "Prunus", "Tilia")
    ids = []
    for genus in genera:
        for tree in p.take(12, _is_genus(genus)):
            p.rows[tree.tree_id] |= {"Species": f"{genus} sp.", "Common Name": ""}
            ids.append(tree.tree_id)
    p.note("species_genus_only", ids, "accepted_as_is", "only the genus was written; it is kept")
    _no_name(p, "species_unknown", [UNKNOWN_NAMES[n % len(UNKNOWN_NAMES)] for n in range(12)],
             ("flagged", "names no plant; kept as unknown"))  # fmt: skip
    _no_name(p, "species_missing", [""] * 12, ("accepted_as_is", "no species was entered"))
    chosen = p.take(10, lambda tree: tree.species.genus in {"Acer", "Quercus", "Tilia"})
    for tree in chosen:
        p.rows[tree.tree_id]["Species"] = ""
    p.note("species_common_name_only", [t.tree_id for t in chosen], "accepted_as_is",
           "only the common name was entered")  # fmt: skip


def _no_name(p: Planter, fault: str, texts: list[str], what: tuple[str, str]) -> None:
    chosen = p.take(len(texts))
    for tree, text in zip(chosen, texts, strict=True):
        p.rows[tree.tree_id] |= {"Species": text, "Common Name": ""}
    p.note(fault, [tree.tree_id for tree in chosen], *what)


def _is_species(name: str) -> Callable[[Tree], bool]:
    return lambda tree: tree.species.name == name


def _is_genus(genus: str) -> Callable[[Tree], bool]:
    return lambda tree: tree.species.genus == genus


def _dates_and_words(p: Planter) -> None:
    dated = p.take(36, lambda tree: tree.planted is not None)
    styles = ("{y}-04-17", "04/17/{y}", "17.04.{y}")
    for number, tree in enumerate(dated):
        p.rows[tree.tree_id]["Planted"] = styles[number % 3].format(y=tree.planted)
    p.note("date_in_three_styles", [t.tree_id for t in dated], "accepted_as_is",
           "ISO, month/day/year and day.month.year, beside plain years")  # fmt: skip
    p.put("date_year_9999", "Planted", ["9999"] * 4, ("emptied", "the year 9999"))
    p.put("status_unknown_word", "State", ["See file"] * 3, ("flagged", "no known state"))


def _markup(p: Planter) -> None:
    kept = "accepted_as_is"
    p.put("markup_in_street", "Street", ["<b>Main Street</b>", "<i>Bell</i> Street"],
          (kept, "markup must reach no page as markup"))  # fmt: skip
    p.put("markup_in_notes", "Notes",
          ["<script>alert('larkmere')</script>", "<img src=x onerror=alert(1)> stub"],
          (kept, "markup must reach no page as markup"))  # fmt: skip
    p.put("formula_in_notes", "Notes",
          ["=1+1", '=HYPERLINK("larkmere")', "+see sheet 2", "@crew north", "-check the tie"],
          (kept, "must stay inert in a sheet"))  # fmt: skip
    p.put("line_break_in_notes", "Notes", ["Stake gone\nGuard rusty"] * 2,
          (kept, "a line break inside quotes is one cell"))  # fmt: skip


def _places(p: Planter) -> None:
    chosen = p.take(14)
    for tree in chosen:
        row = p.rows[tree.tree_id]
        row["Lat"], row["Lon"] = row["Lon"], row["Lat"]
    p.note("lonlat_swapped", [t.tree_id for t in chosen], "flagged",
           "latitude and longitude changed places")  # fmt: skip
    far = p.take(5)
    for number, tree in enumerate(far):
        longitude, latitude = degrees((2600.0 + 900 * number, -1800.0 - 350 * number))
        p.rows[tree.tree_id] |= {"Lon": f"{longitude:.6f}", "Lat": f"{latitude:.6f}", "Ward": ""}
    p.note("outside_town", [t.tree_id for t in far], "flagged",
           "one to five kilometres outside every ward")  # fmt: skip
    zero = p.take(3)
    for tree in zero:
        p.rows[tree.tree_id] |= {"Lon": "0", "Lat": "0"}
    p.note("at_zero_zero", [t.tree_id for t in zero], "set_aside", "longitude 0, latitude 0")
    _no_place(
        p,
        "no_place_danger",
        ["Root plate lifting on the path side after the October storm"],
        "no place; its note means danger, so it must head the list of what needs a person",
    )
    _no_place(p, "no_place", ["Moved from the old list", "", "Stump ground in spring"],
              "no place and no words of danger")  # fmt: skip


def _no_place(p: Planter, fault: str, notes: list[str], text: str) -> None:
    chosen = p.take(len(notes))
    for tree, note in zip(chosen, notes, strict=True):
        p.rows[tree.tree_id] |= {"Lon": "", "Lat": "", "Notes": note}
    p.note(fault, [t.tree_id for t in chosen], "set_aside", text)


def _ids(p: Planter) -> None:
    for tree in p.take(12):
        p.extra.append({**p.rows[tree.tree_id], "fault": "id_exact_duplicate"})
    for pair in zip(p.take(8), p.take(8), strict=True):
        giver, taker = sorted(pair, key=lambda tree: tree.tree_id)
        p.rows[taker.tree_id] |= {"Tree No": giver.tree_id, "fault": "id_repeated_elsewhere"}
    for tree in p.take(10):
        p.rows[tree.tree_id] |= {"Tree No": "", "fault": "id_missing"}
