"""One stage as named arrays, and back."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from crosscompat.model.cross_weights import Past
from crosscompat.model.effects import Ints
from crosscompat.model.fitted import Seen, StepFit
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Levels
from crosscompat.model.posterior import EFFECTS, Effects, PairEffects

__all__ = ["stage_arrays", "stage_from", "stage_shapes"]

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
