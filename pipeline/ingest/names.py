"""What a written name means: species of trees, taxa of fungi; each different text is read once."""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa
from rapidfuzz import fuzz, process

from pipeline.published.table import PublishedTable

HOWS = ("exact", "synonym", "common_name", "misspelling", "genus_only", "unknown", "missing")
_EXACT, _SYNONYM, _COMMON, _MISSPELT, _GENUS, _UNKNOWN, _MISSING = HOWS
# Shorter texts are like too many names to be called a slip of the pen.
_SHORTEST_MISSPELLING = 6
_QUOTES = "['\u2018\u2019`\"\u201c\u201d]"
_CULTIVAR = re.compile(rf"(?<!\w){_QUOTES}.*?{_QUOTES}(?!\w)|\(.*?\)|\[.*?\]|(?<!\w){_QUOTES}.*$")
_RANK = re.compile(r"\s(var|subsp|ssp|f|fo|forma|cv|cultivar|auct|agg|s\.?\s?l|s\.?\s?str)\b\.?.*$")
_DOUBT = re.compile(r"(?<!\w)(cf|aff|nr)\.?\s|\?")
_SPECIES_MARK = re.compile(r"\s(sp|spp|species|indet)\.?$")
_SPACES = re.compile(r"[\s_]+")
_CROSS = re.compile(
    "\\s*[\u00d7\u2715]\\s*|"
    r"\s+x\s*(?=\s)|^x\s+"
)
_GENDER = re.compile(r"(us|um|a|is|e|os|on)$")
_TREE_WORD = re.compile(r"\s(tree|trees|baum|shrub)$")


@dataclass(frozen=True, slots=True)
class Answer:
    """What one text means; `name` is a species or taxon id, None where only less is known."""

    name: str | None
    genus: str | None
    how: str


@dataclass(frozen=True)
class Resolved:
    """Answers spread over rows; all of length n."""

    name: pa.Array
    genus: pa.Array
    how: pa.Array


