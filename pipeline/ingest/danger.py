"""Danger in rows that are set aside: it must reach a person whatever is wrong with the row."""

import re
from collections.abc import Iterable, Sequence

from pipeline.ingest.names import folded
from pipeline.published.table import PublishedTable

URGENT_CODES = frozenset({"R4", "R5"})
# Longer words are found with any ending: 'crack' in 'cracked', 'Riss' not in 'Rissa'.
_LONG = 5


class DangerWords:
    """The published words that mean danger, in every language, ready to be looked for."""

    def __init__(self, table: PublishedTable) -> None:
        """Fold the words; longer ones are looked for first."""
        self._said = {folded(word): word for word in table.texts("word")}
        ordered = sorted((w for w in self._said if w), key=lambda word: (-len(word), word))
        forms = [re.escape(word) + ("" if len(word) >= _LONG else r"(?!\w)") for word in ordered]
        self._pattern = re.compile(rf"(?<!\w)({'|'.join(forms)})") if forms else None

    def found_in(self, text: str) -> list[str]:
        """The words of danger in a text, in the order of their places, each once."""
        if self._pattern is None:
            return []
        hits = self._pattern.findall(folded(text))
        return list(dict.fromkeys(self._said[hit] for hit in hits))


def urgent_taxa(taxa: PublishedTable) -> frozenset[str]:
    """Taxon ids whose action code asks for an urgent look."""
    codes = zip(taxa.texts("taxon_id"), taxa.texts("action_code"), strict=True)
    return frozenset(taxon for taxon, code in codes if code in URGENT_CODES)


def danger_of(
    rows: Sequence[str], words: DangerWords, taxa: Iterable[str | None]
) -> list[str | None]:
    """What means danger in each set-aside row, or None.

    Parameters
    ----------
    rows : all texts of each row.
    taxa : for each row, the name of an urgent fungus that it speaks of, or None.
    """
    found = []
    for text, taxon in zip(rows, taxa, strict=True):
        told = words.found_in(text) + ([taxon] if taxon else [])
        found.append("; ".join(told) or None)
    return found
