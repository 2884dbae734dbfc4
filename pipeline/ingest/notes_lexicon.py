"""The words of remarks: what each word and phrase of the tables means, in every language.

A word of a table may begin or end with a star: then it is a part of a longer word, as in German
compounds. Phrases are words in a row; small words of their language may stand between them. A
phrase after a ^ only counts where a sentence or a part between commas begins with it. A word in
<angles> stands for all words of its language that notes_language gives that use.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, Literal, TypeVar

import numpy as np
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cdist

from pipeline.ingest.notes_cells import STARRED_NAME_LETTERS, starred_words, without_umlauts
from pipeline.ingest.notes_text import Words, words_of
from pipeline.published.table import Library, PublishedTable

_HEAD = "^"
FUNGUS, DANGER, NOTHING = "fungus", "danger", "nothing"
LATIN = "la"
_POSSESSIVE = re.compile(r"'s\b|(?<=s)'(?=\s)")
# A phrase of another language than the remark's is only believed if it is at least this long.
_FOREIGN_LETTERS = 7
# One slip of the pen is forgiven in words at least this long.
_MISSPELT_LETTERS = 8
# The like in names of fungi of several words, where the others vouch for it.
_MISSPELT_NAME_LETTERS = 6
_LONG_DANGER_LETTERS = 5
# What the words of danger mean as findings, by the meaning of their table; else danger itself.
_OF_DANGER = {
    "a part hangs loose": "hanging_branch",
    "a part has broken": "failed",
    "has fallen": "failed",
    "wood has parted": "crack",
    "wood is parting": "crack",
    "tilting": "lean",
    "roots are giving way": "root_damage",
    "shell too thin": "decay",
    "lies in the way": "obstruction",
    "touches a line": "obstruction",
    "a fungus of the most serious code": FUNGUS,
}


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a phrase of findings means."""

    meaning: str
    taxon_id: str | None
    part: str | None


@dataclass(frozen=True, slots=True)
class Cue:
    """A phrase that denies, doubts, puts into the past or ends the reach of another."""

    polarity: str
    side: str
    reach: int
    only: frozenset[str]


@dataclass(frozen=True, slots=True)
class Place:
    """A phrase that names a part of the tree, and the defect where that part is told dead."""

    part: str
    dead_means: str | None


Kind = Literal["meanings", "cues", "places"]
Means = TypeVar("Means", Meaning, Cue, Place)


