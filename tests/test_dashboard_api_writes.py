"""Jobs in through the JSON interface: the same checks as on the page, once only, and nothing lost on the way."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.api.schemas import SCHEMAS
from dashboard.api.shown import job as shown_job
from dashboard.api.shown import moment
from dashboard.api.writes import job_of
from dashboard.app import create_app
from dashboard.desk import BookDesk
from models.maths.plausible import Doubt
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.store.unit import Unit
from models.tables.base import from_microseconds
from models.tables.state import AnsweredRequestRow
from models.values.kinds import Method, Reason
from models.values.roles import Role
from tests.conftest import make_site
from tests.fuzz.api_book import API, JOB, LEFT, Program, add_somebody, bearer, token_of, tokened
from tests.record_book import ASSETS, FILES, INSTRUMENTS, Opened
from tests.seeded import bring_in, write


@pytest.fixture
def program(sqlite_book: Settings, tmp_path: Path) -> Iterator[Program]:
    with tokened(sqlite_book, tmp_path) as (opened, secret):
        yield Program(opened, secret)


@pytest.fixture
def either(settings: Settings, tmp_path: Path) -> Iterator[Program]:
    """Give a program of a book on each engine."""
    with tokened(settings, tmp_path, Role.RECORDER) as (opened, secret):
        yield Program(opened, secret)


def test_a_job_goes_in_and_comes_out_as_it_was(either: Program) -> None:
    answer = either.post("/jobs", {"job": JOB})
    assert answer.status_code == 201, answer.text
    told = answer.get_json()
    jsonschema.Draft202012Validator(
        {"$ref": "#/components/schemas/JobVersion", "components": {"schemas": SCHEMAS}}
    ).validate(told)
    assert answer.headers["Location"] == f"{API}/jobs/{told['entry']}"
    assert either.get(f"/jobs/{told['entry']}") == told
    assert {name: told["job"][name] for name in JOB} == JOB | {"performed_at": "2026-11-20T09:30:00Z"}
    assert told["author"] == "Ana Wick"
    assert told["typed"]["through"] == "JSON interface, token 'maintenance'"
    line = either.opened.story().jobs[-1]
    assert told["verdict_left"] == {"ratio": line.left_ratio, "verdict": "within"}
    assert (line.job.ref, line.author, line.job.left.offset_h) == ("WO-7", "Ana Wick", -0.01)  # type: ignore[union-attr]


def test_every_job_of_a_book_goes_into_another_and_comes_out_equal(
    settings: Settings, tmp_path: Path, sqlite_template: Path
) -> None:
    """Round trip between books, and between engines: out of SQLite, into each."""
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    (tmp_path / "a" / "one.db").write_bytes(sqlite_template.read_bytes())
    with tokened(Settings(book=str(tmp_path / "a" / "one.db"), mappings=tmp_path / "m"), tmp_path / "a") as (
        opened,
        secret,
    ):
        first = Program(opened, secret)
        more = JOB | {
            "ref": "J9", "soft_before_mm": [0.02, None, 0.09, 0.01], "soft_after_mm": [0.01, 0.0, 0.02, 0.01], "moves_v_mm": [0.1, 0.1, -0.25, -0.25],
            "moves_h_mm": [None, 0.3], "temp_stationary_c": 21.5, "temp_movable_c": -3.25, "temp_ambient_c": 18, "work_order": "W 77", "reviewer": "Bo Tarn",
            "people": ["Bo Tarn", "Ünal Çelik"], "performed_at": "2026-11-21T09:30:00.123456+01:00", "target": {**LEFT, "angle_h_mm_m": 1 / 3},
        }  # fmt: skip
        reason = dict.fromkeys([str(Doubt.LEFT_OVER), str(Doubt.UNIT), str(Doubt.SIZE)], "as the sheet has it")
        assert first.post("/jobs", {"job": more, "stated_reasons": reason}).status_code == 201
        sent = [one for tag in ("P-2", "F-1") for one in first.get(f"/assets/{tag}/jobs")["items"]]
    assert len(sent) == 6
    site = make_site(settings)
    engine = make_engine(settings)
    assert bring_in(engine, site, *write(tmp_path / "b", assets=ASSETS, instruments=INSTRUMENTS)).written
    reader = Reader(engine)
    other = Opened.__new__(Opened)
    other.site, other.reader, other.desk, other.now = site, reader, BookDesk(engine), opened.now
    other.app = create_app(settings, reader, clock=other.clock, desk=other.desk)
    add_somebody(other)
    second = Program(other, token_of(other, Role.RECORDER))
    for one in sent:
        stated = {
            name.removeprefix("stated reason: "): text
            for name, text in one["typed"].items()
            if name.startswith("stated reason: ")
        }
        answer = second.post("/jobs", {"job": one["job"], "stated_reasons": stated})
        if answer.status_code == 422:
            asked = {
                error["check"]: "it is in the old book"
                for error in answer.get_json()["errors"]
                if error["asks"] == "a stated reason"
            }
            answer = second.post("/jobs", {"job": one["job"], "stated_reasons": stated | asked})
        assert answer.status_code == 201, answer.text
    got = [one for tag in ("P-2", "F-1") for one in second.get(f"/assets/{tag}/jobs")["items"]]
    for part in ("job", "zone", "limits", "limit_set", "verdict_found", "verdict_left", "void"):
        assert [one[part] for one in got] == [one[part] for one in sent], part
    engine.dispose()


NUMBERS = st.floats(-1e6, 1e6)
FOURS = st.none() | st.fixed_dictionaries(dict.fromkeys(LEFT, NUMBERS))
FEET = st.lists(st.none() | st.floats(-1e4, 1e4), max_size=12)
NAMES = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=40)


@given(
    st.fixed_dictionaries(
        {
            "ref": NAMES, "tag": NAMES, "reason": st.sampled_from([str(one) for one in Reason if one is not Reason.INSTALLATION]),
            "performed_at": st.integers(0, 4 * 10**15).map(lambda us: moment(from_microseconds(us), "Asia/Tokyo")),
            "people": st.lists(NAMES, max_size=4, unique=True), "instrument": st.none() | NAMES, "method": st.sampled_from([str(one) for one in Method]),
            "work_order": st.just("") | NAMES, "found": FOURS, "left": st.fixed_dictionaries(dict.fromkeys(LEFT, NUMBERS)),
            "target": st.fixed_dictionaries(dict.fromkeys(LEFT, NUMBERS)), "soft_before_mm": FEET, "soft_after_mm": FEET, "moves_v_mm": FEET,
            "moves_h_mm": FEET, "temp_stationary_c": st.none() | st.floats(-273.15, 2000), "temp_movable_c": st.none(), "temp_ambient_c": st.none(),
            "hours_run": st.none() | st.floats(0, 1e7), "checks": st.lists(NAMES, max_size=3), "notes": st.just("") | NAMES, "reviewer": st.just("") | NAMES,
        }
    )
)  # fmt: skip
def test_whatever_a_job_says_is_read_and_written_without_loss(said: dict[str, Any]) -> None:
    assert not list(
        jsonschema.Draft202012Validator(
            {"$ref": "#/components/schemas/Job", "components": {"schemas": SCHEMAS}}
        ).iter_errors(said)
    )
    out = shown_job(job_of(said, "Asia/Kathmandu", {}))
    again = shown_job(job_of(json.loads(json.dumps(out)), "Asia/Kathmandu", {}))
    assert out == again
    assert {k: v for k, v in out.items() if k != "performed_at"} == {
        k: v for k, v in said.items() if k != "performed_at"
    }
    zeros = [value for value in json.loads(json.dumps(out["left"])).values() if value == 0]
    assert all(str(value) == "0.0" for value in zeros)  # no minus before a zero


# -- once and only once ---------------------------------------------------------------------------------------------


def test_a_job_sent_twice_under_a_key_counts_once(either: Program) -> None:
    before = either.count()
    first = either.post("/jobs", {"job": JOB}, key="k-1")
    again = either.post("/jobs", {"job": dict(reversed(JOB.items()))}, key='"k-1"')
    assert (first.status_code, again.status_code) == (201, 201)
    assert (again.get_json(), again.headers["Location"]) == (first.get_json(), first.headers["Location"])
    assert "Idempotency-Replayed" not in first.headers
    assert again.headers["Idempotency-Replayed"] == "true"
    assert (either.count(), either.count(AnsweredRequestRow)) == (before + 1, 1)


def test_a_key_is_not_taken_for_another_request(either: Program) -> None:
    entry = either.post("/jobs", {"job": JOB}, key="k-1").get_json()["entry"]
    other = either.post("/jobs", {"job": JOB | {"notes": "other"}}, key="k-1")
    assert (other.status_code, other.get_json()["code"]) == (422, "key-used")
    assert other.get_json()["errors"][0]["header"] == "Idempotency-Key"
    amended = either.post(f"/jobs/{entry}/amendment", {"why": "typed wrong", "changes": {"notes": "other"}}, key="k-1")
    assert (amended.status_code, amended.get_json()["code"]) == (422, "key-used")
    elsewhere = Program(either.opened, token_of(either.opened, Role.RECORDER, name="another"))
    assert (
        elsewhere.post(
            "/jobs", {"job": JOB | {"ref": "WO-8", "performed_at": "2026-11-21T09:30:00Z"}}, key="k-1"
        ).status_code
        == 201
    )


def test_what_was_refused_is_not_kept_and_can_be_mended_under_its_key(program: Program) -> None:
    wrong = {"job": JOB | {"performed_at": "2027-01-01T00:00:00Z"}}
    assert program.post("/jobs", wrong, key="k-1").status_code == 422
    assert program.count(AnsweredRequestRow) == 0
    assert program.post("/jobs", {"job": JOB}, key="k-1").status_code == 201


def at_once(*calls: Any) -> list[Any]:
    """Make calls from threads that start together."""
    gate = threading.Barrier(len(calls))

    def wait(call: Any) -> Any:
        gate.wait()
        return call()

    with ThreadPoolExecutor(len(calls)) as pool:
        return [future.result() for future in [pool.submit(wait, call) for call in calls]]


def test_a_job_sent_by_several_at_once_counts_once(either: Program) -> None:
    either.get("/sites")
    before = either.count()
    for round_ in range(3):
        said = {"job": JOB | {"ref": f"WO-{round_}", "performed_at": f"2026-11-1{round_}T08:00:00Z", "hours_run": None}}
        answers = at_once(*[lambda said=said, n=round_: either.post("/jobs", said, key=f"k-{n}") for _ in range(6)])
        assert [one.status_code for one in answers] == [201] * 6, [one.text for one in answers]
        assert len({one.text for one in answers}) == 1
        assert sum("Idempotency-Replayed" not in one.headers for one in answers) == 1
    assert (either.count(), either.count(AnsweredRequestRow)) == (before + 3, 3)


def test_without_a_key_the_job_number_keeps_it_from_counting_twice(either: Program) -> None:
    before = either.count()
    answers = at_once(*[lambda: either.post("/jobs", {"job": JOB})] * 4)
    assert sorted(one.status_code for one in answers) == [201, 409, 409, 409]
    assert either.count() == before + 1
    (entry,) = [one.get_json()["entry"] for one in answers if one.status_code == 201]
    for one in answers:
        assert one.headers["Location"] == f"{API}/jobs/{entry}"
        told = one.get_json()
        assert one.status_code == 201 or (told["entry"], told["location"], told["same_content"]) == (
            entry,
            one.headers["Location"],
            True,
        )
    other = either.post("/jobs", {"job": {**JOB, "notes": "another"}}).get_json()
    assert (other["entry"], other["same_content"]) == (entry, False)


def test_different_jobs_at_once_all_go_in(either: Program) -> None:
    before = either.count()
    jobs = [
        JOB
        | {
            "ref": f"WO-{n}",
            "tag": "P-2" if n % 2 else "F-1",
            "performed_at": f"2026-11-0{n + 1}T08:00:00Z",
            "hours_run": None,
            "target": LEFT,
        }
        for n in range(6)
    ]
    reasons = {str(doubt): "sent at once" for doubt in Doubt}
    answers = at_once(
        *[lambda job=job: either.post("/jobs", {"job": job, "stated_reasons": reasons}, key=job["ref"]) for job in jobs]
    )
    assert [one.status_code for one in answers] == [201] * 6, [one.text for one in answers]
    assert either.count() == before + 6


@pytest.mark.parametrize("step", ["before", "after"])
def test_what_dies_on_the_way_is_not_there_and_can_be_sent_again(
    either: Program, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """The answer is kept in the job's own transaction: whichever of the two is written last, both are there or neither."""
    before, finish = either.count(), Unit.finish

    def dies(unit: Unit) -> None:
        if step == "after":
            finish(unit)
        raise RuntimeError("the power went")

    with monkeypatch.context() as patch:
        patch.setattr(Unit, "finish", dies)
        assert either.post("/jobs", {"job": JOB}, key="k-1").status_code == 500
    assert (either.count(), either.count(AnsweredRequestRow)) == (before, 0)
    answer = either.post("/jobs", {"job": JOB}, key="k-1")
    assert answer.status_code == 201
    assert "Idempotency-Replayed" not in answer.headers
    assert either.count() == before + 1


