"""Where a published value comes from."""

import tomllib
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Source:
    """One entry of sources.toml; `read` says how far it was read."""

    id: str
    authors: str
    year: int
    title: str
    publisher: str
    identifier: str
    read: str
    note: str

    @property
    def citation(self) -> str:
        """One line for people; a source without a year is 'n.d.'."""
        parts = [f"{self.authors} ({self.year or 'n.d.'}).", f"{self.title}."]
        if self.publisher and self.publisher != "none":
            parts.append(f"{self.publisher}.")
        if self.identifier:
            parts.append(f"{self.identifier}.")
        return " ".join(parts)


def read_sources(path: Path) -> dict[str, Source]:
    """All sources by id."""
    raw = tomllib.loads(path.read_text(encoding="utf-8"))
    return {
        key: Source(
            id=key,
            authors=str(entry.get("authors", "")),
            year=int(entry.get("year", 0)),
            title=str(entry.get("title", "")),
            publisher=str(entry.get("publisher", "")),
            identifier=str(entry.get("identifier", "")),
            read=str(entry.get("read", "")),
            note=str(entry.get("note", "")),
        )
        for key, entry in raw.items()
    }
