from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.pairing import (
    CURVES,
    DistanceScale,
    Feature,
    Recipe,
    farther_rows,
    pair_rows,
    recipe_for,
    scale_of,
)
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.taxa import Pedigree
from crosscompat.traits import TraitColumn, TraitTable

FLAGS, WORDS = [True, False, None], ["red", "pink", None]
COUNTS, MEASURES = [22, 44, None], [10.0, 25.5, None]


def table(*rows):
    """A table of five traits, one row a species."""
    kinds = ("flag", "category", "count", "measure", "months")
    columns = [TraitColumn(kind, kind, True, tuple(row[j] for row in rows)) for j, kind in enumerate(kinds)]
    return TraitTable(tuple(f"s{i}" for i in range(len(rows))), tuple(columns))


def naive(feature, seed, pollen):
    """One feature of one pairing, value by value."""
    if feature.kind == "both":
        possible = {
            a and b
            for a in ([True, False] if seed is None else [seed])
            for b in ([True, False] if pollen is None else [pollen])
        }
        return float(possible.pop()) if len(possible) == 1 else math.nan
    if seed is None or pollen is None:
        return math.nan
    return {
        "same": lambda: float(seed == pollen),
        "lower": lambda: float(seed < pollen),
        "higher": lambda: float(seed > pollen),
        "ratio": lambda: math.log(seed / pollen),
        "size": lambda: abs(math.log(seed / pollen)),
    }[feature.kind]()


row = st.tuples(*(st.sampled_from(values) for values in (FLAGS, WORDS, COUNTS, MEASURES)), st.just(frozenset({4})))
SCALE = DistanceScale(4.0, (("linear", 0.5, 0.25),))
recipe = Recipe(
    (
        Feature("linear"),
        Feature("both", "flag"),
        Feature("same", "category"),
        Feature("lower", "count"),
        Feature("higher", "count"),
        Feature("ratio", "measure"),
        Feature("size", "measure"),
    ),
    SCALE,
)


@settings(max_examples=60, deadline=None)
@given(st.lists(row, min_size=1, max_size=6), st.data())
def test_rows_are_what_a_value_by_value_reading_gives(rows, data):
    species = st.integers(0, len(rows) - 1)
    pairs = data.draw(st.lists(st.tuples(species, species), min_size=1, max_size=8))
    distance = np.arange(len(pairs), dtype=float)
    found = pair_rows(recipe, distance, table(*rows), [f"s{i}" for i, _ in pairs], [f"s{j}" for _, j in pairs])
    at = {"flag": 0, "category": 1, "count": 2, "measure": 3}
    for k, (i, j) in enumerate(pairs):
        assert found[k, 0] == min((distance[k] / 4.0 - 0.5) / 0.25, 2.0)
        for column, feature in enumerate(recipe.features[1:], 1):
            expected = naive(feature, rows[i][at[feature.column]], rows[j][at[feature.column]])
            assert found[k, column] == pytest.approx(expected, nan_ok=True, abs=1e-12)


def test_a_species_without_a_row_is_unknown_throughout():
    known = table((True, "red", 22, 10.0, None))
    found = pair_rows(recipe, np.array([1.0]), known, ["s0"], ["elsewhere"])
    assert np.isnan(found[0, 1:]).all()


def test_a_hybrid_without_a_row_has_what_all_of_its_species_have():
    known = table((True, "red", 22, 10.0, None), (True, "blue", 22, 12.0, None), (False, "red", 44, 10.0, None))
    of = {"mix": ["s0", "s1"], "wide": ["s0", "s2"], "lone": ["s0", "nowhere"]}

    def pedigree(name):
        return Pedigree(name, dict.fromkeys(of.get(name, [name]), 0.5))

    rows = pair_rows(recipe, np.ones(4), known, ["mix", "wide", "lone", "s0"], ["s0"] * 4, pedigree=pedigree)
    alike = pair_rows(recipe, np.ones(1), known, ["s0"], ["s0"])[0]
    by = {feature.column: column for column, feature in enumerate(recipe.features) if feature.column}
    assert rows[0, by["flag"]] == rows[3, by["flag"]] == alike[by["flag"]]
    assert np.isnan(rows[0, by["category"]])
    assert rows[1, by["category"]] == alike[by["category"]]
    assert np.isnan(rows[1, by["count"]])
    assert np.isnan(rows[2, by["category"]])


def test_a_known_no_settles_a_shared_flag():
    known = table((False, None, None, None, None))
    assert pair_rows(recipe, np.array([1.0]), known, ["s0"], ["elsewhere"])[0, 1] == 0.0


def test_a_column_that_the_table_has_lost_is_unknown():
    known = TraitTable(("s0", "s1"), ())
    assert np.isnan(pair_rows(recipe, np.array([1.0]), known, ["s0"], ["s1"])[0, 1:]).all()


def test_the_recipe_takes_every_column_that_can_speak():
    traits = table((True, "red", 22, 10.0, frozenset({4})), (None, None, None, None, None))
    assert recipe_for(traits, SCALE) == recipe
    assert recipe_for(traits, SCALE, left_out=["category", "measure"]).names == (
        "linear", "flag both", "count lower", "count higher",
    )  # fmt: skip


