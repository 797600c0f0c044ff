"""The application as a whole: headers, health, errors, and nothing from outside."""

import gzip
import logging
import re
from pathlib import Path
from typing import Any

import pytest

import dashboard
from dashboard import shell
from dashboard.app import create_app
from models.history.columns import History
from models.settings import Settings
from tests.history_maker import NOW, MadeBook, made_book
from tests.test_dashboard_pages import fill


@pytest.fixture(scope="module")
def client() -> Any:
    return create_app(Settings(book="x.book"), made_book(), clock=lambda: NOW).server.test_client()


@pytest.mark.parametrize("path", ["/", "/healthz", "/assets/driftbook.css", "/_dash-layout", "/offenders", "/nowhere"])
def test_every_answer_carries_the_headers(client: Any, path: str) -> None:
    with client.get(path) as answer:
        headers = answer.headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-eval" not in policy
    assert "script-src 'self' 'sha256-" in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"


def test_the_policy_covers_every_inline_script_of_the_page(client: Any) -> None:
    import base64
    import hashlib

    answer = client.get("/")
    inline = re.findall(
        r"<script(?![^>]*\bsrc=)(?![^>]*application/json)[^>]*>(.*?)</script>", answer.get_data(as_text=True), re.DOTALL
    )
    assert inline
    for script in inline:
        digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in answer.headers["Content-Security-Policy"]


def test_the_page_names_its_language_and_holds_no_data(client: Any) -> None:
    text = client.get("/").get_data(as_text=True)
    assert '<html lang="en" data-edition="' in text
    assert "P-101" not in text
    assert "P-101" not in client.get("/_dash-layout").get_data(as_text=True)


def test_nothing_in_the_page_or_its_assets_comes_from_another_host(client: Any) -> None:
    text = client.get("/").get_data(as_text=True)
    assets = [path.read_text(encoding="utf-8") for path in (Path(dashboard.__file__).parent / "assets").iterdir()]
    for one in (text, *assets):
        assert set(re.findall(r"https?://([\w.-]+)", one)) <= {"www.w3.org"}


def test_what_holds_no_secret_is_packed_for_who_takes_it_so(client: Any) -> None:
    take = {"Accept-Encoding": "br, gzip"}
    suite = re.search(r"/_dash-component-suites/[^\"]*html[^\"]*\.js", client.get("/").get_data(as_text=True))
    assert suite is not None
    for path in (suite[0], "/assets/driftbook.css", "/_dash-dependencies"):
        with client.get(path) as plain, client.get(path, headers=take) as packed:
            assert "Accept-Encoding" in plain.headers["Vary"]
            assert "Content-Encoding" not in plain.headers
            assert packed.headers["Content-Encoding"] == "gzip"
            assert int(packed.headers["Content-Length"]) < len(plain.data) / 3
            assert gzip.decompress(packed.data) == plain.data
            assert packed.headers["X-Content-Type-Options"] == "nosniff"
    with client.get("/assets/driftbook.css", headers=take) as packed:
        mark = packed.headers["ETag"]
    assert mark.startswith("W/")  # the bytes differ from those of the file
    with client.get("/assets/driftbook.css", headers=take | {"If-None-Match": mark}) as known:
        assert known.status_code == 304
    with client.get("/assets/driftbook.css", headers=take | {"Range": "bytes=0-9"}) as part:
        assert (part.status_code, len(part.data), "Content-Encoding" in part.headers) == (206, 10, False)
    # What may hold a secret, is short, or is not wanted so, goes as it is.
    asked = [("/", take), ("/healthz", take), ("/api/v1/openapi.json", take), ("/assets/mark.svg", take)]
    for path, headers in [*asked, ("/assets/driftbook.css", {"Accept-Encoding": "gzip;q=0"})]:
        with client.get(path, headers=headers) as answer:
            assert (path, "Content-Encoding" in answer.headers) == (path, False)


def test_health_tells_the_last_entry(client: Any) -> None:
    answer = client.get("/healthz")
    assert answer.get_json()["well"] is True
    assert answer.headers["Cache-Control"] == "no-store"


class BrokenBook(MadeBook):
    def history(self, site_id: int) -> History:
        raise RuntimeError(f"the disk of site {site_id} is gone")


def test_an_error_is_logged_under_the_reference_that_is_shown(caplog: Any) -> None:
    client = create_app(Settings(book="x.book"), BrokenBook(), clock=lambda: NOW).server.test_client()
    with caplog.at_level(logging.ERROR, logger="driftbook.reader"):
        answer = fill(client, shell.page_of("/"), "/", "")
    assert answer.status_code == 200
    text = answer.get_data(as_text=True)
    assert "This page could not be made" in text
    assert "disk of site" not in text
    reference = re.search(r"reference ([0-9a-f]{8})", text)[1]
    assert f"reference {reference}: the disk of site 1 is gone" in caplog.text


def test_the_assistant_protocol_of_dash_is_off(monkeypatch: Any) -> None:
    monkeypatch.setenv("DASH_MCP_ENABLED", "true")
    app = create_app(Settings(book="x.book"), made_book(assets=2), clock=lambda: NOW)
    assert not any("_mcp" in str(rule) for rule in app.server.url_map.iter_rules())
