"""What a form of the Record page says: two measurements worked out, and the job that they make."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal

import numpy as np

from dashboard.views.record_fields import (
    AFTER,
    BEFORE,
    MAX_ROWS,
    ROOMS,
    STAGES,
    TEMPERATURES,
    Fields,
    check_name,
    fields_of,
    method_of,
    placed_as_found,
    places_of,
    quantity_of,
    stage_names,
    taken_over,
    way_of,
)
from dashboard.views.record_names import field_label, form_name
from dashboard.views.record_when import moment_of
from dashboard.words import remembered, say, tell
from models.errors import DriftbookError
from models.intake.fields import FEET
from models.intake.typed import TypedForm, TypedProblem, as_kept, read_draft, read_misalignment, read_number
from models.maths.conformance import conformance
from models.maths.plausible import Check
from models.maths.working import Worked, work_out
from models.units import Display, Quantity
from models.values.asset import Asset
from models.values.draft import Draft, Way, WorkCheck, typed_for_book
from models.values.job import COMPONENTS, FeetValues, Job, Misalignment
from models.values.kinds import Method, Reason
from models.values.limits import LimitSet, LimitsGiven
from models.values.people import Instrument
from models.values.spelling import seen
from models.values.story import AssetStory, JobLine

FIRST_MOVED = "movable machine"
"""What the choice of the machine that moves begins with."""

Kind = Literal["ok", "bad", "stop", "reason", "note"]


@dataclass(frozen=True, slots=True)
class Basis:
    """The machine as it was described on the day of a job, and the limits that were in force for it."""

    asset: Asset
    limit_set: LimitSet | None
    limits: LimitsGiven


@dataclass(frozen=True, slots=True)
class Around:
    """What a form is held against: the machine's story, its description on the day, all versions of instruments, units and time.

    ``day`` is that of the job, of today where none is typed.  ``people`` are the names that the book knows.  ``amends`` is the version that the form changes; ``None`` for a new job.
    ``known_to`` is the last entry of the machine when the form was made, ``begun_at`` when the draft in it was begun;
    ``None`` where that is not known.
    """

    story: AssetStory
    basis: Basis
    instruments: tuple[Instrument, ...]
    display: Display
    now: datetime
    day: date
    amends: JobLine | None = None
    people: frozenset[str] = frozenset()
    known_to: int | None = None
    begun_at: int | None = None

    @property
    def typed_at(self) -> int | None:
        """Give the last entry of the machine when what stands in the form was begun."""
        return self.known_to if self.begun_at is None else self.begun_at


@dataclass(frozen=True, slots=True)
class Said:
    """Something that is said beside a field: how it was understood, or what is wrong with it.

    Each of the ``answers`` to a question is what a person reads, and the text that it puts into the field.
    """

    field: str
    kind: Kind
    text: str
    answers: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement as it was read, what was not understood, and what was worked out of it."""

    draft: Draft
    problems: tuple[TypedProblem, ...]
    worked: Worked


