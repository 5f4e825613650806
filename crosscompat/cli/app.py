"""The command line: which commands there are, what a call that cannot be read is told, and how a failure ends."""

from __future__ import annotations

import os
import re
import sys
import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache, partial, wraps
from importlib import import_module
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import typer
from typer.core import TyperCommand, TyperGroup

from crosscompat import __version__
from crosscompat.cli.options import on_a_terminal
from crosscompat.cli.output import print_json, talk
from crosscompat.ground.errors import BookWarning, CrosscompatError, WrongUse
from crosscompat.ground.wording import own_words, say

COMMANDS: Final = {
    "new": "crosscompat.cli.book.collection:new",
    "check": "crosscompat.cli.book.collection:check",
    "ask": "crosscompat.cli.ask:ask",
    "rank": "crosscompat.cli.rank:rank",
    "bridge": "crosscompat.cli.bridge:bridge",
    "distances": "crosscompat.cli.trees:distances",
    "retrain": "crosscompat.cli.learn:retrain",
    "due": "crosscompat.cli.book.due:due",
    "score": "crosscompat.cli.learn:score",
    "priors": "crosscompat.cli.learn:priors",
    "tree": "crosscompat.cli.trees:tree",
    "trees": "crosscompat.cli.trees:trees",
    "label": "crosscompat.cli.book.labels:label",
    "demo": "crosscompat.cli.demo:demo",
    "plan": "crosscompat.cli.book.season:plan",
    "tonight": "crosscompat.cli.book.season:tonight",
    "plant": "crosscompat.cli.book.plant:plant",
    "pollinate": "crosscompat.cli.book.pollinate:pollinate",
    "observe": "crosscompat.cli.book.observe:observe",
    "attach": "crosscompat.cli.book.attach:attach",
    "correct": "crosscompat.cli.book.changes:correct",
    "history": "crosscompat.cli.book.changes:history",
    "undo": "crosscompat.cli.book.changes:undo",
    "failed": "crosscompat.cli.bridge:failed",
    "backup": "crosscompat.cli.book.backup:backup",
    "restore": "crosscompat.cli.book.backup:restore",
    "find": "crosscompat.cli.book.labels:find",
    "import": "crosscompat.cli.book.import_table:import_",
    "export": "crosscompat.cli.book.backup:export",
    "serve": "crosscompat.cli.serve:serve",
    "pocket": "crosscompat.cli.pocket:pocket",
    "guide": "crosscompat.cli.guide:guide",
}
"""Where the function of each command stands; its help is in ``help.toml``."""

