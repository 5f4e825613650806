from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from crosscompat.phylogeny.newick import parse_newick
from crosscompat.show.chances import ties
from crosscompat.show.picture import TipMark, likeliest
from crosscompat.show.svg import PAPER, chance_colour
from crosscompat.show.tree_svg import draw_tree, scale_words

GOLDEN = Path(__file__).parent / "golden"
FOCUS = "Echinocereus_coccineus"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def picture(echinocereus, marks_on):
    marks = marks_on(echinocereus, FOCUS, unknown_every=9)
    title = "Echinocereus coccineus as seed parent"
    return marks, ET.fromstring(draw_tree(echinocereus, focus=FOCUS, marks=marks, title=title, invented=True))


def by_class(root, name):
    return [element for element in root.iter() if name in element.get("class", "").split()]


def words(element):
    return ["".join(text.itertext()) for text in element.iter(f"{SVG}text")]


def row_of(root, mark):
    rows = [row for row in by_class(root, "tip") if mark.shown_name in words(row)]
    assert len(rows) == 1
    return rows[0]


def test_every_partner_says_its_chance_by_length_colour_word_and_percent(picture):
    marks, root = picture
    lengths = []
    for mark in (mark for mark in marks if mark.chance is not None):
        row = row_of(root, mark)
        (bar,) = by_class(row, "bar")
        assert bar.get("fill") == chance_colour(mark.chance)
        assert re.search(r"\d+ in \d+", " ".join(words(row)))
        assert re.search(r"\d%", " ".join(words(row)))
        lengths.append((mark.chance, float(bar.get("width"))))
    assert len({round(length / chance, 0) for chance, length in lengths if chance > 0.05}) == 1


def test_past_crosses_are_told_by_shape_and_by_word(picture):
    marks, root = picture
    for mark in marks:
        row = row_of(root, mark)
        assert len(by_class(row, "took")) == bool(mark.took)
        assert len(by_class(row, "failed")) == bool(mark.failed)
        assert (f"{mark.took} took" in words(row)) == bool(mark.took)
        assert (f"{mark.failed} failed" in words(row)) == bool(mark.failed)


def test_the_likeliest_stand_above_in_order_and_bold_in_the_tree_equal_ones_with_one_place(picture):
    marks, root = picture
    every = likeliest(marks, FOCUS, len(marks))
    sizes, best = ties([mark.chance for mark in every]), []
    for size in sizes:
        if len(best) + size <= 5:
            best += every[len(best) : len(best) + size]
        else:
            break
    places = [sum(sizes[:i]) + 1 for i, size in enumerate(sizes) for _ in range(size)]
    (box,) = by_class(root, "best")
    assert [words(row)[:2] for row in by_class(box, "partner")] == [
        [str(place), mark.shown_name] for place, mark in zip(places, best, strict=False)
    ]
    assert {name for row in by_class(root, "likely") for name in words(row)} >= {mark.shown_name for mark in best}
    assert len(by_class(root, "likely")) == len(best) > 1


def test_the_species_asked_about_is_marked_by_shape_and_word(picture):
    _, root = picture
    (row,) = by_class(root, "focus")
    assert words(row) == ["Echinocereus coccineus", "seed parent"]
    assert len(by_class(by_class(root, "branches")[0], "flower")) == 1


def test_direction_changes_the_word(echinocereus, marks_on):
    marks = marks_on(echinocereus, FOCUS)
    root = ET.fromstring(draw_tree(echinocereus, focus=FOCUS, marks=marks, title="x", direction="pollen"))
    assert words(by_class(root, "focus")[0])[1] == "pollen parent"
    assert "The partners bear the seed." in words(root)


def test_invented_outcomes_are_said_on_the_sheet_and_to_a_screen_reader(picture, echinocereus):
    _, root = picture
    assert "Outcomes are invented" in words(root)
    assert "Outcomes are invented" in root.find(f"{SVG}desc").text
    assert "invented" not in draw_tree(echinocereus, focus=FOCUS, title="x").split("</style>")[1]


def test_a_screen_reader_is_told_title_and_best(picture):
    marks, root = picture
    assert root.get("aria-labelledby").split() == [root.find(f"{SVG}{tag}").get("id") for tag in ("title", "desc")]
    assert all(mark.shown_name in root.find(f"{SVG}desc").text for mark in likeliest(marks, FOCUS, 2))


def test_names_lean_but_ranks_and_signs_do_not():
    tree = parse_newick("('Aus × bus subsp. cus':1,B:1);")
    root = ET.fromstring(draw_tree(tree, focus="B", title="x"))
    (name,) = [text for text in root.iter(f"{SVG}text") if "".join(text.itertext()).startswith("Aus")]
    assert [(run.text.strip(), run.get("class")) for run in name] == [
        ("Aus", "leans"), ("×", "stands"), ("bus", "leans"), ("subsp.", "stands"), ("cus", "leans"),
    ]  # fmt: skip


def test_whatever_is_written_is_escaped():
    nasty = "<b>&\"'</b>"
    tree = parse_newick("(A:1,B:1);", unit="<unit&>")
    marks = [TipMark("A", nasty, 0.5, 0.4, 0.6, note=nasty), TipMark("B", f"B {nasty}")]
    text = draw_tree(tree, focus="B", marks=marks, title=nasty, note=nasty)
    root = ET.fromstring(text)
    assert not [element.tag for element in root.iter() if element.tag == f"{SVG}b"]
    assert nasty in words(root)
    assert root.find(f"{SVG}title").text == nasty


