"""Mean cumulative function against the printed five systems and the valve seats."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from models.history.cumulative import mean_cumulative

PUBLISHED = Path(__file__).parent / "published"


def test_five_systems_come_out_as_printed() -> None:
    """ReliaWiki, as printed in the reliability (Python) documentation; 5 decimals; z = 1.64485 for its limits."""
    data = json.loads((PUBLISHED / "mcf_five_systems.json").read_text(encoding="utf-8"))
    systems = data["systems"]
    event = np.concatenate([s[:-1] for s in systems]).astype(float)
    unit = np.repeat(np.arange(5), [len(s) - 1 for s in systems])
    got = mean_cumulative(event, unit, np.array([s[-1] for s in systems], dtype=float), fewest_at_risk=1)
    printed = np.array(data["published"])
    np.testing.assert_array_equal(got.age, printed[:, 0])
    np.testing.assert_allclose(got.mean, printed[:, 2], atol=5e-6)
    np.testing.assert_allclose(got.independent_variance, printed[:, 4], atol=5e-7)
    stretch = np.exp(1.6448536 * np.sqrt(got.independent_variance) / got.mean)
    np.testing.assert_allclose(np.stack([got.mean / stretch, got.mean * stretch]), printed[:, [1, 3]].T, atol=2e-5)


def valve_seats() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    with (PUBLISHED / "mcf_valve_seats.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    engine = np.unique([r["engine"] for r in rows], return_inverse=True)[1]
    days, event = np.array([float(r["days"]) for r in rows]), np.array([r["event"] == "1" for r in rows])
    end = np.zeros(engine.max() + 1)
    np.maximum.at(end, engine, days)
    return days[event], engine[event], end


def test_valve_seats() -> None:
    """Nelson (1995), Technometrics 37:147; 41 engines, 48 replacements; MCF and robust SE computed for this project."""
    event, unit, end = valve_seats()
    assert (len(end), len(event)) == (41, 48)
    assert np.bincount(np.bincount(unit, minlength=41))[:2].tolist() == [17, 9]
    own = json.loads((PUBLISHED / "own_reference_values.json").read_text(encoding="utf-8"))["valve_mcf"]
    got = mean_cumulative(event, unit, end)
    table = np.stack([got.age, got.mean, got.se, got.at_risk], axis=1)
    np.testing.assert_allclose(table[:5], np.array(own["first"]), atol=2e-6)
    np.testing.assert_allclose(table[-5:], np.array(own["last"]), atol=2e-6)


def test_the_robust_error_is_that_of_a_loop_over_units() -> None:
    event, unit, end = valve_seats()
    got = mean_cumulative(event, unit, end)
    ages = np.unique(event)
    at_risk = np.array([(end >= a).sum() for a in ages])
    happened = np.array([(event == a).sum() for a in ages])
    for k in (3, 20, len(ages) - 1):
        total = 0.0
        for u in range(41):
            own = [
                ((event[unit == u] == a).sum() - (end[u] >= a) * h / r) / r
                for a, h, r in zip(ages, happened, at_risk, strict=True)
            ]
            total += sum(own[: k + 1]) ** 2
        assert got.se[k] == pytest.approx(np.sqrt(total), rel=1e-9)


def test_no_event_and_few_units_give_an_empty_curve() -> None:
    assert len(mean_cumulative(np.zeros(0), np.zeros(0, int), np.ones(3)).age) == 0
    assert len(mean_cumulative(np.ones(1), np.zeros(1, int), np.ones(3)).age) == 0
    many = mean_cumulative(np.linspace(0.1, 0.9, 500), np.arange(500) % 50, np.ones(50), points=20)
    assert len(many.age) == 20
    assert many.mean[-1] == pytest.approx(10.0)
