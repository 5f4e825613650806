from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.book.timelines import days_by, pollen_keeps

# Remission in weeks of 21 patients on 6-mercaptopurine, True where it ended: Freireich et al. 1963, Blood 21:699-716,
# with the estimate as tabulated in Kleinbaum and Klein, Survival Analysis, ch. 2 (from memory).
ENDED = [6, 6, 6, 7, 10, 13, 16, 22, 23]
GOING_ON = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
TABULATED = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}

WAITS = st.lists(st.tuples(st.integers(0, 30), st.booleans()), min_size=1, max_size=40)


def test_a_published_table_to_the_printed_digits():
    waits = [(day, True) for day in ENDED] + [(day, False) for day in GOING_ON]
    for day, waiting in TABULATED.items():
        assert days_by(waits, 1 - waiting - 0.0001, 1 - waiting + 0.0001)[0] == day
        assert days_by(waits, 1 - waiting + 0.0001)[0] != day


@settings(deadline=None)
@given(WAITS)
def test_as_statsmodels_has_it(waits):
    from statsmodels.duration.survfunc import SurvfuncRight

    if not any(over for _, over in waits):
        return
    judge = SurvfuncRight(np.array([float(day) for day, _ in waits]), np.array([int(over) for _, over in waits]))
    assert days_by(waits, *(1 - judge.surv_prob)) == judge.surv_times.tolist()


def test_without_an_end_nothing_is_known():
    assert days_by([(5, False), (9, False)], 0.05) == [None]


@pytest.mark.parametrize(("share", "day"), [(0.05, 3), (0.25, 3), (0.5, 4), (0.75, 6), (1.0, 8)])
def test_the_day_by_which_a_share_had_come(share, day):
    assert days_by([(day, True) for day in (3, 4, 6, 8)], share) == [day]


def test_frozen_pollen_keeps_for_the_nine_months_that_were_tried():
    """Frozen cactus pollen did as well after 9 months as after 3: Metz, Nerd & Mizrahi 2000, HortScience 35:199-201.

    At +4 °C it did worse; by how much sooner it dies in a refrigerator or a room is common practice, without a source.
    """
    assert pollen_keeps("freezer") == 9 * 30
    assert pollen_keeps("room") < pollen_keeps("fridge") < pollen_keeps("freezer")


@pytest.mark.parametrize(
    ("words", "place"),
    [("Freezer, bag 3", "freezer"), ("frozen at -18", "freezer"), ("Refrigerator", "fridge"), ("in the room", "room")],
)
def test_where_pollen_is_kept_is_read_in_the_growers_words(words, place):
    assert pollen_keeps(words) == pollen_keeps(place)
    assert pollen_keeps("a drawer") is None
