"""The saved form of a model: one JSON file a person can read, and no code in it.

Past ten thousand numbers the arrays stand in an ``.npz`` file of the same name beside it.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from crosscompat import __version__
from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say
from crosscompat.model.composition import SeedsPerPod
from crosscompat.model.cross_weights import Past
from crosscompat.model.fitted import FittedModel, StepFit
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.likelihood import Floats, Ints
from crosscompat.model.pairings import Levels, Seen
from crosscompat.model.posterior import EFFECTS, Effects, PairEffects
from crosscompat.model.stages import STEPS
from crosscompat.pairing import FEATURE_KINDS, DistanceScale, Feature, Recipe

__all__ = ["FORMAT", "SavedModel", "read_model", "write_model"]

_EFFECTS = ("variances", "mean", "covariance", "cross", "inherited")
_PAIRS = ("ways", "pair", "direction", "own", "columns", "lean")
_LEVELS = ("seed", "pollen", "seed_plant", "pollen_plant")
_PAST = ("x", "gradient", "prior_mean", "prior_sd", "variances")


def stage_arrays(stage: StepFit) -> dict[str, Floats]:
    """Return all numbers of a stage as arrays of float, by name."""
    arrays: dict[str, object] = {"mean": stage.mean, "covariance": stage.covariance}
    if stage.effects is not None:
        arrays |= {f"effects.{name}": getattr(stage.effects, name) for name in _EFFECTS}
        arrays |= {f"pairs.{name}": getattr(stage.effects.pairs, name) for name in _PAIRS}
    if stage.past is not None:
        arrays |= {f"past.{name}": getattr(stage.past, name) for name in _PAST}
        arrays |= {f"past.{name}": getattr(stage.past.levels, name) for name in _LEVELS}
        arrays |= {"past.share": stage.past.share, "past.record": stage.past.record}
    return {name: np.asarray(array, dtype=np.float64) for name, array in arrays.items()}


def stage_from(name: str, arrays: Mapping[str, Floats], seen: Seen) -> StepFit:
    """Return the stage whose arrays these are.

    Raises
    ------
    KeyError
        If an array is missing.
    ValueError
        If what must be whole numbers are none.
    """
    mean, covariance = arrays["mean"], arrays["covariance"]
    if "effects.mean" not in arrays:
        return StepFit(name, mean, covariance)
    pairs = {key: arrays[f"pairs.{key}"] for key in _PAIRS}
    ways = _whole(pairs.pop("ways").reshape(-1, 2))
    width = max(1, pairs["lean"].size // max(1, len(ways)))
    columns = _whole(pairs.pop("columns").reshape(-1, width))
    lean = pairs.pop("lean").reshape(-1, width)
    found = {key: arrays[f"effects.{key}"] for key in _EFFECTS}
    columns_of = found["mean"].size
    found["covariance"] = found["covariance"].reshape(columns_of, columns_of)
    found["cross"] = found["cross"].reshape(columns_of, mean.size)
    sizes = (len(seen.species), len(seen.seed_plants), len(seen.pollen_plants)) if columns_of else (0, 0, 0)
    found["inherited"] = found["inherited"].reshape(2, *(sizes[0] if seen.related and columns_of else 0,) * 2)
    _within(columns, mean.size + columns_of)
    _within(ways, sizes[0])
    effects = Effects(**found, pairs=PairEffects(ways, **pairs, columns=columns, lean=lean), sizes=sizes)
    return StepFit(name, mean, covariance, effects, _past(arrays, sizes) if "past.x" in arrays else None)


def stage_shapes(stage: StepFit, seen: Seen, features: int) -> dict[str, tuple[int, ...]]:
    """Return the shape that each array of a stage must have."""
    p = features + 1
    shapes: dict[str, tuple[int, ...]] = {"mean": (p,), "covariance": (p, p)}
    if stage.effects is not None:
        r = stage.effects.block(5)[1] if seen.related else stage.effects.block(3)[1]
        n, w = stage.effects.pairs.lean.shape
        shapes |= {
            "effects.variances": (len(EFFECTS),), "effects.mean": (r,), "effects.covariance": (r, r),
            "effects.cross": (r, p), "pairs.ways": (n, 2), "pairs.columns": (n, w),
        }  # fmt: skip
        shapes |= {f"pairs.{name}": (n,) for name in ("pair", "direction", "own")}
    if stage.past is not None:
        m = len(stage.past.x)
        shapes |= {"past.x": (m, p), "past.gradient": (m,), "past.prior_mean": (p,), "past.prior_sd": (p,)}
        shapes |= {"past.variances": (len(EFFECTS) - 1,), **{f"past.{name}": (m,) for name in (*_LEVELS, "record")}}
    return shapes


def _past(arrays: Mapping[str, Floats], sizes: tuple[int, int, int]) -> Past:
    levels = Levels(*(_whole(arrays[f"past.{name}"]) for name in _LEVELS))
    for name, size in zip(_LEVELS, (sizes[0], *sizes), strict=True):
        _within(getattr(levels, name), size)
    x, gradient, mean, sd, variances = (arrays[f"past.{name}"] for name in _PAST)
    record = _whole(arrays["past.record"]) if "past.record" in arrays else np.arange(len(x))
    return Past(x, levels, gradient, mean, sd, variances, float(arrays["past.share"]), record)


def _within(numbers: Ints, size: int) -> None:
    if numbers.size and not -1 <= numbers.min() <= numbers.max() < size:
        raise ValueError("numbers of species, plants or columns lie outside their range")


def _whole(numbers: Floats) -> Ints:
    whole = numbers.astype(np.intp)
    if np.any(whole != numbers):
        raise ValueError("numbers that count species, plants or columns are not whole")
    return whole


FORMAT = 1

_MOST_NUMBERS_IN_JSON = 10_000


@dataclass(frozen=True, slots=True)
class SavedModel:
    """A fitted model with what it was fitted on.

    Attributes
    ----------
    model : FittedModel
    fingerprints : mapping of str to str
        Of the tree, the traits and the crosses (``tree``, ``traits``, ``crosses``), to notice that one has changed.
    as_of : str
        The day, as an ISO date, on which the season was read.
    invented : bool
        Whether the outcomes are invented.
    package : str
        The version that wrote the file.
    """

    model: FittedModel
    fingerprints: Mapping[str, str]
    as_of: str
    invented: bool = False
    package: str = __version__

    @property
    def fingerprint(self) -> str:
        """SHA-256 over all that decides a forecast, in hexadecimal."""
        digest = sha256(_text(_head(self)).encode())
        for name, array in _arrays(self.model).items():
            digest.update(f"{name} {array.shape}".encode())
            digest.update(np.ascontiguousarray(array, dtype="<f8").tobytes())
        return digest.hexdigest()


def write_model(path: Path, saved: SavedModel) -> None:
    """Write a model as ``path``, its arrays beside it if they are large; the old file stays until the new is whole.

    Raises
    ------
    OSError
        If the place cannot be written to.
    """
    document = _document(saved)
    arrays = _arrays(saved.model)
    if sum(array.size for array in arrays.values()) > _MOST_NUMBERS_IN_JSON:
        buffer = io.BytesIO()
        np.savez(buffer, allow_pickle=False, **arrays)
        write_atomically(path.with_suffix(".npz"), buffer.getvalue())
        document["arrays"] = {"file": path.with_suffix(".npz").name, "sha256": sha256(buffer.getvalue()).hexdigest()}
    write_atomically(path, _text(document).encode())


def read_model(path: Path) -> SavedModel:
    """Read a saved model.

    Raises
    ------
    BadInput
        If the file is damaged, or of a newer format than this version knows; it says what to do.
    FileNotFoundError
        If there is no such file.
    """
    content = path.read_bytes()
    try:
        document = json.loads(content)
        newer = document["format"] > FORMAT
    except (ValueError, KeyError, TypeError) as error:
        raise _refused(path, "saved.damaged", reason=str(error)) from None
    if newer:
        raise _refused(path, "saved.newer", got=document["format"], known=FORMAT)
    try:
        return _saved(document, _stored_arrays(path, document["arrays"]))
    except (AttributeError, ValueError, KeyError, TypeError, OSError) as error:
        raise _refused(path, "saved.damaged", reason=str(error)) from None


def _document(saved: SavedModel) -> dict[str, Any]:
    return {**_head(saved), "arrays": {name: array.tolist() for name, array in _arrays(saved.model).items()}}


def _head(saved: SavedModel) -> dict[str, Any]:
    """Return all of a model but its arrays."""
    model = saved.model
    return {
        "format": FORMAT,
        "package": saved.package,
        "as_of": saved.as_of,
        "invented": saved.invented,
        "fingerprints": dict(saved.fingerprints),
        "recipe": asdict(model.recipe),
        "seen": asdict(model.seen),
        "steps": [fit.step for fit in model.steps],
        "seeds": asdict(model.seeds),
        "scales": dict(model.scales),
        "records": list(model.records),
        "arrays": {},
    }


def _arrays(model: FittedModel) -> dict[str, Floats]:
    arrays = {"means": model.means, "variances": model.variances}
    arrays |= {"prior.mean": model.prior.mean, "prior.sd": model.prior.sd}
    for fit in model.steps:
        arrays |= {f"{fit.step}.{name}": array for name, array in stage_arrays(fit).items()}
    return arrays


def _stored_arrays(path: Path, stored: dict[str, Any]) -> dict[str, Floats]:
    if "file" not in stored:
        return {name: np.array(values, dtype=np.float64) for name, values in stored.items()}
    content = path.with_name(stored["file"]).read_bytes()
    if sha256(content).hexdigest() != stored["sha256"]:
        raise ValueError(say("saved.arrays_differ", file=stored["file"]))
    with np.load(io.BytesIO(content), allow_pickle=False) as archive:
        return {name: archive[name] for name in archive.files}


def _saved(document: dict[str, Any], arrays: dict[str, Floats]) -> SavedModel:
    recipe = document["recipe"]
    features = tuple(Feature(**feature) for feature in recipe["features"])
    noted: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in document["seen"].items()}
    seen = Seen(**noted)
    scale = recipe["scale"]
    places = tuple((str(name), float(centre), float(spread)) for name, centre, spread in scale["places"])
    model = FittedModel(
        Recipe(features, DistanceScale(float(scale["width"]), places, scale["unit"])),
        arrays["means"],
        arrays["variances"],
        GaussianPrior(arrays["prior.mean"], arrays["prior.sd"]),
        {str(name): float(value) for name, value in document["scales"].items()},
        tuple(stage_from(name, _of_step(name, arrays), seen) for name in document["steps"]),
        seen,
        SeedsPerPod(**document["seeds"]),
        tuple(document.get("records", ())),
    )
    _refuse_misfits(model)
    return SavedModel(model, document["fingerprints"], document["as_of"], document["invented"], document["package"])


def _of_step(name: str, arrays: dict[str, Floats]) -> dict[str, Floats]:
    return {key.removeprefix(f"{name}."): array for key, array in arrays.items() if key.startswith(f"{name}.")}


def _refuse_misfits(model: FittedModel) -> None:
    """Refuse numbers that do not fit the recipe: a file that was cut or written over may still be JSON."""
    size = len(model.recipe.features)
    shapes: dict[str, tuple[int, ...]] = dict.fromkeys(("means", "variances"), (size,))
    shapes |= dict.fromkeys(("prior.mean", "prior.sd"), (size + 1,))
    for fit in model.steps:
        shapes |= {f"{fit.step}.{name}": shape for name, shape in stage_shapes(fit, model.seen, size).items()}
    arrays = _arrays(model)
    bad = [name for name, shape in shapes.items() if arrays[name].shape != shape or not np.isfinite(arrays[name]).all()]
    kinds = {feature.kind for feature in model.recipe.features}
    curves = [feature.kind for feature in model.recipe.features if feature.column is None]
    sound = (
        not bad
        and {fit.step for fit in model.steps} <= STEPS.keys()
        and set(model.scales) == set(EFFECTS)
        and kinds <= set(FEATURE_KINDS)
        and curves == [name for name, _, _ in model.recipe.scale.places]
        and model.seeds.mean > 0
        and model.seeds.size > 0
        and model.recipe.scale.width > 0
    )
    if not sound:
        raise ValueError(say("saved.misfit"))


def _text(document: dict[str, Any]) -> str:
    """Return a document as JSON with an indent of one; its arrays by the fast encoder, which knows no indent."""
    arrays = document["arrays"]
    whole = json.dumps({**document, "arrays": {}}, indent=1, ensure_ascii=False, allow_nan=False)
    if not arrays:
        return whole + "\n"
    written = [f"  {json.dumps(name, ensure_ascii=False)}: {_indented(values, 2)}" for name, values in arrays.items()]
    return whole.removesuffix("{}\n}") + "{\n" + ",\n".join(written) + "\n }\n}\n"


def _indented(values: Any, depth: int) -> str:
    if not isinstance(values, list) or not values:
        return json.dumps(values, ensure_ascii=False, allow_nan=False)
    start, end = "\n" + " " * (depth + 1), "\n" + " " * depth
    if isinstance(values[0], list):
        inner = f",{start}".join(_indented(part, depth + 1) for part in values)
    else:
        inner = json.dumps(values, allow_nan=False, separators=(f",{start}", ": "))[1:-1]
    return f"[{start}{inner}{end}]"


def _refused(path: Path, key: str, **values: object) -> BadInput:
    return BadInput([Fault(Place(path.name), say(f"{key}.what", **values), say(f"{key}.advice"))])
