"""occurrences.zip: what the standard has terms for, nothing that is nobody's business, and back."""

import csv
import io
import json
import zipfile
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from scipy import stats

from pipeline.ingest.archive_meta import Limits, read_metafile
from pipeline.published.table import Library
from pipeline.render.context import RenderContext
from pipeline.render.exports import occurrences
from pipeline.render.exports.occurrences import whole_per_accuracy
from pipeline.settings.load import load
from tests.ingest.little_city import AS_OF, LAT, LON, LittleCity, inventory, tree
from tests.render.map_world import fill, say

SECRETS = ("Doe", "Elm Lane", "observer-", "knocked at the door", "LK-", "T1", "T2")
ALONE = (f"{LON - 0.0061:.6f}", f"{LAT + 0.0003:.6f}")
FAR = (f"{LON + 0.0061:.6f}", f"{LAT - 0.0053:.6f}")
HEADER = (
    "sighting_id,tree_id,longitude,latitude,accuracy_m,seen_on,name,name_certainty,name_by,host,"
    "attachment,position,count,width_cm,observer,notes,license"
)
ON = "attached,stem|wound,3,12.5,Jo Doe,knocked at the door,CC0"
ROWS = (
    f"s1,,{','.join(ALONE)},4.5,2026-05-01,Fomes fomentarius,0.7,specialist,Fagus sylvatica,{ON}",
    "s2,T1,,,,2026-05-02,tinder conk,,public,old beech of Mr Doe,,,,,Jo Doe,,",
    f"s3,T2,{FAR[0]},{FAR[1]},8,2026-05-03,Laetiporus sulphureus,,,,,,,,,,CC-BY",
    f'"=cmd()","",{LON},{LAT},20,2026-06-01,"<script>Doe</script>",,,,free,soil,,,,"line\nDoe",',
    f"s5,,{LON},{LAT},,,Ganoderma spec. of Jo Doe,,,,,,,,,,",
    f"s6,,{LON + 0.0001},{LAT},15,2026-07-01,,,,Doe,,,,,,,CC-BY Jo Doe",
)


def city(folder: Path, files: dict[str, str | bytes] | None = None, name: str = "s.csv",
         ) -> LittleCity:  # fmt: skip
    """A city with a tree by itself, one on private land, and these sightings."""
    header = "tree_id,longitude,latitude,species,dbh_cm,notes,owner,address"
    rows = [f"{line},public," for line in inventory().splitlines()[1:]]
    for number, where, owner in ((1, ALONE, "public"), (2, FAR, "private")):
        row = tree(number, longitude=where[0], latitude=where[1], species="Fagus sylvatica")
        rows.append(f"{row},{owner},12 Elm Lane")
    files = files or {"s.csv": "\n".join([HEADER, *ROWS]) + "\n"}
    text = "\n".join([header, *rows]) + "\n"
    inputs = f'[[inputs.trees]]\nfiles=["trees.csv"]\n[[inputs.sightings]]\nfiles=["{name}"]\n'
    return LittleCity(folder).ingest({"trees.csv": text, **files}, inputs=inputs)


def context(made: LittleCity) -> RenderContext:
    """The run of a little city, as exports see it."""
    run = load(made.folder / "city.toml", data_dir=made.folder, as_of=AS_OF)
    return RenderContext(run, made.store, Library(), made.folder, say)


def written(path: Path) -> tuple[str, list[dict[str, str]]]:
    """The meta.xml and the rows of an archive."""
    with zipfile.ZipFile(path) as archive:
        assert archive.namelist() == ["meta.xml", "occurrence.csv"]
        text = archive.read("occurrence.csv").decode("utf-8")
        return archive.read("meta.xml").decode("utf-8"), list(csv.DictReader(io.StringIO(text)))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> LittleCity:
    """The little city with its archive and what scoring found of two sightings."""
    found = city(tmp_path_factory.mktemp("city"))
    fill(found.store, "scoring.taxon_posteriors", 5, sighting_key=[0, 0, 2, 2, 2],
         taxon_id=["fomes_fomentarius", "other", "grifola_frondosa", "laetiporus_sulphureus",
                   "unlisted"],
         probability=[0.996, 0.004, 0.3, 0.6, 0.1])  # fmt: skip
    occurrences.write(context(found))
    return found


@pytest.fixture(scope="module")
def rows(made: LittleCity) -> list[dict[str, str]]:
    """The rows of the archive."""
    return written(made.folder / occurrences.NAME)[1]


