"""What can be read of machines, jobs and dates: from the same columns and builders as the pages, so that they cannot differ."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dashboard.api.asking import Asked
from dashboard.api.problems import ProblemError
from dashboard.api.shown import described, job_version, known, limits, moment, on, site_set, verdict
from dashboard.api.shown import four as shown_four
from dashboard.fetch import recheck_for, study_for
from dashboard.kept import keep
from dashboard.picture import StillReadingError
from dashboard.views.asset_forecast_view import build_forecast
from dashboard.views.asset_standing import row_of
from dashboard.views.finder_view import match
from dashboard.views.plan_view import LONG_AGO, Ground, Plan, ground_of
from models.history.columns import History
from models.history.standing import REASON_WORDS
from models.maths.judged import limits_for
from models.store.newest_jobs import newest_jobs
from models.units import Display
from models.values.asset import Asset
from models.values.entry import JobFilter
from models.values.kinds import Coupling
from models.values.story import AssetStory, JobLine, Site


@dataclass(frozen=True, slots=True)
class Given:
    """What is answered: the body, and the parameter that leads to the next page; a tag where the body has one of its own."""

    body: dict[str, Any]
    next: Mapping[str, int | str] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)
    tag: str = ""


def not_found(what: str) -> ProblemError:
    """Give the problem of something that the site has not."""
    return ProblemError(404, "not-found", what, remedy="Check the address, and the site for which the token holds.")


def sites(asked: Asked) -> Given:
    """Give the sites that may be asked about."""
    may = [site for site in asked.sites if asked.caller.may(asked.operation.permission, site.site_id)]
    body = {"items": [site_set(site) for site in may]}
    return Given(body, tag=_tag_of(body))


def _page(history: History, rows: list[int], asked: Asked) -> tuple[list[int], dict[str, str]]:
    """Cut a page out of rows of machines; the cursor says how many machines stand before it, and which.

    Raises
    ------
    ProblemError
        409 if others stand before it by now: machines would be left out, or come twice.
    """
    start, limit = 0, asked.given["limit"]
    if asked.given["cursor"] is not None:
        start = int(asked.given["cursor"].partition(".")[0])
        if start > len(rows) or _cursor(history, rows[:start]) != asked.given["cursor"]:
            raise ProblemError(
                409, "list-changed", "The list has changed since its first page: machines would be left out, or come twice.",
                remedy="Begin with its first page again, without 'cursor'; a larger 'limit' needs fewer pages.",
            )  # fmt: skip
    end = start + limit
    return rows[start:end], {"cursor": _cursor(history, rows[:end])} if end < len(rows) else {}


def _cursor(history: History, rows: list[int]) -> str:
    """Name the machines on the pages so far, in whatever order they came."""
    machines = np.sort(history.assets.asset[rows]).astype("<i8")
    return f"{len(rows)}.{hashlib.sha256(machines.tobytes()).hexdigest()[:16]}"


def _rows(history: History, asked: Asked) -> list[int]:
    assets, area = history.assets, asked.given["area"]
    found = sorted(match(assets, asked.given["text"] or "").tolist())
    if area is None:
        return found
    return [row for row in found if str(assets.area[row]).casefold() == area.casefold()]


def assets(asked: Asked) -> Given:
    """Give machines page by page, in the order in which they came into the book."""
    history = asked.history
    found = _rows(history, asked)
    shown, onward = _page(history, found, asked)
    last = np.full(len(history.assets), -1, dtype=np.int64)
    last[history.jobs.asset] = np.arange(len(history.jobs))
    items = [_machine(history, row, int(last[row])) for row in shown]
    return Given({"items": items, "found": len(found), "head": history.head}, onward)


def _machine(history: History, row: int, last: int) -> dict[str, Any]:
    of, jobs = history.assets, history.jobs
    names = ("tag", "description", "area", "train", "driven", "driver", "criticality")
    seen = last >= 0
    return {
        **{name: str(getattr(of, name)[row]) for name in names},
        "coupling": str(Coupling.SPACER if of.spacer[row] else Coupling.SHORT),
        "span_mm": known(of.span_mm[row]),
        "speed_rpm": known(of.speed_rpm[row]),
        "retired": bool(of.retired[row]),
        "last_job": int(jobs.entry[last]) if seen else None,
        "last_performed_at": _at(int(jobs.performed_us[last]), history.zone) if seen else None,
        "last_verdict_found": verdict(jobs.found_ratio[last]) if seen else None,
        "last_verdict_left": verdict(jobs.left_ratio[last]) if seen else None,
    }


def _at(us: int, zone: str) -> str:
    from models.tables.base import from_microseconds

    return moment(from_microseconds(us), zone)


def _story(asked: Asked, merged: str = "") -> AssetStory:
    tag = merged or asked.given["tag"]
    story = asked.here.book.story(asked.site.site_id, tag)
    if story is None:
        raise not_found(f"The site {asked.site.name} has no machine '{tag}'.")
    return story


def _machines(asked: Asked) -> tuple[int, ...]:
    """Give the number of the machine that is asked for, and where its record was merged that of the one which holds its jobs now."""
    story, numbers = _story(asked), list[int]()
    while story.asset_id not in numbers:
        numbers.append(story.asset_id)
        story = _story(asked, story.merged_into)
    return tuple(numbers)


def asset(asked: Asked) -> Given:
    """Give everything about a machine but its jobs."""
    story = _story(asked)
    history = asked.history
    row = row_of(history, story.asset_id)
    if row < 0:
        raise StillReadingError(
            f"The machine '{story.asset.tag}' has just come into the book.", remedy="Ask again in a moment."
        )
    by_risk, by_rule = _plans(history, asked)
    return Given(
        {
            "tag": story.asset.tag,
            "merged_into": story.merged_into,
            "described": described(story.asset),
            "versions": [
                {
                    "entry": one.entry,
                    "recorded_at": moment(one.recorded_at),
                    "author": one.author,
                    "described": described(one.asset),
                }
                for one in story.versions
            ],
            "breaks": [{"on": on(one.on), "part": str(one.part), "reason": one.reason} for one in story.breaks],
            "last_left": _last_left(story),
            "limits": _limits_today(asked, story.asset),
            "verdicts": [_verdicts(line) for line in story.standing],
            "forecast": _forecast(asked, history, row),
            "due_by_risk": _date(by_risk, row),
            "due_by_rule": _date(by_rule, row),
            "head": history.head,
            "estimates_head": estimates_head(history),
        }
    )


def _plans(history: History, asked: Asked) -> tuple[Plan, Plan]:
    """Give the dates of all machines by risk and by rule: made once a day, for a program asks for one machine after another."""

    def make() -> tuple[Plan, Plan]:
        ground, recheck = _ground(history, asked), recheck_for(history, asked.given["risk"] / 100.0)
        return ground.plan(recheck), ground.plan(recheck, by_risk=False)

    key = ("interface", asked.today, asked.given["risk"], asked.site.interval_months)
    return keep(history, key, make)


def estimates_head(history: History) -> int:
    """Give the entry up to which the estimates over all machines go.

    Raises
    ------
    StillReadingError
        If the history is long, and its study is being made.
    """
    study = study_for(history)
    return history.head if study.whole else study.fleet.until


def _ground(history: History, asked: Asked) -> Ground:
    return ground_of(history, study_for(history), asked.today, asked.now_us, asked.site.interval_months)


def _last_left(story: AssetStory) -> dict[str, Any] | None:
    line = next((one for one in reversed(story.standing) if one.job.left is not None), None)
    if line is None:
        return None
    job = line.job
    return {
        "job": line.entry,
        "performed_at": moment(job.performed_at, job.zone),
        "left": shown_four(job.left),
        "target": shown_four(job.target),
        "verdict": verdict(line.left_ratio),
    }


def _limits_today(asked: Asked, asset: Asset) -> dict[str, Any] | None:
    held = asked.here.book.limit_set(asked.site.site_id)
    if held is None:
        return None
    named = {"set": held.name, "version": held.version, "source": held.source, "starter": held.starter}
    return limits(limits_for(held, asset.coupling, asset.limit_speed_rpm)) | named


def _verdicts(line: JobLine) -> dict[str, Any]:
    return {
        "job": line.entry,
        "ref": line.job.ref,
        "performed_at": moment(line.job.performed_at, line.job.zone),
        "found": verdict(line.found_ratio),
        "left": verdict(line.left_ratio),
    }


def _forecast(asked: Asked, history: History, row: int) -> dict[str, Any]:
    risk = asked.given["risk"]
    view = build_forecast(
        study_for(history), history, row, risk=risk / 100.0, now_us=asked.full_hour_us, display=Display()
    )  # fmt: skip
    return {
        "possible": view.reason == 0,
        "why_not": REASON_WORDS[view.reason],
        "risk_percent": risk,
        "recheck": None if view.recheck_on is None else on(view.recheck_on),
        "over_today": known(view.over_today),
        "over_then": known(view.over_then),
        "runs": view.runs,
    }


def _date(plan: Plan, row: int) -> dict[str, Any] | None:
    if not plan.dated[row]:
        return None
    line = plan.lines([row])[0]
    return {"due": on(line.due), "days_left": line.days_left, "why": line.why}


def asset_jobs(asked: Asked) -> Given:
    """Give all versions of all jobs of a machine."""
    story = _story(asked)
    return Given({"items": [job_version(line, asked.site) for line in story.jobs], "head": asked.here.book.head()})


def jobs(asked: Asked) -> Given:
    """Give the newest version of each job, by entry: what is new, and the job of a number or work order."""
    given = asked.given
    machines = _machines(asked) if given["tag"] else ()
    wanted = JobFilter(given["ref"] or "", given["work_order"] or "", machines, given["since"])
    # The head first: an entry that comes meanwhile is left to the next time, and lies behind no 'since'.
    head = asked.here.book.head()
    if wanted.since > head:
        raise ProblemError(
            409, "list-changed", f"The book ends with entry {head}, before entry {wanted.since}: an older state of it was put back.",
            remedy="Begin again without 'since'; what came after that state is in the book no more.",
        )  # fmt: skip
    with asked.engine.connect() as connection:
        page = newest_jobs(connection, asked.site, wanted, upto=head, most=given["limit"])
    items = [job_version(line, asked.site) for line in page.lines]
    return Given({"items": items, "head": head}, {"since": page.lines[-1].entry} if page.more else {})


def version_of(asked: Asked, entry: int) -> JobLine:
    """Give one version of a job.

    Raises
    ------
    ProblemError
        404 if the entry is no job of the site.
    """
    held = asked.here.book.entry(asked.site.site_id, entry)
    if held is None or not isinstance(held.now, JobLine):
        raise not_found(f"Entry {entry} is no job of the site {asked.site.name}.")
    return held.now


def job(asked: Asked) -> Given:
    """Give one version of a job."""
    line = version_of(asked, asked.given["entry"])
    return Given(job_version(line, asked.site), tag=tag_of(line, asked.site))


def tag_of(line: JobLine, site: Site) -> str:
    """Give the entity tag of a version: a strong one (RFC 9110, section 8.8.3), for a write may be bound to it.

    It goes by the leaf hash of the entry and by what is answered of it: by the number alone it would be another job's where an older state
    of the book was put back.
    """
    return _tag_of(job_version(line, site), line.leaf)


def _tag_of(body: dict[str, Any], leaf: str = "") -> str:
    said = json.dumps(body, ensure_ascii=False, sort_keys=True)
    return f'"{hashlib.sha256(f"{leaf} {said}".encode()).hexdigest()[:32]}"'


def due(asked: Asked) -> Given:
    """Give what is to be looked at: what is due first, then by date."""
    history = asked.history
    risk, by, within = asked.given["risk"], asked.given["by"], asked.given["within"]
    plan = _ground(history, asked).plan(recheck_for(history, risk / 100.0), by_risk=by == "risk")
    now, soon = plan.rows(LONG_AGO, 0), plan.rows(1, within)
    shown, onward = _page(history, [*now.tolist(), *soon.tolist()], asked)
    items = [
        {
            "tag": line.tag,
            "description": line.description,
            "area": line.area,
            "criticality": line.criticality,
            "due": on(line.due),
            "days_left": line.days_left,
            "why": line.why,
            "due_other_way": on(line.other),
            "last": on(line.last),
            "left_ratio": known(line.left_ratio),
            "over_now": known(line.over_now),
        }
        for line in plan.lines(shown)
    ]
    body = {
        "items": items,
        "by": by,
        "risk_percent": risk,
        "interval_months": asked.site.interval_months,
        "today": on(asked.today),
        "due_now": len(now),
        "due_within": len(soon),
        "head": history.head,
        "estimates_head": estimates_head(history),
    }
    return Given(body, onward)
