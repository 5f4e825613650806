"""A collection's own priors speak wherever the published ones would: before any cross, in a fit, and held out."""

from __future__ import annotations

from datetime import date

import pytest

from crosscompat.advice.figures import basis_figures
from crosscompat.advice.predict import basis_of, fitted_on, training_set_of
from crosscompat.advice.score import blind_forecasts
from crosscompat.collection.settings import Settings
from crosscompat.model.scoring import by_pair

DAY = date(2026, 1, 1)
CURVES = ("time", "root", "linear", "square")
SURE = Settings(priors={curve: {"mean": -4.0, "sd": 0.01} for curve in CURVES})
FLAT = Settings(priors={curve: {"mean": 0.0, "sd": 0.01} for curve in CURVES})
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


def test_held_out_crosses_are_forecast_with_them_by_the_distance_alone_too(collection, book):
    for settings, nearer_is_better in ((FLAT, False), (Settings(), True)):
        made = collection(book, settings=settings)
        evidence = training_set_of(made, DAY)
        found = blind_forecasts(made, evidence, {"pairs": by_pair(evidence.seed, evidence.pollen)})["pairs"]
        said = found.chances["distance"]
        # Without the distance only what else took counts, and that is less where a pair that took is held out.
        held = {evidence.seed[i] + evidence.pollen[i]: chance for i, chance in zip(found.at, said, strict=True)}
        near, far = held["Aus_eusAus_fus"], held["Aus_dusAus_fus"]
        assert (near > far) == nearer_is_better