def test_every_sighting_is_an_occurrence_that_was_detected(rows: list[dict[str, str]]) -> None:
    assert [row["occurrenceID"] for row in rows] == ["s1", "s2", "s3", "'=cmd()", "s5", "s6"]
    assert {row["basisOfRecord"] for row in rows} == {"HumanObservation"}
    assert {row["occurrenceStatus"] for row in rows} == {"detected"}
    assert {row["kingdom"] for row in rows} == {"Fungi"}
    assert [row["eventDate"] for row in rows[:2]] == ["2026-05-01", "2026-05-02"]
    assert rows[4]["eventDate"] == ""
    assert [row["license"] for row in rows] == ["CC0", "", "CC-BY", "", "", ""]
    assert (rows[0]["organismQuantity"], rows[0]["organismQuantityType"]) == (
        "3",
        "fruiting bodies",
    )
    assert (rows[1]["organismQuantity"], rows[1]["organismQuantityType"]) == ("", "")


def test_no_person_no_remark_no_address_and_no_tree_id(made: LittleCity) -> None:
    with zipfile.ZipFile(made.folder / occurrences.NAME) as archive:
        whole = b"".join(archive.read(name) for name in archive.namelist()).decode("utf-8")
    assert [secret for secret in SECRETS if secret in whole] == []
    assert "recordedBy" not in whole


def test_the_name_told_and_the_doubt_about_it(rows: list[dict[str, str]]) -> None:
    names = [(row["scientificName"], row["taxonRank"]) for row in rows]
    assert names == [
        ("Fomes fomentarius", "species"), ("Fomes fomentarius", "species"),
        ("Laetiporus sulphureus", "species"), ("Fungi", "kingdom"), ("Ganoderma", "genus"),
        ("Fungi", "kingdom"),
    ]  # fmt: skip
    assert [row["verbatimIdentification"] for row in rows] == [
        "Fomes fomentarius", "tinder conk", "Laetiporus sulphureus", "", "", "",
    ]  # fmt: skip
    assert [row["identificationQualifier"] for row in rows] == [
        "",
        "",
        "cf. sulphureus",
        "",
        "",
        "",
    ]
    assert rows[0]["identificationRemarks"].endswith("seen: Fomes fomentarius above 0.99")
    assert rows[2]["identificationRemarks"].endswith(
        "Laetiporus sulphureus 0.6; Grifola frondosa 0.3; a fungus that is not listed 0.1"
    )
    assert rows[1]["identificationRemarks"] == ""
    assert [row["identifiedBy"] for row in rows[:3]] == ["specialist", "public", ""]
    assert rows[0]["identificationVerificationStatus"] == "verified by specialist"
    assert {row["identificationVerificationStatus"] for row in rows[1:]} == {"0"}


def test_places_and_what_they_are_worth(rows: list[dict[str, str]]) -> None:
    assert float(rows[0]["decimalLongitude"]) == pytest.approx(float(ALONE[0]), abs=1e-7)
    assert rows[0]["geodeticDatum"] == "EPSG:4326"
    # 4.5 m hold 68.27 %; the quantiles of the Rayleigh distribution come from scipy.
    factor = stats.rayleigh.ppf(0.95) / stats.rayleigh.ppf(0.6827)
    assert float(rows[0]["coordinateUncertaintyInMeters"]) == np.ceil(45 * factor) / 10
    assert rows[4]["coordinateUncertaintyInMeters"] == ""
    assert rows[4]["decimalLatitude"] != ""
    assert float(rows[1]["decimalLatitude"]) == pytest.approx(float(ALONE[1]), abs=1e-6)
    assert "place of the tree" in rows[1]["georeferenceRemarks"]
    assert float(rows[1]["coordinateUncertaintyInMeters"]) == np.ceil(30 * factor) / 10


def test_a_place_on_private_land_is_blurred_and_said_to_be(rows: list[dict[str, str]]) -> None:
    row = rows[2]
    place = (row["decimalLongitude"], row["decimalLatitude"])
    assert place == (f"{float(FAR[0]):.2f}", f"{float(FAR[1]):.2f}".rstrip("0"))
    assert float(row["coordinateUncertaintyInMeters"]) >= 1600
    assert "rounded to 2 decimals" in row["dataGeneralizations"]
    assert "accuracy68InMeters" not in row["dynamicProperties"]
    assert [r["dataGeneralizations"] for r in rows if r is not row] == [""] * 5


