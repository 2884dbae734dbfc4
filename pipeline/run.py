"""One run: the order of the stages, and a folder that appears whole or not at all.

A run is made in a hidden folder beside its place and renamed when everything is written, so that a
killed process leaves nothing that looks like a run. A run folder never changes afterwards: a verb
on an old run makes a new folder that shares the tables it did not make again.
"""

import hashlib
import json
import os
import platform
import re
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pyarrow as pa
from filelock import FileLock, Timeout

import pipeline
from pipeline.errors import RunError
from pipeline.ingest import stage as ingest_stage
from pipeline.ingest.siting import NoPlaceError
from pipeline.planning import stage as planning_stage
from pipeline.progress import Silent, Teller
from pipeline.published.sentences import FILE as SENTENCES
from pipeline.published.table import Library
from pipeline.render import stage as render_stage
from pipeline.scoring import stage as scoring_stage
from pipeline.settings.model import RunSettings
from pipeline.tables.catalogue import STAGES, TABLES
from pipeline.tables.store import RunStore

Stage = Callable[[RunSettings, RunStore, Library, Teller], None]

ORDER: dict[str, Stage] = {
    "ingest": ingest_stage.run,
    "scoring": scoring_stage.run,
    "planning": planning_stage.run,
    "render": render_stage.run,
}

SMALL_INPUT_BYTES = 1_000_000
_LIBRARIES = ("duckdb", "folium", "geopandas", "numpy", "pyarrow", "pyogrio", "scipy", "shapely")


class UnwritableError(RunError):
    """The run folder cannot be made where it was asked for."""

    def __init__(self, folder: Path, fault: Exception) -> None:
        """Say where, and what the system said."""
        super().__init__(
            where=str(folder),
            found=f"a place that cannot be written ({fault})",
            expected="a folder that can be made",
            remedy="Give --out a place that can be written.",
        )


@dataclass(slots=True)
class Run:
    """A run that was finished: its folder, and how long each stage took in seconds.

    `stopped` says why it ended after its account of the files: no tree has a place, so that there
    is nothing to rate, plan or draw.
    """

    folder: Path
    seconds: dict[str, float] = field(default_factory=dict)
    stopped: NoPlaceError | None = None


def execute(
    settings: RunSettings,
    *,
    stages: tuple[str, ...] = tuple(ORDER),
    out: Path | None = None,
    base: Path | None = None,
    teller: Teller | None = None,
) -> Run:
    """Run some stages in their order into a new folder.

    Parameters
    ----------
    settings : complete settings.
    stages : names out of ORDER, in order.
    out : the run folder; None chooses the first free name in outputs/.
    base : an old run whose tables of the other stages are shared.
    teller : told what is being done.

    Raises
    ------
    RunError
        If the folder exists, is in use, or cannot be written, or the old run is not usable.
    """
    teller = teller or Silent()
    folder = out or _free_name(settings)
    with _made_whole(folder) as hidden:
        done = Run(folder)
        store = RunStore(hidden)
        _share(base, store, stages)
        library = Library(overrides=settings.overrides_dir)
        _run_stages(stages, (settings, store, library, teller), done)
        teller.step("writing the manifest")
        _keep_inputs(settings, hidden)
        made = tuple(name for name in stages if name in done.seconds)
        _write_json(hidden / "manifest.json", _manifest(settings, store, library, made, base))
        _write_json(hidden / "timings.json", {"seconds": done.seconds, "finished": _now()})
        store.write_views()
    return done


def _run_stages(
    stages: tuple[str, ...], given: tuple[RunSettings, RunStore, Library, Teller], done: Run
) -> None:
    """Run the stages in order and note how long each took; an inventory without places ends it."""
    settings, store, library, _ = given
    with ExitStack() as ended_here:
        ahead = None
        for name in stages:
            started = time.perf_counter()
            step = ORDER[name]
            if name == "planning" and "render" in stages:
                ahead = ended_here.enter_context(render_stage.begun_ahead(settings, store))
            elif name == "render" and ahead is not None:
                step = partial(render_stage.run, ahead=ahead)
            try:
                step(*given)
            except NoPlaceError as fault:
                done.stopped = fault
            done.seconds[name] = round(time.perf_counter() - started, 3)
            pa.default_memory_pool().release_unused()  # it would keep what the stage has freed
            if done.stopped is not None:
                render_stage.write_rows_aside(settings, store, library)
                break


def _free_name(settings: RunSettings) -> Path:
    slug = re.sub(r"[^a-z0-9]+", "-", settings.settings.city.name.lower()).strip("-") or "city"
    stem = f"{slug}-{settings.as_of.isoformat()}"
    parent = Path("outputs")
    names = (stem if n == 1 else f"{stem}-{n}" for n in range(1, 100_000))
    return next(parent / name for name in names if not (parent / name).exists())


