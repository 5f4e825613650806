from __future__ import annotations

import datetime as dt
import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat import TakeModel, read_distances
from crosscompat.ground.errors import BadInput, NameWarning, UnknownName, WrongUse
from crosscompat.model.composition import SeedsPerPod
from crosscompat.model.fitted import fit_crosses, prior_model
from crosscompat.model.forecast import chances, outlook, step_logits
from crosscompat.model.pairings import Parents, pairings_of, relatedness
from crosscompat.model.training_set import REASONS, step_counts
from crosscompat.pairing import CURVES, recipe_for, scale_of
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.stages import STAGES
from crosscompat.traits import TraitColumn, TraitTable

NEWICK = "(((Aus_bus:1,Aus_cus:1):1,Aus_dus:2):2,(Aus_eus:1.5,Aus_fus:1.5):2.5);"
TREE = parse_newick(NEWICK, unit="My")
NAMES = ["Aus bus", "Aus cus", "Aus dus", "Aus eus", "Aus fus"]
TRAITS = TraitTable(
    tuple(NAMES[:4]),
    (
        TraitColumn("spines_paired", "flag", True, (True, True, False, None)),
        TraitColumn("2n", "count", True, (22, 44, 22, 44)),
    ),
)


def table(*rows, columns=("seed_parent", "pollen_parent", "tried", "took")):
    return pd.DataFrame(list(rows), columns=list(columns))


SEEN = table(
    ("Aus bus", "Aus cus", 6, 5),
    ("Aus cus", "Aus bus", 4, 3),
    ("Aus_bus", "Aus_dus", 5, 2),
    ("Aus eus", "Aus fus", 4, 3),
    ("Aus bus", "Aus eus", 8, 0),
    ("Aus dus", "Aus fus", 3, 0),
)
ASKED = table(*((a, b) for a in NAMES for b in NAMES if a != b), columns=("seed_parent", "pollen_parent"))


def forecast(seen=SEEN, asked=ASKED, tree=TREE, traits=None, flowers=1, **settings):
    return TakeModel(tree, traits, **settings).fit(seen).forecast(asked, flowers=flowers)


def test_it_is_the_numeric_core_on_the_pairings_rows():
    distance = TREE.patristic_pairs(SEEN["seed_parent"], SEEN["pollen_parent"])
    recipe = recipe_for(None, scale_of(TREE))
    labels = [name.replace(" ", "_") for name in NAMES]
    seen, asked = (
        Parents(*(one[side].str.replace(" ", "_").tolist() for side in ASKED.columns)) for one in (SEEN, ASKED)
    )
    given = {name: SEEN[name].to_numpy(float) for name in ("tried", "took")}
    counts = step_counts(given, np.full(len(SEEN), np.inf), dict.fromkeys(STAGES, 0.0))
    model = fit_crosses(
        recipe, recipe.scale.rows(distance), counts, np.ones(len(SEEN)), parents=seen, pod=(20.0, None), took=4,
        finished=6, related=relatedness(TREE, labels),
    )  # fmt: skip
    distance = TREE.patristic_pairs(asked.seed, asked.pollen)
    judge = chances(outlook(model, recipe.scale.rows(distance), pairings_of(model.seen, TREE, asked)).whole, 3)
    found = forecast(flowers=3)
    for name in ("chance", "low", "high"):
        column = getattr(judge, {"chance": "mean"}.get(name, name))
        assert found[name].to_numpy() == pytest.approx(column, abs=1e-12)


def test_rows_order_index_and_names_are_as_given():
    asked = ASKED.assign(seed_parent=ASKED["seed_parent"].str.replace(" ", "_"), note="x").iloc[::-1]
    asked.index = pd.Index([f"row {i // 2}" for i in range(len(asked))], name="mine")  # every label comes twice
    found = forecast(asked=asked)
    assert list(found.columns) == ["seed_parent", "pollen_parent", "chance", "low", "high", "note"]
    pd.testing.assert_index_equal(found.index, asked.index)
    pd.testing.assert_frame_equal(found[["seed_parent", "pollen_parent"]], asked[["seed_parent", "pollen_parent"]])
    assert found["chance"].to_numpy() == pytest.approx(forecast()["chance"].to_numpy()[::-1])