# -- amendments ----------------------------------------------------------------------------------------------------


def test_an_amendment_changes_what_it_names_and_keeps_the_rest(either: Program) -> None:
    old = next(one for one in either.get("/assets/P-2/jobs")["items"] if one["job"]["ref"] == "J3")
    change = {"left": {**LEFT, "offset_v_mm": 0.013}, "notes": "read off again"}
    answer = either.post(f"/jobs/{old['entry']}/amendment", {"why": "a slip of the pen", "changes": change}, key="k-1")
    assert answer.status_code == 201, answer.text
    told = answer.get_json()
    assert told["job"] == old["job"] | change
    assert (told["supersedes"], told["first_entry"], told["why"]) == (
        old["entry"],
        old["first_entry"],
        "a slip of the pen",
    )
    assert "left_offset_v" in old["typed"]
    assert not [name for name in told["typed"] if name.startswith("left")]
    assert {k: v for k, v in told["typed"].items() if k.startswith("found")} == {
        k: v for k, v in old["typed"].items() if k.startswith("found")
    }
    assert either.get(f"/jobs/{old['entry']}")["superseded_by"] == told["entry"]
    again = either.post(f"/jobs/{old['entry']}/amendment", {"why": "a slip of the pen", "changes": change}, key="k-1")
    assert (again.status_code, again.get_json()) == (201, told)
    stale = either.post(f"/jobs/{old['entry']}/amendment", {"why": "another", "changes": {"notes": "x"}})
    assert (stale.status_code, stale.get_json()["code"]) == (409, "conflict")
    same = either.post(f"/jobs/{told['entry']}/amendment", {"why": "nothing", "changes": {"notes": "read off again"}})
    assert same.status_code == 409


