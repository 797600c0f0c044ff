"""Pages of a large book never wait: they show the last whole picture and say so, and then the next one."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from dashboard import answers, fetch, growing, making, pictures
from dashboard.app import create_app
from dashboard.auth.guarded import GuardedKeepingBook
from dashboard.fetch import scene, study_for
from dashboard.ids import Shell
from dashboard.kept import holds, keep, known, pin
from dashboard.pages import book, due, month, offenders, record
from dashboard.picture import Picture, StillReadingError
from dashboard.pictures import Pictures
from dashboard.words import say
from models.history.columns import History
from models.history.engine import Study, study_of, study_with, without_predictions
from models.history.forecast import recheck_of
from models.settings import Settings
from models.values.job import Misalignment
from models.values.roles import Permission
from tests.history_edits import unlike
from tests.history_maker import NOW, MadeBook, job, line, made_book


class Slow(MadeBook):
    """A book whose history is given only when a gate is open, and that counts how often it was asked."""

    def __init__(self, made: MadeBook) -> None:
        super().__init__(made.stories, made.at_site, made.instrument_list, made.limits)
        self.gate, self.asked, self.fails, self.more = threading.Event(), 0, False, 0

    def head(self) -> int:
        return super().head() + self.more

    def history(self, site_id: int) -> History:
        self.asked += 1
        assert self.gate.wait(20)
        if self.fails:
            raise OSError("the disk is gone")
        return replace(super().history(site_id), head=self.head())


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> Slow:
    """Give a book that counts as large."""
    monkeypatch.setattr("dashboard.picture.QUICK", 1)
    monkeypatch.setattr(pictures, "PATIENCE_S", 0.05)
    return Slow(made_book(assets=6))


def whole(held: Pictures, slow: Slow, site_id: int) -> Picture:
    for _ in range(600):
        try:
            picture = held.of(slow, site_id)
        except StillReadingError:
            picture = None
        if picture is not None and picture.study is not None and picture.history.head == slow.head():
            return picture
        threading.Event().wait(0.02)
    raise AssertionError("never whole")


def question(page: Any, search: str = "") -> dict[str, Any]:
    inputs = [
        {"id": Shell.PAGE, "property": "data", "value": page.PATH},
        {"id": Shell.URL, "property": "search", "value": search},
        {"id": Shell.SCHEME, "property": "data", "value": "light"},
    ]
    output = f"{page.Ids.BODY}.children"
    return {
        "output": output,
        "outputs": {"id": page.Ids.BODY, "property": "children"},
        "inputs": inputs,
        "changedPropIds": [f"{Shell.URL}.pathname"],
        "state": [],
    }


def show(app: Any, page: Any, search: str = "", cookie: str = "") -> Any:
    client = app.server.test_client()
    if cookie:
        client.set_cookie("who", cookie)
    return client.post("/_dash-update-component", json=question(page, search))


def text(answer: Any) -> str:
    return json.dumps(answer.get_json(), ensure_ascii=False)


def test_a_small_book_is_read_while_the_page_waits_and_studied_when_a_page_asks() -> None:
    small, held = made_book(assets=2), Pictures()
    picture = held.of(small, small.at_site.site_id)
    assert picture.history is small.history(small.at_site.site_id)
    assert picture.study is None
    assert held.behind(small, small.at_site.site_id) == ""
    assert held.state() == ()
    assert held.whole(small, small.at_site.site_id)


def test_before_there_is_a_picture_the_pages_say_that_the_book_is_being_read(slow: Slow) -> None:
    app = create_app(Settings(book="x.book"), slow, clock=lambda: NOW)
    for page in (month, offenders, due):
        answer = show(app, page)
        assert answer.status_code == 200
        assert say("picture.reading.title") in text(answer)
    slow.gate.set()
    with app.server.app_context():
        held = fetch.context().pictures
    whole(held, slow, slow.at_site.site_id)
    for page in (month, offenders, due):
        assert say("picture.reading.title") not in text(show(app, page))


def test_while_the_next_picture_is_made_the_last_one_is_shown_and_the_page_says_so(slow: Slow) -> None:
    app = create_app(Settings(book="x.book"), slow, clock=lambda: NOW)
    slow.gate.set()
    site_id = slow.at_site.site_id
    with app.server.app_context():
        held = fetch.context().pictures
        first = whole(held, slow, site_id)
        before = text(show(app, month))
        slow.gate.clear()
        slow.stories = [*slow.stories[1:]]
        slow.more += pictures.FOLLOWED + 1
        seen = scene("/", "")
        assert seen.history is first.history
        assert seen.study is first.study
        said = say("picture.behind", shown=f"{first.history.head:,}", head=f"{slow.head():,}")
        assert said in text(show(app, month))
        assert said not in before
        asked = slow.asked
        show(app, due)
        assert slow.asked <= asked + 1, "one thread makes the picture, however many pages are asked for"
        slow.gate.set()
        later = whole(held, slow, site_id)
        assert len(later.history.assets) == len(first.history.assets) - 1
        assert said not in text(show(app, month))
        assert scene("/", "").history is later.history
        expected = study_of(later.history)
        assert later.study is not None
        assert (later.study.recheck.days == expected.recheck.days).sum() == (
            ~(expected.recheck.days != expected.recheck.days)
        ).sum()


class FromDisk(Slow):
    """The same, with a picture that was kept before the last start."""

    def __init__(self, made: MadeBook) -> None:
        super().__init__(made)
        self.kept = made.history(made.at_site.site_id)

    def kept_picture(self, site_id: int) -> tuple[History, Study | None, dict[Any, Any]]:
        del site_id
        return self.kept, study_of(self.kept), {}

    def history_to_keep(self, site_id: int) -> History:
        return self.history(site_id)

    def keep_picture(self, site_id: int, history: History, study: Study | None, derived: object = None) -> None:
        del site_id, history, study, derived

    def prepare(self, site_id: int) -> None:
        del site_id

    def forget(self, site_id: int) -> None:
        del site_id


@pytest.mark.parametrize("page", [month, offenders, due], ids=["month", "offenders", "due"])
def test_the_first_page_after_a_start_says_that_its_picture_is_older_than_the_book(
    page: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dashboard.picture.QUICK", 1)
    monkeypatch.setattr(pictures, "PATIENCE_S", 20.0)
    plant = FromDisk(made_book(assets=6))
    plant.more = pictures.FOLLOWED + 1
    app = create_app(Settings(book="x.book"), plant, clock=lambda: NOW)
    said = say("picture.behind", shown=f"{plant.kept.head:,}", head=f"{plant.head():,}")
    try:
        assert said in text(show(app, page))
    finally:
        plant.gate.set()


def test_a_kept_answer_ends_where_a_day_begins_in_a_zone_of_half_an_hour() -> None:
    plant = made_book(assets=6)
    plant.at_site = replace(plant.at_site, zone="Asia/Kolkata")
    now = datetime(2026, 11, 29, 18, 20, tzinfo=UTC)  # 23:50 in Kolkata
    app = create_app(Settings(book="x.book"), plant, clock=lambda: now)
    before = text(show(app, due))
    assert text(show(app, due)) == before
    now = datetime(2026, 11, 29, 18, 40, tzinfo=UTC)  # 00:10 of the next day
    assert text(show(app, due)) != before


def test_an_entry_that_says_nothing_about_the_columns_costs_no_study(slow: Slow) -> None:
    slow.gate.set()
    held, site_id = Pictures(), slow.at_site.site_id
    first = whole(held, slow, site_id)
    slow.more += 1
    later = whole(held, slow, site_id)
    assert later.history.head == first.history.head + 1
    assert later.study is first.study


def test_what_fails_is_said_to_the_log_and_tried_again_after_a_while(
    slow: Slow, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    slow.gate.set()
    slow.fails = True
    held, site_id = Pictures(), slow.at_site.site_id
    with pytest.raises(StillReadingError):
        held.of(slow, site_id)
    for _ in range(200):
        if held._sites[site_id].making is None:
            break
        threading.Event().wait(0.02)
    assert "could not be made" in caplog.text
    asked = slow.asked
    with pytest.raises(StillReadingError):
        held.of(slow, site_id)
    assert slow.asked == asked, "not tried again at once"
    slow.fails = False
    monkeypatch.setattr(pictures, "AGAIN_S", 0.0)
    assert whole(held, slow, site_id).study is not None


class Keeps(Slow):
    """A book that kept a picture."""

    def __init__(self, made: MadeBook) -> None:
        super().__init__(made)
        self.kept: tuple[History, Study | None, dict[Any, Any]] | None = None
        self.prepared = 0

    def kept_picture(self, site_id: int) -> tuple[History, Study | None, dict[Any, Any]] | None:
        assert site_id == self.at_site.site_id
        return self.kept

    def keep_picture(self, site_id: int, history: History, study: Study | None, derived: Any = None) -> None:
        assert site_id == self.at_site.site_id
        self.kept = (history, study, dict(derived))

    def history_to_keep(self, site_id: int) -> History:
        return self.history(site_id)

    def forget(self, site_id: int) -> None:
        raise AssertionError(f"one site is never too many, and not {site_id}")

    def prepare(self, site_id: int) -> None:
        assert site_id == self.at_site.site_id
        self.prepared += 1


class Reads:
    """Somebody who is signed in and may read that site."""

    def may(self, permission: Permission, site_id: int | None = None) -> bool:
        return permission is Permission.READ and site_id == 1


@pytest.mark.usefixtures("slow")
@pytest.mark.parametrize("signed_in", [False, True])
def test_what_was_kept_is_shown_first_and_what_was_derived_is_on_its_shelf(signed_in: bool) -> None:
    keeping = Keeps(made_book(assets=6))
    book: Any = GuardedKeepingBook(keeping, Reads()) if signed_in else keeping  # type: ignore[arg-type]
    keeping.gate.set()
    made: list[int] = []

    def derive(history: History, study: Study) -> dict[Any, Any]:
        made.append(len(study.runs) + len(history.jobs))
        return {"derived": made[-1]}

    site_id = keeping.at_site.site_id
    whole(Pictures(derive), book, site_id)
    for _ in range(300):
        if keeping.kept is not None:
            break
        threading.Event().wait(0.02)
    assert keeping.kept is not None
    assert keeping.kept[2] == {"derived": made[0]}
    restarted = Pictures(derive)
    keeping.gate.clear()  # nothing is read for the first page
    picture = restarted.of(book, site_id)
    assert picture is not None
    assert picture.history is keeping.kept[0]
    assert keep(picture.history, "derived", lambda: "made anew") == made[0]
    assert len(made) == 1
    keeping.gate.set()


def test_a_pinned_result_stays_whatever_else_is_kept(slow: Slow) -> None:
    history = MadeBook.history(slow, 1)
    assert not holds(history, "x")
    pin(history, "x", 7)
    for number in range(100):
        keep(history, number, lambda: 0)
    assert holds(history, "x")
    assert keep(history, "x", lambda: 8) == 7
    same_columns = replace(history, head=history.head + 1)
    assert keep(same_columns, "x", lambda: 9) == 7, "an entry that changes no column keeps the shelf"


def test_a_long_history_without_a_study_is_not_studied_while_a_page_waits(slow: Slow) -> None:
    history = MadeBook.history(slow, 1)
    with pytest.raises(StillReadingError):
        study_for(history)
    study = study_of(history)
    pin(history, "study", study)
    assert study_for(history) is study


# -- a few new entries ---------------------------------------------------------------------------------------------


def write_job(made: MadeBook, which: int = 0) -> int:
    """Write one more job of a machine, a month after its last one; give its entry."""
    story, entry = made.stories[which], made.head() + 1
    last = story.jobs[-1].job
    when = (last.performed_at + timedelta(days=30)).strftime("%Y-%m-%dT%H:%M")
    found, left = Misalignment(0.03, 0.2, -0.02, 0.1), Misalignment(0.01, 0.05, 0.0, 0.0)
    new = line(job(story.asset.tag, when, found, left), story.asset, entry)
    made.stories = [*made.stories[:which], replace(story, jobs=(*story.jobs, new)), *made.stories[which + 1 :]]
    return entry


def wait_for_whole(held: Pictures, made: MadeBook) -> Picture:
    for _ in range(600):
        picture = held.of(made, made.at_site.site_id)
        if picture.study is not None and held.whole(made, made.at_site.site_id):
            return picture
        threading.Event().wait(0.02)
    raise AssertionError("never whole")


@pytest.mark.parametrize("large", [False, True])
def test_a_new_job_shows_at_once_and_the_averages_follow(monkeypatch: pytest.MonkeyPatch, large: bool) -> None:
    if large:
        monkeypatch.setattr("dashboard.picture.QUICK", 1)
    monkeypatch.setattr(making, "QUIET_S", 0.4)
    made = made_book(assets=6)
    app = create_app(Settings(book="x.book"), made, clock=lambda: NOW)
    site_id = made.at_site.site_id
    with app.server.app_context():
        held = fetch.context().pictures
        if large:
            wait_for_whole(held, made)
        first = scene("/", "")
        until, jobs = first.study.fleet.until, len(first.history.jobs)
        assert first.study.whole
        entry = write_job(made)
        seen = scene("/", "")
        said = say("picture.fleet", fleet=f"{until:,}", head=f"{made.head():,}")
        assert said in seen.said
        assert len(seen.history.jobs) == jobs + 1
        assert entry in seen.history.jobs.entry
        assert unlike(seen.study, study_with(seen.history, first.study.fleet)) == []
        assert said in text(show(app, month))
        picture = wait_for_whole(held, made)
        assert unlike(picture.study, without_predictions(study_of(picture.history))) == []
        assert picture.study is not None
        assert picture.study.fleet.until == made.head()
        after = scene("/", "")
        assert said not in after.said
        assert after.study is picture.study
        assert said not in text(show(app, month))
        assert seen.study.fleet is first.study.fleet, "a page that was begun before goes on with what it had"
    assert held.behind(made, site_id) == ""


def test_what_is_written_while_the_whole_study_is_made_is_not_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(making, "QUIET_S", 0.01)
    made, gate, begun = made_book(assets=6), threading.Event(), threading.Event()

    def derive(history: History, study: Study) -> dict[Any, Any]:
        begun.set()
        assert gate.wait(20)
        return {"made of": len(history.jobs) + 0 * len(study.runs)}

    held, site_id = Pictures(derive), made.at_site.site_id
    first = held.of(made, site_id)
    keep(first.history, "study", lambda: study_of(first.history))
    write_job(made, 1)
    held.of(made, site_id)
    assert begun.wait(20)
    write_job(made, 2)
    second = held.of(made, site_id)
    assert second.history.head == made.head()
    assert second.study is not None
    assert second.study.fleet.until == first.history.head
    gate.set()
    seen = []
    for _ in range(600):
        now = held.of(made, site_id)
        assert now.study is not None
        assert now.history.head == made.head(), "what is shown never goes back"
        seen.append(now.study.fleet.until)
        if held.whole(made, site_id):
            break
        threading.Event().wait(0.01)
    assert seen == sorted(seen)
    whole = held.of(made, site_id)
    assert unlike(whole.study, without_predictions(study_of(whole.history))) == []
    assert keep(whole.history, "made of", lambda: 0) == len(whole.history.jobs)


def test_what_the_pages_worked_out_outlives_jobs_that_come_while_the_whole_study_is_made(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("dashboard.picture.QUICK", 1)
    monkeypatch.setattr("dashboard.kept.MOST_JOBS", -1)
    monkeypatch.setattr(making, "QUIET_S", 0.01)
    made, gate, begun, first = made_book(assets=6), threading.Event(), threading.Event(), threading.Event()

    def derive(_: History, study: Study) -> dict[Any, Any]:
        if first.is_set():
            begun.set()
            assert gate.wait(20)
        return {"recheck 0.3": recheck_of(study.standing, 0.3, study.choices.site_months)}

    held, site_id = Pictures(derive), made.at_site.site_id
    wait_for_whole(held, made)
    first.set()
    # Each is asked for as a page does it, in turn with those of the picture that is being made.
    for number in range(5):
        write_job(made, number)
        shown = held.of(made, site_id)
        assert "recheck 0.3" in known(shown.history), f"lost with job {number}"
        if not number:
            assert begun.wait(20)
    gate.set()
    whole = wait_for_whole(held, made)
    now = keep(whole.history, "recheck 0.3", lambda: pytest.fail("made anew"))
    assert whole.study is not None
    assert unlike(now, recheck_of(whole.study.standing, 0.3, whole.study.choices.site_months)) == []


def test_what_cannot_be_followed_is_studied_as_a_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    made, held = made_book(assets=6), Pictures()
    site_id = made.at_site.site_id
    first = held.of(made, site_id)
    study_for(first.history)
    monkeypatch.setattr(growing, "change_of", lambda *_: None)
    write_job(made)
    later = held.of(made, site_id)
    assert later.study is None
    assert not holds(later.history, "study")
    assert study_for(later.history).whole
    assert held.behind(made, site_id) == ""


@pytest.mark.parametrize("large", [False, True])
def test_what_a_new_day_brings_without_an_entry_is_studied_anew(monkeypatch: pytest.MonkeyPatch, large: bool) -> None:
    """Averages go by what machines are: a machine that runs at another speed from a day on belongs to another class."""
    if large:
        monkeypatch.setattr("dashboard.picture.QUICK", 1)
    monkeypatch.setattr(making, "QUIET_S", 0.01)
    made, held = made_book(assets=6), Pictures()
    site_id, days = made.at_site.site_id, [20_000]
    monkeypatch.setattr(pictures, "day_number_at", lambda _: days[-1])
    first = wait_for_whole(held, made) if large else held.of(made, site_id)
    assert study_for(first.history).whole
    told = first.history.assets.speed_class.tolist()
    made.stories = [replace(one, asset=replace(one.asset, speed_rpm=740.0)) for one in made.stories]
    assert held.of(made, site_id) is first, "it is the same day"
    days.append(20_001)
    shown, gate = held.of(made, site_id), held.behind(made, site_id)
    if large:
        assert shown is first
        assert gate in {say("picture.new_day"), ""}, "or the thread was quicker"
        assert not held.whole(made, site_id) or held.of(made, site_id) is not first
        shown = wait_for_whole(held, made)
    assert shown.history.head == first.history.head
    assert shown.history.assets.speed_class.tolist() != told
    assert unlike(without_predictions(study_for(shown.history)), without_predictions(study_of(shown.history))) == []
    assert held.behind(made, site_id) == ""


def test_machines_that_go_out_of_service_with_a_new_day_cost_no_study(monkeypatch: pytest.MonkeyPatch) -> None:
    made, held, days = made_book(assets=6), Pictures(), [20_000]
    monkeypatch.setattr(pictures, "day_number_at", lambda _: days[-1])
    site_id = made.at_site.site_id
    first = held.of(made, site_id)
    study_for(first.history)
    gone = replace(first.history.assets, retired=np.ones(len(first.history.assets), dtype=bool))
    monkeypatch.setattr(made, "history", lambda _: replace(first.history, assets=gone))
    monkeypatch.setattr(growing, "study_of", lambda _: pytest.fail("studied anew"))
    days.append(20_001)
    shown = held.of(made, site_id)
    assert shown.study is not None
    assert shown.history.assets.retired.all()
    assert study_for(shown.history).whole


def test_many_readers_and_a_writer_see_one_state_each(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(making, "QUIET_S", 0.02)
    made, held, wrong = made_book(assets=6), Pictures(), []
    site_id = made.at_site.site_id
    study_for(held.of(made, site_id).history)
    done = threading.Event()

    def read() -> None:
        last = 0
        while not done.is_set():
            picture = held.of(made, site_id)
            study = study_for(picture.history)
            rows = int(study.runs.end_row.max(initial=-1))
            if (
                picture.history.head < last
                or rows >= len(picture.history.jobs)
                or len(study.runs) != len(study.runs.days)
            ):
                wrong.append((last, picture.history.head, rows))
            last = picture.history.head

    readers = [threading.Thread(target=read) for _ in range(4)]
    for reader in readers:
        reader.start()
    for k in range(12):
        write_job(made, k % 6)
        threading.Event().wait(0.03)
    done.set()
    for reader in readers:
        reader.join(20)
    assert not wrong
    picture = wait_for_whole(held, made)
    assert len(picture.history.jobs) == len(made.history(site_id).jobs)
    assert unlike(picture.study, without_predictions(study_of(picture.history))) == []


def test_a_picture_is_kept_although_the_book_is_written_to_all_the_time(
    slow: Slow, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> None:
    del slow  # every book counts as large
    monkeypatch.setattr(making, "QUIET_S", 1000.0)
    monkeypatch.setattr(making, "LONGEST_S", 0.3)
    book, site_id = Keeps(made_book(assets=6)), 1
    book.gate.set()
    written = threading.Event()
    held = Pictures(lambda *_: {} if written.is_set() else {"made": write_job(book)})
    request.addfinalizer(written.set)  # else a thread would go on for as long as the tests do
    whole(held, book, site_id)
    assert book.kept is not None, "the first one is kept, though a job came while it was made"
    assert book.kept[0].head < book.head()
    first, book.kept = book.kept[0].head, None
    for k in range(600):
        write_job(book, k % 6)
        held.of(book, site_id)
        if book.kept is not None:
            break
        threading.Event().wait(0.02)
    assert book.kept is not None, "there was no quiet moment, and it was made nevertheless"
    assert book.kept[0].head > first
    assert book.kept[1] is not None
    assert book.kept[1].until == book.kept[0].head, "history and study are up to the same entry"


class ManySites(MadeBook):
    """A book with as many sites as are asked for, that says which of them it forgot."""

    forgotten: tuple[int, ...] = ()

    def history(self, site_id: int) -> History:
        assert site_id
        return super().history(self.at_site.site_id)

    def history_to_keep(self, site_id: int) -> History:
        return self.history(site_id)

    def kept_picture(self, site_id: int) -> None:
        del site_id

    def keep_picture(self, *given: Any) -> None:
        del given

    def prepare(self, site_id: int) -> None:
        del site_id

    def forget(self, site_id: int) -> None:
        self.forgotten = (*self.forgotten, site_id)


def test_a_book_that_went_back_keeps_no_thread_at_work(slow: Slow) -> None:
    """Where a copy that is behind is read meanwhile, say: the thread ends, and the next page shows what is there."""
    slow.gate.set()
    held, slow.more = Pictures(), 5
    whole(held, slow, 1)
    slow.more = 0
    done = held._start(slow, 1, held._sites[1])
    assert done is not None
    assert done.wait(10)
    assert held.of(slow, 1).history.head == slow.head()


def test_sites_that_nobody_asked_for_are_forgotten_but_not_while_a_thread_works_for_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = made_book(assets=3)
    book = ManySites(made.stories, made.at_site, made.instrument_list, made.limits)
    jobs = len(book.history(1).jobs)
    monkeypatch.setattr(pictures, "LEAST_JOBS", 1)
    monkeypatch.setattr(pictures, "MOST_JOBS", 3 * jobs)
    held = Pictures()
    first = held.of(book, 1)
    for site_id in (2, 3):
        held.of(book, site_id)
    assert held.of(book, 1) is first
    held.of(book, 4)
    assert book.forgotten == (2,), "the one that nobody asked for the longest"
    assert held.of(book, 1) is first
    held._sites[3].making = threading.Event()
    held.of(book, 5)
    assert book.forgotten == (2, 4)
    assert held.behind(book, 4) == ""
    assert set(held._sites) == {1, 3, 5}
    monkeypatch.setattr(pictures, "MOST_JOBS", 1)
    assert held.of(book, 5).history.head == book.head(), "the site that is asked for stays, however large"
    assert set(held._sites) == {3, 5}


# -- finished answers ----------------------------------------------------------------------------------------------


def test_a_finished_answer_is_given_again_until_something_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    made, now = made_book(assets=4), [NOW]
    app = create_app(Settings(book="x.book"), made, clock=lambda: now[0])
    calls: list[str] = []
    building = month.build

    def counted(*given: Any, **named: Any) -> Any:
        calls.append("made")
        return building(*given, **named)

    monkeypatch.setattr(month, "build", counted)
    first = show(app, month)
    assert show(app, month).data == first.data
    assert len(calls) == 1
    assert show(app, month, "?units=mil").data != first.data
    show(app, month)
    assert len(calls) == 2
    now[0] = NOW.replace(hour=NOW.hour + 1)
    show(app, month)
    assert len(calls) == 3, "another hour"
    made.stories = made.stories[:-1]
    monkeypatch.setattr(made, "head", lambda: 10_000 - 1)
    show(app, month)
    assert len(calls) == 4, "another entry"
    show(app, month, cookie="somebody else")
    assert len(calls) == 5, "another person"
    show(app, month)
    assert len(calls) == 5


def test_only_pages_that_show_are_kept_and_the_oldest_goes_first() -> None:
    for page in (month, offenders, due, book):
        assert page.Ids.BODY in answers.SHOWN
    assert record.Ids.BODY not in answers.SHOWN
    held = answers.Answers(most=10 + 2 * answers.EACH)
    held.put("a", b"12345")
    held.put("b", b"1234")
    assert held.get("a") == b"12345"
    held.put("c", b"123")
    assert held.get("b") is None
    assert held.get("a") == b"12345"
    held.put("a", b"1")
    assert held.get("a") == b"1"
    held.put("d", b"123456789")
    assert (held.get("c"), held.get("a")) == (None, b"1")


def test_a_kept_answer_takes_the_room_that_is_counted_however_long_the_question_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A question may be padded to the bound of a body: forty of 4 MB once filled 160 MB beside 2.6 MB that were counted."""
    held: list[answers.Answers] = []

    class Seen(answers.Answers):
        def __init__(self) -> None:
            super().__init__()
            held.append(self)

    monkeypatch.setattr(answers, "Answers", Seen)
    app = create_app(Settings(book="x.book"), made_book(assets=4), clock=lambda: NOW)
    client, asked = app.server.test_client(), json.dumps(question(month))
    for blanks in (0, 500_000, 500_001):
        client.set_cookie("pad", "x" * (blanks % 3))
        data = asked + " " * blanks
        assert client.post("/_dash-update-component", data=data, content_type="application/json").status_code == 200
    assert len(held[0]._kept) == 3
    for key in held[0]._kept:
        assert isinstance(key, tuple)
        assert sum(len(part) for part in key if isinstance(part, bytes | str)) < answers.EACH
