"""Names of the fields of the Record page in a sentence, and where a check of a job stands in the form."""

from __future__ import annotations

from dashboard.words import say
from models.intake.typed import CLOCK
from models.units import Display, Quantity
from models.values.draft import Way
from models.values.job import COMPONENTS, Misalignment


def field_label(name: str) -> str:
    """Give the name of a field as it is told in a sentence, e.g. ``'as found, dial 1, 6 o’clock'``."""
    parts = name.split(".")
    told: list[str] = []
    for place, part in enumerate(parts):
        # The same word is another thing in another place: 'left' is a stage, 9 o'clock of a dial, or room of a row of feet.
        within = next((one for one in ("dial", "feet") if one in parts[:place]), "")
        if part.isdigit() and told:
            told[-1] = f"{told[-1]} {part}"
        elif within == "dial" and part in CLOCK:
            told.append(say(f"record.clock.{part}"))
        elif within and f"record.name.{within}.{part}" in _NAMED:
            told.append(say(f"record.name.{within}.{part}"))
        elif f"record.name.{part}" in _NAMED:
            told.append(say(f"record.name.{part}"))
    return ", ".join(told) or name


_NAMED = frozenset(
    f"record.name.{part}"
    for part in (
        "found", "left", "dial", "top", "bottom", "returned", "plane", "diameter", "bracket", "side", "sag", "sag_is", "sag_sd",
        "opposite_top", "opposite_right", "opposite_bottom", "opposite_left", "angles", "readings", "noise", "reading", "distance",
        "results", "offset_v", "angle_v", "offset_h", "angle_h", "sd_offset", "sd_angle", "span", "feet", "movable", "stationary", "at",
        "shim_out", "shim_in", "soft_before", "soft_after", "shim", "temp", "ambient", "hours_run", "performed", "target",
        "seen_from", "method", "moves", "source", "opposite", "dial.side", "feet.left", "feet.right",
    )
)  # fmt: skip


def form_name(stage: str, field: str, way: Way | None = None) -> str:
    """Give the name in the form of a field of one measurement."""
    if field.startswith(("feet.", "target.", "moves")):
        return field
    if field.startswith("results") and way is not None and way is not Way.RESULTS:
        return f"{stage}.method"
    return f"{stage}.{field}"


def job_field(field: str, ways: dict[str, Way | None]) -> str:
    """Give the name in the form of a field of a job."""
    stage, _, rest = field.partition(".")
    if stage in ways and field != "left.tight":
        typed = ways[stage] is Way.RESULTS
        where = {"offset": "offset_v", "angularity": "angle_v"}.get(rest, rest)
        return f"{stage}.results.{where}" if typed and where else f"{stage}.method"
    if stage == "moves_v":
        return f"shim.{rest}"
    if stage == "moves_h":  # one field a row
        return f"side.{(int(rest) + 1) // 2}"
    return {"checks": "left.tight", "soft_after": "soft_after.1"}.get(field, field)


def four_text(values: Misalignment, display: Display) -> str:
    """Write four components in one line.

    Parameters
    ----------
    values : Misalignment
        The components. [mm, mm/m]
    display : Display
        Units. [unitless]
    """
    units = {"offset": Quantity.OFFSET, "angle": Quantity.ANGULARITY}
    texts = {
        name: display.text(value, units[name.partition("_")[0]], signed=True, with_unit=False)
        for name, value in zip(COMPONENTS, values.as_tuple(), strict=True)
    }
    return say(
        "fact.four", **texts, offset_unit=display.unit(Quantity.OFFSET), angle_unit=display.unit(Quantity.ANGULARITY)
    )
