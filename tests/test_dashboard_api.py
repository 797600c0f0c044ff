"""What can be read through the JSON interface: the same as on the pages, page by page, and provable."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from unittest.mock import Mock

import jsonschema
import numpy as np
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from requests.utils import parse_header_links

from dashboard.api.operations import OPERATIONS, ROUTES, document
from dashboard.api.shown import moment
from dashboard.app import create_app
from dashboard.desk import BookDesk
from dashboard.fetch import recheck_for, study_for
from dashboard.views import due_page_view
from dashboard.views.asset_forecast_view import build_forecast
from dashboard.views.asset_standing import row_of
from dashboard.views.asset_view import build as build_asset
from models.ledger.package_verifier import consistent, root_of
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from models.values.story import Site
from tests.demo_book import demo_in
from tests.record_book import Opened, open_book

AT = datetime(2026, 11, 25, 12, tzinfo=UTC)
TODAY = date(2026, 11, 25)
API = "/api/v1"


def conforming(name: str, body: Any) -> Any:
    """Check an answer by the published description, with nothing in it that the description does not name."""
    described = document("x")
    operation = next(one for one in OPERATIONS if one.name == name)
    schemas = json.loads(json.dumps(described["components"]["schemas"]))
    for schema in schemas.values():
        schema.setdefault("additionalProperties", False)
    wanted = {"$ref": f"#/components/schemas/{operation.answer}", "components": {"schemas": schemas}}
    jsonschema.Draft202012Validator(wanted).validate(body)
    return body


@pytest.fixture
def opened(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(sqlite_book, tmp_path) as made:
        yield made


@pytest.fixture(scope="module")
def client(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Give a program that reads a book which no test changes."""
    folder = tmp_path_factory.mktemp("read")
    (folder / "driftbook.db").write_bytes(sqlite_template.read_bytes())
    with open_book(Settings(book=str(folder / "driftbook.db"), mappings=folder / "mappings"), folder) as made:
        yield made.app.server.test_client()


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, Reader, Site]]:
    settings = demo_in(tmp_path_factory.mktemp("demo"), Display("mil", "°F"))
    engine = make_engine(settings)
    reader = Reader(engine)
    app = create_app(settings, reader, clock=lambda: AT, desk=BookDesk(engine))
    yield app.server.test_client(), reader, reader.sites()[0]
    engine.dispose()


def test_the_description_is_openapi_whose_schemas_are_schemas(client: Any) -> None:
    answer = client.get(f"{API}/openapi.json")
    said = answer.get_json()
    assert client.get(f"{API}/openapi.json", headers={"If-None-Match": answer.headers["ETag"]}).status_code == 304
    assert said["openapi"].startswith("3.1")
    for schema in said["components"]["schemas"].values():
        jsonschema.Draft202012Validator.check_schema(schema)
    named = {one["operationId"] for path in said["paths"].values() for one in path.values()}
    assert named == {one.name for one in OPERATIONS}
    assert {f"api.{name}" for name in named} | {"api.nowhere"} == set(ROUTES)
    references = set(re.findall(r'"#/components/schemas/(\w+)"', json.dumps(said)))
    assert references <= set(said["components"]["schemas"])


READS = [
    ("sites", "/sites"), ("assets", "/assets"), ("asset", "/assets/P-2"), ("asset_jobs", "/assets/P-2/jobs"), ("job", "/jobs/13"), ("jobs", "/jobs?limit=2"),
    ("due", "/due"), ("due", "/due?by=rule&within=3660"), ("entries", "/entries"), ("entry", "/entries/12"), ("heads", "/heads"),
    ("head", "/heads/3"), ("inclusion", "/entries/12/proof"), ("consistency", "/heads/17/consistency?from=3"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "path"), READS)
def test_every_answer_is_as_described_and_is_not_sent_twice(client: Any, name: str, path: str) -> None:
    answer = client.get(API + path)
    assert (answer.status_code, answer.mimetype) == (200, "application/json")
    conforming(name, answer.get_json())
    again = client.get(API + path, headers={"If-None-Match": f'"other", {answer.headers["ETag"]}'})
    assert (again.status_code, again.data, again.headers["ETag"]) == (304, b"", answer.headers["ETag"])
    assert client.head(API + path).status_code == 200


def test_both_engines_answer_the_same(settings: Settings, tmp_path: Path, client: Any) -> None:
    """All but what hangs on the key of the book, which is new with every book."""
    with open_book(settings, tmp_path) as other:
        asking = other.app.server.test_client()
        for name, path in READS:
            answer = asking.get(API + path)
            assert answer.status_code == 200, path
            conforming(name, answer.get_json())
            if answer.headers["ETag"].startswith("W/"):  # a strong one names what is said, which is the same here
                assert answer.headers["ETag"] != client.get(API + path).headers["ETag"], "as many entries, another book"
            if name not in {"heads", "head", "inclusion", "consistency", "entries"}:
                assert answer.get_json() == client.get(API + path).get_json(), path


