"""Arrow columns to arrays and back."""

from datetime import date

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.scoring.assembly import columns


@given(st.lists(st.one_of(st.none(), st.sampled_from(["a", "b", "c"])), max_size=20))
@settings(deadline=None)
def test_labels_there_and_back(told: list[str | None]) -> None:
    names = ["b", "c", "a"]
    table = pa.table({"x": pa.array(told, pa.string())})
    places = columns.codes(table, "x", names)
    assert columns.labels(places, names).to_pylist() == told


def test_a_label_of_another_list_is_none_of_it() -> None:
    table = pa.table({"x": pa.array(["z", None, "a"]).dictionary_encode()})
    assert columns.codes(table, "x", ["a"]).tolist() == [-1, -1, 0]


@given(st.lists(st.one_of(st.none(), st.dates(date(1970, 1, 2), date(2999, 1, 1))), max_size=9))
@settings(deadline=None)
def test_days_there_and_back(told: list[date | None]) -> None:
    table = pa.table({"x": pa.array(told, pa.date32())})
    numbers = columns.days(table, "x")
    assert columns.dates(numbers).to_pylist() == told
    texts = [columns.day_text(int(n)) for n in numbers]
    assert texts == [None if day is None else day.isoformat() for day in told]


def test_empty_numbers_are_nan_and_empty_keys_are_none() -> None:
    table = pa.table({"x": pa.array([1.5, None]), "k": pa.array([4, None], pa.int64())})
    assert columns.numbers(table, "x")[0] == 1.5
    assert np.isnan(columns.numbers(table, "x")[1])
    assert columns.whole(table, "k").tolist() == [4, -1]


@pytest.mark.parametrize(
    ("keys", "among", "places"),
    [([5, 1, 9], [1, 5], [1, 0, -1]), ([1], [], [-1]), ([], [1], [])],
)
def test_places_in_a_sorted_list(keys: list[int], among: list[int], places: list[int]) -> None:
    got = columns.place_of(np.array(keys, np.int64), np.array(among, np.int64))
    assert got.tolist() == places


def test_the_latest_day_at_each_place() -> None:
    got = columns.latest(np.array([0, 0, 2, -1]), np.array([3, 7, -1, 99]), 3)
    assert got.tolist() == [7, columns.NO_DAY, columns.NO_DAY]
