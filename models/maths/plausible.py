"""Checks of plausibility of what somebody typed, each a value with a plain sentence.

A check that *stops* is about something that cannot be.  One that needs a
*stated reason* is about something that is nearly always a slip, and that the
trade still records now and then: the reason goes into the book beside it.  A
*note* only tells.  Bounds without a source are this project's own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from models.maths.clock import check_return, check_sums
from models.maths.readings import FAIR_BELOW_DEG, POOR_BELOW_DEG, REFUSED_BELOW_DEG, Finding, SineFit, sweep_arc
from models.maths.sizes import RISE_IMPOSSIBLE_MM, RISE_ODD_MM, is_odd_rise
from models.sentences.told import Told
from models.units import Display, Quantity
from models.values.asset import Asset
from models.values.draft import DialDraft, Draft, RowDraft, Way
from models.values.kinds import Coupling


class Gravity(StrEnum):
    """What a check asks for."""

    STOP = "cannot be recorded"
    REASON = "needs a stated reason"
    NOTE = "note"


class Doubt(StrEnum):
    """What a check is about; the name under which a stated reason is kept."""

    NOT_CLOSED = "dial does not return"
    SUMS = "sums differ"
    SHORT_ARC = "short sweep"
    SPREAD = "readings poorly spread"
    OUTLIER = "one reading does not fit"
    SCATTER = "readings scatter"
    FEW = "few readings"
    FOOT_DISTANCE = "foot distance"
    DISTANCE = "distance"
    SPAN = "span is not the described one"
    HUB_SIDE = "dial beyond the coupling centre"
    UNIT = "wrong unit"
    SIZE = "size"
    FLIPPED = "signs swapped"
    DOUBLED = "doubled"
    LEFT_OVER = "as-left over limit"
    WORSE = "as-left worse than as-found"
    LOOSE = "bolts not tight"
    SOFT_FOOT = "soft foot left"
    RISE = "rise of a foot"
    CALIBRATION = "calibration overdue"
    NEW_INSTRUMENT = "instrument not known"
    ALIKE_INSTRUMENT = "instrument spelled otherwise"
    NEW_PERSON = "person not known"
    SEVERAL_PEOPLE = "several people in one name"
    MOVE = "size of a move"
    MOVED_NOTHING = "moves without a change"
    MOVED_AGAINST = "moves against the change"
    MISPLACED = "moves at other feet"
    TWISTED = "left and right moved apart"
    HOURS = "hours run backwards"
    TEMPERATURE = "temperature"
    EARLIER = "before the last job"
    SAME_TIME = "same time"
    SAME_VISIT = "same visit"
    MEANWHILE = "another job meanwhile"
    FUTURE = "in the future"
    NOT_JUDGED = "not judged"
    RETIRED = "out of service"

    @property
    def told(self) -> Told:
        """Give it as a reader calls it; the value is the name in the book and never changes."""
        return Told(f"told.doubt.{self.name.lower()}")


@dataclass(frozen=True, slots=True)
class Check:
    """Something that does not look right: what about, how grave, in a sentence, and in which field."""

    doubt: Doubt
    gravity: Gravity
    sentence: str
    field: str = ""


SPAN_SURE_MM: Final = 1.0
SPAN_SURE: Final = 0.01
"""A typed span that is no farther than this from the described one, in mm or as a share of it, is the same measured once more: a hundredth of the
span is a hundredth of the angle at the flex planes (this project's own bound)."""

_GRAVITY: Final[dict[Finding, tuple[Doubt, Gravity]]] = {
    Finding.SMALL_ARC: (Doubt.SHORT_ARC, Gravity.REASON),
    Finding.SHORT_ARC: (Doubt.SHORT_ARC, Gravity.NOTE),
    Finding.POORLY_SPREAD: (Doubt.SPREAD, Gravity.NOTE),
    Finding.OUTLIER: (Doubt.OUTLIER, Gravity.REASON),
    Finding.POOR_FIT: (Doubt.SCATTER, Gravity.REASON),
    Finding.FEW_FOR_NOISE: (Doubt.FEW, Gravity.NOTE),
}


def open_checks(checks: Iterable[Check], stated: Iterable[str] = ()) -> tuple[Check, ...]:
    """Give the checks that still keep a job out of the book.

    Parameters
    ----------
    checks : iterable of Check
        All checks. [unitless]
    stated : iterable of str
        Names of the doubts for which a reason was stated. [unitless]

    Returns
    -------
    tuple of Check
        Those that stop, and those that need a reason and have none.
    """
    answered = set(stated)
    return tuple(
        check
        for check in checks
        if check.gravity is Gravity.STOP or (check.gravity is Gravity.REASON and str(check.doubt) not in answered)
    )


def check_dial(name: str, dial: DialDraft, display: Display, fit: SineFit | None = None) -> tuple[Check, ...]:
    """Check the readings of one dial, as taken.

    Parameters
    ----------
    name : str
        Name of the dial in the form or file, e.g. ``"dial.1"``. [unitless]
    dial : DialDraft
        Its readings. [mm]
    display : Display
        Units for the sentences. [unitless]
    fit : SineFit or None
        The sine through the readings, where there are enough of them. [mm]

    Returns
    -------
    tuple of Check
        Return to the first reading, sums, arc, and how the readings fit.
    """
    return (*_return(name, dial, display), *_sums(name, dial, display), *_arc(name, dial), *_fitting(name, dial, fit))


def _return(name: str, dial: DialDraft, display: Display) -> list[Check]:
    first = dial.readings_mm[0] if dial.readings_mm else None
    if dial.returned_mm is None or first is None:
        return []
    back = check_return(first, dial.returned_mm)
    if back.agrees:
        return []
    away, accepted = (display.text(abs(x), Quantity.OFFSET) for x in (back.difference_mm, back.allowance_mm))
    sentence = Told("told.dial.returned", away=away, accepted=accepted)
    return [Check(Doubt.NOT_CLOSED, Gravity.REASON, sentence, f"{name}.returned")]


def _sums(name: str, dial: DialDraft, display: Display) -> list[Check]:
    if not dial.is_clock:
        return []
    by_clock = {angle % 360.0: reading for angle, reading in dial.taken}
    sums = check_sums(*(by_clock[angle] for angle in (0.0, 90.0, 180.0, 270.0)))
    if sums.agrees:
        return []
    both, sides, apart, accepted = (
        display.text(x, Quantity.OFFSET)
        for x in (sums.top_bottom_mm, sums.left_right_mm, abs(sums.difference_mm), sums.allowance_mm)
    )
    sentence = Told("told.dial.sums", both=both, sides=sides, apart=apart, accepted=accepted)
    return [Check(Doubt.SUMS, Gravity.REASON, sentence, name)]


def _arc(name: str, dial: DialDraft) -> list[Check]:
    angles = tuple(angle for angle, _ in dial.taken)
    arc = sweep_arc(angles)
    if len(angles) < 3 or arc >= FAIR_BELOW_DEG:
        return []
    if arc < REFUSED_BELOW_DEG:
        gravity, sentence = Gravity.STOP, Told("told.dial.arc.refused", arc=arc, least=REFUSED_BELOW_DEG)
    elif arc < POOR_BELOW_DEG:
        gravity, sentence = Gravity.REASON, Told("told.dial.arc.poor", arc=arc)
    else:
        gravity, sentence = Gravity.NOTE, Told("told.dial.arc.short", arc=arc)
    return [Check(Doubt.SHORT_ARC, gravity, sentence, name)]


def _fitting(name: str, dial: DialDraft, fit: SineFit | None) -> list[Check]:
    found = []
    for finding in fit.findings if fit is not None else ():
        doubt, gravity = _GRAVITY[finding]
        if doubt is Doubt.SHORT_ARC:
            continue  # said already, with the arc
        place = name
        if fit is not None and fit.outlier is not None and finding is Finding.OUTLIER:
            place = f"{name}.readings.{_filled(dial)[fit.outlier]}"
        found.append(Check(doubt, gravity, finding.told, place))
    return found


def _filled(dial: DialDraft) -> list[int]:
    """Give the numbers of the readings that are filled in: blanks take no part in the fit."""
    pairs = zip(dial.angles_deg, dial.readings_mm, strict=False)
    return [number for number, pair in enumerate(pairs, start=1) if None not in pair]


def check_dimensions(draft: Draft) -> tuple[Check, ...]:
    """Check the distances that a measurement rests on.

    Parameters
    ----------
    draft : Draft
        The measurement. [mm]

    Returns
    -------
    tuple of Check
        A span or swept diameter of 0 or less, two rim dials in one plane.
    """
    found = []
    if draft.span_mm is not None and draft.span_mm <= 0:
        found.append(Check(Doubt.DISTANCE, Gravity.STOP, Told("told.distance.span"), "span"))
    for number, dial in enumerate(draft.dials, start=1):
        if dial.diameter_mm is not None and dial.diameter_mm <= 0:
            sentence = Told("told.distance.diameter", n=number)
            found.append(Check(Doubt.DISTANCE, Gravity.STOP, sentence, f"dial.{number}.diameter"))
    planes = [dial.plane_mm for dial in draft.dials if dial.plane_mm is not None]
    if len(planes) == 2 and abs(planes[0] - planes[1]) < 1.0:
        sentence = Told("told.distance.one_plane")
        found.append(Check(Doubt.DISTANCE, Gravity.STOP, sentence, "dial.2.plane"))
    return tuple(found)


def check_span(draft: Draft, asset: Asset, display: Display) -> tuple[Check, ...]:
    """Check a span that was typed against the one by which a spacer coupling is judged.

    Parameters
    ----------
    draft : Draft
        The measurement. [mm]
    asset : Asset
        The machine as it is described that day. [as stored]
    display : Display
        Units for the sentence. [unitless]

    Returns
    -------
    tuple of Check
        One where the two are farther apart than a tape measure is sure.
    """
    typed, known = draft.span_mm, asset.span_mm
    if asset.coupling is not Coupling.SPACER or typed is None or known is None or typed <= 0:
        return ()
    if abs(typed - known) <= max(SPAN_SURE_MM, SPAN_SURE * known):
        return ()
    own, book = display.text(typed, Quantity.DISTANCE), display.text(known, Quantity.DISTANCE)
    sentence = Told("told.distance.span.other", typed=own, tag=asset.tag, known=book)
    return (Check(Doubt.SPAN, Gravity.REASON, sentence, "span"),)


def check_planes(draft: Draft, display: Display) -> tuple[Check, ...]:
    """Check on which side of the coupling centre the dials on rims run.

    Parameters
    ----------
    draft : Draft
        The measurement. [mm]
    display : Display
        Units for the sentences. [unitless]

    Returns
    -------
    tuple of Check
        A dial on the stationary hub beyond the coupling centre, or one on the movable hub before it.

    Notes
    -----
    A dial runs on the shaft that does not carry its bracket.  x is 0 at the coupling centre and runs towards the movable
    machine, so the stationary hub lies at x ≤ 0 and the movable one at x ≥ 0, however long the spacer is and whichever
    way round a hub sits.  0 itself says nothing: some count from the plane of one dial.  Sensors that read across both
    shafts from one bracket have no hub of their own, so readings around the shaft are asked only where each shaft
    carries one of the two.
    """
    carried = [dial.carried_by for dial in draft.dials]
    if draft.way is Way.REVERSE_INDICATOR:
        rims: tuple[DialDraft, ...] = draft.dials
    elif draft.way is Way.RIM_FACE:
        rims = draft.dials[:1]
    elif draft.way is Way.AROUND and len(set(carried)) > 1 and not any(dial.diameter_mm for dial in draft.dials):
        rims = draft.dials
    else:
        return ()
    found = []
    for number, dial in enumerate(rims, start=1):
        on = "movable" if dial.carried_by == "stationary shaft" else "stationary"
        x = dial.plane_mm
        if x is None or not (x < 0 if on == "movable" else x > 0):
            continue
        at = display.text(x, Quantity.DISTANCE, signed=True)
        sentence = Told(f"told.distance.hub.{on}", n=number, at=at)
        found.append(Check(Doubt.HUB_SIDE, Gravity.REASON, sentence, f"dial.{number}.plane"))
    return tuple(found)


def check_rises(rises_mm: Sequence[float | None], name: str, display: Display) -> tuple[Check, ...]:
    """Check the rises of the feet, by the bounds that an imported sheet is held to.

    Parameters
    ----------
    rises_mm : sequence of float or None
        Rise of each foot when its bolt is loosened, row by row from the coupling, left before right. [mm]
    name : str
        Name of the rises in the form or file, e.g. ``"soft_before"``. [unitless]
    display : Display
        Units for the sentences. [unitless]

    Returns
    -------
    tuple of Check
        A rise below 0, and one that is larger than rises are.
    """
    found = []
    for place, rise in enumerate(rises_mm):
        if rise is None or not is_odd_rise(rise):
            continue
        cannot, large = abs(rise) > RISE_IMPOSSIBLE_MM, abs(rise) > RISE_ODD_MM
        foot = f"{place // 2 + 1}{'LR'[place % 2]}"
        text = display.text(rise, Quantity.OFFSET, signed=True)
        bound = display.text(RISE_IMPOSSIBLE_MM if cannot else RISE_ODD_MM, Quantity.OFFSET)
        if not large:
            sentence = Told("told.rise.negative", foot=foot, rise=text)
        else:
            key = "told.rise.impossible" if cannot else "told.rise.odd"
            sentence = Told(key, foot=foot, rise=text, bound=bound)
        gravity = Gravity.STOP if cannot else Gravity.REASON
        found.append(Check(Doubt.RISE, gravity, sentence, f"{name}.{place + 1}"))
    return tuple(found)


def check_rows(rows: Sequence[RowDraft], side: str, display: Display) -> tuple[Check, ...]:
    """Check the distances of the feet of one machine.

    Parameters
    ----------
    rows : sequence of RowDraft
        Rows of feet, from the coupling. [mm]
    side : str
        ``"movable"`` or ``"stationary"``. [unitless]
    display : Display
        Units for the sentences. [unitless]

    Returns
    -------
    tuple of Check
        A distance of 0, feet on the wrong side, two rows at one place.
    """
    sign = 1.0 if side == "movable" else -1.0
    found: list[Check] = []
    seen: list[float] = []
    for number, row in enumerate(rows, start=1):
        x, name = row.x_mm, f"feet.{side}.{number}.at"
        if x is None:
            continue
        sentence = None
        if x == 0:
            sentence = Told(f"told.row.zero.{side}", n=number)
        elif x * sign < 0:
            sentence = Told(f"told.row.side.{side}", n=number)
        elif any(abs(x - other) < 1.0 for other in seen):
            sentence = Told(f"told.row.twice.{side}", n=number, at=display.text(x, Quantity.DISTANCE))
        seen.append(x)
        if sentence is not None:
            found.append(Check(Doubt.FOOT_DISTANCE, Gravity.STOP, sentence, name))
    return tuple(found)
