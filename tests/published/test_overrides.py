"""A file of overrides that no table reads is refused, not passed over."""

from pathlib import Path

import pytest

from pipeline.errors import ManyFaults, PublishedValueError
from pipeline.published.locate import config_dir
from pipeline.published.overrides import refuse_unknown
from pipeline.published.table import Library


def _overrides(folder: Path, *names: str) -> Path:
    for name in names:
        (folder / name).write_text("", encoding="utf-8")
    return folder


def test_names_of_tables_and_notes_are_taken(tmp_path: Path) -> None:
    folder = _overrides(tmp_path, "deadlines.csv", "hours.csv", "README.md", ".keep")
    refuse_unknown(folder, config_dir())
    assert Library(overrides=folder).used == ()


@pytest.mark.parametrize(
    ("name", "nearest"),
    [
        ("deadline.csv", "deadlines.csv"),
        ("crew_type.csv", "crew_types.csv"),
        ("deadlines.CSV", "deadlines.csv"),
        ("hours.xlsx", "hours.csv"),
    ],
)
def test_a_misspelt_table_is_refused_with_the_nearest(
    tmp_path: Path, name: str, nearest: str
) -> None:
    with pytest.raises(PublishedValueError) as caught:
        Library(overrides=_overrides(tmp_path, name))
    assert caught.value.where.endswith(name)
    assert f"{nearest} is the nearest" in caught.value.expected


def test_all_are_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(ManyFaults) as caught:
        Library(overrides=_overrides(tmp_path, "nonsense.csv", "deadlins.csv"))
    assert [Path(fault.where).name for fault in caught.value.faults] == [
        "deadlins.csv", "nonsense.csv",
    ]  # fmt: skip
