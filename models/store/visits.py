"""Which visits the book holds of some machines on some days: asked by an import for many rows at once."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from models.values.doubled import Four

# One question for thousands of machines and days; each is looked up by the index on machine and moment.
_SQLITE: Final = sa.text("""
SELECT j.entry, j.ref, j.asset_id, j.performed_us,
j.found_offset_v, j.found_angle_v, j.found_offset_h, j.found_angle_h, j.left_offset_v, j.left_angle_v, j.left_offset_h, j.left_angle_h,
j.typed
FROM json_each(:wanted) AS w CROSS JOIN job AS j ON j.asset_id = json_extract(w.value, '$[0]')
AND j.performed_us >= json_extract(w.value, '$[1]') AND j.performed_us < json_extract(w.value, '$[2]')
WHERE j.site_id = :site AND j.entry < :before AND NOT j.void
AND NOT EXISTS (SELECT 1 FROM job AS l WHERE l.supersedes = j.entry AND l.site_id = :site)
""")
_POSTGRESQL: Final = sa.text("""
SELECT j.entry, j.ref, j.asset_id, j.performed_us,
j.found_offset_v, j.found_angle_v, j.found_offset_h, j.found_angle_h, j.left_offset_v, j.left_angle_v, j.left_offset_h, j.left_angle_h,
j.typed
FROM unnest(CAST(:assets AS bigint[]), CAST(:firsts AS bigint[]), CAST(:ends AS bigint[])) AS w(asset_id, first_us, end_us)
JOIN job AS j ON j.asset_id = w.asset_id AND j.performed_us >= w.first_us AND j.performed_us < w.end_us
WHERE j.site_id = :site AND j.entry < :before AND NOT j.void
AND NOT EXISTS (SELECT 1 FROM job AS l WHERE l.supersedes = j.entry AND l.site_id = :site)
""")


@dataclass(frozen=True, slots=True)
class Visit:
    """A job that stands: its entry, number, machine, moment [µs], what was found and left [mm, mm/m], and its numbers as typed."""

    entry: int
    ref: str
    asset_id: int
    performed_us: int
    found: Four | None
    left: Four | None
    typed: Mapping[str, str]


def visits_between(
    connection: sa.Connection, site_id: int, wanted: Sequence[tuple[int, int, int]], *, before: int
) -> list[Visit]:
    """Give the jobs that stand of machines within stretches of time.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        Number of the site. [unitless]
    wanted : sequence of tuple
        Number of a machine, first moment, and the moment before which it ends. [unitless, µs, µs]
    before : int
        Number of the first entry that is not looked at: those of the import that asks. [unitless]

    Returns
    -------
    list of Visit
        In no order; a job within two of the stretches stands twice.
    """
    if not wanted:
        return []
    given: dict[str, object] = {"site": site_id, "before": before}
    if connection.dialect.name == "sqlite":
        rows = connection.execute(_SQLITE, given | {"wanted": json.dumps(wanted)})
    else:
        assets, firsts, ends = map(list, zip(*wanted, strict=True))
        rows = connection.execute(_POSTGRESQL, given | {"assets": assets, "firsts": firsts, "ends": ends})
    return [
        Visit(entry, ref, asset_id, at, _four(numbers[:4]), _four(numbers[4:]), _as_typed(typed))
        for entry, ref, asset_id, at, *numbers, typed in rows
    ]


def _as_typed(kept: object) -> Mapping[str, str]:
    """Give the numbers as typed: one engine keeps a text, the other reads it."""
    read = json.loads(kept) if isinstance(kept, str | bytes) else kept
    return read if isinstance(read, dict) else {}


def _four(numbers: Sequence[float | None]) -> Four | None:
    v, angle_v, h, angle_h = numbers
    return None if v is None or angle_v is None or h is None or angle_h is None else (v, angle_v, h, angle_h)
