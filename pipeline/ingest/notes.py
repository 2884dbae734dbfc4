"""Free-text remarks of an inventory, read for fungi, defects and danger; each text is read once.

What is found is quoted with its place in the text. Nothing here decides about a tree: a remark is
hearsay, and what is made of it stays on the review list.
"""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa

from pipeline.ingest import notes_scope
from pipeline.ingest.notes_lexicon import (
    DANGER,
    FUNGUS,
    NOTHING,
    Known,
    Lexicon,
    Meaning,
    Place,
    Span,
)
from pipeline.ingest.notes_reading import Reading
from pipeline.ingest.notes_scope import ELSEWHERE, FORMER, STATED
from pipeline.ingest.notes_text import folded, plain, words_of
from pipeline.published.table import Library
from pipeline.units import Ints

KINDS = ("sighting", "defect", "danger", "removed", "other")
_SIGHTING, _DEFECT, _DANGER, _REMOVED, _OTHER = KINDS
_KIND_OF = {
    FUNGUS: _SIGHTING, DANGER: _DANGER, "removed": _REMOVED, "to_fell": _OTHER, "failed": _OTHER,
    "urgent": _OTHER,
}  # fmt: skip
_DEAD_TREE, _BRANCH = "dead_tree", "branch"
# A remark with fewer words can be a name or a number; of more, a third should be known.
_WORDS_OF_A_LANGUAGE = 5
_KNOWN_SHARE = 0.34
_TELLING_LETTERS = 8
# A nought alone denies: 'fungus: 0'. All other numbers are alike.
_DIGIT = re.compile(r"[1-9]|(?<=\d)0|(?<=\d[.,])0|0(?=[.,]?\d)")
_ALIKE = "1"
_TEXTS = ("kind", "word", "taxon_id", "part", "polarity", "language", "quoted")
_NUMBERS = ("start", "end")


@dataclass(frozen=True, slots=True)
class Found:
    """One finding of a text.

    Parameters
    ----------
    kind : one of KINDS.
    word : a word of tables.inputs.DEFECTS, or fungus, danger, removed, to_fell (the tree is to
        go), failed (it or a part of it has broken or fallen), urgent.
    taxon_id : taxon of the catalogue that is named, None for a fungus without a name.
    part : roots, butt, stem, branch, or None where the text is silent.
    polarity : one of notes_scope.POLARITIES.
    language : of the words that say it; 'la' for scientific names.
    quoted : the words as they stand in the text, from `start` to before `end`.
    """

    kind: str
    word: str
    taxon_id: str | None
    part: str | None
    polarity: str
    language: str
    quoted: str
    start: int
    end: int


@dataclass(frozen=True)
class Notes:
    """What the remarks of n rows say.

    Parameters
    ----------
    table : one row a finding, by row and place: see Found; `certainty` [share] follows polarity.
    different : number of different texts.
    unread : rows whose remark holds words and hardly one that the tables know; it is kept.
    language : the language that most remarks are in, None if none is known.
    """

    table: pa.Table
    different: int
    unread: Ints
    language: str | None


