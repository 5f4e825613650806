from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import pytest

from crosscompat.advice.retrain import keep, learn
from crosscompat.carried import carried_tree
from crosscompat.collection.opening import open_carried, open_collection, ranks_by_species, with_missing
from crosscompat.collection.settings import NewerFormat
from crosscompat.ground.errors import BadInput
from crosscompat.model.prior import published
from crosscompat.phylogeny.distances import DistanceTable
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.traits import TraitColumn, TraitTable

FILES = {
    "collection.toml": 'format = 1\nname = "ours"\ntree = "tree.nwk"\ntree_unit = "My"\ntraits = "traits.csv"\n',
    "tree.nwk": "((Aus_bus:1,Aus_cus:1):2,Aus_dus:3);\n",
    "traits.csv": "species,2n,spiny\nAus bus,22,yes\nAus_cus,44,\n",
    "wanted.csv": "seed_parent,pollen_parent\nB1,A. cus\n",
}


PLANTS = "plant,species\nB1,Aus bus\n"
CROSSES = "date,seed_parent,pollen_parent,tried,took\n2024-05-01,Aus bus,A. cus,4,1\n2024-05-01,Aus bus,A. dus,4,0\n"
LEDGER = (
    "date,model,cross,seed_parent,pollen_parent,seed_plant,pollen_plant,flowers,mean,low,high\n"
    "2023-11-01,ab12,,Aus bus,Aus cus,,,4,0.5,0.1,0.9\n"
)


@pytest.fixture
def folder(tmp_path, with_tables):
    """A whole small collection; some of its files may be replaced, or left out with None."""

    def make(*, plants=PLANTS, crosses=CROSSES, forecasts=None, **changed):
        (tmp_path / "collection.toml").write_text("", encoding="utf-8")
        with_tables(tmp_path, plants_csv=plants, crosses_csv=crosses, forecasts_csv=forecasts)
        for name, text in {**FILES, **{key.replace("_", "."): value for key, value in changed.items()}}.items():
            if text is not None:
                (tmp_path / name).write_text(text, encoding="utf-8")
        return tmp_path

    return make


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_everything_in_the_folder_is_read(folder):
    opened = open_collection(folder())
    assert opened.settings.name == "ours"
    assert opened.distances.tips == ("Aus_bus", "Aus_cus", "Aus_dus")
    assert (opened.trait("Aus_cus", "2n"), opened.trait("Aus_cus", "spiny")) == (44, None)
    assert opened.trait("Aus_dus", "2n") is None  # on the tree, and in no row of the traits
    assert opened.trait("Aus_cus", "height") is None
    assert len(opened.plants.by_name) == len(opened.wanted) == 1
    assert len(opened.crosses) == 2
    assert opened.saved is None
    assert opened.notices == ()


def test_all_but_settings_and_tree_may_be_absent(folder):
    place = folder(traits_csv=None, plants=None, crosses=None, wanted_csv=None)
    (place / "collection.toml").write_text("format = 1\n", encoding="utf-8")
    opened = open_collection(place)
    assert (opened.traits, opened.plants.by_name, opened.crosses, opened.wanted) == (None, {}, (), ())
    assert opened.trait("Aus_bus", "2n") is None


def test_a_folder_without_settings_is_no_collection(tmp_path):
    with pytest.raises(FileNotFoundError):
        open_collection(tmp_path)


def test_every_fault_of_every_file_is_told_at_once_file_by_file(folder):
    place = folder(
        tree_nwk="((Aus_bus:1,Aus_bus:x):2,Aus_dus:3);\n",
        traits_csv="species,2n\nAus bus,many\n",
        wanted_csv="seed_parent,pollen_parent,want\nA,B,9\n",
    )
    before = contents(place)
    with pytest.raises(BadInput) as caught:
        open_collection(place)
    told = [(fault.place.file, fault.place.row) for fault in caught.value.faults]
    assert list(dict.fromkeys(file for file, _ in told)) == [
        "tree.nwk", "traits.csv", "wanted.csv",
    ]  # fmt: skip
    assert contents(place) == before


