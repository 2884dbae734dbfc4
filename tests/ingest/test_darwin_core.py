"""Occurrence tables under Darwin Core terms: understood as they stand, and nothing guessed."""

from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from pipeline.errors import ManyFaults, SettingsError
from pipeline.ingest.columns import Mapped
from pipeline.ingest.darwin_core import ABSENT, FOSSIL, read
from pipeline.ingest.darwin_core_terms import Standard
from pipeline.ingest.quarantine import Done
from pipeline.ingest.readers import RawTable, read_input
from pipeline.published.table import Library
from pipeline.settings.model import InputFile
from tests.ingest.little_city import LAT, LON, LittleCity, inventory, tree

STANDARD = Standard.of(Library())


def table(**columns: list[str]) -> RawTable:
    """A file of sightings with these headers."""
    data = pa.table({name: pa.array(cells, pa.string()) for name, cells in columns.items()})
    return RawTable(0, "sightings", "o.csv", "", 0, "CSV", data, np.arange(1, data.num_rows + 1))


def mapped(**columns: list[str]) -> Mapped:
    """The canonical columns of such a file."""
    return read(table(**columns), STANDARD)


def codes(found: Mapped) -> dict[str, tuple[int, Done]]:
    """Code to number of rows and what was done."""
    return {finding.code: (finding.count, finding.done) for finding in found.findings}


@pytest.mark.parametrize(
    "header",
    ["decimalLatitude", "DECIMALLATITUDE", "decimal_latitude", "dwc:decimalLatitude",
     "http://rs.tdwg.org/dwc/terms/decimalLatitude"],
)  # fmt: skip
def test_a_term_is_known_with_its_prefix_or_as_its_iri(header: str) -> None:
    assert STANDARD.is_recognised([header])
    assert mapped(**{header: ["43.2"]}).number("latitude") == [43.2]


def test_our_own_headers_alone_are_no_darwin_core() -> None:
    assert not STANDARD.is_recognised(["longitude", "latitude", "name", "license", "notes"])


def test_own_columns_beside_the_terms_are_read_too() -> None:
    found = mapped(decimalLatitude=["43.2"], attachment=["attached"], scientificName=["Fomes"])
    assert found.text("attachment").to_pylist() == ["attached"]


def test_two_headers_of_one_meaning_are_refused() -> None:
    with pytest.raises(SettingsError, match="both mean decimalLatitude"):
        mapped(**{"decimalLatitude": ["1"], "dwc:decimalLatitude": ["1"]})
    with pytest.raises(ManyFaults):
        mapped(**{"decimalLatitude": ["1"], "dwc:decimalLatitude": ["1"],
                  "eventDate": ["1"], "dwc:eventDate": ["1"]})  # fmt: skip
    with pytest.raises(SettingsError, match="both mean latitude"):
        mapped(decimalLatitude=["1"], latitude=["1"])


# The forms are the examples that the term list gives for eventDate.
@pytest.mark.parametrize(
    ("written", "day", "interval"),
    [
        ("1963-03-08T14:07-06:00", date(1963, 3, 8), False),
        ("2009-02-20T08:40Z", date(2009, 2, 20), False),
        ("2018-08-29T15:19", date(2018, 8, 29), False),
        ("1906-06", date(1906, 6, 1), False),
        ("1971", date(1971, 1, 1), False),
        ("2007-03-01T13:00:00Z/2008-05-11T15:30:00Z", date(2007, 3, 1), True),
        ("1900/1909", date(1900, 1, 1), True),
        ("2007-11-13/15", date(2007, 11, 13), True),
        ("2020-05-01/2020-05-01", date(2020, 5, 1), False),
        ("13/11/2007", date(2007, 11, 13), False),
    ],
)
def test_dates(written: str, day: date, interval: bool) -> None:
    found = mapped(eventDate=[written])
    assert found.dates("seen_on").to_pylist() == [day]
    assert found.marks["seen_on_interval"].tolist() == [interval]


