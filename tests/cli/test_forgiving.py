"""What hands type: case, dashes, zeros, dates and short words; each does what was meant, or asks one question."""

from __future__ import annotations

from datetime import date

import pytest

from crosscompat.cli import options
from crosscompat.ground.dates import TwoDates, read_date
from crosscompat.ground.errors import WrongUse

TODAY = date(2026, 6, 17)  # a Wednesday
COC_DAS = "Echinocereus coccineus × Echinocereus dasyacanthus"
PLANTS = "Echinocereus coccineus [COC-F1] × Echinocereus dasyacanthus [DAS-1]"
MAY = ("--on", "2026-05-20")


@pytest.fixture
def on_the_day(monkeypatch):
    """It is the seventeenth of June 2026."""
    monkeypatch.setattr(options, "today", lambda: TODAY)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-05-20", "2026-05-20"),
        ("2026-5-2", "2026-05-02"),
        ("2026/05/20", "2026-05-20"),
        ("20260520", "2026-05-20"),
        ("20/5/2026", "2026-05-20"),
        ("20/05/26", "2026-05-20"),
        ("20-5-2026", "2026-05-20"),
        ("5/20/2026", "2026-05-20"),
        ("5.6.2026", "2026-06-05"),
        ("31.10.2025", "2025-10-31"),
        ("20.5.", "2026-05-20"),
        ("20/5", "2026-05-20"),
        ("31.12.", "2025-12-31"),
        ("20 May", "2026-05-20"),
        ("20 may 2025", "2025-05-20"),
        ("20th May", "2026-05-20"),
        ("May 20", "2026-05-20"),
        ("May 20, 2025", "2025-05-20"),
        ("1 Sep", "2025-09-01"),
        ("29 feb", "2024-02-29"),
        ("today", "2026-06-17"),
        ("Yesterday", "2026-06-16"),
        ("last sunday", "2026-06-14"),
        ("Sunday", "2026-06-14"),
        ("sun", "2026-06-14"),
        ("wednesday", "2026-06-17"),
        ("last wednesday", "2026-06-10"),
        ("3 days ago", "2026-06-14"),
        ("a week ago", "2026-06-10"),
        (" 2 weeks  ago ", "2026-06-03"),
        ("7/8/2026", "2026-07-08"),
    ],
)
def test_a_day_is_read_as_it_was_meant(text, day):
    latest = date(2026, 7, 31) if text == "7/8/2026" else None
    assert read_date(text, TODAY, latest) == date.fromisoformat(day)


@pytest.mark.parametrize("text", ["", "someday", "31/2/2026", "2026-02-30", "13/13/2026", "ma 20", "last", "20"])
def test_what_is_no_day_is_refused_and_shown_how(text):
    with pytest.raises(WrongUse, match="20 May"):
        read_date(text, TODAY)


@pytest.mark.parametrize("text", ["5/6/2025", "05-06-25", "3/4"])
def test_a_day_that_could_be_the_month_is_asked_about(text):
    with pytest.raises(TwoDates) as caught:
        read_date(text, TODAY, TODAY)
    assert len(caught.value.dates) == 2


def test_only_one_reading_that_is_not_to_come_needs_no_question():
    assert read_date("5/7/2026", TODAY, TODAY) == date(2026, 5, 7)
    with pytest.raises(WrongUse, match="18 June 2026 is in the future"):
        read_date("18/6/2026", TODAY, TODAY)


