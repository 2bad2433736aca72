"""What stands before every route: Host, Origin, token, key, size, headers, no traceback."""

from __future__ import annotations

import re
import socket
import time

import httpx
import pytest

from chatter.page.app import _routes
from chatter.page.limits import PageLimits

ID = "0123456789abcdef0123"
PARTS = {"{at}": "0", "{id}": ID, "{kind}": "machine", "{uid}": "new", "{name}": "page.css"}


def _paths(method: str) -> list[str]:
    found = []
    for route in _routes():
        if method in route.methods:
            path = route.path
            for part, value in PARTS.items():
                path = path.replace(part, value)
            found.append(path)
    return found


GETS, POSTS = _paths("GET"), _paths("POST")


@pytest.fixture(scope="module")
def page(running, tmp_path_factory):
    made = running(tmp_path_factory.mktemp("guard"))
    yield made
    made.stop()


@pytest.fixture(scope="module")
def lan_page(running, tmp_path_factory):
    made = running(tmp_path_factory.mktemp("lan"), lan=True)
    yield made
    made.stop()


def test_the_routes_are_known():
    assert len(GETS) > 12 and len(POSTS) > 6


@pytest.mark.parametrize("path", GETS + POSTS)
@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "192.168.1.7:{port}"],
)
def test_another_host_is_refused(page, path, host):
    method = "GET" if path in GETS else "POST"
    answer = page.client.request(method, path, headers={"host": host.format(port=page.port)})
    assert answer.status_code == 421
    assert "chatter page" in answer.text and "set-cookie" not in answer.headers


@pytest.mark.parametrize("host", ["localhost:{port}", "127.0.0.1:{port}"])
def test_own_host_is_served(page, host):
    assert page.client.get("/", headers={"host": host.format(port=page.port)}).status_code == 200


@pytest.mark.parametrize("path", POSTS)
@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "https://127.0.0.1:{port}"},
        {"origin": "http://127.0.0.1:1"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_form_of_another_site_is_refused(page, path, headers):
    sent = {name: text.format(port=page.port) for name, text in headers.items()}
    answer = page.client.post(path, data={"csrf": page.token()}, headers=sent)
    assert answer.status_code == 403
    assert "another site" in answer.text


def test_what_another_site_embeds_is_refused(page):
    sent = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"}
    assert page.client.get("/recordings", headers=sent).status_code == 403
    sent["sec-fetch-mode"] = "navigate"  # a link from elsewhere may lead here
    assert page.client.get("/recordings", headers=sent).status_code == 200


@pytest.mark.parametrize("path", [path for path in POSTS if path != "/enter"])
@pytest.mark.parametrize("token", [None, "", "0" * 64, "é" * 10])
def test_a_form_without_the_token_is_refused(page, path, token):
    page.client.get("/")
    fields = {} if token is None else {"csrf": token}
    if path in ("/recordings", "/tap") or path.endswith(("/idle", "/surface")):
        answer = page.client.post(path, data=fields, files={"file": ("a.m4a", b"x" * 1000)})
    else:
        answer = page.client.post(path, data=fields)
    assert answer.status_code == 403
    assert "Nothing was changed" in answer.text
    assert not page.desk.spool.all()
    assert not list(page.desk.spool.uploads.iterdir())


def test_a_token_of_another_browser_is_refused(page):
    with httpx.Client(verify=False, base_url=page.base, headers={"origin": page.base}) as other:
        other.get("/")
        answer = other.post("/units", data={"csrf": page.token(), "units": "inch", "back": "/"})
    assert answer.status_code == 403


def test_a_form_may_not_send_the_browser_elsewhere(page):
    for back in ("//evil.example", "http://evil.example/", "/\\evil.example", "/\nx"):
        answer = page.post("/units", units="inch", back=back)
        assert answer.status_code == 303 and answer.headers["location"] == "/"


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "OPTIONS", "HEY"])
def test_other_methods_are_refused(page, method):
    assert page.client.request(method, "/").status_code == 405


@pytest.mark.parametrize("path", [*GETS, "/nothing", "/static/page.js", "/static/..%2fapp.py"])
def test_every_answer_carries_the_headers(page, path):
    answer = page.client.get(path)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe-inline" not in policy
    assert "http:" not in policy and "*" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.parametrize("path", ["/", "/recordings", "/plan", "/tap", "/shop"])