def test_dates_that_are_none_and_dates_in_three_columns() -> None:
    found = mapped(
        eventDate=["", "", "2020-01-05", "summer", "03/04/2020", ""],
        year=["2019", "2018", "1900", "", "", "2017"], month=["7", "", "1", "", "", "12"],
        day=["4", "", "1", "", "", ""],
    )  # fmt: skip
    assert found.dates("seen_on").to_pylist() == [
        date(2019, 7, 4), date(2018, 1, 1), date(2020, 1, 5), None, None, date(2017, 12, 1),
    ]  # fmt: skip
    assert codes(found) == {
        "seen_on_date_ambiguous": (1, Done.EMPTIED),
        "seen_on_date_unreadable": (1, Done.EMPTIED),
    }


@pytest.mark.parametrize(
    ("columns", "name"),
    [
        ({"scientificName": "Laetiporus gilbertsonii Burds."}, "Laetiporus gilbertsonii"),
        ({"scientificName": "Ganoderma lucidum (Curtis) P. Karst."}, "Ganoderma lucidum"),
        ({"scientificName": "Bjerkandera adusta (Willd.) P.Karst., 1879"}, "Bjerkandera adusta"),
        ({"scientificName": "Fomes fomentarius de Bary"}, "Fomes fomentarius"),
        ({"scientificName": "Laetiporus gilbertsonii pallidus"},
         "Laetiporus gilbertsonii pallidus"),
        ({"scientificName": "Ganoderma Karst.", "scientificNameAuthorship": "Karst."},
         "Ganoderma"),
        ({"scientificName": "Western Hardwood Sulphur Shelf"}, "Western Hardwood Sulphur Shelf"),
        ({"scientificName": "Fungi", "taxonRank": "kingdom",
          "verbatimIdentification": "grey thing"}, "grey thing"),
        ({"scientificName": "", "genus": "Fomes", "specificEpithet": "fomentarius"},
         "Fomes fomentarius"),
        ({"scientificName": "", "vernacularName": "tinder conk"}, "tinder conk"),
        ({"scientificName": "Fungi", "taxonRank": "Kingdom"}, "Fungi"),
        ({"scientificName": ""}, None),
    ],
)  # fmt: skip
def test_names(columns: dict[str, str], name: str | None) -> None:
    found = mapped(**{term: [cell] for term, cell in columns.items()})
    assert found.text("name").to_pylist() == [name]
    assert found.text("name_certainty").to_pylist() == [None]


@pytest.mark.parametrize(
    ("scientific", "qualifier", "name", "doubt"),
    [
        ("Fomes fomentarius", "", "Fomes fomentarius", None),
        ("Fomes fomentarius", "cf. fomentarius", "Fomes fomentarius", "cf"),
        ("Fomes cf. fomentarius", "", "Fomes cf. fomentarius", "cf"),
        ("Fomes fomentarius?", "", "Fomes fomentarius?", "?"),
        ("Fomes fomentarius", "?", "Fomes fomentarius", "?"),
        ("Fomes fomentarius", "who knows", "Fomes fomentarius", "?"),
        ("Fomes fomentarius", "aff. fomentarius", "Fomes", None),
        ("Fomes aff. fomentarius", "", "Fomes", None),
        ("Fomes sp.", "", "Fomes", None),
    ],
)
def test_doubt_lowers_the_certainty_and_akin_is_not_the_same(
    scientific: str, qualifier: str, name: str, doubt: str | None
) -> None:
    found = mapped(scientificName=[scientific], identificationQualifier=[qualifier])
    words = STANDARD.words["identificationQualifier"]
    share = None if doubt is None else words[doubt].certainty_share
    assert found.text("name").to_pylist() == [name]
    assert found.text("name_certainty").to_pylist() == [share]
    assert share is None or 0 < share < 1


@pytest.mark.parametrize(
    ("who", "status", "basis", "by"),
    [
        ("", "", "HumanObservation", "public"),
        ("Jo Doe", "research", "HumanObservation", "public"),
        ("Jo Doe, mycologist", "", "HumanObservation", "specialist"),
        ("Jo Labrador", "", "HumanObservation", "public"),
        ("Computer Vision v2", "", "", "image_model"),
        ("", "", "PreservedSpecimen", "specialist"),
        ("", "", "MachineObservation", "image_model"),
        ("", "verified by specialist", "HumanObservation", "specialist"),
        ("", "", "whatever", "unknown"),
    ],
)
def test_who_named_it(who: str, status: str, basis: str, by: str) -> None:
    found = mapped(
        identifiedBy=[who], identificationVerificationStatus=[status], basisOfRecord=[basis]
    )
    assert found.text("name_by").to_pylist() == [by]
    assert "identifiedBy" not in found.raw.data.column_names
    assert "names dropped: identifiedBy" in str(found.raw.note)


