"""Faults of rows, the split into accepted and set aside, and the proof of the account."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from pipeline.errors import InputError
from pipeline.units import Flags, Ints


class Done(StrEnum):
    """What was done about a fault."""

    EMPTIED = "emptied"
    FLAGGED = "flagged"
    MENDED = "mended"
    SET_ASIDE = "set aside"


@dataclass(frozen=True, slots=True)
class Finding:
    """One kind of fault in one column of one file, with all the rows that show it.

    Parameters
    ----------
    code : kind of fault, snake_case.
    rows : positions in the file's data table, shape (n,), from 0.
    column : header as the file writes it, or None.
    values : what was found, as text, length n; empty means nothing to show.
    reason, remedy : one sentence each.
    done : what was done about it.
    """

    code: str
    rows: Ints
    column: str | None
    values: tuple[str | None, ...]
    reason: str
    remedy: str
    done: Done

    @property
    def count(self) -> int:
        """Number of rows that show the fault."""
        return len(self.rows)


@dataclass(frozen=True, slots=True)
class Reject:
    """A record so broken that it has no columns.

    Parameters
    ----------
    row : record number in the file, the first after the header is 1.
    line : line of the file, or None.
    text : the record as it stands.
    reason, remedy : one sentence each.
    code : kind of fault, snake_case.
    """

    row: int
    line: int | None
    text: str
    reason: str
    code: str = "record_broken"
    remedy: str = "Mend the record: as many cells as headers, quotes in pairs."


@dataclass(frozen=True, slots=True)
class RowAccount:
    """What became of the rows of one file; `rows_in` counts the rejects too."""

    rows_in: int
    accepted: int
    set_aside: int
    findings: tuple[Finding, ...] = field(default=())


def accepted_mask(size: int, findings: Sequence[Finding]) -> Flags:
    """True for the rows that no finding sets aside, shape (size,)."""
    keep = np.ones(size, dtype=np.bool_)
    for finding in findings:
        if finding.done is Done.SET_ASIDE:
            keep[finding.rows] = False
    return keep


def prove(
    *, file: str, size: int, rejects: int, accepted: int, findings: Sequence[Finding]
) -> RowAccount:
    """The account of one file: rows in = accepted + set aside.

    Raises
    ------
    InputError
        If the account does not close, which is a fault of the program.
    """
    aside = int((~accepted_mask(size, findings)).sum())
    if accepted + aside != size:
        raise InputError(
            where=file,
            found=f"{size} rows in, {accepted} accepted, {aside} set aside",
            expected="rows in = rows accepted + rows set aside",
            remedy="This is a fault of the program: report it with the file.",
        )
    return RowAccount(size + rejects, accepted, aside + rejects, tuple(findings))
