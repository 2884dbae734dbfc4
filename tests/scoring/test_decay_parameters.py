"""From the tables of decay to the objects of the maths: every number counts, faults are told."""

from dataclasses import fields, replace

import numpy as np
import pytest

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library
from pipeline.scoring.decay.grid import Summary
from pipeline.scoring.decay.instruments import Instrument
from pipeline.scoring.decay.prior import CONDITIONS, HOSTS
from pipeline.scoring.decay.spread import LIFESPANS
from pipeline.scoring.decay.taxa import weights
from pipeline.scoring.decay.update import FungusRows, PartRows, summaries
from pipeline.scoring.parameters.decay import DecayParameters, decay_parameters
from pipeline.terms import Part
from tests.scoring.changed import Change, changed_library, changes_of, number_changes
from tests.scoring.decay.asking import NAN, PARAMETERS, entries_of, reading, readings_of

READ = (
    (Instrument.SIGN, NAN), (Instrument.VISUAL, 0.3), (Instrument.DRILL, 8),
    (Instrument.DRILL_NOTHING, NAN), (Instrument.CORE, 8), (Instrument.CORE_NOTHING, NAN),
    (Instrument.TOMOGRAM, 0.2), (Instrument.MALLET_HOLLOW, NAN), (Instrument.MALLET_SOUND, NAN),
    (Instrument.PROBE, 15), (Instrument.EXTENSIVE, NAN),
)  # fmt: skip


