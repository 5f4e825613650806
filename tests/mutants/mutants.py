"""Does a test fail where the code is wrong: ``python tests/mutants/mutants.py ROOM [--sample N] [--seed S]``.

In an environment with cosmic-ray beside the project's own. ROOM is ``phylogeny``, ``pairing``, ``model`` or ``store``.
Of each place that one of cosmic-ray's operators would alter, chosen at random, one mutant is made in a copy of the
project, and the doctests of its module and those tests of its room that import it are run until the first fails. Those
that survive are printed with the line as it was and as it is. Left out are annotations, ``__all__``, what decorators
are given, ``strict=`` of zip, and tests that take long and ask about figures as a whole (``_SLOW``): what they alone
would kill counts as survived.
"""

from __future__ import annotations

import argparse
import ast
import difflib
import importlib
import os
import random
import re
import resource
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

HOME = Path(__file__).parents[2]
ROOMS = {
    "phylogeny": ("crosscompat/phylogeny", ("tests/phylogeny",)),
    "pairing": ("crosscompat/pairing.py", ("tests/test_pairing.py", "tests/model/test_take.py")),
    "model": ("crosscompat/model", ("tests/model",)),
    "store": ("crosscompat/book/store", ("tests/book/store", "tests/book/import_export/test_whole_book.py")),
}
_SLOW = (
    *("test_benchmarks", "test_sanity", "test_published_mixed_models", "test_robust", "test_lost_replies"),
    *("seven_hundred", "no_room", "loads_no_other"),
)
_LOADED = ("numpy", "scipy.optimize", "scipy.special", "pandas", "dendropy")
_SECONDS = 120


class Mutant(NamedTuple):
    """An operator of cosmic-ray at one of the places where it applies in a module."""

    module: Path
    place: tuple[int, int]
    operator: str
    occurrence: int


def main() -> None:
    """Make mutants, test them and tell which survive."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("room", choices=ROOMS)
    parser.add_argument("--sample", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    for name in _LOADED:
        importlib.import_module(name)
    copy = Path(tempfile.mkdtemp())
    left_out = shutil.ignore_patterns(".*", "*.pyc", "__pycache__")
    shutil.copytree(HOME, copy, ignore=left_out, dirs_exist_ok=True)
    code, tests = ROOMS[given.room]
    modules = [copy / code] if code.endswith(".py") else sorted((copy / code).rglob("*.py"))
    chosen = sample([one for module in modules for one in mutants(module)], given.sample, given.seed)
    if outcome(copy, modules[0], tests) != "survived":
        raise SystemExit("The tests fail before anything is altered.")
    told: Counter[str] = Counter()
    for mutant in chosen:
        try:
            ended, change = tried(copy, mutant, tests)
        except AttributeError as error:  # the operator for exceptions knows plain names alone
            ended, change = "not made", str(error)
        told[ended] += 1
        print(ended, f"{mutant.module.relative_to(copy)}:{mutant.place[0]}", mutant.operator, flush=True)  # noqa: T201
        if ended == "survived":
            print(change, flush=True)  # noqa: T201
    shutil.rmtree(copy)
    made = len(chosen) - told["not made"]
    killed = made - told["survived"]
    print(f"{given.room}: {killed} of {made} killed, {told['stopped']} of them by time")  # noqa: T201


def mutants(module: Path) -> Iterator[Mutant]:
    """Yield every mutant of a module that could alter an answer."""
    from cosmic_ray.ast import Visitor, get_ast
    from cosmic_ray.plugins import get_operator, operator_names

    source = module.read_text(encoding="utf-8")
    spared = _spared(ast.parse(source))

    class Places(Visitor):
        def visit(self, node):
            for start, _ in self.operator.mutation_positions(node):
                self.found.append(start)
            return node

    code = get_ast(source)
    for name in operator_names():
        with suppress(TypeError):  # an operator that wants settings
            places = Places()
            places.operator, places.found = get_operator(name)(), []
            places.walk(code)
            for occurrence, place in enumerate(places.found):
                if not any(first <= place < last for first, last in spared):
                    yield Mutant(module, tuple(place), name, occurrence)


def _spared(tree: ast.Module) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Return where that begins and ends which alters no answer."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            found.append(node.returns)
        elif isinstance(node, ast.arg | ast.AnnAssign):
            found.append(node.annotation)
        elif isinstance(node, ast.ClassDef):
            found += node.decorator_list
        elif isinstance(node, ast.keyword):
            found += [node.value] if node.arg == "strict" else []
        elif isinstance(node, ast.Assign):
            found += [node.value] if getattr(node.targets[0], "id", "") == "__all__" else []
    there = [node for node in found if node is not None]
    return [((node.lineno, node.col_offset), (node.end_lineno, node.end_col_offset)) for node in there]


def sample(every: list[Mutant], size: int, seed: int) -> list[Mutant]:
    """Choose places at random, and one mutant of each; so no sign counts for the many that could stand in its stead."""
    chance = random.Random(seed)
    by_place: dict[tuple[Path, tuple[int, int]], list[Mutant]] = {}
    for mutant in every:
        by_place.setdefault((mutant.module, mutant.place), []).append(mutant)
    return [chance.choice(by_place[place]) for place in chance.sample(sorted(by_place), min(size, len(by_place)))]


def tried(copy: Path, mutant: Mutant, tests: tuple[str, ...]) -> tuple[str, str]:
    """Return whether a mutant is killed, runs for ever or survives, and how it differs."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    source = mutant.module.read_text(encoding="utf-8")
    altered = mutate_code(source, get_operator(mutant.operator)(), mutant.occurrence)
    mutant.module.write_text(altered, encoding="utf-8")
    ended = outcome(copy, mutant.module, tests)
    mutant.module.write_text(source, encoding="utf-8")
    lines = difflib.unified_diff(source.splitlines(), altered.splitlines(), n=0, lineterm="")
    return ended, "\n".join(list(lines)[3:])


