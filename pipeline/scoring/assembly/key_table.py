"""The key as one long table: all that a page without a network needs to give the same answers.

Each row is a number or the words of one section; the columns that a section does not use are empty.
`state` holds the other member of a pair: the taxon that a name may mean instead, the observer, the
part of a tree, the action code told, the name of a limit.

============ ================================ ==================================================
section      key                              number, words
============ ================================ ==================================================
taxon        taxon_id                         place in the order, accepted name
state        character, state                 place in the order of all states
region       region                           place in the order; 'unknown' last
likelihood   taxon_id, character, state       P(state | taxon)
alike        character, state                 the state whose likelihoods it shares
prior        taxon_id, region                 how often it is found, sums to one
trait        taxon_id, state                  'rot' in words; significance, action_code, annual
attacks      taxon_id, state: part of tree    1 where it rots the part
genus        taxon_id, state: row of genus    1
look         character                        minutes, how to do it
look_order   character                        which first where all is equal
cost         taxon_id: R code, state: told    cost of the confusion
limit        state                            limits of the rules and of the next look
name         state: observer, character       'cap', 'look_alikes', 'same_genus' as shares
look_alike   taxon_id named, state: instead   share
same_genus   taxon_id named, state: instead   share
tell_apart   taxon_id, state: taken for       how two are told apart
============ ================================ ==================================================
"""

from collections.abc import Sequence
from dataclasses import fields

import numpy as np
import pyarrow as pa

from pipeline.scoring.identification.evidence import Vocabulary
from pipeline.scoring.identification.key import Key, NameSpread
from pipeline.scoring.identification.meaning import ROTS, Traits
from pipeline.scoring.identification.questions import Looks
from pipeline.scoring.parameters.identification import IdentificationParameters
from pipeline.terms import Part, word
from pipeline.units import Flags, Floats, Ints

_KEYS = ("section", "taxon_id", "character", "state", "region")
_OF_LOOKS = ("sure", "certainty_weight", "near_equal", "enough")
_OF_NAMES = ("most", "not_listed", "fits", "kept_from")
_Texts = Sequence[str]


class _Rows:
    """Rows of the table, gathered a section at a time."""

    def __init__(self) -> None:
        self._columns: dict[str, list[np.ndarray]] = {name: [] for name in (*_KEYS, "number")}
        self._texts: list[np.ndarray] = []

    def add(
        self,
        section: str,
        value: Sequence[float] | Floats | Ints | Flags,
        *,
        text: _Texts | None = None,
        **key: _Texts,
    ) -> None:
        """Add rows; a column of the key that is not given is empty."""
        count = len(value)
        given = {"section": [section] * count, **key}
        for name in _KEYS:
            self._columns[name].append(np.array(given.get(name, [""] * count), np.object_))
        self._columns["number"].append(np.asarray(value, np.float64))
        self._texts.append(np.array([""] * count if text is None else text, np.object_))

    def columns(self) -> dict[str, object]:
        """The columns of the table; what is no number is null."""
        found: dict[str, object] = {
            name: np.concatenate(self._columns[name]).tolist() for name in _KEYS
        }
        value = np.concatenate(self._columns["number"])
        found["number"] = pa.array(value, pa.float64(), mask=np.isnan(value))
        found["words"] = np.concatenate(self._texts).tolist()
        return found


def key_columns(parameters: IdentificationParameters, *, sure: float) -> dict[str, object]:
    """The columns of scoring.key_parameters.

    Parameters
    ----------
    sure : probability from which the first taxon counts as known [share].
    """
    rows, key = _Rows(), parameters.key
    _add_order(rows, key, parameters.names)
    _add_likelihood(rows, key)
    regions, taxa = (*key.regions, "unknown"), key.taxon_id
    rows.add("prior", key.prior.ravel(), taxon_id=taxa * len(regions),
             region=[name for name in regions for _ in taxa])  # fmt: skip
    _add_traits(rows, taxa, parameters.traits)
    _add_looks(rows, parameters.looks)
    _add_names(rows, taxa, key.names)
    pairs = list(parameters.tell_apart)
    rows.add(
        "tell_apart",
        [np.nan] * len(pairs),
        text=[parameters.tell_apart[pair] for pair in pairs],
        taxon_id=[one for one, _ in pairs],
        state=[other for _, other in pairs],
    )
    limits = {field.name: float(getattr(parameters.limits, field.name))
              for field in fields(parameters.limits)}  # fmt: skip
    limits |= {name: float(getattr(parameters.looks, name)) for name in _OF_LOOKS}
    limits |= {name: float(getattr(key.names, name)) for name in _OF_NAMES}
    limits |= {field.name: float(getattr(parameters.doubts, field.name))
               for field in fields(parameters.doubts)}  # fmt: skip
    limits["name_sure"] = sure
    rows.add("limit", list(limits.values()), state=list(limits))
    return rows.columns()