def test_somebody_at_a_terminal_is_asked_which_day_it_is(on_the_day, monkeypatch):
    monkeypatch.setattr(options, "on_a_terminal", lambda: True)
    for answer, day in (("5", date(2025, 6, 5)), ("6", date(2025, 5, 6))):
        monkeypatch.setattr("builtins.input", lambda prompt, answer=answer: answer)
        assert options.past_day("5/6/2025") == day


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["plant", "coc-f1"], "COC-F1: Echinocereus coccineus"),
        (["plant", "cocf1"], "COC-F1: Echinocereus coccineus"),
        (["plant", "COC F1"], "COC-F1: Echinocereus coccineus"),
        (["plant", "str-01"], "STR-1: Echinocereus stramineus"),
        (["plant", "COC–F1"], "COC-F1: Echinocereus coccineus"),
        (["observe", "26-7"], "26-07: "),
        (["observe", "267"], "26-07: "),
        (["observe", " 26-07 "], "26-07: "),
        (["observe", "26–07"], "26-07: "),
        (["history", "26-7"], "Changes to 26-07"),
        (["history", "fen1"], "Changes to FEN-1"),
        (["label", "26-7", "-o", "-"], "26-07"),
        (["ask", "coc-f1", "das1"], "Echinocereus coccineus [COC-F1]"),
        (["pollinate", "fen1", "STR01", "-n", "3", "--on", "20/5/2026"], "[FEN-1]"),
        (["pollinate", "fen1", "str1", "--isolation", "Bag", "--on", "20 May 2026"], "[STR-1]"),
        (["pollinate", "--cross", "26-7", "-n", "1", "--on", "7.6.2026"], "26-07, visit 2"),
        (["observe", "26-7", "--swelling", "1", "--on", "20.6.2026"], "26-07: "),
        (["observe", "26-7", "--over", "SET", "--on", "20.6.2026"], "26-07: "),
        (["plant", "coc-f1", "--sex", "FEMALE", "--on", "20/5/2026"], "COC-F1: "),
        (["find", "--plant", "cocf1", "--date", "25 Apr 2026"], "26-01"),
        (["find", "--plant", "coc f1", "--between", "20/4/2026", "10 may 2026"], "26-01"),
        (["due", "--as-of", "15.7.2026"], "26-07"),
        (["correct", "26-7", "wanted=4"], "wanted"),
        (["ask", "coccineus", "dasyacanthus"], COC_DAS),
        (["ask", "Coccineus", "DASYACANTHUS"], COC_DAS),
        (["ask", "E. coccineus", "E. dasyacanthus"], COC_DAS),
        (["ask", "e coccineus", "dasyacanthus"], COC_DAS),
        (["ask", "Ech. coccineus", "ech dasyacanthus"], COC_DAS),
        (["ask", "Echinocereus_coccineus", "E.dasyacanthus"], COC_DAS),
        (["ask", "coccineus", "x", "dasyacanthus"], COC_DAS),
        (["ask", "coccineus", "×", "dasyacanthus"], COC_DAS),
        (["ask", "coccineus x dasyacanthus"], COC_DAS),
        (["ask", "E. coccineus × E. dasyacanthus"], COC_DAS),
        (["ask", "Echinocereus", "coccineus", "Echinocereus", "dasyacanthus"], COC_DAS),
        (["ask", "Echinocereus", "coccineus", "x", "dasyacanthus"], COC_DAS),
        (["ask", "  coccineus ", "dasyacanthus"], COC_DAS),
        (["ask", "COC-F1", "DAS-1"], PLANTS),
        (["ask", "coc-f1", "das-1"], PLANTS),
        (["ask", "cocf1", "das1"], PLANTS),
        (["ask", "COC F1", "DAS 1"], PLANTS),
        (["ask", "coc-f01", "das-001"], PLANTS),
        (["ask", "COC-F1", "x", "dasyacanthus"], "[COC-F1] × Echinocereus dasyacanthus (invented"),
        (["rank", "Echinocereus coccineus"], "E. coccineus E. fasciculatus about"),
        (["rank", "coccineus"], "E. coccineus E. fasciculatus about"),
        (["rank", "Echinocereus", "coccineus"], "E. coccineus E. fasciculatus about"),
        (["rank", "cocf1"], "[COC-F1]"),
        (["rank", "E. coccineus"], "E. coccineus E. fasciculatus about"),
        (["rank", "coc f1"], "[COC-F1]"),
        (["tree", "coccineus"], "seed parent"),
        (["tree", "E. coccineus"], "seed parent"),
        (["observe", "26-1"], "26-01: Echinocereus coccineus"),
        (["observe", "2601"], "26-01: Echinocereus coccineus"),
        (["observe", "26-001"], "26-01: Echinocereus coccineus"),
        (["plant", "coc f1"], "COC-F1: Echinocereus coccineus"),
        (["history", "26-1"], "26-01"),
        (["due", "--on", "20/5/2026"], "20 to 26 May"),
        (["due", "--on", "20.5.2026"], "20 to 26 May"),
        (["due", "--on", "20 May 2026"], "20 to 26 May"),
        (["due", "--as-of", "2026-5-20"], "20 to 26 May"),
        (["tonight", "--on", "1 may 2026"], "On the brush, 1 May"),
        (["pollinate", "cocf1", "das1", "3", *MAY], f"26-08, a new cross: {PLANTS}, 3 flowers"),
        (["pollinate", "cocf1", "x", "das1", "3", *MAY], f"26-08, a new cross: {PLANTS}, 3 flowers"),
        (["pollinate", "COC-F1", "DAS-1", "-n", "3", "--on", "20/5/2026"], f"a new cross: {PLANTS}, 3 flowers, 20 May"),
        (["plant", "NEW-1", "Echinocereus coccineus"], "NEW-1: new plant"),
        (["plant", "NEW-1", "coccineus"], "named Echinocereus coccineus"),
        (["plant", "NEW-1", "Echinocereus", "coccineus"], "named Echinocereus coccineus"),
        (["correct", "26-1", "wanted=4"], "wanted: "),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_what_was_typed_does_what_was_meant(run, own, monkeypatch, arguments, says):
    monkeypatch.chdir(own)
    assert says in " ".join(run(*arguments).stdout.split())