@dataclass(frozen=True, slots=True)
class Phrase(Generic[Means]):
    """Numbers of its words' forms, its language, its letters and what it means.

    `heads` is true of a phrase that only counts where its sentence begins with it; `rest` are the
    forms after the first.
    """

    forms: tuple[int, ...]
    language: str
    letters: int
    means: Means
    heads: bool
    rest: frozenset[int]


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of one word.

    Parameters
    ----------
    forms : forms of the tables that it fits.
    languages : those that use it.
    fills : languages in which it is a small word.
    joins, alternates : it means 'and' or 'or'; it means 'or'.
    begins : phrases of each kind that begin with it.
    alone : one word of it is a phrase of findings; `needs` are the further forms of the others.
    """

    forms: frozenset[int]
    languages: frozenset[str]
    fills: frozenset[str]
    joins: bool
    alternates: bool
    begins: dict[Kind, tuple[Phrase[Any], ...]]
    alone: bool
    needs: tuple[frozenset[int], ...]


@dataclass(frozen=True, slots=True)
class Span(Generic[Means]):
    """A phrase found: words `first` to before `last`."""

    first: int
    last: int
    phrase: Phrase[Means]


class Lexicon:
    """All tables of words, ready for reading; words once met are remembered."""

    def __init__(self, library: Library) -> None:
        """Read the tables of words and of fungi."""
        self._exact: dict[str, int] = {}
        self._heads: dict[str, int] = {}
        self._tails: dict[str, int] = {}
        self._within: dict[str, int] = {}
        self._letters_most = 0
        self._languages_of: dict[int, set[str]] = defaultdict(set)
        self._books: dict[Kind, dict[int, list[Phrase[Any]]]] = {
            kind: defaultdict(list) for kind in ("meanings", "cues", "places")
        }
        self._uses: dict[str, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
        self._known: dict[str, Known] = {}
        self._add_small_words(library.table("notes_language", key=("word", "language")))
        self._add_meanings(library)
        self._add_cues(library.table("notes_polarity", key=("word", "language", "side", "only")))
        for row in library.table("notes_parts", key=("word", "language")).rows:
            place = Place(row["part"], row["dead_means"] or None)
            self._add("places", row["word"], row["language"], place)
        self.abbreviations = frozenset(
            word for word in self._exact if 1 < len(word) <= _LONG_DANGER_LETTERS
            and any(
                (phrase.means.polarity, phrase.means.side) == ("suspected", "before")
                for phrase in self._books["cues"].get(self._exact[word], ())
            )
        )  # fmt: skip
        used = set().union(*self._languages_of.values()) - {LATIN}
        self.languages = tuple(sorted(used))
        self._long = self._long_forms()

    def known(self, word: str) -> Known:
        """What is known of a folded word."""
        found = self._known.get(word)
        if found is None:
            found = self._known[word] = self._look_up(word, frozenset())
        return found

    def learn(self, words: Iterable[str]) -> None:
        """Look up many words at once, and forgive one slip in the long ones that mean nothing."""
        unknown = []
        for word in words:
            if word in self._known:
                continue
            known = self._known[word] = self._look_up(word, frozenset())
            if len(word) >= _MISSPELT_NAME_LETTERS and not known.languages and word.isalpha():
                unknown.append(word)
        for word, form in self._slips(unknown):
            self._known[word] = self._look_up(word, self._known[word].forms | {form})

    def spans(self, kind: Kind, words: Words, languages: frozenset[str]) -> list[list[Span[Any]]]:
        """Phrases found from left to right, the longest first; those of one place together."""
        found: list[list[Span[Any]]] = []
        known = [self.known(word) for word in words.word]
        present = frozenset().union(*(one.forms for one in known))
        at = 0
        while at < len(known):
            begins = known[at].begins[kind]
            possible = [phrase for phrase in begins if phrase.rest <= present] if begins else []
            best = self._longest(possible, words, known, at, languages) if possible else []
            if best:
                found.append(best)
                at = best[0].last
            else:
                at += 1
        return found

    def _longest(
        self,
        begins: Sequence[Phrase[Any]],
        words: Words,
        known: Sequence[Known],
        at: int,
        languages: frozenset[str],
    ) -> list[Span[Any]]:
        best: list[Span[Any]] = []
        rank = (-1, -1, False)
        for phrase in begins:
            own = phrase.language in languages or phrase.language == LATIN
            if not own and phrase.letters < _FOREIGN_LETTERS:
                continue
            last = _fits(phrase, words, known, at)
            if last < 0:
                continue
            mine = (last, phrase.letters, own)
            if mine > rank:
                best, rank = [], mine
            if mine == rank:
                best.append(Span(at, last, phrase))
        return best

    def _add_small_words(self, table: PublishedTable) -> None:
        for row in table.rows:
            for word in words_of(row["word"].removesuffix("*")).word:
                self._uses[word][row["use"]].add(row["language"])

    def _add_meanings(self, library: Library) -> None:
        for row in library.table("notes_words", key=("word", "language", "meaning")).rows:
            meaning = Meaning(row["meaning"], None, row["part"] or None)
            self._add("meanings", row["word"], row["language"], meaning)
        named: dict[str, set[str]] = defaultdict(set)
        rows = [*library.table("taxon_names", key=("name", "taxon_id")).rows]
        for row in rows:
            if row["kind"] == "genus":
                named[row["name"]].add(row["taxon_id"])
        genera = {row["taxon_id"] for row in library.table("taxa").rows if row["rank"] == "genus"}
        for row in rows:
            many = row["kind"] == "genus" and len(named[row["name"]]) > 1
            if many and row["taxon_id"] not in genera:
                continue
            self._add_fungus(row["name"], row["taxon_id"], row["language"])
        for row in library.table("notes_fungi", key=("name", "language")).rows:
            self._add_fungus(row["name"], row["taxon_id"], row["language"])
        for row in library.table("danger_words", key=("word", "language")).rows:
            word = row["word"] + ("*" if len(row["word"]) >= _LONG_DANGER_LETTERS else "")
            meant = _OF_DANGER.get(row["meaning"], DANGER)
            self._add("meanings", word, row["language"], Meaning(meant, None, None))

    def _add_fungus(self, name: str, taxon_id: str, language: str) -> None:
        meaning = Meaning(FUNGUS, taxon_id, None)
        if language == "en" and (bare := _POSSESSIVE.sub("s", name)) != name:
            # 'artists conk'
            self._add_fungus(bare, taxon_id, language)
        words = words_of(name).word
        if language == LATIN:
            self._add("meanings", name, LATIN, meaning)
            if len(words) == 2 and words[1] not in {"sp", "spp"}:  # noqa: PLR2004
                self._add("meanings", f"{words[0][0]} {words[1]}", LATIN, meaning)
            return
        if language == "de" and len(words[-1]) >= STARRED_NAME_LETTERS:
            self._add("meanings", " ".join([*words[:-1], words[-1] + "*"]), "de", meaning)
            return
        self._add("meanings", name, language, meaning)
        if not words[-1].endswith("s"):
            self._add("meanings", " ".join([*words[:-1], words[-1] + "s"]), language, meaning)

    def _add_cues(self, table: PublishedTable) -> None:
        for row in table.rows:
            cue = Cue(
                row["polarity"], row["side"], int(row["reach_words"]),
                frozenset(row["only"].split()),
            )  # fmt: skip
            self._add("cues", row["word"], row["language"], cue)

    def _add(self, kind: Kind, text: str, language: str, means: Means) -> None:
        starred, heads = starred_words(text.removeprefix(_HEAD), language), text.startswith(_HEAD)
        for words in without_umlauts(starred) if language == "de" else (starred,):
            forms = tuple(self._form(word) for word in words)
            letters = sum(len(word.strip("*")) for word in words)
            self._books[kind][forms[0]].append(
                Phrase(forms, language, letters, means, heads, frozenset(forms[1:]))
            )
            for form in forms:
                self._languages_of[form].add(language)

    def _form(self, word: str) -> int:
        bare = word.strip("*")
        if word.startswith("*"):
            table = self._within if word.endswith("*") else self._tails
        else:
            table = self._heads if word.endswith("*") else self._exact
        self._letters_most = max(self._letters_most, len(bare))
        known = (self._exact, self._heads, self._tails, self._within)
        return table.setdefault(bare, sum(map(len, known)))

    def _look_up(self, word: str, more: frozenset[int]) -> Known:
        forms = set(more)
        if word in self._exact:
            forms.add(self._exact[word])
        for size in range(1, min(len(word), self._letters_most) + 1):
            if (form := self._heads.get(word[:size])) is not None:
                forms.add(form)
            if (form := self._tails.get(word[-size:])) is not None:
                forms.add(form)
        forms.update(form for part, form in self._within.items() if part in word)
        uses = self._uses.get(word, {})
        several = {f"<{use}>{language}" for use, those in uses.items() for language in those}
        forms.update(self._exact[use] for use in several if use in self._exact)
        languages = {language for form in forms for language in self._languages_of[form]}
        languages.update(*uses.values())
        begins = {
            kind: tuple(phrase for form in sorted(forms) for phrase in book.get(form, ()))
            for kind, book in self._books.items()
        }
        return Known(
            frozenset(forms), frozenset() if word.isdigit() else frozenset(languages - {LATIN}),
            frozenset(uses.get("filler", ())),
            bool(uses.get("conjunction")) or bool(uses.get("or")) or word in {"/", "+", "&"},
            bool(uses.get("or")),
            begins,
            any(len(phrase.forms) == 1 for phrase in begins["meanings"]),
            tuple({phrase.rest for phrase in begins["meanings"]}),
        )  # fmt: skip

    def _long_forms(self) -> list[tuple[list[str], list[int], int]]:
        """Long forms for misspellings: words, numbers; 0 whole, 1 beginnings, -1 endings."""
        groups = [self._forms_of_names()]
        for table, cut in ((self._exact, 0), (self._heads, 1), (self._tails, -1)):
            by_size: dict[int, list[str]] = defaultdict(list)
            for word in table:
                if len(word) >= _MISSPELT_LETTERS and word.isalpha():
                    by_size[len(word) if cut else 0].append(word)
            groups += [(words, [table[word] for word in words], cut) for words in by_size.values()]
        return groups

    def _forms_of_names(self) -> tuple[list[str], list[int], int]:
        """Words of middling length that only stand in names of fungi of several words."""
        alone = {form for form, book in self._books["meanings"].items()
                 if any(len(phrase.forms) == 1 for phrase in book)}  # fmt: skip
        among = {
            form
            for book in self._books["meanings"].values()
            for phrase in book
            if phrase.means.taxon_id and len(phrase.forms) > 1
            for form in phrase.forms
        } - alone
        words = [
            word
            for word, form in self._exact.items()
            if form in among and _MISSPELT_NAME_LETTERS <= len(word) < _MISSPELT_LETTERS
        ]
        return words, [self._exact[word] for word in words], 0

    def _slips(self, words: Sequence[str]) -> list[tuple[str, int]]:
        """Pairs of a word and the form that it misspells by one letter."""
        pairs: list[tuple[str, int]] = []
        for forms, numbers, cut in self._long:
            sizes = {len(forms[0]) + more for more in (-1, 0, 1)} if cut else {0}
            for size in sizes:
                parts = [(word, _cut(word, size, cut)) for word in words]
                parts = [(word, part) for word, part in parts if part]
                if not parts:
                    continue
                away = cdist(
                    [part for _, part in parts], forms,
                    scorer=Levenshtein.distance, score_cutoff=1, dtype=np.uint8,
                )  # fmt: skip
                for at, to in zip(*np.nonzero(away <= 1), strict=True):
                    if parts[at][1][0] == forms[to][0]:
                        pairs.append((parts[at][0], numbers[to]))
        return sorted(set(pairs))


def _fits(phrase: Phrase[Any], words: Words, known: Sequence[Known], at: int) -> int:
    """Place after the last word of the phrase, -1 if it does not stand here."""
    if phrase.heads and at > 0 and words.segment[at - 1] == words.segment[at]:
        return -1
    clause = words.clause[at]
    here = at + 1
    for form in phrase.forms[1:]:
        while True:
            if here >= len(known) or words.clause[here] != clause:
                return -1
            if form in known[here].forms:
                break
            if phrase.language not in known[here].fills:
                return -1
            here += 1
        here += 1
    return here


def _cut(word: str, size: int, cut: int) -> str:
    """The beginning (1) or ending (-1) of a word, empty if it is shorter; 0: the whole."""
    if cut == 0:
        return word
    if len(word) < size:
        return ""
    return word[:size] if cut > 0 else word[-size:]
