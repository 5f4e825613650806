from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from crosscompat.show.label import LabelCard, labels_page

CARD = LabelCard(
    "26-014",
    "Echinocereus coccineus",
    "Echinocereus × roetteri subsp. neomexicanus",
    seed_plant="EC-3",
    pollen_plant="R-1",
    date="2026-04-18",
    units="4 flowers",
    grower="M.K.",
    note="bagged",
    caution="Cacti: spines and glochids.",
)


class Reader(HTMLParser):
    """The text of each element by class, and the tags seen."""

    def __init__(self, page):
        super().__init__()
        self.open, self.texts, self.tags = [], {}, set()
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        name = dict(attrs).get("class") or tag
        if tag != "meta":
            self.open.append(name)
            self.texts.setdefault(name, []).append("")

    def handle_endtag(self, tag):
        self.open.pop()

    def handle_data(self, data):
        for name in set(self.open):
            self.texts[name][-1] += data


def read(*cards, **settings):
    return Reader(labels_page(cards, **settings)).texts


def test_the_seed_parent_comes_first_and_the_sheet_says_so():
    texts = read(CARD)
    assert [text.split("seed parent")[0] for text in texts["parent seed"]] == ["Echinocereus coccineus"]
    assert texts["role"] == ["seed parent, plant EC-3", "pollen parent, plant R-1"]
    assert "The seed parent is named first" in texts["header"][0]
    card = texts["card"][0]
    assert card.index("Echinocereus coccineus") < card.index("×") < card.index("roetteri")


def test_every_field_given_is_printed():
    card = read(CARD)["card"][0]
    for value in ("26-014", "2026-04-18", "4 flowers", "M.K.", "bagged", "Cacti: spines and glochids."):
        assert value in card


def test_what_is_not_given_leaves_a_line_and_no_caution():
    texts = read(LabelCard("1", "A b", "C d"))
    assert texts["fact"] == ["date", "pollinated", "grower"]
    assert texts["fact note"] == ["note"]
    assert "caution" not in texts


@pytest.mark.parametrize(
    ("kind", "sign", "words", "role"),
    [("open", "×", "open", "left open: pollen parent not known"), ("self", "⊗", "selfed", "its own pollen")],
)
def test_open_and_selfed_flowers_have_their_own_sign(kind, sign, words, role):
    texts = read(LabelCard("1", "Aus bus", "Not used", kind=kind))
    assert texts["sign"] == [sign]
    assert words in texts["name"][1]
    assert texts["role"][1] == role
    assert "Not used" not in texts["body"][0]


def test_a_bagged_flower_says_that_no_pollen_was_brought_and_has_no_sign():
    texts = read(LabelCard("1", "Aus bus", "Not used", kind="none", seed_plant="A1", pollen_plant="Not used"))
    assert "sign" not in texts
    assert texts["name"] == ["Aus bus", "no pollen"]
    assert texts["role"] == ["seed parent, plant A1", "bagged and left alone: no pollen brought"]
    assert "Not used" not in texts["body"][0]


@pytest.mark.parametrize(
    ("kind", "heading"), [("cross", "pollinated"), ("self", "pollinated"), ("open", "left open"), ("none", "bagged")]
)
def test_what_was_done_to_the_flowers_heads_their_number(kind, heading):
    assert read(LabelCard("1", "Aus bus", "Aus cus", kind=kind, units="4 flowers"))["fact"][1] == f"{heading}4 flowers"


def test_only_genus_and_epithets_lean():
    page = labels_page([CARD])
    assert "<i>Echinocereus </i>× <i>roetteri </i>subsp. <i>neomexicanus</i>" in page


def test_invented_crosses_say_so_on_every_label_and_every_sheet():
    texts = read(*[CARD] * 12, invented=True)
    assert texts["invented"] == ["Outcomes are invented"] * 12
    assert all("Outcomes are invented." in header for header in texts["header"])
    assert "invented" not in read(CARD)


def test_ten_labels_to_a_sheet_in_the_order_given():
    texts = read(*[LabelCard(f"no. {n}", "A b", "C d") for n in range(21)])
    assert texts["number"] == [f"no. {n}" for n in range(21)]
    assert len(texts["sheet"]) == len(texts["header"]) == 3


def test_whatever_is_written_is_escaped():
    nasty = "<img src=x>&\"'"
    fields = [
        "number",
        "seed_parent",
        "pollen_parent",
        "seed_plant",
        "pollen_plant",
        "date",
        "units",
        "grower",
        "note",
        "caution",
    ]
    page = labels_page([LabelCard(**dict.fromkeys(fields, nasty))], title=nasty)
    reader = Reader(page)
    assert "img" not in reader.tags
    assert reader.texts["card"][0].count("<img src=x>") == len(fields)
    assert reader.texts["h1"] == [nasty]


def test_a_long_name_gets_smaller_letters_and_stays_whole():
    long = "Echinocereus × roetteri nothosubsp. neomexicanus 'Bright Star of the Morning'"
    page = labels_page([LabelCard("1", long, "Aus bus")])
    sizes = [float(size) for size in re.findall(r'class="name" style="font-size: ([\d.]+)pt"', page)]
    assert sizes[0] < sizes[1] == 13
    assert sizes[0] >= 6
    assert long in Reader(page).texts["name"][0]


def test_no_label_is_no_sheet():
    assert "sheet" not in read()
