"""Which Darwin Core terms are read, how a header names one, and what their words mean."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.ingest.archive_meta import Limits
from pipeline.ingest.darwin_core_cells import Word, Words
from pipeline.published.table import Library
from pipeline.tables.inputs import INPUTS

_NAMESPACES = (
    "http://rs.tdwg.org/dwc/terms/", "http://rs.tdwg.org/dwc/iri/", "http://purl.org/dc/terms/",
    "http://purl.org/dc/elements/1.1/", "dwc:", "dwciri:", "dcterms:", "dc:",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Term:
    """A term that is read: its name, the canonical column it feeds, and how."""

    name: str
    column: str
    reading: str


@dataclass(frozen=True)
class Standard:
    """The terms that are read, by their name in small letters, and the words they hold.

    Parameters
    ----------
    obscured_least_m : a smaller accuracy beside a blurred place counts as unknown.
    archives_up_to : how large an archive may be.
    """

    terms: Mapping[str, Term]
    words: Mapping[str, Words]
    obscured_least_m: float
    archives_up_to: Limits

    @classmethod
    def of(cls, library: Library) -> "Standard":
        """The standard as the published tables state it."""
        terms = library.table("darwin_core_terms", key=("term",))
        words: dict[str, dict[str, Word]] = {}
        table = library.table("darwin_core_words", key=("term", "word"))
        for row, share in zip(table.rows, table.numbers("certainty_share"), strict=True):
            word = Word(row["becomes"], None if np.isnan(share) else float(share))
            words.setdefault(row["term"], {})[row["word"]] = word
        limits = library.table("archive_limits", key=("quantity",))
        return cls(
            {
                row["term"].lower(): Term(row["term"], row["column"], row["reading"])
                for row in terms.rows
            },
            words,
            limits.number("value", quantity="obscured_least_m"),
            Limits.of(library),
        )

    def term(self, header: str) -> Term | None:
        """The term that a header names, with or without its prefix or as its full IRI."""
        plain = header.strip()
        lead = next((n for n in _NAMESPACES if plain.lower().startswith(n)), "")
        return self.terms.get(plain[len(lead) :].lower().replace("_", "").replace(" ", ""))

    def is_recognised(self, headers: Sequence[str]) -> bool:
        """Whether some header is a term and not also one of our own names."""
        own = {column.name for column in INPUTS["sightings"].columns}
        return any(self.term(h) is not None and h.strip().lower() not in own for h in headers)
