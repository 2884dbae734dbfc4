"""Zipped archives with a meta.xml: read as they are; whatever could hurt is refused and told."""

import io
import stat
import struct
import zipfile
from collections.abc import Mapping
from pathlib import Path

import pytest

from pipeline.errors import InputError
from pipeline.ingest.archive_meta import Limits
from pipeline.ingest.archives import opened
from pipeline.ingest.readers import RawTable, read_input
from pipeline.published.table import Library
from pipeline.settings.model import InputFile
from tests.ingest.little_city import LAT, LON, LittleCity, inventory, tree

LIMITS = Limits.of(Library())
DWC = "http://rs.tdwg.org/dwc/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"
ROWS = "a\tFomes fomentarius\t2026-05-01\nb\tFomes fomentarius\t\n"
FIELDS = (
    '<id index="0"/>'
    f'<field index="1" term="{DWC}scientificName"/>'
    f'<field index="2" term="{DWC}eventDate" default="2026-01-01"/>'
    f'<field term="{DWC}geodeticDatum" default="EPSG:4326"/>'
)


def core(
    attributes: str = "", fields: str = FIELDS, *, row_type: str = f"{DWC}Occurrence",
    location: str = "occurrence.txt", tag: str = "core",
) -> str:  # fmt: skip
    """One core or extension of a meta.xml; tabs and no quotes, unless the attributes say else."""
    usual = {"fieldsTerminatedBy": r"\t", "fieldsEnclosedBy": "", "ignoreHeaderLines": "0"}
    told = attributes + "".join(
        f' {name}="{value}"' for name, value in usual.items() if name not in attributes
    )
    files = f"<files><location>{location}</location></files>"
    return f'<{tag} rowType="{row_type}" {told}>{files}{fields}</{tag}>'


def meta(*entities: str, head: str = "") -> str:
    """A meta.xml."""
    return f'<?xml version="1.0"?>{head}<archive xmlns="{TEXT}">{"".join(entities)}</archive>'


def zipped(files: Mapping[str, str | bytes]) -> bytes:
    """A zip of these files."""
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return sink.getvalue()


def raw(folder: Path, data: bytes) -> RawTable:
    """The archive as a reader of sightings sees it."""
    (folder / "a.zip").write_bytes(data)
    spec = InputFile(files=("a.zip",))
    return read_input(spec, kind="sightings", data_dir=folder, source_key_start=0)[0]


def rows(folder: Path, files: Mapping[str, str | bytes]) -> list[dict[str, str]]:
    """The rows of an archive."""
    found: list[dict[str, str]] = raw(folder, zipped(files)).data.to_pylist()
    return found


def test_an_archive_is_read_as_its_meta_says(tmp_path: Path) -> None:
    files = {"meta.xml": meta(core()), "occurrence.txt": ROWS, "eml.xml": "<eml/>"}
    found = raw(tmp_path, zipped(files))
    assert found.data.to_pylist() == [
        {"scientificName": "Fomes fomentarius", "eventDate": "2026-05-01",
         "geodeticDatum": "EPSG:4326", "occurrenceID": "a"},
        {"scientificName": "Fomes fomentarius", "eventDate": "2026-01-01",
         "geodeticDatum": "EPSG:4326", "occurrenceID": "b"},
    ]  # fmt: skip
    assert (found.format, found.encoding, found.delimiter) == (
        "Darwin Core archive", "UTF-8", "\t",
    )  # fmt: skip
    assert found.note == "not read: eml.xml"
    assert list(tmp_path.iterdir()) == [tmp_path / "a.zip"]


