"""What a hand types in a hurry does what it meant, or asks one question."""

from __future__ import annotations

import pytest

COC_DAS = "Echinocereus coccineus × Echinocereus dasyacanthus"
PLANTS = "Echinocereus coccineus [COC-F1] × Echinocereus dasyacanthus [DAS-1]"
MAY = ("--on", "2026-05-20")


def as_typed(value):
    return " ".join(value) if isinstance(value, tuple) else ""


READ = [
    (("ask", "coccineus", "dasyacanthus"), COC_DAS),
    (("ask", "Coccineus", "DASYACANTHUS"), COC_DAS),
    (("ask", "E. coccineus", "E. dasyacanthus"), COC_DAS),
    (("ask", "e coccineus", "dasyacanthus"), COC_DAS),
    (("ask", "Ech. coccineus", "ech dasyacanthus"), COC_DAS),
    (("ask", "Echinocereus_coccineus", "E.dasyacanthus"), COC_DAS),
    (("ask", "coccineus", "x", "dasyacanthus"), COC_DAS),
    (("ask", "coccineus", "×", "dasyacanthus"), COC_DAS),
    (("ask", "coccineus x dasyacanthus"), COC_DAS),
    (("ask", "E. coccineus × E. dasyacanthus"), COC_DAS),
    (("ask", "Echinocereus", "coccineus", "Echinocereus", "dasyacanthus"), COC_DAS),
    (("ask", "Echinocereus", "coccineus", "x", "dasyacanthus"), COC_DAS),
    (("ask", "  coccineus ", "dasyacanthus"), COC_DAS),
    (("ask", "COC-F1", "DAS-1"), PLANTS),
    (("ask", "coc-f1", "das-1"), PLANTS),
    (("ask", "cocf1", "das1"), PLANTS),
    (("ask", "COC F1", "DAS 1"), PLANTS),
    (("ask", "coc-f01", "das-001"), PLANTS),
    (("ask", "COC-F1", "x", "dasyacanthus"), "[COC-F1] × Echinocereus dasyacanthus (invented"),
    (("rank", "Echinocereus coccineus"), "Echinocereus coccineus × "),
    (("rank", "coccineus"), "Echinocereus coccineus × "),
    (("rank", "Echinocereus", "coccineus"), "Echinocereus coccineus × "),
    (("rank", "cocf1"), "[COC-F1]"),
    (("tree", "coccineus"), "seed parent"),
    (("tree", "E. coccineus"), "seed parent"),
    (("observe", "26-1"), "26-01: Echinocereus coccineus"),
    (("observe", "2601"), "26-01: Echinocereus coccineus"),
    (("observe", "26-001"), "26-01: Echinocereus coccineus"),
    (("plant", "cocf1"), "COC-F1: Echinocereus coccineus"),
    (("plant", "coc f1"), "COC-F1: Echinocereus coccineus"),
    (("label", "26-1"), "labels.html"),
    (("history", "26-1"), "26-01"),
    (("due", "--on", "20/5/2026"), "20 to 26 May"),
    (("due", "--on", "20.5.2026"), "20 to 26 May"),
    (("due", "--on", "20 May 2026"), "20 to 26 May"),
    (("due", "--as-of", "2026-5-20"), "20 to 26 May"),
    (("tonight", "--on", "1 may 2026"), "On the brush, 1 May"),
    (("pollinate", "cocf1", "das1", "3", *MAY), f"26-08, a new cross: {PLANTS}, 3 flowers"),
    (("pollinate", "cocf1", "x", "das1", "3", *MAY), f"26-08, a new cross: {PLANTS}, 3 flowers"),
    (("pollinate", "COC-F1", "DAS-1", "-n", "3", "--on", "20/5/2026"), f"a new cross: {PLANTS}, 3 flowers, 20 May"),
    (("plant", "NEW-1", "Echinocereus coccineus"), "NEW-1: a new plant"),
    (("plant", "NEW-1", "coccineus"), "named Echinocereus coccineus"),
    (("plant", "NEW-1", "Echinocereus", "coccineus"), "named Echinocereus coccineus"),
    (("correct", "26-1", "wanted=4"), "wanted: "),
]

ASKED = [
    (("ask", "coccineus"), "A pairing has a seed parent and a pollen parent"),
    (("ask", "cocc", "dasyacanthus"), "Did you mean Echinocereus coccineus"),
    (("ask", "coccinneus", "dasyacanthus"), "Did you mean Echinocereus coccineus"),
    (("rank", "nothing.csv"), "There is no such file"),
    (("due", "--on", "4/5/2026"), "could be 4 May 2026 or 5 April 2026"),
    (("observe", "26-77"), "The nearest are: 26-07"),
    (("plant", "COCF9"), "The nearest are: COC-"),
    (("aks", "coccineus", "dasyacanthus"), "Did you mean ask"),
    (("ask", "coccineus", "dasyacanthus", "--flower", "3"), "--flowers"),
    (("rank", "--most", "many"), "takes a whole number, not “many”"),
    (("observe", "26-1", "--swelling", "-2"), "at least 0"),
]


@pytest.mark.parametrize(("typed", "printed"), READ, ids=as_typed)
def test_it_does_what_a_hand_meant(run, own, monkeypatch, typed, printed):
    monkeypatch.chdir(own)
    said = " ".join(run(*typed, code=None).output.split())
    assert printed in said


@pytest.mark.parametrize(("typed", "asked"), ASKED, ids=as_typed)
def test_or_asks_one_question(run, own, monkeypatch, typed, asked):
    monkeypatch.chdir(own)
    outcome = run(*typed, code=None)
    assert outcome.exit_code != 0
    assert asked in " ".join(outcome.stderr.split())
    assert "Usage:" not in outcome.stderr


def test_the_same_visit_twice_and_pods_that_grow_fewer_are_asked_about(run, own, monkeypatch):
    monkeypatch.chdir(own)
    visit = ("pollinate", "cocf1", "das1", "3", *MAY)
    run(*visit)
    assert "the same pollination already" in run(*visit, code=None).stderr
    run("observe", "26-8", "--swelling", "3", "--on", "2026-05-27")
    assert "Did one drop?" in run("observe", "26-8", "--swelling", "2", "--on", "2026-06-02", code=None).stderr
