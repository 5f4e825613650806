from __future__ import annotations

from datetime import date

import pytest

from crosscompat.advice.ask import ask
from crosscompat.advice.retrain import learn
from crosscompat.model.stages import STAGES, WHOLE

PAIRS = [
    ("Aus bus", "Aus cus"), ("Aus cus", "Aus bus"), ("Aus dus", "Aus eus"),
    ("Aus bus", "Aus eus"), ("Aus cus", "Aus fus"), ("Aus bus", "Aus dus"),
]  # fmt: skip


@pytest.fixture
def by_stage(cross):
    """Crosses that all set; the near ones fill their seed, the far ones hardly, and one is told unit by unit."""
    counted = [
        cross(
            seed, pollen, units=4, pods_set=4 - i % 2, pods_held=2, seeds=40, seeds_filled=36 - 7 * i,
            seeds_sown=36 - 7 * i, seedlings=5 - i, cross=f"24-{i:02}",
        )
        for i, (seed, pollen) in enumerate(PAIRS[:5])
    ]  # fmt: skip
    return [*counted, cross("Aus cus", "Aus dus", 5, 0, cross="old"), cross("Aus dus", "Aus cus", units=3, seedlings=0)]


@pytest.fixture
def answered(trained, by_stage):
    return [
        pair for one in PAIRS for a in [ask(trained(by_stage), *one, flowers=4)] for pair in (a.pairing, a.reciprocal)
    ]


def test_the_reasons_of_the_whole_add_up_exactly(answered):
    for pair in answered:
        assert tuple(stage.stage for stage in pair.stages) == (*STAGES, WHOLE)
        whole = pair.stages[-1]
        assert sum(reason.logit for reason in pair.reasons) == pytest.approx(whole.logit_mean, abs=1e-9)
        assert pair.per_flower.mean == whole.chance.mean


def test_the_weights_of_past_crosses_add_up_exactly(answered):
    for pair in answered:
        for stage in pair.stages:
            past = stage.past
            if past is None:
                continue
            total = past.prior_logit + past.in_general + sum(one.adds for one in past.weightiest) + past.others
            assert total == pytest.approx(past.mode_logit, abs=1e-9)
            sizes = [abs(one.adds) for one in past.weightiest]
            assert sizes == sorted(sizes, reverse=True)


def test_past_crosses_are_named_as_the_grower_names_them(answered):
    named = {
        number
        for pair in answered
        for stage in pair.stages
        if stage.past
        for one in stage.past.weightiest
        for number in one.crosses
    }
    assert {"24-00", "old"} <= named
    one = next(w for w in answered[0].stages[0].past.weightiest if "24-00" in w.crosses)
    assert (one.seed_parent, one.pollen_parent) == ("Aus bus", "Aus cus")


def test_a_lower_chance_of_any_stage_is_said_where_it_lies(answered):
    near, far = answered[0], answered[6]
    fill = [*STAGES].index("fill")
    assert near.stages[fill].chance.mean > far.stages[fill].chance.mean + 0.2
    assert near.seeds_per_pod == pytest.approx((200 + 20) / 11, rel=0.05)
    assert near.per_flower.mean > far.per_flower.mean


def test_a_cross_under_way_counts_for_what_is_over(trained, by_stage, cross, collection):
    young = cross("Aus eus", "Aus fus", units=6, pods_set=0, day=date(2025, 11, 1), cross="25-01")
    lesson, saved = learn(collection([*by_stage, young]), as_of=date(2026, 1, 1))
    assert (lesson.after.crosses, lesson.after.under_way) == (7, 1)
    assert "1 unfinished cross counts" in lesson.after.words
    assert saved.model.fit_of("set").past.record.tolist()[-1] == saved.model.records.index("25-01")
    assert {entry.stage for entry in lesson.weightings} == {fit.step for fit in saved.model.steps}