@pytest.mark.parametrize(
    ("attributes", "text"),
    [
        ('ignoreHeaderLines="1"', "id\tname\tdate\n" + ROWS),
        ('ignoreHeaderLines="2"', "a list\nid\tname\tdate\n" + ROWS),
        (r'linesTerminatedBy="\r\n"', ROWS.replace("\n", "\r\n")),
        (r'linesTerminatedBy="\r"', ROWS.replace("\n", "\r")),
        ('fieldsTerminatedBy="|"', ROWS.replace("\t", "|")),
        ('encoding="UTF-16"', ROWS.encode("utf-16")),
        ('encoding="UTF-8"', b"\xef\xbb\xbf" + ROWS.encode()),
        ("fieldsTerminatedBy=\",\" fieldsEnclosedBy='&quot;'", ROWS.replace("\t", ",")),
        ("fieldsTerminatedBy=\",\" fieldsEnclosedBy=\"'\"",
         ROWS.replace("\t", ",").replace("Fomes fomentarius", "'Fomes fomentarius'")),
    ],
)  # fmt: skip
def test_every_way_of_writing(tmp_path: Path, attributes: str, text: str | bytes) -> None:
    found = rows(tmp_path, {"meta.xml": meta(core(attributes)), "occurrence.txt": text})
    assert [row["occurrenceID"] for row in found] == ["a", "b"]
    assert {row["scientificName"] for row in found} == {"Fomes fomentarius"}


def test_the_defaults_of_the_text_guide(tmp_path: Path) -> None:
    """Comma, double quotes, UTF-8, line feed, no header, as section 2.2.1 of the guide tells."""
    bare = f"<files><location>./x.csv</location></files>{FIELDS}"
    said = f'<core rowType="{DWC}Occurrence">{bare}</core>'
    text = 'a,"Fomes, the ""tinder""",2026\n'
    (row,) = rows(tmp_path, {"meta.xml": meta(said), "x.csv": text})
    assert row["scientificName"] == 'Fomes, the "tinder"'


def test_quotes_are_signs_like_others_where_nothing_encloses(tmp_path: Path) -> None:
    text = 'a\t"Fomes" fomentarius\t2026\n\nb\t6" wide\t2026\n'
    found = rows(tmp_path, {"meta.xml": meta(core()), "occurrence.txt": text})
    assert [row["scientificName"] for row in found] == ['"Fomes" fomentarius', '6" wide']


def test_broken_records_are_set_aside_with_their_line(tmp_path: Path) -> None:
    text = "id\tname\tdate\n" + ROWS + "c\td\n" + ROWS.replace("a", "e", 1)
    found = raw(tmp_path, zipped({
        "meta.xml": meta(core('ignoreHeaderLines="1"')), "occurrence.txt": text}))  # fmt: skip
    assert found.data["occurrenceID"].to_pylist() == ["a", "b", "e", "b"]
    ((reject),) = found.rejects
    assert (reject.row, reject.line, reject.text) == (3, 4, "c\td")
    assert found.rows.tolist() == [1, 2, 4, 5]


def test_several_files_of_one_core_in_a_folder(tmp_path: Path) -> None:
    two = core(location="x.txt</location><location>y.txt")
    files = {"in/meta.xml": meta(two), "in/x.txt": ROWS, "in/y.txt": ROWS.replace("a\t", "c\t")}
    assert [r["occurrenceID"] for r in rows(tmp_path, files)] == ["a", "b", "c", "b"]


EVENT = core(
    row_type=f"{DWC}Event", location="event.txt",
    fields=f'<id index="0"/><field index="1" term="{DWC}eventDate"/>'
           f'<field index="2" term="{DWC}decimalLatitude"/>',
)  # fmt: skip
OF_EVENT = core(
    tag="extension",
    fields=f'<coreid index="0"/><field index="1" term="{DWC}scientificName"/>'
           f'<field index="2" term="{DWC}eventDate"/>',
)  # fmt: skip