# The first three are forms that the term list gives for associatedTaxa.
@pytest.mark.parametrize(
    ("written", "host", "code"),
    [
        ('"host":"Quercus alba"', "Quercus alba", None),
        ('"parasitoid of":"Cyclocephala signaticollis" | "host":"Quercus alba"',
         "Quercus alba", None),
        ('"parasitoid of":"Cyclocephala signaticollis"', None, "host_not_told"),
        ("host: Quercus robur", "Quercus robur", None),
        ("host=Quercus robur; host: Quercus robur", "Quercus robur", None),
        ("growing on Quercus robur", "Quercus robur", None),
        ("Wirt: Fagus sylvatica", "Fagus sylvatica", None),
        ("Quercus robur", None, "host_not_told"),
        ("host: Quercus robur | host: Fagus sylvatica", None, "several_hosts"),
        ("host:", None, "host_not_told"),
    ],
)  # fmt: skip
def test_hosts(written: str, host: str | None, code: str | None) -> None:
    found = mapped(associatedTaxa=[written])
    assert found.text("host").to_pylist() == [host]
    assert list(codes(found)) == ([code] if code else [])


def test_counts() -> None:
    found = mapped(
        individualCount=["3", "", "", "", "x"],
        organismQuantity=["9", "5", "40", "many", "2"],
        organismQuantityType=["individuals", "fruiting bodies", "% cover", "individuals", "Conks"],
    )
    assert found.columns["count"].to_pylist() == [3, 5, None, None, 2]
    assert codes(found) == {"count_unit_unknown": (1, Done.EMPTIED)}


def test_nothing_found_is_no_sighting() -> None:
    found = mapped(
        occurrenceStatus=["present", "absent", "notDetected", "Detected", "perhaps", "", ""],
        individualCount=["1", "", "", "", "", "0", ""],
        basisOfRecord=["", "", "", "", "", "", "FossilSpecimen"],
    )
    assert codes(found) == {
        ABSENT: (3, Done.SET_ASIDE), FOSSIL: (1, Done.SET_ASIDE),
        "status_word_unknown": (1, Done.FLAGGED),
    }  # fmt: skip


def test_accuracy_is_unknown_where_it_cannot_be_believed() -> None:
    found = mapped(
        decimalLongitude=["-76.9"] * 6, decimalLatitude=["43.2"] * 6,
        coordinateUncertaintyInMeters=["10", "0", "10", "28000", "10", "10"],
        informationWithheld=["", "", "Coordinates obscured", "", "collector withheld", ""],
        dataGeneralizations=["", "", "", "rounded to a grid of 0.1 degrees", "", ""],
        geodeticDatum=["WGS 84", "EPSG:4326", "", "", "unknown", "NAD83"],
    )  # fmt: skip
    accuracy = found.number("accuracy_m")
    np.testing.assert_array_equal(accuracy, [10, np.nan, np.nan, 28000, np.nan, 10])
    assert found.marks["place_obscured"].tolist() == [False, False, True, True, False, False]
    assert codes(found) == {
        "accuracy_zero": (1, Done.EMPTIED), "place_blurred": (1, Done.EMPTIED),
        "datum_unknown": (1, Done.FLAGGED), "datum_converted": (1, Done.MENDED),
    }  # fmt: skip


def test_a_place_on_an_old_datum_is_moved() -> None:
    found = mapped(decimalLongitude=["-76.9"], decimalLatitude=["43.2"], geodeticDatum=["NAD27"])
    # NADCON: NAD27 to NAD83 moves western New York about 0.3" east; from memory, to a metre or two.
    east_m = (found.number("longitude")[0] + 76.9) * 111_320 * np.cos(np.radians(43.2))
    assert 2 < abs(east_m) < 60