def test_the_tag_changes_with_the_book_and_with_the_day(opened: Opened) -> None:
    client = opened.app.server.test_client()
    first = client.get(f"{API}/due").headers["ETag"]
    opened.now += timedelta(hours=20)
    second = client.get(f"{API}/due").headers["ETag"]
    _more_people(opened)
    assert len({first, second, client.get(f"{API}/due").headers["ETag"]}) == 3


def _more_people(opened: Opened) -> None:
    from models.commands.set_site import set_site

    set_site(opened.reader.engine, opened.site, interval_months=6, by="tester", now=opened.now)


@pytest.mark.parametrize(("by", "risk"), [("risk", 5), ("risk", 10), ("risk", 20), ("rule", 10)])
def test_the_due_list_is_that_of_the_page(demo: tuple[Any, Reader, Site], by: str, risk: int) -> None:
    client, reader, site = demo
    said = conforming("due", client.get(f"{API}/due?by={by}&risk={risk}&limit=500").get_json())
    history = reader.history(site.site_id)
    view = due_page_view.build(
        history, study_for(history), lambda accepted: recheck_for(history, accepted), by, risk, None, TODAY,
        site=site, limit_set=reader.limit_set(site.site_id), today_us=round(AT.timestamp() * 1e6), everything=True,
    )  # fmt: skip
    assert view.now_n > 5
    assert view.soon_n > 5
    assert (said["due_now"], said["due_within"]) == (view.now_n, view.soon_n)
    wanted = [(one.tag, str(one.due), one.days_left, one.why, str(one.last)) for one in (*view.now, *view.soon)]
    assert [(one["tag"], one["due"], one["days_left"], one["why"], one["last"]) for one in said["items"]] == wanted
    for one, line in zip(said["items"], (*view.now, *view.soon), strict=True):
        assert one["over_now"] == pytest.approx(line.over_now, abs=0) or (
            one["over_now"] is None and np.isnan(line.over_now)
        )


def test_a_machine_says_what_its_page_says(demo: tuple[Any, Reader, Site]) -> None:
    client, reader, site = demo
    history = reader.history(site.site_id)
    study = study_for(history)
    tags = [str(tag) for tag in history.assets.tag[::20]]
    possible = 0
    for tag in tags:
        said = conforming("asset", client.get(f"{API}/assets/{tag}?risk=5").get_json())
        story = reader.story(site.site_id, tag)
        assert story is not None
        view = build_asset(story, Display())
        standing = {line.entry: line for line in view.lines if line.superseded_by is None and not line.void}
        assert {one["job"] for one in said["verdicts"]} == set(standing)
        for one in said["verdicts"]:
            for stage, ratio in (
                ("found", standing[one["job"]].found_ratio),
                ("left", standing[one["job"]].left_ratio),
            ):
                told = one[stage]
                assert (told and told["ratio"]) == ratio
                assert told is None or told["verdict"] == ("over" if ratio > 1 else "within")
        forecast = build_forecast(
            study,
            history,
            row_of(history, story.asset_id),
            risk=0.05,
            now_us=round(AT.timestamp() * 1e6),
            display=Display(),
        )
        assert said["forecast"]["possible"] == (forecast.reason == 0)
        if forecast.reason == 0:
            possible += 1
            assert said["forecast"]["recheck"] == str(forecast.recheck_on)  # type: ignore[union-attr]
            assert said["forecast"]["over_today"] == forecast.over_today
    assert possible > 1


def test_pages_hold_everything_once(demo: tuple[Any, Reader, Site]) -> None:
    client, reader, site = demo
    for path, key in (
        ("/assets?text=pump", "tag"),
        ("/due?within=3660", "tag"),
        ("/jobs?tag=SI-P-101A", "entry"),
        ("/entries?kind=asset%20added", "number"),
        ("/heads", "size"),
    ):
        sep = "&" if "?" in path else "?"
        whole = [one[key] for one in client.get(f"{API}{path}{sep}limit=500").get_json()["items"]]
        paged: list[Any] = []
        address = f"{API}{path}{sep}limit=7" if key != "size" else f"{API}{path}{sep}limit=1"
        while address:
            answer = client.get(address)
            items = answer.get_json()["items"]
            assert 1 <= len(items) <= 7
            paged += [one[key] for one in items]
            links = parse_header_links(answer.headers.get("Link", ""))
            address = next((link["url"] for link in links if link["rel"] == "next"), "")
            assert address == (answer.get_json()["next"] or "")
        assert paged == whole[: len(paged)]
        assert len(paged) == len(set(paged)) == len(whole)
        assert len(paged) > 1
    every = client.get(f"{API}/assets?limit=500").get_json()
    assert every["found"] == len(reader.history(site.site_id).assets)


