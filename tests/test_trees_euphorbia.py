"""The carried spurges: the tree is what its tables say, its tables what their sources say."""

from __future__ import annotations

import csv
import importlib.util
import re
import sys
from collections import Counter
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

import crosscompat
from crosscompat.traits import from_memory

ROOT = Path(__file__).resolve().parents[1]
TREES = ROOT / "trees"
RANKS = {"subg": "subgenus", "sect": "section", "subsect": "subsection", "ser": "series"}
SPINES = {"none", "single", "paired stipular", "spine shield", "hardened stalks"}
SEXES = {"monoecious", "dioecious", "mostly dioecious"}
GROWTH = {
    "herb",
    "shrub",
    "tree",
    "leafy succulent",
    "succulent shrub",
    "candelabra tree",
    "pencil-stemmed",
    "columnar",
    "globular",
    "medusoid",
    "cushion",
    "dwarf clump",
    "dwarf rosette",
    "tuberous",
}


def loaded(name, path):
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def rows(path, delimiter="\t"):
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, delimiter=delimiter))


@pytest.fixture(scope="module")
def maker():
    return loaded("make_euphorbia", TREES / "euphorbia" / "make.py")


@pytest.fixture(scope="module")
def tree():
    return crosscompat.read_tree(TREES / "euphorbia" / "tree.nwk", unit="My")


@pytest.fixture(scope="module")
def traits():
    return {row["species"].removeprefix("Euphorbia "): row for row in rows(TREES / "euphorbia" / "traits.csv", ",")}


@pytest.fixture(scope="module")
def groups():
    return {row["group"]: row for row in rows(TREES / "euphorbia" / "groups.tsv")}


def named_above(tree, node):
    """The named groups that hold a node, the smallest first."""
    found = []
    while node >= 0:
        node = int(tree.parent[node])
        if node >= 0 and tree.labels[node]:
            found.append(tree.labels[node])
    return found


def test_the_file_is_what_its_maker_writes(maker):
    made = maker.newick(maker.read_groups(maker.GROUPS), maker.read_species(maker.SPECIES))
    assert (TREES / "euphorbia" / "tree.nwk").read_bytes() == made.encode()


def test_every_tip_is_today_and_every_named_node_at_its_age(tree, groups):
    assert tree.root_distance[tree.tip_nodes] == pytest.approx(21.91, abs=1e-9)
    at = {label: 21.91 - depth for label, depth in zip(tree.labels, tree.root_distance, strict=True)}
    named = {name: row for name, row in groups.items() if len(name.split()) == 2 and not name.startswith("node ")}
    for name, row in named.items():
        assert at[name.replace(" ", "_")] == pytest.approx(float(row["crown_age_My"]), abs=1e-9), name
    inner = {label for node, label in enumerate(tree.labels) if label and node not in set(tree.tip_nodes.tolist())}
    assert inner == {name.replace(" ", "_") for name in named} | {"Euphorbia"}
    assert Counter(label.split("._")[0] for label in inner) == {
        "subg": 4,
        "sect": 65,
        "subsect": 19,
        "ser": 4,
        "Euphorbia": 1,
    }


def test_every_determined_species_with_a_section_is_a_tip_and_none_else(tree):
    listed = [row["species"] for row in rows(TREES / "euphorbia" / "species.tsv")]
    assert len(listed) == len(set(listed)) == 1082
    names = {tip.replace("_", " ") for tip in tree.tips}
    assert names < set(listed)
    left_out = set(listed) - names
    assert len(left_out) == 22
    assert all({"aff.", "cf.", "sp.", "x"} & set(name.split()) for name in left_out)
    assert all(len(name.split()) == 2 for name in names)


def test_traits_place_every_species_where_the_tree_does(tree, traits):
    for tip, node in zip(tree.tips, tree.tip_nodes.tolist(), strict=True):
        row = traits[tip.removeprefix("Euphorbia_")]
        expected = dict.fromkeys(RANKS.values(), "")
        for label in named_above(tree, node)[:-1]:
            rank, name = label.split("._")
            expected[RANKS[rank]] = name
        assert {rank: row[rank] for rank in RANKS.values()} == expected, tip


def test_species_without_a_place_on_the_tree_have_a_section_that_has_one(tree, traits):
    beyond = {name: row for name, row in traits.items() if f"Euphorbia_{name}" not in tree.tips}
    assert {"ledienii", "squarrosa", "gymnocalycioides", "ambovombensis", "lambii"} < set(beyond)
    assert all(f"sect._{row['section']}" in tree.labels for row in beyond.values())
    assert all("from memory" in row["section_source"] for row in beyond.values())


