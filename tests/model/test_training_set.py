from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from crosscompat.book.crosses import Cross, outcomes_of
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.ground.names import NameIndex
from crosscompat.ground.wording import catalogue
from crosscompat.model.training_set import REASONS, fruitful, no_pairing, training_set_from

INDEX = NameIndex(["Aus_bus", "Aus_cus", "Bus_dus"])
BENCH = Plants.of([Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A"), Plant("B", "Aus bus", "B")])
TODAY = date(2026, 6, 1)
TOOK = Cross(date(2024, 5, 1), "Aus bus", "Aus cus", tried=4, took=1)


def sorted_out(*crosses, window_days=365, as_of=TODAY, **more):
    windows = {"set": 30, "hold": 150, "fill": 200, "germinate": 365}
    windows = {stage: min(days, window_days) for stage, days in windows.items()} | {"germinate": window_days}
    return training_set_from(crosses, BENCH, INDEX, as_of=as_of, windows=windows, **more)


def why(cross, **settings):
    found = sorted_out(cross, **settings)
    return found.left_out[0].reason if found.left_out else None


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({}, None),
        ({"pollen_kind": "one"}, None),
        ({"pollen_kind": "several"}, None),
        ({"pollen_kind": "open", "pollen_parent": None}, "no_pairing"),
        ({"pollen_kind": "open"}, "no_pairing"),
        ({"pollen_kind": "none", "pollen_parent": None}, "no_pairing"),
        ({"pollen_kind": "self", "pollen_parent": "Aus bus"}, "no_pairing"),
        ({"pollen_kind": "sib", "pollen_parent": "Aus bus"}, "no_pairing"),
        ({"seed_plant": "A1", "pollen_plant": "A1"}, "one_clone"),
        ({"seed_plant": "A1", "pollen_plant": "A2"}, "one_clone"),
        ({"seed_plant": "A1", "pollen_plant": "B", "pollen_parent": "Aus bus"}, None),  # two clones of one species
        ({"technique": "plain"}, None),
        ({"technique": "mentor pollen"}, "technique"),
        ({"only_successes": True}, "only_successes"),
        ({"only_successes": False}, None),
        ({"seed_parent": "Aus eus"}, "not_in_tree"),
        ({"pollen_parent": "Aus eus"}, "not_in_tree"),
        ({"pollen_parent": "A. cus"}, None),
        ({"seed_parent": "Bus dus", "pollen_parent": "A. cus"}, "not_in_tree"),
        ({"date": date(2026, 5, 1)}, "not_finished"),
        ({"recorded_at": datetime(2026, 6, 3, 9, tzinfo=UTC)}, "not_recorded"),
        ({"recorded_at": datetime(2026, 6, 2, 9, tzinfo=UTC)}, None),  # an evening in the west
        ({"tried": None, "took": None}, "unknown_outcome"),
        ({"tried": None, "took": None, "lost_to": "mice"}, "lost"),
        ({"took": 0, "lost_to": "mice"}, "lost"),
        ({"took": 1, "lost_to": "mice"}, None),
    ],
)
def test_what_enters_and_why_the_rest_does_not(change, reason):
    assert why(replace(TOOK, **change)) == reason


def test_a_cross_of_a_friend_counts_half():
    found = sorted_out(TOOK, replace(TOOK, friend="N.N."))
    assert found.weight.tolist() == [1.0, 0.5]


def test_the_first_reason_that_holds_is_told():
    """Each reason is put right in turn, and the next one of the list comes up."""
    cross = Cross(
        TODAY, "No where", None, seed_plant="A1", pollen_plant="A2", kind="check of the pollen", technique="graft",
        only_successes=True,
        proof="like the mother", recorded_at=datetime(2026, 7, 1, tzinfo=UTC),
    )  # fmt: skip
    mends = [
        {"pollen_parent": "Aus cus"}, {"pollen_plant": "B"}, {"kind": "cross"}, {"technique": None},
        {"proof": "proved"}, {"only_successes": None},
        {"seed_parent": "Aus bus"}, {"recorded_at": None}, {"date": date(2024, 5, 1), "lost_to": "mice"},
        {"lost_to": None},
        {"pods_set": 0},
    ]  # fmt: skip
    told = [why(cross)]
    for mend in mends:
        cross = replace(cross, **mend)
        told.append(why(cross))
    assert told == [*REASONS, None]


def test_every_reason_has_its_sentence():
    assert set(catalogue("learn")["left_out"]) == set(REASONS)


