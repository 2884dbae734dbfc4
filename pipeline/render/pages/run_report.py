"""report.html: accounts, faults, assumptions, settings, sources and versions, for audit.

It holds no clock time, so that two runs of the same input give the same bytes; how long each stage
took stands in timings.json.
"""

import platform
from collections import Counter
from collections.abc import Iterator, Mapping
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pyarrow.compute as pc

import pipeline
from pipeline.published.source import Source
from pipeline.published.table import Override
from pipeline.render import account, fungi_account, plan_account, plausibility
from pipeline.render.cautions import every_page
from pipeline.render.context import RenderContext
from pipeline.render.files import page, write_text
from pipeline.tables.catalogue_account import FINDINGS, QUARANTINE
from pipeline.tables.catalogue_reading import HISTORY

NAME = "report.html"
LIBRARIES = ("duckdb", "geopandas", "numpy", "pyarrow", "pyogrio", "scipy", "shapely")
READ = {
    "original": "the original was read",
    "abstract": "only the abstract was read",
    "secondary": "read in another work that cites it",
    "from memory": "from memory: not read for this project",
}
_FAULTS = """
select s.file, s.input, f.code, f."column", f.done, count(*) as rows,
    list(coalesce(f.value, '') order by f.finding_key)[1:3] as examples,
    list(f."row" order by f.finding_key)[1:3] as at,
    min(f.reason order by f.finding_key) as reason
from ingest.findings f join ingest.sources s using (source_key)
group by s.source_key, s.file, s.input, f.code, f."column", f.done
order by s.source_key, rows desc, f.code, f."column" nulls first, f.done
"""
_SET_ASIDE = """
select s.file, s.input, q.code, q."column", 'set aside' as done, count(*) as rows,
    list(coalesce(q.value, '') order by q.quarantine_key)[1:3] as examples,
    list(q."row" order by q.quarantine_key)[1:3] as at,
    min(q.reason order by q.quarantine_key) as reason
from ingest.quarantine q join ingest.sources s using (source_key)
group by s.source_key, s.file, s.input, q.code, q."column"
order by s.source_key, rows desc, q.code, q."column" nulls first
"""


_VINTAGES = """
select surveyed_on, change, count(*) as trees,
    list(tree_id order by history_key)[1:3] as ids,
    list(coalesce(before, '') order by history_key)[1:3] as before,
    list(coalesce(after, '') order by history_key)[1:3] as after
from ingest.history group by surveyed_on, change order by surveyed_on, trees desc, change
"""
CHANGES = {
    "vanished": "No longer listed: kept here, not on the maps",
    "new": "Not listed before, or without an id to follow",
    "species_changed": "Another plant under the same id: flagged",
    "species_respelt": "The same plant in other words, or named less closely",
    "shrank": "A smaller diameter than before: flagged where reading does not explain it",
    "grew": "A greater diameter than before",
    "moved": "Another place under the same id",
}


def write(context: RenderContext) -> list[Path]:
    """Write report.html."""
    text = page(
        "run_report.html.j2",
        {
            "context": context,
            "sources": account.sources(context),
            "faults": [*_grouped(context, set_aside=True), *_grouped(context, set_aside=False)],
            "vintages": _vintages(context),
            "changes": CHANGES,
            "missing": account.missing_inputs(context),
            "assumptions": account.assumptions(context),
            "ratings": account.rating_counts(context),
            "sure": fungi_account.sureness(context),
            "rating_word": account.rating_word,
            "plausible": plausibility.checks_of(context),
            "quarters": account.quarters(context),
            "left_out": account.left_out(context),
            "in_words": partial(account.in_words, t=context.texts),
            "work": plan_account.chosen_work(context),
            "overrides": [_override(o) for o in context.library.overridden],
            "unread": _unread_overrides(context),
            "settings": list(_settings(context)),
            "cited": cited(context),
            "read": READ,
            "tables": context.library.used,
            "versions": versions(),
            "cautions": every_page(context.texts),
        },
    )
    return [write_text(context.out / NAME, text), *plausibility.write(context)]


def cited(context: RenderContext) -> list[tuple[Source, int]]:
    """Sources that the tables read or the statements of this run cite, with how often."""
    counts: Counter[str] = Counter()
    for name in context.library.used:
        counts.update(context.library.table(name).texts("source"))
    told = context.table("scoring.facts")["source"]
    for one in pc.value_counts(told.drop_null()).to_pylist():
        counts[one["values"]] += 0  # said in a rating, counted where a table carries it
    known = context.library.sources
    made = [(known[key], count) for key, count in counts.items() if key in known]
    return sorted(made, key=lambda pair: (pair[0].authors.casefold(), pair[0].year, pair[0].id))


def versions() -> list[tuple[str, str]]:
    """The program, Python and the libraries that bear on results."""
    return [
        ("soundwood", pipeline.__version__),
        ("Python", platform.python_version()),
        *((name, version(name)) for name in LIBRARIES),
    ]


def flat_settings(values: Mapping[str, Any], *, under: str = "") -> Iterator[tuple[str, str]]:
    """Settings as dotted keys and texts, lists of sections numbered from 1."""
    for key, value in values.items():
        name = f"{under}.{key}" if under else key
        if isinstance(value, Mapping):
            yield from flat_settings(value, under=name)
        elif isinstance(value, (list, tuple)) and value and isinstance(value[0], Mapping):
            for number, one in enumerate(value, start=1):
                yield from flat_settings(one, under=f"{name} {number}")
        elif value not in (None, "", [], ()):
            told = ", ".join(map(str, value)) if isinstance(value, (list, tuple)) else str(value)
            yield name, told


def _settings(context: RenderContext) -> Iterator[tuple[str, str]]:
    settings = context.settings
    yield "settings file", settings.settings_path.name
    yield "day of the run", settings.as_of.isoformat()
    yield "first quarter", str(settings.first_quarter)
    dumped = settings.settings.model_dump(mode="json", exclude={"data", "as_of", "quarter"})
    yield from flat_settings(dumped)


def _grouped(context: RenderContext, *, set_aside: bool) -> list[dict[str, Any]]:
    table, query = (QUARANTINE, _SET_ASIDE) if set_aside else (FINDINGS, _FAULTS)
    if not context.store.has(table):
        return []
    return list(context.store.query(query).to_pylist())


def _vintages(context: RenderContext) -> list[dict[str, Any]]:
    """What differs from earlier vintages of the inventory, by vintage and kind of change."""
    if not context.store.has(HISTORY):
        return []
    return list(context.store.query(_VINTAGES).to_pylist())


def _override(override: Override) -> dict[str, Any]:
    """One replaced or added row: its key and what changed."""
    before = override.replaced or {}
    changes = [
        (name, before.get(name, ""), value)
        for name, value in override.row.items()
        if value != before.get(name, "")
    ]
    same = [value for name, value in override.row.items() if value and before.get(name) == value]
    return {
        "table": override.table,
        "row": same[0] if same else "",
        "new": override.replaced is None,
        "changes": changes,
    }


def _unread_overrides(context: RenderContext) -> list[str]:
    """Files of overrides that nothing in this command asked for."""
    folder = context.settings.overrides_dir
    if folder is None:
        return []
    used = set(context.library.used)
    return sorted(path.name for path in folder.glob("*.csv") if path.stem not in used)
