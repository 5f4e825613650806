"""Bringing an older book up to date by the migrations that lie beside this file."""

from __future__ import annotations

from importlib.resources import files

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

from crosscompat.book.store.engine import transaction

__all__ = ["known_versions", "migrate"]


def known_versions() -> list[str]:
    """Return every version there ever was, oldest first."""
    scripts = ScriptDirectory.from_config(_config()).walk_revisions()
    return [script.revision for script in reversed(list(scripts))]


def migrate(engine: Engine, version: str = "head") -> None:
    """Bring a book to a version, in one transaction."""
    config = _config()
    with transaction(engine, writing=True) as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, version)


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(files("crosscompat.book.store").joinpath("migrations")))
    return config
