"""What the Record page shows of a job while it is typed: numbers, verdict, checks, and what is still missing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import lru_cache
from typing import Literal
from zoneinfo import ZoneInfo

from dashboard.views.record_fields import (
    AFTER,
    BEFORE,
    MAX_ROWS,
    NOTHING_MOVED,
    ROOMS,
    STAGES,
    TEMPERATURES,
    Fields,
    check_name,
    fields_of,
    method_of,
    numbers,
    places_of,
    stage_names,
    way_of,
)
from dashboard.words import say
from dashboard.writing import day, judged
from models.errors import DriftbookError, NotAQuantityError
from models.intake.dates import Order, parse_moment
from models.intake.fields import FEET
from models.intake.typed import CLOCK, TypedForm, TypedProblem, as_kept, read_draft, read_misalignment, read_number
from models.maths.plausible import Check, Doubt, Gravity, open_checks
from models.maths.plausible_job import Beside, check_job
from models.maths.working import Worked, work_out
from models.units import Display, Quantity
from models.values.asset import Asset
from models.values.differences import Difference, differences
from models.values.draft import Draft, RowDraft, Way, WorkCheck, stated_reasons, typed_for_book
from models.values.job import COMPONENTS, FeetValues, Job, Misalignment
from models.values.kinds import Reason
from models.values.limits import LimitSet, LimitsGiven
from models.values.people import Instrument
from models.values.story import AssetStory, JobLine

Kind = Literal["ok", "bad", "stop", "reason", "note"]

STATED_FIELD = "stated."
LOOSE_ANSWERS = {"yes": True, "no": False}


@dataclass(frozen=True, slots=True)
class Basis:
    """The machine as it was described on the day of a job, and the limits that were in force for it."""

    asset: Asset
    limit_set: LimitSet | None
    limits: LimitsGiven


@dataclass(frozen=True, slots=True)
class Around:
    """What a form is held against: the machine's story, its description on the day, the instruments, units and time.

    ``amends`` is the version that the form changes; ``None`` for a new job.
    """

    story: AssetStory
    basis: Basis
    instruments: tuple[Instrument, ...]
    display: Display
    now: datetime
    amends: JobLine | None = None


@dataclass(frozen=True, slots=True)
class Said:
    """Something that is said beside a field: how it was understood, or what is wrong with it."""

    field: str
    kind: Kind
    text: str


@dataclass(frozen=True, slots=True)
class Ask:
    """A doubt that needs a stated reason: what speaks against the job, and the field for the reason."""

    doubt: str
    field: str
    sentences: tuple[str, ...]
    stated: str


@dataclass(frozen=True, slots=True)
class StageView:
    """One measurement: what was worked out of it; ``worked`` is ``None`` where nothing is measured.

    ``same`` tells that nothing was moved, so that it is the as-found once more.
    """

    stage: str
    worked: Worked | None
    same: bool = False

    @property
    def ratio(self) -> float | None:
        """Give the limit ratio."""
        return None if self.worked is None else self.worked.ratio


@dataclass(frozen=True, slots=True)
class RecordView:
    """Everything that the page says of what is typed.

    ``job`` is ``None`` as long as the form is no job.  ``stops`` cannot be true, ``missing`` is not there yet,
    ``asks`` need a reason.  ``changed`` is what an amendment changes, ``rows`` are the feet as they were typed over.
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
    changed: tuple[Difference, ...]
    summary: str
    rows: dict[str, tuple[RowDraft, ...]]

    @property
    def can_be_recorded(self) -> bool:
        """Tell whether nothing is open."""
        return self.job is not None and not self.stops and not self.missing and all(ask.stated for ask in self.asks)


@dataclass(frozen=True, slots=True)
class _Stage:
    draft: Draft
    problems: tuple[TypedProblem, ...]
    worked: Worked