class NameBook:
    """Every name that is known, folded to one way of writing."""

    def __init__(
        self, entries: Iterable[tuple[str, str | None, str, str]], *, least_score: float
    ) -> None:
        """Hold the names.

        Parameters
        ----------
        entries : written name, what it means (None: only the genus), its genus, and how; earlier
            entries stand over later ones.
        least_score : least similarity, 0 to 100, for a misspelling.
        """
        self._least_score = least_score
        self._answers: dict[str, Answer] = {}
        self._genera: dict[str, Answer] = {}
        self._by_stem: dict[str, set[Answer]] = {}
        for written, name, genus, how in entries:
            key = folded(written)
            self._answers.setdefault(key, Answer(name, genus, how))
            plain = key.replace(" x ", " ")
            if plain != key:
                self._answers.setdefault(plain, Answer(name, genus, how))
            self._by_stem.setdefault(_stem(plain), set()).add(self._answers[key])
            if how == _GENUS:
                self._genera.setdefault(key, Answer(name, genus, how))

    @classmethod
    def of_trees(
        cls, species: PublishedTable, names: PublishedTable, *, least_score: float
    ) -> "NameBook":
        """The book of trees: accepted names, then genera, then synonyms and common names."""
        entries: list[tuple[str, str | None, str, str]] = [
            (row["species"], row["species"], row["genus"], _EXACT) for row in species.rows
        ]
        entries += [(genus, None, genus, _GENUS) for genus in dict.fromkeys(species.texts("genus"))]
        kinds = {"synonym": _SYNONYM, "common": _COMMON, "genus_common": _GENUS}
        entries += [
            (row["name"], row["species"] or None, row["genus"],
             kinds[row["kind"]] if row["species"] else _GENUS)
            for row in names.rows
        ]  # fmt: skip
        return cls(entries, least_score=least_score)

    @classmethod
    def of_fungi(
        cls, taxa: PublishedTable, names: PublishedTable, *, least_score: float
    ) -> "NameBook":
        """The book of fungi; a genus that holds several taxa of the catalogue means none of them.

        `name` of its answers is a taxon id.
        """
        genus_of = {row["taxon_id"]: row["accepted_name"].split()[0] for row in taxa.rows}
        genera: dict[str, set[str]] = {}
        for row in names.rows:
            if row["kind"] == "genus":
                genera.setdefault(row["name"], set()).add(row["taxon_id"])
        entries: list[tuple[str, str | None, str, str]] = [
            (row["accepted_name"], row["taxon_id"], genus_of[row["taxon_id"]], _EXACT)
            for row in taxa.rows
            if row["rank"] != "genus"
        ]
        entries += [
            (name, next(iter(ids)) if len(ids) == 1 else None, name, _GENUS)
            for name, ids in genera.items()
        ]
        kinds = {"accepted": _EXACT, "synonym": _SYNONYM, "common": _COMMON}
        entries += [
            (row["name"], row["taxon_id"], genus_of[row["taxon_id"]], kinds[row["kind"]])
            for row in names.rows
            if row["kind"] != "genus"
        ]
        return cls(entries, least_score=least_score)

    def resolve(self, text: pa.Array) -> Resolved:
        """What each row's text means.

        Parameters
        ----------
        text : strings or a dictionary of strings, shape (n,), null where nothing is written.
        """
        coded = text if pa.types.is_dictionary(text.type) else text.dictionary_encode()
        answers = [self.answer(written or "") for written in coded.dictionary.to_pylist()]
        answers.append(Answer(None, None, _MISSING))
        rows = coded.indices.fill_null(len(answers) - 1)

        def spread(values: list[str | None]) -> pa.Array:
            return _labels(values, rows)

        return Resolved(
            spread([answer.name for answer in answers]),
            spread([answer.genus for answer in answers]),
            spread([answer.how for answer in answers]),
        )

    def answer(self, written: str) -> Answer:
        """What one text means."""
        key = folded(written)
        if not key:
            return Answer(None, None, _MISSING)
        found = next((self._answers[form] for form in _forms(key) if form in self._answers), None)
        return (
            found
            or self._other_ending(key)
            or self._misspelt(key)
            or self._genus(key)
            or Answer(None, None, _UNKNOWN)
        )

    def _other_ending(self, key: str) -> Answer | None:
        """The one name that differs by the gender of its epithet alone, as Quercus rubrum."""
        meant = self._by_stem.get(_stem(_forms(key)[-1].replace(" x ", " ")), set())
        named = {(answer.name, answer.genus) for answer in meant if answer.name}
        if len(named) != 1:
            return None
        name, genus = next(iter(named))
        return Answer(name, genus, _MISSPELT)

    def _genus(self, key: str) -> Answer | None:
        return self._genera.get(key.removeprefix("x ").split(" ")[0])

    def _misspelt(self, key: str) -> Answer | None:
        """The one name that is like enough; two unlike meanings equally near are none."""
        form = _forms(key)[-1]
        if len(form) < _SHORTEST_MISSPELLING:
            return None
        near = process.extract(
            form, self._keys, scorer=fuzz.ratio, score_cutoff=self._least_score, limit=4
        )
        meant = {self._answers[found] for found, score, _ in near if score == near[0][1]}
        if len({(answer.name, answer.genus) for answer in meant}) != 1:
            return None
        best = next(iter(meant))
        return Answer(best.name, best.genus, _MISSPELT if best.name else _GENUS)

    @cached_property
    def _keys(self) -> list[str]:
        return list(self._answers)


def _stem(key: str) -> str:
    """A two-word name without the ending that agrees with the gender of its genus."""
    genus, _, epithet = key.partition(" ")
    return f"{genus} {_GENDER.sub('', epithet)}" if epithet and " " not in epithet else key


def folded(written: str) -> str:
    """A name in small letters without accents, hybrid signs as ' x ', spaces single."""
    plain = unicodedata.normalize("NFKD", written.replace("\u00d7", " x ").replace("ß", "ss"))
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter)).casefold()
    plain = _CROSS.sub(" x ", plain)
    return _SPACES.sub(" ", plain).strip(" .,;:-*")


def _forms(key: str) -> list[str]:
    """The text as it stands, then ever barer: without cultivar, rank below species, doubt."""
    bare = _SPACES.sub(" ", _CULTIVAR.sub(" ", key)).strip()
    bare = _SPACES.sub(" ", _DOUBT.sub("", bare)).strip()
    ranked = _RANK.sub("", bare).strip()
    marked = _SPECIES_MARK.sub("", ranked).strip()
    words = marked.split(" ")
    size = 3 if len(words) > 1 and words[1] == "x" else 2
    treeless = _TREE_WORD.sub("", marked)
    forms = (key, bare, ranked, marked, treeless, " ".join(words[:size]), marked)
    return [form for form in dict.fromkeys(forms) if form] + ([treeless] if treeless else [])


def _labels(values: list[str | None], rows: pa.Array) -> pa.Array:
    """A dictionary array whose row i is `values[rows[i]]`; equal values share a code."""
    words = sorted({value for value in values if value is not None})
    place = {word: code for code, word in enumerate(words)}
    codes = np.array([place.get(value or "", -1) for value in values], dtype=np.int32)
    taken = codes[rows.to_numpy(zero_copy_only=False)]
    return pa.DictionaryArray.from_arrays(
        pa.array(taken, mask=taken < 0), pa.array(words, pa.string())
    )
