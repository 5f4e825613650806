from __future__ import annotations

import json
import pickle
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import BadInput
from crosscompat.model.composition import SeedsPerPod
from crosscompat.model.fitted import EFFECTS, FittedModel, Past, fit_crosses, prior_model, unlearned
from crosscompat.model.forecast import outlook
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.pairings import Levels, Parents, Seen, pairings_of, relatedness
from crosscompat.model.saved import FORMAT, SavedModel, model_file, read_model
from crosscompat.model.training_set import step_counts
from crosscompat.pairing import CURVES, DistanceScale, Feature, Recipe
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.stages import STAGES, WHOLE
from crosscompat.traits import FEATURES as OF_TRAITS

FEATURE_KINDS = (*CURVES, *OF_TRAITS)

PRINTS = {"tree": "a" * 64, "traits": "", "crosses": "c" * 64}


def made(seed, features):
    """A model whose numbers have no short decimal form."""
    rng = np.random.default_rng(seed)
    k = len(features)
    half = rng.normal(size=(k + 1, k + 1))
    nobody = np.empty(0, dtype=np.intp)
    none = np.empty(0), rng.normal(size=k + 1), rng.exponential(size=k + 1), rng.exponential(size=6), 0.3, nobody
    past = Past(np.empty((0, k + 1)), Levels(nobody, nobody, nobody, nobody), *none)
    steps = tuple(
        replace(unlearned(step, rng.normal(size=k + 1), half @ half.T, rng.exponential(size=7)), past=past)
        for step in ("set", WHOLE)
    )
    places = tuple((name, *rng.exponential(size=2).tolist()) for name in CURVES)
    return FittedModel(
        Recipe(tuple(features), DistanceScale(float(rng.exponential()), places, "My")),
        rng.normal(size=k),
        rng.exponential(size=k),
        GaussianPrior(rng.normal(size=k + 1), rng.exponential(size=k + 1)),
        {name: float(rng.exponential()) for name in EFFECTS},
        steps,
        Seen(7, 3, 0.1 + 0.2, ("Aus ×bus",)),
        SeedsPerPod(float(rng.exponential()), 0.1 + 0.2, int(rng.integers(1, 9)) if seed % 2 else None),
        ("2024-1", "2024-2"),
    )


OF_DISTANCE = [Feature(name) for name in CURVES]
SMALL = [*OF_DISTANCE, *(Feature(kind, "trait") for kind in FEATURE_KINDS[len(CURVES) :])]
BIG = [*OF_DISTANCE, *(Feature("both", f"t{i}") for i in range(110))]


def kept(model, **settings):
    return SavedModel(model, PRINTS, "2026-10-31", **settings)


def same(one, other):
    for name in ("fingerprints", "as_of", "invented", "package"):
        assert getattr(one, name) == getattr(other, name)
    for name in ("recipe", "seen", "seeds", "scales", "records"):
        assert getattr(one.model, name) == getattr(other.model, name)
    assert [fit.step for fit in one.model.steps] == [fit.step for fit in other.model.steps]
    pairs = [(getattr(one.model, name), getattr(other.model, name)) for name in ("means", "variances")]
    for a, b in zip((one.model.prior, *one.model.steps), (other.model.prior, *other.model.steps), strict=True):
        pairs += [(a.mean, b.mean), *((getattr(a, x), getattr(b, x)) for x in ("sd", "covariance") if hasattr(a, x))]
    for a, b in pairs:
        np.testing.assert_array_equal(a, b)
        assert a.dtype == b.dtype == np.float64


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_what_is_written_is_read_to_the_last_bit(tmp_path_factory, seed, invented):
    path = tmp_path_factory.mktemp("model") / "model.json"
    saved = kept(made(seed, SMALL), invented=invented)
    path.write_bytes(model_file(saved))
    back = read_model(path)
    same(back, saved)
    assert back.fingerprint == saved.fingerprint
    assert list(path.parent.iterdir()) == [path]


def test_an_array_of_more_than_a_thousand_numbers_takes_little_room(tmp_path):
    path = tmp_path / "model.json"
    saved = kept(made(1, BIG))
    path.write_bytes(model_file(saved))
    covariance = json.loads(path.read_text(encoding="utf-8"))["arrays"]["set.covariance"]
    assert covariance["shape"] == [len(BIG) + 1] * 2
    assert len(covariance["float64"]) == pytest.approx(8 * 4 / 3 * (len(BIG) + 1) ** 2, abs=4)
    back = read_model(path)
    same(back, saved)
    assert back.fingerprint == saved.fingerprint
    assert all(fit.covariance.flags.writeable for fit in back.model.steps)


