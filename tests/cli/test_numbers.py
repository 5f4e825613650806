"""Records at the edge of what can be learned from: every number stays finite and sensible, and what is odd is said."""

from __future__ import annotations

import math

import pytest

NEWICK = "(((Aus_bus:{0},Aus_cus:{0}):{1},(Aus_dus:{0},Aus_fus:{0}):{1}):{2},(Aus_gus:{1},Aus_hus:{1}):{2});"
TREE = NEWICK.format(1, 2, 3)
HEADING = "date,seed_parent,pollen_parent,units,pods_set,seedlings"
NEAR = [("bus", "cus"), ("cus", "bus"), ("dus", "fus"), ("fus", "dus"), ("gus", "hus"), ("hus", "gus")]
FAR = [("bus", "gus"), ("hus", "cus"), ("dus", "gus"), ("fus", "hus"), ("gus", "bus"), ("hus", "fus")]
PARTNER = "Aus bus"
NAMES = ("bus", "cus", "dus", "fus", "gus", "hus")


def rows(pairs, took, flowers=5):
    """Return the rows of crosses of which all flowers gave a pod and a seedling, or none."""
    n = flowers if took else 0
    return [f"2024-05-{i:02},Aus {a},Aus {b},{flowers},{n},{n}" for i, (a, b) in enumerate(pairs, 1)]


@pytest.fixture
def learned(run, answer, empty_folder):
    """Make a collection of a tree, traits and crosses, learn from it, and return what is asked for some pairs."""

    def learned(crosses, pairs, *, tree=TREE, traits=None, name="mine"):
        (empty_folder / "tree.nwk").write_text(tree, encoding="utf-8")
        run("new", name, "--tree", "tree.nwk")
        folder = empty_folder / name
        if traits is not None:
            (folder / "traits.csv").write_text(traits, encoding="utf-8")
            settings = (folder / "collection.toml").read_text(encoding="utf-8")
            (folder / "collection.toml").write_text(f'traits = "traits.csv"\n{settings}', encoding="utf-8")
        if crosses:
            (empty_folder / "c.csv").write_text("\n".join([HEADING, *crosses]), encoding="utf-8")
            run("import", "c.csv", "--yes", "--collection", name)
            every = [
                answer("retrain", "--collection", name),
                answer("rank", "--partners-of", PARTNER, "--collection", name),
            ]
            every += [answer("tree", "Aus bus", "--collection", name)] if "bus" in tree else []
        else:
            every = []
        asked = [answer("ask", f"Aus {a}", f"Aus {b}", "--flowers", "5", "--collection", name) for a, b in pairs]
        for one in every + asked:
            assert_finite(one)
        return [one["pairing"] for one in asked]

    return learned


def assert_finite(value, where="answer"):
    """Every number is finite, every chance is one, and it lies within its interval."""
    if isinstance(value, dict):
        for name, inner in value.items():
            assert_finite(inner, f"{where}.{name}")
        if value.keys() >= {"mean", "low", "high"}:
            assert 0 <= value["low"] <= value["mean"] <= value["high"] <= 1, where
            assert 0 < value["mean"] < 1, where
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            assert_finite(inner, f"{where}[{i}]")
    elif isinstance(value, float):
        assert math.isfinite(value), where


def means(pairings):
    return [one["per_flower"]["mean"] for one in pairings]


def width(pairing):
    return pairing["per_flower"]["high"] - pairing["per_flower"]["low"]


def test_complete_separation_is_believed_and_not_for_certain(learned):
    near, far = learned(rows(NEAR, True) + rows(FAR, False), [("bus", "cus"), ("bus", "hus")])
    assert 0.6 < near["per_flower"]["mean"] < 0.99
    assert 0.01 < far["per_flower"]["mean"] < 0.3


def test_one_cross_moves_a_chance_its_way_and_stays_a_guess(learned):
    pair = [("bus", "cus")]
    (before,) = learned([], pair, name="before")
    (after,) = learned(rows(pair, True), pair, name="after")
    (failed,) = learned(rows(pair, False), pair, name="failed")
    assert means([failed])[0] < means([before])[0] < means([after])[0]
    assert {after["sure"], failed["sure"]} == {"guess"}
    assert width(after) > 0.2


