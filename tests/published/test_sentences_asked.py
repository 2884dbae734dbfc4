"""What the code asks of the table of sentences stands there with the same placeholders."""

import ast
import string
from collections.abc import Iterator
from pathlib import Path

import pytest
from jinja2 import nodes

from pipeline.published.sentences import ASKS, GROUPS, LEFT_OUT, PAGE, SAYS, SHEET, english
from pipeline.render.files import environment
from tests.conftest import ROOT

Place = tuple[str, str, str]
_NAMES = {"SAYS": SAYS, "ASKS": ASKS, "LEFT_OUT": LEFT_OUT, "SHEET": SHEET, "PAGE": PAGE}
# Short forms of a module: what each call of that name asks for.
_SHORT: dict[str, dict[str, tuple[str, ...]]] = {
    "pipeline/render/hazards.py": {"_say": (SHEET,)},
    "pipeline/render/explain.py": {"_say": (PAGE, "job")},
    "pipeline/cli/explained.py": {"say": (PAGE, "tree")},
    "pipeline/render/wording_reviews.py": {
        "say": (ASKS, "sighting_ambiguous"), "_of_tree": (ASKS,), "_of_sighting": (ASKS,),
    },
}  # fmt: skip
# What a short form tells beside what the call does.
_TOLD = {"_of_tree": {"tree"}, "_of_sighting": {"seen"}}
_ANY = {"say": (SAYS,), "ask": (ASKS,), "of": ()}


def _placeholders(place: Place) -> set[str]:
    parsed = string.Formatter().parse(english().lines[place])
    return {name for _, name, _, _ in parsed if name is not None}


def _literal(node: ast.expr) -> str | None:
    if isinstance(node, ast.Name):
        return _NAMES.get(node.id)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


def _asked(path: Path) -> Iterator[tuple[Place, set[str] | None, str]]:
    """Places asked for by name, with what is told (None where it is not seen here), and where."""
    name = path.relative_to(ROOT).as_posix()
    kinds = _ANY | _SHORT.get(name, {})
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute | ast.Name):
            continue
        called = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
        first = kinds.get(called)
        if first is None or (called == "of" and not _groups(node)):
            continue
        words = [_literal(one) for one in node.args]
        if not words or None in words:  # the words are made there, not told
            continue
        place = (*first, *(word for word in words if word is not None))
        told: set[str] | None = _TOLD.get(called, set()) | {str(one.arg) for one in node.keywords}
        if any(one.arg is None for one in node.keywords):
            told = None
        group, of, variant = (*place, "")[:3]
        yield (group, of, variant), told, f"{name}:{node.lineno}"


def _groups(node: ast.Call) -> bool:
    return bool(node.args) and isinstance(node.args[0], ast.Name) and node.args[0].id in _NAMES


_MODULES = sorted((ROOT / "pipeline").rglob("*.py"))


def test_each_sentence_that_a_module_names_stands_there_with_what_it_is_told() -> None:
    seen = 0
    for path in _MODULES:
        for place, told, where in _asked(path):
            assert place in english().lines, f"{where}: {place}"
            if told is not None:
                assert told == _placeholders(place), f"{where}: {place}"
            seen += 1
    assert seen > 150, "the calls are found"


@pytest.mark.parametrize(
    ("page", "of", "least"),
    [("tree.html.j2", (PAGE, "tree"), 30), ("crew_sheet.html.j2", (SHEET, "card"), 20)],
)
def test_each_sentence_that_a_page_names_stands_there(
    page: str, of: tuple[str, str], least: int
) -> None:
    loader = environment().loader
    assert loader is not None
    source, _, _ = loader.get_source(environment(), page)
    seen = 0
    for call in environment().parse(source).find_all(nodes.Call):
        if not (isinstance(call.node, nodes.Name) and call.node.name == "say"):
            continue
        variant = call.args[0]
        both = [variant.expr1, variant.expr2] if isinstance(variant, nodes.CondExpr) else [variant]
        for one in both:
            assert isinstance(one, nodes.Const)
            place = (*of, one.value)
            assert place in english().lines, place
            assert {told.key for told in call.kwargs} == _placeholders(place), place
            seen += 1
    assert seen > least, "the calls are found"


def _named(word: str, known: set[str]) -> bool:
    """Whether the code has the word, or puts it together of one and what it counts."""
    return any(word.removesuffix(ending) in known for ending in ("", "_one", "_several"))


@pytest.mark.parametrize("group", GROUPS)
def test_no_sentence_stands_there_that_nothing_asks_for(group: str) -> None:
    texts = [path.read_text(encoding="utf-8") for path in _MODULES]
    known = {
        node.value
        for text in texts
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    pages = (ROOT / "pipeline" / "render" / "templates").glob("*.html.j2")
    page = "".join(path.read_text(encoding="utf-8") for path in pages)
    idle = [
        f"{name}.{variant}"
        for of, name, variant in english().lines
        if of == group
        for word in (name, variant)
        if word and not _named(word, known) and f'"{word}"' not in page
    ]
    assert idle == []
