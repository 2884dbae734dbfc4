"""What was seen, as arrays: for each sighting and character the states that were marked.

A character that nobody looked at has no state and does not count. Several states in one cell are
alternatives of one observation: together they weigh as much as one state alone (the mean of their
log-likelihoods), so that a careful observer is not counted twice.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.units import Flags, Floats, Ints


@dataclass(frozen=True)
class Vocabulary:
    """The characters of the key and their states, in the order of the table of likelihoods.

    Parameters
    ----------
    characters : names; the host stands twice, certain and uncertain.
    states : states of each character.
    """

    characters: tuple[str, ...]
    states: tuple[tuple[str, ...], ...]

    def span(self, character: str) -> slice:
        """Columns that belong to a character."""
        number = self.characters.index(character)
        start = sum(len(states) for states in self.states[:number])
        return slice(start, start + len(self.states[number]))

    @property
    def size(self) -> int:
        """Number of states of all characters."""
        return sum(len(states) for states in self.states)

    @property
    def starts(self) -> Ints:
        """First column of each character, shape (characters,)."""
        sizes = np.array([len(states) for states in self.states], np.int64)
        return np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.int64)

    def column(self, character: str, state: str) -> int:
        """Column of one state; -1 where the vocabulary has no such word."""
        if character not in self.characters:
            return -1
        states = self.states[self.characters.index(character)]
        if state not in states:
            return -1
        return int(self.span(character).start) + states.index(state)


@dataclass(frozen=True)
class Evidence:
    """What was seen, and the names that were given.

    Parameters
    ----------
    seen : states that were marked, shape (sightings, states).
    region : place in the key's regions, -1 unknown, shape (sightings,).
    name : row of `meanings`, -1 without a name, shape (sightings,).
    meanings : what the names mean as weights of the taxa, shape (names, taxa); a row sums to one.
    name_by : who named it, place in the key's observers, shape (sightings,).
    certainty : as the observer states it [share], NaN if not stated, shape (sightings,).
    """

    seen: Flags
    region: Ints
    name: Ints
    meanings: Floats
    name_by: Ints
    certainty: Floats

    def __len__(self) -> int:
        """Number of sightings."""
        return len(self.seen)

    def rows(self, which: slice | Ints | Flags) -> "Evidence":
        """Some of the sightings."""
        return Evidence(
            self.seen[which],
            self.region[which],
            self.name[which],
            self.meanings,
            self.name_by[which],
            self.certainty[which],
        )


def without_names(seen: Flags, region: Ints, *, taxa: int) -> Evidence:
    """Evidence of characters alone."""
    count = len(seen)
    return Evidence(
        seen=seen,
        region=region,
        name=np.full(count, -1, np.int64),
        meanings=np.zeros((0, taxa)),
        name_by=np.zeros(count, np.int64),
        certainty=np.full(count, np.nan),
    )


def mark(count: int, vocabulary: Vocabulary, cells: Mapping[str, tuple[Ints, Ints]]) -> Flags:
    """States marked by pairs of row and state of each character, shape (count, states)."""
    seen = np.zeros((count, vocabulary.size), np.bool_)
    for character, (row, state) in cells.items():
        seen[row, vocabulary.span(character).start + state] = True
    return seen


def shares(seen: Flags, vocabulary: Vocabulary) -> Floats:
    """Weights of the marked states: each looked-at character sums to one, shape as `seen`."""
    weights = seen.astype(np.float64)
    sizes = [len(states) for states in vocabulary.states]
    marked = np.add.reduceat(weights, vocabulary.starts, axis=1)
    several = np.flatnonzero((marked > 1).any(axis=1))
    if several.size:
        divisor = np.repeat(np.maximum(marked[several], 1.0), sizes, axis=1)
        weights[several] /= divisor
    return weights


def looked_at(seen: Flags, vocabulary: Vocabulary) -> Flags:
    """Characters with at least one state, shape (sightings, characters)."""
    found: Flags = np.logical_or.reduceat(seen, vocabulary.starts, axis=1)
    return found