@pytest.mark.parametrize("took", [True, False])
def test_where_all_took_or_none_nothing_is_certain(learned, took):
    pairs = [("bus", "cus"), ("bus", "gus"), ("cus", "dus")]
    before = means(learned([], pairs, name="before"))
    after = means(learned(rows(NEAR + FAR, took), pairs, name="after"))
    for old, new in zip(before, after, strict=True):
        assert old < new < 0.995 if took else 0.005 < new < old


def test_one_species_is_crossed_with_itself(learned):
    tree = "(Aus_bus:1,Cus_dus:1);"
    before, after = (
        learned(crosses, [("bus", "bus")], tree=tree, name=name)[0]
        for crosses, name in (([], "before"), (rows([("bus", "bus")] * 4, True), "after"))
    )
    assert after["distance"]["patristic"] == 0
    assert means([before])[0] < means([after])[0]


def test_a_trait_that_all_share_says_nothing(learned):
    crosses, pairs = rows(NEAR[:4], True) + rows(FAR[:3], False), [("bus", "dus"), ("cus", "gus")]
    bare = learned(crosses, pairs, name="bare")
    red = "species,colour\n" + "".join(f"Aus {name},red\n" for name in NAMES)
    same = learned(crosses, pairs, traits=red, name="same")
    assert means(same) == pytest.approx(means(bare), abs=0.05)
    assert [width(one) for one in same] == pytest.approx([width(one) for one in bare], abs=0.1)


def test_a_trait_said_twice_counts_about_once(learned):
    crosses, pairs = rows(NEAR[:4], True) + rows(FAR[:3], False), [("bus", "dus"), ("cus", "gus")]
    once = "species,stem_mm\n" + "".join(f"Aus {name},{mm}\n" for mm, name in enumerate(NAMES, 6))
    twice = "species,stem_mm,height_mm\n" + "".join(f"Aus {name},{mm},{10 * mm}\n" for mm, name in enumerate(NAMES, 6))
    one, two = (learned(crosses, pairs, traits=traits, name=name) for traits, name in ((once, "one"), (twice, "two")))
    assert means(two) == pytest.approx(means(one), abs=0.05)


def test_very_many_flowers_are_counted(learned):
    crosses = [f"2024-05-0{i},Aus bus,Aus cus,1000000,500000,500000" for i in range(1, 4)]
    (found,) = learned(crosses, [("bus", "cus")])
    assert 0.3 < found["per_flower"]["mean"] < 0.7
    assert 0.6 < found["chance"]["mean"] < 0.99


def test_two_species_without_a_distance_between_them(learned):
    tree = "((Aus_bus:0,Aus_cus:0):2,(Aus_dus:1,Aus_gus:1):1);"
    crosses = rows([("bus", "cus"), ("cus", "bus")], True) + rows([("bus", "dus"), ("gus", "cus")], False)
    near, far = learned(crosses, [("cus", "bus"), ("dus", "bus")], tree=tree)
    assert near["distance"]["patristic"] == 0
    assert means([far])[0] < means([near])[0]


@pytest.mark.parametrize("unit", [1e-9, 1e9])
def test_the_unit_of_the_branches_changes_nothing(learned, unit):
    crosses, pairs = rows(NEAR, True) + rows(FAR, False), [("bus", "cus"), ("bus", "dus"), ("bus", "gus")]
    usual, other = (
        learned(crosses, pairs, tree=NEWICK.format(*(size * one for size in (1, 2, 3))), name=name)
        for one, name in ((1, "usual"), (unit, "other"))
    )
    assert means(other) == pytest.approx(means(usual), abs=1e-6)
    assert [one["distance"]["relative"] for one in other] == pytest.approx(
        [one["distance"]["relative"] for one in usual]
    )


def test_a_tree_without_any_length_says_nothing_and_that_is_said(learned, run):
    flat = "(Aus_bus:0,(Aus_cus:0,Aus_dus:0):0);"
    crosses = rows([("bus", "cus"), ("cus", "bus")], True) + rows([("bus", "dus")], False)
    near, far = learned(crosses, [("cus", "bus"), ("cus", "dus")], tree=flat)
    assert near["distance"]["patristic"] == far["distance"]["patristic"] == 0
    said = " ".join(run("check", "--collection", "mine").stdout.split())
    assert "cannot tell near species from far ones" in said
    assert "as in a dated tree" not in said
