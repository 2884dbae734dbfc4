"""A fruiting body alone: how far it may speak, on which part, and how it depends on attachment."""

from itertools import product

import numpy as np
import pytest

from pipeline.errors import PublishedValueError
from pipeline.scoring.failure import fungus
from pipeline.scoring.failure.fungus import ATTACHMENTS, MATCHES, FungusRules, SightedBodies
from pipeline.scoring.failure.words import Findings, one_a_rule
from pipeline.scoring.identification.heard import heard
from pipeline.tables import inputs
from pipeline.terms import ActionCode, FailureWord, Part
from tests.scoring.from_tables import (
    NO_CHANGE,
    Change,
    catalogue,
    fungus_rules,
    name_certainty,
    position_parts,
    table,
)

FUNGI = catalogue()
TRUST = name_certainty()
RULES = fungus_rules()
PARTS = position_parts()
FREE = ("soil", "mulch", "turf")


def speak(
    taxon: str | None,
    position: str | None,
    *,
    attachment: str = "attached",
    by: str = "laboratory",
    rules: FungusRules = RULES,
    parts: dict[str, np.ndarray] = PARTS,
    tree: int = 4,
) -> Findings:
    observer = TRUST.name_by.index(by)
    # Only the name speaks here: what it is not, is a fungus that nobody knows.
    posterior = np.zeros((1, len(FUNGI.taxon_id)))
    posterior[0, FUNGI.unlisted] = 1.0
    if taxon is not None:
        right = TRUST.cap[observer]
        posterior[0, [FUNGI.index((taxon,))[0], FUNGI.unlisted]] = right, 1.0 - right
    loud = heard(
        posterior, FUNGI, TRUST.heard_from[[observer]], described=np.array([True]), serious_from=4
    )
    counts = position is not None and position not in FREE
    bodies = SightedBodies(
        tree=np.array([tree]),
        attachment=np.array([ATTACHMENTS.index(attachment) if attachment in ATTACHMENTS else -1]),
        sits_on=parts[position if counts and position else "untold"][None, :],
        placed=np.array([counts]),
    )
    return fungus.fungus_findings(bodies, loud, rules)


def words(found: Findings) -> dict[str, str]:
    named: dict[str, int] = {}
    for part, value in zip(found.part, found.word, strict=True):
        key = Part(part).name.lower()
        named[key] = max(int(value), named.get(key, 0))
    return {key: FailureWord(value).name.lower() for key, value in named.items()}


def test_every_position_of_the_inputs_has_a_row() -> None:
    assert set(PARTS) == (set(inputs.POSITIONS) - set(FREE)) | {"untold"}
    assert set(ATTACHMENTS) == set(inputs.ATTACHMENTS) - {"free"}


@pytest.mark.parametrize(
    ("taxon", "position", "attachment", "expected"),
    [
        # Elicited words on the handbooks' basis: check the extent before acting on a name.
        ("kretzschmaria_deusta", "butt", "attached", {"butt": "probable", "roots": "possible"}),
        ("kretzschmaria_deusta", "root_flare", "attached",
         {"butt": "probable", "roots": "probable"}),
        ("kretzschmaria_deusta", None, "attached", {"butt": "probable", "roots": "probable",
                                                    "stem": "possible"}),
        ("kretzschmaria_deusta", None, "unknown", {"butt": "possible", "roots": "possible",
                                                   "stem": "improbable"}),
        ("grifola_frondosa", "butt", "attached", {"butt": "possible", "roots": "improbable"}),
        ("meripilus_giganteus", "soil_over_root", "soil_over_root",
         {"roots": "possible", "butt": "improbable"}),
        # On a part that the taxon is not known to rot: decay evidence as of an unnamed body.
        ("grifola_frondosa", "branch", "attached",
         {"branch": "possible", "butt": "improbable", "roots": "improbable"}),
        (None, "stem", "attached", {"stem": "possible"}),
        (None, "branch", "attached", {"branch": "possible"}),
        (None, "soil_over_root", "soil_over_root", {"roots": "improbable"}),
        (None, "stem", "free", {}),
        ("meripilus_giganteus", "mulch", "free", {}),
    ],
)  # fmt: skip
def test_words_of_a_body(
    taxon: str | None, position: str | None, attachment: str, expected: dict[str, str]
) -> None:
    assert words(speak(taxon, position, attachment=attachment)) == expected


def test_two_rosettes_of_similar_look_score_differently() -> None:
    # UMass fact sheets: Grifola frondosa at the base does not by itself mean high risk, Bondarzewia
    # is fast.
    slow, fast = (
        words(speak(taxon, "butt")) for taxon in ("grifola_frondosa", "bondarzewia_berkeleyi")
    )
    assert slow["butt"] == "possible"
    assert fast["butt"] == "probable"


