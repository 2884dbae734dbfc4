"""Published tables of the catalogue and of observers, as the objects of the key."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library, PublishedTable
from pipeline.scoring.identification.evidence import Vocabulary
from pipeline.scoring.identification.key import (
    Key,
    NameSpread,
    blend,
    overall,
    with_genera,
    with_genera_prior,
)
from pipeline.scoring.identification.meaning import Limits, Traits
from pipeline.scoring.identification.names import NameDoubts
from pipeline.scoring.identification.questions import Looks
from pipeline.scoring.parameters.read import flags, place, places
from pipeline.tables import inputs
from pipeline.terms import Part, word
from pipeline.units import Floats, Ints

REGIONS = ("north_america", "europe")
CHARACTERS = {
    "form": inputs.FORMS,
    "upper_colour": inputs.COLOURS,
    "under_colour": inputs.COLOURS,
    "upper_texture": inputs.UPPER_TEXTURES,
    "under_surface": inputs.UNDER_SURFACES,
    "flesh": inputs.FLESH,
    "arrangement": inputs.ARRANGEMENTS,
    "stalk": inputs.STALKS,
    "bruising": inputs.BRUISING,
    "attachment": tuple(word for word in inputs.ATTACHMENTS if word != "unknown"),
}
OTHER_HOST = "another genus"
LAYERS = ("one", "several")
_GROUPS = ("broadleaf", "conifer", "palm")
_MONTHS = tuple(str(month) for month in range(1, 13))
_ROTS = ("none", "white", "brown", "soft")
_WHEN = ("month", "region")


@dataclass(frozen=True)
class IdentificationParameters:
    """All that identification needs.

    Parameters
    ----------
    names : accepted names, 'another fungus' last.
    genera : genera of trees that the key knows, the last is any other.
    tell_apart : how two taxa are told apart, by the pair of their ids.
    """

    key: Key
    traits: Traits
    looks: Looks
    limits: Limits
    doubts: NameDoubts
    names: tuple[str, ...]
    genera: tuple[str, ...]
    tell_apart: dict[tuple[str, str], str]

    @property
    def spoken(self) -> tuple[str, ...]:
        """Names as a sentence takes them: the row of a genus is another species of it."""
        rows = self.key.names.genus == np.arange(len(self.names))
        return tuple(
            f"another {name.split()[0]}" if row else name
            for name, row in zip(self.names, rows.tolist(), strict=True)
        )


def identification_parameters(
    library: Library, *, error_factor: float = 1.0
) -> IdentificationParameters:
    """Everything from the library; `error_factor` scales the observers' errors, for simulation.

    Raises
    ------
    PublishedValueError
        If a table does not hold what the key needs.
    """
    taxa = library.table("taxa")
    taxon_id = (*taxa.texts("taxon_id"), "unlisted")
    alike = library.table("look_alikes", key=("taxon_id", "mistaken_for"))
    vocabulary, likelihood = _likelihood(library, taxon_id, error_factor)
    weights = _weights(library.table("how_usual"))
    genus, limits = _genera(taxa), library.table("key_limits")
    prior = with_genera_prior(
        _prior(library, taxon_id), genus, limits.number("value", quantity="genus_prior")
    )
    likelihood = with_genera(
        likelihood, genus, prior[-1], limits.number("value", quantity="genus_widening")
    )
    key = Key(
        taxon_id=taxon_id,
        vocabulary=vocabulary,
        likelihood=likelihood,
        regions=REGIONS,
        prior=prior,
        names=_spread(library, genus, prior[-1], alike, weights),
    )
    return IdentificationParameters(
        key=key,
        traits=_traits(taxa),
        looks=_looks(library),
        limits=_limits(limits),
        doubts=_doubts(limits),
        names=(*taxa.texts("accepted_name"), "another fungus"),
        genera=vocabulary.states[vocabulary.characters.index("host")],
        tell_apart={
            (row["taxon_id"], row["mistaken_for"]): row["tell_apart"]
            for row in alike.rows
            if row["tell_apart"]
        },
    )


def _weights(t: PublishedTable) -> Callable[[str, str], float]:
    """How much a word of 'how usual' or 'how common' weighs."""
    known = dict(zip(t.texts("word"), t.numbers("weight"), strict=True))

    def weight(where: str, text: str) -> float:
        if text not in known:
            raise PublishedValueError(
                where=where,
                found=repr(text),
                expected=f"one of {', '.join(known)}",
                remedy="Mend the table or the override.",
            )
        return float(known[text])

    return weight


def _usual(
    t: PublishedTable,
    column: str,
    states: Sequence[str],
    taxon_id: tuple[str, ...],
    weight: Callable[[str, str], float],
) -> Floats:
    """How usual each state is, shape (taxa, states)."""
    found = np.zeros((len(taxon_id), len(states)))
    taxon = places(t, "taxon_id", taxon_id[:-1])
    state = places(t, column, tuple(states))
    usual = [weight(f"table {t.name}", text) for text in t.texts("how_usual")]
    np.maximum.at(found, (taxon, state), usual)
    return found


def _likelihood(
    library: Library, taxon_id: tuple[str, ...], factor: float
) -> tuple[Vocabulary, Floats]:
    """P(state | taxon) of all characters, shape (states, taxa)."""
    weight = _weights(library.table("how_usual"))
    told = library.table("observation_errors")
    errors = dict(zip(told.texts("character"), told.numbers("error_share"), strict=True))
    genera, hosts, hosts_overall = _hosts(library, taxon_id, weight)
    characters = library.table("taxon_characters", key=("taxon_id", "character", "state"))
    blocks: dict[str, tuple[tuple[str, ...], Floats, Floats]] = {}
    for name, states in CHARACTERS.items():
        of = PublishedTable(
            characters.name,
            characters.columns,
            tuple(row for row in characters.rows if row["character"] == name),
        )
        usual = _usual(of, "state", states, taxon_id, weight)
        usual = _faded(library.table("fading"), name, states, taxon_id, usual)
        blocks[name] = (states, usual, overall(usual))
    positions = library.table("taxon_positions", key=("taxon_id", "position"))
    usual = _usual(positions, "position", inputs.POSITIONS, taxon_id, weight)
    blocks["position"] = (inputs.POSITIONS, usual, overall(usual))
    blocks["host"] = blocks["host_uncertain"] = (genera, hosts, hosts_overall)
    months = _months(library.table("taxon_seasons"), taxon_id)
    blocks["month"] = (_MONTHS, months, overall(months))
    layers = _layers(library)
    blocks["layers"] = (LAYERS, layers, overall(layers))
    vocabulary = Vocabulary(tuple(blocks), tuple(states for states, _, _ in blocks.values()))
    parts = [
        blend(usual, background, min(float(errors[name]) * factor, 1.0)).T
        for name, (_, usual, background) in blocks.items()
    ]
    return vocabulary, np.vstack(parts)


def _faded(
    t: PublishedTable,
    character: str,
    states: tuple[str, ...],
    taxon_id: tuple[str, ...],
    usual: Floats,
) -> Floats:
    """States after age and weather, shape (taxa, states); a taxon's own rule stands over all.

    Raises
    ------
    PublishedValueError
        If more of a state would fade than there is.
    """
    moves = np.zeros((len(taxon_id), len(states), len(states)))
    rows = sorted(
        (row for row in t.rows if row["character"] == character), key=lambda r: bool(r["taxa"])
    )
    for row in rows:
        who = [place(t, "taxa", x, taxon_id[:-1]) for x in row["taxa"].split(";") if x]
        at = place(t, "state", row["state"], states), place(t, "becomes", row["becomes"], states)
        moves[who or slice(None), at[0], at[1]] = float(row["weight"])
    gone = moves.sum(axis=2)
    if (gone > 1).any():
        raise PublishedValueError(
            where=f"table {t.name}, character {character}",
            found=f"weights of one state that sum to {gone.max():g}",
            expected="at most 1 for each taxon and state",
            remedy="Mend the table or the override.",
        )
    total = usual.sum(axis=1, keepdims=True)
    fresh = usual / np.where(total > 0, total, 1.0)
    faded: Floats = fresh * (1.0 - gone) + np.einsum("ts,tsu->tu", fresh, moves)
    return faded


def _hosts(
    library: Library, taxon_id: tuple[str, ...], weight: Callable[[str, str], float]
) -> tuple[tuple[str, ...], Floats, Floats]:
    """Genera, how usual each is for each taxon, and how often each is met.

    How often trees of a genus are met beside fungi is taken from how many taxa list it. Given the
    host it is the same factor for all taxa and cancels; what stays is how a taxon of many hosts is
    spread over them, so a better count of street trees would change little. A group, as
    broadleaf, stands for every genus of it that the taxon does not list.
    """
    species = library.table("tree_species")
    hosts = library.table("taxon_hosts", key=("taxon_id", "genus"))
    group_of = dict(zip(species.texts("genus"), species.texts("wood"), strict=True))
    listed = dict.fromkeys((*group_of, *hosts.texts("genus")))
    genera = (*(name for name in listed if name not in _GROUPS), OTHER_HOST)
    usual = _usual(hosts, "genus", (*genera, *_GROUPS), taxon_id, weight)
    own, groups = usual[:, : len(genera)], usual[:, len(genera) :]
    member = np.array([[group_of.get(name) == group for name in genera] for group in _GROUPS])
    own = np.where(own > 0, own, groups @ member)
    met = 1.0 + (usual[:, : len(genera)] > 0).sum(axis=0)
    return genera, own * met, met / met.sum()


def _months(t: PublishedTable, taxon_id: tuple[str, ...]) -> Floats:
    """1 in the months of the windows, shape (taxa, 12)."""
    found = np.zeros((len(taxon_id), len(_MONTHS)))
    taxon = places(t, "taxon_id", taxon_id[:-1])
    start, end = t.numbers("first_month")[:, None], t.numbers("last_month")[:, None]
    month = np.arange(1, len(_MONTHS) + 1)
    inside = np.where(
        start <= end, (month >= start) & (month <= end), (month >= start) | (month <= end)
    )
    np.maximum.at(found, taxon, inside.astype(np.float64))
    return found


def _layers(library: Library) -> Floats:
    """Chance of one pore layer and of several by the life span, shape (taxa, 2)."""
    limits, spans = library.table("key_limits"), library.table("taxa").texts("fruit_lifespan")
    several = np.array(
        [limits.number("value", quantity=f"several_layers_{span}") for span in spans]
    )
    return np.vstack([np.stack([1.0 - several, several], axis=1), np.zeros((1, 2))])


def _prior(library: Library, taxon_id: tuple[str, ...]) -> Floats:
    """How often taxa are found in each region, the last row for an unknown one."""
    common = library.table("how_common")
    weight = _weights(common)
    t = library.table("taxon_regions", key=("taxon_id", "region"))
    found = np.full((len(REGIONS), len(taxon_id)), weight("how_common", "absent"))
    found[:, -1] = weight("how_common", "unlisted")
    taxon, region = places(t, "taxon_id", taxon_id[:-1]), places(t, "region", REGIONS)
    found[region, taxon] = [weight(f"table {t.name}", x) for x in t.texts("how_common")]
    found /= found.sum(axis=1, keepdims=True)
    return np.vstack([found, found.mean(axis=0)])


def _genera(taxa: PublishedTable) -> Ints:
    """Row of the genus that each taxon belongs to, its own for that row, -1 for none, (taxa,)."""
    names = taxa.texts("accepted_name")
    row = {name.split()[0]: at for at, name in enumerate(names) if taxa.rows[at]["rank"] == "genus"}
    return np.array([*(row.get(name.split()[0], -1) for name in names), -1], np.int64)


def _spread(
    library: Library,
    genus: Ints,
    common: Floats,
    alike: PublishedTable,
    weight: Callable[[str, str], float],
) -> NameSpread:
    limits = library.table("key_limits")
    trust, spread = library.table("name_certainty"), library.table("name_spread")
    order = [spread.texts("name_by").index(name) for name in trust.texts("name_by")]
    columns = ("look_alikes_share", "same_genus_share", "any_share")
    ids = library.table("taxa").texts("taxon_id")
    look = np.zeros((len(ids) + 1, len(ids) + 1))
    true, told = places(alike, "taxon_id", ids), places(alike, "mistaken_for", ids)
    often = [weight(f"table {alike.name}", text) for text in alike.texts("how_often")]
    # Who takes A for B also takes B for A, where the table does not say how often.
    np.maximum.at(look, (told, true), often)
    back = look.T.copy()
    look = np.where(look > 0, look, back)
    # Of a genus with one listed species hardly any other is met: the rest goes to all taxa.
    same = _rows_to_one(((genus[:, None] == genus[None, :]) & (genus >= 0)) * common)
    np.fill_diagonal(same, 0.0)
    return NameSpread(
        name_by=trust.texts("name_by"),
        cap=trust.numbers("certainty_cap_share"),
        most=1.0 - limits.number("value", quantity="least_doubt"),
        not_listed=limits.number("value", quantity="unknown_name"),
        genus=genus,
        among=np.stack([spread.numbers(name) for name in columns], axis=1)[order],
        look_alike=_rows_to_one(look),
        same_genus=same,
        fits=limits.number("value", quantity="name_fits"),
        kept_from=limits.number("value", quantity="name_kept_from"),
    )


def _rows_to_one(weights: Floats) -> Floats:
    total = weights.sum(axis=1, keepdims=True)
    found: Floats = weights / np.where(total > 0, total, 1.0)
    return found


def _traits(taxa: PublishedTable) -> Traits:
    attacks = np.stack([flags(taxa, f"attacks_{word(part)}") for part in Part], axis=1)
    rot: Ints = places(taxa, "rot_type", _ROTS)
    return Traits(
        rot=np.append(rot, len(_ROTS)),
        attacks=np.vstack([attacks, np.zeros((1, len(Part)), np.bool_)]),
        significance=np.append(taxa.numbers("significance"), np.nan),
        action_code=np.array([*(int(c[1]) for c in taxa.texts("action_code")), 0], np.int64),
        annual=np.append(np.array(taxa.texts("fruit_lifespan")) == "annual", False),
    )


def _looks(library: Library) -> Looks:
    t = library.table("looks")
    costs = library.table("confusion_costs", key=("true_group", "told_group"))
    codes = tuple(dict.fromkeys(costs.texts("true_group")))
    cost = np.zeros((len(codes), len(codes)))
    cost[places(costs, "true_group", codes), places(costs, "told_group", codes)] = costs.numbers(
        "cost"
    )
    limits = library.table("key_limits")
    kept = [n for n, name in enumerate(t.texts("character")) if name not in _WHEN]
    return Looks(
        character=tuple(t.texts("character")[n] for n in kept),
        look=tuple(t.texts("look")[n] for n in kept),
        minutes=t.numbers("minutes")[kept],
        order=t.numbers("order")[kept],
        cost=cost,
        sure=limits.number("value", quantity="rot_certain"),
        certainty_weight=limits.number("value", quantity="certainty_weight"),
        near_equal=limits.number("value", quantity="near_equal"),
        enough=limits.number("value", quantity="enough"),
    )


def _limits(t: PublishedTable) -> Limits:
    def value(quantity: str) -> float:
        return t.number("value", quantity=quantity)

    return Limits(
        margin=value("margin"),
        serious_from=int(value("serious_from")),
        serious_share=value("serious_share"),
        annual_years=int(value("annual_years")),
    )


def _doubts(t: PublishedTable) -> NameDoubts:
    def value(quantity: str) -> float:
        return t.number("value", quantity=quantity)

    return NameDoubts(
        fits=value("name_fits"),
        fits_from=value("name_fits_from"),
        unchecked_below=value("unchecked_below"),
        unchecked_code=int(value("unchecked_code")),
        unchecked_share=value("unchecked_share"),
    )
