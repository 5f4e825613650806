from __future__ import annotations

import pytest

from crosscompat.book.crosses import find_label, placed
from crosscompat.ground.names import NameIndex

INDEX = NameIndex(["Echinocereus_coccineus", "Echinocereus_dasyacanthus", "Aus bus subsp. cus", "Aus bus var. cus"])
COC, DAS = "Echinocereus_coccineus", "Echinocereus_dasyacanthus"


@pytest.mark.parametrize(
    ("seed", "pollen", "expected"),
    [
        ("Echinocereus coccineus", "E. dasyacanthus", (COC, DAS)),
        ("Echinocereus coccineus", "Echinocereus_dasyacanthus", (COC, DAS)),
        ("E. coccineus", "Echinocereus dasyacanthus", (COC, DAS)),  # one genus fits
        ("Mammillaria elongata", "M. dasyacanthus", (None, None)),
        ("Echinocereus coccineus", "A. dasyacanthus", (COC, None)),
        ("Echinocereus coccineus", None, (COC, None)),
        ("Echinocereus coccineus", "Aus bus cus", (COC, None)),  # could be either of two
        ("Echinocereus coccineus subsp. roemeri", "E. dasyacanthus 'Yellow'", (COC, DAS)),
        ("", "", (None, None)),
    ],
)
def test_an_abbreviated_pollen_parent_is_of_the_seed_parents_genus(seed, pollen, expected):
    assert placed(INDEX, [(seed, pollen)]) == [expected]


def test_pairs_keep_their_order_and_may_come_twice():
    pairs = [("Echinocereus coccineus", "E. coccineus"), ("no plant", "M. coccineus")]
    assert placed(INDEX, [*pairs, *pairs]) == [(COC, COC), (None, None)] * 2
    assert placed(INDEX, []) == []


def test_a_name_that_could_be_two_has_no_place():
    assert find_label(INDEX, "Aus bus cus") is None
    assert find_label(INDEX, "E. coccineus", "Echinocereus") == COC
