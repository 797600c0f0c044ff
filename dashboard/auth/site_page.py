"""How a site is set: a plain page that shows each value with who set it when and why, and a form that sets it anew.

Everybody who may read the site sees how it is set; the form is for who administers it.  It changes what its reader saw or
nothing: whatever was set meanwhile is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from flask import Blueprint, abort, redirect, request
from markupsafe import Markup
from werkzeug.wrappers import Response

from dashboard.auth import asking
from dashboard.auth.forms import (
    Part,
    button,
    choice,
    field,
    form,
    message_page,
    page,
    problem,
    section,
    table,
    tag,
)
from dashboard.auth.guarded import need
from dashboard.away import hand_on
from dashboard.context import context
from dashboard.desk import Asked
from dashboard.fetch import Scene, file_scene
from dashboard.place import SITE as PATH
from dashboard.place import Place
from dashboard.views.site_view import SettingVersion, build
from dashboard.words import say, tell
from dashboard.writing import count, moment
from models.commands.init_book import MOST_MONTHS
from models.commands.zones import place_zones
from models.errors import DriftbookError, InvalidValueError, OvertakenError, UnknownNameError
from models.sentences.told import Told
from models.units import Display
from models.values.decision import DEFAULT_CONFIDENCE, DecisionRule, Rule, guarded_at
from models.values.roles import Permission
from models.values.spelling import seen as as_seen
from models.values.story import Site, SiteSetting

SETTING: Final = Blueprint("setting", "dashboard.auth.site_page")

LENGTHS: Final = ("mm", "mil")
TEMPERATURES: Final = ("°C", "°F")


@SETTING.route(PATH, methods=["GET"], endpoint="show")
def show() -> Any:
    """Show how a site is set."""
    seen = _scene()
    return _shown(seen, _settings(seen)) if isinstance(seen, Scene) else seen


@SETTING.route(PATH, methods=["POST"], endpoint="change")
def change() -> Any:
    """Set a site."""
    seen = _scene()
    if not isinstance(seen, Scene):
        return seen
    if asking.signed() is not None:  # the gate has asked only whether they administer any site
        need(asking.signed(), Permission.ADMINISTER, seen.required.site_id)
    if not asking.form_is_ours():
        return _shown(seen, _settings(seen), say("door.form"), status=400)
    return _written(seen, _settings(seen))


def _scene() -> Scene | Response:
    """Give what the address speaks of; a page that says why not where it names a site that is not there, or not for who asks."""
    try:
        seen = file_scene(request.path, request.query_string.decode("utf-8", "replace"))
    except UnknownNameError as fault:
        return message_page(say("door.not_done"), f"{tell(fault.message)} {tell(fault.remedy)}", 404)
    return message_page(say("foot.no_site"), say("book.empty.text"), 404) if seen.site is None else seen


def _settings(seen: Scene) -> Sequence[SiteSetting]:
    return context().book.site_settings(seen.required.site_id)


# -- what is sent --------------------------------------------------------------------------------------------------


def _written(seen: Scene, settings: Sequence[SiteSetting]) -> Response:
    """Set the site as the form asks, or say why not."""
    desk, site, now = context().desk, seen.required, context().clock()
    if desk is None:
        return _shown(seen, settings, status=404)
    by, why = request.form.get("by", "")[:120], request.form.get("why", "")[:500]
    try:
        asked = _asked(_made_from(settings))
        made = desk.set_site(site, asked, by=by, now=now, why=why, made_from=_leaf_sent())
    except OvertakenError as fault:
        last = _settings(seen)[-1]
        if not _done_by_the_first_tap(seen, last, by, why):
            return _shown(seen, _settings(seen), tell(fault.message), tell(fault.remedy), status=409)
        made = last
    except DriftbookError as fault:
        hand_on(fault)
        status = 400 if isinstance(fault, InvalidValueError) else 409
        return _shown(seen, _settings(seen), tell(fault.message), tell(fault.remedy), status=status)
    return redirect(seen.place.to(PATH, set=made.entry), code=303)


def _made_from(settings: Sequence[SiteSetting]) -> SiteSetting:
    """Give the setting that the form was made from; the one that holds where the book does not hold it."""
    return next((one for one in reversed(settings) if one.leaf == _leaf_sent()), settings[-1])


def _asked(held: SiteSetting) -> Asked:
    """Read how the form asks the site to be set.

    Raises
    ------
    InvalidValueError
        If something in it is no value.
    """
    typed = request.form
    months = typed.get("interval", "").strip()
    if not (months.isascii() and months.isdigit() and len(months) <= 9):
        raise InvalidValueError(say("site.interval.none", typed=months[:40]), remedy=Told("told.site.interval.remedy"))
    display = Display(typed.get("length", ""), typed.get("temperature", ""))
    name, zone = typed.get("name", "")[:500], typed.get("zone", "").strip()[:80]
    return Asked(name, zone, display, int(months), _rule_asked(held.site))


def _rule_asked(held: Site) -> DecisionRule:
    confidence, was = request.form.get("confidence", "").strip(), _confidence(held)
    asked = request.form.get("rule", "")
    if asked not in set(Rule):
        abort(400)  # no page of ours sends it
    if asked == Rule.SIMPLE:
        if confidence not in {"", was}:
            raise InvalidValueError(say("site.simple"), remedy=say("site.simple.remedy"))
        return DecisionRule()
    if confidence == was and held.guarded is not None:
        return held.guarded
    try:
        return guarded_at(float(confidence.rstrip("%\u202f ").replace(",", ".")))
    except ValueError:
        raise InvalidValueError(
            say("site.no_confidence", typed=confidence[:40]), remedy=Told("told.decision.confidence.remedy")
        ) from None


def _done_by_the_first_tap(seen: Scene, last: SiteSetting, by: str, why: str) -> bool:
    """Tell whether what holds now is what this very form asked for."""
    who = asking.signed()
    name = as_seen(by) if who is None else who.account.person(seen.required.site_id)
    before = next((one for one in _settings(seen) if one.leaf == _leaf_sent()), last)
    asked, site = _asked(before), last.site
    held = Asked(site.name, site.zone, site.display, site.interval_months, site.rule or DecisionRule())
    named = Asked(" ".join(asked.name.split()), asked.zone, asked.display, asked.interval_months, asked.rule)
    return (held, last.author, last.why) == (named, name, " ".join(why.split()))


def _leaf_sent() -> str:
    return request.form.get("leaf", "")[:200]


# -- what is shown -------------------------------------------------------------------------------------------------


def _shown(seen: Scene, settings: Sequence[SiteSetting], *said: str, status: int = 200) -> Response:
    view, place = build(settings), seen.place
    heads = [say(f"site.column.{name}") for name in ("setting", "value", "since", "by", "why", "entry")]
    rows = [
        (tag("strong", one.name), one.value, one.since, one.author, one.why, _entry(one.entry, place))
        for one in view.lines
    ]
    before_heads = [say(f"site.column.{name}") for name in ("entry", "at", "by", "changed", "why")]
    before = [
        (_entry(one.entry, place), one.recorded, one.author, _list(one.changes), one.why) for one in view.versions
    ]
    return page(
        say("site.title", site=view.name),
        problem(*said, *([say("site.kept")] if _is_old(settings) else []), *seen.problems),
        tag("p", tag("a", say("site.again"), href=place.to(PATH))) if _is_old(settings) else None,
        *_done(seen, view.versions[0]),
        tag("p", tag("a", say("site.entries"), href=place.to("/book"))),
        tag("p", say("site.code", code=view.code), class_="note"),
        _elsewhere(seen),
        section(say("site.now"), table(say("site.now.caption"), heads, rows, stacked=True)),
        _change(seen, settings),
        section(say("site.before"), table(say("site.before.caption"), before_heads, before, stacked=True)),
        status=status,
    )


def _list(texts: Sequence[str]) -> Markup:
    return tag("div", *[tag("div", text) for text in texts])


def _entry(number: int, place: Place) -> Markup:
    return tag("a", count(number), href=place.to(f"/book/{number}"), class_="tag")


def _done(seen: Scene, newest: SettingVersion) -> tuple[Part, ...]:
    """Say what was set, after it was; whatever the address says, only of the entry that holds."""
    if request.method == "POST" or seen.place.get("set") != str(newest.entry):
        return ()
    said = tag("p", say("site.done", entry=count(newest.entry)))
    return (tag("div", said, _list(newest.changes), class_="done", role="status"),)


def _is_old(settings: Sequence[SiteSetting]) -> bool:
    """Tell whether the form that was sent was made from another setting than the one that holds: it cannot be sent any more."""
    return request.method == "POST" and _leaf_sent() != settings[-1].leaf


def _elsewhere(seen: Scene) -> Part:
    others = [one for one in seen.sites if one.site_id != seen.required.site_id]
    if not others:
        return None
    links: list[Part] = []
    for one in others:
        links += [" · " if links else " ", tag("a", one.name, href=seen.place.to(PATH, site=one.code))]
    return tag("p", say("site.other_sites"), *links, class_="note")


def _change(seen: Scene, settings: Sequence[SiteSetting]) -> Markup:
    """Put the form, or who can change it."""
    if context().desk is None:
        return tag("p", say("site.shows_only"), class_="note")
    if not asking.may_set(seen.required.site_id):
        return tag("p", say("site.readers"), class_="note")
    return section(say("site.change"), tag("p", say("site.change.about")), _form(seen, settings))


def _form(seen: Scene, settings: Sequence[SiteSetting]) -> Markup:
    """Write the form; what was typed stands in it again."""
    held, typed, sent = settings[-1], request.form, request.method == "POST"
    site = held.site

    def value(name: str, now: str) -> str:
        return typed.get(name, "")[:500] if sent else now

    lengths = [(one, say(f"site.length.{one}")) for one in LENGTHS]
    rules = [(str(one), say(f"decision.rule.{one}")) for one in Rule]
    rule = site.rule or DecisionRule()
    zones = tag("datalist", *[tag("option", value=one) for one in place_zones()], id="zones")
    return form(
        seen.place.to(PATH),
        tag("input", type="hidden", name="leaf", value=_leaf_sent() if sent else held.leaf),
        field("name", say("entry.field.name"), value("name", site.name), about=say("site.name.about"), required=True, maxlength=120, autocomplete="off"),
        field("zone", say("entry.field.zone"), value("zone", site.zone), about=say("site.zone.about"), required=True, maxlength=64, autocomplete="off", list="zones"),
        zones,
        choice("length", say("entry.field.length"), lengths, value("length", site.display.length), about=say("site.units.about")),
        choice("temperature", say("entry.field.temperature"), [(one, one) for one in TEMPERATURES], value("temperature", site.display.temperature), about=say("site.temperature.about")),
        field("interval", say("site.interval"), value("interval", str(site.interval_months)), about=say("site.interval.about", most=MOST_MONTHS), required=True, maxlength=4, inputmode="numeric", autocomplete="off"),
        choice("rule", say("entry.field.rule"), rules, value("rule", str(rule.rule)), about=say("site.rule.about")),
        tag("ul", *[tag("li", say(f"site.rule.{name}")) for name in ("simple", "guarded", "lists")], class_="soft"),
        field("confidence", say("site.confidence"), value("confidence", _confidence(site)), about=say("site.confidence.about"), maxlength=12, inputmode="decimal", autocomplete="off"),
        *_who(seen),
        field("why", say("site.why"), value("why", ""), about=say("site.why.about"), required=True, maxlength=500, autocomplete="off"),
        None if _is_old(settings) else button(say("site.button")),
    )  # fmt: skip


def _confidence(site: Site) -> str:
    """Write the confidence as it stands in the form, in per cent: that of the rule, else the usual one."""
    held = DEFAULT_CONFIDENCE if site.guarded is None else site.guarded.confidence
    return f"{held * 100:.10g}"


def _who(seen: Scene) -> tuple[Part, ...]:
    who = asking.signed()
    if who is None:
        typed = request.form.get("by", "")[:120]
        return (
            field("by", say("record.by"), typed, about=say("sign.believed"), required=True, maxlength=120, autocomplete="name"),
        )  # fmt: skip
    site = seen.required
    return (tag("p", say("site.as", person=who.account.person(site.site_id), at=moment(context().clock(), site.zone))),)
