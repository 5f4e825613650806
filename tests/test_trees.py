from __future__ import annotations

import csv
import importlib.util
import re
import tomllib
from decimal import Decimal
from pathlib import Path

import pytest

import crosscompat

TREES = Path(__file__).resolve().parents[1] / "trees"
FOLDERS = sorted(path.parent for path in TREES.glob("*/tree.toml"))
ENTRIES = {folder.name: tomllib.loads((folder / "tree.toml").read_text(encoding="utf-8")) for folder in FOLDERS}

KEYS = {
    "title",
    "genus",
    "group",
    "fruit_word",
    "tips",
    "rooted",
    "unit",
    "source",
    "doi",
    "licence",
    "changes",
}

WORDS = {
    "section": {"Triglochidiati"},
    "2n": {"22", "44"},
    "sex": {"hermaphrodite", "dioecious", "mostly dioecious"},
    "flower_colour": {"red", "pink", "yellow", "white"},
    "growth": {"clumping", "solitary", "pencil-stemmed"},
    "self_fertile": {"yes", "no"},
    "fruit_word": {"fruit"},
}


def rows(path, delimiter=","):
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, delimiter=delimiter))


SOURCES = {row["key"]: row for row in rows(TREES / "sources.csv")}


@pytest.fixture(scope="module")
def echinocereus():
    return crosscompat.read_tree(TREES / "echinocereus" / "tree.nwk", unit="My")