@pytest.mark.parametrize(("age", "enters"), [(364, False), (365, True), (366, True), (-10, False)])
@pytest.mark.parametrize("outcome", [{"seedlings": 3}, {"tried": 4, "took": 4}, {"tried": 4, "took": 0}])
def test_no_outcome_as_a_whole_enters_before_the_window_whatever_is_known(age, enters, outcome):
    cross = Cross(TODAY - timedelta(days=age), "Aus bus", "Aus cus", **outcome)
    assert (why(cross) is None) == enters


@pytest.mark.parametrize(("age", "set_known", "finished"), [(29, False, False), (30, True, False), (365, True, True)])
@pytest.mark.parametrize("pods", [0, 3])
def test_a_cross_under_way_counts_for_the_stages_that_are_over(age, set_known, finished, pods):
    cross = Cross(TODAY - timedelta(days=age), "Aus bus", "Aus cus", units=4, pods_set=pods)
    found = sorted_out(cross)
    assert [bool(found.counts.steps["set"].known.any()), bool(found.outcomes.known.any())] == [
        set_known,
        finished and pods == 0,
    ]
    assert why(cross) == (None if set_known else "not_finished")


@pytest.mark.parametrize(
    ("change", "weight"),
    [
        ({}, 0.5),
        ({"proof": "not checked"}, 0.5),
        ({"proof": "looks hybrid"}, 1),
        ({"proof": "proved"}, 1),
        ({"stamens_removed": True}, 1),
        ({"stamens_removed": None}, 1),
        ({"took": 0}, 1),
        ({"seed_parent": "Aus cus", "pollen_parent": "Aus bus"}, 1),
        ({"seed_plant": "B"}, 1),  # found not to self
        ({"seed_parent": "Aus cus", "pollen_parent": "Aus bus", "seed_plant": "S"}, 0.5),  # found to self
    ],
)
def test_a_seedling_that_may_be_the_mothers_own_counts_half(change, weight):
    bench = Plants.of([Plant("B", "Aus bus", "B", self_fertile=False), Plant("S", "Aus cus", "S", self_fertile=True)])
    cross = replace(TOOK, **{"stamens_removed": False, **change})
    windows = {"set": 30, "hold": 150, "fill": 200, "germinate": 365}
    found = training_set_from([cross], bench, INDEX, as_of=TODAY, windows=windows, self_fertile={"Aus_bus"})
    assert found.weight.tolist() == [weight]
    told = training_set_from(
        [cross], bench, INDEX, as_of=TODAY, windows=windows, self_fertile={"Aus_bus"}, doubtful=0.2
    )
    assert told.weight.tolist() == [0.2 if weight == 0.5 else 1]


def test_a_window_longer_than_the_calendar_is_no_fault():
    assert why(TOOK, window_days=10**12) == "not_finished"


def test_labels_outcomes_and_crosses_stay_in_step():
    crosses = [
        replace(TOOK, cross="a"),
        replace(TOOK, cross="b", technique="graft"),
        replace(TOOK, cross="c", seed_parent="Aus_cus", pollen_parent="A. bus", tried=3, took=2),
        replace(TOOK, cross="d", tried=None, took=None, units=5, seedlings=7),
        replace(TOOK, cross="e", tried=None, took=None, pods_held=0),
    ]
    found = sorted_out(*crosses)
    assert [cross.cross for cross in found.crosses] == ["a", "c", "d", "e"]
    assert [left.cross.cross for left in found.left_out] == ["b"]
    assert (found.seed, found.pollen) == (
        ("Aus_bus", "Aus_cus", "Aus_bus", "Aus_bus"),
        ("Aus_cus", "Aus_bus", "Aus_cus", "Aus_cus"),
    )
    assert found.outcomes.tried.tolist() == [4, 3, 5, 1]
    assert found.outcomes.took.tolist() == [1, 2, 0, 0]
    assert found.outcomes.some.tolist() == [False, False, True, False]
    assert found.outcomes.uncounted.tolist() == [False, False, False, True]


def test_no_crosses_are_no_evidence():
    found = sorted_out()
    assert (found.crosses, found.seed, found.left_out, found.outcomes.known.size) == ((), (), (), 0)


