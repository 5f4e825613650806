"""Commands that start without what they do not need."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import Any

__all__ = ["unconverted"]

_CONVERT = object()
_FEW_DIGITS = re.compile(r"[0-9]{1,9}")


def unconverted(command: Any) -> Any:
    """Let a command take words and blanks as they are given, and return it.

    Typer puts every value through a library that takes a tenth of a second to load. What is a word and is wanted as
    one, a plain number, or was not given at all needs none; whatever else there is goes the way it always went.

    Parameters
    ----------
    command : click.Command
        As Typer makes it; of a group, its commands as well.
    """
    for one in (command, *getattr(command, "commands", {}).values()):
        one.get_params = _easing(one.get_params)
    return command


def _easing(get_params: Callable[[Any], list[Any]]) -> Callable[[Any], list[Any]]:
    def eased(context: Any) -> list[Any]:
        parameters = get_params(context)
        for parameter in parameters:
            if "process_value" not in vars(parameter):
                parameter.process_value = partial(_processed, parameter, parameter.process_value)
        return parameters

    return eased


def _processed(parameter: Any, convert: Callable[[Any, Any], Any], context: Any, value: Any) -> Any:
    taken = _as_it_is(parameter, value)
    if taken is _CONVERT:
        return convert(context, value)
    return taken if parameter.callback is None else parameter.callback(context, parameter, taken)


def _as_it_is(parameter: Any, value: Any) -> Any:
    several = parameter.nargs != 1 or getattr(parameter, "multiple", False)
    if value is None and not parameter.required:
        return () if several else None
    kind = getattr(parameter, "type_descriptor", None)
    if several or kind is None:
        return _CONVERT
    if kind.annotation in (str, int) and type(value) is kind.annotation:
        return value
    if kind.annotation is int and not kind.is_ranged and _FEW_DIGITS.fullmatch(value):
        return int(value)
    return _CONVERT