def test_a_write_that_is_bound_to_a_version_is_done_to_that_one_or_to_none(program: Program) -> None:
    client, standing = program.opened.app.server.test_client(), program.opened.story().standing
    path, other = f"/jobs/{standing[-1].entry}", f"/jobs/{standing[0].entry}"
    tag, wrong = (client.get(API + one, headers=bearer(program.secret)).headers["ETag"] for one in (path, other))
    assert tag.startswith('"'), "a strong one"
    assert client.get(API + path, headers=bearer(program.secret, **{"If-None-Match": f"W/{tag}"})).status_code == 304
    body, count = {"why": "misread", "changes": {"notes": "y"}}, program.count()
    for named in (wrong, f"W/{tag}", '"x"', f"{wrong}, W/{tag}"):
        for answer in (
            program.post(f"{path}/amendment", body, key="a-1", **{"If-Match": named}),
            program.post(f"{path}/void", {"why": "x"}, **{"If-Match": named}),
        ):
            told = answer.get_json()
            assert (answer.status_code, told["code"]) == (412, "other-version")
            assert told["errors"][0]["header"] == "If-Match"
            assert "Get the job again" in told["remedy"]
    for named in ("x", '"x', f"{tag} {tag}", ""):
        assert program.post(f"{path}/amendment", body, **{"If-Match": named}).status_code == 422
    assert program.post("/jobs", {"job": JOB, "bolts_tight": True}, **{"If-Match": tag}).status_code == 422
    assert program.count() == count
    first, again, later = (
        program.post(f"{path}/amendment", body, key="a-1", **{"If-Match": f"{wrong}, {tag}"}) for _ in range(3)
    )
    assert first.status_code == 201
    assert (again.get_json(), later.headers["Idempotency-Replayed"]) == (first.get_json(), "true")
    assert program.count() == count + 1
    overtaken = program.post(f"{path}/amendment", body, key="a-2", **{"If-Match": tag})
    assert (overtaken.status_code, overtaken.get_json()["code"]) == (412, "other-version")
    assert f"was amended already, by entry {first.get_json()['entry']}" in overtaken.get_json()["detail"]
    old = client.get(API + path, headers=bearer(program.secret)).headers["ETag"]
    assert old != tag, "it says now that it was amended"
    assert program.post(f"{path}/amendment", body, **{"If-Match": old}).status_code == 409
    new = f"/jobs/{first.get_json()['entry']}"
    assert program.post(f"{new}/void", {"why": "x"}, **{"If-Match": "*"}).status_code == 201


