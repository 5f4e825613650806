"""Labels as a page and as PDF: the page by its markup, the PDF drawn by pdfium, read by its text and by a decoder."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from crosscompat.show.label import LabelCard, code_text, labels_page, labels_pdf

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
    assert "".join(texts["name"]).startswith("Echinocereus coccineus")
    assert texts["role"] == ["seed parent, plant EC-3", "pollen parent, plant R-1"]
    assert "The seed parent is named first" in texts["said"][0]
    card = texts["card"][0]
    assert card.index("Echinocereus coccineus") < card.index("×") < card.index("roetteri")


def test_every_field_given_is_printed():
    card = read(CARD)["card"][0]
    for value in ("26-014", "2026-04-18", "4 flowers", "M.K.", "bagged", "Cacti: spines and glochids."):
        assert value in card


def test_what_is_not_given_leaves_a_line_and_no_caution():
    texts = read(LabelCard("1", "A b", "C d"))
    assert texts["heading"] == ["date", "pollinated", "grower", "note"]
    assert not {"fact", "caution", "purpose"} & set(texts)
    assert labels_page([LabelCard("1", "A b", "C d")]).count('height="0.01"') == 4  # the lines


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
    texts = read(LabelCard("1", "Aus bus", "Aus cus", kind=kind, units="4 flowers"))
    assert (texts["heading"][1], texts["fact"]) == (heading, ["4 flowers"])


def test_only_genus_and_epithets_lean():
    leans = read(CARD)["leans"]
    assert leans == ["Echinocereus ", "coccineus", "Echinocereus ", "roetteri ", "neomexicanus"]


def test_invented_crosses_say_so_on_every_label_and_every_sheet():
    texts = read(*[CARD] * 12, invented=True)
    assert texts["invented"] == ["Outcomes are invented"] * 12
    assert all("Outcomes are invented." in said for said in texts["said"])
    assert "invented" not in read(CARD)


def test_ten_labels_to_a_sheet_in_the_order_given():
    texts = read(*[LabelCard(f"no. {n}", "A b", "C d") for n in range(21)])
    assert texts["number"] == [f"no. {n}" for n in range(21)]
    assert len(texts["sheet"]) == len(texts["said"]) == 3


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
    assert reader.texts["title"] == [nasty] * 2


def test_a_long_name_gets_smaller_letters_and_stays_whole():
    long = "Echinocereus × roetteri nothosubsp. neomexicanus 'Bright Star of the Morning'"
    page = labels_page([LabelCard("1", long, "Aus bus")])
    sizes = [float(size) for size in re.findall(r'class="name"[^>]*font-size="([\d.]+)"', page)]
    assert sizes == [7, 7, 13]
    assert "".join(Reader(page).texts["name"]) == f"{long}Aus bus"


def test_no_label_is_no_sheet():
    assert "sheet" not in read()


CARDS = [
    LabelCard(
        "26-014", "Echinocereus coccineus", "Echinocereus × roetteri subsp. neomexicanus 'Bright Star of the Morning'",
        seed_plant="EC-3", pollen_plant="R-1", date="2026-04-18", units="4 flowers", grower="Žofie Ørsted",
        note="raceme 2, red thread", caution="Spines and glochids: gloves, and mind your eyes.",
    ),
    LabelCard("26-015", "(Echinocereus coccineus × Echinocereus dasyacanthus) × Echinocereus coccineus", kind="open"),
    *(
        LabelCard(f"26-02{kind}", "Echinocereus fendleri", kind=kind)
        for kind in ("mixed", "unknown", "sib", "self", "none")
    ),
    LabelCard("26-030", "Echinocereus fendleri", "Echinocereus fendleri", purpose="Check of the pollen"),
]  # fmt: skip


@pytest.fixture(scope="module")
def pages():
    import pypdfium2

    document = pypdfium2.PdfDocument(labels_pdf([*CARDS, *CARDS], invented=True))
    yield list(document)
    document.close()


def test_ten_labels_to_a_sheet_of_a4(pages):
    assert len(pages) == 2
    assert [round(side / 72 * 25.4) for side in pages[0].get_size()] == [210, 297]


def test_the_text_of_every_label_can_be_read_and_says_which_parent_is_which(pages):
    text = " ".join(page.get_textpage().get_text_bounded() for page in pages)
    for card in CARDS:
        assert card.number in text
    for words in ("Žofie Ørsted", "seed parent, plant EC-3", "Outcomes are invented", "The seed parent is named first",
                  "raceme 2, red thread", "×", "⊗", "Check of the pollen", "selfed", "mixed", "sib"):  # fmt: skip
        assert words in text


def test_nothing_leaves_the_sheet_or_lies_over_the_next_label(pages):
    text = pages[0].get_textpage()
    width, height = pages[0].get_size()
    middle = width / 2
    for i in range(text.count_rects()):
        left, bottom, right, top = text.get_rect(i)
        assert 0 < left < right < width - 20
        assert 0 < bottom < top < height
        if top < height - 70:  # below the heading
            assert right < middle + 1 or left > middle - 1


def test_the_codes_hold_the_labels_as_plain_text(pages):
    import zxingcpp

    found = zxingcpp.read_barcodes(pages[0].render(scale=300 / 72).to_pil())
    assert sorted(code.text for code in found) == sorted(
        code_text(card, invented=True) for card in [*CARDS, *CARDS][:10]
    )


def test_the_same_labels_are_the_same_file_and_none_is_a_file_too():
    assert labels_pdf(CARDS) == labels_pdf(CARDS)
    assert labels_pdf([]).startswith(b"%PDF")


def test_without_the_library_the_way_to_it_is_told(monkeypatch):
    import sys

    from crosscompat.ground.errors import WrongUse

    monkeypatch.setitem(sys.modules, "reportlab.pdfgen.canvas", None)
    with pytest.raises(WrongUse, match=r"crosscompat\[pdf\]"):
        labels_pdf(CARDS)


@pytest.mark.parametrize(
    ("card", "says"),
    [
        (CARDS[0], "Echinocereus coccineus [EC-3] × Echinocereus × roetteri"),
        (LabelCard("1", "Aus bus", kind="self", pollen_plant="A2"), "1\nAus bus ⊗ selfed"),
        (LabelCard("1", "Aus bus", "Not used", kind="none"), "1\nAus bus, no pollen"),
        (LabelCard("1", "Aus bus", kind="mixed", grower="Ida"), "1\nAus bus × mixed\nIda"),
    ],
)
def test_what_the_code_says(card, says):
    assert says in code_text(card)


def test_the_code_of_a_cross_whose_outcomes_are_invented_says_so():
    assert code_text(CARDS[0], invented=True) == f"{code_text(CARDS[0])}\nOutcomes are invented"
