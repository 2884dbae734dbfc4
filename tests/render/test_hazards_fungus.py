"""A crew reads probabilities, not names: what a fungus means for climbing and for brittle wood."""

from pathlib import Path

import pytest

from pipeline.published.sentences import english
from pipeline.render import work_rows
from pipeline.render.context import RenderContext
from pipeline.render.hazards import Hazard, Hazards
from pipeline.render.hazards_fungus import FungusOfTree, Limits, doubt_words, serious_words
from tests.render import sheet_world
from tests.render.map_world import sighted_trees
from tests.render.sheet_world import change

LEAST = Limits(serious=0.2, rot_certain=0.9)


def _told(run: RenderContext) -> dict[int, list[Hazard]]:
    stops = run.table("planning.stops")
    jobs = work_rows.by_key(run, stops["job_key"]).append_column("day", stops["day"])
    return dict(zip(jobs["tree_key"].to_pylist(), Hazards(run).of(jobs), strict=True))


def _changed(folder: Path, **columns: object) -> RenderContext:
    """The run of sheets where all that is found of each sighting is the same."""
    run = sheet_world.context(folder)
    count = run.table("scoring.identifications").num_rows
    change(run.store, "scoring.identifications",
           **{name: [value] * count for name, value in columns.items()})  # fmt: skip
    return RenderContext(run.settings, run.store, run.library, run.out, run.sentence)


def _sighted(told: dict[int, list[Hazard]]) -> list[list[Hazard]]:
    keys = {int(key) for key in sighted_trees(240) if key >= 0}
    found = [hazards for key, hazards in told.items() if key in keys]
    assert found
    return found


def test_a_probable_serious_fungus_forbids_climbing_with_its_probability(tmp_path: Path) -> None:
    run = _changed(tmp_path, probability_serious=0.72, decay_evidence="yes")
    for hazards in _sighted(_told(run)):
        text = next(h.text for h in hazards if h.mark == "no_climb")
        assert "Serious fungus at work: about 7 in 10." in text
        assert text.startswith("Do not stand under the crown")


def test_what_was_measured_is_told_and_the_rating_decides_on_climbing(tmp_path: Path) -> None:
    run = _changed(tmp_path, probability_serious=0.72, decay_evidence="yes")
    count = run.table("scoring.decay").num_rows
    change(run.store, "scoring.decay", basis=["measured"] * count)
    jobs = run.table("planning.jobs")
    change(run.store, "planning.jobs", no_climb=[False] * jobs.num_rows)
    fresh = RenderContext(run.settings, run.store, run.library, run.out, run.sentence)
    for hazards in _sighted(_told(fresh)):
        assert "no_climb" not in {h.mark for h in hazards}
        text = next(h.text for h in hazards if h.mark == "fungus")
        assert "about 7 in 10" in text
        assert "look again before anyone climbs" in text


@pytest.mark.parametrize("evidence", ["no", "yes"])
def test_a_fungus_on_the_ground_or_an_improbable_one_forbids_nothing(
    tmp_path: Path, evidence: str
) -> None:
    share = 0.95 if evidence == "no" else 0.1
    run = _changed(tmp_path, probability_serious=share, decay_evidence=evidence)
    for hazards in _sighted(_told(run)):
        assert not any("Serious fungus" in h.text for h in hazards)


def test_brittle_wood_is_told_with_the_probability_of_the_rot(tmp_path: Path) -> None:
    run = _changed(tmp_path, rot_type="brown", probability_rot=0.6, decay_evidence="yes")
    count = run.table("scoring.decay").num_rows
    change(run.store, "scoring.decay", rot=[2] * count)
    fresh = RenderContext(run.settings, run.store, run.library, run.out, run.sentence)
    for hazards in _sighted(_told(fresh)):
        [brittle] = [h for h in hazards if h.mark == "brittle"]
        assert brittle.head == "Wood may be brittle."
        assert brittle.text == "Brown rot of the butt (about 6 in 10): it breaks without warning."


def test_no_name_of_a_fungus_is_in_a_hazard_line(tmp_path: Path) -> None:
    run = sheet_world.context(tmp_path)
    names = [row["accepted_name"] for row in run.library.table("taxa", key=("taxon_id",)).rows]
    text = " ".join(h.text + h.head for hazards in _told(run).values() for h in hazards)
    assert not any(name in text for name in names)


def test_white_rot_that_is_not_sure_may_be_brittle() -> None:
    unsure, sure = FungusOfTree(rots={"white": 0.6}), FungusOfTree(rots={"white": 0.95})
    assert "about 6 in 10" in doubt_words(unsure, LEAST, english())
    assert doubt_words(sure, LEAST, english()) == ""
    assert doubt_words(FungusOfTree(rots={"white": 0.6, "brown": 0.9}), LEAST, english()) == ""


def test_the_limit_decides_from_when_a_serious_fungus_is_told() -> None:
    assert serious_words(FungusOfTree(serious=0.2), LEAST, english()) != ""
    assert serious_words(FungusOfTree(serious=0.19), LEAST, english()) == ""
    assert serious_words(None, LEAST, english()) == ""
