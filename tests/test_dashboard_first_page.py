"""The first page after a new job puts no column together that is as long as the history, and shows what it would show if it did."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.context import context
from dashboard.growing import put_together
from dashboard.ids import Shell
from dashboard.place import asset_path
from models.history.columns import JobColumns
from models.history.late import maker_of
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from tests.benchmarks.callbacks import Asker, demo, whole_picture
from tests.benchmarks.one_new_job import PAGES, Recorder
from tests.benchmarks.questions_asked import Question

LONG = {
    "runs": ("asset", "start_row", "end_row", "days", "hours", "start_ratio", "end_ratio", "drift"),
    "material": ("series", "asset", "run", "years", "drift", "start_us", "end_us"),
}
"""Columns of a study that are as long as the history."""


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the demo count as large, with threads that leave it alone after the first picture."""
    monkeypatch.setattr("dashboard.picture.QUICK", 1)
    monkeypatch.setattr("models.store.growth.SHORT", -1)
    monkeypatch.setattr("dashboard.pictures.SOON_S", 1000.0)
    monkeypatch.setattr("dashboard.making.QUIET_S", 1000.0)
    monkeypatch.setattr("dashboard.making.LONGEST_S", 1000.0)
    # The thread that waits for a quiet moment puts together what is late; here it has to leave that to the pages.
    monkeypatch.setattr("dashboard.making.put_together", lambda _: None)


@pytest.mark.usefixtures("large")
def test_pages_after_new_jobs_need_no_long_column_and_show_the_same_as_with_all_of_them(book: Path) -> None:
    settings = Settings(book=str(book), cache="off")
    reader, engine = Reader(make_engine(settings)), make_engine(settings)
    soon = datetime.now(UTC) + timedelta(hours=1)  # chances are those of the moment: one for all that is asked here
    app = create_app(settings, reader, clock=lambda: soon)
    history, site = whole_picture(app, reader), reader.sites()[0]
    recorder, asker = Recorder(engine, site, history), Asker(app)

    def ask(name: str, tag: str, visit: str) -> list[Any]:
        bodies, path = PAGES[name]
        given = {
            f"{Shell.PAGE}.data": path or asset_path(tag),
            f"{Shell.URL}.search": "",
            f"{Shell.SCHEME}.data": "light",
        }
        asker._client.set_cookie("visit", visit)  # else the finished answer would be given again
        parts = [asker.body(Question(name, body, "", given)) for body in bodies]
        return [
            json.loads(asker._client.post("/_dash-update-component", json=part).get_data(as_text=True))
            for part in parts
        ]

    tag = recorder.record()
    for name in PAGES:
        ask(name, tag, "before")
    for name in PAGES:
        tag = recorder.record()
        first = ask(name, tag, f"{name} first")
        with app.server.app_context():
            picture = context().pictures.of(reader, site.site_id)
        assert picture.history.head == reader.head()
        assert picture.study is not None
        made = [one for one in JobColumns.__slots__ if maker_of(picture.history.jobs, one) is None]
        for part, columns in LONG.items():
            value = getattr(picture.study, part)
            made += [f"{part}.{one}" for one in columns if maker_of(value, one) is None]
        assert made == [], name
        put_together(picture)
        assert maker_of(picture.history.jobs, "found") is None
        assert ask(name, tag, f"{name} again") == first, name
