"""Words of observers as the evidence of the key: read through closed vocabularies, never guessed.

A word outside the vocabulary of its character goes through the table of words; what is not in it
either comes back as an unread word, beside the row it stood in.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.published.table import PublishedTable
from pipeline.scoring.identification.evidence import Evidence, Vocabulary
from pipeline.scoring.identification.key import Key, meaning_of
from pipeline.units import Flags, Floats, Ints

_BETWEEN = re.compile(r"[|;,/]")
_SPACES = re.compile(r"[\s_-]+")
_SAYS_NOTHING = frozenset({"unknown", "untold", "n/a", "na"})
# No continent of the key lies between these meridians but the one named.
_EAST_OF_AMERICA = -30.0
_REGION_WORDS = {
    "north_america": ("north america", "us", "usa", "ca", "canada", "mx", "mexico", "na"),
    "europe": ("europe", "eu", "uk", "gb"),
}


@dataclass(frozen=True)
class Read:
    """One column as states.

    Parameters
    ----------
    row, state : pairs that were marked, each shape (marks,).
    unread : words that mean nothing here, by row.
    """

    row: Ints
    state: Ints
    unread: dict[int, tuple[str, ...]]


@dataclass(frozen=True)
class NamesGiven:
    """Names as the key takes them: see Evidence for `meanings`; each other shape (sightings,)."""

    name: Ints
    meanings: Floats
    name_by: Ints
    certainty: Floats


class Dictionary:
    """Vocabulary and synonyms of every character."""

    def __init__(self, vocabulary: Vocabulary, words: PublishedTable) -> None:
        """Hold each word once; the vocabulary stands over the synonyms."""
        self._states: dict[str, dict[str, int]] = {}
        for name, states in zip(vocabulary.characters, vocabulary.states, strict=True):
            self._states[name] = {plain(state): at for at, state in enumerate(states)}
        for row in words.rows:
            known = self._states.get(row["character"])
            at = vocabulary.column(row["character"], row["state"])
            if known is not None and at >= 0:
                start = vocabulary.span(row["character"]).start
                known.setdefault(plain(row["word"]), at - start)

    def read(self, character: str, text: str) -> tuple[tuple[int, ...], tuple[str, ...]]:
        """States that a cell means, and its words that mean nothing."""
        known = self._states[character]
        if plain(text) in known:
            return (known[plain(text)],), ()
        states, unread = [], []
        for part in _BETWEEN.split(text):
            word = plain(part)
            if word in known:
                states.append(known[word])
            elif word and word not in _SAYS_NOTHING:
                unread.append(part.strip())
        return tuple(dict.fromkeys(states)), tuple(unread)


def plain(word: str) -> str:
    """A word in small letters, spaces single, hyphens and underscores as spaces."""
    return _SPACES.sub(" ", word.casefold()).strip()


def read_column(
    column: pa.Array | pa.ChunkedArray,
    read: Callable[[str], tuple[tuple[int, ...], tuple[str, ...]]],
) -> Read:
    """A column of text as states; each different text is read once."""
    if isinstance(column, pa.ChunkedArray):
        column = column.combine_chunks()
    coded = column if pa.types.is_dictionary(column.type) else column.dictionary_encode()
    told = [read(text or "") for text in coded.dictionary.to_pylist()]
    code = coded.indices.fill_null(len(told)).to_numpy(zero_copy_only=False).astype(np.int64)
    told.append(((), ()))
    length = np.array([len(states) for states, _ in told], np.int64)
    flat = np.array([state for states, _ in told for state in states], np.int64)
    start = np.concatenate([[0], np.cumsum(length)[:-1]]).astype(np.int64)
    row = np.repeat(np.arange(len(code)), length[code])
    within = np.arange(len(row)) - np.repeat(np.cumsum(length[code]) - length[code], length[code])
    state = flat[start[code][row] + within] if len(row) else np.zeros(0, np.int64)
    odd = np.array([bool(unread) for _, unread in told])
    unread = {int(at): told[code[at]][1] for at in np.flatnonzero(odd[code])}
    return Read(row, state, unread)


def mark_seen(
    columns: Mapping[str, pa.Array | pa.ChunkedArray], count: int, key: Key, words: Dictionary
) -> tuple[Flags, dict[str, Read]]:
    """Columns of characters as marked states, and what was read of each."""
    seen = np.zeros((count, key.vocabulary.size), np.bool_)
    told: dict[str, Read] = {}
    for name, column in columns.items():
        found = read_column(column, lambda text, name=name: words.read(name, text))  # type: ignore[misc]
        seen[found.row, key.vocabulary.span(name).start + found.state] = True
        told[name] = found
    return seen, told


def mark_hosts(seen: Flags, genus: Ints, certain: Flags, key: Key) -> None:
    """Mark the genus of the host, -1 where it is not known, as certain or not."""
    for name, which in (("host", certain), ("host_uncertain", ~certain)):
        rows = np.flatnonzero(which & (genus >= 0))
        seen[rows, key.vocabulary.span(name).start + genus[rows]] = True


def mark_months(seen: Flags, month: Ints, key: Key) -> None:
    """Mark the month, 1-12; anything else is no month."""
    rows = np.flatnonzero(
        (month >= 1)
        & (month <= len(key.vocabulary.states[key.vocabulary.characters.index("month")]))
    )
    seen[rows, key.vocabulary.span("month").start + month[rows] - 1] = True


def mark_layers(seen: Flags, layers: Ints, key: Key) -> None:
    """Mark one or several pore layers; a count below 1 is no count."""
    rows = np.flatnonzero(layers >= 1)
    seen[rows, key.vocabulary.span("layers").start + (layers[rows] > 1)] = True


def region_of(word: str, regions: Sequence[str]) -> int:
    """Place of a region's word, -1 where it means none; a prefix as 'us-ny' counts."""
    text = plain(word)
    for name, words in _REGION_WORDS.items():
        if text in words or text.split(" ")[0] in words:
            return tuple(regions).index(name)
    return -1


def region_by_longitude(longitude: Floats, regions: Sequence[str]) -> Ints:
    """Region by the meridian, -1 where it is not known, shape as given."""
    west, east = tuple(regions).index("north_america"), tuple(regions).index("europe")
    found = np.where(longitude < _EAST_OF_AMERICA, west, east)
    return np.where(np.isnan(longitude), -1, found).astype(np.int64)


def meanings(names: Sequence[tuple[int, ...]], key: Key) -> Floats:
    """Weights of the taxa that each name may mean, by how often they are found, (names, taxa)."""
    found = [meaning_of(taxa, key) for taxa in names]
    return np.array(found, np.float64).reshape(len(names), len(key.taxon_id))


def distinct(evidence: Evidence, odd: Flags) -> tuple[Evidence, Ints, Ints]:
    """Evidence without repetitions, first row of each, and the place of each sighting in it."""
    packed = np.packbits(evidence.seen, axis=1)
    rest = np.column_stack(
        [
            evidence.region,
            odd,
            evidence.name,
            np.where(evidence.name >= 0, evidence.name_by, 0),
            np.nan_to_num(evidence.certainty, nan=-1.0).view(np.int64),
        ]
    )
    both = np.ascontiguousarray(np.hstack([packed, rest.astype(np.int64).view(np.uint8)]))
    whole = both.view(np.dtype((np.void, both.shape[1]))).reshape(-1)
    _, at, back = np.unique(whole, return_index=True, return_inverse=True)
    return evidence.rows(at), np.asarray(at, np.int64), np.asarray(back, np.int64).reshape(-1)