def test_no_table_handed_in_is_changed():
    seen, asked = SEEN.copy(), ASKED.copy()
    forecast(seen, asked)
    pd.testing.assert_frame_equal(seen, SEEN)
    pd.testing.assert_frame_equal(asked, ASKED)


@pytest.mark.parametrize("dtype", ["object", "string", "category"])
def test_every_way_of_keeping_text_is_read(dtype):
    kinds = {"seed_parent": dtype, "pollen_parent": dtype}
    found = forecast(SEEN.astype(kinds), ASKED.astype(kinds))
    assert found["chance"].tolist() == forecast()["chance"].tolist()
    assert found["seed_parent"].dtype == ASKED.astype(kinds)["seed_parent"].dtype


@pytest.mark.parametrize("dtype", ["int8", "uint16", "float32", "Int64", "object", "string", "Float64"])
def test_every_way_of_keeping_counts_is_read(dtype):
    found, plain = forecast(SEEN.astype({"tried": dtype, "took": dtype}))["chance"], forecast()["chance"]
    assert found.to_numpy() == pytest.approx(plain.to_numpy(), abs=1e-12)


def test_yes_and_no_count_as_one_unit_each():
    single = table(*((a, b, 1, k > 0) for a, b, _, k in SEEN.itertuples(index=False)))
    as_numbers = single.astype({"took": int})
    # to the last digit but one: sums of the same numbers may be taken in another order
    assert forecast(single)["chance"].tolist() == pytest.approx(forecast(as_numbers)["chance"].tolist(), rel=1e-12)


def test_flowers_may_be_a_number_of_numpy():
    assert forecast(flowers=np.int64(3))["chance"].tolist() == forecast(flowers=3)["chance"].tolist()


def test_flowers_of_one_row_say_less_than_as_many_rows():
    """The flowers of one row share a fate of their own, such as a hot day."""
    one = table(("Aus bus", "Aus cus", 6, 6))
    six = table(*(("Aus bus", "Aus cus", 1, 1) for _ in range(6)))
    asked = table(("Aus bus", "Aus cus"), columns=ASKED.columns)
    nothing, pooled, singles = (forecast(rows, asked)["low"][0] for rows in (one.iloc[:0], one, six))
    assert nothing < pooled < singles


BY_STAGE = ("seed_parent", "pollen_parent", "units", "pods_set", "pods_held", "seeds", "seeds_filled", "seedlings")


def test_crosses_counted_by_stage_are_fitted_stage_by_stage():
    told = table(
        ("Aus bus", "Aus cus", 6, 5, 5, 40, 38, None), ("Aus bus", "Aus eus", 6, 6, 5, 50, 1, None), columns=BY_STAGE
    )
    model = TakeModel(TREE, seeds_per_pod=8).fit(told)
    assert [fit.step for fit in model.fitted_.steps] == ["set", "hold", "fill"]
    assert model.fitted_.seeds.mean == pytest.approx((90 + 8) / (10 + 1))
    near, far = (
        model.forecast(ASKED.iloc[:0].assign(seed_parent=[], pollen_parent=[])),
        model.forecast(table(("Aus bus", "Aus cus"), ("Aus bus", "Aus eus"), columns=ASKED.columns)),
    )
    assert near.empty
    assert far["chance"][0] > far["chance"][1]  # both set and hold alike, but one fills its seed
    capped = TakeModel(TREE, seeds_per_pod=2, most_seeds=3).fit(told.assign(seeds=[12, 15], seeds_filled=[11, 1]))
    assert capped.fitted_.seeds.cap == 3