def moment_of(fields: Fields, zone: str) -> tuple[datetime | None, TypedProblem | None]:
    """Read when the job was done, on the site's clock unless the text names another.

    Parameters
    ----------
    fields : mapping of str to str
        The form. [as typed]
    zone : str
        IANA name of the site's zone. [unitless]
    """
    text = fields.get("performed", "").strip()
    if not text:
        return None, None
    try:
        return parse_moment(text, Order.DAY_FIRST, ZoneInfo(zone))[0], None
    except NotAQuantityError as fault:
        return None, TypedProblem("performed", fault.found, fault.expected)


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


class _Looking:
    """Reads one form; every part of it is read although another is wrong."""

    def __init__(self, fields: Fields, around: Around) -> None:
        self.fields = fields
        self.around = around
        self.display = around.display
        self.zone = around.story.site.zone
        self.old = around.amends.job if around.amends else None
        self.base = fields_of(self.old, around.display) if self.old else {}
        self.said: list[Said] = []
        self.checks: list[tuple[str, Check]] = []
        self.stops: list[str] = []
        self.missing: list[str] = []

    # -- the form --------------------------------------------------------------------------------------------------

    def view(self) -> RecordView:
        target = self._target()
        stages = {stage: self._stage(stage, target) for stage in STAGES}
        before, after = self._soft("soft_before", target), self._soft("soft_after", target)
        left_same = self.fields.get("left.method") == NOTHING_MOVED
        found, left = stages["found"], stages["found"] if left_same else stages["left"]
        job = self._job(target, found, left, left_same=left_same)
        self._echo()
        tight = LOOSE_ANSWERS.get(self.fields.get("left.tight", ""))
        if job is not None:
            self._check_job(job, left.worked.ratio if left else None, tight)
        self._what_is_missing(found, left, job)
        changed = differences(self.old, job, self.display) if self.old is not None and job is not None else ()
        if self.old is not None and not self._is_changed():
            self.missing.append(say("record.missing.change"))
        asks, stated = self._asks()
        views = (
            StageView("found", found.worked if found else None),
            StageView("left", left.worked if left else None, same=left_same),
        )
        return RecordView(
            views[0], views[1], before.worked, after.worked, tuple(self.said), tuple(dict.fromkeys(self.stops)), tuple(self.missing), asks,
            job, self._text("by"), self._text("why"), stated, tight, changed, self._summary(views, asks),
            {"movable": before.draft.feet_movable, "stationary": before.draft.feet_stationary},
        )  # fmt: skip

    def _text(self, name: str) -> str:
        return " ".join(self.fields.get(name, "").split())

    def _target(self) -> Misalignment:
        form = TypedForm({name: text for name, text in self.fields.items() if name.startswith("target.")}, self.display)
        given = read_misalignment(form, "target") or Misalignment()
        if self.old is not None and self._unchanged(f"target.{name}" for name in COMPONENTS):
            return self.old.target
        return given

    def _given(self, stage: str, way: Way) -> dict[str, str]:
        names = stage_names(way, places_of(self.fields, stage))
        given = {name: text for name in names if (text := self.fields.get(f"{stage}.{name}", "").strip())}
        return {"method": way.value, **given, **self._feet(), "moves": self.fields.get("moves", "")}

    def _feet(self) -> dict[str, str]:
        """Give the rows of feet that were typed; a row of the book stays where only another one is typed over."""
        given: dict[str, str] = {}
        for side, known in (("movable", self.around.basis.asset.feet_movable_mm), ("stationary", self.around.basis.asset.feet_stationary_mm)):  # fmt: skip
            own = {
                f"feet.{side}.{row}.{key}": text
                for row in range(1, MAX_ROWS + 1)
                for key in ("at", *ROOMS)
                if (text := self.fields.get(f"feet.{side}.{row}.{key}", "").strip())
            }
            if own:
                given |= {f"feet.{side}.{row}.at": f"{x!r} mm" for row, x in enumerate(known, start=1)} | own
        return given

    def _stage(self, stage: str, target: Misalignment) -> _Stage | None:
        way = way_of(self.fields, stage)
        if way is None:
            return None
        read = _read(tuple(self._given(stage, way).items()), self.around.basis.asset, self.around.basis.limits, target, self.display)  # fmt: skip
        for problem in read.problems:
            self._wrong(_form_name(stage, problem.field), problem)
        self.checks += [(_form_name(stage, check.field, way), check) for check in read.worked.checks]
        if self.old is not None and self._unchanged(self._stage_fields(stage)):
            # The book's own numbers, not the same readings worked out once more.
            kept: Misalignment | None = getattr(self.old, stage)
            if kept is not None and read.worked.misalignment is not None:
                return replace(read, worked=replace(read.worked, misalignment=kept))
        return read

    def _stage_fields(self, stage: str) -> list[str]:
        names = {name for name in (*self.fields, *self.base) if name.startswith((f"{stage}.", "feet."))}
        return sorted(names - {"left.tight", f"{stage}.by", f"{stage}.places"})

    def _soft(self, name: str, target: Misalignment) -> _Stage:
        rises = {f"soft_foot.{foot}": text for foot in range(1, 2 * MAX_ROWS + 1) if (text := self.fields.get(f"{name}.{foot}", "").strip())}  # fmt: skip
        basis = self.around.basis
        read = _read((("method", Way.RESULTS.value), *rises.items(), *self._feet().items()), basis.asset, basis.limits, target, self.display)  # fmt: skip
        self.checks += [(check.field, check) for check in read.worked.checks if check.field.startswith("feet.")]
        for problem in read.problems:
            if problem.field.startswith("feet."):
                self._wrong(problem.field, problem)
        return read

    def _wrong(self, name: str, problem: TypedProblem) -> None:
        self.said.append(Said(name, "bad", problem.text))
        self.stops.append(say("record.stop.field", field=field_label(name), problem=problem.text))

    def _echo(self) -> None:
        """Say beside each number how it was understood."""
        already = {one.field for one in self.said}
        for reading in numbers(self.fields, self._shown_fields(), self.display):
            quantity = _quantity(reading.name)
            if reading.problem is not None and reading.name not in already:
                self._wrong(reading.name, reading.problem)
            elif reading.parsed is not None:
                text = self.display.text(reading.parsed.value, quantity, signed=quantity is Quantity.OFFSET)
                self.said.append(Said(reading.name, "ok", say("record.understood", value=text)))
        moment, problem = moment_of(self.fields, self.zone)
        if problem is not None:
            self._wrong("performed", problem)
        elif moment is not None:
            local = moment.astimezone(ZoneInfo(self.zone))
            text = say("record.understood.moment", day=day(local.date()), time=f"{local:%H:%M}", zone=self.zone)
            self.said.append(Said("performed", "ok", text))
        self._echo_instrument()

    def _shown_fields(self) -> list[str]:
        names = [name for name in self.fields if not name.startswith(tuple(f"{stage}." for stage in STAGES))]
        for stage in STAGES:
            way = way_of(self.fields, stage)
            if way is not None:
                names += [f"{stage}.{name}" for name in stage_names(way, places_of(self.fields, stage))]
        return names

    def _echo_instrument(self) -> None:
        serial = self._text("instrument")
        known = next((one for one in self.around.instruments if one.serial == serial), None)
        if known is None:
            return
        text = (
            say("record.instrument.no_date") if known.due is None else say("record.instrument.due", day=day(known.due))
        )
        self.said.append(Said("instrument", "ok", " · ".join(part for part in (known.description, text) if part)))

    # -- the job ---------------------------------------------------------------------------------------------------

    def _job(self, target: Misalignment, found: _Stage | None, left: _Stage | None, *, left_same: bool) -> Job | None:
        moment, _ = moment_of(self.fields, self.zone)
        if self.old is not None and self._unchanged(["performed"]):
            moment = self.old.performed_at
        reason, ref = self.fields.get("reason", ""), self._text("ref")
        before = found.worked.misalignment if found else None
        after = left.worked.misalignment if left else None
        if moment is None or not ref or reason not in set(Reason):
            return None
        try:
            return Job(
                ref=ref,
                tag=self.around.story.asset.tag,
                performed_at=moment,
                zone=self.old.zone if self.old else self.zone,
                reason=Reason(reason),
                people=self._people(),
                instrument=self._text("instrument"),
                method=method_of(self.fields),
                work_order=self._text("work_order"),
                found=before,
                left=after,
                target=target,
                soft_before=self._feet_values("soft_before"),
                soft_after=self._feet_values("soft_after"),
                moves_v=self._feet_values("shim"),
                moves_h=self._side_moves(),
                temp_stationary_c=self._number("temp.stationary"),
                temp_movable_c=self._number("temp.movable"),
                temp_ambient_c=self._number("temp.ambient"),
                hours_run=self._number("hours_run"),
                checks=self._checks(),
                notes=self.fields.get("notes", "").strip(),
                reviewer=self.old.reviewer if self.old else "",
                typed=self._typed(found, None if left_same else left),
            )
        except DriftbookError as fault:
            if before is not None or after is not None:
                self.stops.append(fault.message)
            return None

    def _people(self) -> tuple[str, ...]:
        names = [" ".join(name.split()) for name in self.fields.get("people", "").replace("/", ";").split(";")]
        return tuple(dict.fromkeys(name for name in names if name))

    def _number(self, name: str) -> float | None:
        parsed, _ = read_number(name, self.fields.get(name, ""), _quantity(name), self.display)
        return None if parsed is None else parsed.value

    def _feet_values(self, prefix: str) -> FeetValues:
        names = [f"{prefix}.{foot}" for foot in range(1, 2 * MAX_ROWS + 1)]
        if self.old is not None and self._unchanged(names):
            return {"soft_before": self.old.soft_before, "soft_after": self.old.soft_after, "shim": self.old.moves_v}[prefix]  # fmt: skip
        return _trimmed([self._number(name) for name in names])

    def _side_moves(self) -> FeetValues:
        names = [f"side.{row}" for row in range(1, MAX_ROWS + 1)]
        if self.old is not None and self._unchanged(names):
            return self.old.moves_h
        return _trimmed([value for name in names for value in (self._number(name),) * 2])

    def _checks(self) -> tuple[str, ...]:
        ticked = {check for check in (*BEFORE, *AFTER) if self.fields.get(check_name(check)) == "yes"}
        if self.fields.get("left.tight") == "yes":
            ticked.add(WorkCheck.LEFT_WHEN_TIGHT)
        others = [text for text in self.old.checks if text not in set(WorkCheck)] if self.old else []
        return (*(str(check) for check in WorkCheck if check in ticked), *others)

    def _typed(self, found: _Stage | None, left: _Stage | None) -> dict[str, str]:
        typed: dict[str, str] = {}
        for stage, read in (("found", found), ("left", left)):
            if read is not None:
                own = {n: t for n, t in read.draft.typed.items() if not n.startswith(("feet.", "moves", "soft_foot."))}
                if read.draft.way is Way.RESULTS:
                    own.pop("method", None)
                typed |= typed_for_book(replace(read.draft, typed=own), stage)
        pairs = [(f"target.{name}", f"target_{name}") for name in COMPONENTS]
        pairs += [(f"temp.{name}", f"temp_{name}_c") for name in TEMPERATURES]
        pairs += [
            (f"{field}.{place}", f"{key}_{name}")
            for field, key in (("soft_before", "soft_before"), ("soft_after", "soft_after"), ("shim", "move_v"))
            for place, name in enumerate(FEET, start=1)
        ]
        pairs += [(f"side.{row}", f"move_h_{row}{side}") for row in range(1, MAX_ROWS + 1) for side in "LR"]
        pairs += [(name, name) for name in self.fields if name.startswith("feet.")]
        for name, key in pairs:
            parsed, _ = read_number(name, self.fields.get(name, ""), _quantity(name), self.display)
            if parsed is not None:
                typed[key] = as_kept(parsed)
        for name in ("moves", "target.source"):
            if self._text(name):
                typed[name] = self._text(name)
        return typed

    # -- checks ----------------------------------------------------------------------------------------------------

    def _check_job(self, job: Job, left_ratio: float | None, tight: bool | None) -> None:
        around, story = self.around, self.around.story
        job_id = around.amends.job_id if around.amends else None
        beside = Beside(
            asset=around.basis.asset,
            now=around.now,
            jobs=tuple(line.job for line in story.standing if line.job_id != job_id),
            breaks=tuple(broken.on for broken in story.breaks),
            instrument=next((one for one in around.instruments if one.serial == job.instrument), None),
            limits=around.basis.limits,
            left_ratio=left_ratio,
            display=self.display,
            bolts_tight=tight,
        )
        checks = check_job(job, beside)
        if around.amends is not None:
            # What was doubtful in the old version is not asked again: the same rule as in models.commands.amend_job.
            before = {
                c.doubt for c in check_job(around.amends.job, replace(beside, left_ratio=around.amends.left_ratio))
            }
            checks = tuple(check for check in checks if check.doubt not in before)
        ways = {stage: way_of(self.fields, stage) for stage in STAGES}
        self.checks += [(_job_field(check.field, ways), check) for check in checks]
        taken = next((line for line in story.jobs if line.job.ref == job.ref and line.job_id != job_id), None)
        if taken is not None:
            sentence = say("record.stop.ref", ref=job.ref, entry=taken.entry)
            self.stops.append(sentence)
            self.said.append(Said("ref", "stop", sentence))

    def _what_is_missing(self, found: _Stage | None, left: _Stage | None, job: Job | None) -> None:
        if not self._text("by"):
            self.missing.append(say("record.missing.by"))
        if self.old is not None and not self._text("why"):
            self.missing.append(say("record.missing.why"))
        for name in ("performed", "ref"):
            if not self._text(name):
                self.missing.append(say(f"record.missing.{name}"))
        for stage, read in (("found", found), ("left", left)):
            told = read is not None and (read.problems or any(c.gravity is Gravity.STOP for c in read.worked.checks))
            if (
                read is not None
                and read.worked.misalignment is None
                and not told
                and way_of(self.fields, stage) is not None
            ):
                self.missing.append(say(f"record.missing.{stage}", what=read.worked.reason))
        if found is None and left is None:
            self.missing.append(say("record.missing.both"))
        if job is None and not self.missing and not self.stops:
            self.missing.append(say("record.missing.job"))

    def _asks(self) -> tuple[tuple[Ask, ...], dict[str, str]]:
        seen: set[tuple[str, str]] = set()
        by_doubt: dict[Doubt, list[str]] = {}
        for name, check in self.checks:
            if (check.doubt, check.sentence) in seen:
                continue
            seen.add((check.doubt, check.sentence))
            kinds: dict[Gravity, Kind] = {Gravity.STOP: "stop", Gravity.REASON: "reason", Gravity.NOTE: "note"}
            self.said.append(Said(name, kinds[check.gravity], check.sentence))
            if check.gravity is Gravity.STOP:
                self.stops.append(check.sentence)
            elif open_checks([check]):
                by_doubt.setdefault(check.doubt, []).append(check.sentence)
        asks = tuple(
            Ask(str(doubt), stated_field(doubt), tuple(sentences), self._text(stated_field(doubt)))
            for doubt, sentences in by_doubt.items()
        )
        return asks, {ask.doubt: ask.stated for ask in asks if ask.stated}

    def _summary(self, views: tuple[StageView, StageView], asks: tuple[Ask, ...]) -> str:
        parts = [say(f"record.summary.{one.stage}", judged=judged(one.ratio)) for one in views if one.ratio is not None]
        unanswered = sum(not ask.stated for ask in asks)
        if self.stops:
            parts.append(say("record.summary.stops", n=len(set(self.stops))))
        if unanswered:
            parts.append(say("record.summary.asks", n=unanswered))
        return " ".join(parts)

    # -- what was there before ------------------------------------------------------------------------------------

    def _unchanged(self, names: Iterable[str]) -> bool:
        return all(self._text(name) == " ".join(self.base.get(name, "").split()) for name in names)

    def _is_changed(self) -> bool:
        shown = {
            name for name in self._shown_fields() if name not in {"by", "why"} and not name.startswith(STATED_FIELD)
        }
        heads = {
            name for name in (*self.base, *self.fields) if name.endswith((".method", ".by", ".tight")) and name != "by"
        }
        own = shown | heads | {name for name in self.base if not name.startswith(tuple(f"{s}." for s in STAGES))}
        return not self._unchanged(own)