@pytest.mark.parametrize(
    "traits",
    [
        None,
        table((None, None, None, None, None)),  # all blank
        TraitTable(("s0", "s1"), (TraitColumn("self_fertile", "flag", True, (True, False)),)),  # of records, not pairs
    ],
)
def test_what_cannot_speak_is_no_feature(traits):
    assert recipe_for(traits, SCALE).names == ("linear",)


def test_swapping_the_parents_turns_what_has_a_direction_and_nothing_else():
    traits = table((True, "red", 22, 10.0, None), (True, "pink", 44, 25.5, None))
    one, other = pair_rows(recipe, np.array([1.0, 1.0]), traits, ["s0", "s1"], ["s1", "s0"])
    distance, both, same, lower, higher, ratio, size = one
    assert other == pytest.approx([distance, both, same, higher, lower, -ratio, size])


NEWICK = "(((a:1,b:1):1,c:2):2,(d:1.5,e:1.5):2.5);"


def test_a_scale_is_the_trees_median_and_quartiles():
    """Distances of the ten pairs: 2, 3, 4, 4 and six of 8; a curve's middle half is put between -.67 and .67."""
    scale = scale_of(parse_newick(NEWICK))
    apart = np.array([2, 3, 4, 4, *[8] * 6]) / 8
    assert (scale.width, scale.unit) == (8.0, None)
    for (name, centre, spread), power in zip(scale.places, (0.5, 1, 2), strict=True):
        low, middle, high = np.quantile(apart**power, [0.25, 0.5, 0.75])
        assert (centre, spread) == pytest.approx((middle, max((high - low) / 1.349, 0.1)), rel=1e-3), name


def test_a_curve_tells_distances_apart_that_are_below_one():
    """The root of half the width is .7071 of its own."""
    scale = scale_of(parse_newick("((a:.1,b:.1):.1,(c:.1,d:.1):.1);"))
    (name, centre, spread), *_ = scale.places
    rows = scale.rows(np.array([0.2, 0.3, 0.4]))[:, 0]
    assert (name, scale.width) == ("root", pytest.approx(0.4))
    assert rows == pytest.approx((np.sqrt([0.5, 0.75, 1.0]) - centre) / spread)


@pytest.mark.parametrize("newick", ["(a:0,b:0);", "a:1;"])
def test_a_tree_without_distances_is_measured_by_its_own_unit(newick):
    scale = scale_of(parse_newick(newick))
    assert scale.width == 1.0
    assert np.isfinite(scale.rows(np.array([0.0, 1.0]))).all()


def test_millions_of_years_have_a_curve_that_no_tree_bends():
    by_time, without = scale_of(parse_newick(NEWICK, unit="My")), scale_of(parse_newick(NEWICK))
    assert [name for name, *_ in by_time.places] == list(CURVES)
    assert [name for name, *_ in without.places] == list(CURVES[1:])
    wider = scale_of(parse_newick(f"({NEWICK[:-1]}:300,f:304);", unit="My"))
    distance = np.array([0.0, 2.0, 8.0, 40.0])
    one, other = (recipe_for(None, scale).scale.rows(distance)[:, 0] for scale in (by_time, wider))
    assert one.tolist() == other.tolist() == pytest.approx(np.log1p(np.maximum(distance, 2.0)) - np.log(9))


@pytest.mark.parametrize("unit", [None, "My"])
@pytest.mark.parametrize("newick", ["(a:0,b:0);", "(a:1,b:1);", "((a:1,b:1):1,c:2);"])
def test_every_curve_rises_and_none_leaves_its_bounds(newick, unit):
    rows = scale_of(parse_newick(newick, unit=unit)).rows(np.linspace(0, 1000, 2001))
    assert (np.diff(rows, axis=0) >= 0).all()
    assert (np.abs(rows) <= 3).all()
    assert (np.diff(rows, axis=0).sum(axis=0) > 0).all()


def test_the_unit_of_another_tree_changes_no_share_of_its_width():
    days, years = (scale_of(parse_newick(NEWICK.replace(":", f":{factor}"))) for factor in ("", "1"))
    assert days.width != years.width
    tenfold = parse_newick("(((a:10,b:10):10,c:20):20,(d:15,e:15):25);")
    distance = np.array([1.0, 4.0, 9.0])
    assert scale_of(tenfold).rows(10 * distance) == pytest.approx(days.rows(distance))


def test_a_gap_in_a_table_is_passed_over():
    class Gappy:
        tips, unit = ("a", "b", "c"), None

        @staticmethod
        def patristic_matrix(some):
            assert some == ["a", "b", "c"]
            return np.array([[0, 2.0, np.nan], [2.0, 0, 6.0], [np.nan, 6.0, 0]])

    assert scale_of(Gappy()).width == 4.0


def test_a_longer_distance_moves_the_curves_and_nothing_else():
    distance, spread = np.array([2.0, 2.0, 99.0]), np.array([1.0, np.nan, 5.0])
    gain = farther_rows(recipe, distance, spread)
    assert gain[:, 0].tolist() == [1.0, 0.0, 0.0]  # unknown spread leaves nothing open; past the end nothing moves
    assert not gain[:, 1:].any()
