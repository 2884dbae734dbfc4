"""occurrences.zip: sightings as Darwin Core occurrences, for whoever collects records of fungi.

An archive as the Darwin Core text guide has it: meta.xml and one CSV file. It leaves the office, so
that it carries no observer, no remark, no tree's id or address; places on private land are blurred,
and said to be. Read back by this program it gives the same place, day, fungus and accuracy.
"""

import io
import math
import zipfile
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.render.context import RenderContext
from pipeline.render.exports.lists import csv_bytes
from pipeline.render.exports.occurrence_names import identified
from pipeline.render.files import write_bytes
from pipeline.units import Flags, Floats

NAME = "occurrences.zip"
TABLE, META = "occurrence.csv", "meta.xml"
_DWC, _DCTERMS = "http://rs.tdwg.org/dwc/terms/", "http://purl.org/dc/terms/"
_TEXT = "http://rs.tdwg.org/dwc/text/"
_DEGREE_DECIMALS = 7  # about a centimetre: reading back gives the same place
_WITHHELD = "observer and free-text remarks withheld"
_BLURRED = "Coordinates of private land rounded to {} decimals of degrees"
_OF_TREE = "The place of the tree in the city's inventory, on which it was seen"
# Column of ingest.sightings to the name under which dynamicProperties carries it.
PROPERTIES = {
    "name_certainty": "nameCertainty", "name_by": "nameBy", "attachment": "attachment",
    "position": "position", "height_above_ground_m": "heightAboveGroundInMeters",
    "layers": "layers", "width_cm": "widthInCentimeters", "form": "form",
    "upper_colour": "upperColour", "under_colour": "underColour",
    "upper_texture": "upperTexture", "under_surface": "underSurface", "flesh": "flesh",
    "arrangement": "arrangement", "stalk": "stalk", "bruising": "bruising",
}  # fmt: skip
_HOST = r"^[A-Z][a-z-]+( (x |\x{00D7} ?)?[a-z-]+)?$"
# Terms of use in their own words alone: beside them a name may stand.
_LICENSE = (
    r"(?i)^(cc0|public domain|cc[ -]by([ -](sa|nc|nd))*)([ -]?\d\.\d)?$"
    r"|^https?://creativecommons\.org/[\w./-]+$"
)
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the first day that a zip can tell: equal runs, equal bytes
_BOM = b"\xef\xbb\xbf"


def write(context: RenderContext) -> list[Path]:
    """Write occurrences.zip with what people reported; what was read from tree rows stays here."""
    table = occurrences(context)
    text = csv_bytes(table).removeprefix(_BOM)
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in ((META, metafile(table.column_names).encode()), (TABLE, text)):
            archive.writestr(zipfile.ZipInfo(name, _EPOCH), content, zipfile.ZIP_DEFLATED)
    return [write_bytes(context.out / NAME, sink.getvalue())]


def metafile(terms: list[str]) -> str:
    """The meta.xml of a CSV file with these terms, the first of which names the record."""
    fields = "\n".join(
        f"    <field index={quoteattr(str(index))} term={quoteattr(iri(term))}/>"
        for index, term in enumerate(terms)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<archive xmlns="{_TEXT}">\n'
        f'  <core encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" '
        f'fieldsEnclosedBy="&quot;" ignoreHeaderLines="1" rowType="{_DWC}Occurrence">\n'
        f"    <files><location>{TABLE}</location></files>\n"
        f'    <id index="0"/>\n{fields}\n  </core>\n</archive>\n'
    )


def iri(term: str) -> str:
    """The full name of a term."""
    return f"{_DCTERMS if term == 'license' else _DWC}{term}"


def occurrences(context: RenderContext) -> pa.Table:
    """One row a reported sighting, in the order of ingest.sightings, under Darwin Core terms."""
    every = context.table("ingest.sightings")
    keep = pc.equal(every["origin"].cast(pa.string()), "reported")
    seen = every.filter(keep)
    rows = np.flatnonzero(keep.to_numpy(zero_copy_only=False))
    size = len(rows)
    return pa.table(
        {
            "occurrenceID": _plain(seen["sighting_id"]),
            "basisOfRecord": _same("HumanObservation", size),
            "occurrenceStatus": _same("detected", size),
            "eventDate": seen["seen_on"].combine_chunks().cast(pa.string()),
            "kingdom": _same("Fungi", size),
            **identified(context, seen),
            **_places(context, seen, rows),
            **_counted(seen),
            "associatedTaxa": _hosts(context, seen),
            "informationWithheld": _same(_WITHHELD, size),
            "license": _licenses(seen["license"]),
        }
    )


def _counted(seen: pa.Table) -> dict[str, pa.Array]:
    count = seen["count"].combine_chunks()
    known = pc.greater(count, 0).fill_null(False)
    return {
        "organismQuantity": pc.if_else(known, count, None),
        "organismQuantityType": pc.if_else(known, "fruiting bodies", None),
    }