@lru_cache(maxsize=96)
def _read(
    given: tuple[tuple[str, str], ...], asset: Asset, limits: LimitsGiven, target: Misalignment, display: Display
) -> _Stage:
    """Read and work out one measurement; kept, because all but one of them are the same at the next key."""
    form = TypedForm(dict(given), display)
    draft = read_draft(form)
    return _Stage(draft, tuple(form.problems), work_out(draft, asset, limits, target, display))


def stated_field(doubt: Doubt) -> str:
    """Give the name of the field in which a reason is stated."""
    return f"{STATED_FIELD}{doubt.name.lower()}"


def stated_fields(job: Job) -> dict[str, str]:
    """Give the reasons that were stated when a job was recorded, as fields of the form."""
    known = {str(doubt): doubt for doubt in Doubt}
    return {stated_field(known[name]): text for name, text in stated_reasons(job.typed).items() if name in known}


def field_label(name: str) -> str:
    """Give the name of a field as it is told in a sentence, e.g. ``'as found, dial 1, 6 o’clock'``."""
    parts = name.split(".")
    told: list[str] = []
    for part in parts:
        if part.isdigit() and told:
            told[-1] = f"{told[-1]} {part}"
        elif "dial" in parts and part in CLOCK:
            told.append(say(f"record.clock.{part}"))
        elif f"record.name.{part}" in _NAMED:
            told.append(say(f"record.name.{part}"))
    return ", ".join(told) or name


