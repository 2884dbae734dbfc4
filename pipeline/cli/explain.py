"""The verb explain: why one tree is rated as it is, from what was seen to what is to be done."""

import json
import sys
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import pyarrow as pa
import pyarrow.compute as pc
import typer
from rapidfuzz import fuzz, process

from pipeline.cli import explained
from pipeline.errors import InputError, RunError
from pipeline.published.sentences import Texts
from pipeline.published.table import Library
from pipeline.render.context import RenderContext
from pipeline.render.explain import explain as explain_trees
from pipeline.render.pages.tree_pages import write_one
from pipeline.render.wording import wording
from pipeline.settings.load import load
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore

_NEEDED = ("ingest.trees", "scoring.tree_ratings", "scoring.facts")
_NEAR, _LIKE = 5, 60.0
# Trees of one id beyond this many are counted, not explained.
_MOST = 5
_REPEAT = r"~[0-9]+$"


def register(app: typer.Typer) -> None:
    """Add the verb to the command."""
    app.command("explain")(explain)


def explain(
    tree: Annotated[
        str, typer.Argument(metavar="TREE", help="Id of the tree, as the inventory writes it.")
    ],
    run: Annotated[
        Path | None,
        typer.Option("--run", metavar="DIR", help="Folder of a finished run.", show_default=False),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="For programs: values with units, sources, sentences.")
    ] = False,
    page: Annotated[
        Path | None,
        typer.Option(
            "--page", metavar="FILE", help="Write the tree's page to this file.", show_default=False
        ),
    ] = None,
) -> None:
    """Say why a tree is rated as it is: seen, fungus, wood left, holds or fails, and what to do.

    Every number stands with its unit, its source and what was assumed. It goes as far as the
    evidence goes and never says that a tree is harmless. An id that begins with a dash goes behind
    two dashes alone.

    Example: soundwood explain LK-01751 --run outputs/larkmere-2026-11-15 --page LK-01751.html
    """
    folder = _folder(run)
    manifest = _manifest(folder)
    context = _context(folder, manifest)
    keys = _keys(tree, context)
    told = explain_trees(context, keys[:_MOST], _replaced(manifest))
    told["run"]["program"] = str(manifest["program"].get("version", "unknown"))
    if page is not None:
        _write_page(told, page, keys, context.texts)
        return
    if as_json:
        typer.echo(json.dumps(told, indent=1))  # in ASCII: no terminal or pipe can garble it
        return
    coding = getattr(sys.stdout, "encoding", None) or "utf-8"
    for line in explained.lines(told, context.texts, asked=_readable(tree), of=len(keys)):
        typer.echo(line.encode(coding, "backslashreplace").decode(coding))


def _write_page(told: dict[str, Any], page: Path, keys: list[int], said: Texts) -> None:
    """Write the page of the one tree that was asked for.

    Raises
    ------
    InputError
        If several trees carry the id: a page speaks of one.
    """
    if len(keys) > 1:
        raise InputError(
            where="soundwood explain --page",
            found=f"{len(keys)} trees of this id",
            expected="one tree",
            remedy=f"Ask for one of them, as {explained.shown(told['trees'][-1]['tree_id'])}.",
        )
    typer.echo(str(write_one(told, page, said)))


def _folder(run: Path | None) -> Path:
    """The run to ask; there is no rule which of several runs is meant, so it has to be named.

    Raises
    ------
    RunError
        If none is named, or it is no folder.
    """
    if run is None:
        made = sorted(path.parent for path in Path("outputs").glob("*/manifest.json"))
        found = f"no run named; in outputs/: {', '.join(map(str, made))}" if made else "no run"
        raise RunError(
            where="soundwood explain",
            found=found,
            expected="the folder of a finished run",
            remedy="Give --run DIR, the folder that `soundwood run` said it wrote.",
        )
    if not run.is_dir():
        raise RunError(
            where=str(run),
            found="a file" if run.exists() else "no such folder",
            expected="the folder of a finished run",
            remedy="Give --run DIR, the folder that `soundwood run` said it wrote.",
        )
    return run


