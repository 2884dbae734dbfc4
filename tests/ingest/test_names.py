"""Names of trees and fungi: exact, synonym, common, misspelt, genus only, unknown."""

import pyarrow as pa
import pytest

from pipeline.ingest.names import Answer, NameBook, folded
from pipeline.published.table import Library


@pytest.fixture(scope="module")
def trees() -> NameBook:
    library = Library()
    return NameBook.of_trees(
        library.table("tree_species"), library.table("tree_names"), least_score=90
    )


@pytest.fixture(scope="module")
def fungi() -> NameBook:
    library = Library()
    return NameBook.of_fungi(library.table("taxa"), library.table("taxon_names"), least_score=90)


# Synonymies and common names: general botany, from memory.
@pytest.mark.parametrize(
    ("written", "name", "genus", "how"),
    [
        ("Acer platanoides", "Acer platanoides", "Acer", "exact"),
        ("  ACER  PLATANOIDES ", "Acer platanoides", "Acer", "exact"),
        ("Platanus \u00d7 hispanica", "Platanus x hispanica", "Platanus", "exact"),
        ("Platanus hispanica", "Platanus x hispanica", "Platanus", "exact"),
        ("Platanus x acerifolia", "Platanus x hispanica", "Platanus", "synonym"),
        ("Sophora japonica", "Styphnolobium japonicum", "Styphnolobium", "synonym"),
        ("Populus nigra 'Italica'", "Populus nigra", "Populus", "exact"),
        ("Populus nigra \u2018Italica\u2019", "Populus nigra", "Populus", "exact"),
        ("Acer saccharum var. nigrum", "Acer saccharum", "Acer", "exact"),
        ("Prunus sp.", None, "Prunus", "genus_only"),
        ("Ulmus spp", None, "Ulmus", "genus_only"),
        ("Malus 'Kulturapfel'", None, "Malus", "genus_only"),
        ("Quercus", None, "Quercus", "genus_only"),
        ("oak", None, "Quercus", "genus_only"),
        ("Eiche", None, "Quercus", "genus_only"),
        ("Stieleiche", "Quercus robur", "Quercus", "common_name"),
        ("Acer platnoides", "Acer platanoides", "Acer", "misspelling"),
        ("Quercus rubrum", "Quercus rubra", "Quercus", "misspelling"),
        ("Robinia pseudoaccacia", "Robinia pseudoacacia", "Robinia", "misspelling"),
        ("something grey", None, None, "unknown"),
        ("???", None, None, "unknown"),
        (" - ", None, None, "missing"),
    ],
)
def test_trees(
    trees: NameBook, written: str, name: str | None, genus: str | None, how: str
) -> None:
    assert trees.answer(written) == Answer(name, genus, how)


# Synonymies and common names of fungi: general mycology, from memory.
@pytest.mark.parametrize(
    ("written", "taxon", "how"),
    [
        ("Fomes fomentarius", "fomes_fomentarius", "exact"),
        ("Fomes fomentarius (L.) Fr.", "fomes_fomentarius", "exact"),
        ("Ganoderma cf. applanatum", "ganoderma_applanatum", "exact"),
        ("Ganoderma aplanatum", "ganoderma_applanatum", "misspelling"),
        ("Zunderschwamm", "fomes_fomentarius", "common_name"),
        ("Brandkrustenpilz", "kretzschmaria_deusta", "common_name"),
        ("no id", None, "unknown"),
    ],
)
def test_fungi(fungi: NameBook, written: str, taxon: str | None, how: str) -> None:
    found = fungi.answer(written)
    assert (found.name, found.how) == (taxon, how)


def test_every_accepted_name_means_itself() -> None:
    library = Library()
    species = library.table("tree_species")
    book = NameBook.of_trees(species, library.table("tree_names"), least_score=90)
    wrong = [name for name in species.texts("species") if book.answer(name).name != name]
    assert wrong == []
    taxa = library.table("taxa")
    fungi = NameBook.of_fungi(taxa, library.table("taxon_names"), least_score=90)
    missed = [
        row["taxon_id"] for row in taxa.rows
        if row["rank"] == "species" and fungi.answer(row["accepted_name"]).name != row["taxon_id"]
    ]  # fmt: skip
    assert missed == []


def test_a_higher_threshold_forgives_less() -> None:
    library = Library()
    tables = library.table("tree_species"), library.table("tree_names")
    strict = NameBook.of_trees(*tables, least_score=99)
    assert strict.answer("Acer platnoides") == Answer(None, "Acer", "genus_only")


def test_two_unlike_meanings_equally_near_are_none() -> None:
    entries = [("Alba longa", "A", "Alba", "exact"), ("Alba lonka", "B", "Alba", "exact")]
    book = NameBook(entries, least_score=80)
    assert book.answer("Alba lonza").how == "unknown"


def test_rows_share_answers(trees: NameBook) -> None:
    text = pa.array(["Acer rubrum", None, "Acer rubrum", "oak"])
    found = trees.resolve(text)
    assert found.name.to_pylist() == ["Acer rubrum", None, "Acer rubrum", None]
    assert found.genus.to_pylist() == ["Acer", None, "Acer", "Quercus"]
    assert found.how.to_pylist() == ["exact", "missing", "exact", "genus_only"]


def test_folding() -> None:
    assert folded(" \u00c9rable_\u00e0  Sucre. ") == "erable a sucre"
    assert folded("Tilia\u00d7europaea") == "tilia x europaea"
