from __future__ import annotations

import re
import shutil
import socket
import threading
from html import unescape

import pytest

HOST = "localhost"


@pytest.fixture
def folder(demo, tmp_path):
    """A copy of the demonstration that may be written in."""
    return shutil.copytree(demo, tmp_path / "nursery")


@pytest.fixture
def make_client():
    """Makes a browser without JavaScript on the pages of a folder."""
    from crosscompat.web.app import make_app

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

    from crosscompat.web.app import make_app

    servers = []

    def started(folder, **more):
        listening = socket.create_server(("127.0.0.1", 0))
        port = listening.getsockname()[1]
        app = make_app(folder, frozenset({f"127.0.0.1:{port}"}), **more)
        server = waitress.create_server(app, sockets=[listening], threads=8)
        threading.Thread(target=server.run, daemon=True).start()
        servers.append((server, app))
        return f"http://127.0.0.1:{port}"

    yield started
    for server, app in servers:
        server.close()
        app.extensions["nursery"].close()
