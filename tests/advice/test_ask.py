from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from crosscompat.advice.ask import ask, known_near
from crosscompat.advice.figures import VERDICTS, how_sure, verdict
from crosscompat.advice.retrain import keep, learn
from crosscompat.book.current_plants import Plant
from crosscompat.carried import KnownHybrid, carried_tree, known_hybrids
from crosscompat.collection.create import create_collection
from crosscompat.collection.opening import open_carried, open_collection
from crosscompat.collection.settings import Settings
from crosscompat.ground.errors import NoPairing, UnknownName, WrongUse
from crosscompat.model.composition import Logits
from crosscompat.model.forecast import chances, flowers_for
from crosscompat.phylogeny.distances import DistanceTable
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
            assert found.verdict == verdict(found.chance)
            assert found.sure == how_sure(found.chance)
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


TREE = parse_newick(
    "((((Aus_bus:1,Aus_cus:1):1,(Aus_dus:1.5,Aus_eus:1.5):.5):2,(Aus_fus:1,Aus_gus:1,Aus_hus:1):3):1,Bus_a:5);"
)


def made(seed, pollen, *, direction_known=False, outcome="hybrid", hybrid=""):
    return KnownHybrid(hybrid, seed, pollen, direction_known, outcome, "by hand", "a note", "Somebody 1999")


def near(seed, pollen, *known, distances=TREE, most=3):
    return known_near(seed, pollen, distances, known, most=most)


@pytest.mark.parametrize(
    ("pairing", "farther"),
    [
        (("Aus_bus", "Aus_dus"), 0.0),
        (("Aus_dus", "Aus_bus"), 0.0),  # direction unknown: either way round
        (("Aus_cus", "Aus_dus"), 2.0),
        (("Aus_cus", "Aus_eus"), 3.0),
        (("Aus_eus", "Aus_cus"), 3.0),
        (("Aus_bus", "Aus_cus"), None),  # on one side of the gap
        (("Aus_bus", "Aus_fus"), None),  # across a wider gap
        (("Aus_fus", "Aus_gus"), None),
        (("Bus_a", "Aus_dus"), None),
    ],
)
def test_a_hybrid_is_near_where_the_pairing_bridges_the_same_gap(pairing, farther):
    found = near(*pairing, made("Aus bus", "Aus dus"))
    assert [one.farther for one in found] == ([] if farther is None else [farther])
    assert all(one.same is (farther == 0) for one in found)


def test_where_nothing_is_resolved_the_whole_group_is_near():
    (found,) = near("Aus_fus", "Aus_hus", made("Aus fus", "Aus gus"))
    assert (found.same, found.farther) == (False, 2.0)


def test_a_direction_that_is_known_counts():
    one_way = made("Aus bus", "Aus dus", direction_known=True)
    assert [one.same for one in near("Aus_bus", "Aus_dus", one_way)] == [True]
    assert [(one.same, one.farther) for one in near("Aus_dus", "Aus_bus", one_way)] == [(False, 0.0)]
    assert near("Aus_dus", "Aus_bus", made("Aus bus", "Aus dus", direction_known=True, outcome="failure")) == []


def test_a_failure_is_near_only_to_its_own_pairing():
    failed = made("Aus bus", "Aus dus", outcome="failure")
    assert [one.outcome for one in near("Aus_bus", "Aus_dus", failed)] == ["failure"]
    assert near("Aus_cus", "Aus_dus", failed) == []


def test_the_very_pairing_comes_first_then_the_nearest_and_no_more_than_asked():
    known = [made("Aus cus", "Aus eus", hybrid="third"), made("Aus cus", "Aus dus"), made("Aus bus", "Aus dus")]
    found = near("Aus_bus", "Aus_dus", *known)
    assert [one.farther for one in found] == [0.0, 2.0, 3.0]
    assert [one.farther for one in near("Aus_bus", "Aus_dus", *known, most=1)] == [0.0]


def test_gaps_of_a_table_and_species_without_a_place_are_passed_over():
    gap = DistanceTable(("Aus_bus", "Aus_cus", "Aus_dus"), [[0, 1, np.nan], [1, 0, 4], [np.nan, 4, 0]])
    known = [made("Aus bus", "Aus dus"), made("Aus bus", "Aus zus")]
    assert near("Aus_cus", "Aus_dus", *known, distances=gap) == []
    assert [one.same for one in near("Aus_bus", "Aus_dus", *known, distances=gap)] == [True]
    with pytest.raises(UnknownName):
        near("Aus_zus", "Aus_dus", *known)


def test_the_sentence_names_parents_name_how_note_and_source():
    (found,) = near("Aus_bus", "Aus_dus", made("Aus bus", "Aus dus", hybrid="Aus x novus"))
    assert found.words == "Known hybrid: Aus bus × Aus dus, Aus ×novus, by hand: a note. Source: Somebody 1999."
    (failed,) = near("Aus_bus", "Aus_dus", made("Aus bus", "Aus dus", outcome="failure"))
    assert failed.words == "Known failure: Aus bus × Aus dus, by hand: a note. Source: Somebody 1999."


def test_every_published_spurge_hybrid_is_of_one_section_and_in_the_nearest_tenth_of_pairings():
    """Sections: NCBI Taxonomy. Of the hybrids, each with its source in the table, none is between two sections."""
    opened = open_carried(carried_tree("euphorbia"))
    tree = opened.distances
    every = tree.patristic_matrix()[np.triu_indices(tree.n_tips, 1)]
    hybrids = [entry for entry in known_hybrids() if entry.outcome == "hybrid" and "Euphorbia" in entry.seed_parent]
    assert len(hybrids) >= 6
    for entry in hybrids:
        seed, pollen = entry.seed_parent, entry.pollen_parent
        assert opened.trait(seed, "section") == opened.trait(pollen, "section") is not None
        assert (every < tree.patristic(seed, pollen)).mean() < 0.1, entry


def test_ask_would_name_what_is_published():
    tree = open_carried(carried_tree("echinocereus")).distances
    found = known_near("Echinocereus_polyacanthus", "Echinocereus_dasyacanthus", tree)
    assert [one.hybrid for one in found] == ["Echinocereus ×lloydii", "Echinocereus ×roetteri"]
    assert known_near("Echinocereus_arizonicus", "Echinocereus_coccineus", tree) == []
