from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from crosscompat.advice.ask import ask
from crosscompat.advice.parents import find_parents
from crosscompat.advice.partners import partners
from crosscompat.advice.predict import (
    basis_of,
    chances_of,
    fitted_on,
    last_basis,
    parents_of,
    predict,
    training_set_of,
)
from crosscompat.advice.rank import among_species, rank
from crosscompat.advice.retrain import keep, learn
from crosscompat.book.current_plants import Plant
from crosscompat.carried import tree_for_genus
from crosscompat.collection.create import create_collection
from crosscompat.collection.opening import open_carried, open_collection
from crosscompat.ground.dates import today
from crosscompat.model.forecast import chances, outlook
from crosscompat.model.pairings import Parents
from crosscompat.model.prior import centre_of, published
from crosscompat.pairing import scale_of
from crosscompat.phylogeny.classification import place, place_for
from crosscompat.phylogeny.formats import TreeSample
from crosscompat.phylogeny.newick import parse_newick, parse_newicks


def test_without_crosses_the_prior_answers(collection):
    basis = basis_of(collection())
    assert (basis.as_of, basis.changed, basis.fingerprint) == (None, (), None)
    assert basis.model.seen.crosses == 0
    assert basis.model.steps == ()
    assert basis.model.prior.mean.tolist() == published().prior_for(basis.model.recipe.features).mean.tolist()


def test_what_is_on_record_counts_at_once(collection, trained, book, cross):
    """Without a retraining, and where a cross has been added since, as if it had been retrained today."""
    now = basis_of(collection(book))
    learned = basis_of(trained(book))
    assert now.fingerprint is not None
    assert now.as_of == today().isoformat()
    assert now.model.seen == learned.model.seen
    for one, two in zip(now.model.steps, learned.model.steps, strict=True):
        assert one.mean == pytest.approx(two.mean, abs=1e-9)
    more = (*book, cross("Aus bus", "Aus dus", 5, 5))
    changed = basis_of(replace(trained(book), crosses=more))
    assert changed.changed == ()
    assert changed.model.seen.crosses == learned.model.seen.crosses + 1


def test_a_large_book_waits_for_its_retraining(trained, book, cross, only_retrained):
    made = trained(book)
    basis = basis_of(replace(made, crosses=(*made.crosses, cross("Aus bus", "Aus dus", 5, 5))))
    assert basis.changed == ("crosses",)
    assert basis.model is made.saved.model


def test_with_a_model_the_crosses_answer(trained, book):
    made = trained(book)
    basis = basis_of(made)
    assert (basis.as_of, basis.changed) == ("2026-01-01", ())
    assert basis.model is made.saved.model
    assert basis.fingerprint == made.saved.fingerprint


def test_what_has_changed_since_is_told(trained, traits, book, cross):
    made = trained(book)
    other_tree = parse_newick(
        "(((Aus_bus:1,Aus_cus:1):1,Aus_dus:2)Austera:2,(Aus_eus:1.5,Aus_fus:1.5):2.75);", unit="My"
    )
    other_traits = replace(traits, columns=traits.columns[:2])
    assert last_basis(replace(made, distances=other_tree)).changed == ("tree",)
    assert last_basis(replace(made, traits=other_traits)).changed == ("traits",)
    assert last_basis(replace(made, traits=None)).changed == ("traits",)
    assert last_basis(replace(made, crosses=made.crosses[:-1])).changed == ("crosses",)
    assert last_basis(replace(made, crosses=(*made.crosses, cross("Aus bus", "Aus dus")))).changed == ("crosses",)
    assert last_basis(replace(made, distances=other_tree, traits=None, crosses=())).changed == (
        "tree",
        "traits",
        "crosses",
    )
    assert last_basis(replace(made, plants=made.plants.of([Plant("A", "Aus bus", "A")]))).changed == ()