_BUG, _REFUSED = 70, 74
_LONG: Final = re.compile(r"(“[^”]{200})[^”]+|(\S{300})\S+")
_DASH, _PRINTABLE = Path("-"), ("output", "ics", "labels")
_HELP: Final = {"help_option_names": ["-h", "--help"]}
_EXTRA: Final = re.compile(r"arguments?(?:\(s\))? \((.*)\)$", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault of a file: where it is, what is wrong, what to do next."""

    where: str
    what: str
    advice: str


@dataclass(frozen=True, slots=True)
class Failure:
    """Why a command ended without its answer.

    Attributes
    ----------
    code : int
        The exit code.
    message : str
        What standard error says.
    faults : list of Problem
        Every fault, where a file cannot be read as it stands.
    """

    code: int
    message: str
    faults: list[Problem]
    schema: Literal["crosscompat.error/1"] = "crosscompat.error/1"


@cache
def _made(name: str) -> Any:
    """Return a command, its file imported only now."""
    module, _, function = COMMANDS[name].partition(":")
    alone = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    example = say("help.example", command=say(f"help.examples.{name}"))
    register = alone.command(name, cls=_Command, help=say(f"help.{name}"), epilog=example, context_settings=dict(_HELP))
    register(_needing_names(getattr(import_module(module), function)))
    return typer.main.get_command(alone)


class _Sparing:
    """A command or group whose words are taken as they are given."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Return the parameters; each converts only what has to be converted."""
        parameters: list[Any] = super().get_params(ctx)  # type: ignore[misc]
        for parameter in parameters:
            if "process_value" not in vars(parameter):
                parameter.process_value = partial(_as_given, parameter, parameter.process_value)
        return parameters


class _Command(_Sparing, TyperCommand):
    """One command."""


def _as_given(parameter: Any, convert: Callable[[Any, Any], Any], context: Any, value: Any) -> Any:
    """Take words where words are wanted, and nothing for nothing; typer loads pydantic for that, a fifth of a start."""
    kind, several = getattr(parameter, "type_descriptor", None), parameter.nargs == -1 or parameter.multiple
    if kind is None:  # before 0.28 typer converts by itself
        return convert(context, value)
    plain = kind.parameter_info.parser is None
    usual = getattr(context.get_parameter_source(parameter.name), "name", "") == "DEFAULT"
    if value is None and not parameter.required:
        taken: Any = () if several else None
    elif plain and several and value and kind.annotation == list[str]:
        taken = list(value)
    elif (usual and value is not None) or (plain and kind.annotation is type(value) is str):
        taken = value
    else:
        return convert(context, value)
    return taken if parameter.callback is None else parameter.callback(context, parameter, taken)


def _needing_names(command: Callable[..., None]) -> Callable[..., None]:
    """Refuse ``-`` for a file wherever it does not stand for standard output."""

    @wraps(command)
    def checked(**given: Any) -> None:
        for name, value in given.items():
            if name not in _PRINTABLE and _DASH in (value if isinstance(value, list) else [value]):
                raise WrongUse(say("usage.dash"))
        command(**given)

    return checked


class _Commands(_Sparing, TyperGroup):
    """All commands: listed with whole sentences, made one at a time, refused in our own words."""

    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ARG002 - typer's way of calling
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:  # noqa: ARG002 - typer's way of calling
        return _made(cmd_name) if cmd_name in COMMANDS else None

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002 - typer's way of calling
        with formatter.section(say("help.commands")):
            formatter.write_dl([(name, say(f"help.{name}")) for name in COMMANDS])

    def invoke(self, ctx: Any) -> Any:
        with _in_words(as_json=ctx.obj):
            super().invoke(ctx)
            raise SystemExit(0)

    def main(self, args: Sequence[str] | None = None, prog_name: str | None = None, *more: Any, **options: Any) -> Any:
        as_json = "--json" in (sys.argv[1:] if args is None else args)
        with _in_words(as_json=as_json), own_words():
            code = super().main(args, prog_name, *more, **options | {"standalone_mode": False, "obj": as_json})
            raise SystemExit(code if isinstance(code, int) else 0)


def _in_our_words(error: Exception) -> Exception:
    """Return what the reader of the command line refused as an error of ours; any other stays what it is."""
    kinds = {kind.__name__ for kind in type(error).__mro__}
    if "UsageError" not in kinds:
        return error
    context = getattr(error, "ctx", None)
    command = " ".join(("crosscompat", *(context.command_path.split()[1:] if context else ())))
    return WrongUse(_refusal(error, kinds, command) + say("usage.help", command=command))


def _refusal(error: Any, kinds: set[str], command: str) -> str:
    message, near = str(error.message), list[str]()
    if "NoSuchOption" in kinds:
        says, near = say("usage.no_option", command=command, option=error.option_name), list(error.possibilities or ())
    elif "MissingParameter" in kinds:
        says = say("usage.missing", command=command, what=error.param.metavar, help=error.param.help)
    elif "BadOptionUsage" in kinds:
        says = say("usage.no_value", option=error.option_name)
    elif "BadParameter" in kinds:
        says = say("usage.value", what=error.param.opts[0] if error.param else "", message=message)
    elif command == "crosscompat":
        named = message.split("'")[1] if "'" in message else ""
        says, near = say("usage.no_command", name=named), get_close_matches(named, COMMANDS, n=2)
    else:
        extra = _EXTRA.search(message)
        says = say("usage.extra", command=command, words=extra[1] if extra else message)
    return says + (say("usage.near", names=", ".join(near)) if near else "")


app = typer.Typer(
    cls=_Commands,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help=say("help.app"),
    context_settings=_HELP,
)


Version = Annotated[bool, typer.Option("--version", help=say("help.version"))]


@app.callback(invoke_without_command=True)
def _first(context: typer.Context, *, version: Version = False) -> None:
    if version:
        typer.echo(f"crosscompat {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        typer.echo(say("cli.first"))
        if on_a_terminal():
            from crosscompat.cli.serve import offer_pages

            offer_pages()


@contextmanager
def _in_words(*, as_json: bool) -> Iterator[None]:
    """Let a command fail in words: its own errors by their exit code, what the computer refused as 74, a bug as 70.

    A reader who has seen enough, as ``head`` has after ten lines, is no failure.
    """
    try:
        with _warnings_in_words():
            yield
    except SystemExit as ended:
        code = _flush(ended.code, as_json=as_json)
    except typer.Exit as ended:
        code = _flush(ended.exit_code, as_json=as_json)
    except (typer.Abort, KeyboardInterrupt):
        code = 130 if isinstance(sys.exception(), KeyboardInterrupt) else 1
    except Exception as error:  # noqa: BLE001 - the last door: a bug must not look like a bad file
        code = _tell(_in_our_words(error), as_json=as_json)
    finally:
        _let_go()
    raise SystemExit(code)


def _flush(code: Any, *, as_json: bool) -> Any:
    """Print all of the answer, so that what cannot be printed fails here and not at the very end."""
    try:
        sys.stdout.flush()
    except OSError as error:
        return _tell(error, as_json=as_json)
    return code


def _tell(error: Exception, *, as_json: bool) -> int:
    """Say what went wrong and return the exit code, which says it too where nobody listens."""
    if isinstance(error, BrokenPipeError):
        return 0
    if os.environ.get("CROSSCOMPAT_DEBUG"):
        traceback.print_exception(error)
    if isinstance(error, CrosscompatError):
        text, code = str(error), error.exit_code
    elif isinstance(error, OSError):
        key, where = ("cli.file", f"{error.filename}: ") if error.filename else ("cli.unprinted", "")
        text, code = say(key, where=where, reason=error.strerror or str(error)), _REFUSED
    else:
        text, code = say("cli.bug", kind=type(error).__name__, reason=str(error)), _BUG
    text = _LONG.sub(lambda long: f"{long[1] or long[2]}…", text)
    with suppress(OSError):
        if as_json and getattr(error, "answer", None) is None:  # what was stopped by a doubt has been answered
            faults = [Problem(str(each.place), each.what, each.advice) for each in getattr(error, "faults", ())]
            print_json(Failure(code, text, faults))
        sys.stdout.flush()
    with suppress(OSError):
        talk(text)
    return code


@contextmanager
def _warnings_in_words() -> Iterator[None]:
    """Say in words, each time, what is no failure but must be minded."""

    def tell(message: Warning | str, category: type[Warning], *where: Any, **more: Any) -> None:
        if issubclass(category, BookWarning):
            talk(str(message))
        else:
            others(message, category, *where, **more)

    with warnings.catch_warnings():
        others = warnings.showwarning
        warnings.simplefilter("always", BookWarning)
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