def _manifest(folder: Path) -> dict[str, Any]:
    """The manifest of the run.

    Raises
    ------
    RunError
        If there is none, it is damaged or of another program, or the trees were not rated.
    """
    path = folder / "manifest.json"
    content: dict[str, Any] = {}
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        date.fromisoformat(content["as_of"])
        known = content["program"]["name"] == "soundwood"
    except (OSError, ValueError, KeyError, TypeError):
        known = False
    if not known:
        raise RunError(
            where=str(path),
            found="no manifest of this program" if path.exists() else "no manifest",
            expected="the manifest of a finished run, unchanged",
            remedy="Give --run the folder of another run, or make the run again.",
        )
    if not (folder / "inputs" / "settings.toml").is_file():
        raise RunError(
            where=str(folder / "inputs" / "settings.toml"),
            found="no such file",
            expected="the settings that the run kept",
            remedy="Give --run the folder of another run, or make the run again.",
        )
    store = RunStore(folder)
    for name in _NEEDED:
        if not store.has(TABLES[name]):
            raise RunError(
                where=str(folder),
                found=f"no table {name}",
                expected="a run that rated its trees",
                remedy="Use the verb run or score, then explain that run.",
            )
    return content


def _context(folder: Path, manifest: dict[str, Any]) -> RenderContext:
    """The run as pages see it, with the settings that it kept."""
    settings = load(
        folder / "inputs" / "settings.toml",
        data_dir=folder,  # nothing is read from there: the run has it all
        as_of=date.fromisoformat(manifest["as_of"]),
        quarter=manifest.get("first_quarter"),
    )
    told = wording(settings)
    return RenderContext(
        settings, RunStore(folder), Library(), folder, told.sentence, told.review, told.texts
    )


def _replaced(manifest: dict[str, Any]) -> tuple[dict[str, Any], ...]:
    """Rows of published tables that the city had replaced in that run."""
    return tuple(one for one in manifest.get("overrides", ()) if isinstance(one, dict))


def _keys(tree: str, context: RenderContext) -> list[int]:
    """Keys of the trees that carry this id; a city that repeats one has them numbered.

    Raises
    ------
    InputError
        If the run has no such tree.
    """
    rows = context.store.read(TABLES["ingest.trees"], columns=("tree_key", "tree_id"))
    ids, asked = rows["tree_id"].combine_chunks(), _readable(tree)
    mine = pc.equal(ids, asked)
    begun = pc.starts_with(ids, pattern=f"{asked}~")
    tail = pc.utf8_slice_codeunits(ids, len(asked))
    again = pc.and_(begun, pc.match_substring_regex(tail, f"^{_REPEAT}"))
    keys = rows.filter(pc.or_(mine, again))["tree_key"].to_pylist()
    if not keys:
        raise InputError(
            where="soundwood explain",
            found=f"no tree {explained.shown(asked)!r} among {rows.num_rows:,}",
            expected=f"the id of a tree of this run{_near(asked, ids)}",
            remedy=_aside(asked, context)
            or "Mend the id; the forester's map finds trees by street too.",
        )
    return [int(key) for key in keys]


def _readable(tree: str) -> str:
    """The id without blanks round it; bytes that are no text become question marks."""
    return tree.strip().encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _near(asked: str, ids: pa.Array) -> str:
    """Ids that look alike, nearest first."""
    found = process.extract(
        asked, ids.to_pylist(), scorer=fuzz.ratio, processor=str.casefold, limit=_NEAR,
        score_cutoff=_LIKE,
    )  # fmt: skip
    return f"; near it: {', '.join(explained.shown(name) for name, _, _ in found)}" if found else ""


def _aside(asked: str, context: RenderContext) -> str:
    """What became of a row that names this tree and was set aside; '' if there is none."""
    rows = context.table("ingest.quarantine")
    about = rows["about"]
    named = pc.or_(pc.equal(about, f"tree {asked}"), pc.starts_with(about, f"tree {asked}, "))
    own = rows.filter(named.fill_null(False)).slice(0, 1).to_pylist()
    if not own:
        return ""
    reason, remedy = own[0]["reason"].rstrip("."), own[0]["remedy"]
    return f"A row that names it was set aside: {reason}. {remedy}"
