"""An instrument that reads off, where it matters: on a machine's page and beside what it left; silence where none does."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from dashboard.kept import pin, shelf_of
from dashboard.views.asset_patterns_view import PatternsView, build_patterns
from dashboard.views.read_off_view import off_mark, row_of_entry, with_instruments
from models.history.columns import History
from models.history.engine import Study, study_of
from models.maths.limits import limit_ratio
from models.units import Display
from tests.history_maker import made_book

PLANTED_MM = 0.08


def with_bias(history: History, serial: str) -> History:
    """Let an instrument read the vertical offset too high, and judge its jobs by that."""
    jobs = history.jobs
    add = np.where(jobs.instrument == history.instruments.index(serial), PLANTED_MM, 0.0)[:, None] * [1.0, 0, 0, 0]
    found, left = jobs.found + add, jobs.left + add
    ratios = [limit_ratio(one - jobs.target, jobs.limits, jobs.each_axis, jobs.span_mm) for one in (found, left)]
    return replace(history, jobs=replace(jobs, found=found, left=left, found_ratio=ratios[0], left_ratio=ratios[1]))


@pytest.fixture(scope="module")
def plants() -> dict[str, tuple[History, Study, Any]]:
    # Of thirty such plants in which all read alike, by seed, one has an instrument that is told: the usual one.
    plain = made_book(seed=12).history(1)
    made = {}
    for name, history in (("plain", plain), ("off", with_bias(plain, "LX-02"))):
        study = study_of(history)
        shelf = shelf_of(history)
        pin(history, "study", study)
        made[name] = (history, study, shelf)
    return made


def view(plant: tuple[History, Study, Any], asset: int, units: str = "mm") -> PatternsView:
    history, study, _ = plant
    display = Display(units)
    return with_instruments(
        build_patterns(study, history, asset, display=display, days={}), study, history, asset, display=display, days={}
    )


def test_a_machine_that_it_touched_at_one_end_says_so_with_its_numbers(plants: dict[str, Any]) -> None:
    history, _, _ = plants["off"]
    named = [view(plants["off"], asset) for asset in range(len(history.assets))]
    causes = [next((cause for cause in one.causes if cause.key == "instrument"), None) for one in named]
    told = [cause for cause in causes if cause is not None]
    assert len(told) > 20
    for one, cause in zip(named, causes, strict=True):
        if cause is None:
            continue
        assert cause.name == "LX-02"
        assert cause.seen[0].text.startswith("LX-02 reads the offset, vertical 0.08")
        assert cause.jobs
        assert cause.chance < 0.001
        if cause.side == "for":
            assert one.causes[0].key == "instrument"
    suggested = [cause for cause in told if cause.side == "for"]
    assert suggested
    assert all(
        "would still be one with its difference taken out" in " ".join(seen.text for seen in cause.seen)
        for cause in suggested
    )
    assert "mil" in next(c for c in view(plants["off"], causes.index(told[0]), "mil").causes if c.name).seen[0].text


def test_without_such_an_instrument_nothing_is_added(plants: dict[str, Any]) -> None:
    history, _, _ = plants["plain"]
    assert all(cause.key != "instrument" for asset in range(40) for cause in view(plants["plain"], asset).causes)
    assert {off_mark(history, row, Display()) for row in range(60)} == {""}


def test_what_it_left_bears_one_mark_with_the_ratio_without_its_difference(plants: dict[str, Any]) -> None:
    history, _, _ = plants["off"]
    jobs, instrument = history.jobs, history.instruments.index("LX-02")
    row = int(np.flatnonzero((jobs.instrument == instrument) & ~np.isnan(jobs.left_ratio))[3])
    assert row_of_entry(history, int(jobs.entry[row])) == row
    mark = off_mark(history, row, Display())
    assert mark.startswith("left by LX-02, which reads offset V 0.08")
    assert " mm high: " in mark
    taken = float(mark.rpartition(": ")[2].split()[0])
    assert taken != pytest.approx(float(jobs.left_ratio[row]), abs=0.01)
    other = int(np.flatnonzero(jobs.instrument != instrument)[0])
    assert off_mark(history, other, Display()) == off_mark(history, -1, Display()) == ""
    assert row_of_entry(history, -7) == -1