def _each(vocabulary: Vocabulary) -> tuple[list[str], list[str]]:
    """Character and state of every column of the evidence."""
    pairs = [
        (character, state)
        for character, states in zip(vocabulary.characters, vocabulary.states, strict=True)
        for state in states
    ]
    return [character for character, _ in pairs], [state for _, state in pairs]


def _add_order(rows: _Rows, key: Key, names: tuple[str, ...]) -> None:
    characters, states = _each(key.vocabulary)
    rows.add("taxon", np.arange(len(names)), taxon_id=key.taxon_id, text=names)
    rows.add("state", np.arange(len(states)), character=characters, state=states)
    regions = (*key.regions, "unknown")
    rows.add("region", np.arange(len(regions)), region=regions)


def _add_likelihood(rows: _Rows, key: Key) -> None:
    """Each state once: most genera of trees are no fungus's own, and alike to all of them."""
    characters, states = _each(key.vocabulary)
    number = np.repeat(
        np.arange(len(key.vocabulary.states)), [len(of) for of in key.vocabulary.states]
    )
    _, first, back = np.unique(
        np.column_stack([number, key.likelihood]), axis=0, return_index=True, return_inverse=True
    )
    shown = first[back.reshape(-1)]
    own = np.flatnonzero(shown == np.arange(len(states))).tolist()
    other = np.flatnonzero(shown != np.arange(len(states))).tolist()
    count = len(key.taxon_id)
    rows.add(
        "likelihood",
        key.likelihood[own].ravel(),
        taxon_id=key.taxon_id * len(own),
        character=[characters[at] for at in own for _ in range(count)],
        state=[states[at] for at in own for _ in range(count)],
    )
    rows.add(
        "alike",
        [np.nan] * len(other),
        text=[states[shown[at]] for at in other],
        character=[characters[at] for at in other],
        state=[states[at] for at in other],
    )


def _add_traits(rows: _Rows, taxa: tuple[str, ...], traits: Traits) -> None:
    count = len(taxa)
    rows.add("trait", [np.nan] * count, text=[ROTS[at] for at in traits.rot.tolist()],
             taxon_id=taxa, state=["rot"] * count)  # fmt: skip
    for name in ("significance", "action_code", "annual"):
        rows.add("trait", getattr(traits, name), taxon_id=taxa, state=[name] * count)
    for part in Part:
        rows.add("attacks", traits.attacks[:, part], taxon_id=taxa, state=[word(part)] * count)


def _add_looks(rows: _Rows, looks: Looks) -> None:
    rows.add("look", looks.minutes, text=looks.look, character=looks.character)
    rows.add("look_order", looks.order, character=looks.character)
    codes = [f"R{code}" for code in range(len(looks.cost))]
    rows.add("cost", looks.cost.ravel(), taxon_id=[true for true in codes for _ in codes],
             state=codes * len(codes))  # fmt: skip


def _add_names(rows: _Rows, taxa: tuple[str, ...], names: NameSpread) -> None:
    shares = {
        "cap": names.cap,
        "look_alikes": names.among[:, 0],
        "same_genus": names.among[:, 1],
    }
    for name, values in shares.items():
        rows.add("name", values, state=names.name_by, character=[name] * len(values))
    member = np.flatnonzero(names.genus >= 0)
    rows.add("genus", np.ones(len(member)), taxon_id=[taxa[at] for at in member],
             state=[taxa[at] for at in names.genus[member]])  # fmt: skip
    for section, weights in (("look_alike", names.look_alike), ("same_genus", names.same_genus)):
        named, instead = np.nonzero(weights)
        rows.add(section, weights[named, instead], taxon_id=[taxa[at] for at in named],
                 state=[taxa[at] for at in instead])  # fmt: skip
