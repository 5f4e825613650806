from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.advice.figures import (
    SURE_WORDS,
    VERDICTS,
    Interval,
    Past,
    basis_figures,
    distance_of,
    how_sure,
    interval_at,
    past_crosses,
    tree_figures,
    verdict,
)
from crosscompat.advice.predict import basis_of, last_basis
from crosscompat.book.current_plants import Plant
from crosscompat.collection.settings import Settings
from crosscompat.ground.wording import say
from crosscompat.model.forecast import Chances
from crosscompat.phylogeny.distances import read_distances
from crosscompat.phylogeny.newick import parse_newick


def far(made, seed="Aus_bus", pollen="Aus_dus"):
    return distance_of(made, basis_of(made), seed, pollen)


def test_a_distance_is_told_by_every_measure_of_the_tree(collection):
    found = far(collection())
    assert (found.patristic, found.unit, found.relative, found.nodes) == (4.0, "My", 0.5, 2)
    assert (found.clade_size, found.clade_depth, found.clade_name) == (3, 0.5, "Austera")
    assert far(collection(), "Aus_bus", "Aus_cus").clade_name == "Austera"  # the lowest that has a name


def test_a_group_is_named_without_the_underscores_of_the_file(collection):
    found = far(collection(distances=parse_newick("(((Aus_bus:1,Aus_dus:1)sect._Bus:1,Aus_cus:2)subg._Aus:1);")))
    assert found.clade_name == "sect. Bus"


def test_a_species_is_at_no_distance_from_itself(collection):
    found = far(collection(), "Aus_bus", "Aus_bus")
    assert (found.patristic, found.relative, found.nodes, found.clade_size) == (0, 0, 0, 1)


@pytest.mark.parametrize(
    ("newick", "nodes"),
    [
        ("[&U]((Aus_bus:1,Aus_cus:1):1,Aus_dus:2);", 1),  # an unrooted tree has no root to count
        ("((Aus_bus:2,Aus_cus:1):-1,Aus_dus:4);", 2),
    ],
)
def test_where_no_clade_can_be_told_the_rest_still_is(collection, newick, nodes):
    found = far(collection(distances=parse_newick(newick)))
    assert found.patristic > 0
    assert found.nodes == nodes
    assert (found.clade_size, found.clade_depth, found.clade_name) == (None, None, None)


def test_a_table_of_distances_has_no_nodes(collection, tmp_path):
    (tmp_path / "d.csv").write_text(",Aus bus,Aus dus\nAus bus,0,3\nAus dus,3,0\n", encoding="utf-8")
    made = collection(distances=read_distances(tmp_path / "d.csv"))
    found = far(made, "Aus bus", "Aus dus")
    assert (found.patristic, found.relative, found.nodes, found.clade_size) == (3, 1, None, None)


def test_a_chance_is_said_as_a_grower_would():
    found = interval_at(Chances(np.array([0.1, 0.5]), np.array([0.0, 0.3]), np.array([0.4, 0.8])), 1)
    assert (found.mean, found.low, found.high, found.words) == (0.5, 0.3, 0.8, "about 1 in 2")


def test_past_crosses_are_told_oldest_first_this_way_round(collection, cross):
    made = collection(
        [
            cross("Aus bus", "A. cus", 5, 0, day=date(2025, 5, 1), cross="25-1"),
            cross("Aus_bus", "Aus cus", 4, 2, day=date(2023, 5, 1), cross="23-1"),
            cross("Aus cus", "Aus bus", 3, 1, cross="other way"),
            cross("Aus bus", "Aus cus", day=date(2024, 5, 1), units=6, pods_set=2),
            cross("Aus bus", "no such plant", 1, 1),
        ]
    )
    assert past_crosses(made)["Aus_bus", "Aus_cus"] == [
        Past("23-1", "2023-05-01", 4, "took"),
        Past("row 0", "2024-05-01", 6, "open"),
        Past("25-1", "2025-05-01", 5, "failed"),
    ]
    assert set(past_crosses(made)) == {("Aus_bus", "Aus_cus"), ("Aus_cus", "Aus_bus")}


