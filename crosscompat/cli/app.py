"""The command line: which commands there are, and what a call that cannot be read is told."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from functools import cache
from importlib import import_module
from typing import Annotated, Any, Final

import typer
from typer.core import TyperGroup

from crosscompat import __version__
from crosscompat.cli.guard import in_words
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["COMMANDS", "app"]

COMMANDS: Final = {
    "new": "crosscompat.cli.book.new:new",
    "check": "crosscompat.cli.book.check:check",
    "ask": "crosscompat.cli.forecasting:ask",
    "rank": "crosscompat.cli.forecasting:rank",
    "distances": "crosscompat.cli.distances:distances",
    "retrain": "crosscompat.cli.forecasting:retrain",
    "due": "crosscompat.cli.book.due:due",
    "score": "crosscompat.cli.forecasting:score",
    "priors": "crosscompat.cli.forecasting:priors",
    "tree": "crosscompat.cli.forecasting:tree",
    "trees": "crosscompat.cli.trees:trees",
    "label": "crosscompat.cli.book.label:label",
    "demo": "crosscompat.cli.forecasting:demo",
    "tonight": "crosscompat.cli.book.tonight:tonight",
    "plant": "crosscompat.cli.book.plant:plant",
    "pollinate": "crosscompat.cli.book.pollinate:pollinate",
    "observe": "crosscompat.cli.book.observe:observe",
    "correct": "crosscompat.cli.book.correct:correct",
    "history": "crosscompat.cli.book.history:history",
    "undo": "crosscompat.cli.book.history:undo",
    "backup": "crosscompat.cli.book.backup:backup",
    "restore": "crosscompat.cli.book.backup:restore",
    "find": "crosscompat.cli.book.find:find",
    "import": "crosscompat.cli.book.importing:import_",
    "export": "crosscompat.cli.book.exporting:export",
    "guide": "crosscompat.cli.guide:guide",
}
"""Where the function of each command stands; its help is in ``help.toml``."""

_HELP: Final = {"help_option_names": ["-h", "--help"]}
_EXTRA: Final = re.compile(r"arguments?(?:\(s\))? \((.*)\)$", re.DOTALL)


@cache
def _made(name: str) -> Any:
    """Return a command, its file imported only now."""
    module, _, function = COMMANDS[name].partition(":")
    alone = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    example = say("help.example", command=say(f"help.examples.{name}"))
    register = alone.command(name, help=say(f"help.{name}"), epilog=example, context_settings=dict(_HELP))
    register(getattr(import_module(module), function))
    return typer.main.get_command(alone)


class _Lazily(Mapping[str, Any]):
    """The commands by name, each made when it is asked for."""

    def __getitem__(self, name: str) -> Any:
        if name not in COMMANDS:
            raise KeyError(name)
        return _made(name)

    def __iter__(self) -> Iterator[str]:
        return iter(COMMANDS)

    def __len__(self) -> int:
        return len(COMMANDS)


class _Commands(TyperGroup):
    """All commands: listed with whole sentences, made one at a time, refused in our own words."""

    def __init__(self, **attributes: Any) -> None:
        super().__init__(**attributes)
        self.commands: Any = _Lazily()

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002 - typer's way of calling
        with formatter.section(say("help.commands")):
            formatter.write_dl([(name, say(f"help.{name}")) for name in COMMANDS])

    def invoke(self, ctx: Any) -> Any:
        with in_words(_in_our_words):
            super().invoke(ctx)
            raise SystemExit(0)

    def main(self, args: Sequence[str] | None = None, prog_name: str | None = None, *more: Any, **options: Any) -> Any:
        with in_words(_in_our_words):
            code = super().main(args, prog_name, *more, **options | {"standalone_mode": False})
            raise SystemExit(code if isinstance(code, int) else 0)


def _in_our_words(error: Exception) -> Exception:
    """Return what the reader of the command line refused as an error of ours; any other stays what it is."""
    kinds = {kind.__name__ for kind in type(error).__mro__}
    if "UsageError" not in kinds:
        return error
    return WrongUse(_refusal(error, kinds) + say("usage.help", command=_called(error)))


def _called(error: Any) -> str:
    _, *rest = error.ctx.command_path.split() if error.ctx is not None else ("",)
    return " ".join(("crosscompat", *rest))


def _refusal(error: Any, kinds: set[str]) -> str:
    command, message = _called(error), str(error.message)
    if "NoSuchOption" in kinds:
        near = ", ".join(error.possibilities or ())
        return say("usage.no_option", command=command, option=error.option_name) + _near(near)
    if "MissingParameter" in kinds:
        return say("usage.missing", command=command, what=error.param.metavar, help=error.param.help)
    if "BadOptionUsage" in kinds:
        return say("usage.no_value", option=error.option_name)
    if "BadParameter" in kinds:
        return say("usage.value", what=error.param.opts[0] if error.param else "", message=message)
    if command == "crosscompat":
        named = message.split("'")[1] if "'" in message else ""
        near = ", ".join(get_close_matches(named, COMMANDS, n=2))
        return say("usage.no_command", name=named) + _near(near)
    extra = _EXTRA.search(message)
    return say("usage.extra", command=command, words=extra[1] if extra else message)


def _near(names: str) -> str:
    return say("usage.near", names=names) if names else ""


app = typer.Typer(
    cls=_Commands,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help=say("help.app"),
    context_settings=_HELP,
)


def _version(value: bool) -> None:  # noqa: FBT001 - typer's way of calling
    if value:
        typer.echo(f"crosscompat {__version__}")
        raise typer.Exit


Version = Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help=say("help.version"))]


@app.callback(invoke_without_command=True)
def _first(context: typer.Context, *, version: Version = False) -> None:  # noqa: ARG001 - answered by its callback
    if context.invoked_subcommand is None:
        typer.echo(say("cli.first"))
