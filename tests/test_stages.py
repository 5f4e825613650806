from __future__ import annotations

import pytest

from crosscompat.book.crosses import COUNT_COLUMNS
from crosscompat.ground.wording import catalogue
from crosscompat.stages import STAGES, STEPS, USUAL_DAYS, WHOLE


@pytest.mark.parametrize("step", ["pod", "seed"])
def test_what_is_lost_over_a_step_is_lost_at_its_stages(step):
    assert sum(STAGES[name].share for name in STEPS[step]) == pytest.approx(1)


def test_every_stage_is_counted_and_has_its_words():
    words = catalogue("stages")
    for name, stage in STAGES.items():
        assert {stage.tried, stage.took} <= set(COUNT_COLUMNS)
        assert all(name in table for table in (words, words["columns"], words["stopped"]))


def test_every_step_but_a_stage_joins_steps_named_before_it():
    before = set()
    for step, parts in STEPS.items():
        assert bool(parts) != (step in STAGES)
        assert before.issuperset(parts)
        before.add(step)
    assert list(STEPS)[-1] == WHOLE


def test_a_group_without_days_of_its_own_has_those_of_all_plants():
    assert USUAL_DAYS["spurge"]["hold"] < USUAL_DAYS[""]["hold"] == USUAL_DAYS["cactus"]["hold"]
    for days in USUAL_DAYS.values():
        assert list(days) == list(STAGES)
        assert list(days.values()) == sorted(days.values())