def test_pages_need_no_inline_script_or_style_and_nothing_from_elsewhere(page, path):
    text = page.client.get(path).text
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", text)
    assert all(src.startswith("/static/") for src in re.findall(r'<script[^>]*src="([^"]*)"', text))
    assert not re.findall(r"<script(?![^>]*src=)", text)
    assert not re.findall(r'(?:src|href|action)="(?!/|#)[^"]*"', text)


def test_a_large_form_is_refused_before_it_is_read(page):
    data = b"a=" + b"x" * (PageLimits().form_bytes + 10)
    kind = {"content-type": "application/x-www-form-urlencoded"}
    answer = page.client.post("/units", content=data, headers=kind)
    assert answer.status_code == 413


def test_a_large_form_without_a_stated_length_is_cut_off(page):
    def chunks():
        for _ in range(PageLimits().form_bytes // 1000 + 50):
            yield b"x" * 1000

    kind = {"content-type": "application/x-www-form-urlencoded"}
    try:
        answer = page.client.post("/units", content=chunks(), headers=kind)
    except Exception:  # the connection may be closed while we still send
        return
    assert answer.status_code == 413


@pytest.mark.parametrize("length", ["-1", "1e3", "99999999999999", "0x10"])
def test_an_odd_stated_length_is_refused(page, length):
    with socket.create_connection(("127.0.0.1", page.port), timeout=5) as raw:
        raw.sendall(
            f"POST /units HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n"
            f"Content-Length: {length}\r\n\r\n".encode()
        )
        assert raw.recv(100).split()[1] in (b"413", b"400")


def test_the_client_gets_no_traceback(page, monkeypatch, capfd):
    def fails(*_):
        raise RuntimeError("secret /root/place")

    monkeypatch.setattr(page.desk.spool, "all", fails)
    answer = page.client.get("/recordings")
    assert answer.status_code == 500
    assert "Traceback" not in answer.text and "secret" not in answer.text
    assert "terminal" in answer.text
    told, until = "", time.monotonic() + 20  # the terminal gets it after the client was answered
    while "secret /root/place" not in told:
        told += capfd.readouterr().err
        assert time.monotonic() < until, told
        time.sleep(0.02)


@pytest.mark.parametrize("path", [path for path in GETS + POSTS if path != "/enter"])
def test_with_lan_every_route_needs_the_key(path, lan_page):
    with httpx.Client(
        verify=False, base_url=lan_page.base, headers={"origin": lan_page.base}
    ) as stranger:
        method = "GET" if path in GETS else "POST"
        for cookie in (None, "", "guess", "é"):
            sent = {} if cookie is None else {"cookie": f"chatter_key={cookie}".encode()}
            answer = stranger.request(method, path, headers=sent)
            assert answer.status_code == 401, path
            assert "scan" in answer.text


def test_a_key_lets_one_device_in_and_is_void_then(lan_page):
    key = lan_page.keyring.new_key()
    headers = {"origin": lan_page.base}
    with httpx.Client(verify=False, base_url=lan_page.base, headers=headers) as phone:
        shown = phone.get(f"/enter?key={key}")  # a scanner may look first: nothing is used up
        assert shown.status_code == 200 and key in shown.text
        assert phone.get("/").status_code == 401
        let_in = phone.post("/enter", data={"key": key})
        assert let_in.status_code == 303
        assert "HttpOnly" in let_in.headers["set-cookie"]
        assert "SameSite=strict" in let_in.headers["set-cookie"]
        assert phone.get("/").status_code == 200
    with httpx.Client(verify=False, base_url=lan_page.base, headers=headers) as second:
        assert second.post("/enter", data={"key": key}).status_code == 401
        assert second.get("/").status_code == 401
        assert second.post("/enter", data={"key": ""}).status_code == 401


def test_what_a_key_is_shown_as_cannot_be_a_script(lan_page):
    text = lan_page.client.get('/enter?key="><script>alert(1)</script>').text
    assert "<script" not in text


def test_with_lan_any_address_will_do_but_no_name(lan_page):
    port = lan_page.port
    assert lan_page.client.get("/", headers={"host": f"192.168.1.7:{port}"}).status_code == 200
    assert lan_page.client.get("/", headers={"host": f"evil.example:{port}"}).status_code == 421


def test_the_page_itself_is_not_open_to_the_network_without_lan():
    from chatter.page.serve import bind

    with bind(0, lan=False) as closed, bind(0, lan=True) as opened:
        assert closed.getsockname()[0] == "127.0.0.1"
        assert opened.getsockname()[0] == "0.0.0.0"
