from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.pairing import Feature, Recipe, pair_rows, recipe_for
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
recipe = Recipe(
    (
        Feature("distance"),
        Feature("both", "flag"),
        Feature("same", "category"),
        Feature("lower", "count"),
        Feature("higher", "count"),
        Feature("ratio", "measure"),
        Feature("size", "measure"),
    ),
    reference=4.0,
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
        assert found[k, 0] == distance[k] / 4.0
        for column, feature in enumerate(recipe.features[1:], 1):
            expected = naive(feature, rows[i][at[feature.column]], rows[j][at[feature.column]])
            assert found[k, column] == pytest.approx(expected, nan_ok=True, abs=1e-12)


def test_a_species_without_a_row_is_unknown_throughout():
    known = table((True, "red", 22, 10.0, None))
    found = pair_rows(recipe, np.array([1.0]), known, ["s0"], ["elsewhere"])
    assert np.isnan(found[0, 1:]).all()


def test_a_known_no_settles_a_shared_flag():
    known = table((False, None, None, None, None))
    assert pair_rows(recipe, np.array([1.0]), known, ["s0"], ["elsewhere"])[0, 1] == 0.0


def test_a_column_that_the_table_has_lost_is_unknown():
    known = TraitTable(("s0", "s1"), ())
    assert np.isnan(pair_rows(recipe, np.array([1.0]), known, ["s0"], ["s1"])[0, 1:]).all()


def test_the_recipe_takes_every_column_that_can_speak():
    traits = table((True, "red", 22, 10.0, frozenset({4})), (None, None, None, None, None))
    assert recipe_for(traits, 2.0, unit="My") == Recipe(recipe.features, 2.0, "My")
    assert recipe_for(traits, 2.0, left_out=["category", "measure"]).names == (
        "distance", "flag both", "count lower", "count higher",
    )  # fmt: skip
    assert recipe_for(None, 2.0).names == ("distance",)


def test_a_column_that_is_all_blank_is_no_feature():
    assert recipe_for(table((None, None, None, None, None)), 1.0).names == ("distance",)


def test_whether_a_mother_selfs_is_no_feature_of_a_pairing():
    selfs = TraitColumn("self_fertile", "flag", True, (True, False))
    assert recipe_for(TraitTable(("s0", "s1"), (selfs,)), 1.0).names == ("distance",)


def test_swapping_the_parents_turns_what_has_a_direction_and_nothing_else():
    traits = table((True, "red", 22, 10.0, None), (True, "pink", 44, 25.5, None))
    one, other = pair_rows(recipe, np.array([1.0, 1.0]), traits, ["s0", "s1"], ["s1", "s0"])
    distance, both, same, lower, higher, ratio, size = one
    assert other == pytest.approx([distance, both, same, higher, lower, -ratio, size])