class Sheet:
    """A form with what it is held against; every part of it is read although another is wrong.

    ``taken_over`` are the distances of the as-left that stand in the as-found.  ``said`` collects what is said beside the fields, ``checks`` what does not look right and where,
    ``stops`` what keeps the job out of the book.
    """

    def __init__(self, fields: Fields, around: Around) -> None:
        self.taken_over = taken_over(fields, span=around.basis.asset.span_mm is None)
        self.fields = {**fields, **self.taken_over}
        self.around = around
        self.display = around.display
        self.zone = around.story.site.zone
        self.old = around.amends.job if around.amends else None
        self.base = fields_of(self.old, around.display) if self.old else {}
        as_found = [name for name, text in placed_as_found(self.fields).items() if self.text(name) == text]
        self.said: list[Said] = [Said(name, "ok", say("record.placed.found")) for name in as_found]
        self.checks: list[tuple[str, Check]] = []
        self.stops: list[str] = []
        self.missing: list[str] = []
        self.taken: int | None = None

    def text(self, name: str) -> str:
        """Give a text without blanks around it."""
        return " ".join(self.fields.get(name, "").split())

    def target(self) -> Misalignment:
        """Read the target; blank is zero."""
        form = TypedForm({name: text for name, text in self.fields.items() if name.startswith("target.")}, self.display)
        given = read_misalignment(form, "target") or Misalignment()
        if self.old is not None and self.unchanged(f"target.{name}" for name in COMPONENTS):
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

    def stage(self, stage: str, target: Misalignment) -> Measurement | None:
        """Read and work out one measurement; ``None`` where none was made."""
        way = way_of(self.fields, stage)
        if way is None:
            return None
        read = _read(tuple(self._given(stage, way).items()), self.around.basis.asset, self.around.basis.limits, target, self.display)  # fmt: skip
        for problem in read.problems:
            self.wrong(form_name(stage, problem.field), problem)
        self.checks += [(form_name(stage, check.field, way), check) for check in read.worked.checks]
        if self.old is not None and self.unchanged(self._stage_fields(stage)):
            # The book's own numbers, not the same readings worked out once more.
            kept: Misalignment | None = getattr(self.old, stage)
            if kept is not None and read.worked.misalignment is not None:
                return replace(read, worked=replace(self._as_known(stage, read.worked), misalignment=kept))
        return read

    def _as_known(self, stage: str, worked: Worked) -> Worked:
        """Give what was worked out with the uncertainty that the book keeps, where the form has none (it came over the interface, say)."""
        decision = getattr(self.around.amends.decisions, stage) if self.around.amends else None
        if worked.covariance is not None or decision is None or decision.covariance is None or worked.deviation is None:
            return worked
        known, asset = np.array(decision.covariance), self.around.basis.asset
        again = conformance(worked.deviation, known, worked.limits, asset.coupling, asset.span_mm)
        return replace(worked, covariance=known, conformance=again)

    def _stage_fields(self, stage: str) -> list[str]:
        names = {name for name in (*self.fields, *self.base) if name.startswith((f"{stage}.", "feet."))}
        return sorted(names - {"left.tight", f"{stage}.by", f"{stage}.places"})

    def soft(self, name: str, target: Misalignment) -> Measurement:
        """Read and work out the rises of the feet, before the work or after it."""
        rises = {f"soft_foot.{foot}": text for foot in range(1, 2 * MAX_ROWS + 1) if (text := self.fields.get(f"{name}.{foot}", "").strip())}  # fmt: skip
        basis = self.around.basis
        read = _read((("method", Way.RESULTS.value), *rises.items(), *self._feet().items()), basis.asset, basis.limits, target, self.display)  # fmt: skip
        self.checks += [(check.field, check) for check in read.worked.checks if check.field.startswith("feet.")]
        for problem in read.problems:
            if problem.field.startswith("feet."):
                self.wrong(problem.field, problem)
        return read

    def wrong(self, name: str, problem: TypedProblem) -> None:
        """Say that a field is not understood."""
        text = tell(problem.text)
        self.said.append(Said(name, "bad", text))
        self.stops.append(say("record.stop.field", field=field_label(name), problem=text))

    def shown_fields(self) -> list[str]:
        """Give the fields that count: those of another method than the chosen one do not."""
        names = [name for name in self.fields if not name.startswith(tuple(f"{stage}." for stage in STAGES))]
        for stage in STAGES:
            way = way_of(self.fields, stage)
            if way is not None:
                names += [f"{stage}.{name}" for name in stage_names(way, places_of(self.fields, stage))]
        return names

    # -- the job ---------------------------------------------------------------------------------------------------

    def job(
        self,
        target: Misalignment,
        found: Measurement | None,
        left: Measurement | None,
        *,
        left_same: bool,
        stand_in: bool = False,
    ) -> Job | None:
        """Make the job; ``None`` as long as the form is none."""
        moment = moment_of(self.fields, self.zone)
        if self.old is not None and self.unchanged(["performed"]):
            moment = self.old.performed_at
        reason, ref = self.fields.get("reason", ""), self.text("ref")
        before = found.worked.misalignment if found else None
        after = left.worked.misalignment if left else Misalignment() if stand_in else None
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
                instrument=self.text("instrument"),
                method=method_of(self.fields) or Method.OTHER,
                work_order=self.text("work_order"),
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
                self.stops.append(tell(fault.message))
            return None

    def _people(self) -> tuple[str, ...]:
        names = [seen(name) for name in self.fields.get("people", "").replace("/", ";").split(";")]
        return tuple(dict.fromkeys(name for name in names if name))

    def _number(self, name: str) -> float | None:
        parsed, _ = read_number(name, self.fields.get(name, ""), measures(name), self.display)
        return None if parsed is None else parsed.value

    def _feet_values(self, prefix: str) -> FeetValues:
        names = [f"{prefix}.{foot}" for foot in range(1, 2 * MAX_ROWS + 1)]
        if self.old is not None and self.unchanged(names):
            return {"soft_before": self.old.soft_before, "soft_after": self.old.soft_after, "shim": self.old.moves_v}[prefix]  # fmt: skip
        return _trimmed([self._number(name) for name in names])

    def _side_moves(self) -> FeetValues:
        names = [f"side.{row}" for row in range(1, MAX_ROWS + 1)]
        if self.old is not None and self.unchanged(names):
            return self.old.moves_h
        return _trimmed([value for name in names for value in (self._number(name),) * 2])

    def _checks(self) -> tuple[str, ...]:
        ticked = {check for check in (*BEFORE, *AFTER) if self.fields.get(check_name(check)) == "yes"}
        if self.fields.get("left.tight") == "yes":
            ticked.add(WorkCheck.LEFT_WHEN_TIGHT)
        others = [text for text in self.old.checks if text not in set(WorkCheck)] if self.old else []
        return (*(str(check) for check in WorkCheck if check in ticked), *others)

    def _typed(self, found: Measurement | None, left: Measurement | None) -> dict[str, str]:
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
        pairs += [(name, name) for name in self.fields if name == "hours_run" or name.startswith("feet.")]
        for name, key in pairs:
            parsed, _ = read_number(name, self.fields.get(name, ""), measures(name), self.display)
            if parsed is not None:
                typed[key] = as_kept(parsed)
        for name in ("moves", "target.source"):
            if self.text(name):
                typed[name] = self.text(name)
        if self.old is not None and "moves" not in self.old.typed and typed.get("moves") == FIRST_MOVED:
            del typed["moves"]  # what stands first in the list, where the old version does not say it, nobody said
        return typed

    # -- what was there before ------------------------------------------------------------------------------------

    def unchanged(self, names: Iterable[str]) -> bool:
        """Tell whether fields say what the amended version says."""
        return all(self.text(name) == " ".join(self.base.get(name, "").split()) for name in names)


@remembered(96)
def _read(
    given: tuple[tuple[str, str], ...], asset: Asset, limits: LimitsGiven, target: Misalignment, display: Display
) -> Measurement:
    """Read and work out one measurement; kept, because all but one of them are the same at the next key."""
    form = TypedForm(dict(given), display)
    draft = read_draft(form)
    return Measurement(draft, tuple(form.problems), work_out(draft, asset, limits, target, display))


def _trimmed(values: Sequence[float | None]) -> FeetValues:
    last = max((place for place, value in enumerate(values, start=1) if value is not None), default=0)
    return FeetValues(tuple(values[: last + last % 2]))


def measures(name: str) -> Quantity:
    """Give what a field measures; an offset where its name does not say."""
    return quantity_of(name) or Quantity.OFFSET
