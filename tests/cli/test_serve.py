"""The pages from the command line: where they are, who may come in, and that they end when they are told to."""

from __future__ import annotations

import http.client
import re
import signal
import subprocess
import sys
from contextlib import contextmanager

import pytest

pytest.importorskip("flask")


@contextmanager
def serving(folder, *more):
    """The command in a process of its own, once it says how to stop it, with all that it said so far."""
    command = [sys.executable, "-u", "-m", "crosscompat", "serve", "--port", "0", "--collection", str(folder), *more]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        said = []
        for line in process.stdout:
            said.append(line)
            if "Ctrl+C" in line:
                break
        try:
            yield "".join(said)
        finally:
            process.send_signal(signal.SIGINT)
        assert "Stopped" in process.stdout.read()
        assert process.wait() == 0


def page(address, path="/"):
    connection = http.client.HTTPConnection(address, timeout=30)
    connection.request("GET", path)
    answer = connection.getresponse()
    text = answer.read().decode("utf-8")
    connection.close()
    return answer.status, text


def test_it_says_where_it_is_and_shows_the_pages_until_it_is_stopped(demo):
    with serving(demo) as said:
        assert "Only this machine" in said
        status, text = page(re.search(r"http://(127\.0\.0\.1:\d+)/", said)[1])
    assert status == 200
    assert "To look at this week" in text


def test_for_other_devices_it_prints_a_key_and_lets_nobody_in_without_it(demo):
    with serving(demo, "--lan") as said:
        assert "never on the internet" in said
        host, key = re.search(r"http://([\d.]+:\d+)(/key/[\w-]+)", said).groups()
        status, text = page(host)
        if not host.startswith("127."):
            assert status == 401
            assert "Scan the code" in text
        assert page(host, key)[0] == 302


def test_a_port_that_is_taken_is_said(run, demo):
    import socket

    with socket.create_server(("127.0.0.1", 0)) as taken:
        said = run("serve", "--port", str(taken.getsockname()[1]), "--collection", str(demo), code=2).stderr
    assert "Something else already listens" in said


def test_pages_are_offered_only_where_there_is_no_collection_and_somebody_can_answer(run, monkeypatch, tmp_path):
    asked = []
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("crosscompat.cli.serve.confirm", asked.append)
    run()
    assert asked == []
    monkeypatch.setattr("crosscompat.cli.app.on_a_terminal", lambda: True)
    run()
    assert "Nothing leaves this machine" in asked[0]
    (tmp_path / "collection.toml").write_text("format = 1\n", encoding="utf-8")
    run()
    assert len(asked) == 1
