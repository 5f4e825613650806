"""A new collection of hedgehog cacti, from no cross to ten: each entry is followed by what the grower would be told.

The outcomes are invented. Run with ``-s`` to read the walk.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np
import pytest

from crosscompat.advice.predict import basis_of, predict
from crosscompat.advice.retrain import learn
from crosscompat.book.crosses import Cross
from crosscompat.carried import carried_tree
from crosscompat.collection.opening import open_carried
from crosscompat.model.forecast import chances
from crosscompat.model.pairings import Parents

READ_ON = date(2026, 10, 31)
COCCINEUS, DASYACANTHUS = "Echinocereus coccineus", "Echinocereus dasyacanthus"
FENDLERI, VIERECKII, TRIGLOCHIDIATUS = (
    f"Echinocereus {epithet}" for epithet in ("fendleri", "viereckii", "triglochidiatus")
)
WATCHED = (
    (COCCINEUS, DASYACANTHUS),
    (DASYACANTHUS, FENDLERI),
    (COCCINEUS, VIERECKII),
    (TRIGLOCHIDIATUS, COCCINEUS),
)
OF_THE_PAIR, OF_OTHERS = 0.65, 0.25
"""One entry moves the chance from one flower by no more: of the pair crossed, and of any other pair. These are what was
seen, rounded up: they hold later changes to it, and do not show that it is right."""


@dataclass(frozen=True)
class Step:
    """One entry of the book: flowers pollinated and, if it is known, how many gave a seedling."""

    seed: str
    pollen: str
    tried: int | None
    took: int | None

    def cross(self, at):
        return Cross(
            date(2022, 5, 1) + timedelta(days=at),
            self.seed,
            self.pollen,
            tried=self.tried,
            took=self.took,
            cross=str(at),
        )

    @property
    def way(self):
        """1 if all flowers gave a seedling, -1 if none did, 0 where nothing is known or some did."""
        return 0 if self.took is None else 1 if self.took == self.tried else -1 if self.took == 0 else 0


WALK = (
    Step(DASYACANTHUS, FENDLERI, None, None),
    Step(DASYACANTHUS, FENDLERI, 3, 3),
    Step(COCCINEUS, DASYACANTHUS, 4, 4),
    Step(COCCINEUS, VIERECKII, 5, 0),
    Step(COCCINEUS, VIERECKII, None, None),
    Step(TRIGLOCHIDIATUS, COCCINEUS, 2, 2),
    Step(COCCINEUS, DASYACANTHUS, 3, 0),
    Step(VIERECKII, FENDLERI, 4, 0),
    Step(DASYACANTHUS, COCCINEUS, 4, 4),
    Step(TRIGLOCHIDIATUS, COCCINEUS, 3, 3),
)


class Said(NamedTuple):
    """Of every pairing watched."""

    logit: np.ndarray
    chance: np.ndarray


def labels_of(collection):
    return Parents(*([collection.index.resolve(name) for name in side] for side in zip(*WATCHED, strict=True)))


def logits(collection):
    """Return the mean logit of every pairing watched and its chance from one flower, and print that."""
    whole = predict(collection, basis_of(collection).model, labels_of(collection)).whole
    mean = chances(whole).mean
    print("  ".join(f"{chance:5.0%}" for chance in mean))  # noqa: T201 - the walk is there to be read
    return Said(whole.mean, mean)


@pytest.fixture(scope="module")
def walk():
    """What is said before any cross, and after each entry and the retraining that follows it."""
    made = open_carried(carried_tree("echinocereus"))
    said = [logits(made)]
    for at, _ in enumerate(WALK):
        crosses = tuple(step.cross(i) for i, step in enumerate(WALK[: at + 1]))
        entered = replace(made, crosses=crosses)
        said.append(logits(replace(entered, saved=learn(entered, as_of=READ_ON)[1])))
    return said


def test_a_record_without_outcome_moves_nothing(walk):
    for at, step in enumerate(WALK):
        if step.took is None:
            assert walk[at + 1].chance == pytest.approx(walk[at].chance, abs=0.001), at


def test_each_outcome_moves_the_pair_crossed_the_right_way_and_others_less(walk):
    for at, step in enumerate(WALK):
        if step.way == 0 or (step.seed, step.pollen) not in WATCHED:
            continue
        own = WATCHED.index((step.seed, step.pollen))
        moved = walk[at + 1].logit - walk[at].logit
        assert step.way * moved[own] > 0, at
        others = [abs(by) for i, by in enumerate(moved) if i != own]
        assert max(others) < abs(moved[own]), at


def test_no_entry_moves_a_chance_farther_than_a_grower_could_explain(walk):
    for step, before, after in zip(WALK, walk, walk[1:], strict=False):
        for pair, by in zip(WATCHED, abs(after.chance - before.chance), strict=True):
            assert by < (OF_THE_PAIR if {*pair} == {step.seed, step.pollen} else OF_OTHERS), (step, pair)


def test_the_prior_is_the_same_before_and_after_the_first_stage_count():
    """What the first count taught taken away again, every pairing stands where it stood."""
    made = open_carried(carried_tree("echinocereus"))
    first = Cross(date(2024, 5, 1), COCCINEUS, DASYACANTHUS, units=3, pods_set=3, cross="1", lost_to="frost")
    counted = replace(made, crosses=(first,))
    model, before = learn(counted, as_of=READ_ON)[1].model, basis_of(made).model
    assert [fit.step for fit in model.steps] == ["set"]
    unlearned, never = (predict(made, one, labels_of(made)).whole for one in (replace(model, steps=()), before))
    assert unlearned.mean == pytest.approx(never.mean, abs=0.02)
    assert unlearned.sd == pytest.approx(never.sd, abs=0.02)