def test_some_of_n_is_less_than_all_of_n_and_more_than_none():
    columns = ("seed_parent", "pollen_parent", "units", "seedlings")
    asked = ASKED.iloc[:1]
    some = forecast(table(("Aus bus", "Aus cus", 6, 9), columns=columns), asked)["chance"][0]
    every, none = (forecast(table(("Aus bus", "Aus cus", 6, k)), asked)["chance"][0] for k in (6, 0))
    assert none < some < every


def test_a_blank_count_is_unknown_and_never_a_failure():
    columns = ("seed_parent", "pollen_parent", "units", "pods_set", "seedlings")
    told = table(("Aus bus", "Aus cus", 4, 3, 2), ("Aus dus", "Aus eus", 4, 0, None), columns=columns)
    open_too = pd.concat([told, table(("Aus bus", "Aus fus", 4, None, None), columns=columns)])
    model = TakeModel(TREE).fit(open_too)
    assert model.fitted_.seen.crosses == 2
    assert "Aus_fus" not in model.fitted_.seen.species
    assert forecast(open_too)["chance"].tolist() == forecast(told)["chance"].tolist()
    set_too = pd.concat([told, table(("Aus bus", "Aus fus", 4, 4, None), columns=columns)])
    asked = table(("Aus bus", "Aus fus"), columns=ASKED.columns)
    assert forecast(set_too, asked)["chance"][0] > forecast(told, asked)["chance"][0]  # it set, and the rest is open


@pytest.mark.parametrize("rows", [SEEN.iloc[:0], SEEN.assign(tried=np.nan, took=np.nan)])
def test_crosses_that_say_nothing_give_the_prior(rows):
    recipe = recipe_for(None, scale_of(TREE))
    distance = TREE.patristic_pairs(ASKED["seed_parent"], ASKED["pollen_parent"])
    expected = chances(outlook(prior_model(recipe, SeedsPerPod(20.0, 1.0)), recipe.scale.rows(distance)).whole).mean
    assert forecast(rows)["chance"].to_numpy() == pytest.approx(expected)
    assert TakeModel(TREE).forecast(ASKED)["chance"].to_numpy() == pytest.approx(expected)


def test_no_pairings_have_no_forecast():
    assert forecast(asked=ASKED.iloc[:0]).shape == (0, 6)


def test_no_record_moves_the_scale_of_the_distance():
    scales = [TakeModel(TREE).fit(seen).fitted_.recipe.scale for seen in (SEEN.iloc[:0], SEEN.iloc[:1], SEEN)]
    assert scales == [scale_of(TREE)] * 3


def test_the_order_of_children_and_the_unit_change_nothing():
    turned = parse_newick("((Aus_fus:15,Aus_eus:15):25,(Aus_dus:20,(Aus_cus:10,Aus_bus:10):10):20);")
    found, without_time = (forecast(tree=tree)["chance"].to_numpy() for tree in (turned, parse_newick(NEWICK)))
    assert found == pytest.approx(without_time)


def test_traits_and_their_gaps_enter():
    found = forecast(traits=TRAITS)
    assert not np.allclose(found["chance"], forecast()["chance"])
    model = TakeModel(TREE, TRAITS).fit(SEEN)
    assert model.fitted_.recipe.names == (*CURVES, "spines_paired both", "2n lower", "2n higher")
    same_way = model.forecast(table(("Aus bus", "Aus cus"), ("Aus cus", "Aus bus"), columns=ASKED.columns))
    assert same_way["chance"][0] != same_way["chance"][1]  # ploidy has a direction


def test_it_learns_what_the_crosses_show():
    near, far = forecast(asked=ASKED.iloc[[0, 2]])["chance"]
    assert near > 0.5 > far


DISTANCES = """,Aus bus,Aus cus,Aus dus
Aus bus,0,2,8
Aus cus,2,0,
Aus dus,8,,0
"""