@pytest.fixture(scope="module")
def maker():
    spec = importlib.util.spec_from_file_location("make_echinocereus", TREES / "echinocereus" / "make.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def traits_of(name):
    return rows(TREES / name / "traits.csv")


def test_every_folder_is_a_tree():
    assert [path for path in TREES.iterdir() if path.is_dir() and path.name != "__pycache__"] != []
    assert {path for path in TREES.iterdir() if path.is_dir() and path.name != "__pycache__"} == set(FOLDERS)


@pytest.mark.parametrize("name", ENTRIES)
def test_index_tells_of_a_tree_what_its_file_shows(name):
    entry = ENTRIES[name]
    tree = crosscompat.read_tree(TREES / name / "tree.nwk", unit=entry["unit"])
    assert entry.keys() >= KEYS
    assert len(tree.tips) == entry["tips"]
    assert tree.rooted is entry["rooted"]
    assert {tip.replace("_", " ").split()[0] for tip in tree.tips} == {entry["genus"]}


@pytest.mark.parametrize("name", ENTRIES)
def test_traits_name_every_tip_once_and_else_only_species_with_a_section_of_the_tree(name):
    entry = ENTRIES[name]
    tree = crosscompat.read_tree(TREES / name / "tree.nwk", unit=entry["unit"])
    section = {row["species"]: row["section"] for row in traits_of(name)}
    tips = {tip.replace("_", " ") for tip in tree.tips}
    assert len(section) == len(traits_of(name))
    assert tips <= set(section)
    assert all(f"sect._{section[species]}" in tree.labels for species in set(section) - tips)


@pytest.mark.parametrize("name", ENTRIES)
def test_index_declares_the_kind_of_every_trait(name):
    header = traits_of(name)[0].keys()
    assert ENTRIES[name]["trait_kinds"].keys() == {column for column in header if f"{column}_source" in header}


@pytest.mark.parametrize("name", ENTRIES)
def test_every_trait_value_has_a_source_and_every_source_a_value(name):
    for row in traits_of(name):
        for column in row:
            if f"{column}_source" in row:
                assert bool(row[column]) == bool(row[f"{column}_source"]), (row["species"], column)


@pytest.mark.parametrize("name", [folder.name for folder in FOLDERS if (folder / "synonyms.csv").is_file()])
def test_every_synonym_means_a_tip_and_has_a_source(name):
    tree = crosscompat.read_tree(TREES / name / "tree.nwk")
    listed = rows(TREES / name / "synonyms.csv")
    assert len({row["name"] for row in listed}) == len(listed) > 20
    for row in listed:
        assert row["accepted"].replace(" ", "_") in tree.tips, row
        assert row["name"].replace(" ", "_") not in tree.tips, row
        assert row["source"], row


@pytest.mark.parametrize("name", ENTRIES)
def test_every_source_is_one_of_the_listed(name):
    for row in traits_of(name):
        for column, cell in row.items():
            if column.endswith("_source") and cell:
                keys = {re.sub(r" \([^();]+\)$", "", part) for part in cell.split("; ")}
                assert keys <= set(SOURCES), (row["species"], column)


def test_every_listed_source_is_told_whole_and_used_somewhere():
    cells = [
        cell
        for path in TREES.rglob("*.csv")
        for row in rows(path)
        for column, cell in row.items()
        if column == "source" or column.endswith("_source")
    ]
    used = {re.sub(r" \([^();]+\)$", "", part) for cell in cells for part in cell.split("; ")}
    assert set(SOURCES) == used - {""}
    for key, row in SOURCES.items():
        assert row["reference"], key
        assert row["read"] in {
            "the database",
            "abstract",
            "abstract or first page",
            "page",
            "copied page",
            "not looked up",
        }  # fmt: skip, key
        assert not row["where"] or row["where"].startswith("http"), key


def test_the_page_gives_the_figures_that_its_command_prints(capsys):
    spec = importlib.util.spec_from_file_location("figures", TREES / "figures.py")
    figures = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(figures)
    figures.main()
    page = " ".join((TREES / "README.md").read_text(encoding="utf-8").split())
    printed = [figure for line in capsys.readouterr().out.splitlines() for figure in line.split(": ", 1)[1].split("; ")]
    assert len(printed) > 10
    assert [figure for figure in printed if figure.removesuffix(" are from memory") not in page] == []


@pytest.mark.parametrize("name", ENTRIES)
def test_page_names_source_doi_licence_and_files(name):
    page = (TREES / "README.md").read_text(encoding="utf-8")
    entry = ENTRIES[name]
    assert f"## {name}" in page
    for words in (entry["doi"], f"{name}/tree.nwk", entry["licence"].replace("-", " ", 1).replace("-4.0", " 4.0")):
        assert words in page


def test_trait_words_are_those_the_page_lists():
    for row in traits_of("echinocereus"):
        for column, words in WORDS.items():
            assert row[column] in words | {""}, (row["species"], column)
        if row["flowering"]:
            first, last = map(int, row["flowering"].split("-"))
            assert 1 <= first <= last <= 12


UNITS = {"cm": 10.0, "inches": 25.4, "months": 365.25 / 12}


def test_a_value_that_is_the_middle_of_a_range_is_the_middle_of_that_range():
    """Millimetres from centimetres or inches, days from months."""
    checked = 0
    for name in ENTRIES:
        for row in traits_of(name):
            for column, source in row.items():
                told = re.search(r"\(middle of ([\d.]+)-([\d.]+) (cm|inches|months)\)", source or "")
                if told and column.endswith("_source"):
                    middle = (float(told[1]) + float(told[2])) / 2 * UNITS[told[3]]
                    value = row[column.removesuffix("_source")]
                    assert float(value) == pytest.approx(middle, abs=0.5), (row["species"], column)
                    checked += 1
    assert checked >= 20


def test_counts_of_cacti_are_multiples_of_eleven_and_few_are_from_memory():
    """Diploid (n = 11) or polyploid throughout: Pinkava & McLeod 1971, Brittonia 23:171-176."""
    counted = [row for row in traits_of("echinocereus") if row["2n"]]
    assert all(int(row["2n"]) % 22 == 0 for row in counted)
    remembered = {row["species"].split()[1] for row in counted if "from memory" in row["2n_source"]}
    assert remembered == {"russanthus", "stramineus", "rigidissimus"}


def test_echinocereus_is_what_its_maker_writes(maker):
    made = maker.newick(maker.read_nodes(maker.NODES))
    assert (TREES / "echinocereus" / "tree.nwk").read_bytes() == made.encode()


def test_maker_refuses_ages_that_leave_two_pieces(maker):
    nodes = [(Decimal("1.00"), ("a", "b")), (Decimal("2.00"), ("c", "d"))]
    with pytest.raises(ValueError, match="2 separate pieces"):
        maker.newick(nodes)


def test_echinocereus_is_ultrametric(echinocereus):
    heights = echinocereus.root_distance[echinocereus.tip_nodes]
    assert heights == pytest.approx(2.50, abs=1e-9)


def test_echinocereus_leaves_out_schmollii(echinocereus):
    """E. schmollii is in CITES Appendix I (listing of 2012)."""
    assert not any("schmollii" in tip for tip in echinocereus.tips)


@pytest.mark.parametrize(
    ("a", "b", "published"),
    [
        ("coccineus", "dasyacanthus", 2.6427),
        ("coccineus", "triglochidiatus", 0.3457),
        ("coccineus", "arizonicus", 0.3457),
        ("coccineus", "polyacanthus", 0.1928),
        ("coccineus", "reichenbachii", 2.3076),
        ("pulchellus", "viereckii", 4.4101),
        ("coccineus", "pentalophus", 5.0067),
        ("poselgeri", "leucanthus", 5.0067),
    ],
)
def test_echinocereus_distances_are_the_published_ones(echinocereus, a, b, published):
    """Computed from the tree of Thompson et al. 2026, doi 10.1038/s41597-026-06936-7; ages rounded to 0.01 My."""
    assert echinocereus.patristic(f"Echinocereus {a}", f"Echinocereus_{b}") == pytest.approx(published, abs=0.02)


def test_every_distance_is_twice_the_age_of_the_youngest_node_above(echinocereus):
    nodes = [
        (float(row["node_age_My"]), set(row["species_under_the_node"].split()))
        for row in rows(TREES / "echinocereus" / "nodes.tsv", "\t")
    ]
    tips = echinocereus.tips
    found = echinocereus.patristic_matrix()
    for i, a in enumerate(tips):
        for j, b in enumerate(tips[:i]):
            both = {a.split("_")[1], b.split("_")[1]}
            assert found[i, j] == pytest.approx(2 * next(age for age, under in nodes if both <= under), abs=1e-9)


@pytest.mark.shared
def test_node_ages_are_those_of_the_published_figures(shared):
    beside = (shared / "facts" / "echinocereus_nodes.tsv").read_text(encoding="utf-8")
    assert (TREES / "echinocereus" / "nodes.tsv").read_text(encoding="utf-8") == beside


@pytest.mark.shared
def test_every_distance_is_that_of_the_whole_published_tree(shared, echinocereus):
    """Thompson et al. 2026; a rounded age moves a distance by at most 0.01 My."""
    whole = crosscompat.read_tree(shared / "data" / "trees" / "echinocereus_cactecodb.nwk", unit="My")
    names = list(echinocereus.tips)
    assert echinocereus.patristic_matrix(names) == pytest.approx(whole.patristic_matrix(names), abs=0.0101)
