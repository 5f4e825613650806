from __future__ import annotations

import numpy as np
import pytest

from crosscompat.model.between import doubted, no_surer, uneven_shifts
from crosscompat.model.fitted import prior_model
from crosscompat.model.forecast import Logits
from crosscompat.model.outlook import Outlook, outlook, seedling_chances
from crosscompat.model.seeds import SeedsPerPod
from crosscompat.pairing import recipe_for

PLAIN, STAGED = (prior_model(recipe_for(None, 2.0), seeds) for seeds in (None, SeedsPerPod(10.0, 5.0)))


def belief(*sds):
    return Outlook(tuple(Logits(np.arange(2.0), np.array(sd)) for sd in sds))


def test_variances_rise_to_the_weighted_mean_of_those_of_the_species_and_none_falls():
    of_species = belief([2.0, 4.0], [0.5, 0.5])
    found = no_surer(belief([1.0, 1.0], [1.0, 3.0]), of_species, np.array([0.25, 0.75]), np.array([0, 0]))
    assert [stage.sd.tolist() for stage in found.stages] == [[np.sqrt(13), 1.0], [1.0, 3.0]]
    assert [stage.mean.tolist() for stage in found.stages] == [[0, 1], [0, 1]]


@pytest.mark.parametrize("model", [PLAIN, STAGED])
def test_each_uneven_parent_lowers_the_chance_and_widens_every_stage_it_touches(model):
    rows = np.full((3, 1), 0.5)
    plain, parents = outlook(model, rows), np.array([0.0, 1.0, 2.0])
    found, shifts = doubted(model, plain, parents), uneven_shifts(model, parents)
    for own, moved, shift in zip(plain.stages, found.stages, shifts, strict=True):
        assert moved.mean == pytest.approx(own.mean + shift)
        assert (moved.mean[0], moved.sd[0]) == (own.mean[0], own.sd[0])
        assert np.all(np.diff(moved.sd) >= 0)
        assert (np.diff(shift) < 0).all() == (np.diff(moved.sd) > 0).all()
    assert min(shifts[:, 1]) == -1.0
    mean = seedling_chances(found).mean
    assert mean[0] > mean[1] > mean[2] > 0