def test_a_table_of_distances_with_gaps_may_stand_in(tmp_path):
    (tmp_path / "d.csv").write_text(DISTANCES, encoding="utf-8")
    distances = read_distances(tmp_path / "d.csv")
    seen = table(("Aus bus", "Aus cus", 6, 5), ("Aus dus", "Aus bus", 6, 0))
    model = TakeModel(distances).fit(seen)
    near, far = model.forecast(seen[["seed_parent", "pollen_parent"]])["chance"]
    assert near > far
    gap = table(("Aus cus", "Aus dus"), columns=ASKED.columns)
    with pytest.raises(BadInput, match="Aus cus and Aus dus"):
        model.forecast(gap)
    with pytest.raises(BadInput, match="Aus cus and Aus dus"):
        TakeModel(distances).fit(gap.assign(tried=1, took=1))


def test_an_abbreviation_is_of_the_genus_of_the_seed_parent():
    short = ASKED.assign(pollen_parent=ASKED["pollen_parent"].str.replace("Aus", "A."))
    found = forecast(asked=short)
    assert found["chance"].tolist() == forecast()["chance"].tolist()
    assert found["pollen_parent"].tolist() == short["pollen_parent"].tolist()
    with pytest.raises(UnknownName, match=r"B\. could stand for any genus"):
        forecast(asked=ASKED.assign(seed_parent="B. bus"))


def test_an_unknown_name_is_told_with_the_three_nearest():
    with pytest.raises(UnknownName) as caught:
        forecast(asked=table(("Aus bus", "Aus cuss"), columns=ASKED.columns))
    assert caught.value.name == "Aus cuss"
    assert caught.value.nearest[0] == "Aus_cus"
    assert len(caught.value.nearest) == 3
    assert all(near.replace("_", " ") in str(caught.value) for near in caught.value.nearest)


def test_a_subspecies_is_read_as_its_species_with_a_warning_at_the_callers_line():
    asked = table(("Aus bus subsp. longus", "Aus cus"), columns=ASKED.columns)
    with pytest.warns(NameWarning, match="its species, Aus bus, is used instead") as caught:
        found = TakeModel(TREE).forecast(asked)
    assert [warning.filename for warning in caught] == [__file__]
    assert found["seed_parent"][0] == "Aus bus subsp. longus"
    with pytest.warns(NameWarning) as caught:
        TakeModel(TREE).fit(asked.assign(tried=1, took=1))
    assert caught[0].filename == __file__


def test_a_name_that_is_only_written_another_way_is_no_cause_for_a_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        forecast(asked=table(("aus bus", "Aus_cus L."), columns=ASKED.columns))


@pytest.mark.parametrize("column", ["seed_parent", "pollen_parent"])
def test_columns_that_are_missing_are_named(column):
    for use in (
        lambda: TakeModel(TREE).fit(SEEN.drop(columns=column)),
        lambda: forecast(asked=ASKED.drop(columns=column)),
    ):
        with pytest.raises(WrongUse, match=f"lacks the column\\(s\\) {column}"):
            use()


@pytest.mark.parametrize("kept", [[], ["tried"], ["took"], ["note"]])
def test_counts_that_are_missing_are_named(kept):
    seen = SEEN.assign(note="x")[["seed_parent", "pollen_parent", *kept]]
    with pytest.raises(WrongUse, match="both `tried` and `took`"):
        TakeModel(TREE).fit(seen)


