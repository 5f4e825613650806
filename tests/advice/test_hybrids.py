from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crosscompat.advice import retrain as lesson_room
from crosscompat.advice.ask import ask
from crosscompat.advice.check import check
from crosscompat.advice.forecast_record import forecasts_due
from crosscompat.advice.parents import (
    Parent,
    cautions,
    expected_chromosomes,
    find_parents,
    hybrid_notes,
    proved_fertile,
)
from crosscompat.advice.partners import partners
from crosscompat.advice.predict import basis_of, chances_of, parents_of, predict, training_set_of
from crosscompat.advice.rank import rank, wanted_pairs
from crosscompat.advice.season.labels import labels_for
from crosscompat.book.crosses import placed
from crosscompat.book.current_plants import Plant
from crosscompat.carried import carried_tree
from crosscompat.collection.opening import open_carried, with_missing
from crosscompat.ground.errors import UnknownName
from crosscompat.model.fitted import prior_step
from crosscompat.model.forecast import chances
from crosscompat.model.pairings import Parents
from crosscompat.model.take import TakeModel
from crosscompat.pairing import farther_rows
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.traits import TraitColumn, TraitTable

EVEN, UNEVEN = "Aus bus × Aus dus", "Aus bus × Aus cus"


def test_a_species_has_nothing_of_the_kind(collection):
    assert hybrid_notes(collection(), Parent("Aus_bus")) == []


def test_it_is_told_where_a_hybrid_stands_and_how_far_its_parents(collection):
    (told,) = hybrid_notes(collection(), Parent(EVEN))
    assert told.startswith(
        "Aus bus × Aus dus is a hybrid (50% Aus bus, 50% Aus dus). The forecast places it between its parents,"
        " which are 4 My apart"
    )


@pytest.mark.parametrize(
    ("label", "count", "says"),
    [
        (EVEN, None, None),
        (UNEVEN, None, "different chromosome numbers (2n 22 and 44)"),
        (UNEVEN, 44, None),  # counted, and found even: doubled
        (EVEN, 33, "odd chromosome number (2n 33)"),
        ("Aus bus × Aus fus", None, None),  # nobody has counted Aus fus
        ("Aus dus × (Aus bus × Aus cus)", None, "(2n 22 and 33)"),
    ],
)
def test_uneven_chromosomes_are_told_where_they_are_known(collection, label, count, says):
    plant = Plant("H1", label, "H1", chromosomes=count) if count else None
    told = hybrid_notes(collection(plants=[plant] if plant else []), Parent(label, plant))
    assert len(told) == (1 if says is None else 2)
    if says:
        assert says in told[1]


def test_half_of_each_parents_chromosomes_is_expected(collection):
    made = collection()
    assert expected_chromosomes(made, EVEN) == 22
    assert expected_chromosomes(made, UNEVEN) == 33
    assert expected_chromosomes(made, f"({UNEVEN}) × Aus bus") == 27.5
    assert expected_chromosomes(made, "Aus bus × Aus fus") is None
    assert expected_chromosomes(made, "Aus_bus") == 22


def test_a_hybrid_that_gave_a_seedling_is_proved(collection, cross):
    hybrid, other = Plant("H1", EVEN, "H"), Plant("H2", EVEN, "K")
    took = cross("Aus bus x A. dus", "Aus eus", 4, 2, seed_plant="H1")
    made = collection([took, cross(UNEVEN, "Aus eus", 4, 0)], [hybrid, other, Plant("H3", EVEN, "H")])
    assert proved_fertile(made, EVEN)
    assert proved_fertile(made, EVEN, made.plants.find("H3").clone)  # an offset of it
    assert not proved_fertile(made, EVEN, other.clone)
    assert not proved_fertile(made, UNEVEN)
    assert "already given a seedling" in hybrid_notes(made, Parent(EVEN))[-1]
    assert "already given a seedling" in hybrid_notes(made, Parent(EVEN, made.plants.find("H3")))[-1]
    assert len(hybrid_notes(made, Parent(EVEN, other))) == 1