def test_no_fungus_is_ever_imminent_and_only_the_worst_are_probable() -> None:
    taxa: list[str | None] = [*FUNGI.taxon_id[:-1], None]
    positions: list[str | None] = [*inputs.POSITIONS, None]
    for taxon, position, attachment in product(taxa, positions, ATTACHMENTS):
        found = speak(taxon, position, attachment=attachment)
        code = FUNGI.action_code[FUNGI.index((taxon,))[0]] if taxon else ActionCode.R0
        most = FailureWord.PROBABLE if code >= ActionCode.R4 else FailureWord.POSSIBLE
        assert (found.word <= most).all(), (taxon, position)
        assert not found.act_at_once.any()


def test_a_look_alike_says_nothing_but_a_doubtful_name_does_not_clear() -> None:
    harmless = next(
        taxon
        for taxon, attacks in zip(FUNGI.taxon_id, FUNGI.attacks, strict=True)
        if not attacks.any()
    )
    assert words(speak(harmless, "stem")) == {}
    # The public is right six times in ten at most: the rest may be a decay fungus.
    assert words(speak(harmless, "stem", by="public")) == {"stem": "possible"}


def test_over_roots_the_word_is_lower_and_the_advice_is_to_dig() -> None:
    attached = words(speak("meripilus_giganteus", "root_flare"))["roots"]
    found = speak("meripilus_giganteus", "soil_over_root", attachment="soil_over_root")
    assert FailureWord[words(found)["roots"].upper()] == FailureWord[attached.upper()] - 1
    assert {RULES.advice[rule] for rule in found.rule} == {"dig_root_collar"}


def test_a_body_joined_to_no_tree_says_nothing() -> None:
    assert speak("kretzschmaria_deusta", "butt", tree=-1).word.size == 0


def test_a_higher_code_or_a_closer_body_never_says_less() -> None:
    codes, attached = RULES.word[1:6], ATTACHMENTS.index("attached")
    on, off = MATCHES.index("on"), MATCHES.index("off")
    assert (np.diff(codes, axis=0) >= 0).all()
    assert (codes[:, :, on] >= codes[:, :, off]).all()
    assert (codes[:, [attached], :] >= codes).all()


def test_advice_is_an_action_of_the_vocabulary() -> None:
    assert set(RULES.advice) - {""} <= set(inputs.ACTIONS)


@pytest.mark.parametrize(
    ("code", "word"), [("R3", "probable"), ("unnamed", "probable"), ("R5", "imminent")]
)
def test_a_table_that_lets_a_name_condemn_is_refused(code: str, word: str) -> None:
    rows = table("fungus_failure").rows
    at = next(n for n, row in enumerate(rows) if row["action_code"] == code)
    with pytest.raises(PublishedValueError) as fault:
        fungus_rules({("fungus_failure", at): {"failure": word}})
    assert fault.value.where == "published table fungus_failure"


def _outcome(change: Change) -> list[tuple[object, ...]]:
    rules, parts = fungus_rules(change), position_parts(change)
    positions: list[str | None] = [*inputs.POSITIONS, None]
    # A taxon of each code from R5 to R2, two of R1 (roots; stem and branch), and no name.
    taxa: list[str | None] = [
        "kretzschmaria_deusta", "ganoderma_applanatum", "grifola_frondosa", "xylaria_polymorpha",
        "coprinellus_micaceus", "gloeophyllum_sepiarium", None,
    ]  # fmt: skip
    said: list[tuple[object, ...]] = []
    for taxon, position, attachment in product(taxa, positions, ATTACHMENTS):
        found = speak(taxon, position, attachment=attachment, rules=rules, parts=parts)
        said.append((found.part.tobytes(), found.word.tobytes(), found.points.tobytes()))
    return said


AS_IS = _outcome(NO_CHANGE)
ROWS = table("fungus_failure").rows


@pytest.mark.parametrize("number", range(len(ROWS)), ids=[row["rule_id"] for row in ROWS])
def test_every_row_of_the_fungus_table_matters(number: int) -> None:
    other = "possible" if ROWS[number]["failure"] == "improbable" else "improbable"
    assert _outcome({("fungus_failure", number): {"failure": other}}) != AS_IS


PLACES = table("position_parts").rows


@pytest.mark.parametrize("number", range(len(PLACES)), ids=[row["position"] for row in PLACES])
def test_every_row_of_the_positions_matters(number: int) -> None:
    if PLACES[number]["position"] == "soil_over_root":
        # Told as attached: the attachment 'soil_over_root' means the roots by itself.
        changed = position_parts({("position_parts", number): {"roots": "0", "branch": "1"}})
        one = words(speak(None, "soil_over_root", parts=changed))
        assert one != words(speak(None, "soil_over_root"))
        return
    for part in ("roots", "butt", "stem", "branch"):
        flipped = "0" if PLACES[number][part] == "1" else "1"
        assert _outcome({("position_parts", number): {part: flipped}}) != AS_IS


def test_one_finding_a_rule() -> None:
    one = speak("kretzschmaria_deusta", "butt")
    twice = Findings(
        *(np.concatenate([getattr(one, f), getattr(one, f)])
          for f in ("evidence", "tree", "part", "rule", "word", "points", "act_at_once"))
    )  # fmt: skip
    kept = one_a_rule(twice)
    assert kept.rule.size == one.rule.size
    assert set(kept.rule) == set(one.rule)