@pytest.mark.parametrize("flowers", [0, -1, 0.5, np.nan])
def test_flowers_must_be_one_at_least(flowers):
    with pytest.raises(WrongUse, match="at least 1"):
        forecast(flowers=flowers)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"tried": -1}, "row 1, column tried: “-1” is not a whole number."),
        ({"took": 2.5}, "row 1, column took: “2.5” is not a whole number."),
        ({"took": np.inf}, "row 1, column took: “inf” is not a whole number."),
        ({"took": "some"}, "row 1, column took: “some” is not a whole number."),
        ({"took": 7}, "row 1, column took: There are more units that took than units tried (7 > 6)."),
        ({"tried": 0, "took": 0}, "row 1, column tried: A cross has at least one unit"),
        ({"seed_parent": None}, "row 1, column seed_parent: This must be filled in."),
    ],
)
def test_what_cannot_be_is_told_with_its_row(change, told):
    seen = SEEN.astype(object)
    for column, value in change.items():
        seen.iloc[0, seen.columns.get_loc(column)] = value
    with pytest.raises(BadInput) as caught:
        TakeModel(TREE).fit(seen)
    assert str(caught.value.faults[0]).startswith(told)
    assert len(caught.value.faults) == 1


def test_every_fault_is_told_at_once():
    seen = SEEN.assign(tried=[1, -1, 1, 1, 1, 1], took=[2, 0, 0, 0, 0, 5])
    with pytest.raises(BadInput) as caught:
        TakeModel(TREE).fit(seen)
    assert [fault.place.row for fault in caught.value.faults] == [1, 2, 6]


def test_a_second_fit_forgets_the_first():
    model = TakeModel(TREE).fit(SEEN.iloc[:2]).fit(SEEN)
    assert model.forecast(ASKED)["chance"].tolist() == forecast()["chance"].tolist()


@settings(max_examples=15, deadline=None)
@given(st.permutations(range(len(SEEN))), st.integers(1, 50))
def test_chances_are_chances_whatever_the_order_of_the_crosses(order, flowers):
    found = forecast(SEEN.iloc[order], flowers=flowers)
    assert found["chance"].to_numpy() == pytest.approx(forecast(flowers=flowers)["chance"].to_numpy(), abs=1e-7)
    assert ((found["low"] >= 0) & (found["low"] <= found["high"]) & (found["high"] <= 1)).all()


def test_one_species_with_itself_is_at_no_distance():
    conspecific = table(("Aus bus", "Aus bus"), ("Aus bus", "Aus eus"), columns=ASKED.columns)
    near, far = forecast(asked=conspecific)["chance"]
    assert near > far
    assert TakeModel(TREE).fit(table(("Aus bus", "Aus bus", 3, 2))).fitted_.seen.farthest == 0


def with_plants(rows, mothers, fathers):
    return rows.assign(seed_plant=mothers, pollen_plant=fathers)


def test_the_very_plants_may_be_told():
    seen = table(*(("Aus bus", "Aus cus", 6, k) for k in (6, 5, 6, 0, 1, 0)))
    seen = with_plants(seen, ["good", "good", "good", "poor", "poor", "poor"], ["x", None, "x", "x", None, "x"])
    asked = table(*[("Aus bus", "Aus cus")] * 3, columns=ASKED.columns)
    good, poor, other = forecast(seen, with_plants(asked, ["good", "poor", "new"], ["x", "x", "x"]))["chance"]
    assert good > other > poor
    unnamed, as_new = forecast(seen, asked)["chance"][0], forecast(seen, with_plants(asked, None, None))["chance"][0]
    assert unnamed == as_new


def test_a_blank_plant_is_no_plant():
    plain = SEEN.assign(seed_plant=None, pollen_plant=np.nan)
    assert forecast(plain)["chance"].tolist() == forecast()["chance"].tolist()


def test_a_weight_is_how_much_a_row_counts():
    full, half, none = (
        forecast(SEEN.assign(weight=weight))["low"].to_numpy()
        for weight in (1, [1, 1, 1, 1, 0.5, 1], [1, 1, 1, 1, 0, 1])
    )
    assert full.tolist() == forecast()["low"].tolist()
    failed = (ASKED["seed_parent"] == "Aus bus") & (ASKED["pollen_parent"] == "Aus eus")
    assert full[failed][0] < half[failed][0] < none[failed][0]
    left = SEEN.drop(index=4)
    assert none.tolist() == forecast(left)["low"].tolist()


