from __future__ import annotations

import contextlib
import itertools
import subprocess
import sys

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import BadInput, UnknownName
from crosscompat.ground.names import Match, NameIndex, PlantName, fold, parse, repeated

# Names of hybrids: International Code of Nomenclature (Shenzhen, 2018), Appendix I, read on iapt-taxon.org.
CODE = [
    # Art. H.2 Ex. 1
    ("Agrostis L. × Polypogon Desf.", "Agrostis × Polypogon"),
    (
        "Agrostis stolonifera L. × Polypogon monspeliensis (L.) Desf.",
        "Agrostis stolonifera × Polypogon monspeliensis",
    ),
    ("Melampsora medusae Thüm. × M. occidentalis H. S. Jacks.", "Melampsora medusae × Melampsora occidentalis"),
    (
        "Mentha aquatica L. × M. arvensis L. × M. spicata L.",
        "Mentha aquatica × Mentha arvensis × Mentha spicata",
    ),
    (
        "Polypodium vulgare subsp. prionodes (Asch.) Rothm. × P. vulgare L. subsp. vulgare",
        "Polypodium vulgare subsp. prionodes × Polypodium vulgare subsp. vulgare",
    ),
    ("Salix aurita L. × S. caprea L.", "Salix aurita × Salix caprea"),
    ("Tilletia caries (DC.) Tul. & C. Tul. × T. foetida (Wallr.) Liro", "Tilletia caries × Tilletia foetida"),
    # Art. H.2 Ex. 2
    (
        "Kunzea linearis (Kirk) de Lange × Kunzea robusta de Lange & Toelken",
        "Kunzea linearis × Kunzea robusta",
    ),
    ("Kunzea linearis (Kirk) de Lange × K. robusta de Lange & Toelken", "Kunzea linearis × Kunzea robusta"),
    # Art. H.3 Ex. 1
    ("×Agropogon P. Fourn.", "×Agropogon"),
    ("×Agropogon littoralis (Sm.) C. E. Hubb.", "×Agropogon littoralis"),
    ("Salix ×capreola Andersson", "Salix ×capreola"),
    ("Mentha ×smithiana R. A. Graham", "Mentha ×smithiana"),
    ("Polypodium vulgare nothosubsp. mantoniae (Rothm.) Schidlay", "Polypodium vulgare nothosubsp. mantoniae"),
]

# As growers and tree files write them; no source but practice.
WRITTEN = [
    ("Echinocereus_coccineus", "Echinocereus coccineus"),
    ("echinocereus coccineus", "Echinocereus coccineus"),
    ("E. coccineus", "Echinocereus coccineus"),
    ("Ech. coccineus", "Echinocereus coccineus"),
    ("E_coccineus", "Echinocereus coccineus"),
    ("E. ×roetteri", "Echinocereus ×roetteri"),
    ("E. × roetteri", "Echinocereus ×roetteri"),
    ("Echinocereus x roetteri", "Echinocereus ×roetteri"),
    ("Echinocereus_x_roetteri", "Echinocereus ×roetteri"),
    ("Echinocereus xroetteri", "Echinocereus ×roetteri"),
    ("Mammillaria xanthina", "Mammillaria xanthina"),
    ("xPacherocactus orcuttii", "×Pacherocactus orcuttii"),
    ("X Pacherocactus", "×Pacherocactus"),
    ("Echinocereus coccineus Engelm. ssp. rosei", "Echinocereus coccineus subsp. rosei"),
    ("Echinocereus coccineus var rosei", "Echinocereus coccineus var. rosei"),
    ("Echinocereus coccineus fa. albus Hook. f.", "Echinocereus coccineus f. albus"),
    ("Echinocereus coccineus nvar. rosei", "Echinocereus coccineus nothovar. rosei"),
    ("Echinocereus coccineus var. ×rosei", "Echinocereus coccineus nothovar. rosei"),
    ("Echinocereus coccineus rosei", "Echinocereus coccineus rosei"),
    ("Echinocereus coccineus 'Dyer's Delight'", "Echinocereus coccineus 'Dyer's Delight'"),
    ("Echinocereus coccineus ‘White Sands’", "Echinocereus coccineus 'White Sands'"),
    ("Echinocereus coccineus “White Sands”", "Echinocereus coccineus 'White Sands'"),
    ("Echinocereus coccineus cv. White Sands", "Echinocereus coccineus 'White Sands'"),
    ("Echinocereus 'Red x White'", "Echinocereus 'Red x White'"),
    ("Echinocereus coccineus Rosy Dawn Group", "Echinocereus coccineus Rosy Dawn Group"),
    ("Echinocereus (Rosy Group) 'Dawn'", "Echinocereus Rosy Group 'Dawn'"),
    ("Echinocereus cf. coccineus", "Echinocereus cf. coccineus"),
    ("Echinocereus aff. coccineus L 62", "Echinocereus aff. coccineus L 62"),
    ("Echinocereus coccineus subsp. cf. rosei", "Echinocereus coccineus subsp. cf. rosei"),
    ("Echinocereus sp. nov. QXZ 1234.5", "Echinocereus sp. nov. QXZ 1234.5"),
    ("Echinocereus_coccineus_QX237", "Echinocereus coccineus QX 237"),
    ("Echinocereus coccineus Lau 1143a", "Echinocereus coccineus Lau 1143a"),
    ("E. coccineus X E. dasyacanthus", "Echinocereus coccineus × Echinocereus dasyacanthus"),
    ("♂ E. coccineus × ♀ E. dasyacanthus", "Echinocereus dasyacanthus × Echinocereus coccineus"),
    ("♀ E. coccineus × ♂ E. dasyacanthus", "Echinocereus coccineus × Echinocereus dasyacanthus"),
    ("(E. coccineus 'Red') QX 237", "Echinocereus coccineus 'Red' QX 237"),
    (
        "E. rigidissimus x (E. coccineus x E. dasyacanthus)",
        "Echinocereus rigidissimus × (Echinocereus coccineus × Echinocereus dasyacanthus)",
    ),
    (
        "(E. coccineus x E. dasyacanthus) x E. rigidissimus",
        "Echinocereus coccineus × Echinocereus dasyacanthus × Echinocereus rigidissimus",
    ),
    (
        "(E. coccineus x E. dasyacanthus) 'Red' x E. ×roetteri",
        "(Echinocereus coccineus × Echinocereus dasyacanthus) 'Red' × Echinocereus ×roetteri",
    ),
]


