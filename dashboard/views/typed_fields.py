"""What was typed of a job, beside what its entry says: by the same names of fields, and what has no field of its own."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.views.record_names import field_label
from dashboard.words import say
from models.values.draft import STATED, stated_reasons
from models.values.job import COMPONENTS

STAGES = ("found", "left")
TEMPERATURES = ("temp_stationary", "temp_movable", "temp_ambient")

_FEET = {"soft_before": "soft_before", "soft_after": "soft_after", "moves_v": "move_v", "moves_h": "move_h"}


def typed_fields(typed: Mapping[str, str]) -> tuple[dict[str, str], tuple[tuple[str, str], ...]]:
    """Give what was typed by the names of fields, and the rest.

    Parameters
    ----------
    typed : mapping
        Texts as typed, by the names under which the book keeps them. [as typed]

    Returns
    -------
    tuple
        Texts by the name of their field as :func:`dashboard.views.said_fields.fields_of` gives it; and what stands for
        itself, such as the readings of dials and stated reasons, by its name in the book. [as typed]
    """
    left, found = dict(typed), dict[str, str]()

    def take(field: str, *names: tuple[str, str]) -> None:
        texts = [f"{what} {left.pop(key)}".strip() for what, key in names if key in left]
        if texts:
            found[say(f"entry.field.{field}")] = "; ".join(texts)

    for stage in ("found", "left", "target"):
        take(stage, *((say(f"component.short.{part}"), f"{stage}_{part}") for part in COMPONENTS))
    for field, prefix in _FEET.items():
        take(field, *((key.removeprefix(f"{prefix}_"), key) for key in typed if key.startswith(f"{prefix}_")))
    take("hours", ("", "hours_run"))
    take(
        "temperatures",
        *(("", key) for name in TEMPERATURES for key in (name, f"{name}_c")),
    )
    return found, tuple(left.items())


def readings_of(typed: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Give what was typed and stands for itself, readings first and then the stated reasons, each by the name that a reader knows."""
    reasons = {f"{STATED}{doubt}": doubt for doubt in stated_reasons(typed)}
    rest = [(key, text) for key, text in typed_fields(typed)[1] if key not in reasons]
    told = [(say("report.job.stated", doubt=doubt), typed[key]) for key, doubt in reasons.items()]
    return (*((typed_name(key), text) for key, text in rest), *told)


def typed_name(key: str) -> str:
    """Give the name that a reader knows for one under which the book keeps what was typed, e.g. ``'as found, dial 1, 6 o’clock'``."""
    if key.removesuffix("_c") in TEMPERATURES:
        return field_label(key.removesuffix("_c").replace("_", ".", 1))
    stage, _, rest = key.partition(" ")
    return field_label(f"{stage}.{rest}") if rest and stage in STAGES else field_label(key)
