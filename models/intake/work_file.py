"""A paper sheet as a small TOML file: readings, dimensions, target and limits of one measurement.

The keys are the names of the fields of a form (:mod:`models.intake.typed`), so
that file and page are read by the same eyes.  Every problem names its key.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from models.errors import InvalidValueError, UnreadableFileError
from models.intake.typed import TypedForm, TypedProblem, read_draft, read_misalignment
from models.maths.growth import MATERIALS, PER_K_OF_PER_F, RowGrowth, growth, target_from_growth
from models.maths.judged import limits_for
from models.units import Display, Quantity
from models.values.asset import Asset
from models.values.draft import Draft
from models.values.job import Misalignment
from models.values.kinds import Coupling
from models.values.limits import LimitSet, LimitsGiven

_MOST_ROWS = 6
_COUPLINGS = {"short flexible": Coupling.SHORT, "short": Coupling.SHORT, "spacer": Coupling.SPACER}
_YES = {"true": True, "yes": True, "false": False, "no": False}
_UNITS = {"mm": "mm", "mil": "mil"}
_DEGREES = {"c": "°C", "°c": "°C", "f": "°F", "°f": "°F"}
_LIMIT_KEYS = (
    ("offset", Quantity.OFFSET),
    ("angle", Quantity.ANGULARITY),
    ("flex_angle", Quantity.ANGULARITY),
    ("soft_foot", Quantity.OFFSET),
)


@dataclass(frozen=True, slots=True)
class WorkFile:
    """What such a file holds, in stored units; the sources say where target and limits come from."""

    name: str
    title: str
    display: Display
    draft: Draft
    asset: Asset
    target: Misalignment
    target_source: str
    limits: LimitsGiven
    limits_source: str


def read_work_file(path: Path, starter: LimitSet) -> WorkFile:
    """Read a file of readings.

    Parameters
    ----------
    path : pathlib.Path
        The file. [unitless]
    starter : LimitSet
        Limits where the file gives none. [unitless]

    Returns
    -------
    WorkFile
        What it holds.

    Raises
    ------
    UnreadableFileError
        If it cannot be read; every problem is told with its key.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else "it is not text in UTF-8"
        raise UnreadableFileError(
            f"{path} cannot be read: {reason}.", remedy="See: driftbook work --example"
        ) from fault
    return parse_work(text, path.name, starter)


def parse_work(text: str, name: str, starter: LimitSet) -> WorkFile:
    """Read the text of such a file.

    Parameters
    ----------
    text : str
        TOML. [as typed]
    name : str
        Name of the file, for messages. [unitless]
    starter : LimitSet
        Limits where the file gives none. [unitless]

    Returns
    -------
    WorkFile
        What it holds.

    Raises
    ------
    UnreadableFileError
        If it cannot be read; every problem is told with its key.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise UnreadableFileError(
            f"{name} is not TOML: {fault}.",
            remedy='A text such as 2.5 mil or 0,06 stands in quotes: top = "2.5 mil". See: driftbook work --example',
        ) from fault
    flat, odd = {}, []
    for key, value in _flat(data, ""):
        if isinstance(value, str | bool | int | float):
            flat[key] = str(value).lower() if isinstance(value, bool) else str(value)
        else:
            odd.append(TypedProblem(key, str(value), "a number or a text"))
    reader = _Reader(TypedForm(flat, _display(flat, odd)), odd)
    read = reader.read(name, starter)
    if reader.problems:
        told = "\n".join(f"  {shown_key(p.field)}: {p.text}" for p in reader.problems)
        raise UnreadableFileError(f"{name} cannot be worked out:\n{told}", remedy="See: driftbook work --example")
    assert read is not None  # noqa: S101 - only a problem keeps it from being read
    return read


def shown_key(field: str) -> str:
    """Give the name of a field as its key stands in the file: ``dial.1.top`` is ``dial[1].top``."""
    return re.sub(r"\.(\d+)(?=\.|$)", r"[\1]", field)


def _flat(value: object, name: str) -> Iterator[tuple[str, object]]:
    """Give every value with its dotted name; lists count from 1, as people do."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(inner, f"{name}.{key}" if name else key)
    elif isinstance(value, list):
        for number, inner in enumerate(value, start=1):
            yield from _flat(inner, f"{name}.{number}")
    else:
        yield name, value


def _display(flat: Mapping[str, str], problems: list[TypedProblem]) -> Display:
    chosen = []
    for key, words, usual in (("units", _UNITS, "mm"), ("temperature", _DEGREES, "°C")):
        text = flat.get(key, usual).strip()
        if text.lower() not in words:
            listed = ", ".join(f"'{word}'" for word in dict.fromkeys(words.values()))
            problems.append(TypedProblem(key, text, f"one of {listed}"))
        chosen.append(words.get(text.lower(), usual))
    return Display(chosen[0], chosen[1])