def test_occurrences_of_events_get_what_their_event_says(tmp_path: Path) -> None:
    media = '<coreid index="0"/><field index="1" term="http://purl.org/dc/terms/title"/>'
    other = core(
        tag="extension", row_type="http://rs.gbif.org/terms/1.0/Multimedia", location="media.txt",
        fields=media,
    )  # fmt: skip
    files = {
        "meta.xml": meta(EVENT, other, OF_EVENT), "event.txt": "e1\t2026-05-01\t43.2\n",
        "media.txt": "e1\tx\n",
        "occurrence.txt": "e1\tFomes\t\ne1\tInonotus\t2025\ne9\tPhellinus\t\n",
    }  # fmt: skip
    found = raw(tmp_path, zipped(files))
    assert found.data.to_pylist() == [
        {"scientificName": "Fomes", "eventDate": "2026-05-01", "decimalLatitude": "43.2"},
        {"scientificName": "Inonotus", "eventDate": "2025", "decimalLatitude": "43.2"},
        {"scientificName": "Phellinus", "eventDate": "", "decimalLatitude": ""},
    ]
    assert str(found.note).startswith("occurrences of the extension, each with its event of the "
                                      "core (1 name none that is there); not read: extension "
                                      "Multimedia (media.txt)")  # fmt: skip


def refused(folder: Path, data: bytes) -> InputError:
    """How an archive is refused; nothing is written beside it."""
    with pytest.raises(InputError) as caught:
        raw(folder, data)
    assert list(folder.iterdir()) == [folder / "a.zip"]
    assert "a.zip" in caught.value.where
    return caught.value


GOOD = meta(core())


@pytest.mark.parametrize(
    ("files", "found"),
    [
        ({"meta.xml": GOOD}, "no file 'occurrence.txt', which its meta.xml names"),
        ({"occurrence.txt": ROWS}, "no meta.xml in it"),
        ({"meta.xml": GOOD, "b/meta.xml": GOOD, "occurrence.txt": ROWS}, "2 files named meta.xml"),
        ({"meta.xml": meta(core(location="../../etc/passwd"))}, "climbs out of the archive"),
        ({"meta.xml": meta(core(location="/etc/passwd"))}, "climbs out of the archive"),
        ({"meta.xml": meta(core(location="C:\\x.txt"))}, "climbs out of the archive"),
        ({"meta.xml": meta(core(location="http://example.org/o.txt"))}, "that lies in the web"),
        ({"meta.xml": GOOD, "occurrence.txt": ROWS, "../evil.txt": "x"}, "'../evil.txt'"),
        ({"meta.xml": GOOD, "occurrence.txt": ROWS, "/evil.txt": "x"}, "'/evil.txt'"),
        ({"meta.xml": GOOD, "occurrence.txt": ROWS, "a\\..\\..\\evil.txt": "x"}, "climbs out"),
        ({"meta.xml": GOOD, "occurrence.txt": b"\0" * 9_000_000}, "times when unpacked"),
        ({"meta.xml": meta(head='<!DOCTYPE archive [<!ENTITY a "aaaa">]>')}, "a DOCTYPE"),
        ({"meta.xml": meta(head='<!DOCTYPE a SYSTEM "file:///etc/passwd">')}, "a DOCTYPE"),
        ({"meta.xml": "<archive><core>"}, "XML that is broken"),
        ({"meta.xml": "no xml"}, "XML that is broken"),
        ({"meta.xml": "<html/>"}, "a root <html> with 0 <core> elements"),
        ({"meta.xml": meta(core(), core())}, "2 <core> elements"),
        ({"meta.xml": meta()}, "0 <core> elements"),
        ({"meta.xml": meta(core(row_type=""))}, "no rowType"),
        ({"meta.xml": meta(core(location=""))}, "no <location>"),
        ({"meta.xml": meta(core(fields=""))}, "no <field>"),
        ({"meta.xml": meta(core('fieldsTerminatedBy="::"'))}, "fieldsTerminatedBy '::'"),
        ({"meta.xml": meta(core('fieldsEnclosedBy="ab"'))}, "fieldsEnclosedBy 'ab'"),
        ({"meta.xml": meta(core('linesTerminatedBy="|"'))}, "linesTerminatedBy '|'"),
        ({"meta.xml": meta(core('encoding="klingon"'))}, "encoding 'klingon'"),
        ({"meta.xml": meta(core('ignoreHeaderLines="many"'))}, "ignoreHeaderLines 'many'"),
        ({"meta.xml": meta(core('ignoreHeaderLines="-1"'))}, "ignoreHeaderLines '-1'"),
        ({"meta.xml": meta(core(fields=f'<field index="{"9" * 5000}" term="t"/>'))},
         "index of t"),
        ({"meta.xml": meta(core(fields='<field term="t"/>'))}, "neither index nor default for t"),
        ({"meta.xml": meta(core(fields='<field index="0"/>'))}, "a <field> without a term"),
        ({"meta.xml": meta(core(fields='<field index="0" term="t"/><field index="1" term="t"/>'))},
         "the term 't' twice"),
        ({"meta.xml": meta(core(fields='<field index="7" term="t"/>')), "occurrence.txt": ROWS},
         "3 columns, and a field of index 7"),
        ({"meta.xml": GOOD, "occurrence.txt": b"\xff\xfe\xfa"}, "bytes that are not UTF-8"),
        ({"meta.xml": GOOD, "occurrence.txt": ""}, "an empty file"),
        ({"meta.xml": meta(EVENT, OF_EVENT.replace('<coreid index="0"/>', "")),
          "event.txt": "e1\t\t\n", "occurrence.txt": ROWS}, "no <coreid> in the extension"),
        ({"meta.xml": meta(core(row_type=f"{DWC}Taxon")), "occurrence.txt": ROWS},
         "an archive of core Taxon"),
        ({"meta.xml": meta(core("fieldsEnclosedBy=\"'\"")), "occurrence.txt": 'a\t"b"\tc\n'},
         "that hold double quotes"),
        ({"meta.xml": " ".join(map(str, range(200_000)))}, "a meta.xml of"),
    ],
)  # fmt: skip
def test_archives_that_are_refused(
    tmp_path: Path, files: dict[str, str | bytes], found: str
) -> None:
    assert found in refused(tmp_path, zipped(files)).found


