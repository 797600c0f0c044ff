"""The Record page without a browser: from a form to one entry of the book, and what is refused on the way."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from history_maker import NOW as MADE_NOW
from history_maker import made_book
from test_dashboard_pages import call, text_of

from dashboard.app import create_app
from dashboard.desk import basis_on, free_ref
from dashboard.ids import Shell
from dashboard.pages import record
from dashboard.security import comes_from_here
from dashboard.views import record_sheet
from models.commands.set_site import set_site
from models.maths.working import work_out
from models.settings import Settings
from models.units import Display
from tests.conftest import NOW
from tests.record_book import Opened, open_book

Ids = record.Ids
FOUND = {"offset_v": "0.05", "angle_v": "0.30", "offset_h": "0.02", "angle_h": "0.20"}
RAW = {
    "found.method": "reverse indicator", "found.seen_from": "movable machine",
    "found.dial.1.bracket": "movable shaft", "found.dial.1.top": "0", "found.dial.1.right": "0.02", "found.dial.1.bottom": "-0.05",
    "found.dial.1.left": "-0.07", "found.dial.1.plane": "-90", "found.dial.2.bracket": "stationary shaft", "found.dial.2.top": "0",
    "found.dial.2.right": "-0.14", "found.dial.2.bottom": "-0.25", "found.dial.2.left": "-0.11", "found.dial.2.plane": "90",
    "found.noise.reading": "0.005",
}  # fmt: skip


class Form:
    """The page as a browser uses it, one machine at a time."""

    def __init__(self, book: Opened, search: str) -> None:
        self.book, self.search = book, search
        self.client = book.app.server.test_client()

    def place(self) -> list[dict[str, Any]]:
        return [
            {"id": Shell.URL, "property": "pathname", "value": "/record"},
            {"id": Shell.URL, "property": "search", "value": self.search},
        ]

    def ask(self, output: str, first: tuple[str, Any], *more: dict[str, Any]) -> Any:
        return call(self.client, output, [{"id": first[0], "property": "data", "value": first[1]}, *more], self.place())

    def place_of_body(self) -> list[dict[str, Any]]:
        return [{"id": Shell.PAGE, "property": "data", "value": "/record"}, self.place()[1]]

    def body(self) -> str:
        given = [*self.place_of_body(), {"id": Shell.SCHEME, "property": "data", "value": "light"}]
        return text_of(call(self.client, f"{Ids.BODY}.children", given))

    def made(self) -> str:
        """Give for what the form says that it was made."""
        given = [*self.place_of_body(), {"id": Shell.SCHEME, "property": "data", "value": "light"}]
        parts = call(self.client, f"{Ids.BODY}.children", given).get_json()["response"][Ids.BODY]["children"]
        (of,) = [one["props"]["data"]["of"] for one in parts if one and one["props"].get("id") == Ids.KEY]
        return str(of)

    def fields(self, draft: dict[str, Any] | None = None) -> dict[str, str]:
        answer = self.ask(f"{Ids.FORM}.children", (Ids.DRAFT, draft or {})).get_json()
        stores = answer["response"][Ids.FORM]["children"]
        return next(one["props"]["data"] for one in stores if one["props"].get("id") == Ids.TYPED)

    def look(self, fields: dict[str, str]) -> dict[str, Any]:
        outputs = (
            "result-found.children", "result-left.children", "soft-before.children", "soft-after.children", "said.data",
            "status.children", "open.children", "asks.data", "changed.children",
        )  # fmt: skip
        output = "..".join(["", "...".join(f"record-{one}" for one in outputs), ""])
        scheme = {"id": Shell.SCHEME, "property": "data", "value": "light"}
        given = [{"id": Ids.TYPED, "property": "data", "value": fields}, scheme]
        state = [*self.place(), {"id": Ids.ASKS, "property": "data", "value": None}]
        return call(self.client, output, given, state).get_json()["response"]  # type: ignore[no-any-return]

    def send(self, fields: dict[str, str]) -> dict[str, Any]:
        return self.ask(f"{Ids.ANSWER}.children", (Ids.SEND, {"fields": fields, "n": 1})).get_json()  # type: ignore[no-any-return]


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Any) -> Iterator[Opened]:
    with open_book(sqlite_book, tmp_path) as opened:
        yield opened


@pytest.fixture
def form(book: Opened) -> Form:
    return Form(book, "?asset=P-2")


def results(**changes: str) -> dict[str, str]:
    return {f"found.results.{name}": text for name, text in (FOUND | changes).items()} | {
        "by": "Ana Wick",
        "found.by": "laser",
        "left.method": "same",
    }


def test_the_page_shows_what_was_left_the_target_and_where_the_limit_comes_from(book: Opened, form: Form) -> None:
    text = form.body()
    assert "4 Nov 2025, Bo Tarn (planned)" in text
    assert "offset V +0.040, H −0.030 mm; angularity V +0.30, H +0.25 mm/m" in text
    assert "found 1.03 over, left 0.75 within" in text
    assert "angle at each flex plane 0.50 mm/m" in text
    assert "This is the starter set" in text
    assert "isolate it, lock out and tag" in text
    assert "offset V −0.080" in Form(book, "?asset=F-1").body()
    assert Form(book, "?asset=F-1").fields()["target.offset_v"] == "-0.08 mm"
    form.send(form.fields() | results() | {"of": form.made(), "people": "Ana Wick", "left.method": "none"})
    text = form.body()
    assert "25 Nov 2026, Ana Wick (planned)" in text
    assert "offset V +0.050, H +0.020 mm; angularity V +0.30, H +0.20 mm/m" in text
    assert "not measured on that visit; last measured on 4 Nov 2025: offset V +0.040, H −0.030 mm" in text


def test_a_new_form_knows_the_time_the_number_and_how_it_was_measured_last(form: Form) -> None:
    fields = form.fields()
    assert fields["performed"] == "2026-11-25 07:00"
    assert fields["ref"] == "P-2 2026-11-25 07:00"
    assert fields["reason"] == "planned"


def test_the_number_goes_with_the_time_until_somebody_types_another_and_the_same_draft_goes_in_once(
    book: Opened, form: Form
) -> None:
    fields = form.fields() | results() | {"performed": "2026-11-24 06:00"}
    assert form.look(fields)[Ids.SAID]["data"]["ref"] == "P-2 2026-11-24 06:00"
    assert form.look(fields | {"ref": "night shift 7"})[Ids.SAID]["data"]["ref"] == ""
    assert form.look(fields | {"performed": "24/11"})[Ids.SAID]["data"]["ref"] == ""
    form.send(fields)
    assert book.story().standing[-1].job.ref == "P-2 2026-11-24 06:00"
    assert "is in the book already" in json.dumps(form.send(fields))
    moved = form.fields() | {
        "ref": "P-2 2026-11-24 06:00",
        "ref.proposed": "P-2 2026-11-24 06:00",
        "performed": "2026-11-24 06:00",
    }
    assert form.look(moved | results())[Ids.SAID]["data"]["ref"] == ""


def test_a_draft_of_this_browser_fills_the_form_and_nonsense_in_it_does_not(form: Form) -> None:
    draft = {"units": "mil", "temperature": "°F", "fields": {"found.results.offset_v": "2", "odd": 3}, "by": "Bo Tarn"}
    fields = form.fields(draft)
    assert fields["found.results.offset_v"] == "2 mil"
    assert fields["by"] == "Bo Tarn"
    assert "odd" not in fields
    assert form.fields({"fields": "x", "units": None})["reason"] == "planned"
    assert form.fields({"fields": {"notes": "a"}, "units": "ell", "at": "never"})["notes"] == "a"


def test_sending_the_form_makes_one_entry_and_sending_it_again_makes_none(book: Opened, form: Form) -> None:
    head = book.reader.head()
    fields = form.fields() | results()
    answer = form.send(fields)
    line = book.story().standing[-1]
    handed_in = answer["sideUpdate"][Ids.HANDED]["data"]
    assert (handed_in["tag"], handed_in["entry"]) == ("P-2", line.entry)
    assert handed_in["told"] == f"The job on P-2 is in the book as entry {line.entry}."
    assert line.author == "Ana Wick"
    assert line.job.found.as_tuple() == (0.05, 0.3, 0.02, 0.2)  # type: ignore[union-attr]
    again = json.dumps(form.send(fields))
    assert f"is in the book already, as entry {line.entry}" in again
    assert book.reader.head() == head + 1
    assert f"Recorded as entry {line.entry}" in Form(book, f"?asset=P-2&saved={line.entry}").body()
    assert form.fields()["ref"] == "P-2 2026-11-25 07:00 (2)"


def test_a_form_is_of_the_machine_and_in_the_units_for_which_it_was_made(book: Opened, form: Form) -> None:
    fields = form.fields() | results() | {"of": "asset=P-2&units=mm"}
    # The browser's address is that of the next page already.
    form.search = "?asset=F-1&units=mil"
    said = form.look(fields)
    assert "= +0.050 mm" in json.dumps(said, ensure_ascii=False)
    entry = form.send(fields)["sideUpdate"][Ids.HANDED]["data"]["entry"]
    line = book.story().standing[-1]
    assert line.entry == entry
    assert line.job.found.as_tuple() == (0.05, 0.3, 0.02, 0.2)  # type: ignore[union-attr]
    assert form.fields({"fields": {"notes": "a"}, "units": "mm", "of": "asset=P-2"})["notes"] == "a"


def test_a_form_is_read_in_its_own_units_also_where_those_of_the_site_are_set_anew(book: Opened, form: Form) -> None:
    fields = form.fields() | results() | {"of": form.made()}
    set_site(book.reader.engine, book.site, by="Ada", now=NOW, display=Display("mil"))
    assert form.send(fields)["sideUpdate"][Ids.HANDED]["data"]["tag"] == "P-2"
    line = book.story().standing[-1]
    assert line.job.found.as_tuple() == (0.05, 0.3, 0.02, 0.2)  # type: ignore[union-attr]
    assert line.job.typed["found_offset_v"] == "0.05 mm"


def test_a_form_of_another_clock_or_another_site_is_refused_in_words(book: Opened, form: Form) -> None:
    fields, head = form.fields() | results() | {"of": form.made()}, book.reader.head()
    elsewhere = fields | {"of": fields["of"].replace(f"site={book.site.code}", "site=far-bank")}
    assert "made for the site ‘far-bank’, which is not open to you" in json.dumps(
        form.send(elsewhere), ensure_ascii=False
    )
    gone = fields | {"of": fields["of"].replace("asset=P-2", "asset=P-77")}
    assert "the machine of this form is not found any more" in json.dumps(form.send(gone))
    assert book.reader.head() == head
    set_site(book.reader.engine, book.site, by="Ada", now=NOW, zone="America/Halifax")
    head = book.reader.head()
    assert "were set anew while this form was open" in json.dumps(form.send(fields))
    assert book.reader.head() == head


def test_both_stages_are_put_anew_where_the_second_was_chosen_before_the_first_was_answered(form: Form) -> None:
    fields = form.fields() | {"found.method": "rim and face", "left.method": "reverse indicator", "of": "asset=P-2"}
    shape = {"stage": "found left", "fields": fields, "was": {"found": "", "left": "rim and face"}}
    output = f"..{Ids.MEASURE_FOUND}.children...{Ids.MEASURE_LEFT}.children.."
    answer = form.ask(output, (Ids.SHAPE, shape)).get_json()["response"]
    assert "found.dial.2.diameter" in json.dumps(answer[Ids.MEASURE_FOUND])
    assert "left.dial.2.plane" in json.dumps(answer[Ids.MEASURE_LEFT])
    for odd in ({"stage": 7, "fields": {}}, {"stage": "x", "fields": fields, "was": "y"}):
        assert form.ask(output, (Ids.SHAPE, odd)).status_code in {200, 204, 400}


def test_what_is_open_is_not_recorded_although_a_browser_sends_it(book: Opened, form: Form) -> None:
    head = book.reader.head()
    for changes in (
        {"by": ""},
        {"found.results.offset_v": "x"},
        {"found.results.offset_v": "1.9"},
        {"performed": "2027-05-05"},
        {"feet.movable.1.at": "0"},
        {"instrument": "D-9"},
        {"found.method": "none"},
        {"reason": "installation"},
    ):
        assert "Nothing was recorded." in json.dumps(form.send(form.fields() | results() | changes)), changes
    assert book.reader.head() == head


def test_a_stated_reason_goes_into_the_book(book: Opened, form: Form) -> None:
    form.send(form.fields() | results() | {"instrument": "D-9", "stated.calibration": "compared with D-1"})
    assert book.story().standing[-1].job.typed["stated reason: calibration overdue"] == "compared with D-1"


def test_the_page_and_the_book_judge_alike(book: Opened, form: Form) -> None:
    fields = form.fields() | results() | RAW
    said = form.look(fields)[Ids.STATUS]["children"]
    form.send(fields | {"stated.left_over": "runs until the shutdown"})
    line = book.story().standing[-1]
    assert line.found_ratio is not None
    assert f"As found {line.found_ratio:.2f}" in said


FACES = {
    f"found.dial.{dial}.{place}": text
    for dial, readings in ((1, ("0", "0.05", "-0.06", "-0.11")), (2, ("0", "-0.03", "0.04", "0.07")))
    for place, text in zip(("top", "right", "bottom", "left"), readings, strict=True)
} | {"found.method": "two faces", "found.dial.1.diameter": "100", "found.dial.2.diameter": "100"}


def test_a_span_that_is_not_the_described_one_is_asked_about_and_page_and_book_judge_by_the_described_one(
    book: Opened, form: Form
) -> None:
    fields = form.fields() | results() | FACES
    nearly = form.look(fields | {"found.span": "180.5"})["record-asks"]["data"]
    assert "stated.span" not in [one[1] for one in nearly], "the same, measured once more"
    other = fields | {"found.span": "240"}
    (ask,) = (one for one in form.look(other)["record-asks"]["data"] if one[1] == "stated.span")
    assert "The span typed is 240 mm; P-2 is described with 180 mm, and is judged by that." in ask[3]
    assert ask[2] == "found.span"
    refused = json.dumps(form.send(other), ensure_ascii=False)
    assert "Nothing was recorded." in refused
    assert re.search(r'Reasons still to state, above: \d\."', refused), "under the button they do not stand below"
    assert '"#rf-stated-span"' in refused, "and the first is a tap away"
    asks, typed = ({"id": one, "property": "data", "value": of} for one, of in ((Ids.ASKS, [ask]), (Ids.TYPED, other)))
    reasons = call(form.client, f"{Ids.REASONS}.children", [asks], [typed]).get_data(as_text=True)
    assert '"#rs-found-span"' in reasons, "so is the field that a question is about"
    stated = {one[1]: "the dials stood wider" for one in form.look(other)["record-asks"]["data"]}
    shown = form.look(other | stated)["record-status"]["children"]
    answer = form.send(other | stated)
    assert Ids.HANDED in answer.get("sideUpdate", {}), json.dumps(answer)
    line = book.story().standing[-1]
    assert line.judged_as is not None
    assert line.judged_as.span_mm == 180.0
    assert line.job.typed["stated reason: span is not the described one"] == "the dials stood wider"
    assert line.found_ratio is not None
    assert f"As found {line.found_ratio:.2f}" in shown


def test_names_and_serials_are_held_against_those_of_the_book(book: Opened, form: Form) -> None:
    fields = form.fields() | results() | {"people": "Ana Wick, Bo Tarn; Eda Moss", "instrument": "d\u20111"}
    said = json.dumps(form.look(fields)[Ids.SAID]["data"])
    assert "The book does not know Eda Moss; the name is added." in said
    assert "between them: Ana Wick; Bo Tarn" in said
    assert "it knows D-1, which differs only by capitals, blanks or dashes" in said
    assert "Nothing was recorded." in json.dumps(form.send(fields))
    head = book.reader.head()
    form.send(fields | {"stated.several_people": "the name of a firm", "stated.alike_instrument": "a second one"})
    assert book.reader.head() == head + 4, "two names, an instrument and the job"


def test_raw_readings_of_every_method_have_their_fields(form: Form) -> None:
    for way in ("results", "reverse indicator", "rim and face", "two faces", "readings around the shaft"):
        shape = {"stage": "left", "fields": {"left.method": way}}
        answer = text_of(
            form.ask(f"..{Ids.MEASURE_FOUND}.children...{Ids.MEASURE_LEFT}.children..", (Ids.SHAPE, shape))
        )
        wanted = {"results": "left.results.offset_v", "readings around the shaft": "left.dial.2.angles.8"}.get(
            way, "left.dial.2.returned"
        )
        assert wanted in answer, way
        assert "found." not in answer


def test_the_next_look_works_out_only_what_was_changed(form: Form, monkeypatch: pytest.MonkeyPatch) -> None:
    worked: list[object] = []

    def counted(*given: Any) -> Any:
        worked.append(given)
        return work_out(*given)

    monkeypatch.setattr(record_sheet, "work_out", counted)
    # Figures of its own: what another test has looked at is known already.
    fields = form.fields() | results() | RAW | {"found.dial.1.right": "0.0213"}
    form.look(fields)
    assert worked
    worked.clear()
    for number in range(3):
        form.look(fields | {"notes": "n" * number})
    assert worked == []
    form.look(fields | {"found.dial.1.right": "0.0217"})
    assert len(worked) == 1


def test_the_probability_comes_by_itself(form: Form) -> None:
    fields = form.fields() | results() | RAW
    answer = text_of(form.ask(f"..{Ids.CHANCE_FOUND}.children...{Ids.CHANCE_LEFT}.children..", (Ids.TYPED, fields)))
    assert "Probability that the true deviation is within limit" in answer


def test_an_answer_says_to_which_asking_it_is(form: Form) -> None:
    fields = form.fields() | results()
    assert form.look(fields)[Ids.SAID]["data"]["asked"] == ""
    answer = form.look(fields | {"asked": "7"})
    assert answer[Ids.SAID]["data"]["asked"] == "7"
    assert answer[Ids.SAID]["data"]["fields"]["found.results.offset_v"] == [["ok", "= +0.050 mm"]]
    output = f"..{Ids.CHANCE_FOUND}.children...{Ids.CHANCE_LEFT}.children.."
    said = form.ask(output, (Ids.TYPED, fields | {"asked": "7"})).get_json()["response"]
    assert said[Ids.CHANCE_FOUND]["children"]["props"]["data-asked"] == "7"


def test_a_form_that_another_job_of_the_day_overtook_is_asked_about_and_told_so(book: Opened, form: Form) -> None:
    mine = form.fields() | results(offset_v="0.03") | {"of": form.made(), "performed": "2026-11-25 06:30"}
    assert "last" not in form.look(mine)[Ids.SAID]["data"]["fields"]
    theirs = {"of": form.made(), "by": "Bo Tarn", "people": "Bo Tarn", "performed": "2026-11-25 06:00"}
    form.send(form.fields() | results() | theirs)
    assert len(book.story().standing) == 5
    ((kind, text),) = form.look(mine)[Ids.SAID]["data"]["fields"]["last"]
    assert kind == "reason"
    assert "P-2 2026-11-25 06:00 (25 Nov 2026, 06:00; Bo Tarn) went in. It left: offset V +0.050" in text
    assert "Nothing was recorded." in json.dumps(form.send(mine))
    assert "Is this the same visit once more?" in json.dumps(form.look(mine)[Ids.ASKS])
    assert len(book.story().standing) == 5
    form.send(mine | {"stated.meanwhile": "a second look after the belt change"})
    assert [line.job.found.offset_v for line in book.story().standing[4:]] == [0.05, 0.03]
    # A draft that was begun before that job went in and came back into a new form: it is asked about, what the form shows is told as it is.
    here = form.made()
    back = form.fields() | results(offset_v="0.07") | {"of": f"{here}&begun=0-", "performed": "2026-11-25 06:40"}
    looked = form.look(back)
    assert "last" not in looked[Ids.SAID]["data"]["fields"]
    assert "went into the book after this form was begun" in json.dumps(looked[Ids.ASKS])
    assert "Nothing was recorded." in json.dumps(form.send(back))
    assert len(book.story().standing) == 6
    # So it is before a key is touched in it.
    draft = {"of": back["of"], "units": "mm", "temperature": "°C"}
    draft["fields"] = {name: text for name, text in back.items() if name != "of"}
    assert "went into the book after this form was begun" in json.dumps(form.look(form.fields(draft))[Ids.ASKS])
    # One form made after the other was recorded, as one person does it: nothing is asked.
    third = form.fields() | results(offset_v="0.04") | {"of": form.made(), "performed": "2026-11-25 06:45"}
    form.send(third)
    assert len(book.story().standing) == 7


def test_the_number_of_an_asking_is_no_change_of_an_amendment(book: Opened) -> None:
    form = Form(book, f"?amend={book.story().standing[-1].entry}")
    said = json.dumps(form.look(form.fields() | {"asked": "3"})[Ids.OPEN])
    assert "the form says what the book says already" in said


def test_a_number_that_is_taken_leads_to_its_entry_as_it_stands(book: Opened, form: Form) -> None:
    fields = form.fields() | results()
    form.send(fields)
    first = book.story().standing[-1].entry
    amendment = Form(book, f"?amend={first}")
    amendment.send(
        amendment.fields()
        | {"of": amendment.made(), "by": "Ana Wick", "found.results.offset_v": "0.045", "why": "misread"}
    )
    stands = book.story().standing[-1].entry
    assert stands != first
    said = json.dumps(form.look(fields)[Ids.OPEN])
    assert f"is in the book already, as entry {stands}" in said
    assert f"/record?asset=P-2&amend={stands}" in said
    leaf = next(line.leaf for line in book.story().jobs if line.entry == stands)
    assert f'"data-handover": "{book.site.code}/P-2/{stands}-{leaf[:16]}"' in said
    # Where an entry is amended already, what is typed is not handed on to another one.
    other = Form(book, f"?amend={book.story().standing[0].entry}")
    said = json.dumps(other.look(other.fields() | {"ref": fields["ref"], "by": "Ana Wick", "why": "x"})[Ids.OPEN])
    assert "data-discard" in said
    assert "data-handover" not in said


def test_a_draft_whose_new_fields_never_came_takes_nothing_over_from_the_way_before(form: Form) -> None:
    fields = {
        "found.method": "reverse indicator",
        "found.dial.1.bracket": "stationary shaft",
        "found.dial.1.plane": "-90",
    }
    draft = {"units": "mm", "temperature": "°C", "fields": fields, "ways": {"found": "rim and face", "left": ""}}
    assert "found.dial.1.bracket" not in form.fields(draft)
    assert form.fields(draft)["found.dial.1.plane"] == "-90"
    for ways in ({"found": "reverse indicator"}, None, "x"):
        assert form.fields(draft | {"ways": ways})["found.dial.1.bracket"] == "stationary shaft"


def test_an_amendment_shows_old_and_new_and_is_recorded_with_its_reason(book: Opened) -> None:
    old = book.story().standing[-1]
    form = Form(book, f"?amend={old.entry}")
    assert f"Amend entry {old.entry} · P-2" in form.body()
    fields = form.fields() | {"of": form.made(), "by": "Ana Wick", "found.results.offset_v": "0.050 mm"}
    changed = json.dumps(form.look(fields)[Ids.CHANGED], ensure_ascii=False)
    assert "+0.055 mm" in changed
    assert "+0.050 mm" in changed
    assert "Nothing was recorded." in json.dumps(form.send(fields))
    form.send(fields | {"why": "read from the wrong line"})
    new = book.story().jobs[-1]
    assert (new.supersedes, new.author, new.why_amended) == (old.entry, "Ana Wick", "read from the wrong line")
    assert new.job.performed_at == old.job.performed_at
    assert new.job.left == old.job.left
    already = form.body()
    assert "Amended already" in already
    assert f"was amended by entry {new.entry} of Ana Wick" in already
    assert f"takes the place of entry {old.entry}" in Form(book, f"?asset=P-2&saved={new.entry}").body()


@pytest.mark.parametrize(
    "search", ["?amend=1", "?amend=x", "?amend=99999999999999999999", "?asset=F-1&amend=20", "?asset=zzz"]
)
def test_an_address_that_speaks_of_nothing_says_so_and_offers_the_machines(book: Opened, search: str) -> None:
    text = Form(book, search).body()
    assert "is no job of this site" in text or "no machine with the tag" in text
    assert "/record?asset=P-2" in text


def test_machines_are_offered_with_the_address_of_their_form(form: Form) -> None:
    given = [{"id": Ids.CHOOSE, "property": "searchValue", "value": "kiln"}]
    offered = call(form.client, f"{Ids.CHOOSE}.data", given, form.place()).get_json()["response"][Ids.CHOOSE]["data"]
    assert [(one["value"], one["asked"]) for one in offered] == [("/record?asset=F-1", "kiln")]


def test_a_book_without_a_desk_is_read_only() -> None:
    made = made_book()
    app = create_app(Settings(book="x.book"), made, clock=lambda: MADE_NOW)
    client = app.server.test_client()
    state = [
        {"id": Shell.URL, "property": "pathname", "value": "/record"},
        {"id": Shell.URL, "property": "search", "value": "?asset=P-101"},
    ]
    scheme = {"id": Shell.SCHEME, "property": "data", "value": "dark"}
    page = {"id": Shell.PAGE, "property": "data", "value": "/record"}
    assert "open for reading only" in text_of(call(client, f"{Ids.BODY}.children", [page, state[1], scheme]))
    sent = [{"id": Ids.SEND, "property": "data", "value": {"fields": results(), "n": 1}}]
    assert "open for reading only" in text_of(call(client, f"{Ids.ANSWER}.children", sent, state))


def test_the_form_stays_when_only_the_colours_change(form: Form) -> None:
    given = [*form.place_of_body(), {"id": Shell.SCHEME, "property": "data", "value": "dark"}]
    body = {
        "output": f"{Ids.BODY}.children", "outputs": {"id": Ids.BODY, "property": "children"}, "inputs": given, "state": [],
        "changedPropIds": [f"{Shell.SCHEME}.data"],
    }  # fmt: skip
    assert form.client.post("/_dash-update-component", json=body).status_code == 204
    assert form.client.post("/_dash-update-component", json=body | {"changedPropIds": []}).status_code == 200


def test_the_limits_of_the_day_of_the_job_are_taken(book: Opened) -> None:
    story = book.story()
    day = story.standing[-1].job.performed_at.date()
    limit_set = book.desk.limit_set(book.site, day)
    assert limit_set is not None
    assert basis_on(story, day, limit_set).limits.flex_mm_m == 0.5
    assert basis_on(story, day, None).limits.flex_mm_m is None
    assert free_ref(story, book.now) == "P-2 2026-11-25 07:00"
    assert book.desk.tag_of(book.site, story.standing[-1].entry) == "P-2"
    assert book.desk.tag_of(book.site, 1) is None


@pytest.mark.parametrize(
    ("method", "site", "origin", "well"),
    [
        ("POST", "same-origin", None, True),
        ("POST", "cross-site", None, False),
        ("POST", "same-site", None, False),
        ("POST", None, "http://plant.example", False),
        ("POST", None, "http://here:8750", True),
        ("POST", None, None, True),
        ("GET", "cross-site", None, True),
    ],
)
def test_only_pages_of_this_server_may_write(method: str, site: str | None, origin: str | None, well: bool) -> None:
    assert comes_from_here(method, site, origin, "here:8750") is well


def test_a_page_of_another_site_is_refused(form: Form) -> None:
    body = {"output": f"{Ids.ANSWER}.children", "inputs": [], "changedPropIds": []}
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Origin": "http://elsewhere.example"}):
        assert form.client.post("/_dash-update-component", json=body, headers=headers).status_code == 403
    assert form.client.get("/", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200
