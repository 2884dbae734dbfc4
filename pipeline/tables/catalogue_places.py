"""Places that the ingest stage writes: zones, streets, wards and what the map draws."""

from pipeline.tables import inputs
from pipeline.tables.schema import Column, ForeignKey, Kind, TableSchema

_X = Column("x_m", Kind.FLOAT, "easting in the run's metric CRS", "m")
_Y = Column("y_m", Kind.FLOAT, "northing in the run's metric CRS", "m")

ZONES = TableSchema(
    "ingest",
    "zones",
    "who is under the trees: surveyed zones, or zones made of map tags and street classes",
    ("zone_key",),
    (
        Column("zone_key", Kind.INT32, "row number from 0", low=0),
        Column("zone_id", Kind.TEXT, "id"),
        Column("name", Kind.TEXT, "name that may be shown", nullable=True),
        Column("kind", Kind.LABEL, "kind of target", allowed=inputs.ZONE_KINDS),
        Column("how", Kind.LABEL, "where it comes from",
               allowed=("survey", "map_tag", "street_class", "building")),
        Column("occupancy", Kind.LABEL, "the trade's word as told or by table", nullable=True,
               allowed=inputs.OCCUPANCY),
        Column("persons_per_h", Kind.FLOAT, "persons", "persons/h", nullable=True, low=0),
        Column("open_share", Kind.FLOAT, "share of the year's hours when it is open", "share",
               nullable=True, low=0, high=1),
        Column("vehicles_per_day", Kind.FLOAT, "traffic", "vehicles/day", nullable=True, low=0),
        Column("speed_km_h", Kind.FLOAT, "speed", "km/h", nullable=True, low=0),
        Column("static", Kind.BOOL, "a thing that is always there, as a building"),
        Column("open_hours", Kind.LABEL, "as told, for crews' windows", nullable=True),
        Column("source", Kind.LABEL, "row of the published table used", nullable=True),
        Column("numbers_from", Kind.LABEL, "who gave persons and vehicles: the city's own file, or "
               "the published table", nullable=True, allowed=("city", "table")),
        Column("geometry", Kind.WKB, "shape in the run's metric CRS"),
    ),
)  # fmt: skip

STREET_NODES = TableSchema(
    "ingest",
    "street_nodes",
    "junctions and ends of street edges",
    ("node_key",),
    (
        Column("node_key", Kind.INT32, "row number from 0", low=0),
        _X,
        _Y,
        Column("island", Kind.INT32, "number of the connected part, 0 is the largest", low=0),
    ),
)

STREETS = TableSchema(
    "ingest",
    "streets",
    "street edges between junctions",
    ("street_key",),
    (
        Column("street_key", Kind.INT32, "row number from 0", low=0),
        Column("street_id", Kind.TEXT, "the file's id"),
        Column("name", Kind.LABEL, "name", nullable=True),
        Column("street_class", Kind.LABEL, "road class, 'unknown' where the file has none"),
        Column("from_node", Kind.INT32, "start", low=0),
        Column("to_node", Kind.INT32, "end", low=0),
        Column("length_m", Kind.FLOAT, "length", "m", low=0),
        Column("speed_km_h", Kind.FLOAT, "speed used", "km/h", low=0),
        Column("forward", Kind.BOOL, "may be driven from start to end"),
        Column("backward", Kind.BOOL, "may be driven from end to start"),
        Column("drivable", Kind.BOOL, "for crews' vehicles"),
        Column("geometry", Kind.WKB, "line in the run's metric CRS"),
    ),
    (ForeignKey("from_node", "ingest.street_nodes"), ForeignKey("to_node", "ingest.street_nodes")),
)

WARDS = TableSchema(
    "ingest",
    "wards",
    "wards or districts",
    ("ward_key",),
    (
        Column("ward_key", Kind.INT32, "row number from 0", low=0),
        Column("name", Kind.TEXT, "name"),
        Column("geometry", Kind.WKB, "polygon in the run's metric CRS"),
    ),
)

BASEMAP = TableSchema(
    "ingest",
    "basemap",
    "water, parks and buildings that pages draw",
    ("basemap_key",),
    (
        Column("basemap_key", Kind.INT32, "row number from 0", low=0),
        Column("kind", Kind.LABEL, "what", allowed=("water", "park", "building")),
        Column("name", Kind.TEXT, "name", nullable=True),
        Column("geometry", Kind.WKB, "shape in the run's metric CRS"),
    ),
)

PLACE_TABLES = (ZONES, STREET_NODES, STREETS, WARDS, BASEMAP)
