"""What the remarks of the tree files say, whatever was made of it."""

from pipeline.tables import inputs
from pipeline.tables.schema import Column, ForeignKey, Kind, TableSchema

NOTE_KINDS = ("sighting", "defect", "danger", "removed", "other")
NOTE_POLARITIES = ("stated", "suspected", "negated", "former")
NOTE_USES = ("sighting", "defect", "review", "counted")

NOTES = TableSchema(
    "ingest",
    "notes",
    "every finding of a remark: by tree and place in its text",
    ("note_key",),
    (
        Column("note_key", Kind.INT64, "row number from 0", low=0),
        Column("tree_key", Kind.INT64, "the tree whose remark it is", low=0),
        Column("kind", Kind.LABEL, "what kind of finding", allowed=NOTE_KINDS),
        Column("word", Kind.LABEL,
               "a defect, or fungus, danger, urgent, failed, removed, to_fell"),
        Column("taxon_id", Kind.LABEL, "taxon of the catalogue that is named", nullable=True),
        Column("part", Kind.LABEL, "part that the text names", nullable=True,
               allowed=inputs.PARTS),
        Column("polarity", Kind.LABEL, "said outright, doubted, denied, or of the past",
               allowed=NOTE_POLARITIES),
        Column("certainty", Kind.FLOAT, "how far it is believed", "share", low=0, high=1),
        Column("language", Kind.LABEL, "language of the words; la for scientific names"),
        Column("quoted", Kind.TEXT, "the words as they stand"),
        Column("start", Kind.INT64, "place of the first letter in the remark, from 0", low=0),
        Column("end", Kind.INT64, "place after the last letter", low=0),
        Column("speaks_of_danger", Kind.BOOL, "a person should look soon"),
        Column("used", Kind.LABEL,
               "became a sighting or a defect, stands on the review list alone, or is counted",
               allowed=NOTE_USES),
    ),
    (ForeignKey("tree_key", "ingest.trees"),),
)  # fmt: skip