def test_the_order_of_columns_and_of_children_is_no_change(tmp_path, with_tables):
    tree = tmp_path / "tree.nwk"
    tree.write_text("((Aus_bus:1,Aus_cus:1):2,Aus_dus:3);", encoding="utf-8")
    folder = tmp_path / "ours"
    create_collection(folder, tree=str(tree))
    head, rows = (
        "date,seed_parent,pollen_parent,tried,took",
        ["2024-05-01,Aus bus,A. cus,4,1", "2024-05-02,Aus bus,A. dus,4,0"],
    )
    with_tables(folder, crosses_csv="\n".join([head, *rows, ""]))
    keep(made := open_collection(folder), learn(made, as_of=date(2026, 1, 1))[1])
    turned = [",".join(reversed(line.split(","))) for line in (head, *rows)]
    with_tables(folder, crosses_csv="\n".join([*turned, ""]))
    (folder / "tree.nwk").write_text("(Aus_dus:3,(Aus_cus:1,Aus_bus:1):2);", encoding="utf-8")
    opened = open_collection(folder)
    assert opened.saved is not None
    assert basis_of(opened).changed == ()


def test_no_plant_wish_or_cross_moves_the_scale_of_the_distance(collection, cross, book):
    scale = basis_of(collection()).model.recipe.scale
    assert (scale.width, scale.unit) == (8.0, "My")  # the median of 2, 4, 4, 3 and six times 8
    assert scale == scale_of(collection().distances)
    for named in (
        {"plants": [Plant("A", "Aus bus", "A"), Plant("D", "Aus dus", "D")]},
        {"wanted": [("Aus bus", "A. cus")]},
        {"crosses": [cross("Aus bus", "A. dus")]},
        {"crosses": book},
    ):
        made = collection(**named)
        assert basis_of(made).model.recipe.scale == scale
        assert fitted_on(made, training_set_of(made, date(2026, 1, 1))).recipe.scale == scale


def test_a_cross_without_outcome_changes_no_chance(collection, book, cross):
    made, more = collection(book), collection([*book, cross("Aus dus", "Aus eus", day=date(2025, 12, 1))])
    pairs = Parents(["Aus_bus", "Aus_dus", "Aus_fus"], ["Aus_dus", "Aus_eus", "Aus_cus"])
    said = [chances_of(one, fitted_on(one, training_set_of(one, date(2026, 1, 1))), pairs, 3) for one in (made, more)]
    assert said[1].mean == pytest.approx(said[0].mean, abs=1e-9)


def test_rows_and_logits_are_those_of_the_recipe(collection, book):
    made = collection(book)
    model = basis_of(made).model
    rows = predict(made, model, Parents(["Aus_bus", "Aus_fus"], ["Aus_cus", "Aus_bus"])).rows
    curves = len(model.recipe.scale.places)
    assert model.recipe.names[curves:] == (
        "spines_paired both", "2n lower", "2n higher", "style_mm ratio", "style_mm size",
    )  # fmt: skip
    assert rows[:, :curves].tolist() == model.recipe.scale.rows(np.array([2.0, 8.0])).tolist()
    assert rows[0, curves:] == pytest.approx([1, 1, 0, -np.log(2), np.log(2)])
    assert np.isnan(rows[1, curves:]).all()
    average = np.where(model.recipe.of_distance, rows[0], model.means)
    blank = np.where(model.recipe.of_distance, rows[0], np.nan)
    found = outlook(model, np.array([average, blank])).whole
    assert found.mean[0] == pytest.approx(found.mean[1])  # what is unknown stands where the average does
    assert found.sd[1] > found.sd[0]  # and leaves more open


def sampled(newick, *others):
    return TreeSample(tuple(parse_newicks("\n".join((newick, *others)))))


def test_what_a_sample_leaves_open_widens_every_stage_and_moves_none(trained, book, newick):
    """Aus bus and A. cus part elsewhere in the second tree; both trees are as far from root to tips."""
    made = trained(book)
    other = newick.replace("(Aus_bus:1,Aus_cus:1):1", "(Aus_bus:1.8,Aus_cus:1.8):0.2")
    wider = replace(made, sample=sampled(newick, other))
    model = basis_of(made).model
    seed, pollen = ["Aus_bus", "Aus_cus", "Aus_eus"], ["Aus_cus", "Aus_bus", "Aus_bus"]
    parents = Parents(seed, pollen)
    assert wider.taxa.spread(seed, pollen)[0] > 0
    plain, open_ = (predict(one, model, parents, stages=True).outlook.own for one in (made, wider))
    for step in plain:
        assert open_[step].mean.tolist() == pytest.approx(plain[step].mean.tolist(), abs=1e-9)
        assert (open_[step].sd >= plain[step].sd - 1e-9).all()
    assert open_["whole"].sd[0] > plain["whole"].sd[0]


