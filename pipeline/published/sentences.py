"""The table of sentences: what is said in words, apart from the code, so that a city can translate.

`config/sentences.toml` holds it in English. `[words.*]` are words by code; `[says.*]` are the
sentences of one statement by variant, `[asks.*]` those of one review, `[left_out.*]` those of work
left out, `[sheet.*]` and `[page.*]` those of crews' sheets and of trees' pages, each with
placeholders such as `{part}` that the program fills. A city gives a file of its own with any of
these; what it leaves out is said in English.
"""

import string
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from pipeline.errors import SettingsError
from pipeline.published.locate import config_dir

FILE = "sentences.toml"
WORDS = "words"
# What holds sentences: of statements, of reviews, of work left out, of crews' sheets, of pages.
SAYS, ASKS, LEFT_OUT, SHEET, PAGE = GROUPS = ("says", "asks", "left_out", "sheet", "page")
_REMEDY = "Mend the file; config/sentences.toml has every line with its placeholders."


@dataclass(frozen=True)
class Texts:
    """A complete table of sentences.

    Parameters
    ----------
    lines : text by its place, as ('says', statement, variant) or ('words', kind, code).
    """

    lines: Mapping[tuple[str, str, str], str]

    def of(self, group: str, name: str, variant: str = "", /, **told: object) -> str:
        """The sentence of a group of sentences; every placeholder of it must be told.

        Raises
        ------
        KeyError
            If there is no such variant or a placeholder is not told: a fault of the program.
        """
        return self.lines[group, name, variant].format_map(told)

    def say(self, statement: str, variant: str = "", /, **told: object) -> str:
        """The sentence of a statement; as `of`."""
        return self.of(SAYS, statement, variant, **told)

    def ask(self, review: str, variant: str = "", /, **told: object) -> str:
        """The sentence of a review; as `of`."""
        return self.of(ASKS, review, variant, **told)

    def word(self, kind: str, code: object, other: str | None = None) -> str:
        """The word for a code; `other`, or the code in plain letters, where there is none."""
        plain = str(code).replace("_", " ") if other is None else other
        return self.lines.get((WORDS, kind, str(code)), plain)

    def words(self, kind: str) -> dict[str, str]:
        """All words of a kind by their codes."""
        return self._kinds.get(kind, {})

    @cached_property
    def _kinds(self) -> dict[str, dict[str, str]]:
        kinds: dict[str, dict[str, str]] = {}
        for (group, kind, code), text in self.lines.items():
            if group == WORDS:
                kinds.setdefault(kind, {})[code] = text
        return kinds

    def knows(self, statement: str) -> bool:
        """Whether the statement has a sentence here."""
        return statement in self.statements

    @cached_property
    def statements(self) -> frozenset[str]:
        """Statements that have a sentence."""
        return frozenset(of for group, of, _ in self.lines if group == SAYS)


@cache
def english() -> Texts:
    """The table that comes with the program.

    Raises
    ------
    SettingsError
        If it is no table of sentences.
    """
    path = config_dir() / FILE
    lines = {}
    for place, text in _lines(_read(path), path):
        _placeholders(text, place, path)
        lines[place] = text
    return Texts(lines)


def translated(path: Path) -> Texts:
    """The sentences of a city's own file, in English where it has none.

    Raises
    ------
    SettingsError
        If the file cannot be read, or a line names what no sentence is called, lacks a placeholder
        of the English sentence, or has one that it does not: all faults are told together.
    """
    base = english().lines
    lines, faults = dict(base), []
    for place, text in _lines(_read(path), path):
        where = ".".join(part for part in place if part)
        if place not in base:
            faults.append(f"{where}: no such sentence")
            continue
        wanted, found = (_placeholders(one, place, path) for one in (base[place], text))
        faults += [f"{where}: {{{name}}} is missing" for name in sorted(wanted - found)]
        faults += [f"{where}: {{{name}}} is unknown" for name in sorted(found - wanted)]
        lines[place] = text
    if faults:
        raise SettingsError(
            where=str(path),
            found="; ".join(faults),
            expected="lines of the table of sentences, each with the placeholders of the English",
            remedy=_REMEDY,
        )
    return Texts(lines)


def spoken(path: Path | None) -> Texts:
    """The sentences of a run: those of the city's own file, the English ones where it has none.

    Raises
    ------
    SettingsError
        If the file cannot be used.
    """
    return english() if path is None else translated(path)


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeError, tomllib.TOMLDecodeError) as fault:
        raise SettingsError(
            where=str(path),
            found="no such file" if isinstance(fault, FileNotFoundError) else str(fault),
            expected="a table of sentences as UTF-8 TOML",
            remedy=_REMEDY,
        ) from fault


def _lines(content: Mapping[str, Any], path: Path) -> Iterator[tuple[tuple[str, str, str], str]]:
    """Each text with its place; a statement of one variant stands as a plain text.

    Raises
    ------
    SettingsError
        If something else stands in the file.
    """
    for group, members in content.items():
        if group not in {WORDS, *GROUPS} or not isinstance(members, dict):
            fault = _odd(path, group, f"the tables [{WORDS}.*], [{'.*], ['.join(GROUPS)}.*]")
            raise fault
        for name, value in members.items():
            several = value if isinstance(value, dict) else {"": value}
            for variant, text in several.items():
                if not isinstance(text, str) or not text.strip():
                    fault = _odd(path, f"{group}.{name}.{variant}", "a text that is not empty")
                    raise fault
                yield (group, name, variant), text


def _placeholders(text: str, place: tuple[str, str, str], path: Path) -> set[str]:
    """Names in braces; nothing but a name may stand there.

    Raises
    ------
    SettingsError
        If braces are open, or hold more than a name.
    """
    names = set()
    where = ".".join(part for part in place if part)
    try:
        parts = list(string.Formatter().parse(text))
    except ValueError as broken:
        fault = _odd(path, where, "braces in pairs, with a name between them")
        raise fault from broken
    for _, name, layout, turned in parts:
        if name is None:
            continue
        if layout or turned or not name.isidentifier():
            fault = _odd(path, f"{where}: {{{name}}}", "nothing but a name between braces")
            raise fault
        names.add(name)
    return names


def _odd(path: Path, found: str, expected: str) -> SettingsError:
    return SettingsError(where=str(path), found=found, expected=expected, remedy=_REMEDY)