@pytest.mark.parametrize("counts", [["tried", "took"], ["units", "pods_set"], ["units", "pods_set", "pods_held"]])
def test_a_forecast_is_the_same_after_saving(tmp_path, counts):
    """Effects, kinship, ties and past crosses of every step among it."""
    rng = np.random.default_rng(3)
    tree = parse_newick("(((a:1,b:1):1,c:2):2,(d:1.5,e:1.5):2.5);")
    pairs = np.array([rng.choice(5, 2, replace=False) for _ in range(30)])
    parents = Parents(*([tree.tips[i] for i in side] for side in pairs.T), [f"p{i % 4}" for i in range(30)])
    columns = {name: np.full(30, 6.0 - 2 * i) for i, name in enumerate(counts)}
    columns[counts[1]] = np.minimum(columns[counts[0]], rng.integers(1, 6, 30))
    if "pods_held" in columns:
        columns["pods_held"] = rng.binomial(columns["pods_set"].astype(int), 0.5).astype(float)
    model = fit_crosses(
        Recipe((Feature("linear"),), DistanceScale(4.0, (("linear", 1.0, 1.0),))), rng.normal(size=(30, 1)),
        step_counts(columns, np.full(30, 400.0), dict.fromkeys(STAGES, 0.0)), np.ones(30), parents=parents,
        pod=(20.0, None), took=3, finished=4, related=relatedness(tree, sorted({*parents.seed, *parents.pollen})),
        records=tuple(map(str, range(30))),
    )  # fmt: skip
    assert len(model.steps) == len(counts) - 1
    (tmp_path / "model.json").write_bytes(model_file(kept(model)))
    back = read_model(tmp_path / "model.json").model
    rows, wanted = np.array([[0.0], [np.nan]]), Parents(["a", "e"], ["b", "a"], ["p1", None])
    before, after = (outlook(one, rows, pairings_of(one.seen, tree, wanted)) for one in (model, back))
    for step in before.steps:
        np.testing.assert_array_equal(before.steps[step].mean, after.steps[step].mean)
        np.testing.assert_array_equal(before.steps[step].sd, after.steps[step].sd)
    same(kept(model), kept(back))


def test_the_fingerprint_follows_all_that_decides_a_forecast():
    saved = kept(made(2, SMALL))
    model = saved.model
    step = model.steps[0]
    changed = [
        {"steps": (replace(step, mean=np.nextafter(step.mean, 9)), *model.steps[1:])},
        {"recipe": replace(model.recipe, scale=replace(model.recipe.scale, width=1.0))},
        {"prior": GaussianPrior(model.prior.mean, np.nextafter(model.prior.sd, 9))},
        {"scales": {**model.scales, "seed": 1.0}},
        {"seeds": SeedsPerPod(1.0, 1.0)},
    ]
    others = [
        kept(made(3, SMALL)),
        *(replace(saved, model=replace(model, **change)) for change in changed),
        replace(saved, as_of="2026-11-01"),
        replace(saved, fingerprints={**PRINTS, "tree": "b" * 64}),
    ]
    assert kept(made(2, SMALL)).fingerprint == saved.fingerprint
    assert len({saved.fingerprint, *(other.fingerprint for other in others)}) == 1 + len(others)


def test_the_file_is_plain_and_says_its_format_version_and_recipe(tmp_path):
    path = tmp_path / "model.json"
    recipe = Recipe((Feature("linear"),), DistanceScale(5.0, (("linear", 1.0, 0.5),)))
    path.write_bytes(model_file(kept(prior_model(recipe, SeedsPerPod(20.0, 1.0)), invented=True)))
    document = json.loads(path.read_text(encoding="utf-8"))
    assert list(document) == [
        "format", "package", "as_of", "invented", "fingerprints", "recipe", "seen", "steps", "seeds", "scales",
        "records", "arrays", "fingerprint",
    ]  # fmt: skip
    assert document["format"] == FORMAT
    assert document["recipe"] == {
        "features": [{"kind": "linear", "column": None}],
        "scale": {"width": 5.0, "places": [["linear", 1.0, 0.5]], "unit": None},
    }
    assert document["arrays"]["prior.mean"] == pytest.approx([0.3, -0.2])
    assert document["invented"] is True


def refused(path):
    with pytest.raises(BadInput) as caught:
        read_model(path)
    [fault] = caught.value.faults
    assert fault.place.file == "model.json"
    assert "crosscompat retrain" in fault.advice
    return fault.what


def edited(**change):
    return lambda document: {**document, **change}


def within(key, **change):
    return lambda document: {**document, key: {**document[key], **change}}


def without(key):
    return lambda document: {name: value for name, value in document.items() if name != key}