class NoteReader:
    """Reads remarks by the published tables of words."""

    def __init__(self, library: Library) -> None:
        """Read the tables."""
        self._lexicon = Lexicon(library)
        table = library.table("notes_certainty")
        shares = table.numbers("certainty_share").tolist()
        self.certainty: dict[str, float] = dict(zip(table.texts("polarity"), shares, strict=True))

    def read(self, texts: pa.Array | pa.ChunkedArray) -> Notes:
        """Read a column of remarks, null where there is none."""
        if isinstance(texts, pa.ChunkedArray):
            texts = texts.combine_chunks()
        coded = texts if pa.types.is_dictionary(texts.type) else texts.dictionary_encode()
        different = [text or "" for text in coded.dictionary.to_pylist()]
        heard, unread, language = self._read_alike(different)
        code = coded.indices.cast(pa.int64()).fill_null(len(different)).to_numpy()
        count = np.array([len(found) for found in heard] + [0], np.int64)
        row = np.repeat(np.arange(len(code)), count[code])
        within = np.arange(len(row)) - np.repeat(np.cumsum(count[code]) - count[code], count[code])
        place = (np.cumsum(count) - count)[code[row]] + within if len(row) else within
        flat = self._table([found for several in heard for found in several])
        table = flat.take(pa.array(place)).add_column(0, "row", pa.array(row))
        odd = np.append(np.asarray(unread, np.bool_), False)
        return Notes(table, len(different), np.flatnonzero(odd[code]), language)

    def read_alone(self, text: str) -> list[Found]:
        """The findings of one text that has no neighbours to tell its language by."""
        return self._read_alike([text])[0][0]

    def _read_alike(self, texts: Sequence[str]) -> tuple[list[list[Found]], list[bool], str | None]:
        """Texts that differ in their digits alone are read once: no number means anything here."""
        masked = [_DIGIT.sub(_ALIKE, text) for text in texts]
        place = {text: number for number, text in enumerate(dict.fromkeys(masked))}
        heard, unread, language = self._read_all(list(place))
        own = [
            [
                replace(one, quoted=text[one.start : one.end]) if _ALIKE in one.quoted else one
                for one in heard[place[key]]
            ]
            for text, key in zip(texts, masked, strict=True)
        ]
        return own, [unread[place[key]] for key in masked], language

    def _read_all(self, texts: Sequence[str]) -> tuple[list[list[Found]], list[bool], str | None]:
        """Findings of each text, whether no word of it is known, and the language of most."""
        lexicon = self._lexicon
        bags = [plain(text).split() for text in texts]
        pieces = {word: _pieces(word) for word in {word for bag in bags for word in bag}}
        lexicon.learn({piece for several in pieces.values() for piece in several})
        known = {word: [lexicon.known(piece) for piece in own] for word, own in pieces.items()}
        spoken = {word: any(one.languages for one in own) for word, own in known.items()}
        letters = {word for word, several in pieces.items() if any(map(str.isalpha, several))}
        rousing = _Rousing(known)
        tally: Counter[str] = Counter()
        for word, times in Counter(word for bag in bags for word in bag).items():
            for one in known[word]:
                for language in one.languages:
                    tally[language] += times
        order = self._ranked(tally)
        heard = [
            self._read_one(text, order) if rousing.by(bag) else []
            for text, bag in zip(texts, bags, strict=True)
        ]
        unread = [
            not found and _is_foreign([spoken[word] for word in bag if word in letters])
            for found, bag in zip(heard, bags, strict=True)
        ]
        return heard, unread, order[0] if tally else None

    def _ranked(self, tally: Counter[str]) -> list[str]:
        """All languages, the most used first; English first where nothing is known."""
        return sorted(self._lexicon.languages, key=lambda word: (-tally[word], word != "en", word))

    def _read_one(self, text: str, order: Sequence[str]) -> list[Found]:
        lexicon = self._lexicon
        words = words_of(text, lexicon.abbreviations)
        tally: Counter[str] = Counter()
        for word in words.word:
            spoken = lexicon.known(word).languages
            # a long word of one language alone tells more
            sure = len(spoken) == 1 and len(word) >= _TELLING_LETTERS
            tally.update(dict.fromkeys(spoken, 1 + sure))
        # the language of most remarks is given the benefit of one word; else the first wins a tie
        tally[order[0]] += 1
        language = max(order, key=lambda word: tally[word])
        languages = frozenset({language})
        groups = lexicon.spans("meanings", words, languages)
        hits = [span for group in groups if (span := _first_meant(group)) is not None]
        reading = Reading(words, lexicon, languages, hits)
        said = zip(
            hits, notes_scope.polarities(reading), notes_scope.wheres(reading),
            notes_scope.shared(reading), strict=True,
        )  # fmt: skip
        found = []
        for hit, polarity, where, beside in said:
            if polarity == ELSEWHERE:
                continue
            found.append(_found(text, reading, hit, polarity, where))
            for place in beside:
                more = _found(text, reading, replace(hit, first=place.first), polarity, where)
                found.append(replace(more, part=place.phrase.means.part))
        return _merged(found)

    def _table(self, found: Sequence[Found]) -> pa.Table:
        columns = {
            name: pa.array([getattr(one, name) for one in found], pa.string()).dictionary_encode()
            for name in _TEXTS
        }
        for name in _NUMBERS:
            columns[name] = pa.array([getattr(one, name) for one in found], pa.int64())
        sure = [self.certainty[one.polarity] for one in found]
        return pa.table({**columns, "certainty": pa.array(sure, pa.float64())})