crosses = st.builds(
    Cross,
    date=st.dates(date(2023, 1, 1), date(2026, 12, 31)),
    seed_parent=st.sampled_from(["Aus bus", "Bus_dus", "elsewhere"]),
    pollen_parent=st.sampled_from(["Aus cus", "A. cus", None]),
    seed_plant=st.sampled_from([None, "A1", "B"]),
    pollen_plant=st.sampled_from([None, "A2", "B"]),
    pollen_kind=st.sampled_from([None, "one", "open", "self"]),
    technique=st.sampled_from([None, "plain", "graft"]),
    only_successes=st.sampled_from([None, True]),
    lost_to=st.sampled_from([None, "mice"]),
    pods_held=st.sampled_from([None, 0, 2]),
    seedlings=st.sampled_from([None, 0, 2]),
)


@given(st.lists(crosses, max_size=8))
def test_every_cross_enters_or_is_told(book):
    found = sorted_out(*book)
    assert sorted([id(c) for c in found.crosses] + [id(left.cross) for left in found.left_out]) == sorted(map(id, book))
    assert {left.reason for left in found.left_out} <= set(REASONS)
    assert len(found.crosses) == len(found.seed) == len(found.pollen) == found.outcomes.tried.size
    assert (found.outcomes.known | found.counts.speaks).all()
    assert found.weight.size == len(found.crosses)


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ({}, None),
        ({"units": 4, "pods_set": 4}, None),
        ({"pods_set": 0}, False),
        ({"pods_set": 0, "lost_to": "mice"}, None),
        ({"seedlings": 2, "lost_to": "mice"}, True),
        ({"units": 3, "seedlings": 2}, True),
        ({"tried": 3, "took": 0}, False),
        ({"tried": 3, "took": 2}, True),
    ],
)
def test_whether_a_cross_gave_a_seedling(told, expected):
    assert fruitful(Cross(TODAY, "A", "B", **told)) is expected


def test_a_pairing_has_two_parents():
    assert no_pairing(TOOK, BENCH) is None
    assert no_pairing(replace(TOOK, pollen_parent=None), BENCH) == "no_pairing"
    assert no_pairing(replace(TOOK, seed_plant="A1", pollen_plant="A2"), BENCH) == "one_clone"


CHANCE = 0.40


def half_told(rng, n):
    """Crosses of one flower over two years and a half: failures show within weeks, seedlings after most of a year."""
    made = TODAY.toordinal() - rng.integers(0, 900, n)
    takes = rng.random(n) < CHANCE
    shown = made + np.where(takes, rng.integers(200, 360, n), rng.integers(7, 70, n))
    for day, took, told in zip(made.tolist(), takes.tolist(), (shown <= TODAY.toordinal()).tolist(), strict=True):
        counts = ({"seedlings": 2} if took else {"pods_set": 0}) if told else {}
        yield Cross(date.fromordinal(day), "Aus bus", "Aus cus", units=1, **counts)


def rates(seasons, n):
    """Takes and trials of each season, by cohort as they enter, and by what is known so far."""
    rng = np.random.default_rng(20260601)
    by_cohort, by_what_is_known = [], []
    for _ in range(seasons):
        book = list(half_told(rng, n))
        entered = sorted_out(*book).outcomes
        by_cohort.append((entered.took[entered.known].sum(), entered.tried[entered.known].sum()))
        column = {
            name: np.array([np.nan if getattr(c, name) is None else getattr(c, name) for c in book], dtype=float)
            for name in ("units", "pods_set", "seedlings")
        }
        known = outcomes_of(column)
        by_what_is_known.append((known.took[known.known].sum(), known.tried[known.known].sum()))
    return np.array(by_cohort).T, np.array(by_what_is_known).T


def share_of_intervals_that_hold(took, tried):
    """Of 90% intervals, even between all chances before (Beta posterior)."""
    low, high = stats.beta.ppf([[0.05], [0.95]], took + 1, tried - took + 1)
    return ((low < CHANCE) & (high > CHANCE)).mean()


def test_a_season_read_halfway_does_not_lie():
    """By cohort the chance is unbiased and its interval keeps its promise; by what is known neither holds."""
    by_cohort, by_what_is_known = rates(seasons=200, n=150)
    shares = by_cohort[0] / by_cohort[1]
    error = shares.std(ddof=1) / np.sqrt(shares.size)
    assert abs(shares.mean() - CHANCE) < 3 * error
    assert (by_what_is_known[0] / by_what_is_known[1]).mean() < CHANCE - 5 * error
    assert share_of_intervals_that_hold(*by_cohort) == pytest.approx(0.9, abs=3 * np.sqrt(0.9 * 0.1 / 200))
    assert share_of_intervals_that_hold(*by_what_is_known) < 0.7
