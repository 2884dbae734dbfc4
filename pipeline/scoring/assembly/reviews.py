"""What needs a person, most urgent first."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.scoring.assembly.bodies import Sightings
from pipeline.scoring.assembly.columns import codes, day_text, days, texts, whole
from pipeline.scoring.assembly.disagree import disagreements
from pipeline.scoring.assembly.overtaken import WHAT
from pipeline.scoring.assembly.ratings import Row
from pipeline.scoring.assembly.trees import Trees, doubtful_places
from pipeline.scoring.assembly.which_told import WhichTree
from pipeline.scoring.assembly.which_tree import MATCHES
from pipeline.scoring.explanation import REVIEWS, as_json
from pipeline.scoring.identification import meaning
from pipeline.scoring.identification.meaning import Decay
from pipeline.scoring.parameters import Parameters
from pipeline.tables import inputs
from pipeline.terms import ActionCode, FailureWord, RatingWord, word
from pipeline.units import Ints

_AMBIGUOUS, _UNMATCHED, _NOT_DECAY = (
    MATCHES.index(name) for name in ("ambiguous", "unmatched", "not_decay")
)
_NONE = -1
_ID_UNKNOWN = "id_unknown"
# Stands for the id of a tree where many reviews are made alike; no text of a file holds it.
_ANY_ID = "\x00"


@dataclass
class ReviewList:
    """A growing list of reviews."""

    code: list[str] = field(default_factory=list)
    tree: list[int] = field(default_factory=list)
    sighting: list[int] = field(default_factory=list)
    quarantine: list[int] = field(default_factory=list)
    detail: list[str] = field(default_factory=list)

    def add(
        self,
        code: str,
        values: Mapping[str, object],
        *,
        tree: int = _NONE,
        sighting: int = _NONE,
        quarantine: int = _NONE,
    ) -> None:
        """Add one.

        Raises
        ------
        KeyError
            If the code or its values are not declared: a bug.
        """
        if set(values) != set(REVIEWS[code][1]):
            message = f"{code} carries {sorted(values)}"
            raise KeyError(message)
        self.code.append(code)
        self.tree.append(tree)
        self.sighting.append(sighting)
        self.quarantine.append(quarantine)
        self.detail.append(as_json(values))

    def add_many(
        self, code: str, values: Mapping[str, object], *, trees: Ints, ids: Sequence[str]
    ) -> None:
        """Add one for each of some trees, with its id and else the same values.

        Raises
        ------
        KeyError
            If the code or its values are not declared: a bug.
        """
        self.add(code, {**values, "tree_id": _ANY_ID}, tree=int(trees[0]))
        any_id, alike = as_json({"id": _ANY_ID})[len('{"id": ') : -1], self.detail.pop()
        more = len(trees) - 1
        self.code += [code] * more
        self.tree += trees[1:].tolist()
        self.sighting += [_NONE] * more
        self.quarantine += [_NONE] * more
        self.detail += [alike.replace(any_id, json.dumps(name, ensure_ascii=False)) for name in ids]

    def columns(self) -> dict[str, object]:
        """Columns of scoring.reviews: by urgency, then by kind, then in the order of arrival."""
        kinds = list(REVIEWS)
        urgency = np.array([REVIEWS[code][0] for code in self.code], np.int8)
        kind = np.array([kinds.index(code) for code in self.code], np.int64)
        order = np.lexsort((np.arange(len(kind)), kind, urgency))
        return {
            "review_key": np.arange(len(order)),
            "urgency": urgency[order],
            "code": pa.array(self.code, pa.string()).take(pa.array(order)),
            "tree_key": np.array(self.tree, np.int64)[order],
            "sighting_key": np.array(self.sighting, np.int64)[order],
            "quarantine_key": np.array(self.quarantine, np.int64)[order],
            "detail": pa.array(self.detail, pa.string()).take(pa.array(order)),
        }


def of_quarantine(reviews: ReviewList, quarantine: pa.Table) -> None:
    """Rows set aside whose words mean danger."""
    rows = np.flatnonzero(np.asarray(pc.is_valid(quarantine["danger"])))
    words, reasons = texts(quarantine, "danger"), texts(quarantine, "reason")
    about = texts(quarantine, "about")
    keys = whole(quarantine, "quarantine_key")
    for row in rows:
        told = {"words": words[row], "about": about[row], "reason": reasons[row]}
        reviews.add("quarantine_danger", told, quarantine=int(keys[row]))


def of_sightings(
    reviews: ReviewList, sightings: Sightings, trees: Trees, parameters: Parameters
) -> None:
    """Sightings that no tree could be found for, that fit several, or that need a better name."""
    table = sightings.table
    names, notes = _names(sightings, parameters), texts(table, "match_note")
    ids, told_ids = texts(table, "sighting_id"), _ids_of_no_tree(table)
    hosts = texts(table, "host_text")
    which = WhichTree(sightings.joined, trees, hosts)
    decay = sightings.fruiting.found.decay[sightings.fruiting.of]
    note = codes(table, "match_note", ("id_and_place_disagree", "tree_not_standing"))
    body = sightings.fruiting.body
    for row in range(table.num_rows):
        why = notes[row]
        about: dict[str, object] = {"name": names[row], "sighting": ids[row]}
        unknown = {"told_id": told_ids[row]}
        match = sightings.match[row]
        serious = sightings.code[row] >= ActionCode.R4
        leader = sightings.joined.leader[row]
        led = leader != row
        # A serious fungus is not silenced by a report that names another.
        led &= not serious or body[leader] == body[row]
        if match == _UNMATCHED and serious and not led:
            told = {**about, **unknown, "code": f"R{sightings.code[row]}", "why": why}
            reviews.add("sighting_serious_unmatched", told, sighting=row)
        elif match == _UNMATCHED and not led:
            reviews.add("sighting_unmatched", {**about, **unknown, "why": why}, sighting=row)
        elif match == _AMBIGUOUS and not led:
            reviews.add("sighting_serious_ambiguous" if serious else "sighting_ambiguous",
                        {**about, **unknown, **which.told(row)}, sighting=row)  # fmt: skip
        elif match == _NOT_DECAY or decay[row] == Decay.NO:
            # By what was seen it grows on the ground, though nobody said 'free'.
            told = {**about, "why": why or "free_in_soil"}
            reviews.add("sighting_not_decay", told, sighting=row)
        if note[row] == 0:
            reviews.add("sighting_conflict", about, sighting=row)
        elif note[row] == 1:
            reviews.add("tree_not_standing", about, sighting=row)
        if sightings.joined.host_disagrees[row]:
            told = {**about, "host": hosts[row], **which.host(row)}
            reviews.add("sighting_host_conflict", told, sighting=row)
    _of_told_ids(reviews, sightings, names, told_ids, which)
    _of_names(reviews, sightings, names, parameters)
    for pair in disagreements(sightings, trees, parameters.sighted.identification):
        at = {"tree": pair.tree, "sighting": pair.sighting}
        reviews.add("fungus_reports_disagree", pair.told, **at)


def _ids_of_no_tree(table: pa.Table) -> list[str | None]:
    """The tree ids told that no inventory has; None where none was told or it has it."""
    unknown = codes(table, "match_note", (_ID_UNKNOWN,)) == 0
    told = texts(table, "tree_id_told")
    return [one if is_unknown else None for one, is_unknown in zip(told, unknown, strict=True)]


def _of_told_ids(
    reviews: ReviewList,
    sightings: Sightings,
    names: list[str | None],
    told: list[str | None],
    which: WhichTree,
) -> None:
    """Sightings joined to a tree by their place, though they name one that no inventory has."""
    ids = texts(sightings.table, "sighting_id")
    for row in np.flatnonzero(sightings.joined.tree >= 0).tolist():
        if told[row] is not None:
            reviews.add("sighting_id_unknown", {
                "name": names[row], "sighting": ids[row], "told_id": told[row],
                "tree_id": which.host(row)["tree_id"],
            }, sighting=row)  # fmt: skip


def _names(sightings: Sightings, parameters: Parameters) -> list[str | None]:
    failure = parameters.failure
    accepted = dict(zip(failure.catalogue.taxon_id, failure.names, strict=True))
    told, written = texts(sightings.table, "taxon_id"), texts(sightings.table, "name_text")
    return [accepted.get(a or "") or b for a, b in zip(told, written, strict=True)]


def _of_names(
    reviews: ReviewList,
    sightings: Sightings,
    names: list[str | None],
    parameters: Parameters,
) -> None:
    """Attached fungi that belong before an expert, each once: with what to photograph."""
    fruiting, ident = sightings.fruiting, parameters.sighted.identification
    found, of = fruiting.found, fruiting.of
    ids = texts(sightings.table, "sighting_id")
    asked = np.flatnonzero(found.expert[of] & (sightings.tree >= 0))
    by = codes(sightings.table, "name_by", parameters.sighted.trust.name_by)
    cap = np.append(parameters.sighted.trust.cap, -1.0)
    _, first = np.unique(fruiting.body[asked], return_index=True)
    for row in np.sort(asked[first]):
        unit = of[row]
        look = int(found.look[unit])
        told: dict[str, object] = {
            "name": names[row],
            "sighting": ids[row],
            "names": [ident.names[taxon] for taxon in found.taxon[unit]],
            "probabilities": [float(f"{share:.4g}") for share in found.probability[unit]],
            "photographs": list(meaning.PHOTOGRAPHS),
            "next_look": ident.looks.look[look] if look >= 0 else None,
        }
        at = {"tree": int(sightings.tree[row]), "sighting": int(row)}
        if found.misfit[unit]:
            of_body = asked[fruiting.body[asked] == fruiting.body[row]]
            namer = int(of_body[np.argmax(cap[by[of_body]])])
            # The row of the one whose name it is, not of another who saw the same body.
            said = {**told, "name": names[namer], "sighting": ids[namer]}
            reviews.add("name_does_not_fit", said, tree=at["tree"], sighting=namer)
        if sightings.code[row] >= ident.limits.serious_from:
            told["code"] = f"R{sightings.code[row]}"
            reviews.add("name_serious_uncertain", told, **at)
        else:
            reviews.add("name_uncertain", told, **at)


def of_trees(reviews: ReviewList, row: Row, parameters: Parameters) -> None:
    """Make-safe that nobody has acknowledged, presumed removals, decisions overtaken by events."""
    keys, ids = row.evidence.trees, row.trees.table["tree_id"]
    waiting = row.chosen.make_safe & ~row.chosen.acknowledged
    urgent = np.flatnonzero(waiting)
    harm = row.rated.harm[keys[urgent]]
    for here in urgent[np.lexsort((keys[urgent], -harm))]:
        tree = int(keys[here])
        failure = _worst_failure(row, here)
        reviews.add("make_safe", {
            "tree_id": ids[tree].as_py(),
            "rating": word(RatingWord(row.rating[tree])),
            "failure": word(FailureWord(failure)),
        }, tree=tree)  # fmt: skip
    for here in np.flatnonzero(row.chosen.presumed):
        tree, lead = int(keys[here]), int(row.chosen.lead[here])
        name = parameters.failure.names[row.evidence.parts.taxon[lead]]
        reviews.add("presumed_removal", {"tree_id": ids[tree].as_py(), "name": name}, tree=tree)
    for overtaken in np.flatnonzero(row.overtaken.any):
        tree = int(overtaken)
        reviews.add("decision_contradicted", {
            "tree_id": ids[tree].as_py(),
            "decision": inputs.DECISIONS[row.decisions.kind[tree]],
            "decided_on": day_text(int(row.decisions.decided_on[tree])),
            "seen_on": day_text(int(row.overtaken.on[tree])),
            "what": WHAT[row.overtaken.what[tree]],
        }, tree=tree)  # fmt: skip


def _worst_failure(row: Row, here: int) -> int:
    parts = row.evidence.parts
    return int(parts.failure[parts.tree == here].max(initial=int(FailureWord.IMPROBABLE)))


def of_the_run(reviews: ReviewList, row: Row, decisions: pa.Table, parameters: Parameters) -> None:
    """What concerns the whole run: places in doubt, a region not set, overrides not understood."""
    doubtful = doubtful_places(row.trees)
    if doubtful.any():
        reviews.add("place_doubtful", {"count": int(doubtful.sum())})
    if not parameters.work.region_known:
        reviews.add("season_region_unknown", {})
    values = texts(decisions, "value")
    keys = whole(decisions, "tree_key")
    kind, until = texts(decisions, "decision"), days(decisions, "until")
    for number in row.decisions.ended:
        tree = int(keys[number])
        reviews.add("decision_ended", {
            "tree_id": row.trees.table["tree_id"][tree].as_py(),
            "decision": kind[number],
            "until": day_text(int(until[number])),
        }, tree=tree)  # fmt: skip
    for number in row.decisions.unread:
        reviews.add("decision_unread", {"value": values[number]}, tree=int(keys[number]))
