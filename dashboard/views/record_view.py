"""What the Record page shows of a job while it is typed: numbers, verdict, checks, and what is still missing."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from dashboard.views.asset_last_view import left_text
from dashboard.views.job_words import Told, told_jobs
from dashboard.views.record_fields import NOTHING_MOVED, STAGES, Fields, dial_parts, method_of, numbers, way_of
from dashboard.views.record_growth import grown, taken_fields
from dashboard.views.record_names import field_label, job_field
from dashboard.views.record_sheet import Around, Kind, Measurement, Said, Sheet, measures
from dashboard.views.record_when import PROPOSED, read_when
from dashboard.words import say, tell
from dashboard.writing import DASH, day, judged_by
from models.intake.typed import TypedForm, read_misalignment
from models.maths.deciding import decided_by
from models.maths.plausible import Doubt, Gravity, open_checks
from models.maths.plausible_job import Beside, check_job
from models.maths.working import Worked
from models.units import Quantity
from models.values.calibration import calibrated_on
from models.values.decision import Covariance, Covariances, Decision, DecisionRule, covariance_of
from models.values.draft import RowDraft, stated_reasons
from models.values.job import Job, Misalignment
from models.values.story import AssetStory, JobLine

STATED_FIELD = "stated."
VISIT_FIELDS = (
    "tag", "performed", "people", "instrument", "hours_run", "soft_before.", "soft_after.", "shim.", "side.",
)  # fmt: skip
NO_FIELD = "tag"
"""What a check of the machine itself is about; the form has no field for it."""

LOOSE_ANSWERS = {"yes": True, "no": False}


@dataclass(frozen=True, slots=True)
class Ask:
    """A doubt that needs a stated reason: what speaks against the job, and the field for the reason.

    ``at`` is the field that it is about, where that is one of the form.
    """

    doubt: str
    field: str
    sentences: tuple[str, ...]
    stated: str
    at: str = ""


@dataclass(frozen=True, slots=True)
class StageView:
    """One measurement: what was worked out of it; ``worked`` is ``None`` where nothing is measured.

    ``same`` tells that nothing was moved, so that it is the as-found once more.  ``rule`` is there where the site's is guarded.
    """

    stage: str
    worked: Worked | None
    same: bool = False
    rule: DecisionRule | None = None

    @property
    def decision(self) -> Decision | None:
        """Give what the rule of the site decides; ``None`` where it goes by the ratio, or nothing is judged."""
        worked = self.worked
        if self.rule is None or worked is None or worked.ratio is None:
            return None
        return decided_by(self.rule, self.covariance, worked.conformance, worked.ratio)

    @property
    def covariance(self) -> Covariance | None:
        """Give what is known of the uncertainty of the measurement."""
        known = None if self.worked is None else self.worked.covariance
        return None if known is None else covariance_of(known.tolist())

    @property
    def ratio(self) -> float | None:
        """Give the limit ratio."""
        return None if self.worked is None else self.worked.ratio


@dataclass(frozen=True, slots=True)
class RecordView:
    """Everything that the page says of what is typed.

    ``job`` is ``None`` as long as the form is no job.  ``stops`` cannot be true, ``missing`` is not there yet,
    ``asks`` need a reason.  ``changed`` is what an amendment changes, ``rows`` are the feet as they were typed over,
    ``taken`` is the entry that has the job's number already, and ``ref`` that number.
    """

    found: StageView
    left: StageView
    soft_before: Worked
    soft_after: Worked
    said: tuple[Said, ...]
    stops: tuple[str, ...]
    missing: tuple[str, ...]
    asks: tuple[Ask, ...]
    job: Job | None
    by: str
    why: str
    stated: dict[str, str]
    bolts_tight: bool | None
    changed: tuple[Told, ...]
    summary: str
    rows: dict[str, tuple[RowDraft, ...]]
    taken: int | None = None
    ref: str = ""

    @property
    def covariances(self) -> Covariances:
        """Give what is known of the uncertainty of both measurements."""
        return Covariances(self.found.covariance, self.left.covariance)

    @property
    def can_be_recorded(self) -> bool:
        """Tell whether nothing is open."""
        return self.job is not None and not self.stops and not self.missing and all(ask.stated for ask in self.asks)


def build(fields: Fields, around: Around) -> RecordView:
    """Look at what is typed.

    Parameters
    ----------
    fields : mapping of str to str
        The form: texts by the name of their field. [as typed]
    around : Around
        What it is held against. [unitless]
    """
    return _Looking(fields, around).view()


class _Looking(Sheet):
    """Looks at one form."""

    def view(self) -> RecordView:
        target = self.target()
        stages = {stage: self.stage(stage, target) for stage in STAGES}
        before, after = self.soft("soft_before", target), self.soft("soft_after", target)
        left_same = self.fields.get("left.method") == NOTHING_MOVED
        found, left = stages["found"], stages["found"] if left_same else stages["left"]
        job = self.job(target, found, left, left_same=left_same)
        self._echo()
        tight = LOOSE_ANSWERS.get(self.fields.get("left.tight", ""))
        if job is not None:
            self._check_job(job, (found.worked.ratio if found else None, left.worked.ratio if left else None), tight)
        else:
            self._check_visit()
        self._what_is_missing(found, left, job)
        changed = told_jobs(self.old, job, self.display) if self.old is not None and job is not None else ()
        if self.old is not None and not self._is_changed(job):
            self.missing.append(say("record.missing.change"))
        asks, stated = self._asks()
        views = (
            StageView("found", found.worked if found else None, rule=self.around.story.site.guarded),
            StageView("left", left.worked if left else None, same=left_same, rule=self.around.story.site.guarded),
        )
        return RecordView(
            views[0], views[1], before.worked, after.worked, tuple(self.said), tuple(dict.fromkeys(self.stops)), tuple(self.missing), asks,
            job, self.text("by"), self.text("why"), stated, tight, changed, self._summary(views, asks),
            {"movable": before.draft.feet_movable, "stationary": before.draft.feet_stationary}, self.taken, self.text("ref"),
        )  # fmt: skip

    def _echo(self) -> None:
        """Say beside each number how it was understood."""
        already = {one.field for one in self.said}
        for reading in numbers(self.fields, self.shown_fields(), self.display):
            quantity = measures(reading.name)
            if reading.problem is not None and reading.name not in already:
                if not reading.name.startswith("growth."):
                    self.wrong(reading.name, reading.problem)
            elif reading.parsed is not None:
                text = self.display.text(reading.parsed.value, quantity, signed=quantity is Quantity.OFFSET)
                key = "record.understood.found" if reading.name in self.taken_over else "record.understood"
                self.said.append(Said(reading.name, "ok", say(key, value=text)))
        self._echo_growth()
        self._echo_when()
        self._echo_hubs()
        self._echo_instrument()
        self._echo_last()

    def _echo_growth(self) -> None:
        """Show what growth comes to, and offer it as the target; it is a help, so that nothing in it keeps a job out of the book."""
        result = grown(self.fields, self.around.basis.asset, self.display)
        self.said += [Said(name, "bad", text) for name, text in result.wrong]
        self.said += [Said("growth", "ok", line) for line in result.lines]
        if result.target is None:
            return
        taken = taken_fields(result.target, result.source(), self.display)
        stands = self.target().as_tuple()
        offered = read_misalignment(TypedForm(taken, self.display), "target")
        if offered is not None and stands == offered.as_tuple():
            self.said.append(Said("growth", "note", say("record.growth.taken")))
        else:
            take = (say("record.growth.take"), json.dumps(taken, ensure_ascii=False))
            self.said.append(Said("growth", "note", say("record.growth.ask"), (take,)))

    def _echo_hubs(self) -> None:
        """Say on which hub each dial runs: the one across from its bracket."""
        for stage in STAGES:
            way = way_of(self.fields, stage)
            for name in (f"{stage}.dial.{n}" for n in (1, 2) if way is not None and "bracket" in dial_parts(way, n)):
                bracket = self.text(f"{name}.bracket")
                if bracket:
                    on_movable = bracket.startswith("stationary")
                    text = say("record.dial.on.movable") if on_movable else say("record.dial.on.stationary")
                    self.said.append(Said(f"{name}.hub", "ok", text))

    def _echo_when(self) -> None:
        when = read_when(self.fields, self.zone)
        if when.problem is not None:
            self.wrong("performed", when.problem)
        elif when.question:
            self.said.append(Said("performed", "reason", when.question, when.answers))
            self.stops.append(say("record.stop.field", field=field_label("performed"), problem=when.question))
        elif when.moment is not None:
            local = when.moment.astimezone(ZoneInfo(self.zone))
            text = say("record.understood.moment", day=day(local.date()), time=f"{local:%H:%M}", zone=self.zone)
            self.said.append(Said("performed", "ok", text))

    def _echo_instrument(self) -> None:
        serial = self.text("instrument")
        own = [one for one in self.around.instruments if one.serial == serial]
        if not own:
            return
        known = calibrated_on(own, self.around.day)
        text = (
            say("record.instrument.no_date") if known.due is None else say("record.instrument.due", day=day(known.due))
        )
        self.said.append(Said("instrument", "ok", " · ".join(part for part in (known.description, text) if part)))

    def _echo_last(self) -> None:
        """Say what the last visit is now, where it is another one than when the form was made."""
        around = self.around
        now = last_of(around.story, around.amends)
        if around.known_to is None or now == last_of(around.story, around.amends, around.known_to):
            return
        text = say("record.last.gone")
        if now is not None:
            at = now.job.performed_at.astimezone(ZoneInfo(self.zone))
            text = say(
                "record.last.overtaken", ref=now.job.ref, day=day(at.date()), time=f"{at:%H:%M}",
                people=", ".join(now.job.people) or DASH,
                left=left_text(others_of(around.story, around.amends), self.zone, self.display),
            )  # fmt: skip
        self.said.append(Said("last", "reason", text))

    # -- checks ----------------------------------------------------------------------------------------------------

    def _check_visit(self) -> None:
        """Check time, names, hours, rises and moves of feet although nothing is measured yet: with a measurement of nothing in its place."""
        known = len(self.stops)
        trial = self.job(Misalignment(), None, None, left_same=False, stand_in=True)
        del self.stops[known:]
        if trial is not None:
            before = len(self.checks)
            self._check_job(trial, (None, None), None)
            self.checks[before:] = [pair for pair in self.checks[before:] if pair[0].startswith(VISIT_FIELDS)]

    def _check_job(self, job: Job, ratios: tuple[float | None, float | None], tight: bool | None) -> None:
        around, story = self.around, self.around.story
        job_id = around.amends.job_id if around.amends else None
        beside = Beside(
            asset=around.basis.asset,
            now=around.now,
            jobs=tuple(line.job for line in story.standing if line.job_id != job_id),
            breaks=tuple(broken.on for broken in story.breaks),
            instruments=around.instruments,
            limits=around.basis.limits,
            found_ratio=ratios[0],
            left_ratio=ratios[1],
            display=self.display,
            bolts_tight=tight,
            merged_into=story.merged_into,
            merged_on=story.asset.retired,
            people=around.people,
            meanwhile=() if around.amends else tuple(line.job for line in story.since(around.typed_at)),
        )
        checks = check_job(job, beside)
        if around.amends is not None:
            # What was doubtful in the old version is not asked again: the same rule as in models.commands.amend_job.
            old = around.amends
            then = replace(beside, found_ratio=old.found_ratio, left_ratio=old.left_ratio)
            before = {check.doubt for check in check_job(old.job, then)}
            checks = tuple(check for check in checks if check.doubt not in before)
        ways = {stage: way_of(self.fields, stage) for stage in STAGES}
        self.checks += [(job_field(check.field, ways), check) for check in checks]
        same = [line for line in story.jobs if line.job.ref == job.ref and line.job_id != job_id]
        if same:
            self.taken = next((line.entry for line in same if line.superseded_by is None), same[-1].entry)
            sentence = say("record.stop.ref", ref=job.ref, entry=self.taken)
            self.stops.append(sentence)
            self.said.append(Said("ref", "stop", sentence))

    def _what_is_missing(self, found: Measurement | None, left: Measurement | None, job: Job | None) -> None:
        if not self.text("by"):
            self.missing.append(say("record.missing.by"))
        if self.old is not None and not self.text("why"):
            self.missing.append(say("record.missing.why"))
        for name in ("performed", "ref"):
            if not self.text(name):
                self.missing.append(say(f"record.missing.{name}"))
        for stage, read in (("found", found), ("left", left)):
            told = read is not None and (read.problems or any(c.gravity is Gravity.STOP for c in read.worked.checks))
            if (
                read is not None
                and read.worked.misalignment is None
                and not told
                and way_of(self.fields, stage) is not None
            ):
                self.missing.append(say(f"record.missing.{stage}", what=tell(read.worked.reason)))
        if found is None and left is None:
            self.missing.append(say("record.missing.both"))
        if method_of(self.fields) is None:
            self.missing.append(say("record.missing.with"))
        if job is None and not self.missing and not self.stops:
            self.missing.append(say("record.missing.job"))

    def _asks(self) -> tuple[tuple[Ask, ...], dict[str, str]]:
        seen: set[tuple[str, str]] = set()
        by_doubt: dict[Doubt, list[str]] = {}
        at: dict[Doubt, str] = {}
        for name, check in self.checks:
            if (check.doubt, check.sentence) in seen:
                continue
            seen.add((check.doubt, check.sentence))
            kinds: dict[Gravity, Kind] = {Gravity.STOP: "stop", Gravity.REASON: "reason", Gravity.NOTE: "note"}
            sentence = tell(check.sentence)
            self.said.append(Said(name, kinds[check.gravity], sentence))
            if check.gravity is Gravity.STOP:
                self.stops.append(sentence)
            elif open_checks([check]):
                by_doubt.setdefault(check.doubt, []).append(sentence)
                at.setdefault(check.doubt, "" if name == NO_FIELD else name)
        asks = tuple(
            Ask(str(doubt), stated_field(doubt), tuple(sentences), self.text(stated_field(doubt)), at[doubt])
            for doubt, sentences in by_doubt.items()
        )
        return asks, {ask.doubt: ask.stated for ask in asks if ask.stated}

    def _summary(self, views: tuple[StageView, StageView], asks: tuple[Ask, ...]) -> str:
        parts = [
            say(f"record.summary.{one.stage}", judged=judged_by(one.ratio, one.decision))
            for one in views
            if one.ratio is not None
        ]
        unanswered = sum(not ask.stated for ask in asks)
        if self.stops:
            parts.append(say("record.summary.stops", n=len(set(self.stops))))
        if unanswered:
            parts.append(say("record.summary.asks", n=unanswered))
        return " ".join(parts)

    def _is_changed(self, job: Job | None) -> bool:
        shown = {
            name
            for name in self.shown_fields()
            if name not in {"by", "why", PROPOSED} and not name.startswith(STATED_FIELD)
        }
        heads = {
            name for name in (*self.base, *self.fields) if name.endswith((".method", ".by", ".tight")) and name != "by"
        }
        own = shown | heads | {name for name in self.base if not name.startswith(tuple(f"{s}." for s in STAGES))}
        return not self.unchanged(own) and job != self.old


def stated_field(doubt: Doubt) -> str:
    """Give the name of the field in which a reason is stated."""
    return f"{STATED_FIELD}{doubt.name.lower()}"


def doubt_name(doubt: str) -> str:
    """Give what a reader calls a doubt, by the name that the book keeps."""
    return tell(Doubt(doubt).told) if doubt in set(Doubt) else doubt


def stated_fields(job: Job) -> dict[str, str]:
    """Give the reasons that were stated when a job was recorded, as fields of the form."""
    known = {str(doubt): doubt for doubt in Doubt}
    return {stated_field(known[name]): text for name, text in stated_reasons(job.typed).items() if name in known}


def others_of(story: AssetStory, without: JobLine | None) -> list[JobLine]:
    """Give the jobs that count, in order of time, without the one that is being amended."""
    return [line for line in story.standing if without is None or line.job_id != without.job_id]


def last_of(story: AssetStory, without: JobLine | None = None, known_to: int | None = None) -> JobLine | None:
    """Give the last job that counts; without the one that is being amended, and as it was up to an entry where one is given."""
    if known_to is None:
        return next(reversed(others_of(story, without)), None)
    then = (
        line
        for line in story.jobs
        if line.entry <= known_to < (line.superseded_by or known_to + 1)
        and not line.void
        and (without is None or line.job_id != without.job_id)
    )
    return max(then, key=lambda line: (line.job.performed_at, line.entry), default=None)
