"""A browser's way through the page for importing: files to send, what is sent, and what is read of the answer."""

from __future__ import annotations

import html
import io
import re
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tests.auth_book import mark_of
from tests.record_book import Opened

HEAD = "job,tag,performed at,reason,people,found offset V [mm],found angle V [mm/m],found offset H [mm],found angle H [mm/m],left offset V [mm],left angle V [mm/m],left offset H [mm],left angle H [mm/m]\n"
GOOD = HEAD + "K1,P-2,2026-05-04 09:00,planned,Ana Wick,0.05,0.3,0.02,0.2,0.01,0.1,-0.01,0.05\n"
BAD = GOOD + "K2,P-2,2026-06-04 09:00,planned,Ana Wick,five,0.3,0.02,0.2,0.01,0.1,-0.01,0.05\n"
OWN = (
    "Equipment;Date;Reason;People;As found offset V;As found angle V;As found offset H;As found angle H\n"
    "P-2;2026-05-13;PM;Ana Wick;2,5;0,3;1,0;0,2\n"
    "F-1;2026-05-14;grumbling;Ana Wick;4,0;0,3;1,0;0,2\n"
)
"""A plant's own list of jobs: offsets without a unit, which are mil there, and a word that nobody can guess."""


def send(client: Any, content: str | bytes, name: str = "jobs.csv", **more: str) -> Any:
    body = content.encode() if isinstance(content, str) else content
    return send_form(client, client.get("/import").get_data(as_text=True), (io.BytesIO(body), name), **more)


def send_form(client: Any, page: str, file: tuple[io.BytesIO, str], **more: str) -> Any:
    """Send the form to which a file is given as a browser does: where it says, with what it holds."""
    form = re.search(r'<form action="([^"]+)"[^>]*enctype="multipart/form-data"[^>]*>.*?</form>', page, re.DOTALL)
    assert form, page[-2000:]
    held = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form[0]))
    return client.post(html.unescape(form[1]), data={**held, "file": file, **more})


def sent(client: Any, content: str | bytes, name: str = "jobs.csv") -> str:
    """Send a file, and give the address at which it is looked at."""
    answer = send(client, content, name)
    assert answer.status_code == 303, shown(answer)
    return str(answer.headers["Location"])


def shown(answer: Any) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True))))


def do(client: Any, where: str, does: str, **typed: str) -> Any:
    mark = mark_of(client.get(where).get_data(as_text=True))
    return client.post(where, data={"mark": mark, "does": does, "by": "Bo Tarn", **typed})


def after(client: Any, answer: Any) -> Any:
    """Follow where a form that was sent leads, as a browser does."""
    assert answer.status_code == 303
    return client.get(answer.headers["Location"])


def was_of(page: str) -> str:
    """Read by which way of reading the page was made."""
    was = re.search(r'name="was" value="([0-9a-f]+)"', page)
    assert was
    return was[1]


def offset_of(book: Opened) -> float:
    """Give the as-found vertical offset of the last job of P-2. [mm]"""
    found = book.story("P-2").jobs[-1].job.found
    assert found is not None
    return float(found.offset_v or 0.0)


def refs(book: Opened, tag: str = "P-2") -> list[str]:
    return [line.job.ref for line in book.story(tag).jobs]


def form_of(page: str) -> dict[str, str]:
    """Read the form in which the reading is corrected, as a browser would send it."""
    found = {}
    for name, inner in re.findall(r'<select [^>]*?name="([^"]+)"[^>]*>(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'<option value="([^"]*)" selected', inner) or re.search(r'<option value="([^"]*)"', inner)
        assert chosen, name
        found[name] = html.unescape(chosen[1])
    return found


def mapping_of(tmp_path: Path, where: str) -> Path:
    """Give the file in which the reading of a sent file is corrected."""
    return next((tmp_path / "mappings" / "sent" / secret_of(where) / "mappings").glob("*.toml"))


def secret_of(where: str) -> str:
    """Give the secret in the address at which a file is looked at."""
    return urlsplit(where).path.rpartition("/")[2]
