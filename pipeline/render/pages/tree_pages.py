"""trees/: one page for each tree with evidence or rated above low, the thread with all behind it.

A page holds what `explain` tells of the tree, nothing more. The folder is written under a waiting
name and renamed, so that a run has all of its pages or none.
"""

import shutil
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from pipeline.errors import RenderError
from pipeline.published.sentences import PAGE, Texts
from pipeline.render import tree_names
from pipeline.render.cautions import every_page
from pipeline.render.context import RenderContext
from pipeline.render.explain import explain
from pipeline.render.figures import basis_words, figures
from pipeline.render.files import page, write_text
from pipeline.render.marks import Section
from pipeline.render.wording_numbers import day
from pipeline.terms import (
    ConsequenceWord,
    FailureWord,
    ImpactWord,
    RatingWord,
    from_word,
    word,
)

# Trees whose facts are read in one go: few enough that a city's pages never lie in memory at once.
TOGETHER = 1_000
_STEPS = {
    "failure": ("failure", FailureWord),
    "target": ("impact", ImpactWord),
    "consequence": ("consequence", ConsequenceWord),
    "rating": ("rating", RatingWord),
}
INDEX = "index"


def write(context: RenderContext) -> list[Path]:
    """Write the pages and the list of them, all or none.

    Raises
    ------
    RenderError
        If the folder cannot be written.
    """
    rows = tree_names.paged(context)
    keys, names = rows["tree_key"].to_pylist(), rows["page"].to_pylist()
    folder = context.out / tree_names.FOLDER
    waiting = folder.with_name(f"{folder.name}.waiting")
    listed = []
    try:
        shutil.rmtree(waiting, ignore_errors=True)
        waiting.mkdir(parents=True)
        for stem, tree, text in _pages(context, keys, names):
            (waiting / f"{stem}.html").write_bytes(text.encode("utf-8"))
            listed.append(_listed(stem, tree))
        index = _index(context, listed)
        (waiting / f"{INDEX}.html").write_bytes(index.encode("utf-8"))
        shutil.rmtree(folder, ignore_errors=True)
        waiting.rename(folder)
    except OSError as fault:
        raise RenderError(
            where=str(folder),
            found=f"a folder that cannot be written ({fault.strerror})",
            expected="a writable folder with room",
            remedy="Close programs that hold its files, free space, or choose another --out.",
        ) from fault
    finally:
        shutil.rmtree(waiting, ignore_errors=True)
    return [folder / f"{stem}.html" for stem in (INDEX, *names)]


def write_one(told: Mapping[str, Any], path: Path, t: Texts) -> Path:
    """Write the page of one tree that was explained to a file of its own.

    Raises
    ------
    RenderError
        If the file cannot be written.
    """
    return write_text(path, _text(told["trees"][0], told, t, inside=False))


def _pages(
    context: RenderContext, keys: Sequence[int], names: Sequence[str]
) -> Iterator[tuple[str, dict[str, Any], str]]:
    for first in range(0, len(keys), TOGETHER):
        told = explain(context, keys[first : first + TOGETHER])
        for stem, tree in zip(names[first : first + TOGETHER], told["trees"], strict=True):
            yield stem, tree, _text(tree, told, context.texts, inside=True)


def _text(tree: dict[str, Any], told: Mapping[str, Any], t: Texts, *, inside: bool) -> str:
    """The page of a tree; links to the run's other pages where it lies among them."""
    sources = _Sources()
    knots = [_knot(knot, tree, sources, t) for knot in tree["knots"]]
    return page(
        "tree.html.j2",
        {
            "tree": tree,
            "run": told["run"],
            "as_of": day(told["run"]["as_of"], t),
            "t": t,
            "say": partial(t.of, PAGE, "tree"),
            "rated_as": rating_said(tree, t),
            "inside": inside,
            "knots": knots,
            "sources": sources.listed,
            "rating": _rating(tree),
            "section": _section(tree),
            "drawing": tree["drawing"],
            "cautions": every_page(t),
            "place": ", ".join(name for name in (tree["street"], tree["ward"]) if name),
        },
    )


def rating_said(tree: Mapping[str, Any], t: Texts) -> str:
    """The word of a tree's rating as people read it."""
    return t.word("rating", tree["rating"]) if tree["rated"] else t.of(PAGE, "tree", "not_rated")


def _knot(
    knot: Mapping[str, Any], tree: Mapping[str, Any], sources: "_Sources", t: Texts
) -> dict[str, Any]:
    statements = [
        {
            "sentence": one["sentence"],
            "assumed": one["assumed"],
            "values": figures(one["values"], t),
            "source": sources.number(one["source"]),
            "locator": one["source"]["locator"] if one["source"] else None,
            "note": one["note"],
            "basis": None
            if one["basis"] in {None, "published"}
            else basis_words(str(one["basis"]), t),
        }
        for one in knot["statements"]
    ]
    return {**knot, "statements": statements, "step": _step(knot["link"], tree, t)}


def _step(link: str, tree: Mapping[str, Any], t: Texts) -> dict[str, Any] | None:
    """The word of a link and its place among the words of the trade."""
    if link not in _STEPS:
        return None
    name, kind = _STEPS[link]
    told = tree["rating"] if name == "rating" else tree["words"][name]
    words = [word(one) for one in kind if one > 0]
    if told not in words:
        return None
    return {"word": t.word(name, told), "at": words.index(told) + 1, "of": len(words)}


def _rating(tree: Mapping[str, Any]) -> RatingWord:
    return from_word(RatingWord, tree["rating"]) if tree["rated"] else RatingWord.NOT_ASSESSED


def _section(tree: Mapping[str, Any]) -> Section:
    drawing = tree["drawing"]
    shares = {name: drawing[name] for name in ("decayed_share", "low", "high", "opening_share")}
    return Section(_rating(tree), **shares)


def _listed(stem: str, tree: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "page": stem,
        "tree_id": tree["tree_id"],
        "species": tree["species"],
        "street": tree["street"],
        "rating": _rating(tree),
        "action": tree["action"],
        "make_safe": tree["make_safe"],
        "no_climb": tree["no_climb"],
        "section": _section(tree),
    }


def _index(context: RenderContext, listed: Sequence[Mapping[str, Any]]) -> str:
    wanted = tree_names.count_wanted(context)
    return page(
        "trees_index.html.j2",
        {
            "context": context,
            "trees": listed,
            "wanted": wanted,
            "left": wanted - len(listed),
            "word": word,
            "cautions": every_page(context.texts),
        },
    )


class _Sources:
    """Sources in the order of their first use."""

    def __init__(self) -> None:
        self.listed: list[str] = []
        self._known: dict[str, int] = {}

    def number(self, source: Mapping[str, Any] | None) -> int | None:
        """Number of a source in the list at the foot."""
        if source is None:
            return None
        if source["id"] not in self._known:
            self.listed.append(source["citation"])
            self._known[source["id"]] = len(self.listed)
        return self._known[source["id"]]