def test_the_clock_of_the_server_says_what_the_future_is(program: Program) -> None:
    later = {"job": JOB | {"performed_at": "2026-11-26T08:00:00Z"}}
    assert program.post("/jobs", later).status_code == 422
    program.opened.now += timedelta(days=2)
    assert program.post("/jobs", later).status_code == 201


def test_the_little_book_is_the_one_that_these_tests_think_of() -> None:
    assert FILES["jobs"].count("\n") == 6


def test_a_page_is_refused_where_the_list_before_it_has_changed(program: Program) -> None:
    """A job on a machine of the first page lets it fall due later: the count of rows alone would lose the machine that moved up."""
    first = program.get("/due?by=rule&within=3660&limit=1")
    onward = first["next"].removeprefix(API)
    (second,) = program.get(onward)["items"]
    assert second["tag"] != first["items"][0]["tag"]
    last = {**JOB, "performed_at": "2026-11-21T09:30:00+00:00"}
    assert program.post("/jobs", {"job": {**last, "ref": "WO-8", "tag": second["tag"]}}).status_code == 201
    assert program.opened.app.server.test_client().get(API + onward, headers=bearer(program.secret)).status_code == 200
    assert program.post("/jobs", {"job": {**last, "ref": "WO-9", "tag": first["items"][0]["tag"]}}).status_code == 201
    told = program.opened.app.server.test_client().get(API + onward, headers=bearer(program.secret))
    assert (told.status_code, told.get_json()["code"]) == (409, "list-changed")


