"""Sums over taxa speak: a fungus whose species nobody can tell is no less a fungus."""

from collections.abc import Sequence

import numpy as np
import pytest

from pipeline.scoring.identification.catalogue import Catalogue
from pipeline.scoring.identification.heard import Heard, heard
from pipeline.terms import Part, RotType
from tests.scoring.from_tables import name_certainty

WHITE, BROWN, SOFT, NONE = RotType.WHITE, RotType.BROWN, RotType.SOFT, RotType.NONE


def fungi(rows: Sequence[tuple[int, int, str]]) -> Catalogue:
    """A catalogue of (action code, rot, letters of the parts it rots), 'unlisted' last."""
    attacks = [[letter in parts for letter in "rbsx"] for _, _, parts in rows]
    return Catalogue(
        taxon_id=(*(f"t{n}" for n in range(len(rows))), "unlisted"),
        action_code=np.array([*(code for code, _, _ in rows), 0], np.int8),
        attacks=np.array([*attacks, [False] * 4]),
        rot=np.array([*(rot for _, rot, _ in rows), 0], np.int8),
    )


def one(
    rows: Sequence[tuple[int, int, str]],
    shares: list[float],
    *,
    limit: float = 0.2,
    described: bool = True,
) -> Heard:
    posterior = np.array([[*shares, 1.0 - sum(shares)]])
    return heard(
        posterior, fungi(rows), np.array([limit]), described=np.array([described]), serious_from=4
    )


def test_five_species_of_one_genus_are_one_brown_rotter() -> None:
    # Each is below the 0.2 from which a taxon is heard; together they are certain enough for the
    # presumption of config/rules/actions.csv, which asks for 0.5.
    found = one([(4, BROWN, "bs")] * 5, [0.15] * 5)
    assert found.code[0, Part.STEM] == 4
    assert found.share[0, Part.STEM] == pytest.approx(0.75)
    assert found.rot[0, Part.STEM] == BROWN
    assert found.rot_share[0, Part.STEM] == pytest.approx(0.75)
    assert found.code[0, Part.ROOTS] == 0
    assert found.taxon[0, Part.ROOTS] == -1


def test_the_highest_code_that_is_probable_enough_is_heard() -> None:
    rows = [(5, WHITE, "b"), (4, WHITE, "b"), (2, WHITE, "b")]
    found = one(rows, [0.1, 0.15, 0.7])
    assert (found.code[0, Part.BUTT], found.taxon[0, Part.BUTT]) == (4, 1)
    assert found.share[0, Part.BUTT] == pytest.approx(0.25)
    found = one(rows, [0.1, 0.05, 0.8])
    assert (found.code[0, Part.BUTT], found.taxon[0, Part.BUTT]) == (2, 2)


def test_a_serious_share_that_rots_another_part_does_not_count() -> None:
    found = one([(5, SOFT, "r"), (3, WHITE, "x")], [0.5, 0.4])
    assert found.code[0].tolist() == [5, 0, 0, 3]
    assert found.highest[0] == 5


def test_rot_that_breaks_early_is_not_outvoted() -> None:
    found = one([(4, WHITE, "b"), (4, BROWN, "b")], [0.6, 0.3])
    assert found.rot[0, Part.BUTT] == BROWN
    assert found.rot_share[0, Part.BUTT] == pytest.approx(0.3)
    found = one([(4, WHITE, "b"), (4, BROWN, "b")], [0.8, 0.1])
    assert found.rot[0, Part.BUTT] == WHITE


def test_a_harmless_brown_rot_adds_nothing_to_a_serious_one() -> None:
    # Action code R2 and brown beside R5 and soft: no certainty of a serious brown rot.
    found = one([(2, BROWN, "b"), (5, SOFT, "b")], [0.7, 0.25])
    assert (found.code[0, Part.BUTT], found.rot[0, Part.BUTT]) == (5, SOFT)
    assert found.rot_share[0, Part.BUTT] == pytest.approx(0.25)


def test_what_nobody_described_speaks_as_unnamed() -> None:
    found = one([(5, SOFT, "rb")], [0.9], described=False)
    assert not found.code.any()
    assert found.unnamed.all()
    assert found.highest[0] == 0


def test_a_taxon_off_its_parts_and_one_that_nobody_knows_speak_as_unnamed() -> None:
    found = one([(5, SOFT, "rb")], [0.75])
    assert found.unnamed[0].tolist() == [True] * 4  # 0.25 is of no fungus of the catalogue
    found = one([(5, SOFT, "rb")], [0.95])
    assert found.unnamed[0].tolist() == [False, False, True, True]


def test_look_alikes_that_rot_no_wood_are_told_and_do_not_speak() -> None:
    found = one([(0, NONE, ""), (0, NONE, "")], [0.5, 0.45])
    assert not found.code.any()
    assert not found.unnamed.any()
    assert found.harmless[0] == 0


def test_sums_equal_a_plain_count() -> None:
    rng = np.random.default_rng(4)
    rows = [
        (int(rng.integers(0, 6)), int(rng.integers(0, 4)),
         "".join(rng.choice(list("rbsx"), rng.integers(0, 5), replace=False)))
        for _ in range(40)
    ]  # fmt: skip
    catalogue = fungi(rows)
    posterior = rng.dirichlet(np.full(41, 0.2), 200)
    found = heard(
        posterior, catalogue, np.full(200, 0.2), described=np.ones(200, np.bool_), serious_from=4
    )
    for body in range(200):
        for part in Part:
            sums = [
                sum(p for p, row, hits in
                    zip(posterior[body], rows, catalogue.attacks[:, part], strict=False)
                    if hits and row[0] >= code)
                for code in range(6)
            ]  # fmt: skip
            code = max((c for c in range(1, 6) if sums[c] >= 0.2), default=0)
            assert found.code[body, part] == code
            assert found.share[body, part] == pytest.approx(sums[code] if code else 0.0)


def test_the_share_from_which_a_fungus_is_heard_is_the_observers() -> None:
    changed = name_certainty({("name_certainty", 3): {"heard_from_share": "0.9"}})
    assert not one([(5, SOFT, "b")], [0.8], limit=float(changed.heard_from[3])).code.any()
    assert one([(5, SOFT, "b")], [0.8], limit=float(name_certainty().heard_from[3])).code.any()
