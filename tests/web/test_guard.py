"""Who may ask what of the pages: other hosts, forms that are not ours, guesses at the key, what is too large."""

from __future__ import annotations

import pytest

from crosscompat.book.store import open_store
from crosscompat.web.guard import LARGEST, Keys

PHONE = {"REMOTE_ADDR": "192.168.1.23"}


def changes(folder):
    with open_store(folder / "book.sqlite") as store, store.reading() as page:
        return len(page.changes())


@pytest.mark.parametrize("host", ["evil.example", "localhost.evil.example", "localhost:81", "127.0.0.1"])
def test_another_host_is_not_answered(client, host):
    assert "not served here" in client.get("/", 421, headers={"Host": host})


@pytest.mark.parametrize("token", ["", "guessed", None])
def test_a_form_without_our_token_writes_nothing(client, folder, token):
    before = changes(folder)
    client.get("/pollinate?seed=COC-F1&pollen=DAS-1")
    fields = client.hidden("/pollinate") | {"token": token}
    said = client.send("/pollinate", 403, again=False, **{key: one for key, one in fields.items() if one is not None})
    assert "nothing has been written" in said
    assert changes(folder) == before


def test_a_token_of_another_browser_writes_nothing(client, folder, make_client):
    other = make_client(folder)
    other.get("/pollinate?seed=COC-F1&pollen=DAS-1")
    client.get("/")
    client.send("/pollinate", 403, again=False, **other.hidden("/pollinate"))


def test_a_form_from_another_site_writes_nothing(client):
    client.get("/pollinate?seed=COC-F1&pollen=DAS-1")
    fields = client.hidden("/pollinate")
    response = client.client.post("/pollinate", data=fields, headers={"Origin": "http://evil.example"})
    assert response.status_code == 403


def test_every_page_forbids_what_is_not_ours_and_is_not_kept(client):
    for path in ("/", "/ask", "/tree?species=coccineus", "/start", "/nowhere"):
        headers = client.client.get(path).headers
        assert headers["Content-Security-Policy"].startswith("default-src 'none'")
        assert "unsafe" not in headers["Content-Security-Policy"]
        assert headers["Cache-Control"] == "no-store"
        assert headers["X-Content-Type-Options"] == "nosniff"


def test_nothing_is_loaded_from_outside(client):
    for path in ("/", "/ask?seed=COC-F1&pollen=fendleri", "/tree?species=coccineus", "/start", "/pollinate"):
        client.get(path)
        for marks in ('src="http', 'href="http', "url(", "@import", "style="):
            assert marks not in client.page.replace("http://www.w3.org/2000/svg", "")


def test_without_keys_no_other_device_is_let_in(client):
    assert "no key yet" in client.get("/", 401, environ_base=PHONE)
    assert "no key yet" in client.get("/key/anything", 401, environ_base=PHONE)


def test_a_key_lets_one_device_in_once_and_the_next_has_its_own(folder, make_client):
    renewed = []
    keys = Keys(renewed.append)
    first = keys.current
    phone, other = (make_client(folder, keys=keys) for _ in range(2))
    phone.get("/", 401, environ_base=PHONE)
    assert "Today" in phone.get(f"/key/{first}", environ_base=PHONE)
    assert "Today" in phone.get("/", environ_base=PHONE)
    assert renewed == [keys.current] != [first]
    other.get(f"/key/{first}", 401, environ_base=PHONE)


def test_whoever_guesses_at_the_key_has_to_wait_and_others_have_not(folder, make_client):
    keys = Keys([].append)
    client = make_client(folder, keys=keys)
    for n in range(5):
        client.get(f"/key/guess{n}", 401, environ_base=PHONE)
    assert "Too many wrong keys" in client.get(f"/key/{keys.current}", 429, environ_base=PHONE)
    client.get(f"/key/{keys.current}", environ_base={"REMOTE_ADDR": "192.168.1.24"})


def test_what_is_too_large_is_refused_before_it_is_read(client, folder):
    before = changes(folder)
    client.get("/start")
    said = client.send("/start/crosses", 413, table="x" * (LARGEST + 1))
    assert "Nothing has been written" in said
    assert changes(folder) == before


@pytest.mark.parametrize(
    "path",
    ["/static/../app.py", "/static/..%2fapp.py", "/static//etc/passwd", "/../collection.toml", "/collection.toml"],
)
def test_no_path_leads_out_of_the_pages(client, path):
    assert client.client.get(path, follow_redirects=True).status_code in {400, 404}