def test_an_entity_bomb_is_refused_before_it_grows(tmp_path: Path) -> None:
    lines = ['<!ENTITY e0 "ha">', *(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 12))]
    bomb = meta(core(location="&e11;"), head=f"<!DOCTYPE a [{''.join(lines)}]>")
    assert refused(tmp_path, zipped({"meta.xml": bomb})).found == "a DOCTYPE"


def test_links_and_encrypted_files_are_refused(tmp_path: Path) -> None:
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as archive:
        archive.writestr("meta.xml", GOOD)
        link = zipfile.ZipInfo("occurrence.txt")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(link, "/etc/passwd")
    assert "a link, 'occurrence.txt'" in refused(tmp_path, sink.getvalue()).found
    plain = bytearray(zipped({"meta.xml": GOOD, "occurrence.txt": ROWS}))
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):  # the flags of each entry
        at = plain.find(mark)
        while at >= 0:
            plain[at + offset] |= 1
            at = plain.find(mark, at + 4)
    assert "an encrypted file, 'meta.xml'" in refused(tmp_path, bytes(plain)).found


def test_a_directory_that_lies_about_a_size_is_refused(tmp_path: Path) -> None:
    """A bomb whose directory tells ten bytes: no more are unpacked, and the sum fails."""
    data = bytearray(zipped({"meta.xml": GOOD, "occurrence.txt": b"a\tb\tc\n" * 500_000}))
    at = data.rfind(b"PK\x01\x02")
    data[at + 24 : at + 28] = struct.pack("<I", 10)
    assert "a damaged archive" in refused(tmp_path, bytes(data)).found


@pytest.mark.parametrize("cut", [100, 300])
def test_an_archive_cut_short_is_refused(tmp_path: Path, cut: int) -> None:
    fault = refused(tmp_path, zipped({"meta.xml": GOOD, "occurrence.txt": ROWS})[:cut])
    assert fault.remedy


