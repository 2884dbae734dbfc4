"""A city of a few rows, run through the ingest stage."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path

from pipeline.ingest import stage
from pipeline.progress import Silent
from pipeline.published.table import Library
from pipeline.settings.load import load
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore

AS_OF = date(2026, 11, 15)
# A square of about 900 m in the middle of nowhere; WGS 84.
LON, LAT = -76.90, 43.20
HEADER = "tree_id,longitude,latitude,species,dbh_cm,notes"


def tree(number: int, **changed: str) -> str:
    """One row of the header above."""
    row = {
        "tree_id": f"T{number}", "longitude": f"{LON + number * 1.03e-4:.6f}",
        "latitude": f"{LAT + (number % 7) * 1.07e-4:.6f}", "species": "Acer rubrum",
        "dbh_cm": "30", "notes": "", **changed,
    }  # fmt: skip
    return ",".join(row[name] for name in HEADER.split(","))


def inventory(*rows: str, ordinary: int = 30) -> str:
    """A CSV of ordinary trees, numbered from 100, and then these rows."""
    return "\n".join([HEADER, *(tree(100 + n) for n in range(ordinary)), *rows]) + "\n"


class LittleCity:
    """A folder with settings, inputs and a run."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.store = RunStore(folder / "run")

    def ingest(
        self, files: Mapping[str, str | bytes], *, inputs: str = "", city: str = ""
    ) -> "LittleCity":
        """Write the files, run the stage on them.

        Parameters
        ----------
        files : name to content; `trees.csv` is the inventory unless `inputs` names another.
        inputs : TOML of the inputs.
        city : further keys of the section [city].
        """
        for name, content in files.items():
            data = content.encode() if isinstance(content, str) else content
            (self.folder / name).write_bytes(data)
        inputs = inputs or '[[inputs.trees]]\nfiles = ["trees.csv"]\n'
        settings = self.folder / "city.toml"
        settings.write_text(f'[city]\nname = "Little"\n{city}\n{inputs}', encoding="utf-8")
        run = load(settings, data_dir=self.folder, as_of=AS_OF)
        stage.run(run, self.store, Library(), Silent())
        return self

    def rows(self, table: str) -> list[dict[str, object]]:
        """Rows of an ingest table."""
        found: list[dict[str, object]] = self.store.read(TABLES[f"ingest.{table}"]).to_pylist()
        return found

    def trees(self) -> dict[object, dict[str, object]]:
        """Trees by their id."""
        return {row["tree_id"]: row for row in self.rows("trees")}

    def codes(self, table: str) -> dict[str, int]:
        """Code to number of rows in findings or quarantine."""
        found: dict[str, int] = {}
        for row in self.rows(table):
            found[str(row["code"])] = found.get(str(row["code"]), 0) + 1
        return found
