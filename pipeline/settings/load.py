"""From a TOML file to frozen settings; every fault of the file is told at once."""

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pipeline.errors import ManyFaults, PipelineError, SettingsError
from pipeline.published.locate import config_dir
from pipeline.published.sentences import FILE, translated
from pipeline.settings.model import RunSettings, Settings
from pipeline.settings.quarter import FIRST_YEAR, LAST_YEAR, Quarter
from pipeline.settings.words import expected_of, key_of


def load(
    path: Path,
    *,
    data_dir: Path | None = None,
    as_of: date | None = None,
    quarter: str | None = None,
) -> RunSettings:
    """Read, check and complete the settings of a city.

    Parameters
    ----------
    path : the city's TOML file.
    data_dir, as_of, quarter : from the command line; they stand over the file.

    Raises
    ------
    SettingsError
        If the file cannot be read or a value cannot be used.
    ManyFaults
        If several values cannot be used.
    """
    settings = _validated(path, _parsed(path))
    day = as_of or settings.as_of or date.today()  # noqa: DTZ011 - the city's own calendar day
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise SettingsError(
            where=f"{path}, day of the run",
            found=day.isoformat(),
            expected=f"a day of the years {FIRST_YEAR} to {LAST_YEAR}",
            remedy="Mend as_of, or what --as-of says.",
        )
    _cross_check(path, settings)
    config = config_dir()
    overrides = path.parent / path.stem / "overrides"
    return RunSettings(
        settings=settings,
        settings_path=path,
        data_dir=_data_dir(path, settings, data_dir),
        as_of=day,
        first_quarter=_quarter(path, quarter or settings.quarter, day),
        overrides_dir=overrides if overrides.is_dir() else None,
        column_maps_dir=config / "columns",
        rules_dir=config / "rules",
        sentences_path=_sentences(path, settings),
    )


def _sentences(path: Path, settings: Settings) -> Path | None:
    """The city's own sentences, read once here so that a fault in them ends no long run.

    A run keeps them beside its settings under one name.

    Raises
    ------
    SettingsError
        If they cannot be used.
    """
    if not settings.output.sentences:
        return None
    told, kept = path.parent / settings.output.sentences, path.parent / FILE
    chosen = kept if kept.is_file() and not told.is_file() else told
    translated(chosen)
    return chosen


def _parsed(path: Path) -> dict[str, Any]:
    if path.is_dir():
        raise SettingsError(
            where=str(path),
            found="a folder",
            expected="a settings file in TOML",
            remedy="Give CITY.toml; a run goes with --run.",
        )
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))  # some editors write a mark
    except FileNotFoundError:
        raise SettingsError(
            where=str(path),
            found="no such file",
            expected="a settings file in TOML",
            remedy="Name the file that holds the city's settings.",
        ) from None
    except (OSError, UnicodeDecodeError) as fault:
        raise SettingsError(
            where=str(path),
            found=f"a file that cannot be read ({fault})",
            expected="a text file in UTF-8",
            remedy="Save it as UTF-8 text.",
        ) from fault
    except tomllib.TOMLDecodeError as fault:
        raise SettingsError(
            where=str(path),
            found=f"text that is not TOML ({fault})",
            expected="TOML",
            remedy="Mend the line named.",
        ) from fault


def _validated(path: Path, raw: dict[str, Any]) -> Settings:
    try:
        return Settings.model_validate(raw)
    except ValidationError as fault:
        faults: list[PipelineError] = []
        for error in fault.errors():
            key = key_of(error["loc"])
            expected, remedy = expected_of(error)
            found = "nothing" if error["type"] == "missing" else repr(error["input"])
            faults.append(
                SettingsError(
                    where=f"{path}, key {key}", found=found, expected=expected, remedy=remedy
                )
            )
        raise ManyFaults(faults) from None


def _cross_check(path: Path, settings: Settings) -> None:
    faults: list[PipelineError] = []
    if not settings.inputs.trees and not (
        settings.inputs.osm and "trees" in settings.inputs.osm.take
    ):
        faults.append(
            SettingsError(
                where=f"{path}, key inputs.trees",
                found="no tree inventory",
                expected="at least one file of trees",
                remedy="Add [[inputs.trees]] with files = [...].",
            )
        )
    depots = {depot.name for depot in settings.depots}
    faults.extend(
        SettingsError(
            where=f"{path}, crew {crew.id}",
            found=f"depot {crew.depot!r}",
            expected=f"one of {sorted(depots) or 'the depots, of which there are none'}",
            remedy="Name a depot of [[depots]], or add it there.",
        )
        for crew in settings.crews
        if crew.depot not in depots
    )
    ids = [crew.id for crew in settings.crews]
    faults.extend(
        SettingsError(
            where=f"{path}, crew {name}",
            found="the same id twice",
            expected="an id for each crew",
            remedy="Give each crew its own id.",
        )
        for name in sorted({name for name in ids if ids.count(name) > 1})
    )
    if faults:
        raise ManyFaults(faults)


def _data_dir(path: Path, settings: Settings, given: Path | None) -> Path:
    if given is None and settings.data is None:
        raise SettingsError(
            where=f"{path}, key data",
            found="no data folder",
            expected="the folder that holds the input files",
            remedy="Give --data DIR, or set data = '...' in the file.",
        )
    folder = given if given is not None else path.parent / str(settings.data)
    if not folder.is_dir():
        raise SettingsError(
            where=f"data folder {folder}",
            found="no such folder",
            expected="the folder that holds the input files",
            remedy="Give --data DIR.",
        )
    return folder


def _quarter(path: Path, text: str | None, day: date) -> Quarter:
    if text is None:
        return Quarter.of(day).next
    try:
        first = Quarter.parse(text)
    except ValueError as fault:
        raise SettingsError(
            where=f"{path}, quarter",
            found=repr(text),
            expected=f"a quarter such as 2027Q1, of the years {FIRST_YEAR} to {LAST_YEAR}",
            remedy="Mend the value.",
        ) from fault
    if first.last_day < day:
        raise SettingsError(
            where=f"{path}, quarter",
            found=f"{first}, which is over: it ended on {first.last_day}, the run is of {day}",
            expected=f"{Quarter.of(day)} or a later quarter",
            remedy="Name a later quarter, or give --as-of a day on which this one was not over.",
        )
    return first
