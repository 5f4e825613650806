"""What is wrong with a table that shall change the priors."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from typing import Any

from crosscompat.ground.errors import Fault, Place
from crosscompat.ground.wording import say

__all__ = ["prior_faults"]

_Shape = Mapping[str, Any]

# On the logit scale 20 is a certainty, and numbers beyond these have no fit.
_MOST_MEAN, _LEAST_SD, _MOST_SD = 20.0, 0.001, 100.0

_OF_A_COEFFICIENT = {"mean": "number", "sd": "positive", "evidence": "text"}
_OF_AN_EFFECT = {"scale": "positive", "evidence": "text"}


def prior_faults(
    by: object,
    coefficients: Mapping[str, Collection[str]],
    effects: Mapping[str, Collection[str]],
    file: str | None = None,
) -> list[Fault]:
    """Return every fault of a table of changes, in its order.

    Parameters
    ----------
    by : object
        What was given: stage, then coefficient, then any of ``mean``, ``sd`` and ``evidence``; beside the stages
        ``effects``: stage or ``every``, then effect, then any of ``scale`` and ``evidence``.
    coefficients, effects : mapping of str to collection of str
        What each stage has.
    file : str, optional
        Where it stands.

    Examples
    --------
    >>> known = {"set": ["distance"]}, {"every": ["seed"]}
    >>> print(*prior_faults({"set": {"distance": {"sd": 0}}}, *known), sep="; ")
    column priors.set.distance.sd: An sd or a scale must be a number above 0, from 0.001 to 100; got 0.
    >>> prior_faults({"set": {"distance": {"mean": -2}}, "effects": {"every": {"seed": {"scale": 0.5}}}}, *known)
    []
    """
    shape = {stage: dict.fromkeys(names, _OF_A_COEFFICIENT) for stage, names in coefficients.items()}
    of_effects = {stage: dict.fromkeys(names, _OF_AN_EFFECT) for stage, names in effects.items()}
    return list(_walk(("priors",), by, {**shape, "effects": of_effects}, file))


def _walk(path: tuple[str, ...], value: object, shape: _Shape | str, file: str | None) -> Iterator[Fault]:
    place = Place(file, column=".".join(path))
    if isinstance(shape, str):
        if not _IS[shape](value):
            yield Fault(place, say(f"priors.must_be.{shape}", got=value))
    elif not isinstance(value, Mapping):
        yield Fault(place, say("priors.must_be.table", got=value), say("priors.example"))
    else:
        for key, inner in value.items():
            if key in shape:
                yield from _walk((*path, key), inner, shape[key], file)
            else:
                below = Place(file, column=".".join((*path, str(key))))
                yield Fault(below, say("priors.unknown", key=key), say("priors.known", keys=", ".join(shape)))


def _within(value: object, least: float, most: float) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and least <= value <= most


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


_IS: Mapping[str, Callable[[object], bool]] = {
    "number": lambda value: _within(value, -_MOST_MEAN, _MOST_MEAN),
    "positive": lambda value: _within(value, _LEAST_SD, _MOST_SD),
    "text": _is_text,
}