@contextmanager
def _made_whole(folder: Path) -> Iterator[Path]:
    """A hidden folder that becomes `folder` if the block succeeds, and vanishes if it does not.

    Raises
    ------
    RunError
        If another run writes there now, or something is there already.
    UnwritableError
        If the folder cannot be made.
    """
    partial = folder.parent / f".{folder.name}.partial"
    lock = FileLock(folder.parent / f".{folder.name}.lock", timeout=0)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        lock.acquire()
    except Timeout as fault:
        if not Path(lock.lock_file).exists():  # nothing could be made there at all
            raise UnwritableError(folder, fault) from fault
        raise RunError(
            where=str(folder),
            found="another run that is writing there now",
            expected="one run a folder",
            remedy="Wait until it has ended, or give --out another folder.",
        ) from None
    except (OSError, NotImplementedError) as fault:
        raise UnwritableError(folder, fault) from fault
    try:
        if folder.exists():
            raise RunError(
                where=str(folder),
                found="something there already",
                expected="a new folder: runs never change",
                remedy="Give --out a folder that does not exist.",
            )
        try:
            if partial.exists():
                shutil.rmtree(partial)
            partial.mkdir()
        except OSError as fault:
            raise UnwritableError(folder, fault) from fault
        try:
            yield partial
            partial.rename(folder)
        except BaseException:
            shutil.rmtree(partial, ignore_errors=True)
            raise
    finally:
        # Unlinked while still held: whoever opens the name next gets a file of their own.
        with suppress(OSError):
            Path(lock.lock_file).unlink()
        lock.release()


def _share(base: Path | None, store: RunStore, stages: tuple[str, ...]) -> None:
    needed = [name for name in STAGES if name not in stages and _comes_before(name, stages)]
    if not needed:
        return
    if base is None or not (base / "manifest.json").is_file():
        raise RunError(
            where=str(base) if base else "--run",
            found="no run" if base is None else "a folder that holds no finished run",
            expected=f"a run folder with the tables of {', '.join(needed)}",
            remedy="Give --run FOLDER of an earlier run, or use the verb run.",
        )
    _know_manifest(base / "manifest.json")
    old = RunStore(base)
    if old.placed:
        store.epsg = old.epsg
    for table in TABLES.values():
        if table.stage in needed:
            if not old.has(table):
                raise RunError(
                    where=str(base),
                    found=f"no table {table.full_name}",
                    expected="a run of this version",
                    remedy="Run the stage again, or use the verb run.",
                )
            target = store.path(table)
            target.parent.mkdir(parents=True, exist_ok=True)
            _link(old.path(table), target)
    if not old.read(TABLES["ingest.trees"], columns=("tree_key",)).num_rows:
        raise RunError(
            where=str(base),
            found="a run without a tree that has a place",
            expected="a run with trees",
            remedy="Give the trees their places and run again.",
        )


def _know_manifest(path: Path) -> None:
    """Look that the manifest is one of this program.

    Raises
    ------
    RunError
        If it is not.
    """
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        known = content["program"]["name"] == "soundwood"
    except (OSError, ValueError, KeyError, TypeError):
        known = False
    if not known:
        raise RunError(
            where=str(path),
            found="no manifest of this program",
            expected="the manifest of a finished run, unchanged",
            remedy="Give --run the folder of another run, or make the run again.",
        )


def _comes_before(name: str, stages: tuple[str, ...]) -> bool:
    order = (*STAGES, "render")
    return order.index(name) < max(order.index(stage) for stage in stages)


def _link(source: Path, target: Path) -> None:
    """Share the bytes where the file system can; run folders never change, so this is no risk."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)


def _keep_inputs(settings: RunSettings, folder: Path) -> None:
    """Keep the bytes of settings, maps and small inputs, so that a run explains itself."""
    kept = folder / "inputs"
    kept.mkdir()
    shutil.copyfile(settings.settings_path, kept / "settings.toml")
    if settings.sentences_path is not None:
        shutil.copyfile(settings.sentences_path, kept / SENTENCES)
    for kind, specs in settings.settings.inputs:
        if not isinstance(specs, tuple):
            continue
        for spec in specs:
            for name in spec.files:
                source = settings.data_dir / name
                if source.is_file() and source.stat().st_size <= SMALL_INPUT_BYTES:
                    target = kept / kind / Path(name).name
                    target.parent.mkdir(exist_ok=True)
                    shutil.copyfile(source, target)


def _manifest(
    settings: RunSettings,
    store: RunStore,
    library: Library,
    stages: tuple[str, ...],
    base: Path | None,
) -> dict[str, Any]:
    sources = TABLES["ingest.sources"]
    inputs: list[dict[str, Any]] = []
    if store.has(sources):
        columns = ("input", "file", "sha256", "rows_in", "rows_accepted", "rows_set_aside")
        inputs = store.read(sources, columns=columns).to_pylist()
    return {
        "program": {"name": "soundwood", "version": pipeline.__version__},
        "python": platform.python_version(),
        "libraries": {name: version(name) for name in _LIBRARIES},
        "city": settings.settings.city.name,
        "as_of": settings.as_of.isoformat(),
        "first_quarter": str(settings.first_quarter),
        "method": settings.settings.rating.method,
        "stages": list(stages),
        "shared_from": base.name if base else None,
        "settings_sha256": hashlib.sha256(settings.settings_path.read_bytes()).hexdigest(),
        "crs": f"EPSG:{store.epsg}" if store.placed else None,
        "inputs": inputs,
        "published_tables_read": list(library.used),
        "overrides": [
            {"table": o.table, "row": dict(o.row), "replaced": dict(o.replaced or {})}
            for o in library.overridden
        ],
    }


def _write_json(path: Path, content: dict[str, Any]) -> None:
    text = json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8")


def _now() -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%S%z")