@pytest.mark.parametrize(("written", "printed"), CODE + WRITTEN)
def test_a_name_is_printed_in_its_correct_form(written, printed):
    assert str(parse(written, genus="Echinocereus" if written not in dict(CODE) else None)) == printed


@pytest.mark.parametrize("written", [written for written, _ in CODE + WRITTEN])
def test_a_printed_name_is_read_as_itself(written):
    printed = str(parse(written, genus="Echinocereus"))
    assert str(parse(printed)) == printed


def test_an_intermediate_rank_is_left_out():
    # ICN Art. 24.1 Ex. 1, from memory: the name of this form is Saxifraga aizoon subf. surculosa.
    name = parse("Saxifraga aizoon var. aizoon subvar. brevifolia f. multicaulis subf. surculosa")
    assert (name.rank, name.infraspecific) == ("subf.", "surculosa")


def test_all_parts_are_kept():
    text = "Echinocereus_coccineus Engelm. subsp. rosei (Wooton & Standl.) W.Blum 'Red' QX 237"
    assert parse(text) == PlantName(
        received=text,
        genus="Echinocereus",
        epithet="coccineus",
        rank="subsp.",
        infraspecific="rosei",
        cultivar="Red",
        field_number="QX 237",
        authors="Engelm. (Wooton & Standl.) W.Blum",
    )


def test_a_formula_keeps_its_parents():
    name = parse("E. coccineus QX 237 × E. ×roetteri", genus="Echinocereus")
    seed, pollen = name.parents
    assert (seed.field_number, pollen.hybrid, name.genus) == ("QX 237", True, "")
    assert str(name.only_species()) == "Echinocereus coccineus × Echinocereus ×roetteri"