_NAMED = frozenset(
    f"record.name.{part}"
    for part in (
        "found", "left", "dial", "top", "right", "bottom", "returned", "plane", "diameter", "bracket", "side", "sag", "sag_is", "sag_sd",
        "opposite_top", "opposite_right", "opposite_bottom", "opposite_left", "angles", "readings", "noise", "reading", "distance",
        "results", "offset_v", "angle_v", "offset_h", "angle_h", "sd_offset", "sd_angle", "span", "feet", "movable", "stationary", "at",
        "shim_out", "shim_in", "soft_before", "soft_after", "shim", "temp", "ambient", "hours_run", "performed", "target",
    )
)  # fmt: skip


def _quantity(name: str) -> Quantity:
    from dashboard.views.record_fields import quantity_of

    return quantity_of(name) or Quantity.OFFSET


def _trimmed(values: Sequence[float | None]) -> FeetValues:
    last = max((place for place, value in enumerate(values, start=1) if value is not None), default=0)
    return FeetValues(tuple(values[: last + last % 2]))


def _form_name(stage: str, field: str, way: Way | None = None) -> str:
    """Give the name in the form of a field of one measurement."""
    if field.startswith(("feet.", "target.", "moves")):
        return field
    if field.startswith("results") and way is not None and way is not Way.RESULTS:
        return f"{stage}.method"
    return f"{stage}.{field}"


def _job_field(field: str, ways: dict[str, Way | None]) -> str:
    """Give the name in the form of a field of a job."""
    stage, _, rest = field.partition(".")
    if stage in ways and field != "left.tight":
        typed = ways[stage] is Way.RESULTS
        where = {"offset": "offset_v", "angularity": "angle_v"}.get(rest, rest)
        return f"{stage}.results.{where}" if typed and where else f"{stage}.method"
    return {"checks": "left.tight", "soft_after": "soft_after.1"}.get(field, field)


def last_of(story: AssetStory, without: JobLine | None = None) -> JobLine | None:
    """Give the last job that counts; without the one that is being amended."""
    lines = [line for line in story.standing if without is None or line.job_id != without.job_id]
    return lines[-1] if lines else None


def today_of(now: datetime, zone: str) -> date:
    """Give the day on a site's calendar."""
    return now.astimezone(ZoneInfo(zone)).date()
