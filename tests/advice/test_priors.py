from __future__ import annotations

import numpy as np
import pytest

from crosscompat.advice.priors import MILLIONS, prior_table
from crosscompat.model.prior import published
from crosscompat.model.stages import STAGES, WHOLE

OWN = published().changed({"time": {"mean": -4, "sd": 0.5}, "effects": {"seed": {"scale": 0.1}}})


def test_there_is_a_chance_of_every_stage_and_of_the_whole_for_every_age():
    found = prior_table(published()).chances
    assert [entry.stage for entry in found] == [*STAGES, WHOLE]
    assert {len(entry.chances) for entry in found} == {len(MILLIONS)}


def test_older_is_never_better_but_never_hopeless():
    """To the digit for the whole; a stage that is as good as any ever is may waver by what no figure here can tell."""
    for entry in prior_table(published()).chances:
        means = np.array([chance.mean for chance in entry.chances])
        assert (np.diff(means) < (0.0 if entry.stage == WHOLE else 0.02)).all()
        assert entry.chances[-1].high > 0.2


def test_every_mean_stands_inside_its_interval():
    for priors in (published(), OWN):
        for entry in prior_table(priors).chances:
            for chance in entry.chances:
                assert chance.low <= chance.mean <= chance.high


def test_the_whole_is_no_better_than_any_stage_that_every_seedling_passes():
    """A flower that gives a seedling has set, and its fruit was held."""
    entries = prior_table(published()).chances
    table = {entry.stage: np.array([chance.mean for chance in entry.chances]) for entry in entries}
    assert (table[WHOLE] <= np.minimum(table["set"], table["hold"])).all()


def test_a_steeper_slope_of_the_growers_own_parts_near_from_far():
    ours, theirs = (prior_table(priors).chances[-1].chances for priors in (OWN, published()))
    assert ours[0].mean > theirs[0].mean
    assert ours[-1].mean < theirs[-1].mean


def test_every_number_is_there_with_its_words_and_evidence():
    table = prior_table(OWN, fruit="pod")
    assert [(row.coefficient, row.mean, row.sd, row.basis, row.evidence) for row in table.coefficients] == [
        (row.coefficient, row.mean, row.sd, row.basis, row.evidence) for row in OWN.rows
    ]
    assert [(row.effect, row.scale, row.basis) for row in table.effects] == [
        (row.effect, row.scale, row.basis) for row in OWN.effects
    ]
    assert all(row.words for row in (*table.coefficients, *table.effects))
    assert table.own == 2
    assert prior_table(published()).own == 0


@pytest.mark.parametrize("fruit", ["pod", "capsule"])
def test_the_fruit_has_the_word_of_the_group(fruit):
    words = {entry.stage: entry.words for entry in prior_table(published(), fruit=fruit).chances}
    assert fruit in words["set"]
    assert fruit in words["hold"]
