"""Which pairings are worth the flowers: chances from a phylogenetic tree, shared traits and past crosses."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from crosscompat.api import open_collection
    from crosscompat.model.take import TakeModel
    from crosscompat.phylogeny.distances import read_distances
    from crosscompat.phylogeny.formats import read_tree
    from crosscompat.traits import read_traits

__version__ = "0.1.0"

__all__ = ["TakeModel", "__version__", "open_collection", "read_distances", "read_traits", "read_tree"]

_HOMES = {
    "open_collection": "crosscompat.api",
    "TakeModel": "crosscompat.model.take",
    "read_distances": "crosscompat.phylogeny.distances",
    "read_traits": "crosscompat.traits",
    "read_tree": "crosscompat.phylogeny.formats",
}


def __getattr__(name: str) -> Any:
    """Load a public name from its home when it is first asked for."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
