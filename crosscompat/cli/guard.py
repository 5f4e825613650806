"""Turning what went wrong into a message on standard error and an exit code."""

from __future__ import annotations

import os
import sys
import traceback
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import wraps
from typing import Any, ParamSpec, TypeVar

import typer

from crosscompat.cli.output import talk
from crosscompat.ground.errors import CopyWarning, CrosscompatError
from crosscompat.ground.wording import say

__all__ = ["BUG", "guarded"]

BUG = 70
_BAD_DATA = 3

_P = ParamSpec("_P")
_R = TypeVar("_R")


def guarded(command: Callable[_P, _R]) -> Callable[_P, _R]:
    """Let a command fail in words: its own errors by their exit code, an unwritable file as 3, a bug as 70.

    A reader who has seen enough, as ``head`` has after ten lines, is no failure.
    """

    @wraps(command)
    def run(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        try:
            return _flushed(command, *args, **kwargs)
        except CrosscompatError as error:
            _tell(str(error))
            raise typer.Exit(error.exit_code) from None
        except BrokenPipeError:
            raise typer.Exit from None
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            _tell(say("cli.file", where=where, reason=error.strerror or str(error)))
            raise typer.Exit(_BAD_DATA) from None
        except (typer.Exit, typer.Abort, typer.BadParameter):
            raise
        except Exception as error:  # noqa: BLE001 - the last door: a bug must not look like a bad file
            if os.environ.get("CROSSCOMPAT_DEBUG"):
                traceback.print_exc()
            _tell(say("cli.bug", kind=type(error).__name__, reason=str(error)))
            raise typer.Exit(BUG) from None
        finally:
            _let_go()

    return run


def _flushed(command: Callable[_P, _R], *args: _P.args, **kwargs: _P.kwargs) -> _R:
    """Call a command and print all of its answer, so that what cannot be printed fails here and not at the very end."""
    try:
        with _warnings_told():
            result = command(*args, **kwargs)
    except typer.Exit:
        sys.stdout.flush()
        raise
    sys.stdout.flush()
    return result


@contextmanager
def _warnings_told() -> Iterator[None]:
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


def _tell(text: str) -> None:
    """Say what went wrong; the exit code says it too where nobody listens."""
    with suppress(OSError):
        talk(text)


def _let_go() -> None:
    """Point each stream that takes no more at nothing, or Python complains of it when it ends."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            nothing = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nothing, stream.fileno())
            os.close(nothing)