def test_a_sample_reaches_every_answer(trained, book, newick):
    other = newick.replace("(Aus_bus:1,Aus_cus:1):1", "(Aus_bus:1.8,Aus_cus:1.8):0.2")
    wider = replace(trained(book), sample=sampled(newick, other))
    expected = predict(wider, basis_of(wider).model, Parents(["Aus_bus"], ["Aus_cus"])).whole
    asked = ask(wider, "Aus bus", "Aus cus", flowers=1).pairing
    assert asked.stages[-1].logit_sd == pytest.approx(expected.sd[0])
    ranked = rank(wider, among_species(wider, ["Aus bus", "Aus cus"]), flowers=1).rows
    (row,) = [row for row in ranked if row.seed_parent == "Aus bus"]
    (partner,) = [one for one in partners(wider, "Aus bus", role="seed", flowers=1).partners if one.label == "Aus_cus"]
    for found in (asked.chance, row.chance, partner.chance):
        assert found.mean == pytest.approx(chances(expected, 1).mean[0], abs=1e-12)


def test_trees_that_agree_and_no_sample_change_nothing_to_the_last_bit(trained, book, newick):
    made = trained(book)
    same = replace(made, sample=sampled(newick, newick))
    assert same.taxa.spread(["Aus_bus", "Aus_fus"], ["Aus_cus", "Aus_bus"]).tolist() == [0, 0]
    told, plain = (ask(one, "Aus bus", "Aus cus").pairing for one in (same, made))
    assert told == replace(plain, distance=replace(plain.distance, trees=2))


def test_a_count_on_the_very_plant_overrides_its_species(collection, book):
    """In the row of a question and a fit, for all offsets of the clone; a plant without a count is as its species."""
    bench = [
        Plant("B1", "Aus bus", "B", chromosomes=66), Plant("B2", "Aus bus", "B"), Plant("N", "Aus bus", "N"),
        Plant("C", "Aus cus", "C", chromosomes=66),
    ]  # fmt: skip
    made = collection(book, plants=bench)
    model = basis_of(made).model
    higher, lower = (model.recipe.names.index(f"2n {way}") for way in ("higher", "lower"))

    def order(seed, pollen):
        [row] = predict(made, model, parents_of([find_parents(made, seed, pollen)])).rows
        return row[higher] - row[lower]

    species = order("Aus bus", "Aus cus")
    assert order("N", "Aus cus") == species == -1
    assert order("B1", "Aus cus") == order("B2", "Aus cus") == 1
    assert order("B1", "C") == 0
    fitted = fitted_on(
        made, training_set_of(replace(made, crosses=tuple(replace(c, seed_plant="B1") for c in book)), date(2026, 1, 1))
    )
    assert fitted.fit_of("whole").past.x[0, 1 + higher] == 1 - centre_of(fitted.recipe.features)[higher]


def test_a_species_that_was_only_placed_is_surer_outside_its_group_than_inside(collection, tree):
    placed = place_for(
        tree, {"Aus_bus": {"section": "One"}, "Aus_dus": {"section": "One"}}, {"Aus rarus": {"section": "One"}}
    )
    made = collection(distances=place(tree, placed), placed=placed)
    model = basis_of(made).model
    inside, outside = made.taxa.spread(["Aus rarus"] * 2, ["Aus_bus", "Aus_eus"])
    assert inside > outside == 0
    parents = Parents(["Aus rarus"] * 2, ["Aus_bus", "Aus_eus"])
    placed_sd, sure_sd = (
        predict(one, model, parents).outlook.own["whole"].sd for one in (made, replace(made, placed=()))
    )
    assert placed_sd[0] > sure_sd[0]
    assert placed_sd[1] == pytest.approx(sure_sd[1])


def test_a_chance_does_not_depend_on_what_is_asked_beside_it():
    """Published crosses speak for near kin, which does not begin farther back where a far species is asked too."""
    tree = open_carried(tree_for_genus("Echinocereus"))
    one, near, far = "Echinocereus_coccineus", "Echinocereus_triglochidiatus", "Echinocereus_poselgeri"
    model = basis_of(tree).model
    alone = predict(tree, model, Parents([one], [near]))
    together = predict(tree, model, Parents([one, one], [near, far]))
    assert alone.published[0] != 0
    assert together.whole.mean[0] == pytest.approx(alone.whole.mean[0], abs=1e-9)
