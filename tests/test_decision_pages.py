"""What was decided by a site's rule where a person or a program reads it: pages, tables, papers, interface, command."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import jsonschema
import pytest

from dashboard.api.schemas import SCHEMAS
from dashboard.cli import main
from dashboard.files.tables import make_table
from dashboard.pages import asset, book, limits, month, record
from dashboard.reports.asset_jobs import verdicts_told
from models.commands.set_site import set_site
from models.settings import Settings
from models.values.decision import DecisionRule, Rule, Verdict
from models.values.roles import Role
from tests.conftest import NOW
from tests.fuzz.api_book import FOUND, JOB, Program, tokened
from tests.record_book import Opened, open_book
from tests.test_dashboard_pages import fill, text_of
from tests.test_dashboard_pages_record import Form, results

GUARDED = DecisionRule(Rule.GUARDED)
DEVIATIONS = {"found.results.sd_offset": "0.01", "found.results.sd_angle": "0.05"}
RULE = "rule guarded, 95\u202f%"
UNKNOWN = f"No uncertainty is known, {RULE}."


@pytest.fixture
def opened(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(sqlite_book, tmp_path) as opened:
        yield opened


def guard(opened: Opened) -> None:
    opened.site = set_site(
        opened.reader.engine, opened.site, by="Ana Wick", now=NOW, rule=GUARDED, why="the customer asks for it"
    )


def test_record_says_what_the_rule_decides_while_it_is_typed_and_once_it_is_recorded(opened: Opened) -> None:
    form = Form(opened, "?asset=P-2")
    fields = form.fields() | results()
    assert "rule guarded" not in json.dumps(form.look(fields), ensure_ascii=False)
    guard(opened)
    form = Form(opened, "?asset=P-2")
    fields = form.fields() | results() | DEVIATIONS
    looked = json.dumps(form.look(fields), ensure_ascii=False)
    assert "by the ratio" in looked
    assert "by the rule undecided" in looked or "by the rule over" in looked
    assert f", {RULE}." in looked
    assert "As left, by the decision rule" in looked
    # The probability stands beside it once more, with what it rests on: one figure in the same digits.
    sharp = fields | {"found.results.sd_offset": "0.0001", "found.results.sd_angle": "0.0001"}
    told = re.search(r"Probability ([^,]+), rule", json.dumps(form.look(sharp), ensure_ascii=False))
    output = f"..{Ids.CHANCE_FOUND}.children...{Ids.CHANCE_LEFT}.children.."
    chance = form.ask(output, (Ids.TYPED, sharp)).get_json()["response"][Ids.CHANCE_FOUND]
    assert told is not None
    assert "99.9" in told[1]
    assert f"given the stated uncertainty: {told[1]}." in json.dumps(chance, ensure_ascii=False)
    looked = json.dumps(form.look(form.fields() | results()), ensure_ascii=False)
    assert f"As found, by the decision rule: undecided. {UNKNOWN}" in looked
    handed = json.dumps(form.send(fields), ensure_ascii=False)
    line = opened.story().standing[-1]
    assert line.decisions.found is not None
    assert line.decisions.found.covariance is not None
    assert line.decisions.found.probability is not None
    assert line.decisions.left == line.decisions.found, "nothing was moved"
    assert f"As found, by the decision rule: {line.decisions.found.verdict}. Probability" in handed
    # A row of a list, of which nothing was known: what becomes known is enough for an amendment.
    old = opened.story().standing[-2]
    late = Form(opened, f"?asset=P-2&amend={old.entry}")
    late.send(late.fields() | {"of": late.made(), "left.results.sd_offset": "0.0004", "left.results.sd_angle": "0.003", "why": "sheet", "by": "Bo Tarn"})  # fmt: skip
    known = next(one for one in opened.story().standing if one.job_id == old.job_id)
    assert (known.supersedes, known.job.left) == (old.entry, old.job.left)
    assert known.decisions.left is not None
    assert known.decisions.left.covariance is not None
    told = text_of(fill(opened.app.server.test_client(), book, f"/book/{known.entry}", ""))
    assert "standard uncertainty as-left" in told
    assert "vertical offset 0.0004 mm; vertical angularity 0.003 mm/m" in told
    # An amendment in the form keeps what the form says of the uncertainty.
    again = Form(opened, f"?asset=P-2&amend={line.entry}")
    again.send(again.fields() | {"of": again.made(), "notes": "read again", "why": "a note", "by": "Bo Tarn"})
    assert opened.story().standing[-1].decisions.found == line.decisions.found
    assert opened.story().standing[-1].entry > line.entry


Ids = record.Ids


def test_machine_entry_month_and_limits_say_it(opened: Opened) -> None:
    client = opened.app.server.test_client()
    bare = {page: text_of(fill(client, page, page.PATH, search)) for page, search in ((month, ""), (limits, ""))}
    guard(opened)
    form = Form(opened, "?asset=P-2")
    form.send(form.fields() | results())
    entry = opened.story().standing[-1].entry
    on_machine = text_of(fill(client, asset, "/asset/P-2", ""))
    assert f"As left, by the decision rule: undecided. {UNKNOWN}" in on_machine
    assert "0.95 within; by the rule undecided" in on_machine
    other = text_of(fill(client, asset, "/asset/P-2", "?limits=today"))
    assert "stays as it was stored with the jobs" in other
    assert "by the rule undecided" not in other
    told = opened.reader.entry(opened.site.site_id, entry)
    assert told is not None
    page = text_of(fill(client, book, f"/book/{entry}", ""))
    assert f"As left, by the decision rule: undecided. {UNKNOWN}" in page
    setting = text_of(fill(client, book, f"/book/{entry - 1}", ""))
    assert "guarded, 95" in setting
    assert "Decision rule" in setting
    assert "simple acceptance" in setting
    now = {
        page: text_of(fill(client, page, page.PATH, search))
        for page, search in ((month, "?month=2026-11"), (limits, ""))
    }
    assert "The decision rule of this site is guarded, 95\u202f%;" in now[month]
    assert "1 is undecided" in now[month]
    assert "stays as it was stored with each job" in now[limits]
    assert not any("decision rule of this site" in text or "stays as it was stored" in text for text in bare.values())
    assert "by the rule undecided" in Form(opened, "?asset=P-2").body()


def test_tables_hold_it_only_where_something_was_decided(opened: Opened) -> None:
    with opened.app.server.app_context():
        before = [column.name for column in make_table("asset-jobs", "asset=P-2").columns]
    guard(opened)
    form = Form(opened, "?asset=P-2")
    form.send(form.fields() | results() | DEVIATIONS)
    line = opened.story().standing[-1]
    with opened.app.server.app_context():
        columns = {column.name: column.values[0] for column in make_table("asset-jobs", "asset=P-2").columns}
    assert list(columns)[: len(before) - 8] == before[: len(before) - 8]
    assert len(columns) == len(before) + 10  # with what was known of the uncertainty of both
    assert line.decisions.left is not None
    assert columns["left decided"] == line.decisions.left.verdict
    assert columns["left probability within"] == line.decisions.left.probability
    assert (columns["left decision rule"], columns["left confidence"]) == ("guarded", 0.95)


def test_a_program_says_uncertainties_and_reads_what_was_decided(settings: Settings, tmp_path: Path) -> None:
    with tokened(settings, tmp_path, Role.RECORDER, Role.READER) as (opened, secret):
        program = Program(opened, secret)
        known = {"offset_v_mm": 0.002, "angle_v_mm_m": 0.01, "offset_h_mm": 0.002, "angle_h_mm_m": 0.01}
        bare = program.post(
            "/jobs", {"job": JOB | {"ref": "A", "performed_at": "2026-11-18T09:30:00Z"}, "uncertainty": {"left": known}}
        ).get_json()
        assert (bare["decision_found"], bare["decision_left"]) == (None, None)
        guard(opened)
        told = program.post("/jobs", {"job": JOB, "uncertainty": {"left": known}}).get_json()
        jsonschema.Draft202012Validator(
            {"$ref": "#/components/schemas/JobVersion", "components": {"schemas": SCHEMAS}}
        ).validate(told)
        assert told == program.get(f"/jobs/{told['entry']}")
        assert told["decision_found"] == {
            "verdict": "undecided",
            "probability": None,
            "rule": "guarded",
            "confidence": 0.95,
            "covariance": None,
        }
        assert told["decision_left"]["verdict"] == str(Verdict.WITHIN)
        assert told["decision_left"]["probability"] > 0.95
        assert told["decision_left"]["covariance"][0] == [0.002**2, 0.0, 0.0, 0.0]
        said = {"why": "see the sheet", "changes": {"notes": "again"}}
        kept = program.post(f"/jobs/{told['entry']}/amendment", said).get_json()
        assert kept["decision_left"] == told["decision_left"]
        half = {"why": "the maker's sheet", "uncertainty": {"found": known}}
        both = program.post(f"/jobs/{kept['entry']}/amendment", half).get_json()
        assert both["decision_left"] == told["decision_left"], "of this one nothing is said"
        assert both["decision_found"]["covariance"] == told["decision_left"]["covariance"]
        assert both["job"] == kept["job"]
        again = program.post(f"/jobs/{both['entry']}/amendment", half)
        assert (again.status_code, again.get_json()["code"]) == (409, "conflict")
        kept = both
        gone = program.post(
            f"/jobs/{kept['entry']}/amendment", said | {"changes": {"notes": "x"}, "uncertainty": {"left": None}}
        ).get_json()
        assert gone["decision_left"]["verdict"] == "undecided"
        assert gone["decision_found"] == both["decision_found"]
        wrong = program.post("/jobs", {"job": JOB | {"ref": "B"}, "uncertainty": {"left": FOUND | {"offset_v_mm": -1}}})
        assert wrong.status_code == 422
        site = next(one for one in program.get("/sites")["items"])
        assert site["decision_rule"] == {"rule": "guarded", "confidence": 0.95}


def test_a_paper_says_it(opened: Opened) -> None:
    guard(opened)
    form = Form(opened, "?asset=P-2")
    form.send(form.fields() | results())
    line = opened.story().standing[-1]
    assert verdicts_told(line).endswith(f"As left, by the decision rule: undecided. {UNKNOWN}")


def test_the_command_chooses_the_rule(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with open_book(sqlite_book, tmp_path):
        pass
    place = ["--book", sqlite_book.book, "--by", "Ana Wick"]
    assert main(["site", *place]) == 0
    assert "decision rule: simple acceptance" in capsys.readouterr().out
    assert main(["site", *place, "--rule", "guarded", "--why", "the customer asks for it"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "decided so; what was decided before stays as it was stored" in said
    assert "guarded, 95" in said
    assert main(["site", *place, "--confidence", "99.7"]) == 0
    assert "99.7" in capsys.readouterr().out
    assert main(["site", *place, "--rule", "simple", "--confidence", "90"]) == 2
    assert main(["site", *place, "--confidence", "40"]) == 2
    assert main(["site", *place, "--rule", "simple"]) == 0
    assert "simple acceptance" in capsys.readouterr().out