def test_wrong_settings_do_not_hide_the_faults_of_the_tables(folder):
    place = folder(
        collection_toml="window_days = 0\ncolour = 1\n",
        wanted_csv="seed_parent\nA\n",
    )
    before = contents(place)
    with pytest.raises(BadInput) as caught:
        open_collection(place)
    assert [fault.place.file for fault in caught.value.faults] == [
        "collection.toml", "collection.toml", "wanted.csv", "wanted.csv",
    ]  # fmt: skip
    assert contents(place) == before


def test_a_newer_format_is_refused_alone_and_nothing_is_changed(folder):
    place = folder(collection_toml="format = 3\n", wanted_csv="nonsense\n")
    before = contents(place)
    with pytest.raises(NewerFormat) as caught:
        open_collection(place)
    assert len(caught.value.faults) == 1
    assert contents(place) == before


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('tree = "none.nwk"', "There is no such file."),
        ('tree = "echinocactus"', "There is no such file."),
        ('tree = "two.nwk"', "say which one to use"),
        ('tree = "two.nwk"\ntree_index = 7', "There is no tree 7"),
        ('tree = "wanted.csv"', ""),
    ],
)
def test_a_tree_that_cannot_be_had_is_a_fault_among_the_others(folder, line, told):
    place = folder(collection_toml=f"format = 1\n{line}\n", wanted_csv="seed_parent,pollen_parent\nA,\n")
    (place / "two.nwk").write_text("(a:1,b:1);\n(c:1,d:1);\n", encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        open_collection(place)
    assert told in str(caught.value.faults[0])
    assert caught.value.faults[-1].place.file == "wanted.csv"


def test_one_tree_of_several_can_be_chosen(folder):
    place = folder(collection_toml='format = 1\ntree = "two.nwk"\ntree_index = -1\n')
    (place / "two.nwk").write_text("(a:1,b:1);\n(c:1,d:1);\n", encoding="utf-8")
    assert open_collection(place).distances.tips == ("c", "d")


def test_traits_that_are_named_must_be_there(folder):
    with pytest.raises(BadInput, match=r"There is no such file\."):
        open_collection(folder(traits_csv=None))


def retrained(place):
    lesson, saved = learn(open_collection(place), as_of=date(2026, 1, 1))
    assert lesson.after.crosses == 2
    keep(open_collection(place), saved)
    return saved


def test_the_model_of_the_last_retraining_is_found(folder):
    place = folder()
    saved = retrained(place)
    opened = open_collection(place)
    assert opened.saved.fingerprint == saved.fingerprint
    assert opened.saved.fingerprints == opened.fingerprints


@pytest.mark.parametrize(
    "harm",
    [
        lambda text: text[: len(text) // 2],
        lambda text: "",
        lambda text: "[]",
        lambda text: text.replace('"format": 1', '"format": 99'),
        lambda text: text.replace('"kind": "linear"', '"kind": "colour"'),
        lambda text: json.dumps({**json.loads(text), "arrays": {}}),
    ],
)
def test_a_model_that_cannot_be_read_is_told_and_done_without(folder, harm):
    place = folder()
    retrained(place)
    path = place / "model.json"
    path.write_text(harm(path.read_text(encoding="utf-8")), encoding="utf-8")
    opened = open_collection(place)
    assert opened.saved is None
    [notice] = opened.notices
    assert notice.startswith("model.json: This saved model")
    assert "crosscompat retrain" in notice


def test_a_model_that_cannot_even_be_opened_is_told_too(folder):
    place = folder()
    open_collection(place)
    (place / "model.json").mkdir()
    opened = open_collection(place)
    assert opened.saved is None
    assert len(opened.notices) == 1


def test_fingerprints_follow_the_content_of_each_file(folder):
    first = open_collection(folder()).fingerprints
    other = {
        "tree": {"tree_nwk": FILES["tree.nwk"].replace("3", "4")},
        "traits": {"traits_csv": FILES["traits.csv"].replace("22", "66")},
        "crosses": {"crosses": CROSSES.replace(",4,1", ",4,2")},
    }
    other["priors"] = {"collection_toml": FILES["collection.toml"] + "[priors.time]\nmean = -3.5\n"}
    for name, change in other.items():
        now = open_collection(folder(**change)).fingerprints
        assert {key for key in now if now[key] != first[key]} == {name}


def test_the_priors_are_the_published_ones_with_what_the_settings_change(folder):
    assert open_collection(folder()).priors == published()
    settings = FILES["collection.toml"] + "[priors.time]\nmean = -3.5\n"
    opened = open_collection(folder(collection_toml=settings))
    assert [(row.coefficient, row.mean) for row in opened.priors.rows if row.basis == "own"] == [("time", -3.5)]


def test_the_forecasts_given_so_far_are_read(folder):
    assert open_collection(folder()).forecasts == ()
    [line] = open_collection(folder(forecasts=LEDGER)).forecasts
    assert (line.date, line.seed_parent, line.mean) == (date(2023, 11, 1), "Aus bus", 0.5)
    with pytest.raises(BadInput) as caught:
        folder(forecasts=LEDGER.replace("0.5", "half"))
    assert {(fault.place.file, fault.place.column) for fault in caught.value.faults} == {("forecasts.csv", "mean")}


def test_a_carried_tree_opens_as_a_collection_without_records():
    carried = carried_tree("echinocereus")
    opened = open_carried(carried)
    assert (opened.folder, opened.tree_name, opened.crosses) == (None, "echinocereus", ())
    assert len(opened.distances.tips) == carried.tips
    assert opened.trait("Echinocereus_coccineus", "2n") == 44
    assert opened.settings.group == "cactus"


NAMES = "name,accepted\nBus vetus,Aus bus\nAus ×novus,Aus bus × Aus dus\n"
SAMPLE = "((Aus_bus:1,Aus_cus:1):1,Aus_dus:2);((Aus_bus:1,Aus_dus:1):1,Aus_cus:2);"


@pytest.fixture
def botany(tmp_path):
    """A collection with synonyms, a sample of trees and a species that only the traits have."""

    def make(more="", **files):
        texts = {
            "collection.toml": 'tree = "tree.nwk"\ntraits = "traits.csv"\nsynonyms = "names.csv"\n' + more,
            "tree.nwk": "((Aus_bus:1,Aus_cus:1):1,Aus_dus:2);",
            "traits.csv": "species,section\nAus bus,One\nAus cus,One\nAus dus,Two\nAus rarus,One\n",
            "names.csv": NAMES,
        } | files
        for name, text in texts.items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        return open_collection(tmp_path)

    return make


def test_synonyms_find_species_of_the_tree_and_of_the_traits(botany):
    opened = botany()
    assert opened.index.match("Bus vetus").label == "Aus_bus"
    assert opened.trait("Bus vetus", "section") == "One"
    assert opened.fingerprints["tree"] != botany("", **{"names.csv": "name,accepted\n"}).fingerprints["tree"]


def test_a_species_that_only_the_traits_have_is_placed_unless_the_settings_say_no(botany):
    opened = botany()
    assert [one.species for one in opened.placed] == ["Aus rarus"]
    assert opened.distances.patristic("Aus rarus", "Aus bus") == 2
    assert opened.index.find("Aus rarus") == "Aus rarus"
    without = botany("place_missing = false\n")
    assert without.placed == ()
    assert without.index.find("Aus rarus") is None


def test_a_named_hybrid_stands_between_its_parents(botany):
    taxa = botany().taxa
    label = taxa.index.resolve("Aus x novus")
    assert taxa.apart([label], ["Aus_bus"]).tolist() == [2]


def test_a_sample_of_trees_leaves_distances_unsure(botany):
    opened = botany('tree_sample = "posterior.nwk"\n', **{"posterior.nwk": SAMPLE})
    assert len(opened.sample.trees) == 2
    assert opened.taxa.spread(["Aus_bus"], ["Aus_cus"]).tolist() == pytest.approx([2**0.5])
    assert botany().taxa.spread(["Aus_bus"], ["Aus_cus"]).tolist() == [0]


def test_faults_of_names_and_samples_are_told_with_the_rest(botany):
    with pytest.raises(BadInput) as caught:
        botany('tree_sample = "one.nwk"\n', **{"names.csv": "name,accepted\n,Aus bus\n", "one.nwk": "(a:1,b:1);"})
    assert {fault.place.file for fault in caught.value.faults} == {"names.csv", "one.nwk"}


def test_plants_alone_are_read_where_the_crosses_are_not_asked_for(demo, tmp_path):
    whole, plants = open_collection(demo), open_collection(demo, crosses=False)
    assert (plants.plants, plants.crosses, plants.forecasts) == (whole.plants, (), ())
    untrained = Path(shutil.copytree(demo, tmp_path / "untrained"))
    (untrained / "model.json").unlink()
    assert open_collection(untrained, crosses=False).crosses == whole.crosses


def test_what_each_plant_is_is_worked_out_once(folder, monkeypatch):
    from crosscompat.book.records import Determination
    from crosscompat.book.store import Reading

    place = folder()
    open_collection(place)
    asked, current = [], Reading.current
    monkeypatch.setattr(
        Reading, "current", lambda page, kind, **where: asked.append(kind) or current(page, kind, **where)
    )
    assert open_collection(place).crosses[0].seed_parent == "Aus bus"
    assert asked.count(Determination) == 1


TREE = parse_newick("((Aus_bus:1,Aus_cus:1):1,(Aus_dus:1,Aus_eus:1):1);")
TRAITS = TraitTable(
    ("Aus bus", "Aus cus", "Aus_dus", "Aus novus", "Aus vetus", "Cus alienus"),
    (
        TraitColumn("section", "category", True, ("One", "One", "Two", "One", "Two", "One")),
        TraitColumn("growth", "category", True, ("low",) * 6),
    ),
)


def test_what_only_the_traits_know_is_placed_by_its_section():
    tree, placed = with_missing(TREE, TRAITS, {})
    assert [(one.species, one.group) for one in placed] == [("Aus novus", "sect. One"), ("Aus vetus", "sect. Two")]
    assert tree.patristic("Aus novus", "Aus bus") == 2
    assert tree.patristic("Aus novus", "Aus_dus") == 4


def test_a_species_that_stands_there_under_another_name_is_not_missing():
    tree, placed = with_missing(TREE, TRAITS, {"Aus vetus": "Aus eus"})
    assert [one.species for one in placed] == ["Aus novus"]
    assert "Aus vetus" not in tree.tips


@pytest.mark.parametrize("traits", [None, TraitTable(("Aus bus", "Aus_cus"), ())])
def test_where_nothing_is_missing_the_tree_is_the_same(traits):
    assert with_missing(TREE, traits, {}) == (TREE, ())


def test_a_table_of_distances_stays_as_it_is():
    table = DistanceTable(("Aus bus", "Aus cus"), [[0, 1], [1, 0]])
    assert with_missing(table, TRAITS, {}) == (table, ())


def test_only_ranks_are_taken_from_the_traits():
    assert ranks_by_species(TRAITS)["Aus_dus"] == {"section": "Two"}


def test_a_hybrid_among_the_traits_stands_between_its_parents_and_not_in_its_genus():
    tree = parse_newick("((Echinocereus_coccineus:1,Echinocereus_scheeri:1):1,Echinocereus_dasyacanthus:2);")
    names = ("Echinocereus ×roetteri", "Echinocereus scheeri × E. coccineus", "Red Giant", "Echinocereus ×novus")
    synonyms = {"Red Giant": "Echinocereus scheeri × E. dasyacanthus"}
    _, placed = with_missing(tree, TraitTable(names, ()), synonyms)
    assert [one.species for one in placed] == ["Echinocereus ×novus"]
