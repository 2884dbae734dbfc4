"""The scoring stage: reads the tables of ingest, calls the maths, writes the tables of scoring."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa

from pipeline.progress import Teller
from pipeline.published.table import Library
from pipeline.scoring.assembly import reviews as review_list
from pipeline.scoring.assembly import tables, works
from pipeline.scoring.assembly.bodies import Sightings, read_sightings
from pipeline.scoring.assembly.chances import (
    part_chances,
    said_by_mechanics,
    witnesses_apart,
)
from pipeline.scoring.assembly.chosen import Chosen, Ratings, choose_actions
from pipeline.scoring.assembly.columns import NO_DAY, day_number, whole
from pipeline.scoring.assembly.decisions import Decisions, overridden_words, read_decisions
from pipeline.scoring.assembly.evidence import (
    Evidence,
    failure_table,
    gather,
    looked_on,
    sighted,
    with_mechanics,
)
from pipeline.scoring.assembly.groups import group_facts
from pipeline.scoring.assembly.heard_only import (
    heard_only,
    not_called_low,
    not_only_watched,
    still_inspected,
)
from pipeline.scoring.assembly.holding import holding
from pipeline.scoring.assembly.holding_told import Balance, of_witnesses
from pipeline.scoring.assembly.identifications import identification_columns
from pipeline.scoring.assembly.judged import Judged, judge
from pipeline.scoring.assembly.key_table import key_columns
from pipeline.scoring.assembly.looked import Looked, looked, once_rated
from pipeline.scoring.assembly.looks import Looks, read_looks
from pipeline.scoring.assembly.notes_told import NOTE_COLUMNS, of_notes
from pipeline.scoring.assembly.ordinary import mechanics_table
from pipeline.scoring.assembly.overtaken import worse_since
from pipeline.scoring.assembly.ratings import (
    Rated,
    Row,
    best_actions,
    rate_trees,
    rating_columns,
    with_band,
)
from pipeline.scoring.assembly.rounds import rounds_columns
from pipeline.scoring.assembly.standing import Standing, standing
from pipeline.scoring.assembly.targets import (
    ZONE_COLUMNS,
    Pairs,
    Under,
    rated_pairs,
    read_zones,
    under_trees,
)
from pipeline.scoring.assembly.tests_found import Known as KnownOfParts
from pipeline.scoring.assembly.tests_pay import tests_pay_columns
from pipeline.scoring.assembly.thread import Thread
from pipeline.scoring.assembly.trees import (
    INSPECTION_COLUMNS,
    TREE_COLUMNS,
    Trees,
    longitude,
    read_trees,
)
from pipeline.scoring.assembly.uncertain import Known, Uncertain, uncertain
from pipeline.scoring.assembly.which_told import sighting_tree_columns
from pipeline.scoring.assembly.wood import decay_columns, wood_left
from pipeline.scoring.explanation import Facts
from pipeline.scoring.failure.bands import YearlyProbability
from pipeline.scoring.parameters import Parameters, build
from pipeline.settings.model import RunSettings
from pipeline.tables import catalogue_actions as actions_out
from pipeline.tables import catalogue_scoring as out
from pipeline.tables import catalogue_wood as wood_out
from pipeline.tables.catalogue import TABLES
from pipeline.tables.schema import TableSchema
from pipeline.tables.store import RunStore
from pipeline.terms import FailureWord
from pipeline.units import Flags, Ints, Words

_READ: dict[str, tuple[str, ...] | None] = {
    "trees": TREE_COLUMNS,
    "sightings": None,
    "sighting_matches": None,
    "inspections": INSPECTION_COLUMNS,
    "defects": None,
    "readings": None,
    "zones": (*ZONE_COLUMNS, "how"),
    "decisions": None,
    "work_done": ("tree_key", "done_on", "action"),
    "notes": NOTE_COLUMNS,
    "quarantine": ("quarantine_key", "danger", "about", "reason"),
}


@dataclass(frozen=True)
class _Judgement:
    """Everything known of the trees before anything is chosen."""

    trees: Trees
    sightings: Sightings
    looks: Looks
    balance: Balance
    evidence: Evidence
    chance: YearlyProbability
    under: Under
    pairs: Pairs
    judged: Judged
    looked: Looked
    rated: Rated
    heard: Flags
    unsure: Uncertain
    standing: Standing


def run(settings: RunSettings, store: RunStore, library: Library, teller: Teller) -> None:
    """Rate every tree of ingest and write all tables of scoring.

    Raises
    ------
    PipelineError
        If a published table or a table of ingest cannot be used.
    """
    teller.step("reading what was seen")
    parameters = build(settings, library)
    works.check_reasons(parameters.work.rules)
    read = {
        name: store.read(TABLES[f"ingest.{name}"], columns=columns)
        for name, columns in _READ.items()
    }
    teller.step("rating trees")
    # Where the settings name a region, nobody needs to know where on earth the town lies.
    epsg = store.epsg if parameters.sighted.region < 0 and len(read["trees"]) else None
    judgement = _judge(read, epsg, parameters)
    reported = judgement.sightings.reported()
    _write(store, out.SIGHTING_TREES, sighting_tree_columns(reported.joined))
    _write(store, out.TAXON_POSTERIORS, tables.posterior_columns(reported, parameters.failure))
    _write(store, out.IDENTIFICATIONS, identification_columns(reported, parameters))
    known = parameters.sighted
    _write(store, out.KEY_PARAMETERS, key_columns(known.identification, sure=known.sure))
    _write(store, wood_out.STRENGTH, tables.strength_columns(judgement.looks, parameters.failure))
    wood, held, evidence = judgement.balance.wood, judgement.balance.held, judgement.evidence
    _write(store, wood_out.DECAY, decay_columns(wood, evidence, judgement.looks, parameters))
    _write(store, out.FAILURE, failure_table(judgement.evidence.spoken))
    _write(store, out.IMPACTS, tables.impact_columns(judgement.pairs, judgement.evidence))
    _write(store, out.PART_RATINGS,
           tables.part_rating_columns(
               judgement.pairs, judgement.judged, judgement.evidence, parameters
           ))  # fmt: skip
    teller.step("choosing actions and writing reasons")
    # Nothing hangs on the mechanics of trees without a sign: numpy and Arrow reckon and write them
    # without the interpreter's lock, while the actions are chosen.
    with ThreadPoolExecutor(1) as second:
        waiting = second.submit(
            lambda: store.write(
                wood_out.MECHANICS,
                mechanics_table(wood, held, judgement.trees, evidence.trees, parameters),
            )
        )
        _act(judgement, read, store, parameters)
        waiting.result()


def _judge(read: Mapping[str, pa.Table], epsg: int | None, parameters: Parameters) -> _Judgement:
    failure = parameters.failure
    trees = read_trees(read["trees"], parameters, read["inspections"])
    sightings = read_sightings(
        read["sightings"], read["sighting_matches"], trees, longitude(trees, epsg), parameters
    )
    looks = read_looks(read["inspections"], read["defects"], read["readings"], trees, failure)
    seen_by = gather(sightings, looks, read["work_done"], trees, failure)
    wood = wood_left(seen_by, sightings, looks, read["readings"], trees, parameters)
    held = holding(wood, seen_by, looks, trees, parameters)
    said = said_by_mechanics(wood, held, parameters)
    evidence = with_mechanics(seen_by, said, sightings, looks)
    apart = witnesses_apart(evidence, seen_by, held)
    zones = read_zones(read["zones"], parameters)
    under = under_trees(trees, zones, parameters)
    pairs = rated_pairs(evidence, trees, zones, read["defects"], parameters)
    chance = part_chances(evidence, seen_by, wood, held, parameters)
    judged = judge(pairs, evidence, chance, parameters)
    inspected, seen = looked_on(sightings, looks, read["work_done"], trees)
    judgeable = sighted(sightings, seen_by, len(trees))
    when = looked(trees, under, inspected, seen, judgeable, parameters)
    none_seen = failure.kinds.none_seen
    heard = heard_only(sightings, looks, evidence, none_seen=none_seen, count=len(trees))
    rated = rate_trees(trees, evidence, pairs, judged, when, parameters)
    rated = not_called_low(rated, heard, when)
    known = Known(evidence, seen_by, wood, held, chance)
    unsure = uncertain(known, pairs, judged, read["zones"], parameters)
    rated = with_band(rated, unsure)
    keys = evidence.trees
    stands = standing(rated.worst[keys], rated.program[keys], pairs, judged, chance, unsure)
    return _Judgement(
        trees, sightings, looks, Balance(wood, held, seen_by, apart), evidence, chance, under,
        pairs, judged, when, rated, heard, unsure, stands,
    )  # fmt: skip


def _act(
    j: _Judgement, read: Mapping[str, pa.Table], store: RunStore, parameters: Parameters
) -> None:
    count, keys = len(j.trees), j.evidence.trees
    today = day_number(parameters.as_of)
    decisions = read_decisions(read["decisions"], count=count, today=today)
    stands = overridden_words(j.rated.program, decisions)
    code = _codes(j.evidence, count)
    j = replace(j, looked=once_rated(j.looked, stands, code, j.trees, parameters))
    chosen = _choose(j, decisions, stands, parameters)
    candidates, best, program_best = _candidates(j, chosen, decisions, stands, parameters)
    facts = Facts()
    decided_on = np.where(decisions.kind >= 0, decisions.decided_on, NO_DAY)
    own = decided_on != NO_DAY
    own[whole(read["decisions"], "tree_key")[decisions.told]] = True
    own[keys] = True
    groups = group_facts(facts, j.trees, j.under, j.looked, j.evidence, own)
    fact_set = groups.fact_set.copy()
    with_own = np.flatnonzero(own)
    fact_set[with_own] = groups.count + np.arange(len(with_own))
    row = Row(
        trees=j.trees,
        under=j.under,
        looked=j.looked,
        evidence=j.evidence,
        pairs=j.pairs,
        judged=j.judged,
        rated=j.rated,
        chosen=chosen,
        decisions=decisions,
        overtaken=worse_since(decided_on, j.evidence, j.sightings),
        rating=stands,
        best=best,
        program_best=program_best,
        fact_set=fact_set,
        apart=j.balance.trees_apart(),
        unsure=j.unsure,
        standing=j.standing,
    )
    on = works.terms(candidates, _facing(row, code), j.trees, parameters)
    _write(store, out.TREE_RATINGS, rating_columns(row, parameters))
    _write_actions(store, j, chosen, candidates, on, parameters)
    Thread(
        row, j.sightings, j.looks, read["zones"], read["decisions"], j.balance, candidates, on,
        parameters, groups.count, with_own,
    ).write(facts)  # fmt: skip
    _write(store, out.FACTS, _fact_columns(facts))
    _write(store, out.REVIEWS, _reviews(j, row, read, parameters).columns())


def _write_actions(
    store: RunStore,
    j: _Judgement,
    chosen: Chosen,
    candidates: works.Works,
    on: works.Terms,
    parameters: Parameters,
) -> None:
    """What could be done, which tests pay, and the rounds of inspection."""
    _write(store, actions_out.CANDIDATE_ACTIONS, works.candidate_table(candidates, on, parameters))
    _write(
        store,
        actions_out.TESTS_THAT_PAY,
        tests_pay_columns(chosen.pay, j.evidence.trees, candidates, on.hours),
    )
    _write(
        store,
        actions_out.INSPECTION_ROUNDS,
        rounds_columns(
            j.trees,
            j.looked,
            candidates,
            on.hours,
            j.rated.harm,
            square_m=parameters.work.sooner.square_m,
        ),
    )


def _reviews(
    j: _Judgement, row: Row, read: Mapping[str, pa.Table], parameters: Parameters
) -> review_list.ReviewList:
    """What needs a person."""
    found = review_list.ReviewList()
    review_list.of_quarantine(found, read["quarantine"])
    taxa = parameters.failure.catalogue.taxon_id
    names = dict(zip(taxa, parameters.failure.names, strict=True))
    of_notes(found, read["notes"], names, read["trees"]["tree_id"])
    review_list.of_sightings(found, j.sightings.reported(), j.trees, parameters)
    review_list.of_trees(found, row, parameters)
    of_witnesses(found, j.balance, j.trees, parameters)
    review_list.of_the_run(found, row, read["decisions"], parameters)
    return found


def _choose(j: _Judgement, decisions: Decisions, stands: Words, parameters: Parameters) -> Chosen:
    """What is to be done to the trees with evidence."""
    keys, balance = j.evidence.trees, j.balance
    acknowledged_on = decisions.acknowledged_on
    worse = worse_since(acknowledged_on, j.evidence, j.sightings)
    return choose_actions(
        j.pairs,
        j.judged,
        balance.seen.words,
        KnownOfParts(j.evidence, balance.wood, balance.held, j.chance, j.looks),
        ratings=Ratings(j.rated.program[keys], stands[keys]),
        occupancy=j.under.occupancy[keys],
        acknowledged=(acknowledged_on[keys] >= 0) & ~worse.any[keys],
        parameters=parameters,
    )


def _candidates(
    j: _Judgement, chosen: Chosen, decisions: Decisions, stands: Words, parameters: Parameters
) -> tuple[works.Works, Ints, Ints]:
    """All candidates, the best action of each tree, and what the program alone would choose."""
    keys = j.evidence.trees
    of_evidence = works.from_evidence(chosen.made, chosen.choice, keys, parameters.work)
    of_program = works.from_evidence(chosen.program_made, chosen.program, keys, parameters.work)
    told, best = _with_looks(of_evidence, chosen.choice.main, stands, j, parameters)
    _, program_best = _with_looks(of_program, chosen.program.main, j.rated.program, j, parameters)
    told = works.overridden(told, decisions.action, stands, j.rated.harm)
    best = np.where(decisions.action >= 0, decisions.action, best)
    return told, best, program_best


def _with_looks(
    of_evidence: works.Works, main: Ints, rating: Words, j: _Judgement, parameters: Parameters
) -> tuple[works.Works, Ints]:
    """Candidates with the looks that are due, and the best action of each tree."""
    count, keys = len(j.trees), j.evidence.trees
    of_evidence, main = still_inspected(of_evidence, main, j.heard, j.looked)
    of_evidence, main, due = not_only_watched(
        of_evidence, main, rating, j.looked, keys, accepted=parameters.accepted
    )
    busy = np.zeros(count, np.bool_)
    busy[of_evidence.tree[of_evidence.chosen]] = True
    looks = works.inspections(due, rating, j.rated.harm, busy=busy, parameters=parameters.work)
    action = of_evidence.action[np.maximum(main, 0)] if len(of_evidence.action) else main
    all_works = of_evidence.plus(looks)
    return all_works, best_actions(count, all_works, np.where(main >= 0, action, -1), keys)


def _codes(evidence: Evidence, count: int) -> Words:
    """Highest action code of each tree."""
    code = np.zeros(count, np.int8)
    np.maximum.at(code, evidence.trees[evidence.parts.tree], evidence.parts.code)
    return code


def _facing(row: Row, code: Words) -> works.Facing:
    count, keys, parts = len(row.trees), row.evidence.trees, row.evidence.parts
    no_climb, imminent = np.zeros(count, np.bool_), np.zeros(count, np.bool_)
    no_climb[keys] = row.chosen.climb_rule >= 0
    imminent[keys[parts.tree[parts.failure >= FailureWord.IMMINENT]]] = True
    defects = np.zeros(count, np.int64)
    defects[keys] = row.chosen.state.defects
    return works.Facing(row.rating, code, no_climb, row.looked.due, imminent, defects)


def _fact_columns(facts: Facts) -> dict[str, object]:
    return {
        "fact_set": np.array(facts.fact_set, np.int64),
        "seq": np.array(facts.sequence, np.int32),
        "link": pa.array(facts.link, pa.string()),
        "statement": pa.array(facts.statement, pa.string()),
        "values": pa.array(facts.values, pa.string()),
        "source": pa.array(facts.source, pa.string()),
        "assumed": np.array(facts.assumed, np.bool_),
    }


def _write(store: RunStore, table: TableSchema, columns: Mapping[str, object]) -> None:
    store.write(table, pa.table(dict(columns)))
