"""The saved form of a model: one JSON file a person can read, and no code in it.

An array of more than a thousand numbers stands in it as its bytes in base 64.
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
from typing import Any, TypeVar, get_origin, get_type_hints

import numpy as np

from crosscompat import __version__
from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.wording import say
from crosscompat.model.composition import SeedsPerPod
from crosscompat.model.fitted import FittedModel
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.likelihood import Floats, Ints
from crosscompat.model.pairings import Levels, Seen
from crosscompat.model.posterior import EFFECTS, PairEffects, Past, StepFit
from crosscompat.pairing import FEATURE_KINDS, DistanceScale, Feature, Recipe
from crosscompat.stages import STEPS

FORMAT = 1

_MOST_NUMBERS_IN_JSON = 1_000
_LARGEST_SCALE = 1e6
_Kind = TypeVar("_Kind")

# The arrays of a step, and their shapes in letters: p coefficients, with effects q, k species known to be related, n
# pairs crossed that lean on w columns each, m crosses; 7 kinds of effect, 6 of which are not the record's.
_ARRAYS = {
    "mean": "q", "covariance": "qq", "variances": "7", "inherited": "2kk",
    "pairs.ways": "n2", "pairs.pair": "n", "pairs.direction": "n", "pairs.own": "n", "pairs.columns": "nw",
    "pairs.lean": "nw",
    "past.x": "mp", "past.levels.seed": "m", "past.levels.pollen": "m", "past.levels.seed_plant": "m",
    "past.levels.pollen_plant": "m", "past.gradient": "m", "past.prior_mean": "p", "past.prior_sd": "p",
    "past.variances": "6", "past.share": "", "past.record": "m",
}  # fmt: skip


@dataclass(frozen=True)
class SavedModel:
    """A fitted model with what it was fitted on.

    Attributes
    ----------
    model : FittedModel
    fingerprints : mapping of str to str
        Of the ``tree``, the ``traits`` and the ``crosses``, to notice that one has changed.
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

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 over all that decides a forecast, in hexadecimal; the file holds it too."""
        digest = sha256(_text(_head(self)).encode())
        for name, array in _arrays(self.model).items():
            digest.update(f"{name} {array.shape}".encode())
            digest.update(np.ascontiguousarray(array, dtype="<f8").tobytes())
        return digest.hexdigest()


def model_file(saved: SavedModel) -> bytes:
    """Return the content of a model's file, which holds its fingerprint."""
    stored = {name: _stored(array) for name, array in _arrays(saved.model).items()}
    return _text({**_head(saved), "arrays": stored, "fingerprint": saved.fingerprint}).encode()


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
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise _refused(path, "saved.damaged", reason=str(error)) from None
    if newer:
        raise _refused(path, "saved.newer", got=document["format"], known=FORMAT)
    try:
        return _saved(document, {name: _array(stored) for name, stored in document["arrays"].items()})
    except (ArithmeticError, AttributeError, LookupError, ValueError, TypeError) as error:
        raise _refused(path, "saved.damaged", reason=str(error)) from None


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
        arrays |= {f"{fit.step}.{name}": np.asarray(attrgetter(name)(fit), dtype=np.float64) for name in _ARRAYS}
    return arrays


def _stored(array: Floats) -> Any:
    if array.size <= _MOST_NUMBERS_IN_JSON:
        return array.tolist()
    return {"shape": array.shape, "float64": b64encode(array.astype("<f8").tobytes()).decode()}


def _array(stored: Any) -> Floats:
    if not isinstance(stored, dict):
        return np.array(stored, dtype=np.float64)
    numbers = np.frombuffer(b64decode(stored["float64"], validate=True), dtype="<f8")
    return numbers.reshape(stored["shape"]).astype(np.float64)


def _saved(document: dict[str, Any], arrays: dict[str, Floats]) -> SavedModel:
    recipe = document["recipe"]
    features = tuple(_of_type(Feature, feature) for feature in recipe["features"])
    seen = _of_type(Seen, document["seen"])
    scale = recipe["scale"]
    places = tuple((str(name), float(centre), float(spread)) for name, centre, spread in scale["places"])
    model = FittedModel(
        Recipe(features, DistanceScale(float(scale["width"]), places, scale["unit"])),
        _shaped(arrays["means"], (len(features),)),
        _shaped(arrays["variances"], (len(features),)),
        GaussianPrior(*(_shaped(arrays[f"prior.{name}"], (len(features) + 1,)) for name in ("mean", "sd"))),
        {str(name): float(value) for name, value in document["scales"].items()},
        tuple(_step(step, arrays, seen, len(features) + 1) for step in document["steps"]),
        seen,
        _of_type(SeedsPerPod, document["seeds"]),
        tuple(document["records"]),
    )
    _refuse_misfits(model)
    saved = SavedModel(model, document["fingerprints"], document["as_of"], document["invented"], document["package"])
    if saved.fingerprint != document["fingerprint"]:
        raise ValueError(say("saved.differs"))
    return saved


