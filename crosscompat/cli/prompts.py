"""Asking the person at the terminal, where there is one."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import typer

from crosscompat.ground.wording import say

__all__ = ["choose", "confirm", "on_a_terminal"]


def on_a_terminal() -> bool:
    """Tell whether somebody can answer."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def confirm(question: str) -> bool | None:
    """Ask yes or no, a blank being no; None where nobody can be asked."""
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return None
    return typer.confirm(question, err=True)


def choose(question: str, words: Sequence[str]) -> str | None:
    """Ask for one of some words, of which the beginning is enough, until it is one; None if there is no answer."""
    prompt = say("asking.choose", question=question, words="/".join(words))
    while True:
        try:
            told = input(prompt).strip().casefold()
        except EOFError:
            return None
        found = [word for word in words if told and word.startswith(told)]
        if len(found) == 1 or told in words:
            return told if told in words else found[0]
