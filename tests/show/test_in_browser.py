"""Pictures and labels drawn by a real browser: nothing lies over anything else, nothing leaves its paper."""

from __future__ import annotations

import random
import re

import pytest

from crosscompat.phylogeny.newick import parse_newick
from crosscompat.show.label import LabelCard, labels_page
from crosscompat.show.picture import TipMark
from crosscompat.show.tree_svg import draw_tree

pytestmark = pytest.mark.browser

LEAVE = """
const note = document.createElement("script");
note.type = "application/json"; note.id = "found"; note.textContent = JSON.stringify(found);
document.body.append(note);
"""
TEXTS = (
    """
const svg = document.querySelector("svg"), page = svg.viewBox.baseVal, found = {texts: 0, over: [], out: []};
const all = [...svg.querySelectorAll("text")].map(text => ({words: text.textContent, box: text.getBBox()}));
found.texts = all.length;
all.forEach((one, place) => {
  const a = one.box;
  if (a.x < 0 || a.y < 0 || a.x + a.width > page.width || a.y + a.height > page.height) found.out.push(one.words);
  all.slice(place + 1).forEach(({words, box: b}) => {
    const across = Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x);
    const down = Math.min(a.y + a.height, b.y + b.height) - Math.max(a.y, b.y);
    if (across > 0.5 && down > 0.5) found.over.push([one.words, words]);
  });
});
"""
    + LEAVE
)
CARDS = (
    """
const found = {cards: 0, out: []};
for (const card of document.querySelectorAll(".card")) {
  found.cards += 1;
  const paper = card.querySelector("rect").getBoundingClientRect();
  const parts = [...card.querySelectorAll("text, .code")].map(part => [part.textContent, part.getBoundingClientRect()]);
  parts.forEach(([words, a], place) => {
    if (a.left < paper.left || a.right > paper.right || a.top < paper.top || a.bottom > paper.bottom)
      found.out.push(words);
    for (const [others, b] of parts.slice(place + 1)) {
      const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (across > 0.5 && down > 3) found.out.push([words, others]);
    }
  });
}
"""
    + LEAVE
)


def random_tree(n, seed):
    rng = random.Random(seed)
    groups = [f"Echinocereus_{rng.choice(['lauiformis', 'viridis', 'albus', 'mirus'])}_{place}" for place in range(n)]
    while len(groups) > 1:
        taken = [groups.pop(rng.randrange(len(groups))) for _ in range(2)]
        groups.append("(" + ",".join(f"{child}:{rng.expovariate(2):.3f}" for child in taken) + ")")
    return parse_newick(groups[0] + ";", unit="substitutions per site")


def long_names():
    names = {
        "a": "Echinocereus × roetteri nothosubsp. neomexicanus 'Bright Star of the Morning'",
        "b": "Echinocereus aff. coccineus subsp. roemeri QX 1234",
        "c": "MMMMMMMMMM WWWWWWWWWW MMMMMMMMMM",
        "d": "E × i",
    }
    marks = [
        TipMark(label, name, 0.005 if label == "b" else 0.995, 0.0, 1.0, 12, 345, note="a note that goes on " * 4)
        for label, name in names.items()
    ]
    return parse_newick("((a:1,b:2):1,(c:0.1,d:9):1);"), "a", marks


PICTURES = {
    "echinocereus": lambda tree, marks: (tree, "Echinocereus_coccineus", marks(tree, "Echinocereus_coccineus")),
    "no marks": lambda tree, marks: (tree, "Echinocereus_laui", []),
    "eighty": lambda tree, marks: (big := random_tree(80, 5), big.tips[30], marks(big, big.tips[30], unknown_every=7)),
    "five": lambda tree, marks: (small := random_tree(5, 1), small.tips[0], marks(small, small.tips[0])),
    "two": lambda tree, marks: (small := random_tree(2, 1), small.tips[0], marks(small, small.tips[0])),
    "no lengths": lambda tree, marks: (parse_newick("((A:0,B:0):0,C:0);"), "B", [TipMark("A", "A", 0.5)]),
    "long names": lambda tree, marks: long_names(),
}


@pytest.mark.parametrize("name", PICTURES)
def test_no_text_of_a_tree_lies_over_another_or_leaves_the_paper(name, echinocereus, marks_on, measured, tmp_path):
    tree, focus, marks = PICTURES[name](echinocereus, marks_on)
    title = "Echinocereus coccineus subsp. coccineus as seed parent in the season of 2026"
    svg = draw_tree(tree, focus=focus, marks=marks, title=title, note="Chance from four flowers. " * 3, invented=True)
    found = measured(tmp_path, svg, TEXTS)
    assert found["texts"] == svg.count("<text")
    assert found["over"] == []
    assert found["out"] == []


def test_the_measure_sees_texts_that_collide_and_leave(measured, tmp_path):
    texts = '<text y="20">one</text><text y="22">two</text><text x="90" y="45">three</text>'
    found = measured(tmp_path, f'<svg viewBox="0 0 100 50" width="100">{texts}</svg>', TEXTS)
    assert found["over"] == [["one", "two"]]
    assert found["out"] == ["three"]


def cards():
    long = "Echinocereus × roetteri nothosubsp. neomexicanus 'Bright Star of the Morning'"
    caution = "Cacti: spines and glochids. Wear gloves and keep hands from your eyes."
    full = LabelCard(
        "2026-0014-B",
        long,
        long,
        "EC-3",
        "R-1",
        "cross",
        "2026-04-18",
        "about 12 flowers",
        "M.K.",
        "word " * 40,
        caution * 3,
    )
    others = [LabelCard(kind, "A b", kind=kind, caution=caution) for kind in ("self", "open", "none")]
    return [full, *others] * 3


def test_everything_stays_on_its_label(measured, tmp_path):
    found = measured(tmp_path, labels_page(cards(), invented=True), CARDS)
    assert found["cards"] == 12
    assert found["out"] == []


def test_the_measure_sees_what_leaves_a_label(measured, tmp_path):
    crowded = labels_page(cards()).replace('class="number"', 'class="number" textLength="300"')
    assert measured(tmp_path, crowded, CARDS)["out"]


def test_labels_print_on_as_many_sheets_as_they_say(chromium, tmp_path):
    file = tmp_path / "labels.pdf"
    chromium(tmp_path, labels_page(cards(), invented=True), "--no-pdf-header-footer", f"--print-to-pdf={file}")
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", file.read_bytes())) == 2


def test_the_picture_of_the_demonstration_is_clear_and_says_what_is_invented(demo, measured, tmp_path):
    svg = (demo / "coccineus.svg").read_text(encoding="utf-8")
    found = measured(tmp_path, svg, TEXTS)
    assert found["texts"] > 100
    assert (found["over"], found["out"]) == ([], [])
    assert "Outcomes are invented" in svg


def test_the_labels_of_the_demonstration_fit_and_say_what_is_invented(demo, measured, tmp_path):
    page = (demo / "labels.html").read_text(encoding="utf-8")
    found = measured(tmp_path, page, CARDS)
    assert (found["cards"], found["out"]) == (3, [])
    assert page.count("Outcomes are invented") >= 4
