from __future__ import annotations

import socket
import subprocess
import threading
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial

import pytest


@pytest.fixture
def small_disk(tmp_path):
    """A disk of one megabyte."""
    folder = tmp_path / "disk"
    folder.mkdir()
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder], check=False, capture_output=True)
    if made.returncode:
        pytest.skip("no disk can be mounted here (needs root)")
    yield folder
    subprocess.run(["umount", folder], check=True)


def connected(server):
    """Connect to a server by its network address, or by the socket in the folder that its address names."""
    port, folder = server.get("port", 5432), server.get("host", "localhost")
    if not folder.startswith("/"):
        return socket.create_connection((folder, port))
    ours = socket.socket(socket.AF_UNIX)
    ours.connect(f"{folder}/.s.PGSQL.{port}")
    return ours


@pytest.fixture
def proxy(with_parts):
    """Open a way to a server that is cut, once armed, when something was written and a COMMIT comes."""
    return partial(cut_at_commit, with_parts)


@dataclass
class Cut:
    """When a way is cut, whether the server has heard the COMMIT then, and whether nobody comes through afterwards."""

    armed: threading.Event
    delivered: bool
    for_good: bool
    gone: threading.Event = field(default_factory=threading.Event)

    def carry(self, source, target, cut, *, to_server):
        """Pass on what comes, until it is cut."""
        written = False
        with suppress(OSError):
            while data := source.recv(65_536):
                written = written or b"INSERT" in data or b"UPDATE" in data
                if to_server and written and b"COMMIT" in data and self.armed.is_set():
                    self.come_to(cut)
                    if not self.delivered:
                        break
                if not to_server and (cut.is_set() or self.gone.is_set()):
                    break
                target.sendall(data)
        for one in (source, target):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

    def come_to(self, cut):
        """Cut a connection, or all of them."""
        cut.set()
        self.armed.clear()
        if self.for_good:
            self.gone.set()

    def serve(self, door, server):
        """Let clients in, as long as there is a way."""
        with suppress(OSError):
            while True:
                client, _ = door.accept()
                if self.gone.is_set():
                    client.close()
                    continue
                ours, cut = connected(server), threading.Event()
                for pair, way in (((client, ours), True), ((ours, client), False)):
                    threading.Thread(
                        target=self.carry, args=(*pair, cut), kwargs={"to_server": way}, daemon=True
                    ).start()


@contextmanager
def cut_at_commit(with_parts, url, armed, *, delivered=True, for_good=True):
    """Open a way that is cut before the reply to a COMMIT, or before the server has heard it; for good or that once."""
    server = pytest.importorskip("psycopg.conninfo").conninfo_to_dict(url)
    door = socket.create_server(("127.0.0.1", 0))
    serving = threading.Thread(target=Cut(armed, delivered, for_good).serve, args=(door, server), daemon=True)
    serving.start()
    yield with_parts(url, host="127.0.0.1", port=door.getsockname()[1])
    with suppress(OSError):
        door.shutdown(socket.SHUT_RDWR)
    door.close()
    serving.join()
