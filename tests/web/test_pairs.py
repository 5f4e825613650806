"""A pairing and the tree on a page say what the commands say."""

from __future__ import annotations

import re

import pytest

from crosscompat.advice.ask import ask
from crosscompat.advice.partners import partners
from crosscompat.collection.opening import open_collection
from crosscompat.show.chances import percent


def test_the_page_says_the_chance_of_the_command_both_ways_round(client, folder):
    answer = ask(open_collection(folder), "COC-F1", "fendleri")
    said = client.get("/ask?seed=COC-F1&pollen=fendleri")
    for pair in (answer.pairing, answer.reciprocal):
        assert f"{pair.chance.words} ({percent(pair.chance.mean)}" in said
    assert all(near.words in said for near in answer.known_hybrids)
    assert "The other way round" in said


def test_an_unknown_name_is_refused_with_the_nearest_and_what_was_typed(client):
    said = client.get("/ask?seed=cocineus&pollen=fendleri&flowers=4", 400)
    assert "coccineus" in said
    assert 'value="cocineus"' in client.page


@pytest.mark.parametrize("flowers", ["many", "0", "-3", "1e9"])
def test_flowers_that_are_no_number_are_refused(client, flowers):
    client.get(f"/ask?seed=COC-F1&pollen=fendleri&flowers={flowers}", 400)


def test_the_tree_has_every_partner_with_its_chance_as_a_link(client, folder):
    seen = partners(open_collection(folder), "Echinocereus coccineus", role="seed")
    said = client.get("/tree?species=coccineus")
    links = re.findall(r'<a href="(/ask\?[^"]+)"', client.page)
    assert len(links) >= len(seen.partners)
    for partner in seen.partners:
        assert partner.species.replace("Echinocereus ", "E. ")[:20] in said
        if partner.chance is not None:
            assert f"{partner.chance.words} ({percent(partner.chance.mean)})" in said


def test_a_fork_folds_its_species_into_one_row_and_shows_them_again(client):
    client.get("/tree?species=coccineus")
    before = len(re.findall(r'class="row"', client.page))
    fold = re.search(r'href="(/tree\?[^"]*fold=(\d+)[^"]*)"', client.page)
    client.get(fold[1].replace("&amp;", "&"))
    assert len(re.findall(r'class="row"', client.page)) < before
    assert "species folded" in client.words
    again = next(link for link in re.findall(r'href="(/tree\?[^"]+)"', client.page) if "fold=" not in link)
    client.get(again.replace("&amp;", "&"))
    assert len(re.findall(r'class="row"', client.page)) == before


def test_as_pollen_parent_the_links_ask_the_other_way_round(client):
    client.get("/tree?species=coccineus&role=pollen")
    assert "pollen=Echinocereus+coccineus" in client.page or "pollen=Echinocereus%20coccineus" in client.page


def test_the_wide_picture_is_there_to_keep(client):
    assert client.client.get("/tree.svg?species=coccineus").mimetype == "image/svg+xml"
