"""The table of the key is the key: read back with nothing else, it gives the same answers."""

from collections import defaultdict
from functools import cache

import numpy as np
import pytest

from pipeline.scoring.assembly.identified import identify
from pipeline.scoring.assembly.key_table import key_columns
from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification import meaning
from pipeline.scoring.identification.evidence import Evidence, Vocabulary
from pipeline.scoring.identification.meaning import Limits, Traits
from pipeline.scoring.identification.names import NameDoubts
from pipeline.scoring.identification.questions import Looks
from pipeline.scoring.parameters.identification import IdentificationParameters
from pipeline.terms import Part, word
from pipeline.units import Floats
from tests.scoring.identification.drawn import KEY, PARAMETERS, draw

SIGHTINGS = 200
SURE = 0.8
KEYS = ("taxon_id", "character", "state", "region")
Row = tuple[tuple[str, str, str, str], float, str]


@cache
def sections() -> dict[str, list[Row]]:
    """Rows of each section: key, value, text."""
    columns = key_columns(PARAMETERS, sure=SURE)
    found: dict[str, list[Row]] = defaultdict(list)
    lists = [list(columns[name]) for name in ("section", *KEYS)]  # type: ignore[call-overload]
    values = columns["number"].to_pylist()  # type: ignore[attr-defined]
    texts = list(columns["words"])  # type: ignore[call-overload]
    for section, *key, value, text in zip(*lists, values, texts, strict=True):
        number = np.nan if value is None else value
        found[section].append((tuple(key), number, text))
    # Rows are stored in the order of their key, so nothing may rest on the order they come in.
    return {name: sorted(rows, key=lambda row: row[0]) for name, rows in found.items()}


def ordered(section: str, at: int) -> tuple[str, ...]:
    rows = sorted(sections()[section], key=lambda row: row[1])
    return tuple(row[0][at] for row in rows)


def square(section: str, taxa: dict[str, int]) -> Floats:
    found = np.zeros((len(taxa), len(taxa)))
    for (named, _, instead, _), value, _ in sections()[section]:
        found[taxa[named], taxa[instead]] = value
    return found


def limit(name: str) -> float:
    return next(value for key, value, _ in sections()["limit"] if key[2] == name)


def vocabulary() -> Vocabulary:
    states: dict[str, list[str]] = {}
    for (_, character, state, _), _, _ in sorted(sections()["state"], key=lambda row: row[1]):
        states.setdefault(character, []).append(state)
    return Vocabulary(tuple(states), tuple(tuple(of) for of in states.values()))


def names_of(taxa: dict[str, int], observers: tuple[str, ...]) -> keys.NameSpread:
    share = {(key[1], key[2]): value for key, value, _ in sections()["name"]}
    columns = [[share[name, by] for by in observers] for name in ("look_alikes", "same_genus")]
    genus = np.full(len(taxa), -1)
    for (taxon, _, row, _), _, _ in sections()["genus"]:
        genus[taxa[taxon]] = taxa[row]
    return keys.NameSpread(
        name_by=observers,
        cap=np.array([share["cap", by] for by in observers]),
        most=limit("most"),
        not_listed=limit("not_listed"),
        genus=genus,
        among=np.array([*columns, 1 - np.sum(columns, axis=0)]).T,
        look_alike=square("look_alike", taxa),
        same_genus=square("same_genus", taxa),
        fits=limit("fits"),
        kept_from=limit("kept_from"),
    )


def read_back() -> IdentificationParameters:
    """The parameters of the key from the table alone."""
    taxon_id, regions, words = ordered("taxon", 0), ordered("region", 3), vocabulary()
    taxa = {name: at for at, name in enumerate(taxon_id)}
    likelihood = np.zeros((words.size, len(taxa)))
    for (taxon, character, state, _), value, _ in sections()["likelihood"]:
        likelihood[words.column(character, state), taxa[taxon]] = value
    for (_, character, state, _), _, other in sections()["alike"]:
        likelihood[words.column(character, state)] = likelihood[words.column(character, other)]
    prior = np.zeros((len(regions), len(taxa)))
    for (taxon, _, _, region), value, _ in sections()["prior"]:
        prior[regions.index(region), taxa[taxon]] = value
    observers = tuple(dict.fromkeys(key[2] for key, _, _ in sections()["name"]))
    return IdentificationParameters(
        key=keys.Key(taxon_id, words, likelihood, regions[:-1], prior, names_of(taxa, observers)),
        traits=traits_of(taxa),
        looks=looks_of(),
        limits=Limits(
            margin=limit("margin"),
            serious_from=int(limit("serious_from")),
            serious_share=limit("serious_share"),
            annual_years=int(limit("annual_years")),
        ),
        doubts=NameDoubts(
            fits=limit("fits"),
            fits_from=limit("fits_from"),
            unchecked_below=limit("unchecked_below"),
            unchecked_code=int(limit("unchecked_code")),
            unchecked_share=limit("unchecked_share"),
        ),
        names=tuple(text for _, _, text in sorted(sections()["taxon"], key=lambda row: row[1])),
        genera=words.states[words.characters.index("host")],
        tell_apart={(key[0], key[2]): text for key, _, text in sections()["tell_apart"]},
    )