@pytest.mark.parametrize(
    ("text", "genus", "part"),
    [
        ("", None, "missing"),
        ("E. coccineus", None, "E. could stand for any genus"),
        ("M. coccineus", "Echinocereus", "does not stand for Echinocereus"),
        ("Echinopsis chamaecereus × T. huascha", None, "does not stand for Echinopsis"),
        # ICN Art. H.2 Ex. 2: the genus or its abbreviation must not be left out.
        ("Kunzea linearis (Kirk) de Lange × robusta de Lange & Toelken", None, "has no genus"),
        ("+Laburnocytisus adamii", None, "graft-chimaera"),
        ("Syringa vulgaris + Syringa persica", None, "graft-chimaera"),
        ("coccineus", None, "cannot be read"),
        ("Echinocereus coccineus ×", None, "because of “×”"),
        ("× ×", None, "cannot be read"),
        ("Echinocereus coccineus with red flowers", None, "because of “red”"),
        ("(Echinocereus coccineus", None, "because of “(”"),
        ("(Echinocereus coccineus) Engelm.", None, "because of “Engelm.”"),
        ("Echinocereus coccineus × ()", None, "cannot be read"),
        ("1234", None, "cannot be read"),
    ],
)
def test_what_cannot_be_read_is_said(text, genus, part):
    with pytest.raises(UnknownName) as caught:
        parse(text, genus)
    assert part in str(caught.value)


@given(st.text())
def test_folding_twice_is_folding_once(text):
    assert fold(fold(text)) == fold(text)


EPITHETS = ["coccineus", "dasyacanthus", "xanthocarpus", "rigidissimus", "pentalophus"]
GENERA = ["Echinocereus", "Mammillaria", "×Pacherocactus"]


@st.composite
def plain_names(draw, genera=(*GENERA, "E.")):
    parts = [draw(st.sampled_from(genera)), draw(st.sampled_from(["", "x", "×", "cf.", "aff."]))]
    parts += [draw(st.sampled_from(EPITHETS)), draw(st.sampled_from(["", "L.", "(Engelm.) Rose ex Hook. f."]))]
    parts.append(draw(st.sampled_from(["", "ssp. rosei", "f. alba", "nothovar. rosei", "var. x rosei"])))
    parts += [draw(st.sampled_from(["", "Rosy Group"])), draw(st.sampled_from(["", "'Red x 5'", "‘O'Hara’"]))]
    parts.append(draw(st.sampled_from(["", "QX237", "QXZ 1234.5"])))
    return draw(st.sampled_from([" ", "  ", "_"])).join(part for part in parts if part)


@st.composite
def formulas(draw):
    first, second = draw(plain_names()), draw(plain_names(GENERA))
    return f"({first}) x ({second})" if " x " in first and " x " in second else f"{first} × {second}"


@given(st.one_of(plain_names(), formulas()))
@settings(max_examples=300)
def test_reading_is_stable(text):
    once = str(parse(text, genus="Echinocereus"))
    assert str(parse(once)) == once


@given(st.text(alphabet="Ee. ×x()'+♀cofsp1_&", max_size=20))
@settings(max_examples=300)
def test_any_text_is_read_stably_or_refused(text):
    once = None
    with contextlib.suppress(UnknownName):
        once = str(parse(text, genus="Ee"))
    assert once is None or str(parse(once)) == once


LABELS = (
    "Echinocereus_coccineus",
    "Echinocereus coccineus subsp. rosei",
    "Echinocereus_x_roetteri",
    "Echinocereus dasyacanthus",
    "Echinocereus aff. viereckii",
    "outgroup+1",
    "Mammillaria_viereckii",
)
SYNONYMS = {
    "Cereus roetteri": "E. roetteri",
    "Echinocereus roetteri": "Echinocereus ×roetteri",
    "Echinocereus ctenoides": "Cereus dasyacanthus",
    "Cereus dasyacanthus": "Echinocereus dasyacanthus",
    "Wilcoxia nobody": "Wilcoxia nothing",
    "Wilcoxia nothing": "Wilcoxia nobody",
    "Echinocereus coccineus × Echinocereus dasyacanthus": "Echinocereus ×roetteri",
}


