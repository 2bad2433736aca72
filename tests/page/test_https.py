"""An encrypted line with a certificate of our own, so that a phone may record in the page."""

from __future__ import annotations

import contextlib
import hashlib
import re
import ssl
import subprocess
import sys

import httpx
import pytest

from chatter.cli import main
from chatter.page.certificate import certificate
from chatter.page.serve import own_addresses

from .conftest import CHROMIUM


@contextlib.contextmanager
def _running(folder, *options):
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "chatter",
            "page",
            "--port",
            "0",
            "--lan",
            *options,
            "--book",
            str(folder / "book.db"),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    told = ""
    try:
        while "Stop it with" not in told:
            line = process.stdout.readline()
            assert line, told
            told += line
        yield told
    finally:
        process.kill()
        process.communicate()  # waits, and closes the pipe


def _shown(told: str) -> str:
    return re.search(r"\b(?:[0-9A-F]{2}:){31}[0-9A-F]{2}\b", told)[0]


def test_the_browser_sees_the_fingerprint_that_stands_beside_the_code(tmp_path):
    with _running(tmp_path, "--https") as told:
        assert "nobody vouches" in told and "not encrypted" not in told
        own = re.search(r"https://127\.0\.0\.1:(\d+)/enter\?key=\S+", told)
        with httpx.Client(verify=False, timeout=30) as client:
            client.get(own[0])  # waits until it serves
            seen = ssl.get_server_certificate(("127.0.0.1", int(own[1])))
            digest = hashlib.sha256(ssl.PEM_cert_to_DER_cert(seen)).hexdigest().upper()
            assert _shown(told).replace(":", "") == digest
            base = f"https://127.0.0.1:{own[1]}"
            key = own[0].partition("key=")[2]
            let_in = client.post(f"{base}/enter", data={"key": key}, headers={"origin": base})
            assert let_in.status_code == 303 and "Secure" in let_in.headers["set-cookie"]
            assert client.get(base).status_code == 200
            token = re.search(r'name="csrf" value="(\w+)"', client.get(base).text)[1]
            asked = {"csrf": token, "units": "inch", "back": "/"}
            plain = {"origin": base.replace("https", "http")}
            assert client.post(f"{base}/units", data=asked, headers=plain).status_code == 403
            same = client.post(f"{base}/units", data=asked, headers={"origin": base})
            assert same.status_code == 303


def test_the_certificate_is_kept_and_its_key_is_its_owners(tmp_path):
    first = certificate(tmp_path, ["192.0.2.7"])
    assert certificate(tmp_path, ["192.0.2.7"]) == first
    assert certificate(tmp_path, ["192.0.2.8"]).fingerprint != first.fingerprint
    assert first.file.stat().st_mode & 0o077 == 0
    assert ssl.create_default_context().load_cert_chain(first.file) is None


def test_without_the_network_there_is_nothing_to_encrypt(capsys):
    assert main(["page", "--https"]) == 2
    assert "--lan" in capsys.readouterr().err


def test_without_its_library_it_says_so(tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "trustme", None)
    words = ["page", "--lan", "--https", "--port", "0", "--book", str(tmp_path / "book.db")]
    assert main(words) == 2
    assert "pip install trustme" in capsys.readouterr().err


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
@pytest.mark.skipif(not own_addresses(), reason="no network on this machine")
@pytest.mark.parametrize("encrypted", [True, False])
def test_a_phone_records_in_the_page_over_an_encrypted_line_only(playing, tmp_path, encrypted):
    """Under this computer's address in the network, which no browser trusts by itself."""
    browser = playing.chromium.launch(
        executable_path=CHROMIUM,
        args=[
            *("--no-sandbox", "--use-fake-ui-for-media-stream"),
            "--use-fake-device-for-media-stream",
        ],
    )
    context = browser.new_context(ignore_https_errors=True, has_touch=True, is_mobile=True)
    tab = context.new_page()
    with _running(tmp_path, *(["--https"] if encrypted else [])) as told:
        link = re.search(rf"{'https' if encrypted else 'http'}://(?!127)\S+/enter\?key=\S+", told)[
            0
        ]
        tab.goto(link)
        tab.get_by_role("button", name="Let this device in").tap()
        tab.wait_for_selector("text=What is this cut doing?")
        assert tab.evaluate("isSecureContext") == encrypted
        if encrypted:
            tab.get_by_role("button", name="Record here").tap()
            tab.wait_for_selector("#recorder")
            tab.wait_for_timeout(1500)
            tab.get_by_role("button", name="Stop and listen").tap()
            tab.wait_for_url("**/recordings/*")
            assert "Recorded here" in tab.inner_text("main")
        else:
            assert tab.locator("#own-recorder").is_visible()
            assert not tab.locator("#record").is_visible()
    browser.close()
