"""Small, seeded versions of the measurements in tests/benchmarks, whose full runs take minutes."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"


@pytest.fixture
def benchmark(monkeypatch):
    """Load one of the measurements by name."""
    monkeypatch.syspath_prepend(str(BENCHMARKS))

    def load(name):
        spec = importlib.util.spec_from_file_location(f"measured_{name}", BENCHMARKS / f"{name}.py")
        module = importlib.util.module_from_spec(spec)
        monkeypatch.setitem(sys.modules, spec.name, module)  # dataclasses look their module up
        spec.loader.exec_module(module)
        return module

    return load


@pytest.mark.parametrize(("species", "crosses", "growers"), [(10, 15, 20), (10, 40, 16), (25, 120, 6)])
def test_intervals_hold_what_they_promise(benchmark, species, crosses, growers):
    """In 85 to 94 of 100, give or take what so few growers allow."""
    held, error, ranks = benchmark("coverage").coverage(species, crosses, growers)
    assert 0.85 - 2 * error < held < 0.94 + 2 * error
    assert abs(ranks.mean() - 0.5) < 0.1


@pytest.mark.shared
@pytest.mark.filterwarnings("ignore::crosscompat.ground.errors.NameWarning")
def test_nicotiana_is_forecast_as_well_as_promised(benchmark, shared):
    skill, data = benchmark("skill"), benchmark("crosses").nicotiana(shared / "data" / "crosses")
    base, ridge, with_parents, ours = (skill.held_out(data, predict) for predict in skill.MODELS.values())
    assert [base, ridge, with_parents] == pytest.approx([0.695, 0.448, 0.315], abs=0.002)
    assert ours <= 0.334


@pytest.mark.shared
def test_where_there_is_no_signal_little_harm_is_done(benchmark, shared):
    """Mean excess log loss over the base rate, at most 0.04 in a set of 40 rows, beyond chance."""
    found = benchmark("permuted").excess(benchmark("crosses").nicotiana(shared / "data" / "crosses"), 4)
    assert found.mean() < 0.04 + 2 * found.std(ddof=1) / np.sqrt(4)


def test_folds_hold_out_every_pair_once(benchmark):
    skill = benchmark("skill")
    few, many = (np.repeat([f"pair {i:03}" for i in range(size)], 2) for size in (25, 26))
    assert [len(folds) for folds in skill.shuffles(few)] == [25]
    assert [len(folds) for folds in skill.shuffles(many)] == [20] * 5
    for folds in (*skill.shuffles(few), *skill.shuffles(many)):
        held = np.concatenate(folds)
        assert len(held) == len(set(held)) in {25, 26}
