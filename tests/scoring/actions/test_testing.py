"""What a test is worth, against enumeration of every state and result one by one."""

from itertools import pairwise, product
from statistics import NormalDist

import numpy as np
import pytest
from scipy import stats

from pipeline.published.table import Library
from pipeline.scoring.actions import results, testing
from pipeline.scoring.decay.grid import Grid
from pipeline.scoring.decay.instruments import ROTS, Instrument
from pipeline.scoring.decay.update import multiply
from pipeline.scoring.parameters.decay import decay_parameters
from pipeline.scoring.parameters.work import work_parameters
from pipeline.terms import FailureWord

LIBRARY = Library()
LAW = decay_parameters(LIBRARY).law
RESULTS = work_parameters(LIBRARY, region="us-mi").results
WHITE, BROWN, SOFT = (ROTS.index(name) for name in ("white", "brown", "soft"))
WORDS = testing.WordLaw(
    yearly=np.array([0.001, 0.01, 0.1]),
    imminent_median=0.05,
    band_low=np.array([1e-6, 1e-3, 1e-2, 1e-1]),
)
# none, watch, prune, remove: what they keep of a tree, and leave of its harm.
VALUE = np.array([1.0, 1.0, 0.9, 0.0])
LEAVES = np.array([1.0, 0.9, 0.3, 0.0])
ACTION_OF_WORD = np.array([0, 1, 2, 3])


def _case(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, int]:
    rng = np.random.default_rng(seed)
    states, many = int(rng.integers(2, 7)), int(rng.integers(2, 5))
    fails = np.sort(10 ** rng.uniform(-5, -0.3, states))
    weight = rng.dirichlet(np.ones(states))
    result = rng.dirichlet(np.ones(many), states).T
    return fails, weight, result, int(rng.integers(0, 4))


def _word(mean: float, median: float) -> int:
    """The words of chances as standards.md gives them: limits from which each holds."""
    found = 1 + sum(mean >= limit for limit in (0.001, 0.01, 0.1))
    return 3 if found == 4 and median < 0.05 else found


def _by_hand(seed: int) -> tuple[float, float, float, float]:
    fails, weight, result, eye = _case(seed)
    now = max(_word(sum(fails * weight), _median(fails, weight)), eye)
    before = ACTION_OF_WORD[now - 1]
    changes = spares = takes = avoided = 0.0
    for told in result:
        joint = [w * r for w, r in zip(weight, told, strict=True)]
        chance = sum(joint)
        after = [j / chance for j in joint]
        mean = sum(f * a for f, a in zip(fails, after, strict=True))
        word = max(_word(mean, _median(fails, np.array(after))), eye)
        mean = max(mean, (0.0, 1e-6, 1e-3, 1e-2, 1e-1)[eye])
        action = ACTION_OF_WORD[word - 1]
        if action != before:
            changes += chance
            spares += chance * (VALUE[action] > VALUE[before])
            takes += chance * (VALUE[action] < VALUE[before])
        avoided += chance * mean * (LEAVES[before] - LEAVES[action])
    return changes, spares, takes, avoided


def _median(fails: np.ndarray, weight: np.ndarray) -> float:
    passed = 0.0
    for chance, share in zip(fails, weight, strict=True):
        passed += share
        if passed >= 0.5:
            return float(chance)
    return float(fails[-1])


@pytest.mark.parametrize("seed", range(20))
def test_twenty_small_cases_against_enumeration(seed: int) -> None:
    fails, weight, result, eye = _case(seed)
    found = testing.by_word(
        fails[None], weight[None], result[None], np.full((1, len(result)), eye, np.int8),
        at_most=np.array([4]), most=np.array([1.0]), law=WORDS,
    )  # fmt: skip
    now = max(_word(float(fails @ weight), _median(fails, weight)), eye)
    before = np.array([ACTION_OF_WORD[now - 1]])
    told = testing.worth(
        found.chance,
        before,
        ACTION_OF_WORD[None],
        found.fails * LEAVES[before][:, None],
        found.fails * LEAVES[ACTION_OF_WORD][None],
        VALUE,
    )
    assert found.chance.sum() == pytest.approx(1.0)
    assert [told.changes[0], told.spares[0], told.takes[0], told.avoided[0]] == pytest.approx(
        list(_by_hand(seed)), abs=1e-12
    )


def test_enumeration_meets_every_kind_of_change() -> None:
    hand = np.array([_by_hand(seed) for seed in range(20)])
    assert (hand[:, 0] == 0).any()
    assert (hand[:, 1] > 0).any()
    assert (hand[:, 2] > 0).any()
    assert (hand[:, 3] < 0).any()


def _chances(test: str, section: float = 60.0) -> results.Results:
    kept = np.log(np.maximum(1.0 - LAW.grid.x, 0.05))[None]
    return results.results(test, np.array([section]), kept, LAW.grid, LAW.instruments, RESULTS)


@pytest.mark.parametrize("test", results.TESTS)
def test_the_results_of_a_test_share_out_every_state(test: str) -> None:
    told = _chances(test)
    assert told.chance.shape[1] == len(told.decayed)
    assert told.chance.min() >= 0
    np.testing.assert_allclose(told.chance.sum(axis=1), 1.0, atol=1e-12)