def traits_of(taxa: dict[str, int]) -> Traits:
    count = len(taxa)
    numbers = {name: np.zeros(count) for name in ("rot", "significance", "action_code", "annual")}
    for (taxon, _, name, _), value, text in sections()["trait"]:
        numbers[name][taxa[taxon]] = meaning.ROTS.index(text) if name == "rot" else value
    attacks = np.zeros((count, len(Part)), np.bool_)
    parts = [word(part) for part in Part]
    for (taxon, _, part, _), value, _ in sections()["attacks"]:
        attacks[taxa[taxon], parts.index(part)] = bool(value)
    return Traits(
        rot=numbers["rot"].astype(np.int64),
        attacks=attacks,
        significance=numbers["significance"],
        action_code=numbers["action_code"].astype(np.int64),
        annual=numbers["annual"].astype(np.bool_),
    )


def looks_of() -> Looks:
    order = {key[1]: value for key, value, _ in sections()["look_order"]}
    rows = sorted(sections()["look"], key=lambda row: order[row[0][1]])
    codes = sorted({key[0] for key, _, _ in sections()["cost"]})
    cost = np.zeros((len(codes), len(codes)))
    for (true, _, told, _), value, _ in sections()["cost"]:
        cost[codes.index(true), codes.index(told)] = value
    return Looks(
        character=tuple(row[0][1] for row in rows),
        look=tuple(row[2] for row in rows),
        minutes=np.array([row[1] for row in rows]),
        order=np.array([order[row[0][1]] for row in rows]),
        cost=cost,
        sure=limit("sure"),
        certainty_weight=limit("certainty_weight"),
        near_equal=limit("near_equal"),
        enough=limit("enough"),
    )


def sightings(key: keys.Key) -> Evidence:
    """Drawn sightings, half of them with a name, given by anyone."""
    drawn, random = draw(SIGHTINGS, seed=21), np.random.default_rng(21)
    taxa = random.integers(0, len(key.taxon_id), 20)
    return Evidence(
        seen=drawn.seen,
        region=random.integers(-1, len(key.regions), SIGHTINGS),
        name=np.maximum(random.integers(-20, 20, SIGHTINGS), -1),
        meanings=np.array([keys.meaning_of((int(taxon),), key) for taxon in taxa]),
        name_by=random.integers(0, len(key.names.name_by), SIGHTINGS),
        certainty=np.where(random.random(SIGHTINGS) < 0.5, np.nan, random.random(SIGHTINGS)),
    )


def test_a_key_from_the_table_alone_gives_the_same_posterior() -> None:
    again = read_back()
    evidence = sightings(KEY)
    by_name = [again.key.names.name_by.index(name) for name in KEY.names.name_by]
    theirs = Evidence(
        evidence.seen, evidence.region, evidence.name,
        sightings(again.key).meanings, np.array(by_name)[evidence.name_by], evidence.certainty,
    )  # fmt: skip
    expected = keys.posterior(evidence, KEY)
    found = keys.posterior(theirs, again.key)
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-12)
    assert (evidence.name >= 0).sum() > SIGHTINGS / 3


def test_it_gives_the_same_answers_and_looks() -> None:
    again = read_back()
    drawn = draw(SIGHTINGS, seed=22, looked=0.3)
    blank = np.zeros(SIGHTINGS, np.int64)
    evidence = Evidence(
        drawn.seen, drawn.region, blank - 1, np.zeros((0, len(KEY.taxon_id))), blank,
        np.full(SIGHTINGS, np.nan),
    )  # fmt: skip
    odd = np.zeros(SIGHTINGS, np.bool_)
    expected = identify(evidence, odd, PARAMETERS, sure=SURE)
    found = identify(evidence, odd, again, sure=limit("name_sure"))
    names = PARAMETERS.names, again.names
    looks = (*PARAMETERS.looks.character, ""), (*again.looks.character, "")
    for name in ("rot", "code", "decay", "expert", "taxon"):
        np.testing.assert_array_equal(getattr(found, name), getattr(expected, name), name)
    for name in ("probability", "significance", "serious", "attacks"):
        np.testing.assert_allclose(getattr(found, name), getattr(expected, name), atol=1e-12)
    assert [looks[1][at] for at in found.look] == [looks[0][at] for at in expected.look]
    assert names[0] == names[1]
    assert again.tell_apart == PARAMETERS.tell_apart


def test_a_row_is_there_once() -> None:
    for name, rows in sections().items():
        assert len({row[0] for row in rows}) == len(rows), name


@pytest.mark.parametrize("section", ["likelihood", "prior", "cost", "look", "name"])
def test_where_a_number_is_needed_it_is_there(section: str) -> None:
    assert np.isfinite([value for _, value, _ in sections()[section]]).all()