def test_a_byte_that_has_changed_is_noticed(tmp_path: Path) -> None:
    data = bytearray(zipped({"meta.xml": GOOD, "occurrence.txt": ROWS}))
    data[data.find(b"occurrence.txt") + len(b"occurrence.txt") + 5] ^= 0xFF
    assert "a damaged archive" in refused(tmp_path, bytes(data)).found


def test_too_many_files_and_too_many_bytes() -> None:
    many = zipped({"meta.xml": GOOD, **{f"{n}.txt": "x" for n in range(1000)}})
    with pytest.raises(InputError, match="1,001 files"):
        opened(many, limits=LIMITS, where="a.zip")
    small = Limits(1000, 200, 10_000, 1000, 10_000, 2000)
    with pytest.raises(InputError, match="bytes when unpacked"):
        opened(zipped({"meta.xml": GOOD, "x": "x" * 2000}), limits=small, where="a.zip")


def test_an_archive_is_a_sightings_input_without_any_other_key(tmp_path: Path) -> None:
    fields = "".join(
        f'<field index="{n}" term="{DWC}{term}"/>'
        for n, term in enumerate(["occurrenceID", "scientificName", "decimalLongitude",
                                  "decimalLatitude", "eventDate"])
    )  # fmt: skip
    place = f"{LON + 1.03e-4:.6f}\t{LAT + 1.07e-4:.6f}"
    files = {
        "meta.xml": meta(core(fields=fields)),
        "occurrence.txt": f"x1\tFomes fomentarius (L.) Fr.\t{place}\t2026-05-01T10:00Z\n",
    }
    inputs = '[[inputs.trees]]\nfiles=["trees.csv"]\n[[inputs.sightings]]\nfiles=["a.zip"]\n'
    city = LittleCity(tmp_path).ingest(
        {"trees.csv": inventory(tree(1)), "a.zip": zipped(files)}, inputs=inputs
    )
    (row,) = city.rows("sightings")
    assert (row["sighting_id"], row["taxon_id"]) == ("x1", "fomes_fomentarius")
    source = city.rows("sources")[1]
    assert source["format"] == "Darwin Core archive"
    assert "read as Darwin Core: occurrenceID" in str(source["note"])


def test_a_city_may_set_its_own_limits(tmp_path: Path) -> None:
    overrides = tmp_path / "little" / "overrides"
    overrides.mkdir(parents=True)
    (overrides / "archive_limits.csv").write_text(
        "quantity,value,unit,low,high,basis,source,locator,note\n"
        "most_bytes,100,byte,100,1000,elicited,project_elicited,,\n", encoding="utf-8",
    )  # fmt: skip
    limits = Limits.of(Library(overrides=overrides))
    with pytest.raises(InputError, match="at most 100 bytes"):
        opened(zipped({"meta.xml": GOOD, "occurrence.txt": ROWS}), limits=limits, where="a.zip")
    (tmp_path / "a.zip").write_bytes(zipped({"meta.xml": GOOD, "occurrence.txt": ROWS}))
    spec = InputFile(files=("a.zip",))
    with pytest.raises(InputError, match="at most 100 bytes"):
        read_input(spec, kind="sightings", data_dir=tmp_path, source_key_start=0,
                   archives_up_to=limits)  # fmt: skip


def test_a_workbook_is_no_archive_though_it_is_packed_like_one(tmp_path: Path) -> None:
    """Sheets of the open document format are zips with a meta.xml of their own."""
    (tmp_path / "s.ods").write_bytes(zipped({"meta.xml": "<x/>", "content.xml": "<x/>"}))
    spec = InputFile(files=("s.ods",))
    with pytest.raises(InputError) as caught:
        read_input(spec, kind="sightings", data_dir=tmp_path, source_key_start=0)
    assert "meta.xml" not in caught.value.found
