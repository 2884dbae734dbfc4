"""A remark as words: small letters without accents, every word with its place in the text."""

import html
import re
import unicodedata
from dataclasses import dataclass

_TAG = re.compile(r"<!--.*?-->|</?[a-zA-Z][^<>]*>", re.DOTALL)
_NEW_LINE_TAG = re.compile(r"</?(br|p|div|li|ul|ol|tr|h\d)\b", re.IGNORECASE)
_ENTITY = re.compile(r"&(?:#\d{1,7}|#[xX][0-9a-fA-F]{1,6}|[a-zA-Z]{2,31});")
_MARK = re.compile(r"[^\W_]+|[?/+&]|[.,;:=!(\[|\n\r\u2022\u2026\u2013\u2014-]")
_ELISION = re.compile(r"[-\u2010\u2011](?=[\s,/+&])")
_HARD = frozenset(";!|\n\r\u2022\u2026")
_DASHES = frozenset("-\u2013\u2014")
_KEY_ENDS = _DASHES | frozenset(":=")
_WORDS_OF_ONE_MARK = frozenset("?/+&")
_LIGATURES = {"ß": "ss", "œ": "oe", "Œ": "oe", "æ": "ae", "Æ": "ae", "ø": "o", "Ø": "o", "ł": "l"}
_DIAERESIS = "\u0308"
# Letters that are folded one by one, without a look at their neighbours.
_LATIN = re.compile("[\\x00-\\u024f]*")
# An abbreviation ends with a full stop that ends no sentence.
_SHORT = 2


@dataclass(frozen=True, slots=True)
class Words:
    """The words of one text; all tuples have one entry a word.

    Parameters
    ----------
    word : folded words, and the marks ? / + & as words of their own.
    start, end : place in the folded text, end exclusive; `places` leads back to the text as given.
    clause : number of sentence ends before the word.
    segment : number of commas, brackets, colons and sentence ends before the word.
    colon : the last mark before the word is a colon, a dash or =.
    elided : a hyphen stands for the rest of the word, as in 'Stamm- und Wurzelfäule'.
    """

    word: tuple[str, ...]
    start: tuple[int, ...]
    end: tuple[int, ...]
    clause: tuple[int, ...]
    segment: tuple[int, ...]
    colon: tuple[bool, ...]
    elided: tuple[bool, ...]


def plain(text: str) -> str:
    """Small letters, umlauts as two letters, no other accents, no markup."""
    if "<" in text:
        text = _TAG.sub(_blank, text)
    if "&" in text or not _LATIN.fullmatch(text):
        return folded(text)[0]
    return text.lower() if text.isascii() else text.translate(_PLAIN_LETTERS)


def folded(text: str) -> tuple[str, list[int] | None]:
    """The plain text, and for each of its letters the place in `text`; None where they agree."""
    if "<" in text:
        text = _TAG.sub(_blank, text)
    if text.isascii() and "&" not in text:
        return text.lower(), None
    letters: list[str] = []
    places: list[int] = []
    at = 0
    for entity in _ENTITY.finditer(text):
        _fold_into(letters, places, text[at : entity.start()], at, None)
        _fold_into(letters, places, html.unescape(entity.group()), at, entity.start())
        at = entity.end()
    _fold_into(letters, places, text[at:], at, None)
    return "".join(letters), places


def words_of(text: str, abbreviations: frozenset[str] = frozenset()) -> Words:
    """The words of a text; a full stop after one of `abbreviations` ends no sentence."""
    small = plain(text)
    word: list[str] = []
    start: list[int] = []
    end: list[int] = []
    clause: list[int] = []
    segment: list[int] = []
    colon: list[bool] = []
    elided: list[bool] = []
    clauses = segments = 0
    by_colon = False
    for found in _MARK.finditer(small):
        mark = found.group()
        if mark[0].isalnum() or mark in _WORDS_OF_ONE_MARK:
            word.append(mark)
            start.append(found.start())
            end.append(found.end())
            clause.append(clauses)
            segment.append(segments)
            colon.append(by_colon)
            elided.append(bool(_ELISION.match(small, found.end())))
            by_colon = False
        elif _is_hard(small, found, word, abbreviations):
            clauses += 1
            segments += 1
            by_colon = False
        elif _is_soft(small, found):
            segments += 1
            by_colon = mark in _KEY_ENDS
    return Words(
        tuple(word), tuple(start), tuple(end), tuple(clause), tuple(segment), tuple(colon),
        tuple(elided),
    )  # fmt: skip


def _is_hard(
    small: str, found: re.Match[str], word: list[str], abbreviations: frozenset[str]
) -> bool:
    mark = found.group()
    if mark != ".":
        return mark in _HARD
    last = word[-1] if word else ""
    if len(last) <= _SHORT or last in abbreviations:
        return False
    after = small[found.end() : found.end() + 1]
    return not (last.isdigit() and after.isdigit())


def _is_soft(small: str, found: re.Match[str]) -> bool:
    """Whether a mark parts words: a hyphen only does between spaces."""
    mark = found.group()
    if mark not in _DASHES:
        return mark != "."
    around = small[max(found.start() - 1, 0) : found.start()] + small[found.end() : found.end() + 1]
    return not around.strip()


def _blank(tag: re.Match[str]) -> str:
    """As many blanks as the tag is long, so that places stay; a line end where it is one."""
    size = len(tag.group())
    return ("\n" if _NEW_LINE_TAG.match(tag.group()) else " ") + " " * (size - 1)


def _fold_into(
    letters: list[str], places: list[int], text: str, offset: int, fixed: int | None
) -> None:
    for at, letter in enumerate(text):
        place = fixed if fixed is not None else offset + at
        if letter.isascii():
            letters.append(letter.lower())
            places.append(place)
            continue
        for part in _folded_letter(letter):
            if part == _DIAERESIS:
                if not (letters and letters[-1] in "aou"):
                    continue
                part = "e"  # noqa: PLW2901
            letters.append(part)
            places.append(place)


def _folded_letter(letter: str) -> str:
    """A letter outside ASCII in plain letters; a diaeresis is kept for the caller to judge."""
    known = _LIGATURES.get(letter)
    if known is not None:
        return known
    kept = []
    for part in unicodedata.normalize("NFKD", letter):
        if part == _DIAERESIS:
            kept.append(part)
        elif not unicodedata.combining(part) and unicodedata.category(part) != "Cf":
            kept.extend(part.lower())
    return "".join(kept)


_PLAIN_LETTERS = {
    code: _folded_letter(chr(code)).replace(_DIAERESIS, "e" if chr(code).lower() in "äöü" else "")
    for code in range(0x80, 0x250)
} | {code: chr(code).lower() for code in range(0x80)}
