"""All rows of a tree inventory's files under each other, with their flags and findings."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from pipeline.ingest.columns import Mapped
from pipeline.ingest.points import Places
from pipeline.ingest.quarantine import Done, Finding, accepted_mask
from pipeline.units import Flags, Floats


class TreeRows:
    """All rows of all files under each other, and the way back to file and row."""

    def __init__(self, files: Sequence[Mapped], places: Sequence[Places]) -> None:
        """Lay the files under each other; places are in the order of the files."""
        self.files, self.places = files, places
        self.offsets = np.concatenate(([0], np.cumsum([len(m) for m in files]))).astype(np.int64)
        self.size = int(self.offsets[-1])
        self.flags: dict[str, Flags] = {}
        self.found: list[list[Finding]] = [[*p.findings] for p in places] or [[] for _ in files]

    def text(self, name: str) -> pa.Array:
        """A text column of all rows."""
        return pa.concat_arrays([m.text(name).cast(pa.string()) for m in self.files])

    def number(self, name: str) -> Floats:
        """A number column of all rows, NaN where missing."""
        return np.concatenate([m.number(name) for m in self.files])

    def dates(self, name: str) -> pa.Array:
        """A date column of all rows."""
        return pa.concat_arrays([m.dates(name) for m in self.files])

    def place(self, name: str) -> Floats:
        """`longitude` or `latitude` of all rows."""
        return np.concatenate([getattr(p, name) for p in self.places])

    def per_file(self, values: Sequence[object], kind: npt.DTypeLike) -> npt.NDArray[np.generic]:
        """One value a file, repeated for each of its rows."""
        return np.repeat(np.asarray(values, dtype=kind), np.diff(self.offsets))

    def standing(self) -> Flags:
        """Rows that the files' own findings leave in, shape (size,)."""
        kept = [accepted_mask(len(m), m.findings) for m in self.files]
        return np.concatenate([np.zeros(0, np.bool_), *kept])

    def mark(self, code: str, mask: Flags) -> None:
        """Flag rows, shape (size,)."""
        self.flags[code] = self.flags[code] | mask if code in self.flags else mask

    def tell(
        self, code: str, mask: Flags, *, column: str, done: Done, said: tuple[str, str]
    ) -> None:
        """A finding, and unless the rows are set aside, a flag; in the file that each row is of."""
        rows = np.flatnonzero(mask)
        if done is not Done.SET_ASIDE:
            self.mark(code, mask)
        for number, mapped in enumerate(self.files):
            low, high = self.offsets[number], self.offsets[number + 1]
            own = rows[(rows >= low) & (rows < high)] - low
            if len(own):
                values = mapped.original(column).take(pa.array(own)).to_pylist()
                header = mapped.header(column)
                self.found[number].append(
                    Finding(code, own, header, tuple(values), said[0], said[1], done)
                )

    def gather_flags(self) -> None:
        """Flags of the files' own findings, marks and places."""
        for number, (mapped, places) in enumerate(zip(self.files, self.places, strict=True)):
            own = slice(self.offsets[number], self.offsets[number + 1])
            masks = {**places.flags, **mapped.marks}
            for finding in mapped.findings:
                mask = masks.get(finding.code, np.zeros(len(mapped), np.bool_)).copy()
                mask[finding.rows] = True
                masks[finding.code] = mask
            for code, mask in masks.items():
                whole = np.zeros(self.size, np.bool_)
                whole[own] = mask
                self.mark(code, whole)

    def flagged(self, *codes: str) -> Flags:
        """Rows with one of the flags."""
        found = np.zeros(self.size, np.bool_)
        for code in codes:
            if code in self.flags:
                found |= self.flags[code]
        return found
