"""No number that bears on safety hides in the maths: it sits in a table, with its source.

In the pure packages of the scoring stage a float literal other than 0, 1, 2 and 0.5 is refused.
Whole numbers up to a dozen count, index, or are exponents and divisors of the printed formulae;
larger ones are refused as well.
"""

import ast
from pathlib import Path
from typing import cast

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
PURE = (
    "identification", "decay", "mechanics", "failure", "impact", "consequence", "rating", "actions",
)  # fmt: skip
MODULES = sorted(
    path for package in PURE for path in (ROOT / "pipeline" / "scoring" / package).rglob("*.py")
)

FLOATS = {0.0, 0.5, 1.0, 2.0}
LARGEST_COUNT = 12
# What else may stand, with the reason.
ALLOWED = {
    ("decay/section.py", 24): "divisor of Green's theorem for the product moment of a polygon",
    ("mechanics/climate.py", 50.0): "the return period to which the standard's factor is 1",
    (
        "mechanics/lookup.py",
        64,
    ): "fineness of a table, changes speed and the error that tests bound",
    **dict.fromkeys(
        (("mechanics/shared.py", number) for number in (2.5, 5.0, 24, 0.32, 13)),
        "ends and fineness of a table, changes speed and the error that tests bound",
    ),
    ("mechanics/resistance.py", 1000.0): "kilonewtons in a meganewton",
    ("mechanics/wind.py", 1000.0): "newtons in a kilonewton",
    ("actions/inspection.py", 365.25): "days of a year",
    ("actions/restrictions.py", 1970): "the day from which days are counted",
    ("impact/occupancy.py", 24.0): "hours of a day",
    ("impact/occupancy.py", 1000.0): "metres of a kilometre",
    ("impact/reach.py", 64.0): "size of a search cell [m], changes speed and no result",
    ("impact/reach.py", 8192): "pairs of a batch, changes memory and no result",
    ("impact/reach.py", 16): "pieces from which an outline is searched in parts, changes speed",
    ("impact/arcs.py", 60): "directions of the screening pass; a test bounds its error",
    ("impact/arcs.py", 8192): "pairs of a batch, changes memory and no result",
    ("impact/outlines.py", 16): "edges of a piece, changes speed and no result",
    ("impact/outlines.py", 65536): "boxes of a batch, changes memory and no result",
    ("impact/falling.py", 360.0): "degrees of a turn",
    ("impact/falling.py", 0.25): "a quarter turn, from north to east",
    ("actions/restrictions.py", 29): "the leap day",
}


def _numbers(tree: ast.AST) -> list[tuple[int, float]]:
    """Line and value of every numeric literal."""
    return [
        (node.lineno, cast("float", node.value))
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and type(node.value) in {int, float}
    ]


def _strangers(text: str, name: str) -> list[tuple[int, float]]:
    return [
        (line, value)
        for line, value in _numbers(ast.parse(text))
        if (name, value) not in ALLOWED
        and (value > LARGEST_COUNT if type(value) is int else value not in FLOATS)
    ]


def _name(path: Path) -> str:
    return path.relative_to(ROOT / "pipeline" / "scoring").as_posix()


def test_the_pure_packages_are_there() -> None:
    found = {path.parent.name for path in MODULES}
    assert found == set(PURE)


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_no_number_in_the_maths(path: Path) -> None:
    assert _strangers(path.read_text(encoding="utf-8"), _name(path)) == []


def test_every_exemption_is_still_needed() -> None:
    used = {
        (_name(path), value)
        for path in MODULES
        for _, value in _numbers(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert set(ALLOWED) - used == set()


@pytest.mark.parametrize(
    ("code", "caught"),
    [
        ("LIMIT = 0.33", True),
        ("x = d**3 > 0.40", True),
        ("y = -1.5", True),
        ("years = 30", True),
        ("half = D / 2.0 + 0.5 * 1.0 - 0.0", False),
        ("I = R**4 / 12", False),
        ("flag = True", False),
    ],
)
def test_the_search_finds_what_it_should(code: str, caught: bool) -> None:
    assert bool(_strangers(code, "decay/any.py")) == caught
