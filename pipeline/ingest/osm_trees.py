"""Single trees of an OpenStreetMap extract, under the canonical names of the trees input."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest import osm_objects
from pipeline.ingest.quarantine import Done, Finding
from pipeline.ingest.zones import number_column
from pipeline.units import CM_PER_M, Floats, diameter_from_girth

# Only a handful of stems on earth are thicker (from memory); a bare number above this was meant as
# centimetres or is a slip, and which of the two cannot be told.
_MOST_GIRTH_M = 25.0
_M_PER = {"": 1.0, "m": 1.0, "cm": 0.01, "ft": 0.3048, "in": 0.0254}


def read_trees(path: Path, *, where: str) -> tuple[pa.Table, tuple[Finding, ...]]:
    """Single trees under the canonical names of the trees input, with what was emptied.

    Raises
    ------
    InputError
        If the file is no OpenStreetMap extract.
    """
    raw = osm_objects.tree_nodes(path, where=where)
    species = pc.coalesce(raw["species"], raw["taxon"]).combine_chunks()
    genus = raw["genus"].combine_chunks()
    # An epithet alone, beside the genus, is half of a name.
    half = pc.and_(pc.is_valid(genus), pc.invert(pc.match_substring(species, " ")))
    whole = pc.binary_join_element_wise(genus, pc.utf8_lower(species), " ")
    girth = _metres(raw["circumference"].combine_chunks())
    told = raw["circumference"].is_valid().to_numpy()
    odd = told & ~((girth > 0) & (girth <= _MOST_GIRTH_M))
    rows = np.flatnonzero(odd)
    findings = () if not rows.size else (
        Finding(
            "circumference_impossible", rows, "circumference",
            tuple(raw["circumference"].take(pa.array(rows)).to_pylist()),
            f"No girth between 0 and {_MOST_GIRTH_M:g} m.",
            "Mend the tag in the map: metres, or a number with its unit.", Done.EMPTIED,
        ),
    )  # fmt: skip
    trees = {
        "tree_id": pc.binary_join_element_wise("node", raw["osm_id"], "/"),
        "longitude": raw["longitude"],
        "latitude": raw["latitude"],
        "species": pc.coalesce(pc.if_else(half.fill_null(False), whole, species), genus),
        "common_name": raw["species:en"],
        "dbh_cm": number_column(diameter_from_girth(np.where(odd, np.nan, girth)) * CM_PER_M),
        "height_m": number_column(_metres(raw["height"].combine_chunks())),
        "crown_width_m": number_column(_metres(raw["diameter_crown"].combine_chunks())),
        "planted_on": raw["start_date"],
        "notes": raw["description"],
    }
    return pa.table(trees), findings


def _metres(texts: pa.Array) -> Floats:
    """Lengths [m] of texts such as '12', '12.5 m' or '40 ft'; NaN for all others."""
    parts = pc.extract_regex(
        pc.utf8_lower(texts), r"^\s*(?P<n>\d+(?:[.,]\d+)?)\s*(?P<u>m|cm|ft|in)?\s*$"
    )
    number = pc.cast(pc.replace_substring(pc.struct_field(parts, "n"), ",", "."), pa.float64())
    unit = pc.struct_field(parts, "u").fill_null("").to_numpy(zero_copy_only=False)
    scale = np.array([_M_PER[one] for one in unit], dtype=np.float64)
    return np.asarray(number.fill_null(np.nan).to_numpy(zero_copy_only=False) * scale)
