"""What speaks of decay, by tree and part: fruiting bodies, signs that an eye saw, readings.

Rows are the four parts of each tree with evidence: row = 4 x place of the tree + part.
A remark of the inventory speaks of a part only where nothing else does.
"""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.bodies import Sightings, told_parts
from pipeline.scoring.assembly.columns import codes, days, latest, numbers, place_of, whole
from pipeline.scoring.assembly.identifications import running_years
from pipeline.scoring.assembly.looks import Looks
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.decay.instruments import Instrument, Readings
from pipeline.scoring.decay.strength import shell_of_reading
from pipeline.scoring.decay.taxa import TaxonDecay, weights
from pipeline.scoring.decay.update import FungusRows
from pipeline.scoring.failure.fungus import ATTACHMENTS
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.failure import DEFECTS
from pipeline.tables import inputs
from pipeline.terms import Part
from pipeline.units import Flags, Floats, Ints

PARTS = len(inputs.PARTS)
# Hollow and cavity: signs of which it is published how much likelier serious decay is behind them.
# A wound counts where decay was seen with it.
SIGNS = ("decay", "cavity")
_SOUND, _HOLLOW = inputs.SOUNDING.index("sound"), inputs.SOUNDING.index("hollow")
_NOTHING = {Instrument.DRILL: Instrument.DRILL_NOTHING, Instrument.CORE: Instrument.CORE_NOTHING}
_NO_DEVICE = 0
# A shell that misses the centre by less than this was sound as far as the needle went [share].
_THROUGH = 1e-9


@dataclass(frozen=True)
class WoodEvidence:
    """What speaks of the decay of parts.

    Parameters
    ----------
    fungus, readings : entries by row, signs among the readings.
    measured, seen : rows that an instrument measured, and of which an eye saw a sign, (rows,).
    heard : rows of which nothing but remarks of the inventory speaks, (rows,).
    cut, rotten : share of the roots that an inspector saw lost, and decayed, 0 if none, (rows,).
    opening : share of the girth that a cavity opens, 0 if none, (rows,).
    """

    fungus: FungusRows
    readings: Readings
    measured: Flags
    seen: Flags
    heard: Flags
    cut: Floats
    rotten: Floats
    opening: Floats


def wood_evidence(
    keys: Ints,
    sightings: Sightings,
    looks: Looks,
    readings: pa.Table,
    trees: Trees,
    parameters: Parameters,
) -> WoodEvidence:
    """All that speaks of the decay of the trees `keys`, which are sorted."""
    count = len(keys) * PARTS
    fungus, hearsay = _fungus(keys, sightings, parameters)
    read = _readings(keys, readings, trees)
    mallet = (Instrument.MALLET_HOLLOW, Instrument.MALLET_SOUND)
    measured = _rows(count, read.row[~np.isin(read.instrument, mallet)])
    signs, sign_heard = _signs(keys, looks, trees, measured)
    firm = _rows(count, fungus.row[~hearsay], signs.row[~sign_heard], read.row)
    fungus = fungus.take(np.flatnonzero(~hearsay | ~firm[fungus.row]))
    signs = signs.take(np.flatnonzero(~sign_heard | ~firm[signs.row]))
    joined = _both(signs, read)
    heard = _rows(count, fungus.row, joined.row) & ~firm
    cut, rotten, opening = _extents(keys, looks)
    return WoodEvidence(
        fungus=fungus,
        readings=joined,
        measured=measured,
        seen=_rows(count, signs.row, read.row),
        heard=heard,
        cut=cut,
        rotten=rotten,
        opening=opening,
    )


def _rows(count: int, *rows: Ints) -> Flags:
    found = np.zeros(count, np.bool_)
    for some in rows:
        found[some] = True
    return found


def _both(one: Readings, other: Readings) -> Readings:
    return Readings(
        *(
            np.concatenate([getattr(one, name), getattr(other, name)])
            for name in Readings.__dataclass_fields__
        )
    )


