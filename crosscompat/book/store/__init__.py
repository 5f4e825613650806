"""The one room that speaks SQL."""

from crosscompat.book.store.database import Damaged, Unreachable
from crosscompat.book.store.pages import Change, Reading, Version, Writing
from crosscompat.book.store.store import Store, open_store

__all__ = ["Change", "Damaged", "Reading", "Store", "Unreachable", "Version", "Writing", "open_store"]