def world(parameters: DecayParameters) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Numbers of many parts, so made that every cell of the tables moves one of them."""
    law, taxa = parameters.law, parameters.taxa
    # A coarser table is quicker to make and as good for what changes.
    law = replace(law, spread=replace(law.spread, step=law.spread.step * 10))
    # All parts, conditions and hosts without evidence.
    plain = [(p, 45, c, h) for p in Part for c in range(len(CONDITIONS)) for h in range(len(HOSTS))]
    # All kinds of class on butts of all hosts, all kinds of roots, then each rot read each way.
    classes = [(Part.BUTT, 60, 1, h) for _ in range(law.spread.kinds) for h in range(len(HOSTS))]
    roots = [(Part.ROOTS, 60, 1, 1) for _ in range(law.roots.kinds)]
    read = [(Part.BUTT, 50, 1, 1) for _ in READ for _ in range(3)]
    around = [(Part.BUTT, 50, 1, 1)] * 3
    column = [(Part.BUTT, 50, 1, 1), (Part.STEM, 50, 1, 1)]
    rows = [*plain, *classes, *roots, *read, *around, *column]
    part, diameter, condition, host = (np.array(x) for x in zip(*rows, strict=True))
    parts = PartRows(part.astype(np.int8), diameter.astype(np.float64), condition, host)
    at = len(plain)
    entries = [(at + n, 0, n // len(HOSTS), 0, 1.0, NAN) for n in range(len(classes))]
    at += len(classes)
    entries += [(at + n, 0, n, 0, 1.0, 8.0) for n in range(len(roots))]
    at += len(roots)
    c = 2 * law.spread.classes.index("C")
    entries += [(at + n, 0, c, n % 3, 1.0, NAN) for n in range(len(read))]
    readings = [reading(*READ[n // 3], row=at + n) for n in range(len(read))]
    at += len(read)
    readings += [
        reading(Instrument.DRILL, 8, row=at + extra, azimuth=azimuth)
        for extra, azimuths in enumerate([(0, 120), (0, 120, 240), (0, 90, 180, 270)])
        for azimuth in azimuths
    ]
    at = len(rows) - len(column)
    entries += [(at + n, 1, c, 0, 1.0, NAN) for n in range(len(column))]
    readings.append(reading(Instrument.DRILL, 8, row=at))
    said = summaries(parts, entries_of(entries), readings_of(readings), law)
    flat = [getattr(said, field.name) for field in fields(Summary)]
    onto = np.eye(len(taxa.kind))
    shown = [
        weights(
            onto,
            np.full((len(onto), 4), on),
            np.full(len(onto), soil),
            np.ones(len(onto), bool),
            taxa,
        )
        for on, soil in ((True, True), (True, False), (False, False))
    ]
    codes = [np.bincount(w.body, w.weight * (3 * w.kind + w.rot + 1), len(onto)) for w in shown]
    hosts = parameters.hosts([None, "Acer saccharinum"], ["Fagus", "Acer"]).astype(np.float64)
    names = [float(v) for _, v in sorted({**parameters.species, **parameters.genera}.items())]
    return np.concatenate([*flat, *codes, hosts, names])


PLAIN = world(PARAMETERS)
AZIMUTHS = Library().table("decay_instruments").texts("quantity").index("azimuths")


@pytest.mark.parametrize(
    "change",
    [
        *number_changes("decay_prior", "value", factor=0.7),
        *number_changes("decay_spread", "rate_cm_per_year", factor=0.7),
        *number_changes("decay_spread", "rate_scatter_ln", factor=0.7),
        *number_changes("decay_spread", "significance_from", factor=1.5),
        *changes_of("decay_spread", {"rot_types": {"": "white", "white": "brown"}})[:5],
        *changes_of("decay_spread", {"lifespans": {"": "annual", "annual": "perennial"}})[:5],
        *number_changes("decay_years", "value", factor=0.7),
        *number_changes("decay_roots", "value", factor=0.7),
        *number_changes("decay_hidden", "hidden_share", factor=0.5),
        *changes_of("host_resistance", {"resistance": {"": "middle", "middle": "good"}}),
    ],
    ids=str,
)
def test_every_number_moves_a_result(change: Change) -> None:
    found = world(decay_parameters(changed_library(change)))
    assert found.shape != PLAIN.shape or np.abs(found - PLAIN).max() > 1e-7


@pytest.mark.parametrize("change", number_changes("decay_instruments", "value", factor=0.7))
def test_every_error_of_an_instrument_moves_a_result(change: Change) -> None:
    name, number, column, text = change
    # The number of azimuths is whole: 3 becomes 4.
    whole = "4" if number == AZIMUTHS else text
    found = world(decay_parameters(changed_library((name, number, column, whole))))
    assert np.abs(found - PLAIN).max() > 1e-7


@pytest.mark.parametrize(
    ("number", "text"), [(0, "100"), (1, "0.5"), (2, "20"), (3, "9"), (4, "40"), (5, "0.5"),
                         (6, "0.05"), (7, "0.4"), (8, "0.95")]
)  # fmt: skip
def test_every_choice_of_the_grid_moves_a_result(number: int, text: str) -> None:
    found = world(decay_parameters(changed_library(("decay_grid", number, "value", text))))
    assert np.abs(found - PLAIN).max() > 1e-7


@pytest.mark.parametrize(
    ("change", "where", "found"),
    [
        (("decay_prior", 2, "unit", "in"), "quantity centre_diameter", "38 in"),
        (("decay_prior", 2, "value", "-38"), "quantity centre_diameter", "-38"),
        (("decay_prior", 3, "of", "twig"), "column of", "'twig'"),
        (("decay_prior", 3, "of", "butt"), "decay_prior", "0 rows"),
        (("decay_prior", 0, "quantity", "slope"), "decay_prior", "0 rows"),
        (("decay_grid", 0, "value", "199.5"), "quantity cells", "199.5"),
        (("decay_instruments", 0, "value", "1.2"), "instrument sign", "1.2"),
        (("decay_instruments", 3, "value", ""), "decay_instruments", "an empty cell"),
        (("decay_hidden", 0, "instrument", "ear"), "column instrument", "'ear'"),
        (("decay_hidden", 0, "hidden_share", "1.5"), "instrument drill", "1.5"),
        (("decay_years", 10, "unit", "mm"), "living_shell", "1.5 mm"),
        (("decay_years", 5, "unit", "months"), "quantity lag", "10 months"),
        (("decay_roots", 0, "value", "8"), "of 1", "8"),
        (("decay_spread", 0, "rate_cm_per_year", "0"), "rate_cm_per_year", "0"),
        (("decay_spread", 5, "class", "X"), "column class", "'U'"),
        (("decay_spread", 2, "rot_types", "brown|black"), "column rot_types", "'black'"),
        (("host_resistance", 0, "resistance", "best"), "column resistance", "'best'"),
    ],
)
def test_a_table_at_fault_is_refused_with_its_row(change: Change, where: str, found: str) -> None:
    with pytest.raises(PublishedValueError) as caught:
        decay_parameters(changed_library(change))
    assert where in caught.value.where
    assert found in caught.value.found


def test_hosts_by_species_then_genus_then_middle() -> None:
    species = ["Acer saccharinum", "ACER saccharum", "Acer platanoides", None, "Fagus sylvatica"]
    genus = ["Acer", "Acer", "Acer", "Carpinus", "Fagus"]
    found = [HOSTS[n] for n in PARAMETERS.hosts(species, genus)]
    assert found == ["poor", "good", "middle", "good", "poor"]
    assert PARAMETERS.hosts([None], [None]).tolist() == [HOSTS.index("middle")]


def test_rows_of_a_fungus_can_be_made_of_weights() -> None:
    posterior = np.zeros((1, len(PARAMETERS.taxa.kind)))
    posterior[0, -1] = 1.0
    sits = np.array([[False, True, False, False]])
    told = weights(posterior, sits, np.array([False]), np.array([True]), PARAMETERS.taxa)
    rows = FungusRows(
        np.zeros(len(told.body), np.int64), told.body, told.kind, told.rot, told.weight,
        np.full(len(told.body), NAN),
    )  # fmt: skip
    parts = PartRows(np.array([1], np.int8), np.array([55.0]), np.array([1]), np.array([1]))
    said = summaries(parts, rows, readings_of([]), PARAMETERS.law)
    # Worked out apart from this code: unnamed, 55 cm, no layers: .0641 serious.
    assert said.serious[0] == pytest.approx(0.0641, rel=0.01)
    assert told.kind[0] % len(LIFESPANS) == LIFESPANS.index("perennial")