def _fungus(keys: Ints, sightings: Sightings, parameters: Parameters) -> tuple[FungusRows, Flags]:
    """Grids that bodies bring, and which entries rest on remarks."""
    taxa = parameters.decay.taxa
    spoken = np.flatnonzero(sightings.speaks)
    bodies, first, group = np.unique(
        sightings.fruiting.body[spoken], return_index=True, return_inverse=True
    )
    group = group.reshape(-1)
    count = len(bodies)
    attachment = codes(sightings.table, "attachment", ATTACHMENTS)[spoken]
    sits_on, placed = told_parts(sightings.table, parameters.failure)
    soil = attachment == ATTACHMENTS.index("soil_over_root")
    on_roots = np.arange(PARTS) == Part.ROOTS
    # Fruiting on soil over roots is a place of its own, whatever else is told.
    here = np.where(soil[:, None], on_roots, sits_on[spoken])
    sits = np.zeros((count, PARTS), np.bool_)
    np.logical_or.at(sits, group, here)
    rooted = np.zeros(count, np.bool_)
    rooted[group[~soil & here[:, Part.ROOTS]]] = True
    over_soil = np.zeros(count, np.bool_)
    over_soil[group[soil]] = True
    known = np.zeros(count, np.bool_)
    known[group[(attachment != ATTACHMENTS.index("unknown")) | placed[spoken]]] = True
    own = np.ones(count, np.bool_)
    own[group[~sightings.hearsay[spoken]]] = False
    # A body on soil may be on another root: it speaks more softly of every part.
    buried = np.where(over_soil & ~rooted, taxa.over_soil, 1.0)
    share = sightings.share[spoken[first]] * np.where(known, 1.0, taxa.elsewhere) * buried
    posterior = _posterior(sightings, bodies, taxa) * share[:, None]
    no = np.zeros(count, np.bool_)
    told = weights(posterior, sits, no, ~no, taxa)
    layers = np.full(count, np.nan)
    counted = numbers(sightings.table, "layers")[spoken]
    np.fmax.at(layers, group, np.where(counted >= 1, counted, np.nan))
    seen_years = running_years(sightings)[bodies].astype(np.float64)
    years = np.where(
        told.part == Part.ROOTS, np.fmax(layers, seen_years)[told.body], layers[told.body]
    )
    place = place_of(sightings.tree[spoken[first]], keys)
    entries = FungusRows(
        row=place[told.body] * PARTS + told.part,
        body=told.body,
        kind=told.kind,
        rot=told.rot,
        weight=told.weight,
        years=years,
    )
    return entries, own[told.body]


def _posterior(sightings: Sightings, bodies: Ints, taxa: TaxonDecay) -> Floats:
    """Probability of each taxon for bodies, shape (bodies, taxa).

    Taxa that are too improbable to be listed stand with the listed ones, in their proportions. A
    body of which nothing is heard but that it is there is one without a name, whatever its host
    leads to expect.
    """
    found = sightings.fruiting.found
    unlisted = len(taxa.kind) - 1
    units, at = np.unique(sightings.fruiting.unit[bodies], return_inverse=True)
    place = place_of(found.listed_unit, units)
    kept = place >= 0
    posterior = np.zeros((len(units), unlisted + 1))
    np.add.at(posterior, (place[kept], found.listed_taxon[kept]), found.listed[kept])
    posterior[:, unlisted] = found.unlisted[units]
    loud = found.heard
    nameless = (loud.highest[units] == 0) & loud.unnamed[units].all(axis=1)
    posterior[nameless] = 0.0
    posterior[nameless, unlisted] = 1.0
    total = posterior.sum(axis=1, keepdims=True)
    posterior = np.divide(posterior, total, out=posterior, where=total > 0)
    return np.asarray(posterior[at.reshape(-1)])


def _signs(keys: Ints, looks: Looks, trees: Trees, measured: Flags) -> tuple[Readings, Flags]:
    """Signs of decay as readings, and which rest on remarks.

    Extensive decay is more than a sign, but for roots, of which nobody sees a section, and where an
    instrument has measured what the eye only took for much.
    """
    rows = looks.defects
    sign = np.isin(rows.defect, [DEFECTS.index(name) for name in SIGNS]) | rows.with_decay
    at = np.flatnonzero(rows.latest & sign)
    place = place_of(rows.tree[at], keys)
    at, place = at[place >= 0], place[place >= 0]
    blank = np.full(len(at), np.nan)
    extensive = rows.with_decay[at] & (rows.part[at] != Part.ROOTS)
    extensive &= ~measured[place * PARTS + rows.part[at]]
    found = Readings(
        row=place * PARTS + rows.part[at],
        instrument=np.where(extensive, Instrument.EXTENSIVE, Instrument.SIGN).astype(np.int8),
        value=blank,
        section_cm=trees.dbh_used[rows.tree[at]],
        azimuth_deg=blank,
        device=np.full(len(at), _NO_DEVICE, np.int64),
    )
    return found, looks.hearsay[at]


