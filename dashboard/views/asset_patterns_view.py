"""What the history suggests: for each usual cause what speaks for it and against it, and the jobs behind that.

The verdicts and the jobs are those of ``models.history.evidence``; the observations
are put into words here, in the units of the page, each with the side that it is on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from dashboard.views.suggests_view import CAUSES
from dashboard.words import say
from dashboard.writing import DASH, count, counted, percent
from models.history.columns import History
from models.history.direction import ONE_WAY, TOO_FEW
from models.history.engine import Study
from models.history.evidence import AGAINST, FOR, evidence_for, neighbours
from models.history.feet import BOTH, FAR, NEAR, UNKNOWN_FEET, rates_told
from models.history.late import row_of
from models.history.patterns import (
    CAUSE_WORDS,
    DECISIVE,
    LOOSE_BOLTS,
    PIPE_STRAIN,
    SETTLING,
    SOFT_FOOT,
    THERMAL_TARGET,
)
from models.units import Display, Quantity

"""Keys of the causes in the words, in the order of the columns of ``Patterns``."""

Side = Literal["for", "against", "open"]


@dataclass(frozen=True, slots=True)
class Observation:
    """One thing that was seen, and the side that it is on."""

    side: Side
    text: str


@dataclass(frozen=True, slots=True)
class Cause:
    """One usual cause: whether the history suggests it, what was seen, and the jobs (entry, day) behind it.

    ``chance`` is the share of false suggestions to reckon with at this strength; NaN where nothing could be tested.
    ``name`` is that of the instrument where the cause is one.
    """

    key: str
    side: Side
    seen: tuple[Observation, ...]
    chance: float
    jobs: tuple[tuple[int, date | None], ...]
    name: str = ""


@dataclass(frozen=True, slots=True)
class PatternsView:
    """All causes, suggested ones first."""

    causes: tuple[Cause, ...]
    rate: float

    @property
    def suggested(self) -> tuple[Cause, ...]:
        """Give the causes that the history suggests."""
        return tuple(cause for cause in self.causes if cause.side == "for")


def build_patterns(
    study: Study, history: History, asset: int, *, display: Display, days: Mapping[int, date]
) -> PatternsView:
    """Lay the evidence of one machine out.

    Parameters
    ----------
    study : Study
        Everything that the history says. [unitless]
    history : History
        The columns behind it. [unitless]
    asset : int
        Index of the machine. [unitless]
    display : Display
        Units to show. [unitless]
    days : mapping
        Day of each job by its entry. [unitless]
    """
    lines = evidence_for(
        asset, history.jobs, study.runs, history.assets, study.material,
        patterns=study.patterns, directions=study.directions, shapes=study.shapes, feet=study.feet,
        step_chance=float(row_of(study.standing, "step_chance", asset)),
    )  # fmt: skip
    seen = _Seen(study, history, asset, display)
    chances = row_of(study.patterns, "q", asset)
    sides: dict[str, Side] = {FOR: "for", AGAINST: "against"}
    causes = []
    for line in lines:
        cause = CAUSE_WORDS.index(line.cause)
        causes.append(
            Cause(
                key=CAUSES[cause],
                side=sides.get(line.stance, "open"),
                seen=seen.of(cause),
                chance=float(chances[cause]),
                jobs=tuple((entry, days.get(entry)) for entry in line.entries),
            )
        )
    return PatternsView(tuple(causes), study.patterns.rate)


class _Seen:
    """What was seen on one machine, cause by cause."""

    def __init__(self, study: Study, history: History, asset: int, display: Display) -> None:
        self.study, self.history, self.asset, self.display = study, history, asset, display
        self.series = int(study.material.series_now[asset])

    def of(self, cause: int) -> tuple[Observation, ...]:
        makers = {
            SETTLING: self._settling,
            PIPE_STRAIN: self._pipe,
            THERMAL_TARGET: self._thermal,
            SOFT_FOOT: self._soft,
            LOOSE_BOLTS: self._bolts,
        }
        found = [one for one in makers[cause]() if one is not None]
        return tuple(sorted(found, key=lambda one: ("for", "against", "open").index(one.side)))

    def _mm(self, value: float) -> str:
        return say("asset.rate", rate=self.display.text(value, Quantity.OFFSET, signed=True))

    def _settling(self) -> list[Observation | None]:
        return [self._direction(wanted=True), self._sinking(), self._shape("time"), self._neighbours()]

    def _pipe(self) -> list[Observation | None]:
        return [self._shape("step"), self._share(sideways=True)]

    def _thermal(self) -> list[Observation | None]:
        return [self._shape("step"), self._share(sideways=False), self._warm()]

    def _bolts(self) -> list[Observation | None]:
        p = float(self.study.patterns.p[self.asset, LOOSE_BOLTS])
        if np.isnan(p):
            return [Observation("open", say("asset.seen.scatter.none"))]
        side: Side = "for" if p <= 0.05 else "against" if p > 0.2 else "open"
        return [
            Observation(side, say("asset.seen.scatter", share=_small(p))),
            self._direction(wanted=False) if side != "against" else None,
        ]

    def _soft(self) -> list[Observation | None]:
        over, looks = int(self.study.patterns.soft_over[self.asset]), int(self.study.patterns.soft_looks[self.asset])
        if looks == 0:
            return [Observation("open", say("asset.seen.soft.none"))]
        p = float(self.study.patterns.p[self.asset, SOFT_FOOT])
        text = say("asset.seen.soft", over=count(over), n=counted(looks, "visit"))
        if np.isnan(p):
            return [Observation("open", say("asset.seen.soft.few", text=text))]
        side: Side = "for" if p <= 0.05 and over >= 2 else "against" if p > 0.2 else "open"
        return [Observation(side, say("asset.seen.soft.chance", text=text, share=_small(p)))]

    def _direction(self, *, wanted: bool) -> Observation:
        directions, series = self.study.directions, self.series
        if series < 0 or directions.verdict[series] == TOO_FEW:
            n = int(directions.n[series]) if series >= 0 else 0
            return Observation("open", say("asset.seen.direction.few", n=counted(n, "run")))
        one_way = directions.verdict[series] == ONE_WAY
        key = "asset.seen.direction.one" if one_way else "asset.seen.direction.no"
        side: Side = "for" if one_way == wanted else "against"
        return Observation(side, say(key, n=counted(int(directions.n[series]), "run")))

    def _sinking(self) -> Observation | None:
        if self.series < 0:
            return None
        feet = self.study.feet
        which = int(feet.vertical[self.series])
        if which == UNKNOWN_FEET:
            return Observation("open", say("asset.seen.feet.unknown"))
        step = float(row_of(self.study.standing, "step_chance", self.asset))
        if not rates_told(feet, self.study.directions, self.series, step):
            return None
        near, far = (float(value) for value in feet.rates.raw[self.series, :2])
        moving = {NEAR: (near,), FAR: (far,), BOTH: (near, far)}.get(which, ())
        side: Side = "for" if any(rate < 0.0 for rate in moving) else "against"
        key = "sink" if side == "for" else "rise" if moving else "still"
        return Observation(side, say(f"asset.seen.feet.{key}", near=self._mm(near), far=self._mm(far)))

    def _neighbours(self) -> Observation | None:
        others, middle = neighbours(self.asset, self.history.assets, self.study.material, self.study.feet)
        if not others:
            return None
        area = str(self.history.assets.area[self.asset])
        return Observation("open", say("asset.seen.area", n=counted(others, "other"), area=area, rate=self._mm(middle)))

    def _shape(self, wanted: Literal["time", "step"]) -> Observation:
        log_ratio = float(self.study.shapes.log_ratio[self.series]) if self.series >= 0 else float("nan")
        if np.isnan(log_ratio):
            return Observation("open", say("asset.seen.shape.few"))
        if abs(log_ratio) < DECISIVE:
            return Observation("open", say("asset.seen.shape.open"))
        better: Literal["time", "step"] = "step" if log_ratio > 0.0 else "time"
        times = 10.0 ** min(abs(log_ratio), 3.0)
        written = say("asset.times.most") if times >= 1000.0 else f"{times:.0f}"
        return Observation("for" if better == wanted else "against", say(f"asset.seen.shape.{better}", times=written))

    def _share(self, *, sideways: bool) -> Observation | None:
        vertical = float(self.study.shapes.vertical_share[self.series]) if self.series >= 0 else float("nan")
        if np.isnan(vertical):
            return None
        # The bound of models.history.patterns: from six tenths on a step counts as vertical.
        side: Side = "for" if (vertical < 0.6) == sideways else "against"
        return Observation(side, say("asset.seen.share", up=percent(vertical), side=percent(1.0 - vertical)))

    def _warm(self) -> Observation:
        patterns = self.study.patterns
        slope, runs = float(patterns.warm_slope[self.asset]), int(patterns.warm_runs[self.asset])
        if np.isnan(slope):
            return Observation("open", say("asset.seen.warm.few"))
        per_ten = 10.0 * slope  # a change of ten kelvins, written as such whatever the unit of temperatures
        return Observation(
            "open", say("asset.seen.warm", slope=f"{per_ten:+.2f}".replace("-", "−"), n=counted(runs, "run"))
        )


def _small(p: float) -> str:
    """Write a chance in per cent; a very small one as 'less than 1 %'."""
    return DASH if np.isnan(p) else say("asset.less_one") if p < 0.01 else percent(p)
