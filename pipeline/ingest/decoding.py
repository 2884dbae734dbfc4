"""Text files before they are tables: bytes, encoding, line ends, delimiter, where records begin."""

import csv
import gzip
import re
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import charset_normalizer
import numpy as np

from pipeline.errors import InputError
from pipeline.units import Flags, Ints

DELIMITERS = ",;\t|"
_SAMPLE_BYTES = 200_000
_SNIFF_BYTES = 20_000
_CHUNK_BYTES = 1_000_000
_BOMS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_WESTERN = frozenset({"cp1252", "latin_1", "iso8859_15", "cp1254", "iso8859_9", "mac_roman",
                      "mac_iceland", "cp850", "cp858", "cp437", "hp_roman8"})  # fmt: skip
_FEW_WORDS = 100
_ACCENTED_WORD = re.compile(rb"[A-Za-z]*[\x80-\xff][A-Za-z\x80-\xff]*")
_FIRST_ABOVE_ASCII, _FIRST_LETTER_OF_LATIN_1 = 0x80, 0xA0
_QUOTE, _NEWLINE = ord('"'), ord("\n")


class EmptyFileError(InputError):
    """A file that holds nothing."""

    def __init__(self, where: str) -> None:
        """Say which."""
        super().__init__(
            where=where,
            found="an empty file",
            expected="a header and rows",
            remedy="Export the file again, or take it out of the settings.",
        )


class UnreadableTextError(InputError):
    """A file whose bytes are no text in a known encoding."""

    def __init__(self, where: str, found: str) -> None:
        """Say which, and what was found."""
        super().__init__(
            where=where,
            found=found,
            expected="text in a known encoding",
            remedy="Save the file as UTF-8, or name its encoding in the settings.",
        )


@dataclass(frozen=True)
class Text:
    """A text file in UTF-8 with line feeds, whatever it was on disk.

    Parameters
    ----------
    data : the text as UTF-8 bytes.
    encoding : the encoding that was found.
    """

    data: bytes
    encoding: str


def file_bytes(path: Path, *, where: str) -> bytes:
    """The bytes as they lie on disk.

    Raises
    ------
    InputError
        If the file is missing or unreadable.
    EmptyFileError
        If it is empty.
    """
    try:
        data = path.read_bytes()
    except OSError as fault:
        raise InputError(
            where=where,
            found="no such file" if not path.exists() else f"a file that cannot be read ({fault})",
            expected="a readable file in the data folder",
            remedy="Mend the name in the settings, or give --data DIR.",
        ) from fault
    if not data:
        raise EmptyFileError(where)
    return data


def decode(raw: bytes, *, where: str, encoding: str | None) -> Text:
    """The text of a file, unzipped where it is gzip; the encoding detected unless told.

    Raises
    ------
    InputError
        If the file is damaged.
    EmptyFileError
        If there is no text.
    UnreadableTextError
        If it is in no encoding that can be read.
    """
    data = _unzipped(raw, where)
    if not data[:_SAMPLE_BYTES].strip() and not data.strip():
        raise EmptyFileError(where)
    found = encoding or _encoding_of(data, where)
    try:
        if found != "utf-8":
            data = data.decode(found).encode("utf-8")
        elif encoding is not None or data.startswith(_BOMS[0][0]):
            _check_utf8(data)  # a detected one has been checked
    except (UnicodeDecodeError, LookupError) as fault:
        raise UnreadableTextError(where, f"bytes that are not {found} ({fault})") from fault
    if b"\x00" in data:
        raise UnreadableTextError(where, "zero bytes, as in a binary file")
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return Text(data.removeprefix(b"\xef\xbb\xbf"), found)


def delimiter_of(text: Text, *, where: str) -> str:
    """The mark that parts most records into as many cells as the header has.

    The standard library's sniffer takes decimal commas for delimiters, so marks are judged by what
    they make of the records.

    Raises
    ------
    InputError
        If two marks do equally well.
    """
    sample = text.data[: text.data.find(b"\n", _SNIFF_BYTES) + 1 or len(text.data)].lstrip(b"\n")
    header = sample.split(b"\n", 1)[0]
    present = [mark for mark in DELIMITERS if mark.encode() in header]
    if not present:
        return ","
    scores = {mark: _fit(sample, mark) for mark in present}
    best = max(present, key=lambda mark: scores[mark])
    equal = [mark for mark in present if scores[mark] == scores[best]]
    if len(equal) > 1:
        raise InputError(
            where=where,
            found=f"records that {' and '.join(map(repr, equal))} part equally well",
            expected="one delimiter",
            remedy="Name it in the settings: delimiter = ';'.",
        )
    return best


