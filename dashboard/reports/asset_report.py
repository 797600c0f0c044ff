"""The history of a machine on paper: everything that the book says of it, to be filed and to be shown to an auditor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.reports.asset_around import Around, calibrations, instruments, people, rules
from dashboard.reports.asset_jobs import Setting, job_block, overview
from dashboard.reports.asset_pictures import panel_picture, ratio_picture
from dashboard.reports.asset_signed import sign_offs, signed_standing
from dashboard.reports.identity import Identity, common, head_lines, made
from dashboard.reports.press import Paper
from dashboard.views import job_words
from dashboard.views.asset_panels import Panel
from dashboard.views.asset_view import AssetView
from dashboard.views.limit_rows import row_lines
from dashboard.words import say
from dashboard.writing import DASH, count, counted, day, moment
from models.units import Display, Quantity
from models.values.entry import AdoptedLimits
from models.values.kinds import Coupling
from models.values.story import AssetStory, JobLine


def asset_paper(
    story: AssetStory, view: AssetView, around: Around, identity: Identity, *, size: str = "a4"
) -> Paper:  # fmt: skip
    """Lay the history of a machine out.

    Parameters
    ----------
    story : AssetStory
        Everything about the machine. [as stored]
    view : AssetView
        What its page shows. [unitless]
    around : Around
        People, instruments and limit sets. [unitless]
    identity : Identity
        Which site and book. [unitless]
    size : str
        Size of the paper. [unitless]
    """
    title = say("report.asset.title", tag=story.asset.tag)
    pictures = {}
    if view.ratio is not None:
        pictures["ratio.svg"] = ratio_picture(view.ratio, view.marks, view.amended)
    panels = [panel for panel in (*view.components, *view.flex) if not panel.series.empty]
    for panel in panels:
        pictures[f"{panel.key}.svg"] = panel_picture(panel, view.marks)
    data = common(identity, title) | asset_data(story, view, around, identity, panels)
    data["words"] = {**data["words"], "kind": say("report.asset.kind")}
    return Paper("asset", title, data, identity.made_at, size, pictures)


def asset_data(
    story: AssetStory, view: AssetView, around: Around, identity: Identity, panels: Sequence[Panel]
) -> dict[str, Any]:  # fmt: skip
    """Give every text of the paper; see :func:`asset_paper` for the parameters."""
    display, zone = view.display, story.site.zone
    lines = sorted(story.jobs, key=lambda line: (line.job.performed_at, line.entry))
    named = {f"{one.limit_set.name}, version {one.limit_set.version}": one for one in around.limit_sets}
    known = calibrations(lines, around.instruments, zone)
    setting = Setting(story, display, known)
    used = [named[name] for name in dict.fromkeys(line.limit_set for line in lines) if name in named]
    return {
        "tag": story.asset.tag,
        "description": story.asset.description,
        "sentence": view.sentence,
        "facts": list(view.facts),
        "identity": _identity(story, identity, lines, display.length),
        "ratio": {
            "shown": view.ratio is not None,
            "title": say("asset.ratio.title"),
            "says": say("figure.ratio.says", text=view.sentence),
            "note": say("report.asset.ratio_note"),
            "none": say("asset.ratio.none") if lines else say("asset.no_jobs.text"),
        },
        "panels": [{"title": _panel_title(panel), "says": _panel_says(panel, lines), "file": f"{panel.key}.svg"} for panel in panels],
        "panel_title": say("report.asset.panels"),
        "panel_note": say("report.asset.panel_note"),
        "breaks": {"title": say("report.asset.breaks"), "rows": [_break(mark) for mark in story.breaks], "none": say("report.asset.no_breaks")},
        "versions": _versions(view, display),
        "overview": {"title": say("report.asset.overview"), "none": say("asset.no_jobs.text"), **overview(lines, zone)},
        "jobs": {"title": say("report.asset.jobs", n=counted(len(lines), "job")), "note": say("report.asset.jobs_note"),
                 "typed": say("report.asset.typed"), "feet": say("report.asset.feet_note"),
                 "list": [job_block(line, setting) for line in lines]},
        "amendments": _amendments(lines, display, zone),
        "sign_offs": sign_offs(story),
        "people": people(story, lines, around.people, zone),
        "instruments": instruments(lines, around.instruments, known, zone),
        "limits": {"title": say("report.asset.limits"), "sets": [_limit_set(one, display, zone) for one in used], "none": say("report.asset.no_limits"),
                   "older": _older(lines, named, zone)},
        "rules": rules(story, around.rules, zone),
        "method": {"title": say("report.asset.method"), "notes": _notes(story)},
        "caution_title": say("report.asset.cautions"),
    }  # fmt: skip


def _identity(story: AssetStory, identity: Identity, lines: Sequence[JobLine], length: str) -> list[tuple[str, Any]]:
    amended = sum(line.supersedes is not None for line in lines)
    return [
        (say("report.asset.site"), say("report.asset.site_code", name=story.site.name, code=story.site.code)),
        (say("report.asset.made"), say("report.asset.made_at", at=made(identity), zone=story.site.zone)),
        (say("report.asset.made_by"), identity.maker),
        *((name, {"whole": value}) for name, value in head_lines(identity)),
        (
            say("report.asset.holds"),
            say(
                "report.asset.holds_n",
                jobs=counted(len(story.standing), "job"),
                versions=counted(len(lines), "version"),
                amended=count(amended),
                standing=count(signed_standing(story)),
                n=count(len(story.standing)),
                signed=count(len(story.signoffs)),
            ),
        ),
        (say("report.asset.units"), say("report.asset.units_are", length=length)),
    ]


def _day(line: JobLine, zone: str) -> date:
    return line.job.performed_at.astimezone(ZoneInfo(zone)).date()


def _panel_title(panel: Panel) -> str:
    return say("figure.panel.title", title=panel.title, unit=panel.unit)


def _panel_says(panel: Panel, lines: Sequence[JobLine]) -> str:
    return say("report.asset.panel_says", title=panel.title, unit=panel.unit, n=counted(len(lines), "job"))


def _break(one: Any) -> list[str]:
    return [day(one.on), say("asset.break", part=say(f"part.{one.part.value}")), one.reason or DASH]


def _versions(view: AssetView, display: Display) -> dict[str, Any]:
    heads = [
        (say("column.from"), "1", "left"), (say("fact.coupling"), "2", "left"), (say("fact.speed"), "1", "right"),
        (say("column.feet", unit=display.unit(Quantity.DISTANCE)), "1.6", "right"), (say("column.by"), "1.4", "left"),
    ]  # fmt: skip
    rows = [[one.since, one.coupling, one.speed, one.feet, one.author] for one in view.versions]
    return {"title": say("report.asset.described"), "heads": heads, "rows": rows}


def _amendments(lines: Sequence[JobLine], display: Display, zone: str) -> dict[str, Any]:
    by_entry = {line.entry: line for line in lines}
    heads = [
        (say("record.column.field"), "1.4", "left"), (say("record.column.old"), "2", "left"), (say("record.column.new"), "2", "left"),
    ]  # fmt: skip
    told = []
    for new in lines:
        old = by_entry.get(new.supersedes or 0)
        if old is None:
            continue
        why = say(
            "asset.amended.why", entry=count(new.entry), by=new.author, at=moment(new.recorded_at, zone), old=count(old.entry),
            old_by=old.author, why=new.why_amended or DASH,
        )  # fmt: skip
        marked = job_words.marked_by(old, new)
        why = f"{why} {marked}" if marked else why
        rows = [[one.field, one.old, one.new] for one in job_words.told_versions(old, new, display)]
        title = say("report.asset.amendment", ref=new.job.ref, day=day(_day(new, zone)), entry=count(new.entry))
        none = "" if rows or marked else say("asset.amended.texts")
        told.append({"title": title, "why": why, "heads": heads, "rows": rows, "none": none})
    title = say("report.asset.amendments", n=count(len(told)))
    return {"title": title, "list": told, "none": say("report.asset.no_amendments")}


def _limit_set(one: AdoptedLimits, display: Display, zone: str) -> dict[str, Any]:
    limit_set = one.limit_set
    judged = say(
        "entry.judged", name=limit_set.name, version=limit_set.version, by=limit_set.adopted_by or say("limits.nobody"),
        on=day(limit_set.adopted_on), author=one.author, at=moment(one.recorded_at, zone), entry=count(one.entry), source=limit_set.source.rstrip("."),
    )  # fmt: skip
    heads = [
        (say("report.asset.judged"), "1.2", "left"), (say("fact.coupling"), "1.2", "left"), (say("fact.speed"), "1.4", "left"),
        (say("report.job.limit"), "2.6", "left"), (say("report.asset.axes"), "1.4", "left"),
    ]  # fmt: skip
    rows = [[row.judged, row.coupling, row.speed, row.limit, row.combine] for row in row_lines(limit_set, display)]
    warning = say("limits.starter") if limit_set.starter else ""
    return {"words": judged, "heads": heads, "rows": rows, "note": limit_set.note, "warning": warning}


def _older(lines: Sequence[JobLine], named: Mapping[str, AdoptedLimits], zone: str) -> str:
    """Say by what the jobs from before the first adoption were judged; empty where there are none."""
    starts = [named[line.limit_set].limit_set.adopted_on for line in lines if line.limit_set in named]
    days = [_day(line, zone) for line in lines if line.limit_set in named]
    older = [start for start, done in zip(starts, days, strict=True) if done < start]
    return say("report.asset.limits.older", day=day(min(older))) if older else ""


def _notes(story: AssetStory) -> list[str]:
    notes = [
        say("about.ratio"),
        say("about.components"),
        say("about.typed"),
        say("about.soft"),
        say("report.asset.about_run"),
    ]
    if story.asset.coupling is Coupling.SPACER:
        notes.append(f"{say('about.flex')} {say('report.asset.about_span')}")
    return notes
