"""The saved form of a model: one JSON file a person can read, and no code in it.

An array that is empty, or of more than a thousand numbers, stands in it as its bytes in base 64. The file ends in a
fingerprint of all the rest, so that what was cut or written over is not read.
"""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cached_property
from hashlib import sha256
from operator import attrgetter
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crosscompat import __version__
from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.wording import say
from crosscompat.model.composition import SeedsPerPod
from crosscompat.model.fitted import FittedModel, PairEffects, Past, StepFit
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.pairings import Levels, Seen
from crosscompat.pairing import DistanceScale, Feature, Recipe

FORMAT = 1

_MOST_NUMBERS_IN_JSON = 1_000

_OF_A_MODEL = ("means", "variances", "prior.mean", "prior.sd")
_OF_A_STEP = (
    *("mean", "covariance", "variances", "inherited"),
    *(f"pairs.{name}" for name in ("ways", "pair", "direction", "own", "columns", "lean")),
    *(f"past.{name}" for name in ("x", "gradient", "prior_mean", "prior_sd", "variances", "share", "record")),
    *(f"past.levels.{name}" for name in ("seed", "pollen", "seed_plant", "pollen_plant")),
)


@dataclass(frozen=True)
class SavedModel:
    """A fitted model with what it was fitted on.

    ``fingerprints`` are of the ``tree``, the ``traits`` and the ``crosses``, to notice that one has changed; ``as_of``
    is the ISO date on which the season was read, ``invented`` whether the outcomes are; ``package`` the version that
    wrote the file.
    """

    model: FittedModel
    fingerprints: Mapping[str, str]
    as_of: str
    invented: bool = False
    package: str = __version__

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 over all that decides a forecast, in hexadecimal; the file holds it too."""
        digest = sha256(json.dumps(_head(self), sort_keys=True).encode())
        for name, array in _arrays(self.model).items():
            digest.update(f"{name} {array.shape} {array.dtype}".encode())
            digest.update(_little_endian(array))
        return digest.hexdigest()


def model_file(saved: SavedModel) -> bytes:
    """Return the content of a model's file, which holds its fingerprint."""
    arrays = {name: _stored(array) for name, array in _arrays(saved.model).items()}
    document = {**_head(saved), "arrays": arrays, "fingerprint": saved.fingerprint}
    return (json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def read_model(path: Path) -> SavedModel:
    """Read a saved model.

    Raises
    ------
    BadInput
        If the file is not as it was written, or of a newer format than this version knows; it says what to do.
    FileNotFoundError
    """
    content = path.read_bytes()
    try:
        document = json.loads(content)
        newer = document["format"] > FORMAT
        saved = None if newer else _saved(document)
        same = saved is not None and saved.fingerprint == document["fingerprint"]
    except (ArithmeticError, AttributeError, LookupError, ValueError, TypeError, RecursionError) as error:
        raise _refused(path, "saved.damaged", reason=str(error)) from None
    if newer:
        raise _refused(path, "saved.newer", got=document["format"], known=FORMAT)
    if saved is None or not same:
        raise _refused(path, "saved.damaged", reason=say("saved.differs"))
    return saved


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
        "steps": {fit.step: fit.sizes for fit in model.steps},
        "seeds": asdict(model.seeds),
        "scales": dict(model.scales),
        "records": model.records,
    }


def _arrays(model: FittedModel) -> dict[str, NDArray[Any]]:
    arrays = {name: attrgetter(name)(model) for name in _OF_A_MODEL}
    arrays |= {f"{fit.step}.{name}": np.asarray(attrgetter(name)(fit)) for fit in model.steps for name in _OF_A_STEP}
    return arrays


def _little_endian(array: NDArray[Any]) -> bytes:
    return array.astype(array.dtype.newbyteorder("<"), copy=False).tobytes()


def _stored(array: NDArray[Any]) -> Any:
    if 0 < array.size <= _MOST_NUMBERS_IN_JSON:
        return array.tolist()
    return {"shape": array.shape, array.dtype.name: b64encode(_little_endian(array)).decode()}


def _array(stored: Any) -> NDArray[Any]:
    if not isinstance(stored, dict):
        return np.array(stored)
    [kind] = stored.keys() - {"shape"}
    numbers = np.frombuffer(b64decode(stored[kind]), dtype=np.dtype(kind).newbyteorder("<"))
    return numbers.astype(kind).reshape(stored["shape"])


def _saved(document: Mapping[str, Any]) -> SavedModel:
    arrays = {name: _array(stored) for name, stored in document["arrays"].items()}
    recipe, seen = document["recipe"], document["seen"]
    scale = recipe["scale"]
    model = FittedModel(
        Recipe(
            tuple(Feature(**feature) for feature in recipe["features"]),
            DistanceScale(scale["width"], tuple(map(tuple, scale["places"])), scale["unit"]),
        ),
        arrays["means"],
        arrays["variances"],
        GaussianPrior(arrays["prior.mean"], arrays["prior.sd"]),
        document["scales"],
        tuple(_step(step, tuple(sizes), arrays) for step, sizes in document["steps"].items()),
        Seen(**seen | {name: tuple(value) for name, value in seen.items() if isinstance(value, list)}),
        SeedsPerPod(**document["seeds"]),
        tuple(document["records"]),
    )
    return SavedModel(model, document["fingerprints"], document["as_of"], document["invented"], document["package"])


def _step(step: str, sizes: tuple[int, int, int, int], arrays: Mapping[str, NDArray[Any]]) -> StepFit:
    def part(prefix: str) -> dict[str, Any]:
        """Return the arrays directly below one name."""
        names = (name.removeprefix(prefix) for name in _OF_A_STEP if name.startswith(prefix))
        return {name: arrays[f"{step}.{prefix}{name}"] for name in names if "." not in name}

    past = Past(**part("past.") | {"share": float(arrays[f"{step}.past.share"])}, levels=Levels(**part("past.levels.")))
    return StepFit(step, **part(""), pairs=PairEffects(**part("pairs.")), sizes=sizes, past=past)


def _refused(path: Path, key: str, **values: object) -> BadInput:
    return BadInput([Fault(Place(path.name), say(f"{key}.what", **values), say(f"{key}.advice"))])