class _Rousing:
    """Which words make it worth while to read a text closely."""

    def __init__(self, known: Mapping[str, Sequence[Known]]) -> None:
        """Keep apart what says something alone and what needs further words beside it."""
        self._alone = {word for word, own in known.items() if any(one.alone for one in own)}
        self._needs = {
            word: [need for one in own for need in one.needs] for word, own in known.items()
        }
        self._forms = {
            word: frozenset().union(*(one.forms for one in own)) for word, own in known.items()
        }

    def by(self, bag: Sequence[str]) -> bool:
        """Whether the words of a text can hold a phrase of findings."""
        if not self._alone.isdisjoint(bag):
            return True
        needs = [need for word in bag for need in self._needs[word]]
        if not needs:
            return False
        forms = frozenset().union(*(self._forms[word] for word in bag))
        return any(need <= forms for need in needs)


def _pieces(word: str) -> tuple[str, ...]:
    return (word,) if word.isalnum() else words_of(word).word


def _is_foreign(known: Sequence[bool]) -> bool:
    return len(known) >= _WORDS_OF_A_LANGUAGE and sum(known) < _KNOWN_SHARE * len(known)


def _first_meant(group: Sequence[Span[Meaning]]) -> Span[Meaning] | None:
    """The finding of phrases that fit alike: nothing, then a fungus, then a defect, then danger."""
    meanings = [span.phrase.means.meaning for span in group]
    if NOTHING in meanings:
        return None
    return min(
        group,
        key=lambda span: (span.phrase.means.meaning == DANGER, span.phrase.means.taxon_id is None),
    )


def _found(
    text: str, reading: Reading, hit: Span[Meaning], polarity: str, where: Place | None
) -> Found:
    meaning, words = hit.phrase.means, reading.words
    start, end = words.start[hit.first], words.end[hit.last - 1]
    places = folded(text)[1]
    if places is not None:
        start, end = places[start], places[end - 1] + 1
    word, part = meaning.meaning, meaning.part or (where.part if where else None)
    if word == _DEAD_TREE and where is not None and where.dead_means:
        # 'crown dead', 'branch in the lower crown dead': a part died, not the tree
        word, part = where.dead_means, _BRANCH
    kind = _KIND_OF.get(word, _DEFECT)
    return Found(
        kind, word, meaning.taxon_id, part, polarity, hit.phrase.language, text[start:end],
        start, end,
    )  # fmt: skip


def _merged(found: Sequence[Found]) -> list[Found]:
    """Each thing said once: a fungus without a name beside a named one is the same fungus."""
    named = {one.polarity for one in found if one.kind == _SIGHTING and one.taxon_id}
    past = any(one.polarity == FORMER for one in found)
    kept: dict[tuple[object, ...], Found] = {}
    for one in found:
        unnamed = one.kind == _SIGHTING and not one.taxon_id and one.polarity in named
        if unnamed or (one.kind == _REMOVED and (past or one.polarity != STATED)):
            continue
        key = (one.word, one.taxon_id, one.polarity)
        before = kept.get(key)
        if before is None or (before.part is None and one.part is not None):
            kept[key] = one
        elif one.part not in {None, before.part}:
            kept[(*key, one.part)] = one
    return sorted(kept.values(), key=lambda one: one.start)