def test_machines_are_found_by_area_and_words(demo: tuple[Any, Reader, Site]) -> None:
    client, reader, site = demo
    assets = reader.history(site.site_id).assets
    area = str(assets.area[0])
    assert client.get(f"{API}/assets?text=pump&text=fan").status_code == 422
    answer = client.get(f"{API}/assets", query_string={"area": area.upper(), "limit": 500}).get_json()
    assert {one["area"] for one in answer["items"]} == {area}
    assert answer["found"] == sum(str(one) == area for one in assets.area)


def test_a_slash_in_a_tag_is_part_of_it(sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import tests.record_book as book

    monkeypatch.setitem(book.FILES, "assets", book.ASSETS.replace("F-1", "F/1 a"))
    monkeypatch.setitem(book.FILES, "jobs", book.JOBS.replace("F-1", "F/1 a"))
    with open_book(sqlite_book, tmp_path) as opened:
        client = opened.app.server.test_client()
        for path in ("F%2F1%20a", "F/1%20a"):
            assert client.get(f"{API}/assets/{path}").get_json()["tag"] == "F/1 a"
            assert len(client.get(f"{API}/assets/{path}/jobs").get_json()["items"]) == 1


def test_an_entry_can_be_proved_without_this_program(client: Any) -> None:
    """Leaf and note are checked with hashlib and cryptography alone; the walks up the tree are tested with the ledger."""
    newest = client.get(f"{API}/heads?limit=1").get_json()["items"][0]
    for number in (1, 12, newest["size"]):
        entry = client.get(f"{API}/entries/{number}").get_json()["statement"]
        leaf = hashlib.sha256(b"\x00" + entry["text"].encode()).hexdigest()
        proof = client.get(f"{API}/entries/{number}/proof").get_json()
        assert leaf == entry["leaf"] == proof["leaf"]
        hashes = [bytes.fromhex(one) for one in proof["hashes"]]
        root = bytes.fromhex(newest["root"])
        assert root_of(bytes.fromhex(leaf), number - 1, newest["size"], hashes) == root
        assert root_of(bytes.fromhex(leaf), number, newest["size"], hashes) != root
    body, _, signed = newest["note"].partition("\n\n")
    assert body.split("\n")[2] == base64.b64encode(bytes.fromhex(newest["root"])).decode()
    key = Ed25519PublicKey.from_public_bytes(base64.b64decode(newest["public_key"]))
    key.verify(base64.b64decode(signed.strip().split(" ")[-1])[4:], f"{body}\n".encode())
    between = client.get(f"{API}/heads/17/consistency?from=3").get_json()
    steps = [bytes.fromhex(one) for one in between["hashes"]]
    assert consistent(3, 17, bytes.fromhex(between["root_from"]), bytes.fromhex(between["root"]), steps)
    older = client.get(f"{API}/heads/3").get_json()
    assert older["root"] == between["root_from"]
    assert client.get(f"{API}/entries/12/proof?size=3").status_code == 422
    assert client.get(f"{API}/entries/12/proof?size=5").status_code == 404
    assert client.get(f"{API}/heads/3/consistency?from=17").status_code == 422


def test_a_book_that_was_altered_gives_no_proof(opened: Opened) -> None:
    client = opened.app.server.test_client()
    assert client.get(f"{API}/entries/2/proof").status_code == 200
    assert [client.get(f"{API}/entries/{number}").get_json()["differences"] for number in range(1, 18)] == [[]] * 17
    import sqlite3

    with sqlite3.connect(opened.reader.engine.url.database or "") as raw:
        for (name,) in raw.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'statement'"
        ).fetchall():
            raw.execute(f"DROP TRIGGER {name}")
        raw.execute("UPDATE statement SET leaf = zeroblob(32) WHERE entry = 5")
    raw.close()
    (told,) = client.get(f"{API}/entries/5").get_json()["differences"]
    assert (told["fault"], told["table"], told["column"], told["row"]) == ("leaf", "statement", "leaf", "00" * 32)
    fresh = create_app(Settings(book="x.book"), opened.reader, clock=opened.clock).server.test_client()
    told = fresh.get(f"{API}/entries/2/proof")
    assert told.status_code == 500
    assert told.get_json()["code"] == "altered"
    assert "verify" in told.get_json()["remedy"]


