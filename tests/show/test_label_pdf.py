"""The sheets as PDF: drawn by pdfium, read by its text and by a decoder of codes."""

from __future__ import annotations

import pytest

from crosscompat.show.label import LabelCard, code_text
from crosscompat.show.label_pdf import labels_pdf

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
