"""From a draft to everything that is said about it: misalignment, verdict, checks, and what each foot needs.

One function for the page on which a job is typed and for the command that
checks a paper sheet.  It never raises for what a person typed: what is missing
or cannot be is said in words, and everything else is worked out all the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.errors import InvalidValueError
from models.maths.conformance import Conformance, conformance
from models.maths.dials import (
    Carrier,
    FaceDial,
    HubSide,
    Measured,
    RimDial,
    cancel_float,
    rim_and_face,
    two_faces,
    two_rims,
)  # fmt: skip
from models.maths.geometry import deviation, spacer_angles, without_noise
from models.maths.limits import limit_ratio
from models.maths.moves import FootRow, MachineMoves, MovePlan, Moving, plan_moves
from models.maths.plausible import (
    Check,
    Doubt,
    Gravity,
    check_dial,
    check_dimensions,
    check_planes,
    check_rises,
    check_rows,
    check_span,
)
from models.maths.readings import SeenFrom, SineFit, Sweep
from models.maths.sag import NO_SAG, Sag, SagMeaning
from models.maths.slips import check_size, judged_of, limit_scale
from models.maths.soft_foot import SoftFoot, assess
from models.maths.uncertainty import InputUncertainty, feet_uncertainty
from models.sentences.told import Told
from models.units import Display
from models.values.asset import Asset
from models.values.draft import DialDraft, Draft, RowDraft, Way
from models.values.job import COMPONENTS, Misalignment
from models.values.kinds import Coupling
from models.values.limits import LimitsGiven

FloatArray = NDArray[np.float64]

TRUSTED_DF: Final = 3
"""With fewer residuals the noise that they tell is too uncertain for a probability (this project's own bound)."""

_SECOND: Final = {(True, True): "", (True, False): "angularity", (False, True): "offset"}


@dataclass(frozen=True, slots=True)
class FootNeed:
    """What one row of feet needs: ``shim_mm`` + in, − out; ``side_mm`` + to the right.

    ``shim_se_mm`` and ``side_se_mm`` are standard errors, ``None`` where they
    are not known.  A held row went as far as it can.
    """

    machine: Moving
    row: int
    x_mm: float
    shim_mm: float
    side_mm: float
    shim_se_mm: float | None
    side_se_mm: float | None
    held_v: bool
    held_h: bool


@dataclass(frozen=True, slots=True)
class Worked:
    """Everything that a draft says.

    ``misalignment`` and all that follows from it is ``None`` where ``reason``
    says what is missing.  ``standard_errors`` have the order of the four
    components.  ``flex_angles`` are those of the deviation: α V, β V, α H, β H.
    ``ratio`` is ``None`` where nothing is judged.  ``needs`` is empty where
    ``needs_reason`` says why; ``remains`` is the deviation after the moves, with its ratio.  ``second`` is what the moves put
    second, offset or angularity, because it has no limit; empty where both count.
    """

    misalignment: Misalignment | None
    covariance: FloatArray | None
    standard_errors: tuple[float, float, float, float] | None
    uncertainty_reason: str
    deviation: Misalignment | None
    target: Misalignment
    limits: LimitsGiven
    ratio: float | None
    flex_angles: tuple[float, float, float, float] | None
    conformance: Conformance | None
    needs: tuple[FootNeed, ...]
    remains: Misalignment | None
    remains_ratio: float | None
    complete: bool
    needs_reason: str
    soft_foot: SoftFoot | None
    soft_foot_reason: str
    fits: tuple[SineFit | None, ...]
    checks: tuple[Check, ...]
    reason: str = ""
    second: str = ""


class _IncompleteError(Exception):
    """Something is not there yet; ``told`` says what."""

    def __init__(self, told: Told) -> None:
        super().__init__(told)
        self.told = told


def work_out(
    draft: Draft, asset: Asset, limits: LimitsGiven, target: Misalignment, display: Display, *, probability: bool = True
) -> Worked:
    """Work out everything that a draft says.

    Parameters
    ----------
    draft : Draft
        What was typed; may be incomplete. [as stored]
    asset : Asset
        The machine as it is described that day. [as stored]
    limits : LimitsGiven
        Limits in force. [mm, mm/m]
    target : Misalignment
        What is wanted while the machines are cold. [mm, mm/m]
    display : Display
        Units for the sentences. [unitless]
    probability : bool
        Work out the conformance probability as well, which takes most of the time. [unitless]

    Returns
    -------
    Worked
        Misalignment, verdict, checks, moves and soft foot, each with the reason where there is none; ``conformance`` is ``None`` where it was
        not asked for.

    Notes
    -----
    The limit ratio is that of :func:`models.maths.limits.limit_ratio`, by which the book judges, and with the span by
    which it judges: the described one.  A span that was typed turns readings into offsets only; a conformance
    probability is only given where the noise of a reading was stated or the residuals of each sweep tell it.
    """
    checks: list[Check] = []
    measured, reason, impossible = _measure(draft, asset)
    fits = measured.fits if measured is not None else ()
    for place, dial in enumerate(draft.dials):
        checks += check_dial(f"dial.{place + 1}", dial, display, fits[place] if place < len(fits) else None)
    checks += check_dimensions(draft)
    checks += check_span(draft, asset, display)
    checks += check_planes(draft, display)
    if impossible and not any(check.gravity is Gravity.STOP for check in checks):
        checks.append(Check(Doubt.DISTANCE, Gravity.STOP, reason))
    movable, stationary = draft.rows(asset)
    checks += check_rows(movable, "movable", display)
    checks += check_rows(stationary, "stationary", display)
    checks += check_rises(draft.soft_foot_mm, "soft_foot", display)
    soft, soft_reason = _soft_foot(draft, limits)
    if measured is None:
        return Worked(
            None, None, None, "", None, target, limits, None, None, None, (), None, None, False, "", soft, soft_reason,
            (), tuple(checks), reason,
        )  # fmt: skip
    m = without_noise(measured.misalignment)
    checks += check_size(m, "results", display)
    off = deviation(m, target)
    span = asset.span_mm  # not the one that was typed, which the measurement takes: the book judges by the description
    covariance, doubt = _trusted(measured)
    judged = conformance(off, covariance, limits, asset.coupling, span) if probability else None
    if judged is not None and doubt and judged.reason and _ratio(off, limits, asset.coupling, span) is not None:
        judged = replace(judged, reason=doubt)  # the nearer reason: which noise is not known
    plan, needs_reason = _plan(draft, off, movable, stationary, asset, limits)
    return Worked(
        misalignment=m,
        covariance=covariance,
        standard_errors=measured.standard_errors() if covariance is not None else None,
        uncertainty_reason=doubt,
        deviation=off,
        target=target,
        limits=limits,
        ratio=_ratio(off, limits, asset.coupling, span),
        flex_angles=spacer_angles(off, span) if asset.coupling is Coupling.SPACER and span else None,
        conformance=judged,
        needs=_needs(plan, off, covariance, draft.distance_sd_mm) if plan is not None else (),
        remains=plan.remains if plan is not None else None,
        remains_ratio=_ratio(plan.remains, limits, asset.coupling, span) if plan is not None else None,
        complete=plan is not None and plan.complete,
        needs_reason=needs_reason,
        soft_foot=soft,
        soft_foot_reason=soft_reason,
        fits=fits,
        checks=tuple(checks),
        second=_SECOND[judged_of(limits, asset.coupling, span)],
    )


# -- measurement -------------------------------------------------------------------------------------------------


def _measure(draft: Draft, asset: Asset) -> tuple[Measured | None, str, bool]:
    """Give the measurement, or why there is none, and whether that is because something cannot be."""
    try:
        return (_from_results(draft) if draft.way is Way.RESULTS else _from_dials(draft, asset)), "", False
    except _IncompleteError as gap:
        return None, gap.told, False
    except InvalidValueError as fault:
        return None, fault.message, True


def _from_results(draft: Draft) -> Measured:
    numbers = draft.results
    if any(x is None for x in numbers):
        missing = tuple(Told(f"told.word.{name}") for name, x in zip(COMPONENTS, numbers, strict=True) if x is None)
        raise _IncompleteError(Told("told.missing.parts", parts=missing))
    sds = draft.results_sd
    known = all(sd is not None for sd in sds)
    covariance = np.diag([(sd or 0.0) ** 2 for sd in sds]) if known else None
    reason = "" if known else Told("told.unsure.results")
    return Measured(Misalignment(*(x or 0.0 for x in numbers)), covariance, (), (), reason)


def _from_dials(draft: Draft, asset: Asset) -> Measured:
    if len(draft.dials) != 2:
        raise _IncompleteError(Told("told.missing.dials", n=len(draft.dials)))
    first, second = draft.dials
    inputs = InputUncertainty(_noise(draft), draft.distance_sd_mm, draft.diameter_sd_mm)
    if draft.way is Way.FACE_FACE:
        span = _span(draft, asset)
        if span is None:
            raise _IncompleteError(Told("told.missing.span"))
        return two_faces(_face(draft, 0), _face(draft, 1), span, inputs)
    if draft.way is Way.AROUND:
        for number, dial in enumerate(draft.dials, start=1):
            if dial.plane_mm is not None and dial.diameter_mm is not None:
                # A rim dial has the one, a face dial the other: which it is cannot be guessed, and the result hangs on it.
                raise _IncompleteError(Told("told.missing.which", n=number))
    if draft.way is Way.RIM_FACE or (draft.way is Way.AROUND and second.diameter_mm is not None):
        return rim_and_face(_rim(draft, 0), _face(draft, 1), inputs)
    if draft.way is Way.AROUND and first.diameter_mm is not None:
        return rim_and_face(_rim(draft, 1), _face(draft, 0), inputs)
    return two_rims(_rim(draft, 0), _rim(draft, 1), inputs)


def _noise(draft: Draft) -> float | None:
    """Give the noise of what is fitted: half the difference of two dials has 1/√2 of that of one."""
    paired = bool(draft.dials) and all(any(x is not None for x in dial.opposite_mm) for dial in draft.dials)
    sd = draft.reading_sd_mm
    return sd / math.sqrt(2.0) if sd is not None and paired else sd


def _span(draft: Draft, asset: Asset) -> float | None:
    """Give the span between two faces that were read: the typed one, else the described one. [mm]."""
    return draft.span_mm if draft.span_mm is not None and draft.span_mm > 0 else asset.span_mm


def _rim(draft: Draft, place: int) -> RimDial:
    dial = draft.dials[place]
    if dial.plane_mm is None:
        raise _IncompleteError(Told("told.missing.plane", n=place + 1))
    return RimDial(_sweep(draft, place), dial.plane_mm, Carrier(dial.carried_by), _sag(dial))


def _face(draft: Draft, place: int) -> FaceDial:
    dial = draft.dials[place]
    if dial.diameter_mm is None:
        raise _IncompleteError(Told("told.missing.diameter", n=place + 1))
    sweep = _sweep(draft, place)
    if any(reading is not None for reading in dial.opposite_mm):
        triples = zip(dial.angles_deg, dial.readings_mm, dial.opposite_mm, strict=False)
        kept = [(a, o) for a, r, o in triples if a is not None and r is not None and o is not None]
        if len(kept) != len(dial.taken):
            raise _IncompleteError(Told("told.missing.opposite", n=place + 1))
        second = Sweep(tuple((a + 180.0) % 360.0 for a, _ in kept), tuple(o for _, o in kept), sweep.seen_from)
        sweep = cancel_float(sweep, second)
    return FaceDial(sweep, dial.diameter_mm, HubSide(dial.side), _sag(dial))


def _sag(dial: DialDraft) -> Sag:
    if dial.sag_mm is None:
        return NO_SAG
    return Sag(dial.sag_mm, SagMeaning(dial.sag_stands), dial.sag_sd_mm)


def _sweep(draft: Draft, place: int) -> Sweep:
    dial = draft.dials[place]
    if len(dial.taken) < 3:
        raise _IncompleteError(Told("told.missing.readings", n=place + 1, count=len(dial.taken)))
    angles, readings = zip(*dial.taken, strict=True)
    # The return is checked by itself: that check knows which field it stands in.
    return Sweep(angles, readings, SeenFrom(draft.seen_from))


# -- judgement and moves -----------------------------------------------------------------------------------------


def _trusted(measured: Measured) -> tuple[FloatArray | None, str]:
    if measured.covariance is None:
        return None, measured.reason
    if all(fit.noise_was_given or fit.df >= TRUSTED_DF for fit in measured.fits):
        return measured.covariance, ""
    return None, Told("told.unsure.noise")


def _ratio(off: Misalignment, limits: LimitsGiven, coupling: Coupling, span: float | None) -> float | None:
    bounds = np.array([(limits.offset_mm, limits.angle_mm_m, limits.flex_mm_m, limits.soft_foot_mm)], dtype=np.float64)
    spans = np.array([span if coupling is Coupling.SPACER else None], dtype=np.float64)
    value = float(limit_ratio(np.array([off.as_tuple()]), bounds, np.array([limits.each_axis]), spans)[0])
    return None if math.isnan(value) else value


def _soft_foot(draft: Draft, limits: LimitsGiven) -> tuple[SoftFoot | None, str]:
    rises = draft.soft_foot_mm + (None,) * (len(draft.soft_foot_mm) % 2)
    if all(rise is None for rise in rises):
        return None, ""
    if limits.soft_foot_mm is None:
        return None, Told("told.soft.no_limit")
    soft = assess(rises, limits.soft_foot_mm)
    return soft, soft.reason


def _plan(
    draft: Draft,
    off: Misalignment,
    movable: tuple[RowDraft, ...],
    stationary: tuple[RowDraft, ...],
    asset: Asset,
    limits: LimitsGiven,
) -> tuple[MovePlan | None, str]:
    moving = Moving(draft.moves)
    used = {
        "movable": movable if moving is not Moving.STATIONARY else (),
        "stationary": stationary if moving is not Moving.MOVABLE else (),
    }
    for side, rows in used.items():
        wanted = moving is Moving.BOTH or (moving is Moving.MOVABLE) == (side == "movable")
        if wanted and sum(row.x_mm is not None for row in rows) < 2:
            return None, Told(f"told.needs.rows.{side}")
    try:
        plan = plan_moves(
            off,
            movable=_foot_rows(used["movable"]),
            stationary=_foot_rows(used["stationary"]),
            moving=moving,
            scale=limit_scale(limits, asset.coupling, asset.span_mm),
            each_axis=limits.each_axis,
            at_flex_planes=asset.coupling is Coupling.SPACER and limits.flex_mm_m is not None and bool(asset.span_mm),
            judged=judged_of(limits, asset.coupling, asset.span_mm),
        )
    except InvalidValueError as fault:
        return None, fault.message
    return plan, ""


def _foot_rows(rows: tuple[RowDraft, ...]) -> list[FootRow]:
    def room(value: float | None) -> float:
        return math.inf if value is None else value

    return [
        FootRow(row.x_mm, room(row.shim_out_mm), room(row.shim_in_mm), room(row.left_mm), room(row.right_mm))
        for row in rows
        if row.x_mm is not None
    ]


def _needs(
    plan: MovePlan, off: Misalignment, covariance: FloatArray | None, distance_sd_mm: float
) -> tuple[FootNeed, ...]:
    needs: list[FootNeed] = []
    for machine, moves in ((Moving.MOVABLE, plan.movable), (Moving.STATIONARY, plan.stationary)):
        if moves is None:
            continue
        # Where both machines move, or a row is held, a move is no longer the centreline at its feet.
        free = plan.moving is not Moving.BOTH and not any(moves.held_v) and not any(moves.held_h)
        spread = (
            feet_uncertainty(np.array(off.as_tuple()), covariance, np.array(moves.x_mm), distance_sd_mm)
            if covariance is not None and free
            else None
        )
        needs += [_need(machine, moves, row, spread) for row in range(len(moves.x_mm))]
    return tuple(needs)


def _need(machine: Moving, moves: MachineMoves, row: int, spread: FloatArray | None) -> FootNeed:
    return FootNeed(
        machine, row + 1, moves.x_mm[row], moves.shims_mm[row], moves.side_mm[row],
        None if spread is None else float(spread[row, 0]), None if spread is None else float(spread[row, 1]),
        moves.held_v[row], moves.held_h[row],
    )  # fmt: skip
