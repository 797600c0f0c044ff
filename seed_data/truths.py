"""What was planted, in units that a test or a reader can compare with what the tool says."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from models.values.kinds import Part
from seed_data.heat import target_of
from seed_data.motion import CAST_IRON_PER_K
from seed_data.plant import Cause, Scenario, Station
from seed_data.rules import yardstick
from seed_data.visit import at_feet

SAYS = {
    "settling base": "The movable machine sinks slowly and one way, a little slower each year, until its base is grouted anew.",
    "thermal target": "Read warm as found and left cold without a target: found low in the same way each time, with the heat.",
    "pipe strain": "The pipes do not meet the machine freely: bolted up again after each work, they pull it off by a step, the same way each time.",
    "loose bolts": "Slips on its base at starts and trips, mostly to the side, either way, and by more than others wander.",
    "soft foot": "The second right foot (2R) stands free again at every visit, and the machine wanders more than others.",
    "instrument": "From that day on it scatters more than its like and reads the vertical offset too high.",
    "person": "Often leaves a foot that is not down; what was left so gives way as soon as the machine runs.",
}
"""One plain sentence for each planted cause."""

FOUND = "found"
"""There is evidence enough: a good engine finds it."""

TOO_SHORT = "too short to tell"
"""It acts, but the history is too short for anybody to be sure; nothing has to be said about it."""

MENDED = "mended"
"""It is over: what was wrong was replaced, and nothing of it is left in the history of what stands there now."""


@dataclass(frozen=True, slots=True)
class Truth:
    """One planted cause at one asset, or with one person or instrument.

    ``since`` and ``until`` bound it; ``size`` holds numbers whose names carry
    their units.  ``expected`` says what an honest reader of the history can make
    of it: see :data:`FOUND` and what follows.
    """

    cause: str
    tags: tuple[str, ...]
    since: date
    until: date | None = None
    person: str = ""
    instrument: str = ""
    expected: str = FOUND
    size: dict[str, float] = field(default_factory=dict)

    @property
    def says(self) -> str:
        """Give the cause as a plain sentence."""
        return SAYS[self.cause]


def truths_of(plan: Scenario) -> tuple[Truth, ...]:
    """Give every planted truth of a plant, assets first, sizes in mm and mm/m.

    Parameters
    ----------
    plan : Scenario
        The plant. [unitless]
    """
    at_assets = [_truth(station, cause) for station in plan.stations for cause in station.causes]
    elsewhere = [
        Truth(c.cause, (), c.since, person=c.person, instrument=c.instrument, size=dict(c.size))
        for c in plan.causes
        if not c.tags
    ]
    return (*at_assets, *elsewhere)


def _truth(station: Station, cause: Cause) -> Truth:
    asset = station.versions[0]
    scale = yardstick(asset).scale
    tags, until, size = (station.tag,), None, dict(cause.size)
    expected = TOO_SHORT if cause.too_short else FOUND
    if cause.cause == "settling base":
        rate = scale[:2] * [cause.size["offset_v_per_year"], cause.size["angle_v_per_year"]]
        near, *_, far = at_feet(rate, asset.feet_movable_mm)
        until = next((b.on for b in station.breaks if b.part is Part.BASE), None)
        expected = expected if until is None else MENDED
        size = {
            "offset_v_mm_per_year_at_first": float(rate[0]),
            "angle_v_mm_m_per_year_at_first": float(rate[1]),
            "near_feet_mm_per_year_at_first": float(near),
            "far_feet_mm_per_year_at_first": float(far),
        }
    elif cause.cause == "thermal target":
        until = station.corrected_on
        per_kelvin = CAST_IRON_PER_K * cause.size["centre_height_mm"]
        size = {"offset_v_mm_per_kelvin": -per_kelvin, "casing_in_service_c": station.hot_c or 0.0}
        if until is not None:
            size["corrected_target_offset_v_mm"] = float(target_of(station, until)[0])
    elif cause.cause == "pipe strain":
        size = {
            "offset_v_mm": cause.size["offset_v"] * float(scale[0]),
            "offset_h_mm": cause.size["offset_h"] * float(scale[2]),
            "angle_h_mm_m": cause.size["angle_h"] * float(scale[3]),
        }
    elif cause.cause == "loose bolts":
        size = {
            "slips_per_year": cause.size["slips_per_year"],
            "offset_h_mm_either_way": cause.size["offset_h"] * float(scale[2]),
            "angle_h_mm_m_either_way": cause.size["angle_h"] * float(scale[3]),
        }
    elif cause.cause == "soft foot":
        size = {"excess_2R_mm": cause.size["excess_mm"], "wander_times": cause.size["wander"]}
    rounded = {name: round(value, 5) for name, value in size.items()}
    return Truth(cause.cause, tags, cause.since, until, expected=expected, size=rounded)
