from __future__ import annotations

import re
import shutil
from html import unescape
from pathlib import Path

import pytest

from crosscompat.book.records import new_id
from crosscompat.collection.settings import FILE_NAME, open_book, read_settings
from crosscompat.web.app import make_app


@pytest.fixture
def own(demo, tmp_path):
    """A copy of the demonstration that a test may change."""
    return Path(shutil.copytree(demo, tmp_path / "own"))


class Phone:
    """A browser at the pages, without JavaScript."""

    def __init__(self, app):
        self.app = app
        self.client = app.test_client()

    def another(self):
        """Another phone at the same pages."""
        return Phone(self.app)

    def page(self, where, code=200):
        """Open a page, wherever it leads."""
        answer = self.client.get(where, follow_redirects=True)
        assert answer.status_code == code, answer.text
        return answer.text

    def send(self, where, code=200, change=None, **fields):
        """Send a form as the page that holds it would, and return the page that comes then."""
        self.page("/look")
        with self.client.session_transaction() as session:
            token = session["token"]
        form = {"token": token, "change": change or new_id(), **fields}
        answer = self.client.post(where, data=form, follow_redirects=True)
        assert answer.status_code == code, answer.text
        return answer.text

    def agree(self, where, page):
        """Say yes to what a page asks about, and return the page that comes then."""
        fields = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page)
        form = {}
        for name, value in fields:
            form.setdefault(name, []).append(unescape(value))
        answer = self.client.post(where, data=form, follow_redirects=True)
        assert answer.status_code == 200, answer.text
        return answer.text


@pytest.fixture
def phone(own):
    app = make_app(own, frozenset({"localhost"}))
    yield Phone(app)
    app.extensions["nursery"].close()


@pytest.fixture
def written(own):
    """Return the records of a kind that stand in the book."""

    def records(kind, **where):
        with open_book(own, read_settings(own / FILE_NAME)) as store, store.reading() as page:
            return page.current(kind, **where)

    return records


def words(page):
    """Return what a page says, without its marks."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


@pytest.fixture
def says():
    """Return what a page says, without its marks."""
    return words