@pytest.mark.parametrize("test", results.TESTS)
def test_on_average_a_result_changes_no_belief(test: str) -> None:
    """The mean of the posterior over the results is the prior: Bayes, whatever the law."""
    chance = _chances(test).chance[0]
    prior = np.random.default_rng(3).dirichlet(np.ones(chance[0].size)).reshape(chance.shape[1:])
    joint = chance * prior
    after = np.array([multiply(prior[None], one[None])[0] for one in chance])
    np.testing.assert_allclose(
        (joint.sum(axis=(1, 2))[:, None, None] * after).sum(axis=0), prior, atol=1e-12
    )


def test_a_drill_errs_as_the_published_scatter_says() -> None:
    """Costello & Quarles 1999: Student t of 2.4 degrees and 2.6 cm; here three azimuths' mean."""
    section, x = 80.0, 0.5
    at = int(np.argmin(np.abs(LAW.grid.x - x)))
    told = _chances("drill", section)
    shells = section / 2 * (1.0 - told.decayed[1:])
    seen = told.chance[0, 1:, WHITE, at] / told.chance[0, 1:, WHITE, at].sum()
    half = section / 2 / RESULTS.classes / 2
    law = stats.t(2.4, loc=section / 2 * (1 - LAW.grid.x[at]), scale=2.6 / np.sqrt(3))
    inner = slice(1, -1)
    expected = law.cdf(shells + half) - law.cdf(shells - half)
    np.testing.assert_allclose(seen[inner], expected[inner], atol=1e-12)


def test_a_tomogram_errs_by_a_tenth_and_its_bias() -> None:
    at = int(np.argmin(np.abs(LAW.grid.x - 0.7)))
    told = _chances("tomography")
    law = NormalDist(float(LAW.grid.x[at] ** 2), float(np.hypot(0.1, 0.05)))
    edges = np.linspace(0, 1, RESULTS.classes + 1)
    expected = [law.cdf(b) - law.cdf(a) for a, b in pairwise(edges)]
    np.testing.assert_allclose(told.chance[0, 1:-1, WHITE, at], expected[1:-1], atol=1e-12)


def _two(test: str, rot: int) -> testing.ByWord:
    told = _chances(test)
    weight = np.zeros((len(ROTS), len(LAW.grid.x)))
    # As good as sound, or as good as hollow: much to learn.
    weight[rot, [20, 180]] = 0.5
    fails = np.broadcast_to(10 ** (-4 + 3.5 * LAW.grid.x), weight.shape)
    return testing.by_word(
        fails.reshape(1, -1), weight.reshape(1, -1), told.chance.reshape(1, len(told.decayed), -1),
        np.zeros((1, len(told.decayed)), np.int8),
        at_most=np.array([4]), most=np.array([1.0]), law=WORDS,
    )  # fmt: skip


@pytest.mark.parametrize("test", ["drill", "sound"])
def test_a_test_that_cannot_see_a_soft_rot_is_worth_nothing(test: str) -> None:
    """Standards of the trade, from memory: neither mallet nor drill ever clears soft rot."""
    assert results.sees(test, LAW.instruments)[SOFT] == 0
    found = _two(test, SOFT)
    assert np.count_nonzero(found.chance > 1e-12) == 1


def test_a_test_of_a_brown_rot_tells_less_than_of_a_white_one() -> None:
    """Half of a brown rot is early and hidden from the drill: less is left to learn."""
    for test in ("drill", "sound"):
        assert LAW.instruments.hidden[Instrument.DRILL][BROWN] > 0
        spread = [_spread(_two(test, rot)) for rot in (WHITE, BROWN)]
        assert spread[1] < spread[0]


def _spread(found: testing.ByWord) -> float:
    """Variance of the mean chances that the results lead to."""
    mean = (found.chance * found.fails).sum()
    return float((found.chance * (found.fails - mean) ** 2).sum())


def test_a_perfect_test_finds_the_share_of_each_word() -> None:
    """A result for each state: the chances of words are then those of the states themselves."""
    fails = np.array([[1e-5, 5e-4, 5e-3, 5e-2, 0.4]])
    weight = np.array([[0.4, 0.3, 0.15, 0.1, 0.05]])
    found = testing.by_word(
        fails, weight, np.eye(5)[None], np.zeros((1, 5), np.int8),
        at_most=np.array([4]), most=np.array([1.0]), law=WORDS,
    )  # fmt: skip
    np.testing.assert_allclose(found.chance[0], [0.7, 0.15, 0.1, 0.05])
    assert found.fails[0, 3] == pytest.approx(0.4)


def test_what_an_eye_saw_bounds_what_a_test_may_lower() -> None:
    fails, weight = np.array([[1e-6, 1e-5]]), np.array([[0.5, 0.5]])
    found = testing.by_word(
        fails, weight, np.eye(2)[None],
        np.full((1, 2), FailureWord.PROBABLE, np.int8),
        at_most=np.array([4]), most=np.array([1.0]), law=WORDS,
    )  # fmt: skip
    assert found.chance[0].tolist() == [0, 0, 1, 0]
    assert found.fails[0, 2] == pytest.approx(WORDS.band_low[2])


def test_a_grid_of_one_cell_is_read_too() -> None:
    grid = Grid(cells=1, serious_above=0.69)
    told = results.results(
        "tomography", np.array([50.0]), np.zeros((1, 2)), grid, LAW.instruments, RESULTS
    )
    assert [len(told.chance[0]), *told.chance.shape[2:]] == [RESULTS.classes, len(ROTS), 2]


def test_every_pair_of_test_and_rot_has_a_share_that_is_seen() -> None:
    for test, rot in product(results.TESTS, range(len(ROTS))):
        assert 0 <= results.sees(test, LAW.instruments)[rot] <= 1
