"""The likeliest of all pairings, found tile by tile, against ranking every single one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crosscompat.advice import search as searching
from crosscompat.advice.basis import asked_of, basis_of
from crosscompat.advice.rank import among_species, rank, records
from crosscompat.advice.search import Best, Found, search_of
from crosscompat.collection.opening import open_collection
from crosscompat.ground.errors import WrongUse
from crosscompat.model.pairings import Parents
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.sample import TreeSample
from crosscompat.phylogeny.table import DistanceTable


def found_by(collection, *, flowers=1, most=20):
    search = search_of(collection, flowers=flowers, most=most)
    best = Best(search.most)
    for rows in search.parts:
        best.take(search.among(rows, best.floor))
    return search, best.found


def pairs(ranking):
    return [(row.seed_parent, row.pollen_parent) for row in ranking.rows]


def same_as_ranking(collection, *, flowers=1, most=20):
    search, found = found_by(collection, flowers=flowers, most=most)
    everything = rank(collection, among_species(collection, collection.distances.tips), flowers=flowers)
    ranking = search.ranking(found)
    for row, expected in zip(ranking.rows, everything.rows, strict=False):
        assert figures(row) == pytest.approx(figures(expected), rel=1e-12)  # BLAS adds up differently in other company
        assert replace(row, **WITHOUT_FIGURES) == replace(expected, **WITHOUT_FIGURES)
    assert len(ranking.rows) == min(most, len(everything.rows))
    return ranking


WITHOUT_FIGURES = {"chance": None, "per_flower": None, "relative_distance": None}


def figures(row):
    chances = (row.chance, row.per_flower)
    return [row.relative_distance, *(x for one in chances for x in (one.mean, one.low, one.high))]


@pytest.fixture
def small_tiles(monkeypatch):
    """Tiles far smaller than the tree, so that many meet."""
    for name, size in (("_ROWS", 3), ("_COLUMNS", 5), ("_AT_ONCE", 4), ("_KIN_AT_ONCE", 4)):
        monkeypatch.setattr(searching, name, size)


@pytest.mark.parametrize(("flowers", "most"), [(1, 20), (6, 7), (40, 100)])
def test_the_likeliest_are_those_that_ranking_all_of_them_gives(demo, small_tiles, flowers, most):
    ranking = same_as_ranking(open_collection(demo), flowers=flowers, most=most)
    assert ranking.notes[0] == f"The likeliest {most} of 992 pairings among 32 species, both ways round."
    assert [row["place"] for row in records(ranking)] == list(range(1, most + 1))


def test_before_any_cross_the_prior_is_searched(demo):
    same_as_ranking(replace(open_collection(demo), saved=None), flowers=3)


def test_the_plain_form_is_searched_too(trained, book):
    same_as_ranking(trained(book), flowers=3, most=6)


def test_a_sample_of_trees_and_species_only_placed_count(trained, book, newick, small_tiles):
    other = newick.replace("Aus_dus:2", "Aus_dus:3")
    sample = TreeSample((parse_newick(newick), parse_newick(other)))
    same_as_ranking(replace(trained(book), sample=sample), most=6)


def test_every_tile_says_what_asking_says(demo):
    collection = open_collection(demo)
    tips = collection.distances.tips
    for saved in (collection.saved, None):
        made = replace(collection, saved=saved)
        search, model = search_of(made), basis_of(made).model
        everyone = slice(0, len(tips))
        tile = search.ready.tile(
            everyone, everyone, collection.distances.patristic_matrix(), search._spread(everyone, everyone)
        )
        search.crossed.put_into(tile, everyone, everyone)
        seed, pollen = [one for one in tips for _ in tips], list(tips) * len(tips)
        asked = asked_of(made, model, Parents(seed, pollen)).outlook
        others = np.array(seed) != np.array(pollen)
        for k, stage in enumerate(asked.stages):
            assert tile.mean[k].ravel()[others] == pytest.approx(stage.mean[others], abs=2e-5)
            assert tile.sd[k].ravel()[others] == pytest.approx(stage.sd[others], abs=2e-5)


def test_a_pair_whose_distance_a_table_does_not_know_is_passed_over(collection):
    gap = np.array([[0.0, 1.0, 4.0], [1.0, 0.0, np.nan], [4.0, np.nan, 0.0]])
    made = collection(distances=DistanceTable(("Aus_bus", "Aus_cus", "Aus_dus"), gap), traits=None)
    search, found = found_by(made)
    assert len(found.seed) == 4
    assert {frozenset(pair) for pair in pairs(search.ranking(found))} == {
        frozenset({"Aus bus", "Aus cus"}), frozenset({"Aus bus", "Aus dus"}),
    }  # fmt: skip


def test_no_flower_is_no_question(collection):
    with pytest.raises(WrongUse, match="flower"):
        search_of(collection(), flowers=0)


def test_the_best_are_kept_and_equal_ones_stand_by_number():
    best = Best(3)
    assert best.floor == -1.0
    number = np.arange(4)
    best.take(Found(np.array([0.2, 0.5, 0.5, 0.1]), number, number))
    assert best.found.seed.tolist() == [1, 2, 0]
    assert best.floor == 0.2
    best.take(Found(np.array([0.5, 0.3]), np.array([0, 9]), np.array([7, 9])))
    assert best.found.seed.tolist() == [0, 1, 2]
