from __future__ import annotations

import pytest

from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.report import is_ultrametric, tree_report


def said(text, **how):
    return tree_report(parse_newick(text, **how))


@pytest.mark.parametrize(
    ("text", "how", "keys"),
    [
        ("[&R]((a:1,b:1)95:1,c:2);", {"unit": "My"}, ["size", "rooted", "unit", "ultrametric", "support"]),
        ("((a:1,b:2):1,c:2);", {}, ["size", "rooting_unsaid", "unit_unsaid", "uneven"]),
        ("[&U](a:1,b:2,c:2);", {}, ["size", "unrooted", "unit_unsaid", "uneven"]),
        ("[&U](a:1,b:2,c:2,d:2);", {}, ["size", "unrooted", "unit_unsaid", "uneven", "polytomies"]),
        (
            "((a:1):0,b:-2);",
            {},
            ["size", "rooting_unsaid", "unit_unsaid", "uneven", "single_child", "negative", "zero"],
        ),
        ("(a,b,c);", {"unit": "unit"}, ["size", "rooting_unsaid", "unit_lengths", "polytomies"]),
        ("a:1;", {}, ["size", "rooting_unsaid", "unit_unsaid", "ultrametric"]),
    ],
)
def test_what_stands_out(text, how, keys):
    assert list(said(text, **how)) == keys


def test_figures_are_in_the_sentences():
    notes = said("((a:1,b:2,c:3,d:-0.5)60:1,e:0)0.9;", unit="My")
    assert "5 species" in notes["size"]
    assert "My" in notes["unit"]
    assert "0 to 4" in notes["uneven"]
    assert "at most 4" in notes["polytomies"]
    assert "-0.5" in notes["negative"]
    assert "2 nodes" in notes["support"]
    assert "0.9 to 60" in notes["support"]


def test_a_ladder_is_unusually_deep_and_an_even_tree_is_not(comb):
    assert "deep" in said(comb(150))
    assert "deep" not in said(comb(50))


@pytest.mark.parametrize(("length", "even"), [("1", True), ("1.00005", True), ("1.0003", False)])
def test_rounding_does_not_make_a_dated_tree_uneven(length, even):
    assert is_ultrametric(parse_newick(f"(a:1,b:{length});")) is even