def _places(context: RenderContext, seen: pa.Table, rows: np.ndarray) -> dict[str, pa.Array]:
    """Place, how sure it is, and what was done to it; the properties with the 68 % radius."""
    limits = context.library.table("archive_limits", key=("quantity",))
    longitude, latitude = (one[rows] for one in context.layers.places("ingest.sightings"))
    accuracy = _numbers(seen["accuracy_m"])
    tree = seen["tree_key"].to_numpy()
    of_tree = ~np.isfinite(longitude) & (tree >= 0)
    for degrees, known in zip((longitude, latitude), context.layers.trees, strict=True):
        degrees[of_tree] = known[tree[of_tree]]
    accuracy[of_tree] = context.settings.settings.matching.inventory_error_m
    private = _on_private_land(context, seen)
    decimals = int(limits.number("value", quantity="blurred_decimals"))
    whole = accuracy * whole_per_accuracy(
        limits.number("value", quantity="accuracy_share"),
        limits.number("value", quantity="whole_share"),
    )
    least = limits.number("value", quantity="blurred_least_m")
    whole[private] = np.fmax(whole[private], least)
    whole[~np.isfinite(longitude) | (whole == 0)] = np.nan
    blurred = private & np.isfinite(longitude)
    told = np.where(private, np.nan, accuracy)
    return {
        "decimalLongitude": _degrees(longitude, private, decimals),
        "decimalLatitude": _degrees(latitude, private, decimals),
        "geodeticDatum": _where(np.isfinite(longitude), "EPSG:4326"),
        # rounded up: the circle must not become too small
        "coordinateUncertaintyInMeters": pa.array(np.ceil(whole * 10) / 10, from_pandas=True),
        "georeferenceRemarks": _where(of_tree, _OF_TREE),
        "dataGeneralizations": _where(blurred, _BLURRED.format(decimals)),
        "dynamicProperties": _properties(seen, told),
    }


def whole_per_accuracy(held: float, whole: float) -> float:
    """What a radius that holds a share of all cases is multiplied by to hold a larger share.

    The two coordinates err alike and independently, so that the distance is Rayleigh distributed:
    a radius r holds the share 1 - exp(-r^2 / 2 sigma^2).

    Parameters
    ----------
    held, whole : shares, above 0 and below 1.
    """
    return math.sqrt(math.log(1 - whole) / math.log(1 - held))


def _on_private_land(context: RenderContext, seen: pa.Table) -> Flags:
    """Sightings of which some candidate, or the tree itself, stands on private land."""
    owner = context.table("ingest.trees")["owner"].cast(pa.string())
    private = np.append(np.asarray(pc.equal(owner, "private"), np.bool_), False)
    matches = context.table("ingest.sighting_matches")
    key, of = matches["tree_key"].to_numpy(), matches["sighting_key"].to_numpy()
    some = np.unique(of[private[key]])
    own = seen["sighting_key"].to_numpy()
    return np.asarray(private[seen["tree_key"].to_numpy()] | np.isin(own, some), np.bool_)


def _degrees(degrees: Floats, private: Flags, decimals: int) -> pa.Array:
    rounded = np.where(private, np.round(degrees, decimals), np.round(degrees, _DEGREE_DECIMALS))
    return pa.array(rounded, from_pandas=True)


def _properties(seen: pa.Table, accuracy: Floats) -> pa.Array:
    """DynamicProperties as JSON; all words are of closed lists, so that none needs an escape."""
    parts = [_pair("accuracy68InMeters", pa.array(accuracy, from_pandas=True))]
    parts += [_pair(key, seen[name].combine_chunks()) for name, key in PROPERTIES.items()]
    joined = pc.binary_join_element_wise(*parts, ",", null_handling="skip")
    filled = pc.binary_join_element_wise("{", joined, "}", "")
    return pc.if_else(pc.equal(joined, ""), None, filled)


def _pair(key: str, values: pa.Array) -> pa.Array:
    if pa.types.is_floating(values.type) or pa.types.is_integer(values.type):
        return pc.binary_join_element_wise(f'"{key}":', values.cast(pa.string()), "")
    return pc.binary_join_element_wise(f'"{key}":"', values.cast(pa.string()), '"', "")


def _hosts(context: RenderContext, seen: pa.Table) -> pa.Array:
    """The host as told where that is the name of a tree and nothing else, else the tree's own."""
    told = seen["host_text"].combine_chunks().cast(pa.string())
    genera = pa.array(sorted(set(context.library.table("tree_species").texts("genus"))))
    genus = pc.replace_substring_regex(told, r" .*$", "")
    named = pc.and_(
        pc.match_substring_regex(told, _HOST), pc.is_in(genus, value_set=genera)
    ).fill_null(False)
    species = context.table("ingest.trees")["species"].combine_chunks().cast(pa.string())
    key = seen["tree_key"].combine_chunks()
    own = species.take(pc.if_else(pc.greater_equal(key, 0), key, None))
    host = pc.coalesce(pc.if_else(named, told, None), own)
    return pc.binary_join_element_wise('"host":"', host, '"', "")


def _licenses(column: pa.ChunkedArray) -> pa.Array:
    text = _plain(column)
    return pc.if_else(pc.match_substring_regex(text, _LICENSE).fill_null(False), text, None)


def _plain(column: pa.ChunkedArray) -> pa.Array:
    """Text on one line: a record of the file stays a line of it."""
    text = column.combine_chunks().cast(pa.string())
    return pc.replace_substring_regex(text, r"[\x00-\x1f\x7f\x{85}\x{2028}\x{2029}]+", " ")


def _same(word: str, size: int) -> pa.Array:
    return pa.repeat(pa.scalar(word), size)


def _where(mask: Flags, word: str) -> pa.Array:
    return pc.if_else(pa.array(mask), word, pa.scalar(None, pa.string()))


def _numbers(column: pa.ChunkedArray) -> Floats:
    return np.array(column.to_numpy(zero_copy_only=False), dtype=np.float64)
