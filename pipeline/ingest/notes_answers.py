"""Remarks in the style of a form: 'Cavity: N, Decay: N, Fungus: Y' are answers to their keys."""

from collections.abc import Sequence
from itertools import pairwise

from pipeline.ingest.notes_lexicon import Cue, Span
from pipeline.ingest.notes_reading import Reading

# A key has at most this many words: 'fruiting bodies at base:'.
_KEY_WORDS = 5
_ASKED = "?"
ANSWER = "answer"


def answers(reading: Reading, cues: Sequence[Span[Cue]]) -> list[Span[Cue]]:
    """The words that answer a key before them, in their order."""
    possible = [cue for cue in cues if cue.phrase.means.side == ANSWER]
    keyed = [cue for cue in possible if _follows_a_key(reading, cue) and _ends(reading, cue.last)]
    return keyed or _bare(reading, possible)


def answered(reading: Reading, found: Sequence[Span[Cue]]) -> dict[int, str]:
    """The polarity of each finding that is a key with an answer, by its first word."""
    told: dict[int, str] = {}
    since = 0
    segment = reading.words.segment
    for answer in found:
        key = answer.first - 1
        told |= {
            hit.first: answer.phrase.means.polarity
            for hit in reading.hits
            if since <= hit.first <= hit.last <= answer.first
            and segment[hit.first] == segment[key]
            and answer.first - hit.last <= _KEY_WORDS
        }
        since = answer.last
    return told


def _follows_a_key(reading: Reading, cue: Span[Cue]) -> bool:
    at, words = cue.first, reading.words
    if at == 0 or words.clause[at - 1] != words.clause[at]:
        return False
    return words.colon[at] or words.word[at - 1] == _ASKED


def _ends(reading: Reading, last: int) -> bool:
    """Whether an answer ends here: its part of the sentence does, or the next key follows."""
    words = reading.words
    if last >= len(words.word) or words.clause[last] != words.clause[last - 1]:
        return True
    if words.segment[last] != words.segment[last - 1]:
        # '0 - 50 cm' is a number
        return not words.word[last].isdigit()
    for at in range(last, min(last + _KEY_WORDS, len(words.word))):
        if words.segment[at] != words.segment[last]:
            return words.colon[at]
        if words.word[at] == _ASKED:
            return True
    return False


def _bare(reading: Reading, possible: Sequence[Span[Cue]]) -> list[Span[Cue]]:
    """'Cavity N Decay Y': letters without a colon, only where each stands between findings.

    One alone is more likely a point of the compass.
    """
    words = reading.words
    starts, ends = ({hit.first for hit in reading.hits}, {hit.last for hit in reading.hits})
    letters = [
        cue
        for cue in possible
        if len(words.word[cue.first]) == 1
        and cue.first in ends
        and (cue.last in starts or _ends(reading, cue.last))
    ]
    together = any(
        words.clause[one.first] == words.clause[other.first] for one, other in pairwise(letters)
    )
    return letters if together else []