@pytest.mark.parametrize(
    "harm",
    [
        *(without(key) for key in ("format", "arrays", "recipe", "seen", "steps", "seeds", "scales", "as_of")),
        edited(format="one"),
        edited(format=None),
        edited(recipe=[]),
        edited(seen=3),
        edited(steps=["fill"]),
        edited(steps=["plain"]),
        edited(scales={"seed": 1.0}),
        edited(arrays=[]),
        within("arrays", means=[0.5]),
        within("arrays", means="many"),
        within("arrays", variances=[[0.5]]),
        within("arrays", **{"whole.mean": [1, 2]}),
        within("arrays", **{"whole.covariance": [[1.0]]}),
        within("arrays", **{"prior.sd": [1.0]}),
        within("recipe", features=[{"kind": "colour", "column": "x"}] * 10),
        within("recipe", features=[{"kind": "linear", "column": None, "code": "x"}]),
        within("recipe", scale={"width": 0.0, "places": [[name, 0.0, 1.0] for name in CURVES], "unit": None}),
        within("recipe", scale={"width": 1.0, "places": [["linear", 0.0, 1.0]], "unit": None}),
        within("recipe", scale=5.0),
        within("seeds", mean=0.0),
        within("seen", crossed=1),
        lambda document: [document],
    ],
)
def test_a_damaged_file_is_told(tmp_path, harm):
    path = tmp_path / "model.json"
    path.write_bytes(model_file(kept(made(1, SMALL))))
    path.write_text(json.dumps(harm(json.loads(path.read_text(encoding="utf-8")))), encoding="utf-8")
    assert refused(path).startswith("This saved model cannot be read: ")


@pytest.mark.parametrize("number", ["NaN", "Infinity", "null"])
def test_a_number_that_is_none_is_told(tmp_path, number):
    path = tmp_path / "model.json"
    path.write_bytes(model_file(kept(made(1, SMALL))))
    document = json.loads(path.read_text(encoding="utf-8"))
    document["arrays"]["whole.mean"][2] = 12345.5
    path.write_text(json.dumps(document).replace("12345.5", number), encoding="utf-8")
    assert refused(path).startswith("This saved model cannot be read: ")


@pytest.mark.parametrize("content", [b"", b"{", b"\x80\x04}", pickle.dumps({"format": 1})])
def test_what_is_no_json_is_told(tmp_path, content):
    path = tmp_path / "model.json"
    path.write_bytes(content)
    assert refused(path).startswith("This saved model cannot be read: ")


def test_a_newer_format_is_told_as_that(tmp_path):
    path = tmp_path / "model.json"
    path.write_text(json.dumps({"format": FORMAT + 1, "whatever": []}), encoding="utf-8")
    assert refused(path) == (
        f"This saved model has format {FORMAT + 1}; this version of crosscompat reads up to format {FORMAT}."
    )


def leaves(value, *way):
    """Every place in a document that holds a value and no further values."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    if not inner:
        yield way
    for key, one in inner:
        yield from leaves(one, *way, key)


def other(value):
    """A value of the same kind that is not the same."""
    if isinstance(value, bool) or value is None:
        return not value
    if isinstance(value, str):
        return value[:-2] + "zz" if value else "z"
    return value + 1 if isinstance(value, int | float) else [*value, 1.0]


@pytest.mark.parametrize("features", [SMALL, BIG], ids=["small", "with large arrays"])
def test_a_file_in_which_any_one_value_was_changed_is_refused(tmp_path, features):
    path = tmp_path / "model.json"
    content = model_file(kept(made(1, features)))
    document = json.loads(content)
    places = list(leaves(document))
    assert len(places) > 100
    for *way, last in places[:: max(1, len(places) // 150)]:
        document = json.loads(content)
        holder = document
        for key in way:
            holder = holder[key]
        holder[last] = other(holder[last])
        path.write_text(json.dumps(document), encoding="utf-8")
        with pytest.raises(BadInput, match=r"crosscompat retrain|Update crosscompat"):
            read_model(path)


@pytest.mark.parametrize(
    "content", [b"[" * 100_000, b'{"format": 1, "arrays": {"means": ' + b"[" * 900 + b"]" * 900 + b"}}"]
)
def test_brackets_in_brackets_are_no_model(tmp_path, content):
    path = tmp_path / "model.json"
    path.write_bytes(content)
    refused(path)


def test_a_model_that_is_not_there_is_not_there(tmp_path):
    with pytest.raises(FileNotFoundError):
        read_model(tmp_path / "model.json")


@pytest.mark.parametrize("features", [SMALL, BIG], ids=["numbers within", "numbers beside"])
def test_the_file_is_plain_json_with_an_indent_of_one(tmp_path, features):
    (tmp_path / "model.json").write_bytes(model_file(kept(made(3, features))))
    text = (tmp_path / "model.json").read_text(encoding="utf-8")
    assert text == json.dumps(json.loads(text), indent=1, ensure_ascii=False) + "\n"
