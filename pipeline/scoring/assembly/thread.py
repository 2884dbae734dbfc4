"""The thread of reasons of each tree that has its own: from what was seen to what is to be done.

Each function writes one link of the thread, over rows of evidence; nothing is computed here.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa

from pipeline.scoring.actions.effort import NO_DEADLINE
from pipeline.scoring.assembly.bodies import Sightings
from pipeline.scoring.assembly.climbing import Climbing
from pipeline.scoring.assembly.columns import day_text, place_of, texts
from pipeline.scoring.assembly.evidence import MECHANICS, STRENGTH, WITNESSES
from pipeline.scoring.assembly.holding_told import Balance, tell_holding, tell_wood
from pipeline.scoring.assembly.identifications import tell_bodies
from pipeline.scoring.assembly.looks import Looks
from pipeline.scoring.assembly.ratings import ACTION_NAMES, Row
from pipeline.scoring.assembly.sighted_told import tell_sightings
from pipeline.scoring.assembly.works import CREWS, Terms, Works, cuts
from pipeline.scoring.explanation import Facts
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.failure import DEFECTS
from pipeline.scoring.parameters.targets import GROUPS
from pipeline.scoring.parameters.work import ROT_WORDS
from pipeline.tables import inputs
from pipeline.terms import (
    ConsequenceWord,
    FailureWord,
    ImpactWord,
    LikelihoodWord,
    OccupancyWord,
    RatingWord,
    word,
)
from pipeline.units import Flags, Floats, Ints

_WIRED = ("communication", "low_voltage", "high_voltage")


@dataclass(frozen=True)
class Thread:
    """Everything that the threads speak of."""

    row: Row
    sightings: Sightings
    looks: Looks
    zones: pa.Table
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
        self._rating(facts)
        self._action(facts)

    def _rows(self, trees: Ints) -> Iterator[tuple[int, int]]:
        sets = self.place(trees)
        for row in np.flatnonzero(sets >= 0):
            yield int(row), int(sets[row])

    def _seen(self, facts: Facts) -> None:
        tell_sightings(facts, self.sightings, self.place, self.parameters)
        self._seen_by_inspectors(facts)
        for row, at in self._rows(self.own):
            tree = int(self.own[row])
            trees = self.row.trees
            if trees.height_filled[tree] and trees.rated[tree]:
                height = {"height_m": float(trees.height[tree])}
                how = "seen_height_assumed" if np.isnan(trees.dbh[tree]) else "seen_height_filled"
                facts.add(at, how, height, assumed=True)
            if np.isnan(trees.dbh[tree]) and trees.rated[tree]:
                size = {"dbh_cm": float(trees.dbh_used[tree])}
                facts.add(at, "seen_dbh_filled", size, assumed=True)

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
        for rows, at in self._fungi(parts.taxon >= 0):
            row, taxon = rows[0], parts.taxon[rows[0]]
            # The rot is heard of all taxa together: the first of them need not be one that does it.
            does = self.parameters.failure.catalogue.rot[taxon] == parts.rot[row]
            facts.add(at, "fungus_at_work", {
                "name": self.parameters.failure.names[taxon] if does else None,
                "probability": self._fungus_share[row],
                "rot": ROT_WORDS[parts.rot[row]],
                "code": f"R{parts.code[row]}",
                "part": "|".join(inputs.PARTS[parts.part[n]] for n in rows),
            })  # fmt: skip
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
        for row, at in self._rows(looks.section_tree):
            part = inputs.PARTS[looks.section_part[row]]
            facts.add(at, "wood_measured", {
                "part": part,
                "decayed_share": float(looks.sections.decayed_share[row]),
                "shell_cm": float(looks.sections.thinnest_shell[row]),
                "diameter_cm": float(looks.sections.diameter[row]),
            })  # fmt: skip
            for number in np.flatnonzero(looks.strength.applies[row]):
                formula = limits.formula[number]
                facts.add(at, "wood_formula", {
                    "part": part,
                    "formula": formula,
                    "value_share": float(looks.strength.value[row, number]),
                    "limit_share": float(limits.act[number]),
                    "passed": bool(looks.strength.passed[row, number]),
                }, source=sources[formula])  # fmt: skip
        parts = self.row.evidence.parts
        for rows, at in self._fungi((parts.taxon >= 0) & ~parts.measured):
            names = "|".join(inputs.PARTS[parts.part[n]] for n in rows)
            facts.add(at, "wood_not_measured", {"part": names})
        tell_wood(facts, self.balance, self.row.evidence, self.place)

    def _fungi(self, wanted: Flags) -> Iterator[tuple[list[int], int]]:
        """Rows of the part evidence of each tree, fungus and rot, with the fact set."""
        parts = self.row.evidence.parts
        together: dict[tuple[int, int, int], list[int]] = {}
        for row, at in self._rows(self.row.evidence.trees[parts.tree]):
            if wanted[row]:
                alike = (at, int(parts.taxon[row]), int(parts.rot[row]))
                together.setdefault(alike, []).append(row)
        for (at, *_), rows in together.items():
            yield rows, at

    def _failure(self, facts: Facts) -> None:
        spoken, sources = self.row.evidence.spoken, self.parameters.failure.rule_sources
        for row, at in self._rows(spoken.tree):
            if not self._speaks_first[row]:
                continue
            rule = spoken.rule_ids[spoken.rule[row]]
            part = inputs.PARTS[spoken.part[row]]
            facts.add(at, "failure_rule", {
                "part": part,
                "failure": word(FailureWord(spoken.word[row])),
                "rule": rule,
                "witness": WITNESSES[spoken.witness[row]],
                "seen_on": day_text(spoken.seen_on[row]),
            }, source=sources[rule])  # fmt: skip
            if spoken.act_at_once[row]:
                facts.add(at, "failure_act_at_once", {"part": part}, source=sources[rule])
        tell_holding(facts, self.balance, self.row.evidence, self.parameters, self.place)
        bands, years = self.parameters.failure.bands, self.parameters.time_frame_years
        for at, pair in self._worst():
            failure = int(self.row.judged.failure[pair])
            low, high = float(bands.low[failure - 1]), float(bands.high[failure - 1])
            facts.add(at, "failure_frequency", {
                "failure": word(FailureWord(failure)),
                "low_share": 1.0 - (1.0 - low) ** years,
                "high_share": 1.0 - (1.0 - high) ** years,
                "years": years,
            }, source="project_elicited", assumed=True)  # fmt: skip

    @cached_property
    def _speaks_first(self) -> Flags:
        """Findings worth a sentence: of several formulae for one part, the first of the worst."""
        spoken = self.row.evidence.spoken
        order = np.lexsort((np.arange(len(spoken.tree)), -spoken.word, spoken.part, spoken.tree))
        formulae = order[spoken.witness[order] == STRENGTH]
        place = spoken.tree[formulae] * len(inputs.PARTS) + spoken.part[formulae]
        _, first = np.unique(place, return_index=True)
        speaks: Flags = (spoken.witness != STRENGTH) & (spoken.witness != MECHANICS)
        speaks[formulae[first]] = True
        return speaks

    def _worst(self) -> Iterator[tuple[int, int]]:
        """Fact set and worst pair of each tree with one."""
        pairs = self.row.rated.worst[self.own]
        for place in np.flatnonzero(pairs >= 0):
            yield self.first_set + int(place), int(pairs[place])

    def _target(self, facts: Facts) -> None:
        pairs = self.row.pairs
        names = texts(self.zones, "name")
        zones = np.bincount(pairs.tree, minlength=len(self.row.evidence.trees))
        for at, pair in self._worst():
            occupancy = word(OccupancyWord(pairs.occupancy[pair]))
            if pairs.assumed[pair]:
                facts.add(at, "target_assumed", {"occupancy": occupancy}, assumed=True)
            elif pairs.zone[pair] < 0:
                facts.add(at, "target_none_in_reach")
            else:
                facts.add(at, "target_met", {
                    "kind": inputs.ZONE_KINDS[pairs.kind[pair]],
                    "name": names[pairs.zone[pair]],
                    "distance_m": float(pairs.distance[pair]),
                    "occupancy": occupancy,
                    "occupied_share": float(pairs.occupied_share[pair]),
                    "direction_share": float(pairs.direction_share[pair]),
                    "impact": word(ImpactWord(pairs.impact[pair])),
                })  # fmt: skip
            if (more := int(zones[pairs.tree[pair]]) - 1) > 0:
                facts.add(at, "target_more", {"count": more})
            diameter = float(pairs.diameter[pair])
            facts.add(at, "consequence_of_part", {
                "part": inputs.PARTS[pairs.part[pair]],
                "diameter_cm": diameter,
                "target": GROUPS[pairs.group[pair]],
                "consequence": word(ConsequenceWord(pairs.consequence[pair])),
            }, source="isa_bmp_2017")  # fmt: skip
            if pairs.filled[pair]:
                filled = {"diameter_cm": diameter}
                facts.add(at, "consequence_size_filled", filled, assumed=True)

    def _rating(self, facts: Facts) -> None:
        row, pairs, judged = self.row, self.row.pairs, self.row.judged
        by_points = self.parameters.method == "points"
        for place, tree in enumerate(self.own):
            at, pair = self.first_set + place, int(row.rated.worst[tree])
            program = word(RatingWord(row.rated.program[tree]))
            if not row.trees.rated[tree]:
                facts.add(at, "rating_none")
            elif pair < 0 or row.rated.program[tree] == RatingWord.NOT_ASSESSED:
                low = row.rated.program[tree] == RatingWord.LOW
                facts.add(at, "rating_low_no_defect" if low else "rating_not_assessed")
            elif by_points:
                points = {"points": int(judged.points[pair]), "rating": program}
                facts.add(at, "rating_points", points, source="usfs_na_tp_03_03")
            else:
                facts.add(at, "rating_of_pair", {
                    "failure": word(FailureWord(judged.failure[pair])),
                    "impact": word(ImpactWord(pairs.impact[pair])),
                    "likelihood": word(LikelihoodWord(judged.likelihood[pair])),
                    "consequence": word(ConsequenceWord(pairs.consequence[pair])),
                    "rating": program,
                }, source="ansi_a300_9")  # fmt: skip
            if pair >= 0:
                facts.add(at, "rating_harm", {
                    "harm": float(row.rated.harm[tree]),
                    "low": float(row.rated.low[tree]),
                    "high": float(row.rated.high[tree]),
                }, source="project_elicited", assumed=True)  # fmt: skip
            if row.decisions.rating[tree] >= 0:
                facts.add(at, "rating_overridden", {
                    "rating": word(RatingWord(row.rating[tree])),
                    "program_rating": program,
                    "decided_on": day_text(row.decisions.decided_on[tree]),
                })  # fmt: skip

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
        for number in [*chosen[main], *chosen[~main]]:
            self._one_action(facts, int(number))
        self._terms(facts, chosen[cuts(works.take(chosen))], on)
        self._people(facts)

    def _one_action(self, facts: Facts, number: int) -> None:
        works, on = self.works, self.on
        at = int(self.place(works.tree[[number]])[0])
        action = inputs.ACTIONS[works.action[number]]
        days = int(on.days[number]) if on.days[number] != NO_DEADLINE else None
        if works.action[number] == self.row.best[works.tree[number]]:
            facts.add(at, "action_chosen", {
                "action": action,
                "part": inputs.PARTS[works.part[number]],
                "crew": CREWS[on.crew[number]],
                "hours": float(on.hours[number]),
                "deadline_days": days,
                "residual_rating": word(RatingWord(works.residual_rating[number])),
            })  # fmt: skip
        else:
            facts.add(at, "action_beside", {"action": action, "deadline_days": days})
        rule = works.rule[number]
        why = self.parameters.work.rules[rule].why if rule >= 0 else "why_decision"
        facts.add(at, why, {"action": action})

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
            elif season >= 0:
                day = day_text(int(on.season.not_before[number]))
                facts.add(at, "season_closed", {"code": seasons[season].code, "not_before": day})
            if season >= 0 and not self.parameters.work.region_known:
                facts.add(at, "season_region_unknown", assumed=True)
            if trees.wires[tree] in wires:
                facts.add(at, "wires_near", {
                    "wires": inputs.WIRES[trees.wires[tree]],
                    "voltage_v": voltage[tree].as_py(),
                }, source="osha_1910_269")  # fmt: skip
            elif trees.wires[tree] == inputs.WIRES.index("unknown"):
                facts.add(at, "wires_unknown", source="osha_1910_269")

    def _people(self, facts: Facts) -> None:
        row = self.row
        climbing = Climbing(self.parameters.work.no_climb, row.evidence.parts, row.chosen.state)
        newest = row.evidence.latest_on
        for tree, at in zip(self.own, self.place(self.own), strict=True):
            here = int(row.rated.place[tree])
            if here >= 0 and row.chosen.climb_rule[here] >= 0:
                facts.add(int(at), *climbing.told(int(row.chosen.climb_rule[here]), here))
            kind = int(row.decisions.kind[tree])
            if kind < 0:
                continue
            day = day_text(int(row.decisions.decided_on[tree]))
            told = {"decision": inputs.DECISIONS[kind], "decided_on": day}
            facts.add(int(at), "decision_stands", told)
            if row.program_best[tree] != row.best[tree]:
                would = {"action": ACTION_NAMES[row.program_best[tree]]}
                facts.add(int(at), "action_program_would", would)
            if here >= 0 and newest[here] > row.decisions.decided_on[tree]:
                seen = day_text(int(newest[here]))
                facts.add(int(at), "decision_newer_evidence", {"decided_on": day, "seen_on": seen})