@pytest.mark.parametrize(
    "change",
    [
        {"pollen_kind": "open"},
        {"pollen_kind": "none"},
        {"pollen_kind": "self"},
        {"pollen_kind": "sib"},
        {"seed_plant": "A1", "pollen_plant": "A2"},
    ],
)
def test_what_is_no_cross_of_two_parents_is_no_past_cross(collection, cross, change):
    bench = [Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A")]
    made = collection([cross("Aus bus", "Aus bus", 4, 4, **change)], plants=bench)
    assert past_crosses(made) == {}


def test_what_a_forecast_rests_on_is_told(collection, trained, book):
    prior = basis_figures(collection(), basis_of(collection()))
    assert (prior.kind, prior.crosses, prior.took, prior.as_of, prior.changed, prior.model) == (
        "prior",
        0,
        0,
        None,
        [],
        None,
    )
    made = trained(book)
    found = basis_figures(made, basis_of(made))
    assert (found.kind, found.crosses, found.took, found.as_of) == ("crosses", 12, 6, "2026-01-01")
    assert found.words == "From 12 finished crosses of yours, 6 with a seedling, as of 1 January 2026."
    assert len(found.model) == 64


def test_invented_outcomes_and_changes_are_said(trained, book):
    from dataclasses import replace

    made = trained(book, settings=Settings(invented=True))
    changed = replace(made, traits=None, crosses=made.crosses[1:])
    found = basis_figures(changed, last_basis(changed))
    assert found.changed == ["traits", "crosses"]
    assert found.words.endswith(
        "The crosses are invented. Your traits and crosses changed since. Run `crosscompat retrain` to use the change."
    )


def test_which_tree_was_asked_is_told(collection):
    made = collection()
    found = tree_figures(made, basis_of(made))
    assert (found.name, found.unit, found.species, found.usual_distance) == ("ours", "My", 5, 8.0)
    assert found.fingerprint == made.distances.fingerprint


@pytest.mark.parametrize(
    ("chance", "low", "high", "word"),
    [
        (1.0, 0.9, 1.0, "very_likely"),
        (0.8, 0.5, 0.9, "very_likely"),
        (0.7999, 0.5, 0.9, "likely"),
        (0.6, 0.3, 0.7, "likely"),
        (0.5999, 0.3, 0.7, "even"),
        (0.4, 0.3, 0.7, "even"),
        (0.3999, 0.3, 0.7, "possible"),
        (0.2, 0.1, 0.5, "possible"),
        (0.1999, 0.1, 0.4, "long_shot"),
        (0.05, 0.0, 0.3, "long_shot"),
        (0.0499, 0.0, 0.3, "very_unlikely"),
        (0.0, 0.0, 0.0, "very_unlikely"),
        (0.5, 0.0, 1.0, "even"),  # something is known of a parent
        (0.9, 0.0, 1.0, "very_likely"),
    ],
)
def test_the_table(chance, low, high, word):
    assert verdict(Interval(chance, low, high, "")) == word


@pytest.mark.parametrize(
    ("chance", "low", "high", "word"),
    [
        (0.5, 0.02, 0.97, "cannot_tell"),
        (0.5, 0.05, 0.95, "even"),  # nine tenths are not more than nine tenths
        (0.3, 0.01, 0.97, "possible"),  # a lean is said however unsure
        (0.7, 0.01, 0.97, "likely"),
    ],
)
def test_only_a_coin_of_which_nothing_is_known_cannot_be_told(chance, low, high, word):
    assert verdict(Interval(chance, low, high, ""), known=False) == word


@given(st.floats(0, 1), st.floats(0, 1), st.booleans())
def test_every_chance_has_one_verdict_and_more_is_never_worse(chance, other, known):
    order = ["very_unlikely", "long_shot", "possible", "even", "likely", "very_likely"]
    worse, better = sorted((chance, other))
    assert order.index(verdict(Interval(worse, 0.2, 0.7, ""))) <= order.index(verdict(Interval(better, 0.2, 0.7, "")))
    assert verdict(Interval(chance, 0.0, 1.0, ""), known=known) in VERDICTS


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1))
def test_a_narrower_interval_is_never_less_sure(low, high, within):
    low, high = sorted((low, high))
    half = within * (high - low) / 2
    order = [*SURE_WORDS]
    narrow, wide = Interval(0.5, low + half, high - half, ""), Interval(0.5, low, high, "")
    assert order.index(how_sure(narrow)) <= order.index(how_sure(wide))


def test_every_verdict_has_words_of_its_own():
    assert len({say(f"verdict.{word}") for word in VERDICTS}) == len(VERDICTS) == 7
