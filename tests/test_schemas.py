"""The published schemas are those of the answers: a changed answer without a changed schema fails here."""

from __future__ import annotations

import importlib
import inspect
import json
import pkgutil
import re
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, datetime, time
from pathlib import Path
from types import UnionType
from typing import Literal, Union, get_args, get_origin, get_type_hints

import jsonschema
import pytest

import crosscompat.advice
import crosscompat.cli
import crosscompat.collection
import crosscompat.schemas
from crosscompat.schemas import schema

FOLDER = Path(crosscompat.schemas.__file__).parent


def answers():
    """Every dataclass that is an answer: one with a schema of its own."""
    for room in (crosscompat.advice, crosscompat.cli, crosscompat.collection):
        for module in pkgutil.walk_packages(room.__path__, room.__name__ + "."):
            for part in vars(importlib.import_module(module.name)).values():
                if is_dataclass(part) and part.__module__ == module.name and "schema" in part.__annotations__:
                    yield part


def name_of(answer):
    (name,) = get_args(get_type_hints(answer)["schema"])
    return name


def file_of(answer):
    return FOLDER / (name_of(answer).removeprefix("crosscompat.").replace("/", "-") + ".json")


def parts_of(answer, found=None):
    """Every dataclass that an answer is made of, by its name."""
    found = {} if found is None else found
    if is_dataclass(answer) and answer.__name__ not in found:
        found[answer.__name__] = answer
        for hint in get_type_hints(answer).values():
            parts_of(hint, found)
    for argument in get_args(answer):
        parts_of(argument, found)
    return found


def told(part):
    """What a docstring says of the part, and of each attribute, those of the classes above it among them."""
    attributes = {}
    for cls in reversed(part.__mro__[:-1]):
        said = re.split(r"^\w+\n-+\n", inspect.getdoc(cls), maxsplit=1, flags=re.MULTILINE)[0]
        listed = re.split(r"^Attributes\n-+\n", inspect.getdoc(cls), flags=re.MULTILINE)
        text = listed[1] + "\n" if listed[1:] else ""
        entries = re.findall(r"^([\w, ]+?)(?: : .*)?\n((?: {4}.*\n?)*)", text, re.MULTILINE)
        attributes |= {name: " ".join(text.split()) for names, text in entries for name in names.split(", ")}
    return " ".join(said.split()), {name: text for name, text in attributes.items() if text}


PLAIN = {
    str: {"type": "string"},
    int: {"type": "integer"},
    float: {"type": "number"},
    bool: {"type": "boolean"},
    type(None): {"type": "null"},
    date: {"format": "date", "type": "string"},
    time: {"format": "time", "type": "string"},
    datetime: {"format": "date-time", "type": "string"},
}


def shape(hint):
    """The schema of a type."""
    if is_dataclass(hint):
        return {"$ref": f"#/$defs/{hint.__name__}"}
    if get_origin(hint) in {Union, UnionType}:
        return {"anyOf": [shape(argument) for argument in get_args(hint)]}
    if get_origin(hint) is list:
        return {"items": shape(get_args(hint)[0]), "type": "array"}
    if get_origin(hint) is Literal:
        words = get_args(hint)
        return {"type": "string"} | ({"const": words[0]} if len(words) == 1 else {"enum": list(words)})
    return PLAIN[hint]


def closed(part):
    """An object's schema with every property required, no other allowed, and the words of its docstring."""
    summary, attributes = told(part)
    properties = {
        name: shape(hint) | ({"description": attributes[name]} if name in attributes else {})
        for name, hint in get_type_hints(part).items()
    }
    return {
        "title": part.__name__,
        "description": summary,
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def generated(answer):
    parts = parts_of(answer)
    defs = {name: closed(part) for name, part in sorted(parts.items()) if part is not answer}
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": name_of(answer)}
    return head | closed(answer) | ({"$defs": defs} if defs else {})


ANSWERS = tuple(answers())


@pytest.mark.parametrize("answer", ANSWERS, ids=name_of)
def test_the_published_schema_is_that_of_the_answer(answer, update_golden):
    now = generated(answer)
    if update_golden:
        file_of(answer).write_text(json.dumps(now, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    assert json.loads(file_of(answer).read_text(encoding="utf-8")) == now


@pytest.mark.parametrize("answer", ANSWERS, ids=name_of)
def test_every_schema_is_one_and_is_found_by_its_name(answer):
    name = name_of(answer)
    found = schema(name)
    jsonschema.Draft202012Validator.check_schema(found)
    assert found["$id"] == found["properties"]["schema"]["const"] == name
    assert "schema" in found["required"]
    assert set(found["required"]) == {field.name for field in fields(answer)}


def test_there_is_a_file_for_each_answer_and_no_other():
    assert sorted(FOLDER.glob("*.json")) == sorted(map(file_of, ANSWERS))


@pytest.mark.parametrize("name", ["crosscompat.ask/1", "crosscompat.sow/1", "ask/1", "crosscompat.../ask/1", ""])
def test_no_other_name_has_a_schema(name):
    with pytest.raises(LookupError):
        schema(name)


@dataclass(frozen=True, slots=True)
class Leaf:
    """A leaf."""

    length: float | None


@dataclass(frozen=True, slots=True)
class Twig:
    """A twig.

    It has two leaves.

    Attributes
    ----------
    old, young : Leaf
        Its leaves.
    note : str
    """

    old: Leaf
    young: Leaf
    note: str
    schema: Literal["crosscompat.twig/1"] = "crosscompat.twig/1"


def test_a_schema_says_what_the_class_says():
    assert generated(Twig) == {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "crosscompat.twig/1",
        "title": "Twig",
        "description": "A twig. It has two leaves.",
        "type": "object",
        "properties": {
            "old": {"$ref": "#/$defs/Leaf", "description": "Its leaves."},
            "young": {"$ref": "#/$defs/Leaf", "description": "Its leaves."},
            "note": {"type": "string"},
            "schema": {"type": "string", "const": "crosscompat.twig/1"},
        },
        "required": ["old", "young", "note", "schema"],
        "additionalProperties": False,
        "$defs": {
            "Leaf": {
                "title": "Leaf",
                "description": "A leaf.",
                "type": "object",
                "properties": {"length": {"anyOf": [{"type": "number"}, {"type": "null"}]}},
                "required": ["length"],
                "additionalProperties": False,
            }
        },
    }
