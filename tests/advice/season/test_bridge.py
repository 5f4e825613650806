"""Ways round a pairing: the best bridges, against every bridge there is."""

from __future__ import annotations

from itertools import permutations

import pytest

from crosscompat.advice.parents import find_parents
from crosscompat.advice.predict import basis_of, chances_of
from crosscompat.advice.season import bridge as room
from crosscompat.advice.season.bridge import best_bridges, ways_round
from crosscompat.book.current_plants import Plant
from crosscompat.model.pairings import Parents

SPECIES = ["Aus_bus", "Aus_cus", "Aus_dus", "Aus_eus", "Aus_fus"]
FLOWERS = 3


def better(collection, basis, one, other):
    """The chance of a cross, the better way round, and the label of its offspring."""
    found = []
    for mother, father in ((one, other), (other, one)):
        chance = chances_of(collection, basis.model, Parents([mother], [father]), FLOWERS).mean[0]
        found.append((chance, collection.index.match(f"({mother}) × ({father})").label))
    return max(found, key=lambda entry: entry[0])


def every_bridge(collection, seed, pollen, years):
    """All paths of two and three generations, worked out one by one."""
    basis, found = basis_of(collection), []
    others = [label for label in SPECIES if label not in {seed, pollen}]
    for start, end in ((seed, pollen), (pollen, seed)):
        for n in (1, 2):
            for between in permutations(others, n):
                product, here = 1.0, start
                for new in (*between, end):
                    chance, here = better(collection, basis, here, new)
                    product *= chance
                found.append((product * 0.9 ** (years * n), product, [start, *between, end]))
    return sorted(found, key=lambda entry: -entry[0])


@pytest.mark.parametrize(("seed", "pollen"), [("Aus_bus", "Aus_eus"), ("Aus_dus", "Aus_bus")])
@pytest.mark.parametrize("trained_on", [0, 12])
def test_the_best_are_the_best_of_all_there_are(collection, book, seed, pollen, trained_on):
    made = collection(book[:trained_on])
    bridges = best_bridges(made, basis_of(made), seed, pollen, SPECIES, FLOWERS)
    expected = every_bridge(made, seed, pollen, years=3.0)
    ours = [each.chance * 0.9 ** (3.0 * (len(each.steps) - 1)) for each in bridges]
    assert ours == pytest.approx([worth for worth, _, _ in expected[:3]], rel=1e-9)
    assert [each.years for each in bridges] == [3.0 * (len(each.steps) - 1) for each in bridges]


def test_three_generations_are_followed_where_waiting_costs_nothing(collection, book, monkeypatch):
    monkeypatch.setattr(room, "_A_YEAR", 1.0)
    monkeypatch.setattr(room, "_MOST", 30)
    made = collection(book)
    bridges = best_bridges(made, basis_of(made), "Aus_bus", "Aus_eus", SPECIES, FLOWERS)
    expected = [(product, path) for _, product, path in every_bridge(made, "Aus_bus", "Aus_eus", years=0.0)]
    assert sorted(each.chance for each in bridges) == pytest.approx(sorted(product for product, _ in expected))
    assert {len(each.steps) for each in bridges} == {2, 3}


def test_the_last_offspring_and_the_chromosomes_are_said(collection):
    made = collection()
    answer = ways_round(made, *find_parents(made, "Aus bus", "Aus fus"), FLOWERS)
    for each in answer.bridges:
        assert sum(part.share for part in each.shares) == pytest.approx(1)
        last = {each.steps[-1].seed_parent, each.steps[-1].pollen_parent}
        assert each.shares[0].species in last
    through = {each.through[0]: each for each in answer.bridges if each.through}
    assert through
    assert set(through) <= {"Aus cus", "Aus dus", "Aus eus"}
    by_cus = [each for each in ways_round(made, *find_parents(made, "Aus bus", "Aus dus"), FLOWERS).bridges
              if each.through == ["Aus cus"]]  # fmt: skip
    assert by_cus
    assert all(each.chromosomes == 33 and "2n = 33" in each.says and "66" in each.says for each in by_cus)


def test_species_that_the_grower_has_are_tried_where_there_are_enough(collection):
    plants = [Plant(f"P{i}", label.replace("_", " "), f"P{i}") for i, label in enumerate(SPECIES[:4])]
    made = collection(plants=plants)
    seed, pollen = find_parents(made, "Aus bus", "Aus cus")
    assert set(room._between(made, seed, pollen)) == set(SPECIES[:4])
    few = collection(plants=plants[:2])
    assert set(room._between(few, seed, pollen)) == set(SPECIES)


def test_a_direct_cross_stands_beside_its_bridges(collection):
    made = collection()
    seed, pollen = find_parents(made, "Aus bus", "Aus eus")
    answer = ways_round(made, seed, pollen, FLOWERS)
    both = chances_of(
        made, basis_of(made).model, Parents([seed.label, pollen.label], [pollen.label, seed.label]), FLOWERS
    )
    assert (answer.direct.mean, answer.reverse.mean) == pytest.approx(tuple(both.mean))
    assert any("laborator" in advice for advice in answer.advice)


def test_a_form_with_the_chromosomes_of_the_other_parent_is_a_way_round(collection):
    """Bus has 22, cus 44: the grower's own form first, else bus doubled; nothing doubled becomes 22."""
    made = collection()
    seed, pollen = find_parents(made, "Aus bus", "Aus cus")
    answer = ways_round(made, seed, pollen, FLOWERS)
    [doubled] = answer.forms
    assert (doubled.species, doubled.plant, doubled.chromosomes) == ("Aus bus", None, 44)
    assert doubled.chance.mean > max(answer.direct.mean, answer.reverse.mean)
    assert "2n = 22" in doubled.says
    owned = collection(
        plants=[Plant("B4", "Aus bus", "B4", chromosomes=44), Plant("C2", "Aus cus", "C2", chromosomes=22)]
    )
    forms = ways_round(owned, seed, pollen, FLOWERS).forms
    assert {(form.plant, form.chromosomes) for form in forms} == {("B4", 44), ("C2", 22)}
    both = Parents(["Aus_bus", "Aus_cus"], ["Aus_cus", "Aus_bus"], ["B4", None], [None, "B4"])
    known = chances_of(owned, basis_of(owned).model, both, FLOWERS)
    assert forms[0].chance.mean == pytest.approx(max(known.mean))
    assert doubled.chance.mean == pytest.approx(max(known.mean))


def test_parents_of_one_number_need_no_other_form(collection):
    made = collection()
    answer = ways_round(made, *find_parents(made, "Aus bus", "Aus dus"), FLOWERS)
    assert answer.forms == []
    assert not any("both ways" in advice for advice in answer.advice)
