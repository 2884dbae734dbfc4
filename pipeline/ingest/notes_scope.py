"""How far a word of denial, doubt or the past reaches, and which part of the tree is meant."""

from collections.abc import Mapping, Sequence

from pipeline.ingest.notes_answers import ANSWER, answered, answers
from pipeline.ingest.notes_lexicon import Cue, Meaning, Place, Span
from pipeline.ingest.notes_reading import Reading

STATED, SUSPECTED, NEGATED, FORMER = POLARITIES = ("stated", "suspected", "negated", "former")
# What is told of another tree, a wall or the pavement is no finding of this tree.
ELSEWHERE = "elsewhere"
# A denial comes before a doubt ("no suspicion of"), the past before both ("removed?").
_WEIGHT = (ELSEWHERE, FORMER, NEGATED, SUSPECTED)
# A part is looked for this many words away, small words not counted.
_PART_REACH = 5
# An 'or' as near as this to a finding closes the list that it ends.
_OR_REACH = 3
# Words between a denial and the closing that it denies: 'not yet fully closed'.
_PAIR_REACH = 1
# After a comma, a doubt belongs to what follows even with words between: 'prob. heartwood decay'.
_ADJECTIVES = 2


def polarities(reading: Reading) -> list[str]:
    """The polarity of each finding of a text, in their order; ELSEWHERE if not of this tree."""
    groups = reading.lexicon.spans("cues", reading.words, reading.languages)
    cues: list[Span[Cue]] = [span for group in groups for span in group]
    given = answers(reading, cues)
    told_by_answer = answered(reading, given)
    cues, inverted = _settled(reading, _without(cues, given))
    breaks = [span for span in cues if span.phrase.means.polarity == STATED] + inverted + given
    # 'decay possible at the wound': the words belong to the finding that they follow at once
    ends = {hit.last for hit in reading.hits}
    backed = frozenset(
        span.first for span in cues if span.phrase.means.side == "after" and span.first in ends
    )
    told = []
    for hit in reading.hits:
        said = {
            span.phrase.means.polarity
            for span in cues
            if span.phrase.means.polarity != STATED and _reaches(reading, span, hit, breaks, backed)
        }
        answer = told_by_answer.get(hit.first)
        if answer is not None:
            said = {answer} | (said & {FORMER, ELSEWHERE})
        told.append(next((word for word in _WEIGHT if word in said), STATED))
    return told


def _without(cues: Sequence[Span[Cue]], given: Sequence[Span[Cue]]) -> list[Span[Cue]]:
    """The cues but for those that are answers to a key, or could be none else."""
    places = {answer.first for answer in given}
    return [cue for cue in cues if cue.phrase.means.side != ANSWER and cue.first not in places]


def _settled(
    reading: Reading, cues: Sequence[Span[Cue]]
) -> tuple[list[Span[Cue]], list[Span[Cue]]]:
    """The cues that hold, and the pairs that do away with one another: 'not closed'.

    A wound that is 'not closed' is neither denied nor of the past: both cues fall, and no other
    reaches across them.
    """
    denials = [cue for cue in cues if _is(cue, NEGATED, "before")]
    endings = [cue for cue in cues if _is(cue, FORMER, "after")]
    pairs = [
        Span(denial.first, ending.last, denial.phrase)
        for denial in denials
        for ending in endings
        if denial.last <= ending.first
        and reading.words.segment[denial.first] == reading.words.segment[ending.first]
        and not reading.between(denial.last, ending.first)
        and reading.steps(denial.last, ending.first) <= _PAIR_REACH
    ]
    held = [
        cue
        for cue in cues
        if not any(pair.first <= cue.first and cue.last <= pair.last for pair in pairs)
    ]
    return held, pairs


def _is(cue: Span[Cue], polarity: str, side: str) -> bool:
    return (cue.phrase.means.polarity, cue.phrase.means.side) == (polarity, side)


