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
from crosscompat.model.effects import GaussianPrior
from crosscompat.model.fitted import FittedModel, Seen
from crosscompat.model.likelihood import Floats
from crosscompat.model.posterior import EFFECTS
from crosscompat.model.saved_stage import stage_arrays, stage_from, stage_shapes
from crosscompat.model.seeds import SeedsPerPod
from crosscompat.model.stages import STEPS
from crosscompat.pairing import FEATURE_KINDS, DistanceScale, Feature, Recipe

__all__ = ["FORMAT", "SavedModel", "read_model", "write_model"]

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