def _fit(sample: bytes, mark: str) -> tuple[float, int]:
    """Share of records with the header's number of cells, and that number."""
    header = split_records(sample[: sample.find(b"\n") + 1] or sample, delimiter=mark, width=1)
    width = int(header.cells[0])
    found = split_records(sample, delimiter=mark, width=width)
    return float((found.cells == width).mean()), width


def header_of(text: Text, delimiter: str) -> list[str]:
    """The headers of the first record; a repeated one gets ' (2)', an empty one 'column N'."""
    sample = text.data[:_SAMPLE_BYTES].decode("utf-8", errors="ignore")
    rows = csv.reader(sample.lstrip("\n").splitlines(keepends=True), delimiter=delimiter)
    return unique_headers(next(rows))


def unique_headers(cells: list[str]) -> list[str]:
    """Headers made unique and non-empty, in order."""
    seen: dict[str, int] = {}
    named: list[str] = []
    for position, cell in enumerate(cells, start=1):
        name = cell.strip() or f"column {position}"
        seen[name] = seen.get(name, 0) + 1
        named.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return named


@dataclass(frozen=True)
class Records:
    """The records of a text, header first; blank lines are no records.

    Parameters
    ----------
    starts, ends : byte offsets, shape (n,).
    lines : line on which each begins, from 1, shape (n,).
    cells : number of cells, shape (n,).
    open_quote : True where a quote was opened and not closed before the record made sense.
    """

    starts: Ints
    ends: Ints
    lines: Ints
    cells: Ints
    open_quote: Flags


def split_records(data: bytes, *, delimiter: str, width: int) -> Records:
    """Where the records of a text begin and end, without looking at their cells.

    A line end or a delimiter counts where an even number of quotes stands before it. A record over
    several lines that has not `width` cells was opened by a stray quote: only its first line is
    broken, and counting starts anew behind it, so that one bad quote costs one line.
    """
    buffer = np.frombuffer(data, dtype=np.uint8)
    quotes = np.flatnonzero(buffer == _QUOTE)
    breaks = np.flatnonzero(buffer == _NEWLINE)
    line_starts = np.concatenate(([0], breaks + 1))
    line_ends = np.concatenate((breaks, [len(buffer)]))
    marks = np.flatnonzero(buffer == ord(delimiter))
    quotes_before = np.searchsorted(quotes, line_starts)
    marks_inside = np.searchsorted(quotes, marks) % 2
    plans = [
        _plan(parity, quotes_before, line_starts, line_ends, marks[marks_inside == parity], width)
        for parity in (0, 1)
    ]
    if len(quotes) % 2 != 0 and len(plans[0][3]):
        plans[0][3][-1] = True
    if len(quotes) % 2 == 0 and len(plans[1][3]):
        plans[1][3][-1] = True
    first, last, cells, broken = _walk(plans, quotes_before)
    kept = line_ends[last] > line_starts[first]
    first, last = first[kept], last[kept]
    return Records(line_starts[first], line_ends[last], first + 1, cells[kept], broken[kept])


_Plan = tuple[Ints, Ints, Ints, Flags]


def _plan(
    parity: int, quotes_before: Ints, starts: Ints, ends: Ints, marks: Ints, width: int
) -> _Plan:
    """Records (first line, last line, cells, broken) if `parity` quotes stood open before."""
    first = np.flatnonzero(quotes_before % 2 == parity)
    if not len(first):
        none = np.zeros(0, np.int64)
        return none, none, none, none.astype(np.bool_)
    last = np.append(first[1:] - 1, len(starts) - 1)
    cells = np.searchsorted(marks, ends[last]) - np.searchsorted(marks, starts[first]) + 1
    broken = (last > first) & (cells != width) & (ends[last] > starts[first])
    blank_tail = (ends[last] == starts[last]) & (last == first + 1) & (last == len(starts) - 1)
    return first, last, cells, broken & ~blank_tail


