"""Who may ask what: this machine, or a device that was let in by a key; and only a page of ours may write."""

from __future__ import annotations

import hmac
import secrets
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Lock

from flask import Flask, Response, abort, redirect, request, session
from werkzeug.wrappers import Response as BaseResponse

LARGEST = 5_000_000
"""Bytes that may be sent at once: a table of many years, no photographs."""

_TRIES, _SECONDS = 5, 60
_LOCAL = frozenset({"127.0.0.1", "::1"})
_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)


@dataclass
class Keys:
    """Keys that let one device in each; ``renewed`` is told the next one.

    Examples
    --------
    >>> keys = Keys([].append)
    >>> first = keys.current
    >>> keys.fits("no key", "10.0.0.7"), keys.fits(first, "10.0.0.7"), keys.fits(first, "10.0.0.8")
    (False, True, False)
    """

    renewed: Callable[[str], None]
    current: str = field(default_factory=secrets.token_urlsafe)
    _wrong: dict[str, deque[float]] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def fits(self, key: str, address: str) -> bool:
        """Tell whether a key lets a device in, which it does once; whoever guesses too often waits a minute."""
        with self._lock:
            tries = self._wrong.setdefault(address, deque(maxlen=_TRIES))
            if len(tries) == _TRIES and time.monotonic() - tries[0] < _SECONDS:
                abort(429)
            if not hmac.compare_digest(key.encode(), self.current.encode()):
                tries.append(time.monotonic())
                return False
            self.current = secrets.token_urlsafe()
        self.renewed(self.current)
        return True


def protect(app: Flask, hosts: frozenset[str], keys: Keys | None) -> None:
    """Let only those hosts be asked for, only devices in that were given a key, and only our own forms write.

    Without ``keys`` the app is for this machine alone. A request from elsewhere is refused before anything is read.
    """
    app.secret_key = secrets.token_bytes(32)
    app.config.update(
        MAX_CONTENT_LENGTH=LARGEST,
        MAX_FORM_MEMORY_SIZE=LARGEST,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Strict",
        SESSION_COOKIE_NAME="crosscompat",
    )

    @app.before_request
    def checked() -> BaseResponse | None:
        if request.host not in hosts:
            abort(421)
        if request.endpoint in {"static", "let_in"}:
            return None
        if not (_is_here() or (keys is not None and session.get("in"))):
            abort(401)
        session.setdefault("token", secrets.token_urlsafe())
        if request.method == "POST" and not _is_ours(hosts):
            abort(403)
        return None

    @app.get("/key/<key>")
    def let_in(key: str) -> BaseResponse:
        if keys is None or not keys.fits(key, request.remote_addr or ""):
            abort(401)
        session["in"] = True
        return redirect("/")

    @app.after_request
    def sealed(response: Response) -> Response:
        response.headers.setdefault("Content-Security-Policy", _POLICY)
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cache-Control"] = "max-age=3600" if request.endpoint == "static" else "no-store"
        return response


def _is_here() -> bool:
    """Tell whether somebody at this machine asks: nothing else can use its own address."""
    return request.remote_addr in _LOCAL


def _is_ours(hosts: frozenset[str]) -> bool:
    """Tell whether a form is one that we gave to this very browser."""
    origin = request.headers.get("Origin")
    if origin is not None and origin.partition("://")[2] not in hosts:
        return False
    given, token = request.form.get("token", ""), session.get("token", "")
    return bool(token) and hmac.compare_digest(given.encode(), token.encode())
