from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.show.print_names import leaning, shortened, text_width, wrapped

SENTENCE = st.text(alphabet="abij mwAM×.'", max_size=60)


@pytest.mark.parametrize(
    ("name", "upright"),
    [
        ("Echinocereus coccineus", ""),
        ("Echinocereus coccineus subsp. roemeri", "subsp."),
        ("Echinocereus × roetteri", "×"),
        ("Echinocereus ×roetteri", "×"),
        ("×Pachebergia apicicostata", "×"),
        ("Echinocereus fasciculatus subsp. boyce-thompsonii", "subsp."),
        ("Echinocereus aff. coccineus QX 1234", "aff. QX 1234"),
        ("Echinocereus coccineus Engelm.", "Engelm."),
        ("Echinocereus 'Red Star' × Echinocereus scheeri", "'Red Star' ×"),
        ("Echinocereus sp.", "sp."),
        ("(Echinocereus scheeri × Echinocereus laui) × Echinocereus palmeri", "× ×"),
    ],
)
def test_genus_and_epithets_lean_and_nothing_else_does(name, upright):
    runs = leaning(name)
    assert "".join(run for run, _ in runs) == name
    assert " ".join("".join(f" {run}" for run, leans in runs if not leans).split()) == upright


@given(SENTENCE)
def test_a_name_is_printed_whole(name):
    assert "".join(run for run, _ in leaning(name)) == name


@given(SENTENCE, st.floats(20, 300))
def test_wrapping_keeps_every_word_and_the_width(text, width):
    lines = wrapped(text, 12, width)
    assert " ".join(lines).split() == text.split()
    assert all(text_width(line, 12) <= width or " " not in line for line in lines)


@given(st.text(alphabet="ab ", max_size=40), st.integers(3, 20))
def test_a_shortened_text_says_so_and_fits(text, letters):
    short = shortened(text, letters)
    assert len(short) <= letters
    assert short == text or short.endswith("…")