def _extents(keys: Ints, looks: Looks) -> tuple[Floats, Floats, Floats]:
    """Share of the roots lost, of those decayed, and of the girth open, as told; (rows,)."""
    rows = looks.defects
    told = rows.latest & ~looks.hearsay & (rows.extent > 0)
    roots = rows.part == Part.ROOTS
    kinds = (("root_damage", roots), ("decay", roots), ("cavity", ~roots))
    found = np.zeros((len(kinds), len(keys) * PARTS))
    for into, (name, where) in zip(found, kinds, strict=True):
        at = np.flatnonzero(told & where & (rows.defect == DEFECTS.index(name)))
        place = place_of(rows.tree[at], keys)
        kept = place >= 0
        np.maximum.at(into, place[kept] * PARTS + rows.part[at[kept]], rows.extent[at[kept]])
    return found[0], found[1], found[2]


def _readings(keys: Ints, table: pa.Table, trees: Trees) -> Readings:
    """The newest readings of each kind on each part; what one reading cannot tell is left out.

    A reading of wood says nothing of the root plate's circumference, so those of roots stay out,
    but for the mallet. A pull test tells no decay.
    """
    tree, part = whole(table, "tree_key"), codes(table, "part", inputs.PARTS)
    place, kind = place_of(tree, keys), codes(table, "reading", inputs.READINGS)
    day, row = days(table, "measured_on"), place * PARTS + part
    result = codes(table, "reading_result", inputs.SOUNDING)
    told = numbers(table, "section_diameter_cm")
    section = np.where(told > 0, told, trees.dbh[tree] if len(tree) else told)
    known = section > 0
    shell = shell_of_reading(
        np.where(known, section, 1.0),
        shell=numbers(table, "shell_cm"),
        hollow_diameter=numbers(table, "hollow_diameter_cm"),
        decayed_area=numbers(table, "decayed_share"),
    )
    shell = np.where(known, shell, np.nan)
    instrument = _instrument(kind, result, shell, section, part == Part.ROOTS)
    value = _value(instrument, shell, section)
    good = (instrument >= 0) & (place >= 0)
    group = row * len(inputs.READINGS) + kind
    size = (int(group.max(initial=0)) + 1) if len(group) else 0
    newest = latest(np.where(good, group, -1), day, size)
    kept = np.flatnonzero(good)
    kept = kept[day[kept] == newest[group[kept]]]
    return Readings(
        row=row[kept],
        instrument=instrument[kept].astype(np.int8),
        value=value[kept],
        section_cm=section[kept],
        azimuth_deg=numbers(table, "azimuth_deg")[kept],
        device=np.full(len(kept), _NO_DEVICE, np.int64),
    )


def _instrument(kind: Ints, result: Ints, shell: Floats, section: Floats, roots: Flags) -> Ints:
    """`Instrument` of each reading, -1 where it tells nothing of decay."""
    found = np.full(len(kind), -1, np.int64)
    has = ~np.isnan(shell) & ~roots
    through = has & (shell >= section / 2.0 * (1.0 - _THROUGH))
    through |= ~roots & np.isnan(shell) & (result == _SOUND)
    for name, whole_kind in (("drill", Instrument.DRILL), ("core", Instrument.CORE)):
        mine = kind == inputs.READINGS.index(name)
        found[mine & has] = whole_kind
        found[mine & through] = _NOTHING[whole_kind]
    found[(kind == inputs.READINGS.index("tomogram")) & has] = Instrument.TOMOGRAM
    found[(kind == inputs.READINGS.index("probe")) & has] = Instrument.PROBE
    mallet = kind == inputs.READINGS.index("sounding")
    found[mallet & (result == _HOLLOW)] = Instrument.MALLET_HOLLOW
    found[mallet & (result == _SOUND)] = Instrument.MALLET_SOUND
    return found


def _value(instrument: Ints, shell: Floats, section: Floats) -> Floats:
    """The value that each instrument's law takes."""
    hollow = np.maximum(section - 2.0 * shell, 0.0)
    area = np.clip((hollow / section) ** 2, 0.0, 1.0)
    value = np.where(np.isin(instrument, (Instrument.DRILL, Instrument.CORE)), shell, np.nan)
    value = np.where(instrument == Instrument.TOMOGRAM, area, value)
    return np.where(instrument == Instrument.PROBE, hollow, value)