def test_trait_words_are_those_the_page_lists(traits):
    page = (TREES / "README.md").read_text(encoding="utf-8")
    for column, words in (("spine_type", SPINES), ("sex", SEXES), ("growth", GROWTH)):
        used = {row[column] for row in traits.values()} - {""}
        assert used <= words, column
        assert all(f"`{word}`" in page for word in words)
    assert {row["weedy_or_plantlets"] for row in traits.values()} <= {"", "weedy", "plantlets"}
    assert {row["fruit_word"] for row in traits.values()} == {"", "pod"}


def test_no_chromosome_number_is_from_memory(traits):
    counted = [row for row in traits.values() if row["2n"]]
    assert len(counted) >= 16
    assert [row["species"] for row in counted if from_memory(row["2n_source"])] == []


@pytest.mark.shared
def test_chromosome_numbers_are_those_that_were_read(shared, traits):
    """Figures of Xue et al. 2007, Wang et al., Santana et al. 2016, Cesca 1972 and Genc & Kultur 2020."""
    table = (shared / "facts" / "chromosomes.md").read_text(encoding="utf-8").split("## Gap")[0]
    read = "\n".join(line for line in table.splitlines() if line.startswith("|"))
    for name, row in traits.items():
        if row["2n"]:
            assert re.search(rf"\b{name}\b(?:, \w+| & \w+)?[ |]+{row['2n']}\b", read), name


def test_counts_that_differ_between_sources_are_left_out(traits):
    """E. cyathophora 28 or 56, E. dentata and E. hypericifolia several, E. esula 20 or 40, E. dulcis 12 to 24."""
    assert all(not traits[name]["2n"] for name in ("cyathophora", "dentata", "hypericifolia", "esula", "dulcis"))


def test_subgenera_part_in_the_published_order(tree):
    """Esula first, then Athymalus, then Chamaesyce and Euphorbia: Horn et al. 2012, doi 10.1016/j.ympev.2011.12.022."""
    one = {"Esula": "esula", "Athymalus": "obesa", "Chamaesyce": "pulcherrima", "Euphorbia": "milii"}
    names = {group: f"Euphorbia {epithet}" for group, epithet in one.items()}
    apart = {(a, b): tree.patristic(names[a], names[b]) for a in one for b in one if a != b}
    assert len({apart["Esula", other] for other in one if other != "Esula"}) == 1
    assert apart["Athymalus", "Chamaesyce"] == pytest.approx(apart["Athymalus", "Euphorbia"])
    assert apart["Esula", "Athymalus"] > apart["Athymalus", "Euphorbia"] > apart["Chamaesyce", "Euphorbia"]


def test_every_section_is_one_clade(tree, traits):
    """As in Horn et al. 2012 and the treatments of the subgenera, Taxon 2012-2013."""
    members = {}
    for tip in tree.tips:
        row = traits[tip.removeprefix("Euphorbia_")]
        members.setdefault((row["subgenus"], row["section"]), []).append(tip)
    for section, tips in members.items():
        assert tree.tips_under(tree.mrca(tips)).size == len(tips), section


@pytest.mark.parametrize(
    ("groups", "species", "message"),
    [
        ([("g", "", "2.00")], [("G a", "elsewhere")], "not listed: elsewhere"),
        ([("g", "", "2.00"), ("sect. h", "g", "1.00")], [("G a", "g")], "sect. h must hold something"),
        ([("g", "", "2.00"), ("sect. h", "g", "3.00")], [("G a", "sect. h"), ("G b", "g")], "g must hold something"),
        ([("g", "", "2.00"), ("h", "", "1.00")], [("G a", "g"), ("G b", "h")], "more than one tree"),
        ([("sect. h", "g", "1.00"), ("g", "", "2.00")], [("G a", "sect. h"), ("G b", "g")], "more than one tree"),
    ],
)
def test_the_maker_refuses_tables_that_make_no_tree(maker, groups, species, message):
    with pytest.raises(ValueError, match=message):
        maker.newick([maker.Group(name, parent, Decimal(age)) for name, parent, age in groups], species)