def test_both_are_told_among_the_cautions(collection):
    made = collection()
    model = basis_of(made).model
    row = predict(made, model, Parents(["Aus_bus"], ["Aus_eus"])).rows[0]
    told = cautions(made, model, Parent(UNEVEN), Parent("Aus_eus"), row)
    assert [caution.kind for caution in told if caution.kind == "hybrid"] == ["hybrid", "hybrid"]


def test_a_species_that_was_only_placed_is_told(collection, tree):
    traits = TraitTable(
        ("Aus_bus", "Aus_cus", "Aus novus"), (TraitColumn("section", "text", True, ("One", "One", "One")),)
    )
    wider, put = with_missing(tree, traits, {})
    made = collection(distances=wider, traits=traits, placed=put)
    model = basis_of(made).model
    seed, pollen = Parent("Aus novus"), Parent("Aus_bus")
    row = predict(made, model, Parents([seed.label], [pollen.label])).rows[0]
    (told,) = [caution for caution in cautions(made, model, seed, pollen, row) if caution.kind == "placed"]
    assert told.says.startswith("Aus novus is not on the tree. It is placed in its group (sect. One)")
    assert not [one for one in cautions(made, model, pollen, Parent("Aus_dus"), row) if one.kind == "placed"]


NAMES = [f"Aus {letter}us" for letter in "bcdfghkl"]


def random_tree(rng):
    parts = list(NAMES)
    while len(parts) > 1:
        i, j = sorted(rng.choice(len(parts), 2, replace=False))
        right, left = parts.pop(j), parts.pop(i)
        parts.append(f"({left}:{rng.exponential():.6f},{right}:{rng.exponential():.6f})")
    return parse_newick(f"{parts[0]};".replace(" ", "_"), unit="My")


def random_formula(rng, depth):
    """A formula of up to that many generations, of any two parents that differ."""
    one, two = rng.choice(NAMES, 2, replace=False).tolist()
    for _ in range(depth - 1):
        one, two = (f"({one} × {two})", str(rng.choice(NAMES)))
        if rng.random() < 0.5:
            one, two = two, one
    return f"{one} × {two}"


def random_book(rng, cross, size, *, staged):
    """Crosses among four of the species and one hybrid."""
    able = [*NAMES[:4], "Aus bus × Aus cus"]
    for _ in range(size):
        seed, pollen = rng.choice(able, 2, replace=False).tolist()
        took = int(rng.binomial(4, rng.random()))
        yield cross(seed, pollen, pods_set=took, units=4, seedlings=took) if staged else cross(seed, pollen, 4, took)


def logit_of(chance):
    return np.log(chance / (1 - chance))


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    seed=st.integers(0, 10_000),
    size=st.sampled_from([0, 0, 6, 15]),
    staged=st.booleans(),
    depth=st.integers(1, 3),
    both=st.booleans(),
)
def test_a_hybrid_is_never_surer_than_its_species(trained, collection, cross, seed, size, staged, depth, both):
    """The variance of its logit is at least the mean of those of its species in its place, weighted by their shares.

    So is the width of the 90% interval, on the logit scale.
    """
    rng = np.random.default_rng(seed)
    crosses = list(random_book(rng, cross, size, staged=staged))
    made = (trained if size else collection)(crosses, distances=random_tree(rng))
    model = basis_of(made).model
    hybrid = made.index.resolve(random_formula(rng, depth))
    partner = made.index.resolve(random_formula(rng, 1) if both else str(rng.choice(NAMES)))
    if {hybrid, partner} & set(model.seen.species) - set(made.distances.tips):
        return  # its own crosses speak for it
    one, two = (made.taxa.pedigree(label).shares for label in (hybrid, partner))
    for turn in (1, -1):
        pairs = [((a, b)[::turn], w * v) for a, w in one.items() for b, v in two.items()]
        sides = [[label] for label in (hybrid, partner)[::turn]]
        found = predict(made, model, Parents(*sides)).whole
        theirs = predict(made, model, Parents(*map(list, zip(*(pair for pair, _ in pairs), strict=True)))).whole
        shares = np.array([weight for _, weight in pairs])
        assert shares.sum() == pytest.approx(1)
        assert found.sd[0] ** 2 >= shares @ theirs.sd**2 - 1e-9
        own, of_species = chances(found), chances(theirs)
        width = logit_of(of_species.high) - logit_of(of_species.low)
        assert logit_of(own.high[0]) - logit_of(own.low[0]) >= shares @ width - 1e-6


