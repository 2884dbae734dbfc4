"""An explanation as lines of text: one knot after the other, sources at the foot."""

import shutil
import sys
import textwrap
import unicodedata
from collections.abc import Iterator, Mapping
from typing import Any

import typer

from pipeline.render.figures import basis_words, figures

_INDENT = "    "
_NARROWEST, _WIDEST = 40, 100
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})
_PERCENT = 100
_BASES = {"measured": "a measurement", "seen": "what was seen", "fungus": "the fungus"}
_KEPT = "keeps people out while the tree stays as it is"
Told = Mapping[str, Any]


def shown(text: str) -> str:
    """Text from a file with nothing in it that a terminal obeys or that turns what is read."""
    return "".join(
        f"\\u{ord(mark):04x}" if unicodedata.category(mark) in _HIDDEN else mark for mark in text
    )


def lines(told: Told, *, asked: str, of: int) -> Iterator[str]:
    """The lines of an explanation, wrapped where they go to a terminal and bare where not.

    Parameters
    ----------
    told : as pipeline.render.explain says, with the run.
    asked : the id that was asked for.
    of : how many trees carry that id.
    """
    page = _Page()
    trees = told["trees"]
    if of > 1:
        names = ", ".join(tree["tree_id"] for tree in trees)
        rest = f" and {of - len(trees)} more, not told here" if of > len(trees) else ""
        yield from page.line(f"{of} trees carry the id {asked} in the inventory: {names}{rest}.")
        yield ""
    for tree in trees:
        yield from _tree(page, tree, told["run"])
        yield ""
    yield from page.sources()
    yield page.bold("Cautions")
    for caution in told["cautions"]:
        yield from page.line(caution)


def _tree(page: "_Page", tree: Told, run: Told) -> Iterator[str]:
    yield page.bold(f"Tree {shown(tree['tree_id'])}: {shown(tree['species'] or 'unknown species')}")
    yield from page.line(f"{run['city']}, run of {run['as_of']}. {_where(tree)}")
    if tree["make_safe"]:
        yield from page.line(
            "Make safe first: keep people out from under this tree until a qualified person has "
            "been there."
        )
    if tree["no_climb"]:
        yield from page.line(
            "Do not climb, and do not stand under the crown. Use a lift or a crane, or fell from "
            "the ground, by people qualified for it."
        )
    yield from page.line(f"Rating: {tree['rating']}. Action: {tree['action']}.")
    for asked in tree["asked"]:
        yield from page.line(f"For a person to look at: {asked['sentence']}")
    for knot in tree["knots"]:
        yield from _knot(page, knot, tree)


def _where(tree: Told) -> str:
    place = ", ".join(shown(name) for name in (tree["street"], tree["ward"]) if name)
    dbh, height = tree["measures"]["dbh_cm"], tree["measures"]["height_m"]
    stem = f"{dbh['value']:.0f} cm" if dbh["value"] is not None else "not on record"
    tall = "not known"
    if height["value"] is not None:
        tall = f"{height['value']:.0f} m{' (estimated)' if height['assumed'] else ''}"
    return f"Place: {place or 'not recorded'}. Stem: {stem}; height: {tall}."


def _knot(page: "_Page", knot: Told, tree: Told) -> Iterator[str]:
    if not (knot["statements"] or knot["missing"]):
        return
    yield ""
    yield page.bold(knot["title"])
    if knot["missing"]:
        yield from page.line(knot["missing"])
    for statement in knot["statements"]:
        yield from _statement(page, statement)
    told = {statement["statement"] for statement in knot["statements"]}
    if knot["link"] == "wood" and "wood_left" not in told:
        for part in tree["decay"]:
            yield from page.line(*_decay(part))
    if knot["link"] == "action":
        for job in tree["work"]:
            yield from page.line(job["sentence"])
        weighed = [
            f"{row['action']}{' (chosen)' if row['chosen'] else ''}: {row['rating_left'] or _KEPT}"
            for row in tree["weighed"]
        ]
        if len(weighed) > 1:
            yield from page.line("What was weighed, and the rating left:", inset=False)
            for row in weighed:
                yield from page.line(f"- {row}", inset=True)


def _statement(page: "_Page", statement: Told) -> Iterator[str]:
    source = statement["source"]
    number = f" [{page.number(source)}]" if source else ""
    assumed = " Assumed." if statement["assumed"] else ""
    yield from page.line(f"{statement['sentence']}{assumed}{number}")
    values = figures(statement["values"])
    if values:
        yield from page.line(f"Values: {'; '.join(values)}.", inset=True)
    if source and source["locator"]:
        yield from page.line(f"Where in [{page.number(source)}]: {source['locator']}.", inset=True)
    if statement["note"]:
        yield from page.line(f"Note: {statement['note']}.", inset=True)
    if statement["basis"] and statement["basis"] != "published":
        yield from page.line(f"Basis of the rule: {basis_words(statement['basis'])}.", inset=True)


def _decay(part: Told) -> Iterator[str]:
    values = {name: one["value"] for name, one in part["values"].items()}
    if values["decayed_share"] is None:
        return
    low, high = values["decayed_share_low"], values["decayed_share_high"]
    span = "" if low is None or high is None else f" ({_percent(low)} to {_percent(high)})"
    yield (
        f"{_percent(values['decayed_share'])} of the {part['part']}'s diameter decayed{span}; it "
        f"rests on {_BASES[part['basis']]}."
    )


def _percent(share: float) -> str:
    return f"{share * _PERCENT:.0f} %"


class _Page:
    """Breaks lines for where they go, and numbers the sources in the order of their first use."""

    def __init__(self) -> None:
        """See where the lines go."""
        self._plain = not sys.stdout.isatty()
        columns = shutil.get_terminal_size().columns
        self._width = min(max(columns, _NARROWEST), _WIDEST)
        self._sources: dict[str, tuple[int, str]] = {}

    def bold(self, text: str) -> str:
        """A heading."""
        return text if self._plain else typer.style(text, bold=True)

    def line(self, *texts: str, inset: bool = False) -> Iterator[str]:
        """Texts broken to the width of the terminal; whole where no terminal reads them."""
        start = _INDENT if inset else ""
        for text in texts:
            whole = start + shown(text)
            if self._plain:
                yield whole
                continue
            yield from textwrap.wrap(
                whole, self._width, subsequent_indent=f"{start}  ", break_on_hyphens=False
            )

    def number(self, source: Told) -> int:
        """Number of a source in the list at the foot."""
        known = self._sources.setdefault(source["id"], (len(self._sources) + 1, source["citation"]))
        return known[0]

    def sources(self) -> Iterator[str]:
        """The list at the foot."""
        if not self._sources:
            return
        yield self.bold("Sources")
        for number, citation in self._sources.values():
            yield from self.line(f"[{number}] {citation}")
        yield ""
