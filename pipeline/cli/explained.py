"""An explanation as lines of text: one knot after the other, sources at the foot."""

import shutil
import sys
import textwrap
import unicodedata
from collections.abc import Iterator, Mapping
from typing import Any

import typer

from pipeline.published.sentences import PAGE, Texts
from pipeline.render.figures import basis_words, figures
from pipeline.render.pages.tree_pages import rating_said

_INDENT = "    "
_NARROWEST, _WIDEST = 40, 100
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})
_PERCENT = 100
Told = Mapping[str, Any]


def shown(text: str) -> str:
    """Text from a file with nothing in it that a terminal obeys or that turns what is read."""
    return "".join(
        f"\\u{ord(mark):04x}" if unicodedata.category(mark) in _HIDDEN else mark for mark in text
    )


def lines(told: Told, t: Texts, *, asked: str, of: int) -> Iterator[str]:
    """The lines of an explanation, wrapped where they go to a terminal and bare where not.

    Parameters
    ----------
    told : as pipeline.render.explain says, with the run.
    t : the table of sentences.
    asked : the id that was asked for.
    of : how many trees carry that id.
    """
    page = _Page(t)
    trees = told["trees"]
    if of > 1:
        names = ", ".join(tree["tree_id"] for tree in trees)
        rest = page.say("rest", number=of - len(trees)) if of > len(trees) else ""
        yield from page.line(page.say("several", number=of, asked=asked, trees=names, rest=rest))
        yield ""
    for tree in trees:
        yield from _tree(page, tree, told["run"])
        yield ""
    yield from page.sources()
    yield page.bold(page.say("cautions"))
    for caution in told["cautions"]:
        yield from page.line(caution)


def _tree(page: "_Page", tree: Told, run: Told) -> Iterator[str]:
    species = tree["species"] or page.say("species_unknown")
    yield page.bold(page.say("head", tree=shown(tree["tree_id"]), species=shown(species)))
    where = _where(page, tree)
    yield from page.line(page.say("run", city=run["city"], day=run["as_of"], where=where))
    if tree["make_safe"]:
        yield from page.line(f"{page.say('make_safe')} {page.say('keep_out')}")
    if tree["no_climb"]:
        yield from page.line(f"{page.say('no_climb')} {page.say('how_else')}")
    rating = rating_said(tree, page.t)
    yield from page.line(page.say("rating", rating=rating, action=tree["action"]))
    for asked in tree["asked"]:
        yield from page.line(page.say("asked", sentence=asked["sentence"]))
    for knot in tree["knots"]:
        yield from _knot(page, knot, tree)


def _where(page: "_Page", tree: Told) -> str:
    place = ", ".join(shown(name) for name in (tree["street"], tree["ward"]) if name)
    dbh, height = tree["measures"]["dbh_cm"], tree["measures"]["height_m"]
    stem, tall = page.say("no_stem"), page.say("no_height")
    if dbh["value"] is not None:
        stem = page.say("stem", cm=f"{dbh['value']:.0f}")
    if height["value"] is not None:
        known = "height_filled" if height["assumed"] else "height"
        tall = page.say(known, metres=f"{height['value']:.0f}")
    return page.say("where", place=place or page.say("no_place"), stem=stem, height=tall)


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
            yield from page.line(*_decay(page, part))
    if knot["link"] == "action":
        for job in tree["work"]:
            yield from page.line(job["sentence"])
        if len(tree["weighed"]) > 1:
            yield from page.line(page.say("weighed"), inset=False)
            for row in tree["weighed"]:
                left = row["rating_left"]
                said = page.t.word("rating", left) if left else page.say("keeps")
                chosen = f" {page.say('chosen')}" if row["chosen"] else ""
                yield from page.line(f"- {row['action']}{chosen}: {said}", inset=True)


def _statement(page: "_Page", statement: Told) -> Iterator[str]:
    source = statement["source"]
    number = f" [{page.number(source)}]" if source else ""
    assumed = f" {page.say('assumed')}" if statement["assumed"] else ""
    yield from page.line(f"{statement['sentence']}{assumed}{number}")
    values = figures(statement["values"], page.t)
    if values:
        yield from page.line(page.say("values", values="; ".join(values)), inset=True)
    if source and source["locator"]:
        where = page.say("locator", number=page.number(source), where=source["locator"])
        yield from page.line(where, inset=True)
    if statement["note"]:
        yield from page.line(page.say("note", note=statement["note"]), inset=True)
    if statement["basis"] and statement["basis"] != "published":
        basis = basis_words(statement["basis"], page.t)
        yield from page.line(page.say("basis", basis=basis), inset=True)


def _decay(page: "_Page", part: Told) -> Iterator[str]:
    values = {name: one["value"] for name, one in part["values"].items()}
    if values["decayed_share"] is None:
        return
    low, high = values["decayed_share_low"], values["decayed_share_high"]
    span = ""
    if low is not None and high is not None:
        span = page.say("span", low=_percent(low), high=_percent(high))
    yield page.say(
        "decay",
        share=_percent(values["decayed_share"]),
        part=page.t.word("card", part["part"]),
        span=span,
        basis=page.t.word("rests", part["basis"]),
    )


def _percent(share: float) -> str:
    return f"{share * _PERCENT:.0f}"


class _Page:
    """Breaks lines for where they go, and numbers the sources in the order of their first use."""

    def __init__(self, t: Texts) -> None:
        """See where the lines go."""
        self.t = t
        self._plain = not sys.stdout.isatty()
        columns = shutil.get_terminal_size().columns
        self._width = min(max(columns, _NARROWEST), _WIDEST)
        self._sources: dict[str, tuple[int, str]] = {}

    def say(self, variant: str, /, **told: object) -> str:
        """A line of the table of sentences."""
        return self.t.of(PAGE, "tree", variant, **told)

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
        yield self.bold(self.say("sources"))
        for number, citation in self._sources.values():
            yield from self.line(f"[{number}] {citation}")
        yield ""
