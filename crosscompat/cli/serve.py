"""The collection as pages for a browser: on this machine, or for phones in the same house."""

from __future__ import annotations

import socket
import webbrowser
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from crosscompat.cli.options import Folder, confirm, count, plain
from crosscompat.cli.output import line, paragraph
from crosscompat.collection.settings import FILE_NAME
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from flask import Flask

_HERE, _PORT, _THREADS = "127.0.0.1", 8087, 8


def serve(
    port: Annotated[int, count("--port", "help.serve_port", least=0, most=65_535)] = _PORT,
    folder: Folder = None,
    *,
    lan: Annotated[bool, plain("--lan", "help.serve_lan")] = False,
    browser: Annotated[bool, plain("--browser", "help.serve_browser")] = False,
) -> None:
    """Serve until somebody stops it."""
    try:
        from crosscompat.web.app import make_app
        from crosscompat.web.guard import Keys
    except ModuleNotFoundError as error:
        raise WrongUse(say("serve.no_library", library=error.name)) from None
    listening = [_bound(_HERE, port)]
    number = listening[0].getsockname()[1]
    if lan:
        listening.append(_bound(_own_address(), number))
    names = {"localhost", *(one.getsockname()[0] for one in listening)}
    hosts = frozenset(f"{name}:{number}" for name in names)

    def show(key: str) -> None:
        address = f"http://{listening[-1].getsockname()[0]}:{number}/key/{key}"
        paragraph(say("serve.key", address=address))
        line(_code(address))

    keys = Keys(show) if lan else None
    app = make_app(folder or Path(), hosts, keys)
    paragraph(say("serve.at", address=f"http://{_HERE}:{number}/"))
    paragraph(say("serve.lan" if lan else "serve.here"))
    if keys is not None:
        show(keys.current)
    paragraph(say("serve.stop"))
    if browser:
        webbrowser.open(f"http://{_HERE}:{number}/")
    _run(app, listening)


def offer_pages() -> None:
    """Ask whether to begin a collection on pages, where there is none yet."""
    if not Path(FILE_NAME).exists() and find_spec("flask") and confirm(say("serve.offer")):
        serve(browser=True)


def _run(app: Flask, listening: list[socket.socket]) -> None:
    import waitress

    with suppress(KeyboardInterrupt):
        waitress.serve(app, sockets=listening, threads=_THREADS, ident=None)
    line(say("serve.stopped"))


def _bound(where: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((where, port))
        listening.listen()
    except OSError:
        listening.close()
        raise WrongUse(say("serve.port_taken", port=port)) from None
    return listening


def _own_address() -> str:
    """Return this machine's address in the house; nothing is sent to find it out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documents, RFC 5737: nobody has it
        except OSError:
            raise WrongUse(say("serve.no_network")) from None
        return str(probe.getsockname()[0])


def _code(address: str) -> str:
    import io

    import segno

    drawn = io.StringIO()
    segno.make(address, error="m").terminal(drawn, compact=True)
    return drawn.getvalue()
