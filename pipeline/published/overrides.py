"""The files in a city's folder of overrides: each must bear the name of a table."""

import difflib
from pathlib import Path

from pipeline.errors import ManyFaults, PipelineError, PublishedValueError

_FOLDERS = ("published", "rules")


def refuse_unknown(overrides: Path, config: Path) -> None:
    """Look that each file of overrides is read by something.

    Hidden files and texts that only explain (.md, .txt) may lie there too.

    Raises
    ------
    PublishedValueError
        If a file bears the name of no table: it would be passed over without a word.
    ManyFaults
        If several do.
    """
    known = sorted({path.stem for name in _FOLDERS for path in (config / name).glob("*.csv")})
    faults: list[PipelineError] = []
    for path in sorted(overrides.iterdir()) if overrides.is_dir() else ():
        if path.name.startswith(".") or path.suffix.lower() in {".md", ".txt"}:
            continue
        if path.is_file() and path.suffix == ".csv" and path.stem in known:
            continue
        near = difflib.get_close_matches(path.stem.lower(), known, n=1, cutoff=0.0)
        nearest = f"{near[0]}.csv is the nearest" if near else "there is no table at all"
        faults.append(
            PublishedValueError(
                where=str(path),
                found="the name of no table, so that it would change nothing",
                expected=f"the name of a table of config/published or config/rules; {nearest}",
                remedy="Mend the name, or take the file out of the folder.",
            )
        )
    if len(faults) == 1:
        raise faults[0]
    if faults:
        raise ManyFaults(faults)