@pytest.mark.parametrize("weight", [-1, "much", None, np.inf])
def test_a_weight_that_is_none_is_told(weight):
    seen = SEEN.assign(weight=1.0).astype({"weight": object})
    seen.iloc[2, seen.columns.get_loc("weight")] = weight
    with pytest.raises(BadInput, match="A weight must be a number, 0 or more"):
        TakeModel(TREE).fit(seen)


def test_what_the_cross_book_would_not_count_does_not_count_here():
    """A row a rule, each with the reason that the book gives; the dates are read on one day."""
    plain = {"seed_parent": "Aus bus", "pollen_parent": "Aus eus", "date": "2024-05-01", "units": 6, "seedlings": 9}
    odd = [
        {"pollen_parent": None, "pollen_kind": "open"},
        {"seed_plant": "B1", "pollen_plant": "B1"},
        {"kind": "check of the pollen"},
        {"technique": "mentor pollen"},
        {"proof": "like the mother"},
        {"only_successes": True},
        {"recorded_at": pd.Timestamp("2025-08-01", tz="UTC")},
        {"date": pd.Timestamp("2025-05-01")},
        {"seedlings": None, "lost_to": "mice"},
        {"seedlings": None},
    ]
    seen = pd.DataFrame([plain, *({**plain, **row} for row in odd)], index=range(100, 111))
    model = TakeModel(TREE).fit(seen, as_of=dt.date(2025, 6, 1))
    assert dict(model.left_out_) == dict(
        zip(range(101, 111), [reason for reason in REASONS if reason != "not_in_tree"], strict=True)
    )
    assert model.fitted_.seen.crosses == 1
    assert len(TakeModel(TREE).fit(seen.iloc[[0, 8]], as_of=dt.date(2026, 6, 1)).left_out_) == 0


def test_seedlings_that_may_be_the_mothers_own_count_half():
    selfs = TraitTable(("Aus bus",), (TraitColumn("self_fertile", "flag", True, (True,)),))
    seen = SEEN.assign(stamens_removed=False)
    doubted, half = (
        TakeModel(TREE, selfs).fit(rows).fitted_ for rows in (seen, SEEN.assign(weight=[0.5, 1, 0.5, 1, 1, 1]))
    )
    assert doubted.steps[0].mean == pytest.approx(half.steps[0].mean, abs=1e-12)


def test_a_chance_without_a_cross_behind_it_says_so():
    prior, fitted = TakeModel(TREE).forecast(ASKED), forecast()
    assert all("priors alone" in note for note in prior["note"])
    assert set(fitted["note"]) == {""}


def test_a_self_has_no_chance_and_says_why():
    asked = with_plants(table(*[("Aus bus", "Aus bus")] * 2, columns=ASKED.columns), ["B1", "B1"], ["B1", "B2"])
    found = forecast(asked=asked)
    assert found[["chance", "low", "high"]].isna().all(axis=1).tolist() == [True, False]
    assert "selfing" in found["note"][0]
    assert "two different plants" in found["note"][1]


def test_a_species_not_crossed_learns_from_its_relatives():
    """Flowers of Aus bus fail with everything: its sister is doubted more than a distant species."""
    seen = table(*(("Aus bus", other, 8, 0) for other in ("Aus dus", "Aus eus", "Aus fus")))
    fitted = TakeModel(TREE).fit(seen).fitted_
    assert fitted.seen.related
    asked = Parents(["Aus_cus", "Aus_fus"], ["Aus_eus", "Aus_cus"])
    row = np.zeros((2, 4))
    sister, distant = step_logits(fitted, "whole", row, pairings_of(fitted.seen, TREE, asked)).mean
    assert sister < distant


def test_a_tree_with_negative_lengths_is_refused():
    tree = parse_newick("((Aus_bus:1,Aus_cus:-0.2):1,Aus_dus:2);")
    with pytest.raises(BadInput, match="negative branch lengths"):
        TakeModel(tree).fit(SEEN.iloc[:3])