def test_a_program_finds_its_job_again_and_what_is_new(either: Program) -> None:
    start = either.get("/jobs?limit=500")
    assert [one["job"]["ref"] for one in start["items"]] == ["J1", "J2", "J3", "J4", "J5"]
    first = either.post("/jobs", {"job": {**JOB, "work_order": "4711"}}).get_json()
    for query in ("ref=WO-7", "work_order=4711", f"since={start['head']}", f"tag=P-2&since={start['head']}"):
        assert either.get(f"/jobs?{query}")["items"] == [first], query
    assert either.get(f"/jobs?since={start['head']}&tag=F-1")["items"] == []
    changes = {"ref": "WO-8", "work_order": "4712"}
    second = either.post(f"/jobs/{first['entry']}/amendment", {"why": "another order", "changes": changes}).get_json()
    for query in ("ref=WO-7", "ref=WO-8", "work_order=4712", f"since={first['entry']}"):
        found = either.get(f"/jobs?{query}")["items"]
        assert found == [either.get(f"/jobs/{second['entry']}")], query
        assert found[0]["first_entry"] == first["entry"]
    assert either.get("/jobs?work_order=4711")["items"] == []
    third = either.post(f"/jobs/{second['entry']}/void", {"why": "twice"}).get_json()
    (void,) = either.get(f"/jobs?since={second['entry']}")["items"]
    assert (void["entry"], void["void"]) == (third["entry"], True)
    # An amended job comes again while pages are turned, and none is left out.
    page = either.get("/jobs?limit=2")
    one = page["items"][0]
    assert (
        either.post(f"/jobs/{one['entry']}/amendment", {"why": "a word", "changes": {"notes": "dry"}}).status_code
        == 201
    )
    seen = [line["first_entry"] for line in page["items"]]
    while page["next"]:
        page = either.get(page["next"].removeprefix(API))
        seen += [line["first_entry"] for line in page["items"]]
    assert len(set(seen)) == 6
    assert seen.count(one["first_entry"]) == 2
