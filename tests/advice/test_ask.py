from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from crosscompat.advice.ask import ask
from crosscompat.advice.retrain import keep, learn
from crosscompat.advice.verdict import VERDICTS, how_sure, verdict
from crosscompat.book.current_plants import Plant
from crosscompat.carried import carried_tree
from crosscompat.collection.create import create_collection
from crosscompat.collection.opening import open_carried, open_collection
from crosscompat.collection.settings import Settings
from crosscompat.ground.errors import NoPairing, UnknownName, WrongUse
from crosscompat.model.composition import Logits
from crosscompat.model.forecast import chances, flowers_for
from crosscompat.phylogeny.newick import parse_newick

NAMES = ["Aus bus", "Aus cus", "Aus dus", "Aus eus", "Aus fus"]


def test_both_ways_round_are_answered(trained, book):
    answer = ask(trained(book), "Aus bus", "A. cus", flowers=4)
    assert (answer.pairing.seed_parent, answer.pairing.pollen_parent) == ("Aus bus", "Aus cus")
    assert (answer.reciprocal.seed_parent, answer.reciprocal.pollen_parent) == ("Aus cus", "Aus bus")
    assert answer.pairing.distance == answer.reciprocal.distance
    one, other = (pair.stages[-1].logit_mean for pair in (answer.pairing, answer.reciprocal))
    assert one != other  # 2n and style have a direction
    assert [past.outcome for past in answer.pairing.past] == ["took", "took"]


def test_the_reciprocal_is_the_pairing_asked_the_other_way(trained, book):
    made = trained(book)
    assert ask(made, "Aus cus", "Aus bus", flowers=4).pairing == ask(made, "Aus bus", "Aus cus", flowers=4).reciprocal


@pytest.mark.parametrize("flowers", [1, 3, 50])
def test_all_figures_follow_from_the_belief(trained, book, flowers):
    made = trained(book)
    for seed in NAMES[:2]:
        for pollen in NAMES[2:]:
            found = ask(made, seed, pollen, flowers=flowers).pairing
            stage = found.stages[-1]
            belief = Logits(np.array([stage.logit_mean]), np.array([stage.logit_sd]))
            for interval, n in ((found.chance, flowers), (found.per_flower, 1)):
                judge = chances(belief, n)
                assert [interval.mean, interval.low, interval.high] == pytest.approx(
                    [judge.mean[0], judge.low[0], judge.high[0]]
                )
            assert found.verdict == verdict(found.chance.mean, found.chance.low, found.chance.high)
            assert found.sure == how_sure(found.chance.low, found.chance.high)
            for fewest, target in ((found.flowers_for_half, 0.5), (found.flowers_for_four_fifths, 0.8)):
                assert (fewest or 0) == flowers_for(belief, target)[0]
            assert sum(reason.logit for reason in found.reasons) == pytest.approx(stage.logit_mean, abs=1e-12)


def test_more_than_two_hundred_flowers_is_none(trained, cross):
    made = trained([cross("Aus bus", "Aus eus", 900, 0)] * 3)
    assert ask(made, "Aus bus", "Aus eus").pairing.flowers_for_four_fifths is None


def test_near_is_likelier_than_far_once_the_crosses_show_it(trained, book):
    made = trained(book)
    near, far = (ask(made, "Aus bus", other).pairing for other in ("Aus cus", "Aus eus"))
    assert near.chance.low > far.chance.high
    assert near.verdict in VERDICTS[1:4]