def _walk(plans: list[_Plan], quotes_before: Ints) -> tuple[Ints, Ints, Ints, Flags]:
    """Follow one plan until its next broken record, give up that line, go on behind it."""
    parts: list[tuple[Ints, Ints, Ints, Flags]] = []
    line, total = 0, len(quotes_before)
    while line < total:
        first, last, cells, broken = plans[int(quotes_before[line] % 2)]
        begin = int(np.searchsorted(first, line))
        faults = np.flatnonzero(broken[begin:])
        end = begin + int(faults[0]) if len(faults) else len(first)
        parts.append((first[begin:end], last[begin:end], cells[begin:end], broken[begin:end]))
        if end == len(first):
            break
        bad = first[end : end + 1]
        parts.append((bad, bad, cells[end : end + 1], np.ones(1, np.bool_)))
        line = int(bad[0]) + 1
    joined = [np.concatenate(column) for column in zip(*parts, strict=True)]
    return joined[0], joined[1], joined[2], joined[3]


def one_line_each(data: bytes, *, records: int) -> bool:
    """True if no record holds a line end and no line is blank, so that record n is on line n + 1.

    Parameters
    ----------
    records : number of records without the header.
    """
    ends = data.count(b"\n") + (not data.endswith(b"\n"))
    return ends == records + 1 and b"\n\n" not in data


def line_finder(
    path: Path, *, encoding: str, delimiter: str, width: int, records: int
) -> Callable[[], Ints | None]:
    """A function that gives the line on which each record begins, shape (records,), when asked.

    It reads the file again, so that no text is held for a table without faults. It gives None
    where the count of records differs from what was read: better no line than a wrong one.
    """

    @cache
    def starts() -> Ints | None:
        text = decode(path.read_bytes(), where=str(path), encoding=encoding)
        found = split_records(text.data, delimiter=delimiter, width=width)
        return found.lines[1:] if len(found.lines) == records + 1 else None

    return starts


def _unzipped(raw: bytes, where: str) -> bytes:
    if not raw.startswith(b"\x1f\x8b"):
        return raw
    try:
        return gzip.decompress(raw)
    except (OSError, EOFError, zlib.error) as fault:
        raise InputError(
            where=where,
            found=f"a damaged gzip file ({fault})",
            expected="a whole gzip file",
            remedy="Fetch the file again.",
        ) from fault


def _check_utf8(data: bytes) -> None:
    """Strict UTF-8, a megabyte at a time: most stretches are ASCII, which is told far faster."""
    position = 0
    while position < len(data):
        cut = data.find(b"\n", position + _CHUNK_BYTES)
        end = len(data) if cut < 0 else cut
        stretch = data[position:end]
        if not stretch.isascii():
            stretch.decode("utf-8")
        position = end


def _encoding_of(data: bytes, where: str) -> str:
    for mark, name in _BOMS:
        if data.startswith(mark):
            return "utf-8" if name == "utf-8-sig" else name
    try:
        _check_utf8(data)
    except UnicodeDecodeError:
        pass
    else:
        return "utf-8"
    if b"\x00" in data[:_SAMPLE_BYTES]:
        raise UnreadableTextError(where, "zero bytes, as in a binary file")
    guesses = list(charset_normalizer.from_bytes(_telling_sample(data)))
    least = min((guess.chaos for guess in guesses), default=0.0)
    settled = _settled([str(guess.encoding) for guess in guesses if guess.chaos <= least], data)
    if settled is None:
        raise UnreadableTextError(where, "bytes in no known encoding")
    return settled


def _telling_sample(data: bytes) -> bytes:
    """Lines that hold bytes above ASCII: plain lines tell a detector nothing."""
    if len(data) <= _SAMPLE_BYTES:
        return data
    lines = [line for line in data.split(b"\n") if not line.isascii()]
    return b"\n".join(lines)[:_SAMPLE_BYTES]


def _settled(guesses: list[str], data: bytes) -> str | None:
    """The detector's word, unless it had too little to go by.

    A few accented letters amid ASCII tell no code page from another, and detectors then guess
    wildly, even at two-byte scripts. Where bytes above ASCII stand alone, as accents do, and are
    few, or a Western page is among the equally good guesses, the text is read as Latin-1, or as
    cp1252 where it uses what that adds to Latin-1.
    """
    found = guesses[0] if guesses else None
    array = np.frombuffer(data, dtype=np.uint8)
    high = array >= _FIRST_ABOVE_ASCII
    paired = high[1:] & high[:-1]
    alone = 2 * int(paired.sum()) < int(high.sum())
    few = len(set(_ACCENTED_WORD.findall(data))) < _FEW_WORDS
    if not (alone and (few or found is None or not _WESTERN.isdisjoint(guesses))):
        return found
    if array[high].min() >= _FIRST_LETTER_OF_LATIN_1:
        return "latin-1"
    try:
        data.decode("cp1252")
    except UnicodeDecodeError:
        return found
    return "cp1252"
