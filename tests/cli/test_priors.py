"""The priors on the screen: published, or as the settings of a collection change them."""

from __future__ import annotations

import re

import pytest

OWN = """
[priors.time]
mean = -4
sd = 0.5
evidence = "twenty crosses of my own"
"""


def flat(text):
    return " ".join(text.split())


@pytest.fixture
def changed(own):
    settings = own / "collection.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + OWN, encoding="utf-8")
    return own


def test_without_a_collection_the_published_ones_are_shown(run, answer):
    text = run("priors").stdout
    assert "Learned numbers come from published crosses" in flat(text)
    assert "published crosses of 39 genera" in flat(text)
    assert answer("priors")["own"] == 0


def test_the_chances_come_first_stage_by_stage(run):
    text = flat(run("priors").stdout)
    table = text.split("The numbers are logits")[0]
    assert len(re.findall(r"\d+%", table)) == 25
    assert table.index("A flower sets a fruit") < table.index("A filled seed comes up")


def test_what_the_grower_has_set_is_marked_and_shows_in_the_chances(run, answer, changed):
    text = run("priors", "--collection", changed).stdout
    assert "Your settings changed 1 number" in flat(text)
    [marked] = re.findall(r"^ +\* .*(?:\n {6}.*)+", text, re.MULTILINE)
    assert flat(marked) == (
        "* each natural logarithm of the millions of years between them: -4.00, give or take 0.50 (yours) "
        "Your setting, in place of -2, give or take 1.5: twenty crosses of my own"
    )
    ours, theirs = ({entry["stage"]: entry for entry in answer(*words)["chances"]} for words in (
        ("priors", "--collection", changed), ("priors",),
    ))  # fmt: skip
    ours, theirs = ([chance["mean"] for chance in stages["whole"]["chances"]] for stages in (ours, theirs))
    assert ours[0] > theirs[0] + 0.05
    assert ours[-1] < theirs[-1] - 0.05


def test_every_row_of_the_table_is_printed(run, answer):
    found = answer("priors")
    text = flat(run("priors").stdout)
    for row in (*found["coefficients"], *found["effects"]):
        assert flat(row["words"]) in text
        assert flat(row["evidence"]) in text


@pytest.mark.parametrize("columns", [40, 60, 100])
def test_text_keeps_to_the_screen(run, changed, columns):
    text = run("priors", "--collection", changed, columns=columns).stdout
    assert max(map(len, text.splitlines())) <= columns


def test_a_wrong_prior_is_told_with_its_place(run, own):
    settings = own / "collection.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + "[priors.sow]\n[priors.time]\nsd = 0\n")
    told = run("priors", "--collection", own, code=3).stderr
    assert "collection.toml, column priors.sow: There is no prior called sow here." in told
    assert "collection.toml, column priors.time.sd: An sd or a scale must be a number above 0" in told


def test_a_folder_that_is_no_collection_is_told(run, empty_folder):
    assert "no collection" in run("priors", "--collection", empty_folder / "nowhere", code=2).stderr
