"""The cells of the tables of words, as words."""

from collections.abc import Iterable

from pipeline.ingest.notes_text import words_of

STARRED_NAME_LETTERS = 6
_USE = "<"
_UMLAUTS = (("ae", "a"), ("oe", "o"), ("ue", "u"))


def starred_words(text: str, language: str) -> list[str]:
    """The folded words of a table's cell, stars kept; a use is marked with its language."""
    words = []
    for piece in text.split():
        if piece.startswith(_USE):
            words.append(piece + language)
            continue
        inside = list(words_of(piece.strip("*")).word)
        if piece.startswith("*"):
            inside[0] = "*" + inside[0]
        if piece.endswith("*"):
            inside[-1] += "*"
        words += inside
    return words


def without_umlauts(words: list[str]) -> Iterable[list[str]]:
    """German words as they are, and as written where umlauts lost their dots."""
    yield words
    bare = words
    for two, one in _UMLAUTS:
        bare = [
            word.replace(two, one) if len(word.strip("*")) >= STARRED_NAME_LETTERS else word
            for word in bare
        ]
    if bare != words:
        yield bare