def test_a_hybrid_and_its_like_are_no_surer_than_its_species_with_theirs(collection):
    made = collection()
    model = basis_of(made).model
    alike = predict(made, model, Parents([EVEN, "Aus_bus", "Aus_dus"], [EVEN, "Aus_bus", "Aus_dus"]))
    curves = alike.rows[:, model.recipe.of_distance]
    assert curves.tolist() == [curves[0].tolist()] * 3
    assert alike.whole.sd[0] ** 2 >= (alike.whole.sd[1:] ** 2).mean()


def test_the_farther_apart_its_parents_the_less_sure(collection):
    """Aus eus is as far from Aus bus, A. cus and A. dus; the chromosomes are put aside."""
    made = collection(traits=None)
    model = basis_of(made).model
    seed = ["Aus_bus", "Aus bus × Aus cus", EVEN]
    asked = predict(made, model, Parents(seed, ["Aus_eus"] * 3))
    assert len(set(asked.rows[:, 0])) == 1
    apart = made.taxa.apart(seed, ["Aus_eus"] * 3)
    fit, far = prior_step(model, "whole"), farther_rows(model.recipe, apart, np.array([0.0, 1.0, 2.0]))
    more = (far @ fit.mean[1:]) ** 2 + np.einsum("ij,jk,ik->i", far, fit.covariance[1:, 1:], far)
    assert asked.whole.mean == pytest.approx(np.full(3, asked.whole.mean[0]))
    assert asked.whole.sd**2 == pytest.approx(asked.whole.sd[0] ** 2 + more)
    assert asked.whole.sd[0] < asked.whole.sd[1] < asked.whole.sd[2]


def chance_with(made, name, *, model=None):
    return chances_of(made, model or basis_of(made).model, parents_of([find_parents(made, name, "Aus eus")])).mean[0]


def test_uneven_chromosomes_lower_the_chance_and_are_a_reason(collection):
    plants = [Plant("H33", UNEVEN, "H33", chromosomes=33), Plant("H44", UNEVEN, "H44", chromosomes=44)]
    made = collection(plants=plants)
    answers = {name: ask(made, name, "Aus eus").pairing for name in (UNEVEN, "H33", "H44")}
    for name, answer in answers.items():
        told = [reason for reason in answer.reasons if reason.feature == "uneven"]
        assert (len(told) > 0) == (name != "H44")
        assert sum(reason.logit for reason in answer.reasons) == pytest.approx(answer.stages[-1].logit_mean)
    assert answers["H33"].chance.mean < answers["H44"].chance.mean
    (says,) = [reason.says for reason in answers["H33"].reasons if reason.feature == "uneven"]
    assert says == "a hybrid parent has uneven chromosomes: clearly against it"


def test_a_hybrid_that_has_proved_fertile_is_doubted_no_longer_once_it_was_learned_from(trained, collection, cross):
    took = [cross(UNEVEN, "Aus dus", 4, 3, cross=f"h{i}") for i in range(3)]
    before, after = collection(), trained(took)
    assert after.saved.model.seen.species == (UNEVEN, "Aus_dus")
    feature = [[reason.feature for reason in ask(m, UNEVEN, "Aus eus").pairing.reasons] for m in (before, after)]
    assert "uneven" in feature[0]
    assert "uneven" not in feature[1]
    assert chance_with(after, UNEVEN) > chance_with(before, UNEVEN)
    told = [caution.says for caution in ask(after, UNEVEN, "Aus eus").pairing.cautions if caution.kind == "hybrid"]
    assert any("already given a seedling" in says for says in told)


