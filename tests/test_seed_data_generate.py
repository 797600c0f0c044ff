"""The invented plant: the same every time, of the promised size, and with what is planted really in it.

All numbers here are this project's own invention; the bounds are those that the seed data promises.
"""

from __future__ import annotations

import csv
import json
import math
import subprocess
import sys
from collections import Counter, defaultdict
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from models.intake.fields import Table, fields_of
from models.units import Display
from models.values.job import Job
from models.values.kinds import Reason
from seed_data.generate import Plant, generate, write
from seed_data.plant import Station, scenario

TABLES = ("assets", "breaks", "instruments", "people", "jobs")


@pytest.fixture(scope="module")
def plant() -> Plant:
    return generate()


@pytest.fixture(scope="module")
def folder(plant: Plant, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plant")
    write(path, plant)
    return path


def rows_of(folder: Path, table: str) -> list[dict[str, str]]:
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def stations() -> dict[str, Station]:
    return {station.tag: station for station in scenario().stations}


def drifts(plant: Plant) -> dict[str, list[tuple[Job, Job, np.ndarray]]]:
    """Pairs of neighbouring jobs with nothing replaced in between, and as-found − the as-left before it."""
    by_tag: dict[str, list[Job]] = defaultdict(list)
    for job in plant.jobs:
        by_tag[job.tag].append(job)
    runs: dict[str, list[tuple[Job, Job, np.ndarray]]] = defaultdict(list)
    for tag, jobs in by_tag.items():
        days = [b.on for b in plant.breaks if b.tag == tag]
        for before, after in pairwise(jobs):
            replaced = any(before.performed_at.date() < day <= after.performed_at.date() for day in days)
            if after.found is not None and before.left is not None and not replaced:
                move = np.subtract(after.found.as_tuple(), before.left.as_tuple())
                runs[tag].append((before, after, move))
    return runs


def test_the_same_seed_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    write(tmp_path, generate())
    for name in (*(f"{table}.csv" for table in TABLES), "truths.json"):
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes(), name


def test_another_seed_gives_other_jobs_for_the_same_machines(plant: Plant) -> None:
    other = generate(seed=1)
    assert other.assets == plant.assets
    assert other.jobs != plant.jobs


def test_an_earlier_end_cuts_the_history_and_changes_nothing_before_it(plant: Plant) -> None:
    end = date(2023, 6, 30)
    shorter = generate(until=end)
    kept = tuple(job for job in plant.jobs if job.performed_at.date() <= end)
    assert shorter.jobs == kept


def test_it_needs_no_database_and_no_frames() -> None:
    """The demo's files can be made where only the standard library, numpy and xlsxwriter are at hand."""
    code = (
        "import sys, seed_data.__main__; "
        "print(*sorted({'sqlalchemy', 'pandas', 'dash', 'plotly', 'models.store', 'models.commands'} & set(sys.modules)))"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == ""


def test_counts_are_as_promised(plant: Plant) -> None:
    tags = {asset.tag for asset in plant.assets}
    assert 175 <= len(tags) <= 190
    assert 1900 <= len(plant.jobs) <= 2150
    assert len(plant.people) == 12
    assert len(plant.instruments) == 7
    assert 13 <= len(plant.breaks) <= 17
    assert len({asset.area for asset in plant.assets}) == 8
    assert any(asset.speed_max_rpm for asset in plant.assets)
    assert any(len(asset.feet_movable_mm) == 3 for asset in plant.assets)
    trains = Counter(asset.train for asset in plant.assets if asset.train)
    assert trains
    assert set(trains.values()) == {2}


def test_every_row_names_what_is_known(plant: Plant) -> None:
    tags = {asset.tag for asset in plant.assets}
    assert {job.tag for job in plant.jobs} <= tags
    assert {b.tag for b in plant.breaks} <= tags
    assert {name for job in plant.jobs for name in job.people} <= {p.name for p in plant.people}
    assert {job.reviewer for job in plant.jobs} - {""} <= {p.name for p in plant.people}
    assert {job.instrument for job in plant.jobs} <= {i.serial for i in plant.instruments}
    assert len({job.ref for job in plant.jobs}) == len(plant.jobs)
    assert len({(job.tag, job.performed_at) for job in plant.jobs}) == len(plant.jobs)


def test_jobs_lie_in_the_six_years_and_in_the_life_of_their_asset(plant: Plant) -> None:
    days = [job.performed_at.date() for job in plant.jobs]
    assert days == sorted(days)
    assert date(2020, 11, 1) <= days[0]
    assert days[-1] <= date(2026, 10, 31)
    known = stations()
    for job in plant.jobs:
        asset = known[job.tag].versions[0]
        day = job.performed_at.date()
        assert asset.commissioned is not None
        assert asset.commissioned <= day
        assert asset.retired is None or day <= asset.retired
        assert (job.found is None) or job.reason is not Reason.INSTALLATION


def test_one_instrument_is_overdue_at_the_end_and_it_is_not_the_careless_one(plant: Plant) -> None:
    overdue = {i.serial for i in plant.instruments if i.due is not None and i.due < plant.until}
    careless = {truth.instrument for truth in plant.truths if truth.cause == "instrument"}
    assert len(overdue) == 1
    assert not overdue & careless


def test_headings_are_those_of_the_template_and_of_further_rows_of_feet(folder: Path) -> None:
    display = Display("mm")
    for table in Table:
        known = {field.heading_with_unit(display): field for field in fields_of(table)}
        headings = list(rows_of(folder, str(table))[0])
        assert set(headings) <= set(known)
        assert [h for h in headings if known[h].in_template] == [h for h, f in known.items() if f.in_template]


def test_the_files_say_what_the_values_say(plant: Plant, folder: Path) -> None:
    told = rows_of(folder, "jobs")
    assert len(told) == len(plant.jobs)
    for row, job in zip(told, plant.jobs, strict=True):
        assert row["job"] == job.ref
        for stage, values in (("found", job.found), ("left", job.left)):
            cells = [row[f"{stage} {name}"] for name in COMPONENT_HEADINGS]
            if values is None:
                assert cells == ["", "", "", ""]
            else:
                assert tuple(float(cell) for cell in cells) == values.as_tuple()


COMPONENT_HEADINGS = ("offset V [mm]", "angle V [mm/m]", "offset H [mm]", "angle H [mm/m]")


def ratio_by_hand(row: dict[str, str], stage: str, asset: dict[str, str]) -> float | None:
    """The starter rule once more, in plain arithmetic (design of this project, section 2; no standard)."""
    cells = [row[f"{stage} {name}"] for name in COMPONENT_HEADINGS]
    if not all(cells):
        return None
    target = [float(row[f"target {name}"] or 0) for name in COMPONENT_HEADINGS]
    offset_v, angle_v, offset_h, angle_h = (float(c) - t for c, t in zip(cells, target, strict=True))
    if asset["coupling"] == "spacer":
        span = float(asset["spacer span [mm]"]) / 1000.0
        planes = []
        for sign in (1.0, -1.0):  # α = y(+span/2) / span, β = −y(−span/2) / span
            v = sign * (offset_v + sign * angle_v * span / 2) / span
            h = sign * (offset_h + sign * angle_h * span / 2) / span
            planes.append(math.hypot(v, h))
        return max(planes) / 0.5
    rpm = max(float(asset["highest speed [rpm]"] or asset["running speed [rpm]"]), 750.0)
    return max(math.hypot(offset_v, offset_h) * rpm / 120.0, math.hypot(angle_v, angle_h) * rpm / 1000.0)


def test_shares_over_limit_recomputed_from_the_files_are_as_promised(folder: Path) -> None:
    assets: dict[str, list[dict[str, str]]] = defaultdict(list)
    for asset in rows_of(folder, "assets"):
        assets[asset["tag"]].append(asset)
    found, left, by_tag = [], [], Counter[str]()
    for row in rows_of(folder, "jobs"):
        held = [a for a in assets[row["tag"]] if a["valid from"] <= row["performed at"][:10]][-1]
        if (ratio := ratio_by_hand(row, "found", held)) is not None:
            found.append(ratio)
            by_tag[row["tag"]] += ratio > 1.0
        ratio = ratio_by_hand(row, "left", held)
        assert ratio is not None
        left.append(ratio)
    assert 0.20 <= np.mean(np.array(found) > 1.0) <= 0.30
    assert 0.02 <= np.mean(np.array(left) > 1.0) <= 0.03
    assert max(found) < 10.0
    missing = len(left) - len(found)
    assert 50 <= missing <= 120
    assert sum(count >= 3 for count in by_tag.values()) >= 20, "machines that come back are there to be found"


def test_a_few_visits_only_look_and_most_are_planned(plant: Plant) -> None:
    looked = sum(job.found == job.left for job in plant.jobs)
    assert 80 <= looked <= 220
    reasons = Counter(job.reason for job in plant.jobs)
    assert reasons[Reason.PLANNED] > 0.75 * len(plant.jobs)
    assert reasons[Reason.CONDITION] > 50
    assert reasons[Reason.FAILURE] >= 5
    assert reasons[Reason.INSTALLATION] == 5
    assert all(not job.moves_v for job in plant.jobs if job.found == job.left and job.found is not None)


def test_half_of_the_assets_have_a_counter_that_only_rises(plant: Plant) -> None:
    counted: dict[str, list[float]] = defaultdict(list)
    for job in plant.jobs:
        if job.hours_run is not None:
            counted[job.tag].append(job.hours_run)
    assert 0.4 <= len(counted) / len({job.tag for job in plant.jobs}) <= 0.6
    assert all(hours == sorted(hours) for hours in counted.values())


def test_shims_and_side_moves_do_at_the_feet_what_the_readings_say(plant: Plant) -> None:
    """Correction at a row of feet = −y(x) (trade reference, section 2.1, derived): the moves make the change that was read."""
    known = stations()
    careless = {truth.instrument for truth in plant.truths if truth.cause == "instrument"}
    gaps = {"V": [], "H": []}  # type: dict[str, list[float]]
    for job in plant.jobs:
        feet = known[job.tag].versions[0].feet_movable_mm
        warm = known[job.tag].cause("thermal target") is not None
        if job.found is None or job.left is None or not job.moves_v or warm or job.instrument in careless:
            continue
        change = np.subtract(job.left.as_tuple(), job.found.as_tuple())
        for row, x in enumerate(feet):
            left_right = [job.moves_v.values[2 * row + side] for side in (0, 1)]
            shim = min(value for value in left_right if value is not None)  # a soft foot's own shim lies under one foot
            side = job.moves_h.values[2 * row]
            assert side is not None
            gaps["V"].append(change[0] + change[1] * x / 1000.0 - shim)
            gaps["H"].append(change[2] + change[3] * x / 1000.0 - side)
            assert abs(shim / 0.025 - round(shim / 0.025)) < 1e-6
    assert len(gaps["V"]) > 2000
    for axis in gaps.values():
        assert abs(np.mean(axis)) < 0.005
        assert np.median(np.abs(axis)) < 0.03


def test_truths_name_what_is_there_and_leave_out_what_is_ordinary(plant: Plant, folder: Path) -> None:
    book = json.loads((folder / "truths.json").read_text(encoding="utf-8"))
    tags = {asset.tag for asset in plant.assets}
    planted = {tag for truth in book["truths"] for tag in truth["tags"]}
    assert planted | set(book["ordinary"]) == tags
    assert not planted & set(book["ordinary"])
    causes = {truth["cause"] for truth in book["truths"]}
    assert causes == {
        "settling base",
        "thermal target",
        "pipe strain",
        "loose bolts",
        "soft foot",
        "instrument",
        "person",
    }
    assert {t["person"] for t in book["truths"]} - {""} <= {p.name for p in plant.people}
    assert {t["instrument"] for t in book["truths"]} - {""} <= {i.serial for i in plant.instruments}
    assert {truth["expected"] for truth in book["truths"]} == {"found", "too short to tell", "mended"}
    assert "made up" in book["invented"]
    assert "invented" in book["site"]


def test_settling_bases_go_down_and_ordinary_machines_have_no_direction(plant: Plant) -> None:
    known, runs = stations(), drifts(plant)
    settling = {t.tags[0]: t for t in plant.truths if t.cause == "settling base"}
    for tag, truth in settling.items():
        moves = [m[0] for before, after, m in runs[tag] if not truth.until or after.performed_at.date() < truth.until]
        assert np.mean(moves) < 0.0, tag
        years = [
            (after.performed_at - before.performed_at).days / 365.25
            for before, after, _ in runs[tag]
            if not truth.until or after.performed_at.date() < truth.until
        ]
        rate = sum(moves) / sum(years)
        assert 0.4 < rate / truth.size["offset_v_mm_per_year_at_first"] < 1.4, tag
    scores = []
    for tag, moved in runs.items():
        if not known[tag].causes and len(moved) >= 6:
            values = np.array([m[0] for _, _, m in moved])
            scores.append(values.mean() / values.std(ddof=1) * math.sqrt(len(values)))
    assert abs(np.mean(scores)) < 0.3
    assert np.std(scores) < 1.5


def test_hot_pumps_are_found_low_in_step_with_their_heat_until_the_target_is_corrected(plant: Plant) -> None:
    runs = drifts(plant)
    for truth in (t for t in plant.truths if t.cause == "thermal target"):
        warm = [
            (after.temp_stationary_c - after.temp_ambient_c, move[0])
            for _, after, move in runs[truth.tags[0]]
            if after.temp_stationary_c is not None
            and after.temp_ambient_c is not None
            and (truth.until is None or after.performed_at.date() < truth.until)
        ]
        per_kelvin = sum(move for _, move in warm) / sum(kelvin for kelvin, _ in warm)
        assert per_kelvin == pytest.approx(truth.size["offset_v_mm_per_kelvin"], rel=0.3), truth.tags
        assert sum(move < 0 for _, move in warm) >= 0.9 * len(warm)
    (corrected,) = (t for t in plant.truths if t.cause == "thermal target" and t.until)
    since = corrected.until or plant.until
    later = [job for job in plant.jobs if job.tag == corrected.tags[0] and since <= job.performed_at.date()]
    assert len(later) >= 4
    assert {job.target.offset_v for job in later} == {corrected.size["corrected_target_offset_v_mm"]}


def test_pipes_pull_the_same_way_after_each_work_however_long_the_run(plant: Plant) -> None:
    runs = drifts(plant)
    for truth in (t for t in plant.truths if t.cause == "pipe strain"):
        worked = [
            (after.performed_at - before.performed_at, move)
            for before, after, move in runs[truth.tags[0]]
            if before.found != before.left
        ]
        assert len(worked) >= 6
        side = np.array([move[2] for _, move in sorted(worked, key=lambda run: run[0])]) / truth.size["offset_h_mm"]
        half = len(side) // 2
        assert side.min() > 0.0
        assert side.mean() == pytest.approx(1.0, abs=0.3)
        assert side[:half].mean() == pytest.approx(side[half:].mean(), abs=0.5), "short runs and long ones"


def test_loose_bolts_let_a_machine_slip_to_the_side_either_way_and_further_than_others(plant: Plant) -> None:
    known, runs = stations(), drifts(plant)
    loose = [t.tags[0] for t in plant.truths if t.cause == "loose bolts"]
    side, height = (np.array([move[c] for tag in loose for _, _, move in runs[tag]]) for c in (2, 0))
    others = np.array([move[2] for tag, moved in runs.items() if not known[tag].causes for _, _, move in moved])
    assert 0.2 < np.mean(side > 0.0) < 0.8
    assert abs(np.mean(side)) < 3.0 * np.std(side) / math.sqrt(len(side))
    assert np.std(side) > 3.0 * np.std(others)
    assert np.std(side) > 3.0 * np.std(height)


def test_the_careless_instrument_reads_high_and_scatters(plant: Plant) -> None:
    (truth,) = (t for t in plant.truths if t.cause == "instrument")
    known = stations()
    with_it, others = [], []
    for tag, moved in drifts(plant).items():
        if known[tag].causes:
            continue
        for before, after, move in moved:
            if truth.instrument == after.instrument != before.instrument and after.performed_at.date() >= truth.since:
                with_it.append(move[0])
            elif truth.instrument not in (before.instrument, after.instrument):
                others.append(move[0])
    error = np.std(with_it, ddof=1) / math.sqrt(len(with_it))
    assert np.mean(with_it) == pytest.approx(truth.size["bias_offset_v_mm"], abs=3.0 * error)
    assert np.mean(with_it) > 3.0 * error
    assert abs(np.mean(others)) < 0.2 * np.mean(with_it)
    # What was read after the work less what was read before it is the shim that went in, but for two readings' noise.
    gaps: dict[bool, list[float]] = {True: [], False: []}
    for job in plant.jobs:
        if job.found is None or job.left is None or not job.moves_v or known[job.tag].cause("thermal target"):
            continue
        change = np.subtract(job.left.as_tuple(), job.found.as_tuple())
        shim = min(value for value in job.moves_v.values[:2] if value is not None)
        near = change[0] + change[1] * known[job.tag].versions[0].feet_movable_mm[0] / 1000.0
        gaps[job.instrument == truth.instrument and job.performed_at.date() >= truth.since].append(near - shim)
    assert np.std(gaps[True]) > 1.5 * np.std(gaps[False])


def test_one_person_leaves_soft_feet_and_the_others_hardly_do(plant: Plant) -> None:
    (truth,) = (t for t in plant.truths if t.cause == "person")
    left_soft: dict[str, list[bool]] = defaultdict(list)
    for job in plant.jobs:
        rises = sorted(x for x in job.soft_after.values if x is not None)
        if rises:
            left_soft[job.people[0]].append(rises[-1] - rises[0] > 0.05)
    shares = {name: float(np.mean(seen)) for name, seen in left_soft.items()}
    assert shares.pop(truth.person) > 0.5
    assert max(shares.values()) < 0.1
