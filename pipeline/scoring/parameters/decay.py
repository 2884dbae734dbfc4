"""Published tables of decay as the objects of `scoring.decay`, and the class of a host by its name.

A table with a row missing, one too many, a number out of its range or another unit is refused with
the row.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library, PublishedTable
from pipeline.scoring.decay.grid import Grid
from pipeline.scoring.decay.instruments import ROTS, Instrument, InstrumentParameters
from pipeline.scoring.decay.prior import CONDITIONS, HOSTS, PriorParameters
from pipeline.scoring.decay.roots import RootParameters
from pipeline.scoring.decay.spread import LIFESPANS, ClassRules, SpreadParameters, class_of
from pipeline.scoring.decay.taxa import TaxonDecay
from pipeline.scoring.decay.update import DecayLaw
from pipeline.scoring.parameters.read import flags, place, places, several
from pipeline.terms import Part, word
from pipeline.units import Floats, Ints

ROT_TYPES = ("none", "white", "brown", "soft")
PART_OF_MODE = {"root_plate": "roots", "brittle_butt": "butt", "stem": "stem", "branch": "branch"}
# Readings of one instrument that its row of decay_hidden stands for.
READINGS_OF = {
    "drill": (Instrument.DRILL, Instrument.DRILL_NOTHING),
    "core": (Instrument.CORE, Instrument.CORE_NOTHING),
    "mallet": (Instrument.MALLET_HOLLOW, Instrument.MALLET_SOUND),
    "tomogram": (Instrument.TOMOGRAM,),
    "probe": (Instrument.PROBE,),
}
UNNAMED = "U"
_UNITS = {
    "decay_prior": {"centre_diameter": "cm"},
    "decay_years": {"reference_diameter": "cm", "living_shell": "cm", "lag": "years"},
}


@dataclass(frozen=True)
class DecayParameters:
    """All that decay needs.

    Parameters
    ----------
    law : for `decay.update`.
    taxa : in the order of the catalogue, 'unlisted' last.
    species, genera : class of hosts by names in small letters, places in prior.HOSTS.
    """

    law: DecayLaw
    taxa: TaxonDecay
    species: Mapping[str, int]
    genera: Mapping[str, int]

    def hosts(self, species: Sequence[str | None], genus: Sequence[str | None]) -> Ints:
        """Class of each tree by species, else by genus, else middle, shape (trees,)."""
        middle = HOSTS.index("middle")
        pairs = list(zip(species, genus, strict=True))
        known = {pair: self._host(*pair, other=middle) for pair in set(pairs)}
        return np.array([known[pair] for pair in pairs], dtype=np.int64)

    def _host(self, species: str | None, genus: str | None, *, other: int) -> int:
        by_genus = self.genera.get((genus or "").casefold(), other)
        return self.species.get((species or "").casefold(), by_genus)


def decay_parameters(library: Library) -> DecayParameters:
    """Everything from the library.

    Raises
    ------
    PublishedValueError
        If a table does not hold what decay needs.
    """
    spread = library.table("decay_spread", key=("class",))
    years = library.table("decay_years", key=("quantity", "of"))
    names = library.table("host_resistance", key=("name",))
    grid = library.table("decay_grid", key=("quantity",))
    prior = _prior(library.table("decay_prior", key=("quantity", "of")))
    law = DecayLaw(
        grid=Grid(
            cells=_count(grid, quantity="cells"),
            serious_above=_share(grid, quantity="serious_above"),
            power=prior.a,
        ),
        levels=(
            _share(grid, quantity="quantile_low"),
            _share(grid, quantity="quantile_middle"),
            _share(grid, quantity="quantile_high"),
        ),
        together=_share(years, quantity="weight", of="same_column"),
        prior=prior,
        spread=_spread(spread, years, grid),
        roots=_roots(library.table("decay_roots", key=("quantity", "of"))),
        instruments=_instruments(
            library.table("decay_instruments", key=("instrument", "quantity")),
            library.table("decay_hidden", key=("instrument", "rot")),
            grid,
        ),
    )
    kept = dict(zip(names.texts("name"), places(names, "resistance", HOSTS), strict=True))
    ranks = dict(zip(names.texts("name"), names.texts("rank"), strict=True))
    return DecayParameters(
        law=law,
        taxa=_taxa(library.table("taxa"), spread, years, law),
        species={n.casefold(): int(h) for n, h in kept.items() if ranks[n] == "species"},
        genera={n.casefold(): int(h) for n, h in kept.items() if ranks[n] == "genus"},
    )


def class_rules(t: PublishedTable) -> ClassRules:
    """Rules of the classes, from decay_spread.

    Raises
    ------
    PublishedValueError
        If a cell holds no rot or life span.
    """
    rots, spans = t.texts("rot_types"), t.texts("lifespans")
    return ClassRules(
        significance_from=t.numbers("significance_from"),
        significance_to=t.numbers("significance_to"),
        rots=_told([several(t, "rot_types", x, ROT_TYPES) for x in rots], len(ROT_TYPES)),
        lifespans=_told([several(t, "lifespans", x, LIFESPANS) for x in spans], len(LIFESPANS)),
    )


def _told(
    which: Sequence[tuple[int, ...]], width: int
) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
    out = np.zeros((len(which), width), dtype=np.bool_)
    for row, at in enumerate(which):
        out[row, list(at)] = True
    return out


def _prior(t: PublishedTable) -> PriorParameters:
    return PriorParameters(
        intercept=t.number("value", quantity="intercept"),
        slope=_positive(t, quantity="slope"),
        centre_cm=_positive(t, quantity="centre_diameter"),
        part=_each(t, "part", [word(part) for part in Part]),
        condition=_each(t, "condition", CONDITIONS),
        a=_positive(t, quantity="beta_a"),
        b=_positive(t, quantity="beta_b"),
        host=_each(t, "host", HOSTS),
    )


def _spread(t: PublishedTable, years: PublishedTable, grid: PublishedTable) -> SpreadParameters:
    classes = t.texts("class")
    place(t, "class", UNNAMED, classes)
    return SpreadParameters(
        classes=classes,
        unnamed=classes.index(UNNAMED),
        rate=_above_none(t, "rate_cm_per_year"),
        scatter=_above_none(t, "rate_scatter_ln"),
        host=_each(years, "host", HOSTS),
        reference_cm=_positive(years, quantity="reference_diameter"),
        exponent=years.number("value", quantity="diameter_exponent"),
        lag_years=_positive(years, quantity="lag"),
        lag_scatter=_positive(years, quantity="lag_scatter"),
        lag_points=_count(grid, quantity="lag_points"),
        fruiting_years=_each(years, "fruiting", LIFESPANS),
        fruiting_scatter=_positive(years, quantity="fruiting_scatter"),
        fruiting_points=_count(grid, quantity="fruiting_points"),
        shell_cm=_positive(years, quantity="living_shell"),
        step=_positive(grid, quantity="table_step"),
    )


def _roots(t: PublishedTable) -> RootParameters:
    kinds = ("1", "2", "3", "4", "5", "unnamed")
    return RootParameters(
        mean=np.array([_share(t, quantity="mean", of=kind) for kind in kinds]),
        concentration=_positive(t, quantity="concentration"),
        slope=t.number("value", quantity="slope"),
        free_years=t.number("value", quantity="free_years"),
    )


def _instruments(
    t: PublishedTable, hidden: PublishedTable, grid: PublishedTable
) -> InstrumentParameters:
    def share(instrument: str, quantity: str) -> float:
        return _share(t, instrument=instrument, quantity=quantity)

    def size(instrument: str, quantity: str) -> float:
        return _positive(t, instrument=instrument, quantity=quantity)

    return InstrumentParameters(
        sign_serious=share("sign", "serious"),
        sign_else=share("sign", "else"),
        visual_error=share("visual", "error"),
        extensive_false=share("extensive", "false"),
        extensive_at=share("extensive", "at"),
        extensive_error=share("extensive", "error"),
        shell_freedom=size("shell", "freedom"),
        shell_scale_cm=size("shell", "scale"),
        off_centre=share("shell", "off_centre"),
        azimuths=_count(t, instrument="shell", quantity="azimuths"),
        nothing_floor=share("shell", "nothing_floor"),
        nothing_drill=size("drill", "nothing_k"),
        nothing_core=size("core", "nothing_k"),
        tomogram_error=share("tomogram", "error"),
        tomogram_bias=share("tomogram", "bias"),
        hollow_least=share("mallet", "hollow_least"),
        hollow_rise=share("mallet", "hollow_rise"),
        hollow_at=share("mallet", "hollow_at"),
        hollow_width=share("mallet", "hollow_width"),
        probe_error=share("probe", "error"),
        probe_reach=size("probe", "reach"),
        probe_points=_count(grid, quantity="probe_points"),
        probe_floor=share("probe", "floor"),
        hidden=_hidden(hidden),
    )


def _hidden(t: PublishedTable) -> Floats:
    """Shares by reading and rot; 0 for what no row speaks of."""
    out = np.zeros((len(Instrument), len(ROTS)))
    for row in t.rows:
        at = place(t, "instrument", row["instrument"], tuple(READINGS_OF))
        share = _share(t, column="hidden_share", instrument=row["instrument"], rot=row["rot"])
        for reading in READINGS_OF[tuple(READINGS_OF)[at]]:
            out[reading, place(t, "rot", row["rot"], ROTS)] = share
    return out


def _taxa(
    t: PublishedTable, spread: PublishedTable, years: PublishedTable, law: DecayLaw
) -> TaxonDecay:
    """What taxa do; 'unlisted', last, is the unnamed class wherever it sits."""
    significance = t.numbers("significance").astype(np.int64)
    rot = places(t, "rot_type", ROT_TYPES)
    lasts = places(t, "fruit_lifespan", LIFESPANS)
    letter = class_of(significance, rot.astype(np.int8), lasts, class_rules(spread))
    known = letter >= 0
    modes = [
        several(t, "failure_modes", _bars(x), tuple(PART_OF_MODE)) for x in t.texts("failure_modes")
    ]
    fails = _told(modes, len(PART_OF_MODE))
    attacks = np.stack([flags(t, f"attacks_{word(part)}") for part in Part], axis=1)
    unnamed = len(LIFESPANS) * law.spread.unnamed + LIFESPANS.index("perennial")
    return TaxonDecay(
        kind=np.append(np.where(known, len(LIFESPANS) * letter + lasts, -1), unnamed),
        root_kind=np.append(np.where(known, significance - 1, -1), law.roots.unnamed),
        rot=np.append(np.maximum(rot - 1, 0), 0),
        attacks=np.vstack([attacks, np.ones((1, len(Part)), dtype=np.bool_)]),
        fails=np.vstack([fails, np.zeros((1, len(Part)), dtype=np.bool_)]),
        elsewhere=_share(years, quantity="weight", of="elsewhere"),
        over_soil=_share(years, quantity="weight", of="over_soil"),
    )


def _bars(modes: str) -> str:
    return "" if modes == "none" else modes.replace(";", "|")


def _each(t: PublishedTable, quantity: str, names: Sequence[str]) -> Floats:
    """A positive number for each name, and no other row of that quantity."""
    rows = [row["of"] for row in t.rows if row["quantity"] == quantity]
    for name in rows:
        place(t, "of", name, tuple(names))
    return np.array([_positive(t, quantity=quantity, of=name) for name in names])


def _positive(t: PublishedTable, *, column: str = "value", **key: str) -> float:
    value = t.number(column, **key)
    expected = _UNITS.get(t.name, {}).get(key.get("quantity", ""))
    unit = t.row(**key).get("unit", expected)
    if not value > 0 or (expected and unit != expected):
        _refuse(t, key, f"{value:g} {unit or ''}".strip(), f"above 0 {expected or ''}".strip())
    return value


def _share(t: PublishedTable, *, column: str = "value", **key: str) -> float:
    value = t.number(column, **key)
    if not 0 <= value <= 1:
        _refuse(t, key, f"{value:g}", "a share of 0 to 1")
    return value


def _count(t: PublishedTable, **key: str) -> int:
    value = t.number("value", **key)
    if value < 1 or value != int(value):
        _refuse(t, key, f"{value:g}", "a whole number from 1")
    return int(value)


def _above_none(t: PublishedTable, column: str) -> Floats:
    values = t.numbers(column)
    if not (values > 0).all():
        _refuse(t, {"column": column}, ", ".join(f"{v:g}" for v in values), "numbers above 0")
    return values


def _refuse(t: PublishedTable, key: Mapping[str, str], found: str, expected: str) -> None:
    """Refuse a number.

    Raises
    ------
    PublishedValueError
        Always.
    """
    raise PublishedValueError(
        where=f"published table {t.name}, {', '.join(f'{k} {v}' for k, v in key.items())}",
        found=found,
        expected=expected,
        remedy="Mend the table or the override.",
    )