WRONG = [
    ("GET", "/nothing", {}, 404, "not-found"),
    ("GET", "", {}, 404, "not-found"),
    ("GET", "//assets", {}, 404, "not-found"),
    ("GET", "/assets/none", {}, 404, "not-found"),
    ("GET", "/assets/%00", {}, 404, "not-found"),
    ("GET", "/assets/%0A", {}, 404, "not-found"),
    ("GET", "/assets/%ff%fe", {}, 404, "not-found"),
    ("GET", "/jobs/0", {}, 404, "not-found"),
    ("GET", "/jobs/12345678901234567890", {}, 404, "not-found"),
    ("GET", "/jobs/abc", {}, 404, "not-found"),
    ("GET", "/jobs/1", {}, 404, "not-found"),
    ("GET", "/entries/1000", {}, 404, "not-found"),
    ("GET", "/heads/4", {}, 404, "not-found"),
    ("GET", "/sites?site=other", {}, 422, "not-valid"),
    ("GET", "/assets?site=other", {}, 404, "not-found"),
    ("GET", "/assets?limit=0", {}, 422, "not-valid"),
    ("GET", "/assets?limit=1.0", {}, 422, "not-valid"),
    ("GET", "/assets?limit=٣", {}, 422, "not-valid"),
    ("GET", "/assets?text=%00", {}, 422, "not-valid"),
    ("GET", "/due?risk=7", {}, 422, "not-valid"),
    ("GET", "/entries?kind=gossip", {}, 422, "not-valid"),
    ("GET", "/heads/3/consistency", {}, 422, "not-valid"),
    ("GET", "/jobs?tag=P-22", {}, 404, "not-found"),
    ("GET", "/jobs?since=-1", {}, 422, "not-valid"),
    ("GET", "/jobs?since=1000", {}, 409, "list-changed"),
    ("GET", "/due?cursor=1.0123456789abcdef", {}, 409, "list-changed"),
    ("GET", "/due?cursor=999999999999.0123456789abcdef", {}, 409, "list-changed"),
    ("GET", "/assets?cursor=1", {}, 422, "not-valid"),
    ("PUT", "/jobs", {}, 405, "no-such-method"),
    ("DELETE", "/jobs/13", {}, 405, "no-such-method"),
    ("OPTIONS", "/jobs", {}, 405, "no-such-method"),
    ("TRACE", "/due", {}, 405, "no-such-method"),
    ("GOSSIP", "/due", {}, 405, "no-such-method"),
    ("POST", "/due", {"Origin": "https://elsewhere.example"}, 403, "refused"),
    ("POST", "/jobs", {}, 401, "token-needed"),
    ("GET", "/due", {"Authorization": "Bearer none"}, 401, "no-such-token"),
    ("GET", "/due", {"Authorization": "Basic YTpi"}, 401, "no-such-token"),
    ("GET", "/due", {"Authorization": ""}, 401, "no-such-token"),
]


@pytest.mark.parametrize(("method", "path", "headers", "status", "code"), WRONG)
def test_everything_that_goes_wrong_is_told_as_a_problem(client: Any, method: str, path: str, headers: dict[str, str], status: int, code: str) -> None:  # fmt: skip
    answer = client.open(API + path, method=method, headers=headers)
    assert (answer.status_code, answer.mimetype) == (status, "application/problem+json"), answer.data
    said = answer.get_json()
    jsonschema.Draft202012Validator(
        {**document("x")["components"], "$ref": "#/schemas/Problem"} | {"components": document("x")["components"]}
    ).validate(said)
    assert (said["status"], said["code"]) == (status, code)
    assert said["detail"]
    assert said.get("remedy") or said["errors"][0]["remedy"]
    assert ("WWW-Authenticate" in answer.headers) == (status == 401)
    assert ("Allow" in answer.headers) == (status == 405)
    assert "Traceback" not in answer.text


def test_a_fault_of_the_program_is_told_by_a_number_and_no_more(client: Any, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> None:  # fmt: skip
    monkeypatch.setattr(Reader, "story", Mock(side_effect=RuntimeError("the secret inside")))
    answer = client.get(f"{API}/assets/P-2")
    assert (answer.status_code, answer.mimetype) == (500, "application/problem+json")
    assert "secret inside" not in answer.text
    reference = answer.get_json()["detail"].split()[-1].rstrip(".")
    assert reference in caplog.text
    assert "the secret inside" in caplog.text


def test_moments_carry_an_offset_that_a_standard_allows() -> None:
    assert moment(datetime(2026, 7, 1, 8, tzinfo=UTC), "Europe/Lisbon") == "2026-07-01T09:00:00+01:00"
    assert moment(datetime(1905, 7, 1, 8, tzinfo=UTC), "Europe/Lisbon") == "1905-07-01T08:00:00Z"
