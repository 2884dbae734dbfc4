"""How the town's files look: headers, units, encodings and marks differ on purpose."""

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from larkmere.geometry import Line, Point, degrees
from larkmere.places import WARDS
from larkmere.trees import Tree

PI = 3.14159265
TREE_HEADERS = ("Tree No", "Species", "Common Name", "DBH (in)", "Height (ft)", "Condition",
                "State", "Planted", "Street", "Ward", "Wires", "Lat", "Lon", "Notes",
                "Last Inspection")  # fmt: skip
WEST_HEADERS = ("Arbre", "Espèce", "Girth cm", "Height m", "Cond.", "Status", "Planted on",
                "Rue", "Longitude", "Latitude", "Wires", "Remarks", "Inspected")  # fmt: skip
_STATES = {"standing": "Standing", "stump": "Stump", "vacant": "Vacant site",
           "dead": "Standing dead", "removed": "Removed",
           "habitat_pole": "Wildlife pole"}  # fmt: skip
_WIRES = {"none": "None", "communication": "Phone/cable", "low_voltage": "Low voltage",
          "high_voltage": "High voltage", "": ""}  # fmt: skip


def tree_row(tree: Tree) -> dict[str, str]:
    """One row of trees.csv: inches and feet, words of the city."""
    longitude, latitude = degrees(tree.place)
    there = tree.status in {"standing", "dead", "habitat_pole"}
    tall = there and (int(tree.tree_id[-2:]) % 5 < 3)
    return {
        "Tree No": tree.tree_id,
        "Species": tree.species.name if tree.status != "vacant" else "",
        "Common Name": tree.species.common if tree.status != "vacant" else "",
        "DBH (in)": f"{tree.dbh_cm / 2.54:.1f}" if there else "",
        "Height (ft)": f"{tree.height_m / 0.3048:.0f}" if tall else "",
        "Condition": tree.condition.capitalize() if there else "",
        "State": _STATES[tree.status],
        "Planted": "" if tree.planted is None or not there else str(tree.planted),
        "Street": tree.street,
        "Ward": WARDS[tree.ward - 1][0] if tree.ward else "",
        "Wires": _WIRES[tree.wires],
        "Lat": f"{latitude:.6f}",
        "Lon": f"{longitude:.6f}",
        "Notes": tree.notes,
        "Last Inspection": tree.inspected_on,
    }


def west_row(tree: Tree) -> dict[str, str]:
    """One row of trees_ward5.csv: girth, decimal commas, day.month.year."""
    longitude, latitude = degrees(tree.place)
    there = tree.status in {"standing", "dead", "habitat_pole"}
    day = ".".join(reversed(tree.inspected_on.split("-"))) if tree.inspected_on else ""
    return {
        "Arbre": tree.tree_id,
        "Espèce": tree.species.name if tree.status != "vacant" else "",
        "Girth cm": comma(f"{tree.dbh_cm * PI:.1f}") if there else "",
        "Height m": comma(f"{tree.height_m:.1f}") if there else "",
        "Cond.": tree.condition.capitalize() if there else "",
        "Status": _STATES[tree.status],
        "Planted on": "" if tree.planted is None or not there else f"01.04.{tree.planted}",
        "Rue": tree.street,
        "Longitude": comma(f"{longitude:.6f}"),
        "Latitude": comma(f"{latitude:.6f}"),
        "Wires": _WIRES[tree.wires],
        "Remarks": tree.notes,
        "Inspected": day,
    }


def comma(text: str) -> str:
    """The number with a decimal comma."""
    return text.replace(".", ",")


def write_csv(path: Path, headers: Sequence[str], rows: Iterable[Mapping[str, object]], *,
              delimiter: str = ",", encoding: str = "utf-8") -> None:  # fmt: skip
    """Write rows; keys that are no header are left out, missing ones are empty."""
    text = io.StringIO()
    writer = csv.DictWriter(text, headers, restval="", extrasaction="ignore", delimiter=delimiter,
                            lineterminator="\n")  # fmt: skip
    writer.writeheader()
    writer.writerows(rows)
    path.write_bytes(text.getvalue().encode(encoding))


def used_columns(rows: Sequence[Mapping[str, object]], order: Sequence[str]) -> list[str]:
    """The columns of the canonical order that some row fills."""
    filled = {key for row in rows for key, value in row.items() if value != ""}
    return [name for name in order if name in filled]


def feature(shape: str, line: Line, properties: Mapping[str, object]) -> dict[str, object]:
    """One GeoJSON feature from places in town metres."""
    places = [list(degrees(place)) for place in line]
    coordinates: object = {"Point": places[0], "LineString": places, "Polygon": [places]}[shape]
    return {
        "type": "Feature",
        "properties": dict(properties),
        "geometry": {"type": shape, "coordinates": coordinates},
    }


def point_feature(place: Point, properties: Mapping[str, object]) -> dict[str, object]:
    """One GeoJSON point from longitude and latitude."""
    return {
        "type": "Feature",
        "properties": dict(properties),
        "geometry": {"type": "Point", "coordinates": list(place)},
    }


def write_geojson(path: Path, features: Iterable[Mapping[str, object]]) -> None:
    """Write a feature collection, one feature a line."""
    lines = [json.dumps(f, ensure_ascii=False, separators=(",", ":")) for f in features]
    text = '{"type":"FeatureCollection","features":[\n' + ",\n".join(lines) + "\n]}\n"
    path.write_bytes(text.encode())