@pytest.mark.parametrize(
    ("text", "genus", "label", "how"),
    [
        ("Echinocereus coccineus", None, "Echinocereus_coccineus", "exact"),
        ("outgroup+1", None, "outgroup+1", "exact"),
        ("echinocereus COCCINEUS", None, "Echinocereus_coccineus", "parsed"),
        ("E. coccineus Engelm.", "Echinocereus", "Echinocereus_coccineus", "parsed"),
        ("Echinocereus coccineus rosei", None, "Echinocereus coccineus subsp. rosei", "parsed"),
        ("Echinocereus coccineus var. rosei", None, "Echinocereus coccineus subsp. rosei", "parsed"),
        ("Echinocereus ×roetteri", None, "Echinocereus_x_roetteri", "parsed"),
        # ICN Art. H.3.3: the sign is disregarded when names are compared.
        ("Echinocereus roetteri", None, "Echinocereus_x_roetteri", "parsed"),
        ("Cereus ctenoides", None, None, None),
        ("Echinocereus ctenoides Engelm.", None, "Echinocereus dasyacanthus", "synonym"),
        ("E. coccineus × E. dasyacanthus", "Echinocereus", "Echinocereus_x_roetteri", "synonym"),
        ("Echinocereus coccineus 'White Sands'", None, "Echinocereus_coccineus", "species"),
        ("Echinocereus cf. coccineus", None, "Echinocereus_coccineus", "species"),
        ("Echinocereus coccineus QX 237", None, "Echinocereus_coccineus", "species"),
        ("Echinocereus ctenoides 'Gold'", None, "Echinocereus dasyacanthus", "species"),
        ("Echinocereus aff. viereckii", None, "Echinocereus aff. viereckii", "exact"),
        ("Echinocereus aff. coccineus", None, None, None),
        ("Echinocereus viereckii", None, None, None),
        ("Echinocereus sp.", None, None, None),
        ("Wilcoxia nobody", None, None, None),
        ("E. coccineus", None, "Echinocereus_coccineus", "parsed"),
        ("E. coccineus 'White Sands'", None, "Echinocereus_coccineus", "species"),
        ("E. aff. coccineus", None, None, None),
        ("ech coccineus", None, "Echinocereus_coccineus", "parsed"),
        ("DASYACANTHUS", None, "Echinocereus dasyacanthus", "parsed"),
        ("roetteri", None, "Echinocereus_x_roetteri", "parsed"),
        ("ctenoides", None, "Echinocereus dasyacanthus", "synonym"),
        ("M. coccineus", None, None, None),
        ("Echino coccineus", None, None, None),
        ("Echinocereus", None, None, None),
        ("", None, None, None),
    ],
)
def test_names_are_found_in_order(text, genus, label, how):
    index = NameIndex(LABELS, SYNONYMS)
    assert index.lookup(text, genus) == (Match(label, how, text) if label else None)
    assert index.find(text, genus) == label
    if label:
        assert index.resolve(text, genus) == label
        assert (index.match(text, genus).sentence == "") == (how == "exact")
    else:
        with pytest.raises(UnknownName):
            index.resolve(text, genus)


def test_a_match_says_how():
    index = NameIndex(LABELS, SYNONYMS)
    sentence = index.match("Echinocereus coccineus 'Apache'").sentence
    assert "Echinocereus coccineus 'Apache'" in sentence
    assert "its species, Echinocereus coccineus, is used instead" in sentence


def test_two_labels_that_a_name_could_be_are_both_named():
    index = NameIndex(["Echinocereus coccineus subsp. rosei", "Echinocereus coccineus var. rosei"])
    assert index.resolve("Echinocereus coccineus var. rosei Engelm.") == index.labels[1]
    with pytest.raises(UnknownName, match=r"subsp\. rosei; Echinocereus coccineus var\. rosei") as caught:
        index.find("Echinocereus coccineus rosei")
    assert caught.value.nearest == index.labels


def test_labels_that_differ_in_case_only_are_ambiguous_in_a_third():
    index = NameIndex(["clone A", "clone a"])
    assert index.resolve("clone_a") == "clone a"
    with pytest.raises(UnknownName, match="clone A; clone a"):
        index.resolve("CLONE A")


def test_an_unknown_name_has_the_three_nearest():
    with pytest.raises(UnknownName) as caught:
        NameIndex(LABELS).resolve("Echinocereus cocineus")
    assert caught.value.nearest[0] == "Echinocereus_coccineus"
    assert len(caught.value.nearest) == 3
    assert "Did you mean Echinocereus coccineus, " in str(caught.value)


def test_a_shortened_genus_that_fits_nothing_is_said_and_neighbours_named():
    with pytest.raises(UnknownName, match="could stand for any genus") as caught:
        NameIndex(LABELS).resolve("X. dasyacanthus")
    assert caught.value.nearest[0] == "Echinocereus dasyacanthus"


def test_an_epithet_that_two_genera_share_is_never_guessed():
    index = NameIndex(["Aloe ferox", "Agave ferox", "Aloe vera"])
    with pytest.raises(UnknownName, match="Agave ferox; Aloe ferox"):
        index.resolve("ferox")
    assert index.resolve("ferox", genus="Aloe") == index.resolve("Al. ferox") == "Aloe ferox"