def outcome(copy: Path, module: Path, tests: tuple[str, ...]) -> str:
    """Return whether the tests fail ("killed"), run for too long ("stopped") or pass ("survived")."""
    child = os.fork()
    if not child:
        _test(copy, module, tests)
    _, status = os.waitpid(child, 0)
    code = os.waitstatus_to_exitcode(status)
    return "survived" if code == 0 else "killed" if code > 0 else "stopped"


def _test(copy: Path, module: Path, tests: tuple[str, ...]) -> None:
    """Run the tests nearest to a module first, in the child, and end with pytest's exit code."""
    import pytest

    resource.setrlimit(resource.RLIMIT_CPU, (_SECONDS, _SECONDS))
    nothing = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, 1)
    os.dup2(nothing, 2)
    os.chdir(copy)
    sys.dont_write_bytecode = True
    sys.path.insert(0, str(copy))
    os.environ["PYTHONPATH"] = str(copy)
    files = [path for place in tests for path in (sorted((copy / place).glob("test_*.py")) or [copy / place])]
    used = ".".join(module.relative_to(copy).with_suffix("").parts).removesuffix(".__init__")
    if (module.parent / "__init__.py").read_text(encoding="utf-8").count("\nfrom "):
        used = rf"{used}|{used.rpartition('.')[0]}"  # a package that gives on what its modules hold
    files = [path for path in files if path.stem not in _SLOW]
    files = [path for path in files if re.search(rf"(?:{used})\b(?!\.)", path.read_text(encoding="utf-8"))] or files
    files.sort(key=lambda path: module.stem not in path.stem)
    options = ["-x", "-q", "-n", "0", "-p", "no:cacheprovider", "-m", "not shared", "-k", f"not ({' or '.join(_SLOW)})"]
    os._exit(pytest.main([str(module), *map(str, files), *options]))


if __name__ == "__main__":
    main()
