"""The subcommand work: readings in, a table of results out; no book is needed."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from rich.markup import escape
from rich.table import Table as Grid

from dashboard.console.book import starter_limits
from dashboard.console.common import out
from dashboard.console.endings import DONE, NOT_GOOD
from dashboard.console.work_examples import EXAMPLES
from models.errors import DriftbookError
from models.intake.work_file import WorkFile, read_work_file, shown_key
from models.maths.moves import leaves_some
from models.maths.plausible import Gravity
from models.maths.working import FootNeed, Worked, work_out
from models.units import Display, Quantity
from models.values.job import COMPONENTS, Misalignment
from models.values.kinds import Coupling

_NAMES = ("vertical offset", "vertical angularity", "horizontal offset", "horizontal angularity")
_FLEX = (
    "angle at the stationary end, V",
    "angle at the movable end, V",
    "angle at the stationary end, H",
    "angle at the movable end, H",
)
_NO_LIMIT = {
    False: "Not judged: there is no limit without the running speed, or give limits in the file.",
    True: "Not judged: a limit of the flex angle judges a spacer coupling, by the span between its flex planes. "
    'Give it under [machine]: coupling = "spacer" and span; or give offset and angle as limits.',
}
_CAUTION = (
    "Before you touch a machine: isolate it, lock out and tag, and check that it cannot turn. Put the guards back on.\n"
    "The maker's limits and local codes come first. A suggestion is not a diagnosis."
)


def run_work(given: argparse.Namespace) -> int:
    """Work out a file of readings, or print an example of one.

    Good unless something in the file cannot be: a machine that is over limit is no fault of the file.
    """
    if given.example is not None:
        print(EXAMPLES[given.example], end="")  # noqa: T201 - must come out as it is, to be kept in a file
        return DONE
    if given.file is None:
        raise DriftbookError(
            "There is no file to work out.",
            remedy="Give one, or see an example: driftbook work --example reverse-indicator",
        )
    file = read_work_file(Path(given.file), starter_limits("driftbook"))
    worked = work_out(file.draft, file.asset, file.limits, file.target, file.display)
    if given.json:
        print(json.dumps(as_data(file, worked), indent=2, ensure_ascii=False, allow_nan=False))  # noqa: T201
    else:
        show(file, worked)
    stopped = any(check.gravity is Gravity.STOP for check in worked.checks)
    return NOT_GOOD if stopped or worked.misalignment is None else DONE


# -- for people ----------------------------------------------------------------------------------------------------


def show(file: WorkFile, worked: Worked) -> None:
    """Print what was worked out, in the units of the file."""
    display = file.display
    out.print(
        f"{file.title or file.name}: {file.asset.tag}, {_machine(file)}, by {file.draft.way}",
        markup=False,
        soft_wrap=True,
    )
    if worked.misalignment is None:
        out.print(f"No result. {worked.reason}", markup=False, soft_wrap=True)
    else:
        out.print(_results(worked, display))
        _say_target(file)
        _say_verdict(file, worked)
        _say_needs(worked, display)
    _say_soft_foot(worked, display)
    for check in worked.checks:
        place = f" ({shown_key(check.field)})" if check.field else ""
        out.print(f"  {check.gravity}: {check.sentence}{place}", markup=False, soft_wrap=True)
    out.print(_CAUTION, style="dim", soft_wrap=True)


def _machine(file: WorkFile) -> str:
    asset, display = file.asset, file.display
    coupling = f"{asset.coupling} coupling"
    if asset.coupling is Coupling.SPACER:
        coupling += f" of {display.text(asset.span_mm, Quantity.DISTANCE)}"
    speed = "speed not given" if asset.limit_speed_rpm is None else display.text(asset.limit_speed_rpm, Quantity.SPEED)
    return f"{coupling}, {speed}"


def _quantity(place: int) -> Quantity:
    return Quantity.ANGULARITY if place % 2 else Quantity.OFFSET


def _results(worked: Worked, display: Display) -> Grid:
    grid = Grid(show_edge=False, pad_edge=False)
    grid.add_column("", no_wrap=True)
    for heading in ("measured", "standard error", "target", "deviation"):
        grid.add_column(heading, justify="right")
    assert worked.misalignment is not None  # noqa: S101 - the caller has looked
    assert worked.deviation is not None  # noqa: S101
    parts = zip(
        worked.misalignment.as_tuple(), worked.standard_errors or (None,) * 4, worked.target.as_tuple(),
        worked.deviation.as_tuple(), strict=True,
    )  # fmt: skip
    for place, (measured, error, target, off) in enumerate(parts):
        q = _quantity(place)
        shown = [display.text(x, q, signed=True, with_unit=False) for x in (measured, target, off)]
        name = f"{_NAMES[place]} [{display.unit(q)}]"
        grid.add_row(escape(name), shown[0], display.text(error, q, with_unit=False), shown[1], shown[2])
    if worked.flex_angles is not None:
        unit = display.unit(Quantity.ANGULARITY)
        for name, angle in zip(_FLEX, worked.flex_angles, strict=True):
            text = display.text(angle, Quantity.ANGULARITY, signed=True, with_unit=False)
            grid.add_row(escape(f"{name} [{unit}]"), "", "", "", text)
    return grid


def _say_target(file: WorkFile) -> None:
    if any(file.target.as_tuple()):
        out.print(f"Target: {file.target_source or 'no source given'}.", markup=False, soft_wrap=True)


def _say_verdict(file: WorkFile, worked: Worked) -> None:
    limits, display = worked.limits, file.display
    told = [
        f"{name} {display.text(value, quantity)}"
        for name, value, quantity in (
            ("offset", limits.offset_mm, Quantity.OFFSET),
            ("angularity", limits.angle_mm_m, Quantity.ANGULARITY),
            ("each flex plane", limits.flex_mm_m, Quantity.ANGULARITY),
        )
        if value is not None
    ]
    if worked.ratio is None:
        out.print(_NO_LIMIT[limits.flex_mm_m is not None], markup=False, soft_wrap=True)
        return
    how = "vertical and horizontal each by itself" if limits.each_axis else "vertical and horizontal together"
    word = "over" if worked.ratio > 1 else "within"
    out.print(f"{word}: {ratio_text(worked.ratio)} × the limit", style="bold", markup=False)
    out.print(f"Limits: {', '.join(told)}; {how}. Source: {file.limits_source}", markup=False, soft_wrap=True)
    judged = worked.conformance
    if judged is not None and judged.probability is not None:
        out.print(f"Probability that it is within: {_percent(judged.probability)}", markup=False)
    elif judged is not None:
        out.print(f"The probability that it is within is not known: {judged.reason}", markup=False, soft_wrap=True)


def _percent(share: float) -> str:
    """Write a probability; never as 0 or 100 %, which it is not."""
    if share < 0.001:
        return "below 0.1 %"
    return "above 99.9 %" if share > 0.999 else f"{share * 100:.1f} %"


def ratio_text(ratio: float) -> str:
    """Write a limit ratio with as many decimals as it takes to show on which side of 1 it lies."""
    for places in (2, 3, 4):
        text = f"{ratio:.{places}f}"
        if (float(text) > 1) == (ratio > 1):
            return text
    return f"{ratio:.6f}"


def _say_needs(worked: Worked, display: Display) -> None:
    if not worked.needs:
        out.print(f"What each foot needs: not known. {worked.needs_reason}", markup=False, soft_wrap=True)
        return
    grid = Grid(title="What each foot needs", title_justify="left", title_style="", show_edge=False, pad_edge=False)
    headings = (
        "machine",
        "row",
        f"at [{display.unit(Quantity.DISTANCE)}]",
        f"shim [{display.length}]",
        "±",
        f"side [{display.length}]",
        "±",
    )
    for place, heading in enumerate(headings):
        grid.add_column(escape(heading), justify="left" if place in {0, 3, 5} else "right", no_wrap=True)
    for need in worked.needs:
        errors = [display.text(x, Quantity.OFFSET, with_unit=False) for x in (need.shim_se_mm, need.side_se_mm)]
        grid.add_row(
            str(need.machine).removesuffix(" machine"),
            str(need.row),
            display.text(need.x_mm, Quantity.DISTANCE, with_unit=False),
            _moved(
                need.shim_mm,
                "put in",
                "take out",
                display,
                held=need.held_v and leaves_some(worked.remains, vertical=True),
            ),
            errors[0],
            _moved(
                need.side_mm, "right", "left", display, held=need.held_h and leaves_some(worked.remains, vertical=False)
            ),
            errors[1],
        )
    out.print(grid)
    out.print(
        "Right and left as seen from the movable machine towards the stationary one; ± is a standard error.",
        soft_wrap=True,
    )
    if not worked.complete and worked.remains is not None:
        left = ", ".join(
            f"{name} {display.text(x, _quantity(place), signed=True)}"
            for place, (name, x) in enumerate(zip(_NAMES, worked.remains.as_tuple(), strict=True))
        )
        judged = ""
        if worked.remains_ratio is not None:
            word = "over" if worked.remains_ratio > 1 else "within"
            judged = f" That is {word}: {ratio_text(worked.remains_ratio)} × the limit, the smallest that they allow."
            if worked.second:
                judged += f" There is no limit for the {worked.second}, so it comes second and may stay large: the coupling maker's limits come first."
        out.print(f"The feet do not go further; what remains: {left}.{judged}", markup=False, soft_wrap=True)


def _moved(value: float, ahead: str, back: str, display: Display, *, held: bool) -> str:
    size = display.text(abs(value), Quantity.OFFSET, with_unit=False)
    if not float(size):
        return "stays, its end" if held else "nothing"
    text = f"{ahead if value > 0 else back} {size}"
    return f"{text}, its end" if held else text


def _say_soft_foot(worked: Worked, display: Display) -> None:
    soft = worked.soft_foot
    if soft is None or soft.reason:
        reason = worked.soft_foot_reason
        if reason:
            out.print(f"Soft foot: {reason}", markup=False, soft_wrap=True)
        return
    out.print(
        f"Soft foot: {soft.pattern}; feet may differ by {display.text(soft.limit_mm, Quantity.OFFSET)}.", markup=False
    )
    for place, (rise, high, shim) in enumerate(zip(soft.rises_mm, soft.high, soft.shims_mm, strict=True)):
        if high:
            name = f"{place // 2 + 1}{'LR'[place % 2]}"
            asked = f"; shim {display.text(shim, Quantity.OFFSET)}" if shim else ""
            out.print(f"  foot {name} rises {display.text(rise, Quantity.OFFSET)}{asked}", markup=False)
    if soft.suggests:
        out.print(f"  This {soft.suggests} {soft.check_next}", markup=False, soft_wrap=True)


# -- for programs --------------------------------------------------------------------------------------------------


def as_data(file: WorkFile, worked: Worked) -> dict[str, Any]:
    """Give everything as plain data, in mm, mm/m and °; the unit stands in each name."""
    limits, judged = worked.limits, worked.conformance
    return {
        "file": file.name,
        "machine": file.asset.tag,
        "method": str(file.draft.way),
        "result": _four(worked.misalignment),
        "standard_error": _numbers(worked.standard_errors),
        "target": _four(worked.target),
        "target_source": file.target_source,
        "deviation": _four(worked.deviation),
        "flex_angles": None
        if worked.flex_angles is None
        else dict(
            zip(
                ("stationary_v_mm_m", "movable_v_mm_m", "stationary_h_mm_m", "movable_h_mm_m"),
                worked.flex_angles,
                strict=True,
            )
        ),
        "limits": {
            "offset_mm": limits.offset_mm,
            "angle_mm_m": limits.angle_mm_m,
            "flex_angle_mm_m": limits.flex_mm_m,
            "soft_foot_mm": limits.soft_foot_mm,
            "each_axis": limits.each_axis,
            "source": file.limits_source,
        },
        "limit_ratio": worked.ratio,
        "verdict": None if worked.ratio is None else "over" if worked.ratio > 1 else "within",
        "probability_within": None if judged is None else judged.probability,
        "probability_reason": "" if judged is None else judged.reason,
        "feet": [_need(need) for need in worked.needs],
        "feet_reason": worked.needs_reason,
        "remains": _four(worked.remains),
        "remains_limit_ratio": worked.remains_ratio,
        "soft_foot": _soft(worked),
        "checks": [
            {
                "about": str(check.doubt),
                "gravity": str(check.gravity),
                "sentence": check.sentence,
                "key": shown_key(check.field),
            }
            for check in worked.checks
        ],
        "reason": worked.reason,
    }


def _numbers(values: tuple[float, ...] | None) -> dict[str, float] | None:
    units = ("mm", "mm_m", "mm", "mm_m")
    if values is None:
        return None
    return {f"{name}_{unit}": value for name, unit, value in zip(COMPONENTS, units, values, strict=True)}


def _four(given: Misalignment | None) -> dict[str, float] | None:
    return None if given is None else _numbers(given.as_tuple())


def _need(need: FootNeed) -> dict[str, Any]:
    return {
        "machine": str(need.machine),
        "row": need.row,
        "at_mm": need.x_mm,
        "shim_mm": need.shim_mm,
        "side_mm": need.side_mm,
        "shim_standard_error_mm": need.shim_se_mm,
        "side_standard_error_mm": need.side_se_mm,
        "held_vertically": need.held_v,
        "held_sideways": need.held_h,
    }


def _soft(worked: Worked) -> dict[str, Any] | None:
    soft = worked.soft_foot
    if soft is None:
        return None
    return {
        "rises_mm": soft.rises_mm,
        "excess_mm": soft.excess_mm,
        "limit_mm": soft.limit_mm,
        "high": soft.high,
        "pattern": str(soft.pattern),
        "suggests": soft.suggests,
        "check_next": soft.check_next,
        "shims_mm": soft.shims_mm,
        "reason": soft.reason,
    }
