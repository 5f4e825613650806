"""Sentences for a person stand in one place, each of them is said, and each is filled with what it names."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path
from string import Formatter

import pytest

import crosscompat
from crosscompat.ground.wording import catalogue, say
from crosscompat.model.prior import published

PACKAGE = Path(crosscompat.__file__).parent
ROOMS = sorted(path.stem for path in (PACKAGE / "ground" / "wording").glob("*.toml"))
SAID = {"echo", "line", "paragraph", "talk", "secho", "print", "Fault", "BadCell", "Caution", "WrongUse", "NoPairing",
        "UnknownName", "BadInput", "Busy", "warn", "fault"}  # fmt: skip
SILENT = {"names.how.exact"}
AMERICAN = re.compile(
    r"\b(color|gray|center|license[ds]?|behavior|organi[z]e|cataloge?|favor|labeled|fertiliz)", re.IGNORECASE
)


def entries():
    """Return every sentence by its full key; lists of words count as one."""
    found = {}

    def walk(path, value):
        if isinstance(value, dict):
            for key, inner in value.items():
                walk(f"{path}.{key}", inner)
        else:
            found[path] = value

    for room in ROOMS:
        walk(room, dict(catalogue(room)))
    return found


ENTRIES = entries()


@pytest.mark.parametrize(
    ("last", "ends"), [("E. sp.", ": E. sp."), ("E. rex", ": E. rex."), ("and so on...", "on...."), ("a..", ": a...")]
)
def test_a_sentence_ends_in_one_full_stop(last, ends):
    assert say("labels.nearest", numbers=last).endswith(ends)


@pytest.mark.parametrize(("n", "says"), [(1, "cross once:"), (2, "cross 2 times:"), (0, "cross 0 times:")])
def test_one_time_is_once(n, says):
    assert says in say("ask.made", n=n, took=0)


@cache
def trees():
    return [(path, ast.parse(path.read_text(encoding="utf-8"))) for path in sorted(PACKAGE.rglob("*.py"))]


def calls():
    for path, tree in trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call):
                name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
                yield f"{path.relative_to(PACKAGE)}:{node.lineno}", name, node


def keys_of(argument):
    """Return the patterns of the keys that a first argument of ``say`` may be; none if that cannot be told."""
    if isinstance(argument, ast.Constant):
        return [re.escape(argument.value)]
    if isinstance(argument, ast.JoinedStr):
        parts = [re.escape(p.value) if isinstance(p, ast.Constant) else "(.+)" for p in argument.values]
        return ["".join(parts)]
    if isinstance(argument, ast.BinOp):
        return [f"{start}(.+)" for start in keys_of(argument.left)]
    if isinstance(argument, ast.IfExp):
        return keys_of(argument.body) + keys_of(argument.orelse)
    return []


def said_in_templates():
    """Every call of ``say`` in a page; its expressions are those of Python but for the sign that joins texts."""
    for path in sorted((PACKAGE / "web" / "templates").glob("*.html")):
        for expression in re.findall(r"{[{%](.*?)[}%]}", path.read_text(encoding="utf-8"), re.DOTALL):
            for call in re.finditer(r"\bsay\(", expression):
                node = ast.parse(_closed(expression[call.start() :]).replace("~", "+"), mode="eval").body
                yield from ((f"web/templates/{path.name}", key, node) for key in keys_of(node.args[0]))


def _closed(text):
    """A text up to the bracket that closes its first."""
    depth = 0
    for place, letter in enumerate(text):
        depth += (letter == "(") - (letter == ")")
        if letter == ")" and depth == 0:
            return text[: place + 1]
    raise AssertionError(text)


SAYINGS = [
    (where, key, node) for where, name, node in calls() if name == "say" and node.args for key in keys_of(node.args[0])
] + list(said_in_templates())


@cache
def words_in_code():
    """Return every literal of the code, whole and cut at its points, every name it uses, and those of the priors."""
    found = set()
    for _, tree in trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found |= {node.value, *re.split(r"[._]|(?<=\w) (?=\w+$)", node.value)}
            elif isinstance(node, (ast.Name, ast.FunctionDef)):
                found.add(node.id if isinstance(node, ast.Name) else node.name)
    for row in published().rows:
        found |= {row.basis, row.coefficient.replace(" ", "_")}
    return found


@cache
def looked_up():
    """Return what is taken from a room as a whole: ``catalogue("cells")["month_names"]``."""
    found = []
    for _, tree in trees():
        for node in ast.walk(tree):
            inner = node.value if isinstance(node, ast.Subscript) else None
            if isinstance(inner, ast.Call) and getattr(inner.func, "id", "") == "catalogue":
                found.append(".".join(p.value for p in (inner.args[0], node.slice) if isinstance(p, ast.Constant)))
    return found


def named_in(sentence):
    return {name for _, name, _, _ in Formatter().parse(sentence) if name}


def test_the_scan_sees_the_package():
    assert len(ROOMS) > 20
    assert len(SAYINGS) > 150
    assert len(ENTRIES) > 300


def test_every_key_that_is_said_exists():
    assert [
        f"{where}: {key}" for where, key, _ in SAYINGS if not any(re.fullmatch(key, entry) for entry in ENTRIES)
    ] == []


def meant(found):
    """Tell whether a pattern may really mean the entry it matched: what it left open is written in the code."""
    return all(not {piece, *piece.split(".")}.isdisjoint(words_in_code()) for piece in found.groups())


def is_said(entry):
    if any(entry == place or entry.startswith(f"{place}.") for place in looked_up()) or entry in words_in_code():
        return True
    return any((found := re.fullmatch(key, entry)) and meant(found) for _, key, _ in SAYINGS)


def test_every_sentence_is_said_somewhere():
    assert [entry for entry in ENTRIES if entry != "wording.example" and not is_said(entry)] == []


def faults_of(entry, sentence):
    """Return what is wrong with a sentence as it stands in its file."""
    if not sentence and entry not in SILENT:
        yield "empty"
    for _, name, spec, conversion in Formatter().parse(sentence):
        if name is not None and not name.isidentifier():
            yield f"{name} is no name"
        if spec and spec != "d" and not re.fullmatch(r"[^|{}]+\|[^|{}]+", spec):
            yield f"{spec} is no pair of nouns"
        if conversion not in {None, "r"}:
            yield f"!{conversion}"
    if AMERICAN.search(sentence):
        yield "American spelling"


def test_every_sentence_can_be_filled_and_is_spelt_the_british_way():
    found = [
        f"{entry}: {fault}"
        for entry, value in ENTRIES.items()
        for sentence in (value if isinstance(value, list) else [value])
        for fault in faults_of(entry, sentence)
    ]
    assert found == []


OF_THE_GROUP = {"pod", "pods", "flower", "flowers"}
"""What `say` fills in by itself, in the words of the group."""


def plain_keywords(node):
    """Return the values handed to ``say`` by name; None if some come in a bundle."""
    return None if any(word.arg is None for word in node.keywords) else {word.arg for word in node.keywords}


def test_what_a_sentence_names_is_what_it_is_given():
    """Where the key is plain; where it is a pattern, one sentence at least that it matches."""
    wrong = []
    for where, key, node in SAYINGS:
        given = plain_keywords(node)
        found = [match for entry in ENTRIES if (match := re.fullmatch(key, entry)) and meant(match)]
        named = [named_in(ENTRIES[match.string]) for match in found if isinstance(ENTRIES[match.string], str)]
        if given is None or not named:
            continue
        if not any(names - OF_THE_GROUP <= given for names in named):
            wrong.append(f"{where}: {key} is given {sorted(given)}")
    assert wrong == []


def spoken_words(argument):
    """Return how many words of its own a literal says, those that are filled in left out."""
    pieces = argument.values if isinstance(argument, ast.JoinedStr) else [argument]
    text = " ".join(str(p.value) for p in pieces if isinstance(p, ast.Constant) and isinstance(p.value, str))
    return len(re.findall(r"[A-Za-z]{2,}", text))


def test_no_sentence_for_a_person_stands_in_code():
    found = [
        f"{where}: {ast.unparse(node)}"
        for where, name, node in calls()
        if name in SAID
        for argument in (*node.args, *(word.value for word in node.keywords))
        if spoken_words(argument) > 2
    ]
    assert found == []


@pytest.mark.parametrize(
    ("code", "caught"),
    [
        ("typer.echo('this should not be here')", True),
        ("Fault(place, f'the row {n} is wrong')", True),
        ("line('row 2')", False),
        ("line(say('ask.why'))", False),
    ],
)
def test_the_scan_sees_a_sentence_in_code(code, caught):
    node = ast.parse(code).body[0].value
    assert any(spoken_words(argument) > 2 for argument in node.args) == caught


@pytest.mark.parametrize(
    ("n", "words"),
    [(0, "0 flowers"), (1, "1 flower"), (2, "2 flowers"), (1200, "1,200 flowers"), (-1, "-1 flowers")],
)
def test_a_count_chooses_its_noun(n, words):
    assert say("wording.example", n=n) == words


def test_what_is_missing_is_an_error_and_never_an_empty_sentence():
    with pytest.raises(KeyError):
        say("wording.example")
    with pytest.raises(KeyError):
        say("wording.nothing")
    with pytest.raises(KeyError):
        say("names.how.nothing")
    with pytest.raises(FileNotFoundError):
        say("nowhere.example")


def test_braces_in_what_a_person_wrote_are_left_alone():
    assert "{n}" in say("names.unknown_alone", name="{n}")
