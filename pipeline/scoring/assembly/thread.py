"""The thread of reasons of each tree that has its own: from what was seen to what is to be done.

Each function writes one link of the thread, over rows of evidence; nothing is computed here.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa

from pipeline.scoring.actions.clearance import approach_m
from pipeline.scoring.actions.effort import NO_DEADLINE
from pipeline.scoring.actions.restrictions import NO_DAY
from pipeline.scoring.assembly.bodies import Sightings
from pipeline.scoring.assembly.climbing import Climbing
from pipeline.scoring.assembly.columns import day_text, day_texts, place_of, texts
from pipeline.scoring.assembly.decided_told import tell_decisions
from pipeline.scoring.assembly.evidence import FUNGUS, MECHANICS, STRENGTH, WITNESSES
from pipeline.scoring.assembly.holding_told import Balance, tell_holding, tell_wood
from pipeline.scoring.assembly.identifications import tell_bodies
from pipeline.scoring.assembly.looks import Looks
from pipeline.scoring.assembly.rating_told import tell_rating
from pipeline.scoring.assembly.ratings import Row
from pipeline.scoring.assembly.sighted_told import tell_sightings
from pipeline.scoring.assembly.tests_told import tell_tests
from pipeline.scoring.assembly.works import CREWS, Terms, Works, cuts
from pipeline.scoring.explanation import Facts, Many, words_at, words_of
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.failure import DEFECTS
from pipeline.scoring.parameters.targets import GROUPS
from pipeline.scoring.parameters.work import ROT_WORDS
from pipeline.tables import inputs
from pipeline.terms import (
    ConsequenceWord,
    FailureWord,
    ImpactWord,
    OccupancyWord,
    RatingWord,
)
from pipeline.units import Flags, Floats, Ints

# What an inspector may tell beside a defect, in the order of the telling.
SIGNS = ("with_decay", "with_crack", "touches_soil", "soil_moved", "roots_broken")
_WIRED = ("communication", "low_voltage", "high_voltage")


def _distance(volts: float | None, parameters: Parameters) -> float | None:
    """How near nobody may come who is not qualified [m]; None without a voltage."""
    found = approach_m(np.array([np.nan if volts is None else volts]), parameters.work.approach)[0]
    return None if np.isnan(found) else float(found)


@dataclass(frozen=True)
class Thread:
    """Everything that the threads speak of."""

    row: Row
    sightings: Sightings
    looks: Looks
    zones: pa.Table
    decisions: pa.Table
    balance: Balance
    works: Works
    on: Terms
    parameters: Parameters
    first_set: int
    own: Ints

    def place(self, trees: Ints) -> Ints:
        """Fact set of each tree key that has its own, -1 for others."""
        return self._sets[trees]

    @cached_property
    def _sets(self) -> Ints:
        sets = np.full(len(self.row.trees), -1, np.int64)
        sets[self.own] = self.first_set + np.arange(len(self.own))
        return sets

    def write(self, facts: Facts) -> None:
        """Write all links, in the order of the thread."""
        self._seen(facts)
        self._fungus(facts)
        self._wood(facts)
        self._failure(facts)
        self._target(facts)
        tell_rating(facts, self.row, self.own, self.first_set, self.parameters)
        self._action(facts)

    def _rows(self, trees: Ints) -> Iterator[tuple[int, int]]:
        rows, sets = self._known(trees)
        yield from zip(rows.tolist(), sets.tolist(), strict=True)

    def _known(self, trees: Ints) -> tuple[Ints, Ints]:
        """Rows whose tree has a fact set, and that set."""
        sets = self.place(trees)
        rows = np.flatnonzero(sets >= 0)
        return rows, sets[rows]

    def _seen(self, facts: Facts) -> None:
        tell_sightings(facts, self.sightings, self.place, self.parameters)
        self._seen_by_inspectors(facts)
        trees, own = self.row.trees, self.own
        sets, rated = self.place(own), trees.rated[own]
        unsized = np.isnan(trees.dbh[own])
        statements = []
        for statement, filled, values in (
            ("seen_height_assumed", trees.height_filled[own] & unsized, ("height_m", trees.height)),
            ("seen_height_filled", trees.height_filled[own] & ~unsized, ("height_m", trees.height)),
            ("seen_dbh_filled", unsized, ("dbh_cm", trees.dbh_used)),
        ):
            at = np.flatnonzero(rated & filled)
            told = {values[0]: values[1][own[at]]}
            statements.append(Many(statement, sets[at], at, told, assumed=True))
        facts.tell(*statements)

    def _seen_by_inspectors(self, facts: Facts) -> None:
        looks = self.looks
        rows = looks.defects
        for row, at in self._rows(rows.tree):
            if not rows.latest[row]:
                continue
            if row in looks.from_inventory:
                facts.add(at, *looks.from_inventory[row])
                continue
            facts.add(at, "seen_defect", {
                "defect": DEFECTS[rows.defect[row]],
                "part": inputs.PARTS[rows.part[row]],
                "seen_on": day_text(looks.defect_day[row]),
                "extent_share": float(rows.extent[row]),
                "signs": "|".join(sign for sign in SIGNS if getattr(rows, sign)[row]),
            })  # fmt: skip
        for row, at in self._rows(looks.section_tree):
            facts.add(at, "seen_section", {
                "part": inputs.PARTS[looks.section_part[row]],
                "diameter_cm": float(looks.sections.diameter[row]),
                "shell_cm": float(looks.sections.thinnest_shell[row]),
                "opening_share": float(looks.sections.opening[row]),
                "seen_on": day_text(looks.section_day[row]),
            })  # fmt: skip

    def _fungus(self, facts: Facts) -> None:
        parts = self.row.evidence.parts
        together, sets, names = self._fungi(parts.taxon >= 0)
        taxon, rot = parts.taxon[together], parts.rot[together]
        # The rot is heard of all taxa together: the first of them need not be one that does it.
        does = self.parameters.failure.catalogue.rot[taxon] == rot
        facts.tell(Many("fungus_at_work", sets, np.arange(len(sets)), {
            "name": words_at(np.where(does, taxon, -1), (*self.parameters.failure.names, None)),
            "probability": self._fungus_share[together],
            "rot": words_at(rot, ROT_WORDS),
            "code": [f"R{code}" for code in parts.code[together].tolist()],
            "part": names,
        }))  # fmt: skip
        tell_bodies(facts, self.sightings, self.place, self.parameters)

    @cached_property
    def _fungus_share(self) -> Floats:
        """How probable a fungus of that code is that rots the part; shape of the part evidence."""
        parts, fungi = self.row.evidence.parts, self.row.evidence.fungi
        key = self.row.evidence.trees[parts.tree] * len(inputs.PARTS) + parts.part
        at = place_of(key, fungi.tree * len(inputs.PARTS) + fungi.part)
        return np.append(fungi.share, 0.0)[at]

    def _wood(self, facts: Facts) -> None:
        looks, limits = self.looks, self.parameters.failure.limits
        sources = self.parameters.failure.rule_sources
        rows, sets = self._known(looks.section_tree)
        found, strength = looks.sections, looks.strength
        many = len(limits.formula) + 1  # statements of a section: what was measured comes first
        at, number = np.nonzero(strength.applies[rows])
        facts.tell(
            Many("wood_measured", sets, rows * many, {
                "part": words_at(looks.section_part[rows], inputs.PARTS),
                "decayed_share": found.decayed_share[rows],
                "shell_cm": found.thinnest_shell[rows],
                "diameter_cm": found.diameter[rows],
            }),
            Many("wood_formula", sets[at], rows[at] * many + 1 + number, {
                "part": words_at(looks.section_part[rows[at]], inputs.PARTS),
                "formula": words_at(number, limits.formula),
                "value_share": strength.value[rows[at], number],
                "limit_share": limits.act[number],
                "passed": strength.passed[rows[at], number],
            }, source=words_at(number, [sources[formula] for formula in limits.formula])),
        )  # fmt: skip
        parts = self.row.evidence.parts
        _, sets, names = self._fungi((parts.taxon >= 0) & ~parts.measured)
        facts.tell(Many("wood_not_measured", sets, np.arange(len(sets)), {"part": names}))
        serious = self.parameters.decay.law.grid.serious_above
        read = np.append(found.decayed_share, np.nan)[self.balance.wood.section]
        tell_wood(facts, self.balance, self.row.evidence, read, serious, self.place)

    def _fungi(self, wanted: Flags) -> tuple[Ints, Ints, list[str]]:
        """First row of the part evidence of each tree, fungus and rot; fact set, and all parts."""
        parts = self.row.evidence.parts
        rows, sets = self._known(self.row.evidence.trees[parts.tree])
        rows, sets = rows[wanted[rows]], sets[wanted[rows]]
        together: dict[tuple[int, int, int], list[str]] = {}
        first = []
        for at, row, taxon, rot, part in zip(
            sets.tolist(), rows.tolist(), parts.taxon[rows].tolist(), parts.rot[rows].tolist(),
            parts.part[rows].tolist(), strict=True,
        ):  # fmt: skip
            alike = (at, taxon, rot)
            if alike not in together:
                together[alike] = []
                first.append(row)
            together[alike].append(inputs.PARTS[part])
        of = np.array([at for at, *_ in together], np.int64)
        return np.array(first, np.int64), of, ["|".join(names) for names in together.values()]

    def _failure(self, facts: Facts) -> None:
        spoken, sources = self.row.evidence.spoken, self.parameters.failure.rule_sources
        rows, sets = self._known(spoken.tree)
        rows, sets = rows[self._speaks_first[rows]], sets[self._speaks_first[rows]]
        source = [sources.get(rule) for rule in spoken.rule_ids]
        part = words_at(spoken.part[rows], inputs.PARTS)
        once = np.flatnonzero(spoken.act_at_once[rows])
        # Two defects of one part call for attention once.
        place = spoken.tree[rows[once]] * len(inputs.PARTS) + spoken.part[rows[once]]
        once = once[np.sort(np.unique(place, return_index=True)[1])]
        facts.tell(
            Many("failure_rule", sets, 2 * rows, {
                "part": part,
                "failure": words_of(FailureWord, spoken.word[rows]),
                "rule": words_at(spoken.rule[rows], spoken.rule_ids),
                "witness": words_at(spoken.witness[rows], WITNESSES),
                "seen_on": day_texts(spoken.seen_on[rows]),
            }, source=words_at(spoken.rule[rows], source)),
            Many("failure_act_at_once", sets[once], 2 * rows[once] + 1,
                 {"part": words_at(spoken.part[rows[once]], inputs.PARTS)},
                 source=words_at(spoken.rule[rows[once]], source)),
        )  # fmt: skip
        tell_holding(facts, self.balance, self.row.evidence, self.parameters, self.place)
        bands, years = self.parameters.failure.bands, self.parameters.time_frame_years
        at, pair = self._worst
        failure = self.row.judged.failure[pair].astype(np.int64)
        low, high = (
            np.array([1.0 - (1.0 - share) ** years for share in edge.tolist()])
            for edge in (bands.low, bands.high)
        )
        facts.tell(Many("failure_frequency", at, at, {
            "failure": words_of(FailureWord, failure),
            "low_share": low[failure - 1],
            "high_share": high[failure - 1],
            "years": years,
        }, source="project_elicited", assumed=True))  # fmt: skip

    @cached_property
    def _speaks_first(self) -> Flags:
        """Findings worth a sentence: of several formulae, or fungi, for a part the worst alone."""
        spoken = self.row.evidence.spoken
        order = np.lexsort((np.arange(len(spoken.tree)), -spoken.word, spoken.part, spoken.tree))
        speaks: Flags = ~np.isin(spoken.witness, (STRENGTH, FUNGUS, MECHANICS))
        for witness in (STRENGTH, FUNGUS):
            own = order[spoken.witness[order] == witness]
            place = spoken.tree[own] * len(inputs.PARTS) + spoken.part[own]
            _, first = np.unique(place, return_index=True)
            speaks[own[first]] = True
        return speaks

    @cached_property
    def _worst(self) -> tuple[Ints, Ints]:
        """Fact set and worst pair of each tree with one."""
        pairs = self.row.rated.worst[self.own]
        places = np.flatnonzero(pairs >= 0)
        return self.first_set + places, pairs[places]

    def _target(self, facts: Facts) -> None:
        pairs = self.row.pairs
        names = texts(self.zones, "name")
        zones = np.bincount(pairs.tree, minlength=len(self.row.evidence.trees))
        at, pair = self._worst
        assumed = pairs.assumed[pair]
        none = ~assumed & (pairs.zone[pair] < 0)
        met = pair[~assumed & ~none]
        more = zones[pairs.tree[pair]] - 1
        filled = pairs.filled[pair]
        facts.tell(
            Many("target_assumed", at[assumed], at[assumed],
                 {"occupancy": words_of(OccupancyWord, pairs.occupancy[pair[assumed]])},
                 assumed=True),
            Many("target_none_in_reach", at[none], at[none]),
            Many("target_met", at[~assumed & ~none], at[~assumed & ~none], {
                "kind": words_at(pairs.kind[met], inputs.ZONE_KINDS),
                "name": words_at(pairs.zone[met], names),
                "distance_m": pairs.distance[met],
                "occupancy": words_of(OccupancyWord, pairs.occupancy[met]),
                "occupied_share": pairs.occupied_share[met],
                "direction_share": pairs.direction_share[met],
                "impact": words_of(ImpactWord, pairs.impact[met]),
            }),
            Many("target_more", at[more > 0], at[more > 0], {"count": more[more > 0]}),
            Many("consequence_of_part", at, at, {
                "part": words_at(pairs.part[pair], inputs.PARTS),
                "diameter_cm": pairs.diameter[pair],
                "target": words_at(pairs.group[pair], GROUPS),
                "consequence": words_of(ConsequenceWord, pairs.consequence[pair]),
            }, source="isa_bmp_2017"),
            Many("consequence_size_filled", at[filled], at[filled],
                 {"diameter_cm": pairs.diameter[pair[filled]]}, assumed=True),
        )  # fmt: skip

    def _action(self, facts: Facts) -> None:
        row, works, on = self.row, self.works, self.on
        place = row.rated.place
        for tree, at in zip(self.own, self.place(self.own), strict=True):
            here = int(place[tree])
            if here >= 0 and row.chosen.make_safe[here]:
                acknowledged = row.chosen.acknowledged[here]
                day = row.decisions.acknowledged_on[tree] if acknowledged else -1
                facts.add(int(at), "action_make_safe", {
                    "days": self.parameters.work.deadlines.make_safe,
                    "acknowledged_on": day_text(int(day)),
                })  # fmt: skip
            if row.best[tree] == len(inputs.ACTIONS):
                facts.add(int(at), "action_none")
        chosen = np.flatnonzero(works.chosen)
        chosen = chosen[self.place(works.tree[chosen]) >= 0]
        main = works.action[chosen] == row.best[works.tree[chosen]]
        self._chosen(facts, np.concatenate([chosen[main], chosen[~main]]))
        tell_tests(facts, row.chosen.pay, row.evidence.trees, works, self.place)
        self._terms(facts, chosen[cuts(works.take(chosen))], on)
        self._people(facts)

    def _chosen(self, facts: Facts, rows: Ints) -> None:
        """What is to be done, the first of each tree first, each with its reason."""
        works, on = self.works, self.on
        order = 2 * np.arange(len(rows))
        sets, action = self.place(works.tree[rows]), words_at(works.action[rows], inputs.ACTIONS)
        days = [None if d == NO_DEADLINE else d for d in on.days[rows].tolist()]
        told: dict[str, list[int]] = {}
        for place, rule in enumerate(works.rule[rows].tolist()):
            why = self.parameters.work.rules[rule].why if rule >= 0 else "why_decision"
            told.setdefault(why, []).append(place)
        first = works.action[rows] == self.row.best[works.tree[rows]]
        a, b = np.flatnonzero(first), np.flatnonzero(~first)
        facts.tell(
            Many("action_chosen", sets[a], order[a], {
                "action": [action[n] for n in a],
                "part": words_at(works.part[rows[a]], inputs.PARTS),
                "crew": words_at(on.crew[rows[a]], CREWS),
                "hours": on.hours[rows[a]].astype(np.float64),
                "deadline_days": [days[n] for n in a],
                "residual_rating": words_of(RatingWord, works.residual_rating[rows[a]]),
            }),
            Many("action_beside", sets[b], order[b],
                 {"action": [action[n] for n in b], "deadline_days": [days[n] for n in b]}),
            *(Many(why, sets[at], order[at] + 1, {"action": [action[n] for n in at]})
              for why, at in told.items()),
        )  # fmt: skip

    def _terms(self, facts: Facts, rows: Ints, on: Terms) -> None:
        seasons, trees = self.parameters.work.seasons, self.row.trees
        wires = np.array([inputs.WIRES.index(name) for name in _WIRED])
        voltage = trees.table["voltage_v"]
        for number in rows:
            tree = int(self.works.tree[number])
            at = int(self.place(np.array([tree]))[0])
            season = int(on.season.rule[number])
            if season >= 0 and on.season.lifted[number]:
                rule = seasons[season]
                facts.add(at, "season_lifted", {"code": rule.code, "lifted_by": rule.lifted_by})
            elif season >= 0 and on.season.not_before[number] != NO_DAY:
                day = day_text(int(on.season.not_before[number]))
                facts.add(at, "season_closed", {"code": seasons[season].code, "not_before": day})
            elif season >= 0:
                begins, ends = on.season.closed[on.season.spans[number]][0]
                facts.add(at, "season_ahead", {
                    "code": seasons[season].code, "closed_from": day_text(begins),
                    "closed_to": day_text(ends),
                })  # fmt: skip
            if season >= 0 and not self.parameters.work.region_known:
                facts.add(at, "season_region_unknown", assumed=True)
            if trees.wires[tree] in wires:
                facts.add(at, "wires_near", {
                    "wires": inputs.WIRES[trees.wires[tree]],
                    "voltage_v": voltage[tree].as_py(),
                    "distance_m": _distance(voltage[tree].as_py(), self.parameters),
                }, source="osha_1910_269")  # fmt: skip
            elif trees.wires[tree] == inputs.WIRES.index("unknown"):
                facts.add(at, "wires_unknown", source="osha_1910_269")

    def _people(self, facts: Facts) -> None:
        row = self.row
        climbing = Climbing(self.parameters.work.no_climb, row.evidence.parts, row.chosen.state)
        for tree, at in zip(self.own, self.place(self.own), strict=True):
            here = int(row.rated.place[tree])
            if here >= 0 and row.chosen.climb_rule[here] >= 0:
                facts.add(int(at), *climbing.told(int(row.chosen.climb_rule[here]), here))
        tell_decisions(facts, row, self.decisions, self.place)