def test_crosses_of_a_hybrid_teach_of_its_species(trained, cross):
    """Failures of a hybrid speak against its species as mothers, and less against others."""
    failed = [cross("Aus bus × A. cus", "Aus fus", 5, 0, cross=f"h{i}") for i in range(4)]
    other = [cross("Aus dus", "Aus fus", 5, 5, cross=f"d{i}") for i in range(4)]
    model = trained([*failed, *other]).saved.model
    assert model.seen.species == ("Aus bus × Aus cus", "Aus_dus", "Aus_fus")
    made = trained([*failed, *other])
    of = {name: chance_with(made, name) for name in ("Aus bus × Aus cus", "Aus bus", "Aus dus")}
    assert of["Aus bus × Aus cus"] < of["Aus bus"] < of["Aus dus"]


def test_a_hybrid_is_a_parent_in_every_answer(trained, cross):
    """A plant of a formula, a formula in the book, among the crosses wanted, in the ledger and on a label."""
    plants = [Plant("H1", "Aus bus x A. dus", "H"), Plant("H2", "Aus bus × Aus dus", "H"), Plant("E", "Aus eus", "E")]
    book = [
        cross("Aus bus × Aus dus", "A. eus", 4, 2, cross="24-1", seed_plant="H1", pollen_plant="E"),
        cross("Aus eus", "Aus bus × A. dus", 4, 0, cross="24-2", seed_plant="E", pollen_plant="H2"),
        cross("H1", "Aus eus", 4, 0, cross="24-3"),  # a plant's name is no species
    ]
    made = trained(book, plants, [("H1", "E"), ("(Aus bus × A. dus) × A. cus", "A. fus"), ("H1", "H2")])
    learned = training_set_of(made, date(2026, 1, 1))
    assert [(learned.seed[i], learned.pollen[i]) for i in range(2)] == [(EVEN, "Aus_eus"), ("Aus_eus", EVEN)]
    assert [left.reason for left in learned.left_out] == ["not_in_tree"]
    answer = ask(made, "H1", "E").pairing
    assert (answer.seed_parent, answer.seed_plant, len(answer.past)) == (EVEN, "H1", 1)
    assert (answer.distance.nodes, answer.distance.clade_size, answer.distance.spread) == (None, 5, 2.0)
    candidates, refused = wanted_pairs(made, made.wanted)
    assert [(one.seed.label, one.pollen.label) for one in candidates] == [
        (EVEN, "Aus_eus"),
        (f"{EVEN} × Aus cus", "Aus_fus"),
    ]
    assert "one plant" in refused[0].why
    assert {row.seed_parent for row in rank(made, candidates).rows} == {EVEN, f"{EVEN} × Aus cus"}
    due = forecasts_due(made, made.saved.model, "f" * 12, date(2026, 1, 1))
    assert [(one.seed_parent, one.pollen_parent) for one in due][-1] == (f"{EVEN} × Aus cus", "Aus fus")
    assert placed(made.index, [(due[-1].seed_parent, due[-1].pollen_parent)]) == [(f"{EVEN} × Aus cus", "Aus_fus")]
    (card,) = labels_for(made, ["24-2"]).cards
    assert (card.seed_parent, card.pollen_parent) == ("Aus eus", EVEN)
    assert [(one.column, one.name) for one in check(made).unmatched] == [("seed_parent", "H1")]
    near = partners(made, "H1", role="seed")
    assert [one.label for one in near.partners if one.chance is None] == []
    assert {one.label: (one.took, one.failed) for one in near.partners}["Aus_eus"] == (1, 0)