def test_names_that_begin_so_are_the_nearest():
    labels = ["Echinocereus scheeri", "Echinocereus coccineus", "Echinocereus nicholii"]
    assert NameIndex(labels).nearest("cocc", 1) == ("Echinocereus coccineus",)


def test_no_labels_no_neighbours():
    with pytest.raises(UnknownName, match="no known name is like it"):
        NameIndex([]).resolve("Aloe vera")


def test_the_same_genus_is_preferred():
    labels = ["Mammillaria parkinsonii", "Echinocereus parkeri"]
    assert NameIndex(labels).nearest("Echinocereus parkinsonii", 1) == ("Echinocereus parkeri",)


def test_labels_the_same_after_folding_are_refused():
    assert repeated(["a", "A", "a_b", "a b"]) == {"a b": ("a_b", "a b")}
    with pytest.raises(BadInput, match="a_b; a b"):
        NameIndex(["a_b", "a b"])
    assert NameIndex(["a b", "A b"]).labels == ("a b", "A b")


@example(246, 17, "swap")
@given(st.sampled_from(range(400)), st.integers(1, 24), st.sampled_from(["drop", "double", "swap"]))
def test_a_slip_of_the_pen_finds_its_label(which, at, slip):
    labels = _made_labels(400)
    text = labels[which]
    at = min(at, len(text) - 2)
    wrong = {
        "drop": text[:at] + text[at + 1 :],
        "double": text[:at] + text[at] + text[at:],
        "swap": text[:at] + text[at + 1] + text[at] + text[at + 2 :],
    }[slip]
    assert text in NameIndex(labels).nearest(wrong)


def _made_labels(n: int) -> list[str]:
    syllables = ["bo", "ca", "du", "fe", "gri", "lo", "mu", "na", "pre", "sta", "ti", "vo"]
    words = [
        syllables[i % 12] + syllables[(i // 12) % 12] + syllables[(i * 7 + i // 144) % 12] + str(i // 1728 or "")
        for i in range(n)
    ]
    return [f"Echinocereus {word}ensis" if i % 2 else f"Mammillaria {word}ana" for i, word in enumerate(words)]


def test_every_label_resolves_to_itself_and_contains_knows_it():
    index = NameIndex(LABELS)
    assert [index.resolve(label) for label in index.labels] == list(LABELS)
    assert "Echinocereus_coccineus" in index
    assert "Aloe vera" not in index
    assert 3 not in index


def test_a_large_tree_is_indexed_and_searched():
    labels = [f"Genus{i % 300}a_epithet{i}us" for i in range(74_000)]
    assert NameIndex(labels).resolve("Genus0a epithet0us") == labels[0]
    assert NameIndex(labels[:5000]).nearest("Genus7a epithet7s")[0] == labels[7]


def test_names_load_no_heavy_library():
    code = "import sys, crosscompat.ground.names; print(sorted({'numpy', 'pandas', 'scipy'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


@pytest.mark.parametrize(
    "text",
    [
        "Aus bus" + '" \'a"' * 5_000,
        "Aus bus" + " 'a" * 20_000,
        "(" * 900 + "Aus bus" + ")" * 900,
        "(" * 60_000,
        "Aus bus" + " × Aus cus" * 300,
        "Aus bus" * 20_000,
    ],
    ids=lambda text: text[:14],
)
def test_what_is_too_long_for_a_name_is_refused_and_said_in_short(text):
    with pytest.raises(UnknownName, match=r"too long for the name of a plant: at most 4,000 letters and 64 parents"):
        parse(text)
    with pytest.raises(UnknownName) as caught:
        NameIndex(["Aus_bus"]).match(text)
    assert len(str(caught.value)) < 400


def test_brackets_and_parents_up_to_the_bound_are_read():
    assert str(parse("(" * 64 + "Aus bus" + ")" * 64)) == "Aus bus"
    assert str(parse("Aus bus" + " × Aus cus" * 64)).count("×") == 64


def test_a_chain_of_synonyms_is_followed_to_a_bound_and_a_circle_finds_nothing():
    words = [f"Aus b{chr(97 + i // 26)}{chr(97 + i % 26)}us" for i in range(600)]
    index = NameIndex([words[-1]], dict(itertools.pairwise(words)))
    assert index.resolve(words[-20]) == words[-1]
    assert index.find(words[0]) is None
    circle = NameIndex(["Aus_dus"], {"Aus bus": "Aus cus 'Apache'", "Aus cus": "Aus bus"})
    assert circle.find("Aus bus") is None