def test_letters_that_xml_cannot_hold_are_left_out():
    marks = [TipMark("A", "Aus\x00 bus\x1b", 0.5)]
    root = ET.fromstring(draw_tree(parse_newick("(A:1,B:1);"), focus="B", marks=marks, title="x\x07"))
    assert words(root).count("Aus bus") == 2


def test_a_part_of_the_tree_is_drawn_and_said(echinocereus):
    keep = ["Echinocereus_laui", "Echinocereus_scheeri"]
    root = ET.fromstring(draw_tree(echinocereus, focus=FOCUS, title="x", keep=keep))
    assert len(by_class(root, "tip")) == 3
    assert "3 species drawn of the 32 in the tree." in words(root)


def test_a_tree_without_lengths_has_no_scale_bar():
    root = ET.fromstring(draw_tree(parse_newick("((A:0,B:0):0,C:0);"), focus="B", title="x"))
    assert not by_class(root, "scale")
    assert "Branch lengths are not drawn: the tree gives none." in words(root)


def test_the_scale_bar_is_as_long_as_it_says(picture, echinocereus):
    _, root = picture
    (bar,) = by_class(root, "scale")
    length = float(re.search(r"h([\d.]+)", bar.get("d"))[1])
    tips = [float(disc.get("cx")) for disc in by_class(by_class(root, "branches")[0], "disc")]
    left = min(
        float(value) for branch in by_class(root, "branch") for value in re.findall(r"[MH]([\d.]+)", branch.get("d"))
    )
    per_unit = (max(tips) - left - 10) / echinocereus.root_distance.max()
    assert "0.5 million years" in words(root)
    assert length == pytest.approx(0.5 * per_unit, abs=0.02)


@pytest.mark.parametrize(
    ("step", "unit", "told"),
    [
        (0.5, "My", "0.5 million years"),
        (0.02, "substitutions per site", "0.02 substitutions per site"),
        (1, "substitutions per site", "1 substitution per site"),
        (2, "unit", "2 (every branch counts 1)"),
        (5, "cM", "5 cM"),
        (5, None, "5 (unit not stated)"),
        (5, "unknown", "5 unknown"),
    ],
)
def test_the_scale_is_told_in_the_unit_of_the_tree(step, unit, told):
    assert scale_words(step, unit) == told


def test_the_order_of_children_and_of_marks_changes_nothing():
    marks = [TipMark("A", "A", 0.5), TipMark("B", "B"), TipMark("C", "C", 0.5), TipMark("D", "D", 0.1)]
    one = draw_tree(parse_newick("((A:1,B:1):1,(C:1,D:1):1);"), focus="B", marks=marks, title="x")
    other = draw_tree(parse_newick("((D:1,C:1):1,(B:1,A:1):1);"), focus="B", marks=marks[::-1], title="x")

    def parts(text):
        return sorted(ET.tostring(element) for element in ET.fromstring(text).iter() if not len(element))

    assert parts(one) == parts(other)


def test_a_species_that_is_not_in_the_tree_cannot_be_asked_about(echinocereus):
    with pytest.raises(ValueError, match="'nobody'"):
        draw_tree(echinocereus, focus="nobody", title="x")


def test_text_and_shapes_stand_out_from_their_ground(picture, contrast):
    style = picture[1].find(f"{SVG}style").text
    bands = [re.search(rf"\.{name} {{ fill: (#\w+)", style)[1] for name in ("band", "focus-band", "invented-frame")]
    grey = re.search(r"\.legend { fill: (#\w+)", style)[1]
    ink = re.search(r"^text .*fill: (#\w+)", style, re.MULTILINE)[1]
    for ground in (PAPER, *bands):
        assert contrast(grey, ground) >= 4.5
        assert contrast(ink, ground) >= 7
        for shape in ("took", "petals, .role-pill"):
            assert contrast(re.search(rf"\.{shape} {{ fill: (#\w+)", style)[1], ground) >= 3
    assert contrast("#ffffff", re.search(r"\.role-pill { fill: (#\w+)", style)[1]) >= 4.5


def drawn(name, echinocereus, marks_on):
    if name == "echinocereus":
        marks = marks_on(echinocereus, FOCUS, unknown_every=9)
        return draw_tree(
            echinocereus,
            focus=FOCUS,
            marks=marks,
            title="Echinocereus coccineus as seed parent",
            note="A note.",
            invented=True,
        )
    if name == "kept":
        keep = likeliest(marks_on(echinocereus, FOCUS), FOCUS, 7)
        return draw_tree(
            echinocereus, focus=FOCUS, marks=keep, title="Seven", direction="pollen", keep=[mark.label for mark in keep]
        )
    return draw_tree(parse_newick("(((A_a:0,B_b:0):0,C_c:0):0,D_d:0);"), focus="B_b", title="No lengths and no marks")


@pytest.mark.parametrize("name", ["echinocereus", "kept", "bare"])
def test_the_picture_is_the_one_that_was_looked_at(name, echinocereus, marks_on, update_golden):
    text = drawn(name, echinocereus, marks_on)
    file = GOLDEN / f"{name}.svg"
    if update_golden:
        file.write_text(text, encoding="utf-8")
    assert ET.canonicalize(text) == ET.canonicalize(file.read_text(encoding="utf-8"))
