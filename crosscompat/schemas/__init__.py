"""The published shape of every JSON answer (JSON Schema, draft 2020-12), one file an answer."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from typing import Any

__all__ = ["schema"]


def schema(name: str) -> dict[str, Any]:
    """Return the schema of an answer, by the name that the answer itself carries under ``schema``.

    Raises
    ------
    LookupError
        If no schema has that name.

    Examples
    --------
    >>> schema("crosscompat.ask/3")["properties"]["schema"]["const"]
    'crosscompat.ask/3'
    """
    parts = re.fullmatch(r"crosscompat\.([a-z]+)/(\d+)", name)
    file = files(__name__).joinpath(f"{parts[1]}-{parts[2]}.json") if parts else None
    if file is None or not file.is_file():
        raise LookupError(f"no answer has the schema {name!r}")
    found: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return found