def _reaches(
    reading: Reading,
    span: Span[Cue],
    hit: Span[Meaning],
    breaks: Sequence[Span[Cue]],
    backed: frozenset[int],
) -> bool:
    cue, words = span.phrase.means, reading.words
    if cue.only and hit.phrase.means.meaning not in cue.only:
        return False
    if cue.side == "same":
        return hit.first <= span.first and span.last <= hit.last
    if words.clause[span.first] != words.clause[hit.first]:
        return False
    if cue.polarity == ELSEWHERE:
        # 'neighbouring oak with conks': the word that follows it at once parts nothing
        breaks = [one for one in breaks if one.first != span.last]
    if cue.side == "before":
        return span.last <= hit.first and _forward(reading, span, hit, breaks, backed)
    if not hit.last <= span.first or not _backward(reading, span, hit, breaks, backed):
        return False
    return cue.side == "after" or _closes(reading, span)


def _forward(
    reading: Reading,
    span: Span[Cue],
    hit: Span[Meaning],
    breaks: Sequence[Span[Cue]],
    backed: frozenset[int],
) -> bool:
    """Whether a cue reaches on to a later finding."""
    first, last = span.last, hit.first
    if _broken(first, last, breaks) or reading.steps(first, last) > span.phrase.means.reach:
        return False
    if span.first in backed and last != first:
        return False
    between = reading.between(first, last)
    if between and not _listed_on(reading, between[-1].last, hit):
        return False
    segments = reading.words.segment
    if segments[span.last - 1] == segments[hit.first]:
        return True
    if reading.words.colon[span.last] and segments[span.last] == segments[hit.first]:
        return True
    return _list_ends_after(reading, first, hit)


def _listed_on(reading: Reading, first: int, hit: Span[Meaning]) -> bool:
    segments = reading.words.segment
    return reading.joins(first, hit.first) or segments[first - 1] != segments[hit.first]


def _list_ends_after(reading: Reading, first: int, hit: Span[Meaning]) -> bool:
    """Whether commas since `first` part a list that an 'or' ends at or after the finding."""
    words = reading.words
    for at in range(first, len(words.word)):
        if words.clause[at] != words.clause[hit.first]:
            break
        if not reading.lexicon.known(words.word[at]).alternates:
            continue
        if at > hit.first or hit.first - at <= _OR_REACH:
            return at > hit.first or words.segment[at] == words.segment[hit.first]
    return False


def _backward(
    reading: Reading,
    span: Span[Cue],
    hit: Span[Meaning],
    breaks: Sequence[Span[Cue]],
    backed: frozenset[int],
) -> bool:
    """Whether a cue reaches back to an earlier finding."""
    first, last = hit.last, span.first
    if _broken(first, last, breaks) or reading.steps(first, last) > span.phrase.means.reach:
        return False
    between = reading.between(first, last)
    if between and not reading.joins(first, between[0].first):
        return False
    if _looks_on(reading, span, first, breaks, backed):
        return False
    if _marks_a_doubt(reading, span) and not _asks_for(reading, first, last, between):
        return False
    segments = reading.words.segment
    if segments[span.first] == segments[hit.last - 1]:
        return True
    return not between and _follows_a_mark(reading, span, hit)


def _follows_a_mark(reading: Reading, span: Span[Cue], hit: Span[Meaning]) -> bool:
    """'cavity: none', 'Pilz (nicht sichtbar)': whether the cue follows the next mark at once."""
    if span.phrase.means.polarity == SUSPECTED and not _closes(reading, span):
        # 'cavity, possible nest': the doubt is about something else
        return False
    segments = reading.words.segment
    return (
        segments[span.first] == segments[hit.last - 1] + 1
        and segments[span.first - 1] == segments[hit.last - 1]
    )


def _looks_on(
    reading: Reading,
    span: Span[Cue],
    since: int,
    breaks: Sequence[Span[Cue]],
    backed: frozenset[int],
) -> bool:
    """'Riss, evtl. Fäule': whether the cue's words belong to a finding that follows them."""
    segments = reading.words.segment
    if _marks_a_doubt(reading, span):
        return False
    apart = segments[since - 1] != segments[span.first]
    following = next((hit for hit in reading.hits if hit.first >= span.last), None)
    return (
        following is not None
        and segments[following.first] == segments[span.last - 1]
        and (following.first == span.last or span.first not in backed)
        and reading.steps(span.last, following.first) <= (_ADJECTIVES if apart else 0)
        and not reading.joins(span.last, following.first)
        and not _broken(span.last, following.first, breaks)
    )


