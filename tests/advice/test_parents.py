from __future__ import annotations

import pytest

from crosscompat.advice.parents import Parent, cautions, find_parent, find_parents, handling, spoken
from crosscompat.advice.predict import basis_of, predict
from crosscompat.book.current_plants import Plant
from crosscompat.collection.settings import Settings
from crosscompat.ground.errors import NoPairing, UnknownName
from crosscompat.ground.wording import catalogue
from crosscompat.model.pairings import Parents

BENCH = [
    Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A"), Plant("B", "Aus bus", "B"), Plant("C", "Aus cus", "C"),
    Plant("lost", "Aus gus", "lost"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("seed", "pollen", "labels", "plants"),
    [
        ("Aus bus", "Aus_cus", ("Aus_bus", "Aus_cus"), (None, None)),
        ("Aus bus", "A. cus", ("Aus_bus", "Aus_cus"), (None, None)),
        ("A1", "A. cus", ("Aus_bus", "Aus_cus"), ("A1", None)),
        (" A1 ", "C", ("Aus_bus", "Aus_cus"), ("A1", "C")),
        ("A1", "B", ("Aus_bus", "Aus_bus"), ("A1", "B")),
        ("A1", "Aus bus", ("Aus_bus", "Aus_bus"), ("A1", None)),  # another plant of the species is meant
        ("Aus bus", "Aus bus", ("Aus_bus", "Aus_bus"), (None, None)),
    ],
)
def test_both_sides_are_found_among_plants_and_species(collection, seed, pollen, labels, plants):
    found = find_parents(collection(plants=BENCH), seed, pollen)
    assert tuple(parent.label for parent in found) == labels
    assert tuple(parent.plant and parent.plant.plant for parent in found) == plants


@pytest.mark.parametrize(("seed", "pollen"), [("A1", "A2"), ("A1", "A1"), ("A2", "A1")])
def test_two_offsets_of_one_plant_are_no_pairing(collection, seed, pollen):
    with pytest.raises(NoPairing, match=f"{seed} and {pollen} are one plant"):
        find_parents(collection(plants=BENCH), seed, pollen)


@pytest.mark.parametrize(
    ("seed", "pollen", "told"),
    [
        ("Aus bos", "Aus cus", "Aus bos"),
        ("Aus bus", "Aus cuss", "Aus cuss"),
        ("X. bus", "Aus cus", "could stand for any genus"),
        ("Aus bus", "B. cus", "does not stand for Aus"),
        ("lost", "Aus bus", "Aus gus"),
    ],
)
def test_a_name_that_stands_nowhere_names_the_nearest(collection, seed, pollen, told):
    with pytest.raises(UnknownName, match=told) as caught:
        find_parents(collection(plants=BENCH), seed, pollen)
    assert len(caught.value.nearest) == 3


@pytest.mark.parametrize(
    ("text", "read_as"),
    [
        ("Aus bus", ""),
        ("aus  bus", ""),
        ("Aus bus L.", ""),
        (
            "Aus bus subsp. longus",
            "“Aus bus subsp. longus” itself is not listed here; its species, Aus bus, is used instead",
        ),
        ("Aus bus 'Red'", "“Aus bus 'Red'” itself is not listed here"),
    ],
)
def test_a_name_read_as_another_is_told(collection, text, read_as):
    found = find_parent(collection(), text)
    assert found.label == "Aus_bus"
    assert found.read_as.startswith(read_as)
    assert bool(found.read_as) == bool(read_as)


def test_a_parent_is_printed_in_correct_form():
    assert Parent("Echinocereus_x_roetteri").name == "Echinocereus ×roetteri"


def found(made, seed, pollen):
    model = basis_of(made).model
    one, two = find_parents(made, seed, pollen)
    row = predict(made, model, Parents([one.label], [two.label])).rows[0]
    return [(caution.kind, caution.says) for caution in cautions(made, model, one, two, row)]


def kinds(made, seed, pollen):
    return [kind for kind, _ in found(made, seed, pollen)]


def test_the_gravest_comes_first_and_every_kind_can(trained, book, cross):
    made = trained([cross("Aus bus", "Aus cus", 4, 3)], settings=Settings(group="cactus"))
    reached = {
        kind
        for pair in (("Aus bus", "Aus cus"), ("Aus bus", "Aus fus"), ("Aus bus", "Aus dus"))
        for kind in kinds(made, *pair)
    }
    assert reached == {"sex", "ploidy", "flowering", "outside", "unseen", "few", "unknown"}
    order = ["sex", "ploidy", "flowering", "outside", "unseen", "few", "unknown"]
    told = kinds(made, "Aus bus", "Aus dus")
    assert told == sorted(told, key=order.index)


SEXES = [
    Plant("F", "Aus bus", "F", "female"), Plant("M", "Aus bus", "M", "male"), Plant("B", "Aus bus", "B", "both"),
    Plant("S", "Aus bus", "S", "male that sometimes fruits"), Plant("U", "Aus bus", "U", "unknown"),
    Plant("N", "Aus bus", "N"), Plant("D", "Aus dus", "D"), Plant("DM", "Aus dus", "DM", "male"),
]  # fmt: skip
SPECIES_SEED = "Aus bus mostly has separate sexes: make sure that your seed plant is female or bisexual."
SPECIES_POLLEN = "Aus bus mostly has separate sexes: make sure that your pollen plant is male or bisexual."


@pytest.mark.parametrize(
    ("seed", "pollen", "told"),
    [
        ("F", "Aus dus", []),
        ("M", "Aus dus", ["M (Aus bus) is noted as male: it will set no seed."]),
        ("B", "Aus dus", []),
        ("S", "Aus dus", []),
        ("U", "Aus dus", [SPECIES_SEED]),
        ("N", "Aus dus", [SPECIES_SEED]),
        ("Aus bus", "Aus dus", [SPECIES_SEED]),
        ("Aus dus", "F", ["F (Aus bus) is noted as female: it has no pollen to give."]),
        ("Aus dus", "M", []),
        ("Aus dus", "N", [SPECIES_POLLEN]),
        ("Aus dus", "Aus bus", [SPECIES_POLLEN]),
        ("Aus bus", "Aus bus", [SPECIES_SEED, SPECIES_POLLEN]),
        ("D", "Aus eus", []),
        ("DM", "Aus eus", ["DM (Aus dus) is noted as male: it will set no seed."]),
    ],
)
def test_sex_is_the_plants_and_else_the_species(collection, seed, pollen, told):
    assert [says for kind, says in found(collection(plants=SEXES), seed, pollen) if kind == "sex"] == told


@pytest.mark.parametrize(
    ("seed", "pollen", "told"),
    [
        ("Aus bus", "Aus cus", (22, 44)),
        ("Aus cus", "Aus bus", (44, 22)),
        ("Aus bus", "Aus dus", None),
        ("Aus bus", "Aus fus", None),  # not known
        ("T", "Aus cus", None),  # this very plant was counted, and is tetraploid
        ("T", "Aus dus", (44, 22)),
        ("X", "Aus dus", None),
        ("G", "Aus dus", (66, 22)),  # nothing is known of its species
    ],
)
def test_the_count_of_a_plant_overrides_its_species(collection, seed, pollen, told):
    bench = [
        Plant("T", "Aus bus", "T", chromosomes=44),
        Plant("X", "Aus bus", "X"),
        Plant("G", "Aus fus", "G", chromosomes=66),
    ]
    says = [says for kind, says in found(collection(plants=bench), seed, pollen) if kind == "ploidy"]
    if told is None:
        assert says == []
    else:
        assert says[0].startswith(f"Their chromosome numbers differ (2n {told[0]} on the seed parent, {told[1]} on")


@pytest.mark.parametrize(
    ("pollen", "apart"), [("Aus cus", False), ("Aus dus", True), ("Aus eus", False), ("Aus fus", False)]
)
def test_flowering_apart_is_told_where_both_are_known(collection, pollen, apart):
    assert ("flowering" in kinds(collection(), "Aus bus", pollen)) == apart


def test_outside_is_farther_than_any_finished_cross(trained, cross):
    made = trained([cross("Aus bus", "Aus dus", 4, 3)])
    assert "outside" not in kinds(made, "Aus bus", "Aus dus")  # the farthest itself is inside
    assert ("outside", catalogue("cautions")["outside"]) in found(made, "Aus bus", "Aus eus")


def test_without_crosses_nothing_is_farther_than_they_are(collection):
    assert "outside" not in kinds(collection(wanted=[("Aus bus", "Aus dus")]), "Aus bus", "Aus eus")


def test_species_in_no_finished_cross_are_told_once_each(trained, cross):
    made = trained([cross("Aus bus", "Aus cus", 4, 3)])
    unseen = [says for kind, says in found(made, "Aus dus", "Aus eus") if kind == "unseen"]
    assert unseen == [f"No cross of yours with Aus {name} counts yet." for name in ("dus", "eus")]
    assert kinds(made, "Aus dus", "Aus dus").count("unseen") == 1
    assert "unseen" not in kinds(made, "Aus bus", "Aus cus")


@pytest.mark.parametrize(
    ("n", "told"),
    [(1, "Only 1 cross of yours can count so far"), (9, "Only 9 crosses of yours can count so far"), (10, None)],
)
def test_few_crosses_are_told(trained, cross, n, told):
    made = trained([cross("Aus bus", "Aus cus", 4, 3)] * n)
    few = [says for kind, says in found(made, "Aus bus", "Aus cus") if kind == "few"]
    assert few == [] if told is None else few[0].startswith(told)


def test_what_is_not_known_is_named_once(collection):
    [unknown] = [says for kind, says in found(collection(), "Aus bus", "Aus fus") if kind == "unknown"]
    assert unknown == "Not known for both parents, so not counted: spines paired, chromosome number (2n), style."
    assert "unknown" not in kinds(collection(), "Aus bus", "Aus cus")


def test_the_prior_has_seen_nothing_and_reproaches_nobody_for_it(collection):
    assert not {"unseen", "few"} & set(kinds(collection(), "Aus bus", "Aus eus"))


@pytest.mark.parametrize("group", ["cactus", "spurge", ""])
def test_handling_is_the_groups(collection, group):
    told = handling(collection(settings=Settings(group=group)))
    assert [(caution.kind, caution.says) for caution in told] == (
        [("handling", catalogue("cautions")["handling"][group])] if group else []
    )


def test_traits_may_be_absent(collection):
    assert kinds(collection(traits=None), "Aus bus", "Aus cus") == []


@pytest.mark.parametrize(
    ("column", "words"),
    [("flower_length_mm", "flower length"), ("2n", "chromosome number (2n)"), ("mm", "mm"), ("commm", "commm")],
)
def test_columns_are_spoken(column, words):
    assert spoken(column) == words
