"""A draft: what a form or a file holds of one measurement, before anything is worked out of it.

Numbers are in stored units; what was typed stands beside them in ``typed``.
A draft may be incomplete, for it is read again after every key that is
pressed: a blank is ``None`` and no error.  The words in the literals are those
of the maths, which stands above this room and takes them over by value.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from models.values.asset import Asset
from models.values.kinds import Method

CarriedBy = Literal["stationary shaft", "movable shaft"]
HubFace = Literal["front of the hub", "back of the hub"]
ViewedFrom = Literal["movable machine", "stationary machine"]
SagStands = Literal["half of the roll-over reading", "full roll-over reading"]
WhichMoves = Literal["movable machine", "stationary machine", "both machines"]

STATED = "stated reason: "
"""Before the name of a check in ``Job.typed``: why somebody recorded the job although the check spoke against it."""


class Way(StrEnum):
    """How the numbers of a measurement are given."""

    RESULTS = "results"
    REVERSE_INDICATOR = "reverse indicator"
    RIM_FACE = "rim and face"
    FACE_FACE = "two faces"
    AROUND = "readings around the shaft"

    @property
    def method(self) -> Method:
        """Give the method that the book keeps; offsets typed as results say nothing of theirs."""
        return {
            Way.REVERSE_INDICATOR: Method.REVERSE_INDICATOR,
            Way.RIM_FACE: Method.RIM_FACE,
            Way.FACE_FACE: Method.FACE_FACE,
        }.get(self, Method.OTHER)


class WorkCheck(StrEnum):
    """The short list of what is checked before and after the work; the book keeps the ones that were done.

    Torque crosswise in at least three passes: common practice, no source.
    """

    ISOLATED = "isolated, locked and tried"
    ROUGH = "rough alignment"
    OBVIOUS_SOFT_FOOT = "obvious soft foot"
    TORQUED = "feet torqued crosswise in three passes or more"
    FINAL_SOFT_FOOT = "final soft foot"
    PIPE_STRAIN = "pipe strain"
    LEFT_WHEN_TIGHT = "as-left measured after the last bolt was tight"
    GUARDS = "guards back"


@dataclass(frozen=True, slots=True)
class DialDraft:
    """One dial or sensor as far as it is filled in.

    ``plane_mm`` is where a rim dial runs, ``diameter_mm`` the circle that a face
    dial runs on; the other one stays ``None``.  Angles run clockwise from
    12 o'clock for somebody at ``Draft.seen_from``.  ``opposite_mm`` are the
    readings of a second face dial half a turn away, at the same moments: with
    them the axial float of the shaft drops out.
    """

    angles_deg: tuple[float | None, ...] = (0.0, 90.0, 180.0, 270.0)
    readings_mm: tuple[float | None, ...] = (None, None, None, None)
    opposite_mm: tuple[float | None, ...] = ()
    returned_mm: float | None = None
    plane_mm: float | None = None
    diameter_mm: float | None = None
    carried_by: CarriedBy = "stationary shaft"
    side: HubFace = "front of the hub"
    sag_mm: float | None = None
    sag_stands: SagStands = "half of the roll-over reading"
    sag_sd_mm: float = 0.0

    @property
    def taken(self) -> tuple[tuple[float, float], ...]:
        """Give the pairs of angle and reading that are filled in. [°, mm]."""
        pairs = zip(self.angles_deg, self.readings_mm, strict=False)
        return tuple((angle, reading) for angle, reading in pairs if angle is not None and reading is not None)

    @property
    def is_clock(self) -> bool:
        """Tell whether all four clock readings are there and no other."""
        return sorted(angle % 360.0 for angle, _ in self.taken) == [0.0, 90.0, 180.0, 270.0]


@dataclass(frozen=True, slots=True)
class RowDraft:
    """A row of feet: its distance from the coupling centre and how far it can go; ``None`` is not limited. [mm]."""

    x_mm: float | None = None
    shim_out_mm: float | None = None
    shim_in_mm: float | None = None
    left_mm: float | None = None
    right_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Draft:
    """One measurement as it was put in, with the dimensions that it needs.

    ``results`` and ``results_sd`` have the order of the four components.  Feet
    that are not given are those of the asset.  ``typed`` keeps each text as
    typed, with its unit, by the name of its field.
    """

    way: Way
    results: tuple[float | None, float | None, float | None, float | None] = (None, None, None, None)
    results_sd: tuple[float | None, float | None, float | None, float | None] = (None, None, None, None)
    dials: tuple[DialDraft, ...] = ()
    seen_from: ViewedFrom = "movable machine"
    span_mm: float | None = None
    reading_sd_mm: float | None = None
    distance_sd_mm: float = 0.0
    diameter_sd_mm: float = 0.0
    soft_foot_mm: tuple[float | None, ...] = ()
    feet_movable: tuple[RowDraft, ...] = ()
    feet_stationary: tuple[RowDraft, ...] = ()
    moves: WhichMoves = "movable machine"
    typed: Mapping[str, str] = field(default_factory=dict)

    def rows(self, asset: Asset) -> tuple[tuple[RowDraft, ...], tuple[RowDraft, ...]]:
        """Give the feet of the movable and of the stationary machine: those of the draft, else those of the asset."""
        movable = self.feet_movable or tuple(RowDraft(x) for x in asset.feet_movable_mm)
        return movable, self.feet_stationary or tuple(RowDraft(x) for x in asset.feet_stationary_mm)


def typed_for_book(draft: Draft, stage: str) -> dict[str, str]:
    """Give the texts of a draft under the names that the book keeps them by.

    Parameters
    ----------
    draft : Draft
        The measurement. [as typed]
    stage : str
        ``"found"`` or ``"left"``. [unitless]

    Returns
    -------
    dict of str to str
        The four results as ``found_offset_v`` and so on, as an imported sheet has them; everything else as
        ``found dial.1.top``. [as typed]
    """
    kept = {}
    for name, text in draft.typed.items():
        of_results = name.removeprefix("results.")
        is_number = of_results != name and not of_results.startswith("sd_")
        kept[f"{stage}_{of_results}" if is_number else f"{stage} {name}"] = text
    return kept


def stated_reasons(typed: Mapping[str, str]) -> dict[str, str]:
    """Give the reasons that were stated when a job was recorded, by the name of the check."""
    return {name.removeprefix(STATED): text for name, text in typed.items() if name.startswith(STATED)}