def test_labels_go_into_a_file_that_is_named(run, own, monkeypatch):
    monkeypatch.chdir(own)
    outcome = run("label", "26-7")
    assert (outcome.stdout, outcome.stderr) == ("", "Written: labels.html\n")
    assert "26-07" in (own / "labels.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["observe", "26-07", "--swollen", "2"], "`crosscompat observe` has no option --swollen."),
        (["observe", "26-07", "--swelling", "two"], "--swelling takes a whole number, not “two”."),
        (["observe", "26-07", "--on"], "--on needs something after it."),
        (["observe"], "`crosscompat observe` needs CROSS: "),
        (["pollinate", "COC-F1", "DAS-1", "-n", "0"], "--count is at least 1, not 0."),
        (["pollinate", "COC-F1", "DAS-1", "--humidity", "120"], "--humidity is at most 100, not 120."),
        (["plant", "COC-F1", "--sex", "hen"], "--sex is one of: female, male, both,"),
        (["observ", "26-07"], "There is no command “observ”. Did you mean observe, serve?"),
        (["undo", "last"], "NUMBER takes a whole number, not “last”."),
        (["pollinate", "COC-F1", "DAS-1", "--check", "pod"], "--check is one of: seed, pollen; not “pod”."),
        (["--colour"], "`crosscompat` has no option --colour."),
        (["due", "--as-of", "5/6/2026"], "“5/6/2026” could be 5 June 2026 or 6 May 2026. Write it as 2026-06-05."),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_what_cannot_be_read_is_refused_in_our_own_words(run, own, monkeypatch, arguments, says):
    monkeypatch.chdir(own)
    said = " ".join(run(*arguments, code=2).stderr.split())
    assert said.startswith(says)
    for words in ("Error", "Usage", "Invalid", "Try '"):
        assert words not in said


@pytest.mark.parametrize(
    ("arguments", "code", "asks"),
    [
        (["ask", "coccineus"], 2, "A pairing has a seed parent and a pollen parent"),
        (["ask", "cocc", "dasyacanthus"], 2, "Did you mean Echinocereus coccineus"),
        (["ask", "coccinneus", "dasyacanthus"], 2, "Did you mean Echinocereus coccineus"),
        (["rank", "nothing.csv"], 3, "There is no such file"),
        (["rank", "-o", "best.xlsx"], 2, "Call it .csv"),
        (["ask", "coc-1", "das-1"], 2, "Did you mean COC-B1, COC-F1 or COC-M1?"),
        (["due", "--on", "4/5/2026"], 2, "could be 4 May 2026 or 5 April 2026"),
        (["observe", "26-77"], 2, "The nearest are: 26-07"),
        (["plant", "COCF9"], 2, "The nearest are: COC-"),
        (["aks", "coccineus", "dasyacanthus"], 2, "Did you mean ask"),
        (["ask", "coccineus", "dasyacanthus", "--flower", "3"], 2, "--flowers"),
        (["rank", "--most", "many"], 2, "takes a whole number, not “many”"),
        (["observe", "26-1", "--swelling", "-2"], 2, "at least 0"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_or_it_asks_one_question(run, own, monkeypatch, arguments, code, asks):
    monkeypatch.chdir(own)
    said = run(*arguments, code=code).stderr
    assert asks in " ".join(said.split())
    assert "Usage:" not in said


def test_the_same_visit_twice_and_pods_that_grow_fewer_are_asked_about(run, own, monkeypatch):
    monkeypatch.chdir(own)
    visit = ("pollinate", "cocf1", "das1", "3", *MAY)
    run(*visit)
    assert "already has this pollination" in run(*visit, code=1).stderr
    run("observe", "26-8", "--swelling", "3", "--on", "2026-05-27")
    assert "Did one drop?" in run("observe", "26-8", "--swelling", "2", "--on", "2026-06-02", code=1).stderr