def test_hosts_are_names_and_nothing_else(rows: list[dict[str, str]]) -> None:
    assert rows[0]["associatedTaxa"] == '"host":"Fagus sylvatica"'
    assert rows[1]["associatedTaxa"] == '"host":"Fagus sylvatica"'  # of the tree it was told for
    assert rows[5]["associatedTaxa"] == ""


def test_properties_are_json(rows: list[dict[str, str]]) -> None:
    told = json.loads(rows[0]["dynamicProperties"])
    assert told == {
        "accuracy68InMeters": 4.5, "nameCertainty": 0.7, "nameBy": "specialist",
        "attachment": "attached", "position": "stem|wound", "widthInCentimeters": 12.5,
    }  # fmt: skip
    assert all(json.loads(row["dynamicProperties"]) for row in rows)


def test_the_metafile_is_as_the_text_guide_has_it(made: LittleCity) -> None:
    """Element order and attributes of the schema that belongs to the text guide."""
    text, rows = written(made.folder / occurrences.NAME)
    archive = ET.fromstring(text)  # noqa: S314 - written by the program under test
    space = "{http://rs.tdwg.org/dwc/text/}"
    assert archive.tag == f"{space}archive"
    (core,) = archive
    assert [child.tag.removeprefix(space) for child in core] == (
        ["files", "id"] + ["field"] * len(rows[0])
    )
    allowed = {"linesTerminatedBy", "fieldsTerminatedBy", "fieldsEnclosedBy", "ignoreHeaderLines",
               "rowType", "encoding", "dateFormat"}  # fmt: skip
    assert set(core.attrib) <= allowed
    assert core.attrib["rowType"] == "http://rs.tdwg.org/dwc/terms/Occurrence"
    assert core[1].attrib == {"index": "0"}
    fields = [(field.attrib["index"], field.attrib["term"]) for field in core[2:]]
    assert fields == [(str(n), occurrences.iri(term)) for n, term in enumerate(rows[0])]
    meta = read_metafile(text.encode(), limits=Limits.of(Library()), where="meta.xml")
    assert (meta.core.delimiter, meta.core.quote, meta.core.header_lines) == (",", '"', 1)


def test_writing_and_reading_back_gives_the_same_sightings(
    made: LittleCity, tmp_path: Path
) -> None:
    data = (made.folder / occurrences.NAME).read_bytes()
    again = city(tmp_path, {"o.zip": data}, "o.zip")
    before, after = made.rows("sightings"), again.rows("sightings")
    assert len(before) == len(after) == 6
    same = ("accuracy_m", "seen_on", "taxon_id", "count", "width_cm", "attachment", "position",
            "name_by", "host_text", "license")  # fmt: skip
    first = (before[0], after[0])
    assert [first[1][name] for name in same] == [first[0][name] for name in same]
    for was, now in zip(before, after, strict=True):
        assert (now["seen_on"], now["taxon_id"]) == (was["seen_on"], was["taxon_id"])
        assert (now["attachment"], now["position"]) == (was["attachment"], was["position"])
        if was["sighting_id"] in {"s2", "s3"}:  # the tree's own place, and one that was blurred
            continue
        assert now["accuracy_m"] == was["accuracy_m"]
        assert now["x_m"] == pytest.approx(was["x_m"], abs=0.02)
        assert now["y_m"] == pytest.approx(was["y_m"], abs=0.02)
        assert (now["match"], now["tree_key"]) == (was["match"], was["tree_key"])
    assert (after[2]["match"], after[2]["tree_key"]) == ("unmatched", -1)  # blurred: never attached
    assert "place_obscured" in str(after[2]["flags"])
    assert again.codes("quarantine") == {}


def test_two_writings_are_equal_to_the_byte(made: LittleCity) -> None:
    first = (made.folder / occurrences.NAME).read_bytes()
    occurrences.write(context(made))
    assert (made.folder / occurrences.NAME).read_bytes() == first


def test_without_sightings_there_is_a_header_alone(tmp_path: Path) -> None:
    made = LittleCity(tmp_path).ingest({"trees.csv": inventory()})
    (path,) = occurrences.write(context(made))
    assert written(path)[1] == []


def test_the_factor_is_that_of_the_rayleigh_distribution() -> None:
    for held, whole in ((0.6827, 0.95), (0.5, 0.9), (0.68, 0.99)):
        expected = stats.rayleigh.ppf(whole) / stats.rayleigh.ppf(held)
        assert whole_per_accuracy(held, whole) == pytest.approx(expected)