class _Reader:
    """Reads one file; goes on after a problem, so that all of them are told at once."""

    def __init__(self, form: TypedForm, problems: list[TypedProblem]) -> None:
        self.form = form
        self.problems = problems

    def read(self, name: str, starter: LimitSet) -> WorkFile | None:
        form = self.form
        form.asked |= {"units", "temperature"}
        title = form.text("title")
        asset = self._asset()
        draft = read_draft(form)
        target, target_source = self._target()
        limits, limits_source = self._limits(asset, starter)
        self.problems += form.problems
        for key in form.unknown():
            self.problems.append(
                TypedProblem(key, form.given[key], "", told="There is no such key here. Is it spelled right?")
            )
        if self.problems or asset is None:
            return None
        return WorkFile(name, title, form.display, draft, asset, target, target_source, limits, limits_source)

    def _asset(self) -> Asset | None:
        form = self.form
        coupling = form.word("machine.coupling", _COUPLINGS)
        span = form.number("machine.span", Quantity.DISTANCE)
        try:
            return Asset(
                tag=form.text("machine.tag") or "the machine",
                coupling=coupling or (Coupling.SPACER if span else Coupling.SHORT),
                span_mm=span,
                speed_rpm=form.number("machine.speed", Quantity.SPEED),
                speed_max_rpm=form.number("machine.highest_speed", Quantity.SPEED),
            )
        except InvalidValueError as fault:
            self.problems.append(TypedProblem("machine", "", "", told=fault.message))
            return None

    def _limits(self, asset: Asset | None, starter: LimitSet) -> tuple[LimitsGiven, str]:
        form = self.form
        given = [form.number(f"limits.{key}", quantity) for key, quantity in _LIMIT_KEYS]
        each = form.word("limits.each_axis", _YES) or False
        source = form.text("limits.source")
        for (key, _), value in zip(_LIMIT_KEYS, given, strict=True):
            if value is not None and value <= 0:
                self.problems.append(TypedProblem(f"limits.{key}", form.given[f"limits.{key}"], "a limit above 0"))
        if given[2] is not None and (given[0] is not None or given[1] is not None):
            self.problems.append(
                TypedProblem(
                    "limits.flex_angle",
                    "",
                    "",
                    told="A coupling is judged at its flex planes or at its centre (offset, angle), not at both.",
                )
            )
        if all(value is None for value in given[:3]):
            if asset is None:
                return LimitsGiven(), ""
            ruled = limits_for(starter, asset.coupling, asset.limit_speed_rpm)
            soft = given[3] if given[3] is not None else ruled.soft_foot_mm
            return LimitsGiven(ruled.offset_mm, ruled.angle_mm_m, ruled.flex_mm_m, soft, ruled.each_axis), _told(
                starter
            )
        if not source:
            self.problems.append(TypedProblem("limits.source", "", "where these limits come from"))
        return LimitsGiven(given[0], given[1], given[2], given[3], each), source

    def _target(self) -> tuple[Misalignment, str]:
        form = self.form
        given = read_misalignment(form, "target")
        source = form.text("target.source")
        if not form.has("growth."):
            return given or Misalignment(), source
        if given is not None:
            self.problems.append(
                TypedProblem("growth", "", "", told="Give a target, or the growth that it follows from, not both.")
            )
        known = len(self.problems)
        rows = {side: self._growing(side) for side in ("movable", "stationary")}
        if len(self.problems) > known:
            return Misalignment(), ""
        try:
            return target_from_growth(
                rows["movable"], rows["stationary"]
            ), "from the growth that is given; an estimate, to be checked hot"
        except InvalidValueError as fault:
            self.problems.append(TypedProblem("growth", "", "", told=fault.message))
            return Misalignment(), ""

    def _growing(self, side: str) -> list[RowGrowth]:
        rows = []
        for number in range(1, _MOST_ROWS + 1):
            name = f"growth.{side}.{number}"
            if not self.form.has(f"{name}."):
                continue
            at = self.form.number(f"{name}.at", Quantity.DISTANCE)
            if not self.form.text(f"{name}.at"):
                self.problems.append(
                    TypedProblem(f"{name}.at", "", "how far this row of feet lies from the coupling centre")
                )
            up, right = (self.form.number(f"{name}.{key}", Quantity.OFFSET) for key in ("up", "right"))
            computed = self._grown(name)
            if up is None and computed is None:
                self.problems.append(TypedProblem(name, "", "'up', or a material (or alpha) with height, cold and hot"))
            sign = -1.0 if side == "stationary" else 1.0
            rows.append(RowGrowth(sign * abs(at or 0.0), up if up is not None else computed or 0.0, right or 0.0))
        return rows

    def _grown(self, name: str) -> float | None:
        form = self.form
        alpha = form.plain(f"{name}.alpha", "a coefficient of expansion per °C")
        per_f = form.plain(f"{name}.alpha_per_f", "a coefficient of expansion per °F")
        material = form.word(f"{name}.material", {m.name.lower(): m.alpha_per_k for m in MATERIALS})
        form.text(f"{name}.source")
        height = form.number(f"{name}.height", Quantity.DISTANCE)
        cold, hot = (form.number(f"{name}.{key}", Quantity.TEMPERATURE) for key in ("cold", "hot"))
        given = [x for x in (alpha, None if per_f is None else per_f * PER_K_OF_PER_F, material) if x is not None]
        if not given or height is None or cold is None or hot is None:
            return None
        if len(given) > 1:
            self.problems.append(TypedProblem(name, "", "", told="Give one of material, alpha and alpha_per_f."))
        try:
            return growth(given[0], height, hot - cold)
        except InvalidValueError as fault:
            self.problems.append(TypedProblem(name, "", "", told=fault.message))
            return None


def _told(starter: LimitSet) -> str:
    return f"{starter.name}, version {starter.version}. {starter.note or starter.source}"
