"""What proves the book, on the Book page and as an address."""

from __future__ import annotations

import io
import json
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.components.proof import proof_part
from dashboard.place import read_place
from dashboard.proofs_routes import MIME, PACKAGE, ROUTES
from dashboard.roles import of_route
from dashboard.writing import count
from models.ledger import package_verifier
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.values.proof import BookProof
from models.values.roles import Permission
from tests.kept_book import make_kept_book

PLACE = read_place("/book", "?site=quay&units=mil")


def text_of(part: Any) -> str:
    return json.dumps(part.to_plotly_json(), default=lambda one: one.to_plotly_json(), ensure_ascii=False)


def made(**changed: Any) -> BookProof:
    given: dict[str, Any] = {"origin": "driftbook/x", "size": 1234, "at": datetime(2026, 11, 25, 7, tzinfo=UTC), "note": "one\ntwo\n",
                             "key_entry": 3, "heads": 9, "unsigned": 0} | changed  # fmt: skip
    return BookProof(**given)


def test_head_is_shown_with_what_to_do_with_it() -> None:
    shown = text_of(proof_part(made(), "Europe/Lisbon", "P/1", PLACE))
    for part in (
        count(1234),
        "signed by the key of entry 3.",
        "one\\ntwo",
        "driftbook verify",
    ):
        assert part in shown
    assert "/package/P/1.zip" in shown or "/package/P%2F1.zip" in shown
    assert "site=quay" in shown
    assert "/package/" not in text_of(proof_part(made(), "Europe/Lisbon", "", PLACE))


def test_heads_without_signature_are_told() -> None:
    shown = text_of(proof_part(made(key_entry=None, unsigned=2), "Europe/Lisbon", "", PLACE))
    assert "not signed" in shown
    assert "could not be read" not in shown, "nobody knows why"
    assert "Without a signature: 2 of 9 heads." in shown
    assert "No head is kept yet" in text_of(proof_part(None, "Europe/Lisbon", "", PLACE))


def test_package_comes_by_its_address(sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings = make_kept_book(sqlite_book, tmp_path, monkeypatch)
    engine = make_engine(settings)
    client = create_app(settings, Reader(engine)).server.test_client()
    answer = client.get("/package/P-1.zip?site=test-quay")
    assert (answer.status_code, answer.content_type) == (200, MIME)
    assert 'filename="history-P-1.zip"' in answer.headers["Content-Disposition"]
    assert package_verifier.check(answer.data)
    with zipfile.ZipFile(io.BytesIO(answer.data)) as archive:
        assert archive.read("history.pdf").startswith(b"%PDF")
    missing = client.get("/package/P-77.zip?site=test-quay")
    assert missing.status_code == 404
    assert b"P-77" in missing.data
    proof = Reader(engine).proof(1)
    assert proof is not None
    assert (proof.size, proof.unsigned) == (35, 0)
    engine.dispose()


def test_package_is_for_who_may_audit() -> None:
    assert ROUTES == {PACKAGE: "audit"}
    assert of_route(PACKAGE) is Permission.AUDIT