def _asks_for(reading: Reading, first: int, last: int, between: Sequence[Span[Meaning]]) -> bool:
    """Whether a question mark asks for what ends at `first`: 'conk on stem / mulch?' does not."""
    since = between[-1].last if between else first
    return not reading.joins(since, last)


def _marks_a_doubt(reading: Reading, span: Span[Cue]) -> bool:
    return all(not reading.words.word[at].isalnum() for at in range(span.first, span.last))


def _closes(reading: Reading, span: Span[Cue]) -> bool:
    """Whether nothing follows the cue in its segment."""
    segments = reading.words.segment
    return span.last >= len(segments) or segments[span.last] != segments[span.first]


def _broken(first: int, last: int, breaks: Sequence[Span[Cue]]) -> bool:
    return any(first <= span.first and span.last <= last for span in breaks)


def wheres(reading: Reading) -> list[Place | None]:
    """The part that each finding speaks of, in their order; None where the text is silent."""
    groups = reading.lexicon.spans("places", reading.words, reading.languages)
    places: list[Span[Place]] = [group[0] for group in groups]
    return [_where(reading, hit, places) for hit in reading.hits]


def shared(reading: Reading) -> list[list[Span[Place]]]:
    """Further parts of each finding whose compound they share: 'Stamm- und Wurzelfäule'."""
    if not any(reading.words.elided):
        return [[] for _ in reading.hits]
    groups = reading.lexicon.spans("places", reading.words, reading.languages)
    ends: dict[int, Span[Place]] = {group[0].last: group[0] for group in groups}
    return [_shared(reading, hit, ends) for hit in reading.hits]


def _shared(
    reading: Reading, hit: Span[Meaning], ends: Mapping[int, Span[Place]]
) -> list[Span[Place]]:
    found: list[Span[Place]] = []
    at = hit.first
    while at > 0:
        if reading.joins(at - 1, at):
            at -= 1
            continue
        span = ends.get(at)
        if span is None or not reading.words.elided[at - 1]:
            break
        found.append(span)
        at = span.first
    return found


def _where(reading: Reading, hit: Span[Meaning], places: Sequence[Span[Place]]) -> Place | None:
    own = [span for span in places if hit.first <= span.first and span.last <= hit.last]
    if own:
        return own[-1].phrase.means
    near = [
        (distance, before, span.phrase.means)
        for span in places
        if not any(one.first <= span.first < one.last for one in reading.hits)
        and (found := _distance(reading, hit, span)) is not None
        for distance, before in [found]
    ]
    if not near:
        return None
    chosen = min(near, key=lambda item: item[:2])[2]
    # 'branch in the lower crown': the branch is meant, not the crown
    limbs = [place for _, _, place in near if place.dead_means == "dead_branch"]
    return limbs[0] if chosen.dead_means and limbs else chosen


def _distance(reading: Reading, hit: Span[Meaning], span: Span[Place]) -> tuple[int, bool] | None:
    """Words between a finding and a part, and whether the part stands before; None if too far."""
    words = reading.words
    if words.clause[span.first] != words.clause[hit.first]:
        return None
    before = span.last <= hit.first
    first, last = (span.last, hit.first) if before else (hit.last, span.first)
    if first > last:
        return None
    heads = before and _heads_clause(reading, span)
    if words.segment[span.first] != words.segment[hit.first] and not heads:
        return None
    between = reading.between(first, last)
    if between and not heads and (before or not reading.joins(first, between[0].first)):
        return None
    steps = reading.steps(first, last)
    return (steps, before) if steps <= _PART_REACH or heads else None


def _heads_clause(reading: Reading, span: Span[Place]) -> bool:
    """'Stamm: Fäule, Riss': a part at the head of a sentence and a colon speaks for all of it."""
    words = reading.words
    opens = span.first == 0 or words.clause[span.first - 1] != words.clause[span.first]
    return opens and span.last < len(words.word) and words.colon[span.last]