def test_plants_are_named_and_clones_refused(collection):
    bench = [Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A"), Plant("C", "Aus cus", "C")]
    answer = ask(collection(plants=bench), "A1", "C")
    assert (answer.pairing.seed_plant, answer.pairing.pollen_plant) == ("A1", "C")
    assert (answer.reciprocal.seed_plant, answer.reciprocal.pollen_plant) == ("C", "A1")
    with pytest.raises(NoPairing):
        ask(collection(plants=bench), "A1", "A2")


@pytest.mark.parametrize("flowers", [0, -3])
def test_flowers_must_be_one_at_least(collection, flowers):
    with pytest.raises(WrongUse, match=f"at least 1, got {flowers}"):
        ask(collection(), "Aus bus", "Aus cus", flowers=flowers)


def test_an_unknown_name_stops(collection):
    with pytest.raises(UnknownName):
        ask(collection(), "Aus bus", "Aus nus")


def test_how_names_were_read_and_what_opening_told_is_passed_on_once(collection):
    made = collection(notices=("Something was upgraded.",))
    answer = ask(made, "Aus bus subsp. longus", "A. bus subsp. longus")
    assert answer.notes[0] == "Something was upgraded."
    assert len(answer.notes) == 3  # the two were written differently
    assert ask(made, "Aus bus", "Aus cus").notes == ["Something was upgraded."]


def test_what_the_answer_rests_on_is_told(collection, trained, book):
    prior = ask(collection(), "Aus bus", "Aus cus")
    assert (prior.basis.kind, prior.invented, prior.handling) == ("prior", False, [])
    made = trained(book, settings=Settings(invented=True, group="spurge"))
    answer = ask(replace(made, crosses=()), "Aus bus", "Aus cus")
    assert (answer.basis.kind, answer.invented, answer.basis.changed) == ("crosses", True, ["crosses"])
    assert [caution.kind for caution in answer.handling] == ["handling"]
    assert answer.tree.species == 5


def test_a_first_question_needs_no_collection():
    answer = ask(open_carried(carried_tree("echinocereus")), "Echinocereus coccineus", "E. triglochidiatus")
    assert answer.basis.kind == "prior"
    assert "ploidy" in [caution.kind for caution in answer.pairing.cautions]
    assert answer.pairing.distance.unit == "My"


def test_a_far_outgroup_in_the_tree_moves_no_chance(trained, book, newick, only_retrained):
    """A model has the scale of the tree it was fitted on, and relatives lean on the species concerned alone."""
    made = trained(book)
    wider = parse_newick(f"({newick[:-1]}:300,Zus_zus:500);", unit="My")
    kept = replace(made, distances=wider)
    for pair in (("Aus bus", "Aus cus"), ("Aus eus", "Aus dus"), ("Aus dus", "Aus bus")):
        found = ask(made, *pair).pairing
        for one, two in zip(ask(kept, *pair).pairing.stages, found.stages, strict=True):
            assert one.logit_mean == pytest.approx(two.logit_mean, abs=1e-9)
            assert one.logit_sd == pytest.approx(two.logit_sd, abs=1e-9)
    assert "outside" in {caution.kind for caution in ask(kept, "Aus bus", "Zus zus").pairing.cautions}


def test_a_damaged_model_is_told_and_the_book_answers(tmp_path, newick, with_tables):
    (tmp_path / "tree.nwk").write_text(newick, encoding="utf-8")
    folder = tmp_path / "ours"
    create_collection(folder, tree=str(tmp_path / "tree.nwk"))
    row = "2024-05-01,Aus bus,A. cus,40,0\n"
    with_tables(folder, crosses_csv="date,seed_parent,pollen_parent,tried,took\n" + row)
    keep(made := open_collection(folder), learn(made, as_of=date(2026, 1, 1))[1])
    learned = ask(open_collection(folder), "Aus bus", "A. cus")
    (folder / "model.json").write_text("{", encoding="utf-8")
    answer = ask(open_collection(folder), "Aus bus", "A. cus")
    assert [note for note in answer.notes if note.startswith("model.json: ")]
    (folder / "model.json").unlink()
    assert answer.pairing == ask(open_collection(folder), "Aus bus", "A. cus").pairing
    assert answer.pairing.chance.mean == pytest.approx(learned.pairing.chance.mean, abs=1e-9)


@pytest.mark.parametrize("pair", [("Aus bus", "Aus cus"), ("Aus fus", "Aus bus"), ("Aus dus", "Aus dus")])
def test_asking_twice_gives_the_same_answer(trained, book, pair):
    made = trained(book)
    again = replace(made, crosses=tuple(made.crosses))  # with nothing kept from the first time
    assert ask(made, *pair, flowers=3) == ask(again, *pair, flowers=3)


def test_published_crosses_near_a_pairing_are_named_with_their_source():
    echinocereus = open_carried(carried_tree("echinocereus"))
    found = ask(echinocereus, "Echinocereus polyacanthus", "E. dasyacanthus").known_hybrids
    assert [(near.hybrid, near.same) for near in found] == [
        ("Echinocereus ×lloydii", False),
        ("Echinocereus ×roetteri", False),
    ]
    assert all(near.words.endswith(f"Source: {near.source}.") and near.source for near in found)
    assert ask(echinocereus, "Echinocereus viereckii", "E. poselgeri").known_hybrids == []


def test_a_published_failure_is_told_of_the_very_pairing():
    """Euphorbia pulcherrima with 2n 28 by pollen of 2n 56: Milbocker & Sink 1969."""
    euphorbia = open_carried(carried_tree("euphorbia"))
    (failed,) = [
        near for near in ask(euphorbia, "Euphorbia pulcherrima", "E. pulcherrima").known_hybrids
        if near.outcome == "failure"
    ]  # fmt: skip
    assert "(Milbocker & Sink 1969" in failed.source
    other = ask(euphorbia, "Euphorbia pulcherrima", "E. cornastra").known_hybrids
    assert other
    assert all(near.outcome == "hybrid" for near in other)
