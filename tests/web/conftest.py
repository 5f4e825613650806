from __future__ import annotations

import re
import shutil
import socket
import threading
from contextlib import suppress
from html import unescape

import pytest

from crosscompat.book.records import new_id
from crosscompat.collection.settings import FILE_NAME, open_book, read_settings
from crosscompat.web.app import make_app

HOST = "localhost"


@pytest.fixture
def folder(demo, tmp_path):
    """A copy of the demonstration that may be written in."""
    return shutil.copytree(demo, tmp_path / "nursery")


@pytest.fixture
def make_client():
    """Makes a browser without JavaScript on the pages of a folder."""
    return lambda folder, **more: Browser(make_app(folder, frozenset({HOST}), **more).test_client())


@pytest.fixture
def client(folder, make_client):
    """A browser without JavaScript on the pages of the demonstration."""
    return make_client(folder)


class Browser:
    """Reads pages as text, and sends a page's forms with what they hold."""

    def __init__(self, client):
        self.client = client
        self.page = ""

    def get(self, path, code=200, **more):
        """Open a page and return its words."""
        return self._read(self.client.get(path, follow_redirects=True, **more), code)

    def send(self, path, code=200, *, again=True, **fields):
        """Send a form of the page that is open to a path, with its hidden fields and what is typed."""
        data = (self.hidden(path) if again else {}) | fields
        return self._read(self.client.post(path, data=data, follow_redirects=True), code)

    def hidden(self, path):
        """What the form for a path holds without being typed: its token, its change, and what is set already."""
        forms = re.findall(r"<form([^>]*)>(.*?)</form>", self.page, re.DOTALL)
        inside = next(
            body for head, body in forms if "post" in head and (f'action="{path}"' in head or "action" not in head)
        )
        found = {}
        for tag in re.findall(r"<input[^>]*>", inside):
            parts = dict(re.findall(r'(\w+)="([^"]*)"', tag))
            if parts.get("type") not in {"checkbox", "radio"} or " checked" in tag:
                found[parts["name"]] = unescape(parts.get("value", ""))
        return found

    def _read(self, response, code):
        self.page = response.get_data(as_text=True)
        assert response.status_code == code, self.words
        return self.words

    @property
    def words(self):
        """The page as it is read aloud."""
        return " ".join(unescape(re.sub(r"<[^>]+>", " ", self.page)).split())


@pytest.fixture
def serve():
    """Serves the pages of a folder on this machine, by the server that the command uses, and gives their address."""
    import waitress

    servers = []

    def run(server):
        with suppress(OSError):  # closed while it waits for somebody
            server.run()

    def started(folder, **more):
        listening = socket.create_server(("127.0.0.1", 0))
        port = listening.getsockname()[1]
        app = make_app(folder, frozenset({f"127.0.0.1:{port}"}), **more)
        server = waitress.create_server(app, sockets=[listening], threads=8)
        threading.Thread(target=run, args=(server,), daemon=True).start()
        servers.append((server, app))
        return f"http://127.0.0.1:{port}"

    yield started
    for server, app in servers:
        server.close()
        app.extensions["nursery"].close()


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
def phone(folder):
    app = make_app(folder, frozenset({HOST}))
    yield Phone(app)
    app.extensions["nursery"].close()


@pytest.fixture
def written(folder):
    """Return the records of a kind that stand in the book."""

    def records(kind, **where):
        with open_book(folder, read_settings(folder / FILE_NAME)) as store, store.reading() as page:
            return page.current(kind, **where)

    return records


@pytest.fixture
def says():
    """Return what a page says, without its marks."""
    return lambda page: " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


@pytest.fixture(scope="session")
def chromium():
    """A real browser without a window."""
    api = pytest.importorskip("playwright.sync_api")
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if found is None:
        pytest.skip("no Chromium is installed")
    with api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield browser
        browser.close()
