"""Turning what went wrong into a message on standard error and an exit code."""

from __future__ import annotations

import os
import sys
import traceback
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import typer

from crosscompat.cli.output import talk
from crosscompat.ground.errors import CopyWarning, CrosscompatError
from crosscompat.ground.wording import say

__all__ = ["BUG", "in_words"]

BUG = 70
_BAD_DATA = 3


@contextmanager
def in_words(translated: Callable[[Exception], Exception]) -> Iterator[None]:
    """Let a command fail in words: its own errors by their exit code, an unwritable file as 3, a bug as 70.

    A reader who has seen enough, as ``head`` has after ten lines, is no failure.

    Parameters
    ----------
    translated : callable
        Returns the error to tell for the one that was raised.

    Raises
    ------
    SystemExit
        With the exit code.
    """
    try:
        with _warnings_in_words():
            yield
    except SystemExit as ended:
        code = _flush(ended.code)
    except typer.Exit as ended:
        code = _flush(ended.exit_code)
    except (typer.Abort, KeyboardInterrupt):
        code = 130 if isinstance(sys.exception(), KeyboardInterrupt) else 1
    except Exception as error:  # noqa: BLE001 - the last door: a bug must not look like a bad file
        code = _tell(translated(error))
    finally:
        _let_go()
    raise SystemExit(code)


def _flush(code: Any) -> Any:
    """Print all of the answer, so that what cannot be printed fails here and not at the very end."""
    try:
        sys.stdout.flush()
    except OSError as error:
        return _tell(error)
    return code


def _tell(error: Exception) -> int:
    """Say what went wrong and return the exit code, which says it too where nobody listens."""
    if isinstance(error, BrokenPipeError):
        return 0
    if isinstance(error, CrosscompatError):
        text, code = str(error), error.exit_code
    elif isinstance(error, OSError):
        where = f"{error.filename}: " if error.filename else ""
        text, code = say("cli.file", where=where, reason=error.strerror or str(error)), _BAD_DATA
    else:
        if os.environ.get("CROSSCOMPAT_DEBUG"):
            traceback.print_exception(error)
        text, code = say("cli.bug", kind=type(error).__name__, reason=str(error)), BUG
    for say_last in (sys.stdout.flush, lambda: talk(text)):
        with suppress(OSError):
            say_last()
    return code


@contextmanager
def _warnings_in_words() -> Iterator[None]:
    """Say in words, each time, what is no failure but must be minded."""

    def tell(message: Warning | str, category: type[Warning], *where: Any, **more: Any) -> None:
        if issubclass(category, CopyWarning):
            talk(str(message))
        else:
            others(message, category, *where, **more)

    with warnings.catch_warnings():
        others = warnings.showwarning
        warnings.simplefilter("always", CopyWarning)
        warnings.showwarning = tell
        yield


def _let_go() -> None:
    """Point each stream that takes no more at nothing, or Python complains of it when it ends."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            nothing = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nothing, stream.fileno())
            os.close(nothing)