def test_properties_that_this_program_writes_are_read_again_and_others_passed_by() -> None:
    told = '{"accuracy68InMeters":5.5,"position":"butt|stem","attachment":"attached","x":1}'
    wrong = '{"accuracy68InMeters":"5","position":"butt|moon","nameCertainty":true}'
    deep = "[" * 100_000
    found = mapped(
        dynamicProperties=[told, wrong, deep, "tree height=3", "[1]", ""],
        coordinateUncertaintyInMeters=["9", "9", "9", "9", "9", "9"],
    )
    assert found.number("accuracy_m").tolist() == [5.5, 9, 9, 9, 9, 9]
    assert found.text("position").to_pylist() == ["butt|stem", None, None, None, None, None]
    assert found.text("attachment").to_pylist()[0] == "attached"


def test_a_sign_that_parts_cells_within_does_not_part_a_cell() -> None:
    found = mapped(scientificName=["Fomes\x1ffomentarius\x1f"], eventDate=["2020\x1f-01"])
    assert found.text("name").to_pylist() == ["Fomes fomentarius"]
    assert found.dates("seen_on").to_pylist() == [None]


INPUTS = '[[inputs.trees]]\nfiles=["trees.csv"]\n[[inputs.sightings]]\nfiles=["o.txt"]\n'


def test_a_table_needs_no_map_and_tells_no_names(tmp_path: Path) -> None:
    header = (
        "occurrenceID\tdecimalLongitude\tdecimalLatitude\tcoordinateUncertaintyInMeters\t"
        "eventDate\tscientificName\trecordedBy\tidentifiedBy\tlicense\toccurrenceStatus\t"
        "foo"
    )
    place = f"{LON + 1.03e-4:.6f}\t{LAT + 1.07e-4:.6f}\t2"
    rows = [
        f"a\t{place}\t2026-05-01/2026-05-03\tFomes fomentarius (L.) Fr.\tJo Doe\tAl Roe\tCC0\t\tx",
        f"b\t{place}\t2026-05-01\tMeripilus giganteus\tJo Doe\tAl Roe\tCC0\tabsent\tx",
        f"c\t{place}\t2027-05-01\tFomes fomentarius\tJo Doe\tAl Roe\tCC0\t\tx",
    ]
    files = {"trees.csv": inventory(tree(1)), "o.txt": "\n".join([header, *rows]) + "\n"}
    city = LittleCity(tmp_path).ingest(files, inputs=INPUTS)
    (row,) = city.rows("sightings")
    assert (row["sighting_id"], row["taxon_id"]) == ("a", "fomes_fomentarius")
    assert (row["accuracy_m"], row["seen_on"], row["license"]) == (2, date(2026, 5, 1), "CC0")
    assert "seen_on_interval" in str(row["flags"])
    assert city.codes("quarantine") == {ABSENT: 1, "dated_after_run": 1}
    everything = "".join(str(city.rows(t)) for t in ("sightings", "quarantine", "findings"))
    dangers = {row["code"]: row["danger"] for row in city.rows("quarantine")}
    assert dangers == {ABSENT: None, "dated_after_run": "Fomes fomentarius"}
    assert "Doe" not in everything
    assert "Roe" not in everything
    note = str(city.rows("sources")[1]["note"])
    assert "read as Darwin Core: occurrenceID, decimalLongitude" in note
    assert note.endswith("not read: foo; names of observers were replaced by pseudonyms, the same "
                         "name by the same one")  # fmt: skip


def test_the_counts_of_a_real_table(shared_file: Callable[[str], Path]) -> None:
    path = shared_file("data/fungi/laetiporus-darwin-core/occurrence.txt")
    raw = read_input(InputFile(files=(path.name,)), kind="sightings", data_dir=path.parent,
                     source_key_start=0)[0]  # fmt: skip
    found = read(raw, STANDARD)
    accuracy = found.number("accuracy_m")
    # Counted by its publisher: 842 rows, 179 without accuracy, 62 obscured.
    assert len(found) == 842
    assert np.isnan(accuracy).sum() == 179
    assert found.marks["place_obscured"].sum() == 62
    first = np.asarray(
        [str(n).startswith("Laetiporus gil") for n in found.text("name").to_pylist()]
    )
    # The 474 of Laetiporus gilbertsonii: 20 beyond 1 km were counted by public accuracy alone;
    # here the own accuracy stands in where that is missing, so that 40 lie beyond.
    assert (first.sum(), (found.marks["place_obscured"] & first).sum()) == (474, 20)
    assert (accuracy[found.marks["place_obscured"]] > 1000).all()
    assert not found.findings