@pytest.mark.parametrize(
    ("text", "label"),
    [
        ("Echinocereus coccineus × E. dasyacanthus", "Echinocereus coccineus × Echinocereus dasyacanthus"),
        ("Echinocereus ×roetteri", "Echinocereus coccineus × Echinocereus dasyacanthus"),
        ("Echinocereus x lloydii 'Red'", "Echinocereus coccineus × Echinocereus dasyacanthus"),
        (
            "(Echinocereus coccineus × E. dasyacanthus) × E. viereckii",
            "Echinocereus coccineus × Echinocereus dasyacanthus × Echinocereus viereckii",
        ),
        (
            "Echinocereus viereckii × (E. ×roetteri × E. coccineus)",
            "Echinocereus viereckii × (Echinocereus coccineus × Echinocereus dasyacanthus × Echinocereus coccineus)",
        ),
    ],
)
def test_hybrids_are_found_by_formula_and_by_name(text, label):
    made = open_carried(carried_tree("echinocereus"))
    seed, pollen = find_parents(made, text, "E. scheeri")
    assert (seed.label, pollen.label) == (label, "Echinocereus_scheeri")
    assert find_parents(made, "Echinocereus scheeri", text.replace("Echinocereus", "E."))[1].label == label
    assert made.index.resolve(label) == label
    assert seed.read_as.startswith(f"“{text}” ")
    assert find_parents(made, label, "E. scheeri")[0].read_as == ""


def test_a_hybrid_of_a_stranger_is_not_found():
    made = open_carried(carried_tree("echinocereus"))
    with pytest.raises(UnknownName):
        find_parents(made, "Echinocereus coccineus × Opuntia ficus-indica", "E. scheeri")


def test_what_is_published_of_a_hybrid_itself_is_named():
    made = open_carried(carried_tree("echinocereus"))
    told = ask(made, "Echinocereus ×roetteri", "E. scheeri").known_hybrids
    assert [(near.hybrid, near.same) for near in told] == [
        ("Echinocereus ×lloydii", False),
        ("Echinocereus ×roetteri", False),
    ]
    assert ask(made, "Echinocereus viereckii × E. scheeri", "E. coccineus").known_hybrids == []


def test_the_notebooks_model_says_the_same_of_hybrids(trained, cross, tree):
    """Without traits the two are one model, whether or not the hybrid was crossed."""
    rows = [
        (EVEN, "Aus eus", 4, 1),
        ("Aus bus", "Aus cus", 5, 4),
        ("Aus dus", "Aus fus", 5, 0),
        ("Aus eus", EVEN, 3, 0),
    ]
    made = trained([cross(*row) for row in rows], traits=None)
    table = pd.DataFrame(rows, columns=["seed_parent", "pollen_parent", "tried", "took"])
    pairs = [(EVEN, "Aus_fus"), (UNEVEN, "Aus_eus"), ("Aus_bus", f"({UNEVEN}) × Aus eus"), (UNEVEN, UNEVEN)]
    asked = pd.DataFrame(pairs, columns=["seed_parent", "pollen_parent"])
    found = TakeModel(tree).fit(table).forecast(asked, flowers=3)
    expected = chances_of(made, made.saved.model, Parents(*map(list, zip(*pairs, strict=True))), 3)
    assert found["chance"].to_numpy() == pytest.approx(expected.mean, abs=1e-9)
    assert found["low"].to_numpy() == pytest.approx(expected.low, abs=1e-9)
    assert found["high"].to_numpy() == pytest.approx(expected.high, abs=1e-9)


def test_the_doubt_that_a_cross_has_lifted_is_named_among_what_moved(trained, collection, cross):
    plants = [Plant("H33", UNEVEN, "H33", chromosomes=33)]
    book = [cross("Aus bus", "Aus dus", 4, 2, cross=f"b{i}") for i in range(3)]
    took = [*book, cross(UNEVEN, "Aus eus", 4, 2, cross="h1", seed_plant="H33")]
    before, after = trained(book, plants), trained(took, plants)
    asked = parents_of([find_parents(after, "H33", "Aus eus")])
    was, now = (predict(after, made.saved.model, asked) for made in (before, after))
    assert was.uneven.tolist() == [-1.0]
    assert now.uneven.tolist() == [0.0]
    old, new = (lesson_room._parts(made.saved.model, asked.at(0)) for made, asked in ((before, was), (after, now)))
    assert new["uneven"] - old["uneven"] == 1.0
    assert sum(new.values()) - sum(old.values()) == pytest.approx(now.whole.mean[0] - was.whole.mean[0])
