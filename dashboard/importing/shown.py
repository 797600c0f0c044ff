"""What the pages of an import show, and whose file they speak of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Final

from flask import request
from markupsafe import Markup
from werkzeug.wrappers import Response

from dashboard.auth import asking
from dashboard.auth.forms import Part, button, choice, done, field, form, page, problem, section, table, tag
from dashboard.away import hand_on
from dashboard.desk import Desk
from dashboard.fetch import Scene
from dashboard.importing.looking import Looked, digest_of, look
from dashboard.importing.mapping_form import as_typed, sheets_to_correct
from dashboard.importing.outcome import Outcome, ProblemLine
from dashboard.importing.saying import forms_of, offers_of
from dashboard.importing.sent_files import MOST_BYTES, SentFile
from dashboard.importing.whose import author_here, login_here, path_to, sent_files
from dashboard.place import IMPORT as PATH
from dashboard.words import say, tell
from dashboard.writing import count, counted, day, moment
from models.commands.report import SameVisit
from models.errors import DriftbookError
from models.intake.fields import Table
from models.intake.mapping import FileMapping
from models.intake.nearest import NotUnderstoodError

ENCODINGS: Final = ("utf-8", "cp1252", "cp1250", "cp1251", "cp1253", "cp1254", "mac_roman", "shift_jis", "gb18030")
"""Encodings that can be said of a CSV."""


MADE_FOR: Final = "site"
"""Field of the form to which a file is given: the code of the site that it was made for."""

SAME_VISIT: Final = "same_visit"
"""Field of the form by which a file is imported: what becomes of rows that may be visits that the book holds."""

CLOCK: Final = "clock"
"""Field of the form by which a file is imported: the zone by whose clock it was looked at."""


def prefix_of(place: int) -> str:
    """Give what the names of the fields of a reading begin with."""
    return f"r{place}"


def ask(seen: Scene, *said: str, status: int = 200) -> Response:
    """Show the form to which a file is given."""
    site = seen.required
    others = [
        tag("a", one.name, href=seen.place.to(PATH, site=one.code))
        for one in seen.sites
        if one.site_id != site.site_id and asking.may_import(one.site_id)
    ]
    elsewhere = tag("p", say("import.other_sites"), " ", *_between(others), class_="note") if others else None
    chosen = tag(
        "div",
        tag("label", say("import.file"), for_="file"),
        tag("input", id="file", name="file", type="file", required=True, accept=".csv,.tsv,.txt,.xlsx,.xlsm,.xls"),
        tag("span", say("import.file.about", most=MOST_BYTES >> 20), class_="soft"),
        class_="field",
    )
    encodings = [("", say("import.encoding.told")), *[(one, say(f"import.encoding.{one}")) for one in ENCODINGS]]
    encoding = choice("encoding", say("import.encoding"), encodings)
    # The form says itself for which site it was made: where its address is read otherwise by then, it is seen.
    made_for = tag("input", type="hidden", name=MADE_FOR, value=site.code)
    send = button(say("import.send"))
    return page(
        say("import.title.site", site=site.name),
        problem(*said, *seen.problems),
        tag("p", say("import.about", site=site.name)),
        elsewhere,
        _waiting(seen),
        form(seen.place.to(PATH), made_for, chosen, encoding, send, with_file=True),
        tag(
            "p",
            say("import.template"),
            " ",
            tag("a", say("import.template.link"), href=seen.place.to(f"{PATH}/template.xlsx")),
        ),
        tag("p", tag("a", say("import.to_book"), href=seen.place.to("/book"))),
        status=status,
    )


def _waiting(seen: Scene) -> Part:
    """List the files that wait to be imported or thrown away."""
    found = sent_files().waiting(site_id=seen.required.site_id, login=login_here())
    zone = seen.required.zone
    lines = [
        tag("li", tag("a", one.path.name, href=path_to(seen, one)), " ", say("import.sent_at", at=moment(one.at, zone)))
        for one in found
    ]
    return tag("div", tag("p", say("import.waiting")), tag("ul", *lines)) if lines else None


def looked_at(
    seen: Scene, sent: SentFile, desk: Desk, *said: str, status: int = 200, typed: Mapping[str, str] | None = None
) -> Response:
    """Show how a file is read and what importing it would do, with what was typed in a form in which something cannot be."""
    try:
        looked = look(sent, seen.required, desk, author_here(seen) or "?")
    except NotUnderstoodError as fault:
        forms = forms_of(path_to(seen, sent), offers_of(fault.sheets), request.form, is_main=True)
        lines = dict.fromkeys((*said, fault.message, fault.nearest, say("import.say.or")))
        return not_looked_at(seen, sent, *lines, forms=forms, status=status if said else 409)
    except DriftbookError as fault:
        hand_on(fault)
        lines = dict.fromkeys((*said, tell(fault.message), tell(fault.remedy)))
        return not_looked_at(seen, sent, *lines, status=status if said else 409)
    outcome = looked.outcome
    do = section(say("import.do"), *_buttons(seen, sent, looked))
    reading = _readings(seen, looked, typed or {})
    return page(
        titled(seen, sent),
        problem(*said),
        tag("p", _sentence(looked), class_="sentence"),
        None if looked.asked else _counts(outcome, "import.would"),
        *_came_back(seen, sent, [path.name for path in sent.made], outcome),
        # What is only proposed is looked at before it is confirmed.  One form: what was corrected comes along with every button.
        form(
            path_to(seen, sent),
            # The key Enter means the first button of a form: it must not be the one that throws the file away.
            _submit(say("import.correct"), "correct", class_="unseen", tabindex=-1, aria_hidden="true")
            if looked.readings
            else None,
            tag("input", type="hidden", name="was", value=digest_of(looked.readings)),
            tag("input", type="hidden", name=CLOCK, value=seen.required.zone),
            *([do, _problems(seen, outcome), reading] if looked.ready else [_problems(seen, outcome), reading, do]),
            class_="reading",
        ),
        _other(seen, sent, looked),
        status=status,
    )


def not_looked_at(seen: Scene, sent: SentFile, *said: str, forms: Sequence[Part] = (), status: int = 409) -> Response:
    """Say why a file cannot be looked at, and let it be thrown away, or be said how it is read."""
    return page(titled(seen, sent), problem(*said), *forms, _drop(seen, sent), _another(seen), status=status)


def _other(seen: Scene, sent: SentFile, looked: Looked) -> Part:
    """Let sheets be read as another list than they are taken for, or such that are not read."""
    forms = forms_of(path_to(seen, sent), looked.offers, request.form)
    is_said = request.form.get("does") == "say"
    return tag("details", tag("summary", say("import.say.other")), *forms, open=is_said) if forms else None


def titled(seen: Scene, sent: SentFile) -> str:
    """Give the title of every page about a file: which one it is, and for which site."""
    return say("import.title.file", name=sent.path.name, site=seen.required.name)


def _sentence(looked: Looked) -> str:
    outcome = looked.outcome
    if looked.asked:
        return say("import.asks", questions=counted(len(looked.asked), "question"))
    if not outcome.taken and not outcome.errors:
        return say("import.nothing_new" if outcome.unchanged else "import.nothing")
    new = counted(outcome.taken, "record")
    if not outcome.errors:
        return say("import.all_good", new=new)
    key = "import.some_bad" if outcome.refused else "import.some_lost"
    return say(key, new=new, errors=counted(outcome.errors, "error"), rows=counted(outcome.refused, "row"))


def _buttons(seen: Scene, sent: SentFile, looked: Looked) -> list[Part]:
    """Offer what can be done: import it, its good rows, or throw it away."""
    outcome = looked.outcome
    parts: list[Part] = []
    if outcome.taken:
        good = bool(outcome.errors)
        if not looked.ready:
            parts.append(tag("p", say("import.confirms")))
        if outcome.refused:
            parts.append(tag("p", say("import.do.good.about", rows=counted(outcome.refused, "row"))))
        if outcome.doubled:
            parts.append(_same_visit(outcome))
        if outcome.doubled:  # how many they are is said with each answer
            text = say("import.do.good.asked" if good else "import.do.asked", site=seen.required.name)
        else:
            key = "import.do.good" if good else "import.do.all"
            text = say(key, new=counted(outcome.taken, "record"), site=seen.required.name)
        parts += [_who(seen, sent), tag("p", _submit(text, "good" if good else "all", class_="main"))]
    if outcome.errors:
        key = "import.mend_first" if outcome.taken else "import.mend" if looked.readings else "import.mend_only"
        parts.append(tag("p", say(key), " ", tag("a", say("import.again"), href=seen.place.to(PATH))))
        if not outcome.taken and outcome.refused and not sent.made:
            parts.append(tag("p", _submit(say("import.give_back", rows=counted(outcome.refused, "row")), "mend")))
    parts.append(tag("p", _submit(say("import.drop"), "drop")))
    return parts


def _same_visit(outcome: Outcome) -> Part:
    """Ask what becomes of rows that may be visits that the book holds."""
    ways = [
        ("", say("import.same_visit.open")),
        (SameVisit.LEAVE.value, say("import.same_visit.leave", new=counted(outcome.taken - outcome.doubled, "record"))),
        (SameVisit.TAKE.value, say("import.same_visit.take", new=counted(outcome.taken, "record"))),
    ]
    about = tag("p", say("import.same_visit.about", rows=counted(outcome.doubled, "row")))
    chosen = request.form.get(SAME_VISIT, "")
    asked = choice(SAME_VISIT, say("import.same_visit"), ways, chosen, required=True)
    return tag("div", about, asked, class_="stack")


def _submit(text: str, does: str, *, class_: str = "quiet", **more: Any) -> Markup:
    """Write a button that sends the form and says what for; only importing, the main one, needs what is asked."""
    free = class_ != "main"
    return tag("button", text, type="submit", name="does", value=does, class_=class_, formnovalidate=free, **more)


def _drop(seen: Scene, sent: SentFile) -> Markup:
    return form(path_to(seen, sent), _submit(say("import.drop"), "drop"))


def _forget(seen: Scene, sent: SentFile, mend: Sequence[str]) -> Markup:
    """Let a file that is done be taken away, and say what goes with it."""
    about = tag("p", say("import.forget.mend" if mend else "import.forget.about"))
    return form(path_to(seen, sent), about, _submit(say("import.forget"), "drop"))


def _another(seen: Scene) -> Markup:
    return tag("p", tag("a", say("import.another"), href=seen.place.to(PATH)))


def _who(seen: Scene, sent: SentFile) -> Part:
    who = asking.signed()
    if who is not None:
        return tag("p", say("import.as", person=who.account.person(seen.required.site_id)))
    typed = request.form.get("by", "") or sent.by
    return field(
        "by", say("record.by"), typed, about=say("sign.believed"), required=True, maxlength=120, autocomplete="name"
    )


def _readings(seen: Scene, looked: Looked, typed: Mapping[str, str]) -> Part:
    """Show how the file is read, with the fields to correct it."""
    parts: list[Part] = []
    for place, reading in enumerate(looked.readings):
        kept = say("import.kept" if reading.mapping.confirmed else "import.proposed")
        name = prefix_of(place)
        read = as_typed(name, reading.read, typed, seen.required.display) if typed else reading.read
        fields = sheets_to_correct(name, reading.mapping if reading.ours else FileMapping(()), read)
        parts.append(
            tag(
                "details",
                tag("summary", say("import.how")),
                tag("p", kept if reading.ours else say("import.of_another")),
                *fields,
                open=not (reading.ours and reading.mapping.confirmed),
            )
        )
    parts.append(tag("p", _submit(say("import.correct"), "correct")) if parts else tag("p", say("import.by_template")))
    tables = {sheet.table for reading in looked.readings for sheet in reading.read}
    signs = tag("p", say("import.signs"), class_="note") if Table.JOBS in tables or not looked.readings else None
    return section(say("import.reading"), *parts, signs)


def _came_back(seen: Scene, sent: SentFile, names: Sequence[str], outcome: Outcome) -> list[Part]:
    rows = counted(outcome.refused, "row")
    return [
        tag("p", say("import.came_back", rows=rows), " ", tag("a", name, href=seen.place.to(f"{PATH}/{sent.secret}/{name}"), download=True))
        for name in names
    ]  # fmt: skip


def told(seen: Scene, sent: SentFile, outcome: Outcome) -> Response:
    """Show what became of a file."""
    first, last = outcome.first_entry, outcome.last_entry
    text = say("import.nothing_new")
    if outcome.written and first is not None and last is not None:
        text = say("import.done", new=counted(outcome.taken, "record"), first=count(first), last=count(last))
    return page(
        titled(seen, sent),
        done(text),
        tag("p", say("import.not_kept")) if not outcome.mappings_kept else None,
        *_came_back(seen, sent, outcome.mend, outcome),
        _counts(outcome, "import.did"),
        tag(
            "p",
            *_between(
                [
                    tag("a", say("import.see.book"), href=seen.place.to("/book")),
                    tag("a", say("import.see.month"), href=seen.place.to("/")),
                    tag("a", say("import.another"), href=seen.place.to(PATH)),
                ]
            ),
        ),
        _problems(seen, outcome),
        _forget(seen, sent, outcome.mend),
    )


def _counts(outcome: Outcome, taken: str) -> Part:
    dated = any(one.done for one in outcome.sheets)
    keys = (
        "import.sheet_name",
        "import.holds",
        "import.read",
        taken,
        *(["import.days"] if dated else []),
        *(["import.doubled"] if outcome.doubled else []),
        "import.unchanged",
        "import.left_out",
        "import.refused",
    )
    rows = [
        (
            one.name,
            say(f"import.table.{one.table}"),
            count(one.read),
            count(one.taken),
            *([_days(one.done)] if dated else []),
            *([count(one.doubled)] if outcome.doubled else []),
            *[count(n) for n in (one.unchanged, one.left_out, one.refused)],
        )
        for one in outcome.sheets
    ]
    return table(say("import.counts"), [say(key) for key in keys], rows, stacked=True)


def _days(done: Sequence[str]) -> str:
    """Say from when to when jobs were done: a month that was read as a day is seen by it."""
    return " – ".join(dict.fromkeys(day(date.fromisoformat(one)) for one in done)) or "–"


def _problems(seen: Scene, outcome: Outcome) -> Part:
    if not outcome.problems:
        return None
    rows = [(_kind(one), one.place, _text(seen, one)) for one in outcome.problems]
    more = tag("p", say("import.more", n=count(outcome.more)), class_="note") if outcome.more else None
    about = tag("p", say("import.problems.about"))
    headings = [say(f"import.problem.{one}") for one in ("kind", "place", "text")]
    return section(
        say("import.problems"), about, table(say("import.problems.caption"), headings, rows, stacked=True), more
    )


def _text(seen: Scene, one: ProblemLine) -> Part:
    """Give what a problem is, with the way to amend the job that it is about."""
    if one.entry is None:
        return one.text
    way = tag("a", say("import.amend", entry=count(one.entry)), href=seen.place.to("/record", amend=one.entry))
    return tag("span", one.text, " ", way)


def _kind(one: ProblemLine) -> str:
    return say("import.error" if one.error else "import.note" if one.note else "import.warning")


def _between(links: list[Any]) -> list[Part]:
    parts: list[Part] = []
    for link in links:
        parts += [" · ", link] if parts else [link]
    return parts