@pytest.mark.shared
def test_the_tables_are_those_of_the_published_figures(shared, groups):
    """Every age and every relation among sections; who belongs where in NCBI Taxonomy."""
    under = {}
    for row in rows(TREES / "euphorbia" / "species.tsv"):
        group, path = row["group"], []
        while group:
            path.append(group)
            group = groups[group]["parent"]
        section = next(name for name in path if name.startswith("sect. ") and len(name.split()) == 2)
        subgenus = next(name for name in path if name.startswith("subg. "))
        for name in path:
            under.setdefault(name, set()).add(f"{subgenus.split()[1]}/{section.split()[1]}")
    ours = {(row["crown_age_My"], frozenset(under[name] - {"Euphorbia/Bokorenses"})) for name, row in groups.items()}
    facts = shared / "facts"
    for row in rows(facts / "euphorbia_backbone_nodes.tsv"):
        assert (row["node_age_My"], frozenset(row["sections_under_the_node"].split())) in ours
    prefix = {"subgenus": "subg.", "section": "sect.", "subsection": "subsect."}
    for row in rows(facts / "euphorbia_section_ages.tsv"):
        group = groups[f"{prefix[row['rank']]} {row['group'].split(' / ')[-1]}"]
        assert Decimal(group["crown_age_My"]) == Decimal(row["mrca_age_Ma_GBOTB"])
        if row["rank"] == "subsection":
            assert Decimal(groups[group["parent"]]["crown_age_My"]) == Decimal(row["stem_age_Ma_GBOTB"])


@pytest.mark.shared
def test_species_stand_where_the_taxonomy_has_them(shared, traits, groups):
    known = {
        row["species"].removeprefix("Euphorbia "): row for row in rows(shared / "facts" / "ncbi_euphorbia_sections.tsv")
    }
    listed = {row["species"]: row for row in rows(TREES / "euphorbia" / "species.tsv")}
    assert {f"Euphorbia {name}" for name, row in known.items() if row["section"]} == set(listed)
    for name, row in traits.items():
        if f"Euphorbia {name}" in listed:
            assert listed[f"Euphorbia {name}"]["ncbi_taxid"] == known[name]["ncbi_taxid"]
            for rank in ("subgenus", "section", "subsection"):
                assert row[rank] == known[name][rank].split(" ")[-1], name
            series = known[name]["series_or_other"].rstrip(";").split(" ")
            assert row["series"] == (series[1] if series[0] == "ser." else ""), name


@pytest.mark.shared
def test_every_cultivated_species_has_its_traits(shared, traits):
    grown = [
        row["species"].removeprefix("Euphorbia ")
        for row in rows(shared / "facts" / "euphorbia_cultivated_sections.tsv")
    ]
    assert len(grown) == 251
    assert all(traits[name]["section"] for name in grown)
    assert sum(bool(traits[name]["spine_type"] or traits[name]["growth"]) for name in grown) >= 190


@pytest.mark.shared
def test_distances_keep_the_order_of_the_dated_species_tree(shared):
    """Smith & Brown 2018, doi 10.1002/ajb2.1019, as extended by Jin & Qian 2019, doi 10.1111/ecog.04434."""
    found = loaded("measured_euphorbia", ROOT / "tests" / "benchmarks" / "euphorbia.py").likeness(
        shared / "data" / "trees"
    )
    assert [(part.group, part.species) for part in found] == [
        ("all", 858),
        ("Athymalus", 77),
        ("Chamaesyce", 255),
        ("Esula", 242),
        ("Euphorbia", 284),
    ]
    assert found[0].correlation >= 0.97
    assert all(part.correlation >= 0.93 for part in found[1:])
    page = (TREES / "README.md").read_text(encoding="utf-8")
    assert f"| correlation | {' | '.join(f'{part.correlation:.4f}' for part in found)} |" in page


@pytest.mark.shared
def test_ages_inside_anthacanthae_are_those_of_the_dated_tree(shared, groups, traits):
    """Series, and what subsections share a stem: computed from the same tree, to 0.01 My."""
    dated = crosscompat.read_tree(shared / "data" / "trees" / "euphorbia_gbotb.nwk", unit="My")
    for series in ("Hystrix", "Meleuphorbia", "Rhizanthium", "Treisia"):
        members = [tip for tip in dated.tips if traits[tip.removeprefix("Euphorbia_")]["series"] == series]
        crown = np.max(dated.patristic_matrix(members)) / 2
        assert float(groups[f"ser. {series}"]["crown_age_My"]) == pytest.approx(crown, abs=0.0051)
    for section, early in (("Goniostema", "mainty"), ("Nummulariopsis", "rosescens")):
        members = [tip for tip in dated.tips if traits[tip.removeprefix("Euphorbia_")]["section"] == section]
        others = [tip for tip in members if tip != f"Euphorbia_{early}"]
        crown = np.max(dated.patristic_matrix(others)) / 2
        ours = groups[f"sect. {section} without E. {early}"]
        assert float(ours["crown_age_My"]) == pytest.approx(crown, abs=0.0051)
        assert crown < np.max(dated.patristic_matrix(members)) / 4