def _of_type(kind: type[_Kind], given: Mapping[str, Any]) -> _Kind:
    """Make a dataclass of what JSON says; ValueError where a value is not of its field's type."""
    made = kind(**{name: tuple(value) if isinstance(value, list) else value for name, value in given.items()})
    for name, hint in get_type_hints(kind).items():
        value = getattr(made, name)
        parts, type_ = (value, str) if isinstance(value, tuple) and get_origin(hint) is tuple else ((value,), hint)
        if not all(isinstance(part, int | float if type_ is float else type_) for part in parts):
            raise ValueError(say("saved.misfit"))
    return made


def _step(step: str, arrays: Mapping[str, Floats], seen: Seen, p: int) -> StepFit:
    """Return a step from its arrays; KeyError if one is missing, ValueError if one does not fit the others."""
    given = {name: arrays[f"{step}.{name}"] for name in _ARRAYS}
    sizes = (p, 0, 0, 0)
    if given["mean"].size > p:
        sizes = (p, len(seen.species), len(seen.seed_plants), len(seen.pollen_plants))
    _, species, mothers, fathers = sizes
    k, n = species * seen.related, given["pairs.own"].size
    q, w = p + 2 * (species + k) + mothers + fathers, given["pairs.lean"].size // n if n else 1
    size = {"p": p, "q": q, "k": k, "n": n, "w": w, "m": given["past.gradient"].size, "2": 2, "6": 6, "7": 7}
    a = {name: _shaped(given[name], tuple(size[letter] for letter in letters)) for name, letters in _ARRAYS.items()}
    numbers = {
        "pairs.ways": species, "pairs.columns": q, "past.levels.seed": species,
        "past.levels.pollen": species, "past.levels.seed_plant": mothers, "past.levels.pollen_plant": fathers,
        "past.record": max(seen.crosses, size["m"]),
    }  # fmt: skip
    whole = {name: _whole(a[name], most) for name, most in numbers.items()}

    def part(prefix: str) -> dict[str, Any]:
        names = {name.removeprefix(prefix): name for name in _ARRAYS if name.startswith(prefix)}
        return {field: whole.get(name, a[name]) for field, name in names.items() if "." not in field}

    past = Past(**part("past.") | {"share": float(a["past.share"])}, levels=Levels(**part("past.levels.")))
    return StepFit(step, **part(""), pairs=PairEffects(**part("pairs.")), sizes=sizes, past=past)


def _shaped(array: Floats, shape: tuple[int, ...]) -> Floats:
    shaped = array.reshape(shape) if not array.size else array  # JSON keeps no shape of what is empty
    if shaped.shape != shape or not np.isfinite(shaped).all():
        raise ValueError(say("saved.misfit"))
    return shaped


def _whole(numbers: Floats, most: int) -> Ints:
    whole = numbers.astype(np.intp)
    if np.any(whole != numbers):
        raise ValueError("numbers that count species, plants or columns are not whole")
    if whole.size and not -1 <= whole.min() <= whole.max() < most:
        raise ValueError("numbers of species, plants or columns lie outside their range")
    return whole


def _refuse_misfits(model: FittedModel) -> None:
    """Refuse what does not fit the recipe: a file that was cut or written over may still be JSON."""
    kinds = {feature.kind for feature in model.recipe.features}
    curves = [feature.kind for feature in model.recipe.features if feature.column is None]
    sound = (
        {fit.step for fit in model.steps} <= STEPS.keys()
        and set(model.scales) == set(EFFECTS)
        and kinds <= set(FEATURE_KINDS)
        and curves == [name for name, _, _ in model.recipe.scale.places]
        and model.seeds.mean > 0
        and model.seeds.size > 0
        and (model.seeds.cap is None or model.seeds.cap > 0)
        and all(0 <= scale < _LARGEST_SCALE for scale in model.scales.values())
        and model.recipe.scale.width > 0
    )
    if not sound:
        raise ValueError(say("saved.misfit"))


def _text(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _refused(path: Path, key: str, **values: object) -> BadInput:
    return BadInput([Fault(Place(path.name), say(f"{key}.what", **values), say(f"{key}.advice"))])
