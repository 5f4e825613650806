"""The one room that speaks SQL."""

from crosscompat.book.store.engine import Damaged, Unreachable
from crosscompat.book.store.store import Change, Reading, Store, Version, Writing, open_store

__all__ = ["Change", "Damaged", "Reading", "Store", "Unreachable", "Version", "Writing", "open_store"]
