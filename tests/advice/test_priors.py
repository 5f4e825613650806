from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from crosscompat.advice.figures import basis_figures
from crosscompat.advice.predict import basis_of, fitted_on, training_set_of
from crosscompat.advice.reasoning import MILLIONS, prior_table
from crosscompat.advice.score import blind_forecasts
from crosscompat.collection.settings import Settings
from crosscompat.model.prior import published
from crosscompat.model.scoring import by_pair
from crosscompat.stages import STAGES, WHOLE

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


DAY = date(2026, 1, 1)
CURVES = ("time", "root", "linear", "square")
SURE = Settings(priors={curve: {"mean": -4.0, "sd": 0.01} for curve in CURVES})
ALIKE = Settings(priors={"effects": {key: {"scale": 0.01} for key in ("seed", "pollen", "pair")}})


@pytest.fixture
def by_stage(cross):
    """Twelve finished crosses with their counts."""
    near, far = (("Aus bus", "Aus cus"), ("Aus eus", "Aus fus")), (("Aus bus", "Aus eus"), ("Aus cus", "Aus fus"))
    took = {
        "units": 4,
        "pods_set": 3,
        "pods_held": 2,
        "seeds": 20,
        "seeds_filled": 15,
        "seeds_sown": 15,
        "seedlings": 6,
    }
    failed = {"units": 4, "pods_set": 2, "pods_held": 0}
    return [
        cross(*pair, **counts, cross=f"{pair[0]}{i}")
        for pairs, counts in ((near, took), (far, failed))
        for pair in pairs
        for i in range(3)
    ]


def slopes(model):
    """Return the coefficients of the distance for the whole way."""
    fit = model.fit_of("whole")
    mean = model.prior.mean if fit is None else fit.mean
    return mean[1 : 1 + sum(feature.column is None for feature in model.recipe.features)]


def test_before_any_cross_they_answer(collection, cross):
    plain = cross("Aus bus", "Aus cus", 4, 1, day=date(2025, 12, 1))
    for crosses in ((), (plain,)):
        assert set(slopes(basis_of(collection(crosses, settings=SURE)).model)) == {-4.0}
        assert -4.0 not in slopes(basis_of(collection(crosses)).model)


def test_a_chance_without_crosses_says_that_they_are_the_growers_own(collection):
    own, published = (collection(settings=settings) for settings in (SURE, Settings()))
    ours, theirs = (basis_figures(made, basis_of(made)).words for made in (own, published))
    assert ours == f"{theirs} Your settings changed 4 numbers in that guess."


@pytest.mark.parametrize("kind", ["book", "by_stage"])
def test_a_fit_starts_from_them(collection, request, kind):
    crosses = request.getfixturevalue(kind)
    own, published = collection(crosses, settings=SURE), collection(crosses)
    ours, theirs = (fitted_on(made, training_set_of(made, DAY)) for made in (own, published))
    assert len(ours.steps) > (1 if kind == "by_stage" else 0)
    assert slopes(ours) == pytest.approx([-4.0] * len(slopes(ours)), abs=0.01)
    assert all(abs(slopes(theirs) + 4.0) > 0.1)


@pytest.mark.parametrize("kind", ["book", "by_stage"])
def test_effects_differ_as_widely_as_they_say(collection, request, kind):
    crosses = request.getfixturevalue(kind)
    own, published = collection(crosses, settings=ALIKE), collection(crosses)
    ours, theirs = (fitted_on(made, training_set_of(made, DAY)) for made in (own, published))
    for mine, others in zip(ours.steps, theirs.steps, strict=True):
        assert mine.variances[0] < 0.01 < others.variances[0]


def test_held_out_crosses_are_forecast_with_them_but_not_by_the_distance_alone(collection, book):
    ours, theirs = (
        blind_forecasts(made, evidence, {"pairs": by_pair(evidence.seed, evidence.pollen)})["pairs"].chances
        for made in (collection(book, settings=SURE), collection(book))
        for evidence in [training_set_of(made, DAY)]
    )
    assert (abs(ours["crosscompat"] - theirs["crosscompat"]) > 0.01).any()
    assert (ours["distance"] == theirs["distance"]).all()
