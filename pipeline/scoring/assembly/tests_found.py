"""What tests of parts may find, and the failure words that each result would lead to.

A result counts as the program would count it: the posterior of the tree's own grid for mechanics,
the rules of measured walls, of mallets and of bared roots for the eye, and a fungus held down where
the test measures its rot.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.actions import results, testing
from pipeline.scoring.assembly.columns import place_of
from pipeline.scoring.assembly.evidence import FUNGUS, STRENGTH, VISUAL, Evidence
from pipeline.scoring.assembly.holding import Holding, states_of
from pipeline.scoring.assembly.holding_states import roots_lost
from pipeline.scoring.assembly.looks import Looks
from pipeline.scoring.assembly.wood import Wood
from pipeline.scoring.assembly.wood_evidence import PARTS
from pipeline.scoring.decay.anchorage import anchorage_kept
from pipeline.scoring.decay.strength import MeasuredSections, strength_table
from pipeline.scoring.failure.bands import YearlyProbability
from pipeline.scoring.failure.hearsay import FUNGUS as A_FUNGUS
from pipeline.scoring.failure.measured import measured_findings
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.failure import DEFECTS
from pipeline.tables import inputs
from pipeline.terms import FailureWord, RotType
from pipeline.units import Flags, Floats, Ints, Words

_BATCH = 64
_SEES_ALL_ROT = ("tomography", "pull_test", "dig_root_collar")
# A mallet alone measures nothing, so the part is as unknown after it as before.
_MEASURES = ("drill", "tomography", "dig_root_collar", "pull_test")
_SHELLS = ("drill", "tomography")


@dataclass(frozen=True)
class Known:
    """What is known of the trees with evidence before anything is chosen."""

    evidence: Evidence
    wood: Wood
    held: Holding
    chance: YearlyProbability
    looks: Looks


@dataclass(frozen=True)
class Found:
    """What tests of parts lead to, each first axis (tests,)."""

    by_word: testing.ByWord
    fails: Floats
    measured: Flags
    blind: Flags


def of_parts(tree: Ints, part: Words, action: Ints, known: Known, parameters: Parameters) -> Found:
    """Words after each test, batch after batch."""
    at = tree * PARTS + part
    count = len(at)
    chance, fails = np.zeros((count, testing.WORDS)), np.zeros((count, testing.WORDS))
    measured, blind = np.zeros(count, np.bool_), np.zeros(count, np.bool_)
    eyes = Eyes.of(at, known)
    for number in np.unique(action):
        test = inputs.ACTIONS[number]
        mine = np.flatnonzero(action == number)
        rot = known.evidence.parts.rot[
            place_of(at[mine], known.evidence.parts.tree * PARTS + known.evidence.parts.part)
        ]
        hard = np.isin(rot, (RotType.BROWN, RotType.SOFT)) & (test not in _SEES_ALL_ROT)
        measured[mine] = ~hard & (test in _MEASURES)
        seen = results.sees(test, parameters.decay.law.instruments)
        blind[mine] = seen[np.maximum(rot.astype(np.int64) - 1, 0)] <= 0
        for start in range(0, len(mine), _BATCH):
            some = mine[start : start + _BATCH]
            told = _words_after(test, at[some], eyes.take(some), measured[some], known, parameters)
            chance[some], fails[some] = told.chance, told.fails
    now = np.append(known.chance.middle, 0.0)[
        place_of(
            known.evidence.trees[tree] * PARTS + part,
            known.evidence.words.tree * PARTS + known.evidence.words.part,
        )
    ]
    return Found(testing.ByWord(chance, fails), now, measured, blind)


@dataclass(frozen=True)
class Eyes:
    """Words of the witnesses of parts beside mechanics, 0 where they do not speak, (tests,)."""

    visual: Words
    strength: Words
    fungus: Words

    @classmethod
    def of(cls, at: Ints, known: Known) -> "Eyes":
        """Worst word of each witness of rows of `Wood`."""
        spoken = known.evidence.spoken
        key = place_of(spoken.tree, known.evidence.trees) * PARTS + spoken.part
        worst = np.zeros((3, len(known.wood.tree)), np.int8)
        for number, witness in enumerate((VISUAL, STRENGTH, FUNGUS)):
            mine = spoken.witness == witness
            np.maximum.at(worst[number], key[mine], spoken.word[mine])
        return cls(*worst[:, at])

    def take(self, rows: Ints) -> "Eyes":
        """Some of them."""
        return Eyes(self.visual[rows], self.strength[rows], self.fungus[rows])


def _words_after(
    test: str, at: Ints, eyes: Eyes, measured: Flags, known: Known, parameters: Parameters
) -> testing.ByWord:
    wood, failure, law = known.wood, parameters.failure, parameters.decay.law
    p, weight = states_of(at, wood, known.held, parameters)
    lost = roots_lost(at, wood, law.grid.x[None])
    told = results.results(
        test, wood.diameter[at], np.log(anchorage_kept(lost, parameters.mechanics.anchorage)),
        law.grid, law.instruments, parameters.work.results,
    )  # fmt: skip
    held = np.minimum(eyes.fungus, np.int8(failure.fungus_measured))
    fungus = np.where(measured, held, eyes.fungus)
    rest = np.maximum(eyes.visual, fungus)
    if test not in _SHELLS:
        rest = np.maximum(rest, eyes.strength)
    eye = np.maximum(rest[:, None], _eye_after(test, at, told.decayed, known, parameters))
    heard, dead = wood.told.heard[at], known.held.dead[at // PARTS]
    of_note = int(failure.hearsay.word[A_FUNGUS])
    # How long a tree has been dead is assumed, and an assumption makes nothing imminent.
    at_most = np.where(dead, int(FailureWord.PROBABLE), int(FailureWord.IMMINENT))
    speaks = known.held.word[at] > 0
    at_most = np.where(heard, np.minimum(at_most, of_note), np.where(speaks, at_most, 0))
    limits = parameters.mechanics.limits
    rows = len(at)
    return testing.by_word(
        p.reshape(rows, -1),
        weight.reshape(rows, -1),
        np.broadcast_to(told.chance, (rows, *told.chance.shape[1:])).reshape(
            rows, told.chance.shape[1], -1
        ),
        eye,
        at_most=at_most,
        most=np.where(heard, failure.bands.high[of_note - 1], 1.0),
        law=testing.WordLaw(limits.yearly, limits.imminent_median, failure.bands.low),
    )


def _eye_after(test: str, at: Ints, decayed: Floats, known: Known, parameters: Parameters) -> Words:
    """What the other witness would say of each result by itself, shape (tests, results)."""
    failure = parameters.failure
    none = np.zeros((len(at), len(decayed)), np.int8)
    if test in _SHELLS:
        # A mean shell stands for the thinnest: results give one number.
        share = np.nan_to_num(decayed, nan=0.0)
        diameter = np.repeat(known.wood.diameter[at], len(share))
        shell = diameter / 2.0 * (1.0 - np.tile(share, len(at)))
        sections = MeasuredSections(
            diameter=diameter,
            thinnest_shell=shell,
            mean_shell=shell,
            opening=np.repeat(known.wood.opening[at], len(share)),
            azimuths=np.full(len(diameter), parameters.work.results.azimuths),
        )
        said = measured_findings(
            np.zeros(len(diameter), np.int64), np.zeros(len(diameter), np.int8),
            np.repeat(_cracked(at, known), len(share)), sections=sections,
            table=strength_table(sections, failure.limits), words=failure.measured,
        )  # fmt: skip
        found = np.zeros(len(diameter), np.int8)
        np.maximum.at(found, said.evidence, said.word)
        return found.reshape(none.shape)
    if test == "sound":
        hollow = failure.visual.defect == DEFECTS.index("sounds_hollow")
        none[:, 0] = failure.visual.word[hollow].max(initial=0)
    if test == "dig_root_collar":
        rules = failure.visual
        plain = (rules.defect == DEFECTS.index("decay")) & ~rules.needs.any(axis=1)
        for number in np.flatnonzero(plain):
            over = decayed > np.nan_to_num(rules.extent_above[number], nan=0.0)
            none[:, over] = np.maximum(none[:, over], rules.word[number])
    return none


def _cracked(at: Ints, known: Known) -> Flags:
    """Parts on which the latest inspection saw a crack or a split, (tests,)."""
    parts = known.evidence.parts
    bits = sum(1 << inputs.DEFECTS.index(name) for name in ("crack", "split"))
    cracked = (parts.defects & bits) != 0
    return np.append(cracked, False)[place_of(at, parts.tree * PARTS + parts.part)]
