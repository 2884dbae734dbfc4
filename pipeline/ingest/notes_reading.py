"""One remark while it is read."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.ingest.notes_lexicon import Lexicon, Meaning, Span
from pipeline.ingest.notes_text import Words


@dataclass(frozen=True, slots=True)
class Reading:
    """One text being read: its words, what was found in it, and in which languages it is read."""

    words: Words
    lexicon: Lexicon
    languages: frozenset[str]
    hits: Sequence[Span[Meaning]]

    def small(self, at: int) -> bool:
        """A word that does not count when distances are measured."""
        known = self.lexicon.known(self.words.word[at])
        return bool(known.fills & self.languages) or known.joins

    def joins(self, first: int, last: int) -> bool:
        """Whether 'and', 'or' or a mark for them stands among these words."""
        return any(self.lexicon.known(self.words.word[at]).joins for at in range(first, last))

    def between(self, first: int, last: int) -> list[Span[Meaning]]:
        """Findings wholly among these words."""
        return [hit for hit in self.hits if first <= hit.first and hit.last <= last]

    def steps(self, first: int, last: int) -> int:
        """Words from `first` to before `last`; a finding counts as none, a small word neither."""
        inside = {at for hit in self.between(first, last) for at in range(hit.first, hit.last)}
        return sum(1 for at in range(first, last) if at not in inside and not self.small(at))
