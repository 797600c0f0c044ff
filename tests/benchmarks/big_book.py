"""A large invented book for measurements: a fleet of ``tests.fleet``, written as files and imported by the command.

The fleet has planted rates, unequal intervals, visits that were called for,
breaks, spacer couplings, areas, trains, people and instruments, so that every
filter of every page has something to find.  A book is made once for each size
and kept in a folder.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np

from models.history.columns import REASONS, History
from tests.fleet import DAY_US, Plan, make_fleet

ROOT = Path(__file__).resolve().parents[2]
SEED = 20261125
END = np.datetime64("2026-11-01T06:00", "s")
"""No job and no break is later: the last visit of each machine lies in the year and a quarter before."""

DRIVEN = ("pump", "fan", "compressor", "gearbox")


def book_of(folder: Path, jobs: int, assets: int) -> Path:
    """Give the path of a book of about so many jobs, made in ``folder`` if it is not there yet.

    Parameters
    ----------
    folder : Path
        Where books are kept. [unitless]
    jobs, assets : int
        Size; the number of jobs is met within about one in a hundred. [unitless]
    """
    book = folder / f"book-{jobs}-{assets}.db"
    if book.exists():
        return book
    folder.mkdir(parents=True, exist_ok=True)
    files = write_files(folder, jobs, assets)
    making = folder / f"making-{jobs}-{assets}.db"
    for old in folder.glob(f"{making.name}*"):
        old.unlink()
    command = [sys.executable, "-m", "dashboard.cli"]
    for words in (
        ["init", "--book", str(making), "--site", "Bench", "--zone", "Europe/Berlin"],
        ["import", *map(str, files), "--book", str(making), "--by", "bench"],
    ):
        subprocess.run([*command, *words], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    # Under its own name only when it is whole; a clean close has folded the write-ahead log in.
    making.rename(book)
    Path(f"{making}.key").rename(f"{book}.key")
    for file in files:
        file.unlink()
    return book


def write_files(folder: Path, jobs: int, assets: int) -> tuple[Path, ...]:
    """Write the files of a fleet that driftbook imports: assets, breaks, instruments and jobs."""
    mean = max(jobs / assets, 2.0)
    # The truth is planted by the year: a denser history is a longer book with shorter intervals.
    plan = Plan(
        assets=assets,
        jobs_low=max(2, round(mean * 0.5)),
        jobs_high=max(3, round(mean * 1.5)),
        dt_median=min(0.75, 9.0 / mean),
        people=40,
        instruments=9,
        hours_share=0.2,
    )
    history, _ = make_fleet(SEED, plan)
    return (_assets(folder, history), _breaks(folder, history), _instruments(folder, history), _jobs(folder, history))


def _shift(history: History) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Give for each asset the days by which its jobs move, so that its last one lies in the past, all days at noon."""
    last = np.full(len(history.assets), 0, dtype=np.int64)
    np.maximum.at(last, history.jobs.asset, history.jobs.performed_us // DAY_US)
    before = np.random.default_rng(SEED).integers(0, 457, len(last))
    return END.astype("datetime64[D]").astype(np.int64) - before - last


def _assets(folder: Path, history: History) -> Path:
    path, a = folder / "assets.csv", history.assets
    areas = np.random.default_rng(SEED + 1).integers(0, 24, len(a))
    with path.open("w", encoding="utf-8") as stream:
        stream.write(
            "tag,description,area,train,driven machine,driver,criticality,coupling,spacer span [mm],"
            "running speed [rpm],movable foot row 1 [mm],movable foot row 2 [mm]\n"
        )
        for n in range(len(a)):
            train = f"T-{n // 2:05d}" if n % 10 < 2 else ""
            coupling = f"spacer,{a.span_mm[n]:g}" if a.spacer[n] else "short flexible,"
            stream.write(
                f"A-{n:06d},{DRIVEN[n % 4]} {n % 97} of line {n % 31},Area {areas[n]:02d},{train},{DRIVEN[n % 4]},motor,"
                f"{'ABC'[n % 3]},{coupling},{a.speed_rpm[n]:g},250,750\n"
            )
    return path


def _breaks(folder: Path, history: History) -> Path:
    path, shift = folder / "breaks.csv", _shift(history)
    with path.open("w", encoding="utf-8") as stream:
        stream.write("tag,date,replaced,reason\n")
        for asset, at in zip(history.breaks.asset.tolist(), history.breaks.at_us.tolist(), strict=True):
            day = np.datetime64(at // DAY_US + int(shift[asset]), "D")
            if day > END:  # it came after the last visit, and may lie in the days to come: an import would refuse it
                continue
            stream.write(f"A-{asset:06d},{day},movable machine,worn out\n")
    return path


def _instruments(folder: Path, history: History) -> Path:
    path = folder / "instruments.csv"
    with path.open("w", encoding="utf-8") as stream:
        stream.write("serial,description,calibrated,calibration due\n")
        for number, serial in enumerate(history.instruments):
            stream.write(f"{serial},made for a benchmark,2025-0{number + 1}-01,2026-0{number + 1}-01\n")
    return path


def _jobs(folder: Path, history: History) -> Path:
    path, jobs, shift = folder / "jobs.csv", history.jobs, _shift(history)
    days = jobs.performed_us // DAY_US + shift[jobs.asset]
    # Two visits of one machine in a day would be one job said twice: the hour tells them apart.
    hour = np.arange(len(jobs)) % 10 + 7
    when = np.char.add(days.astype("datetime64[D]").astype(str), np.char.add("T", np.char.zfill(hour.astype(str), 2)))
    measured = [side.round(4).astype(object) for side in (jobs.found, jobs.left)]
    for side in measured:
        side[np.isnan(side.astype(np.float64))] = ""
    soft = np.stack([jobs.soft_before, jobs.soft_after], axis=1).round(3)
    hours = np.where(np.isnan(jobs.hours_run), 0.0, jobs.hours_run.round())
    components = ("offset V [mm]", "angle V [mm/m]", "offset H [mm]", "angle H [mm/m]")
    heads = [f"{stage} {component}" for stage in ("found", "left") for component in components]
    heads += [f"soft foot {when} {foot} [mm]" for when in ("before", "after") for foot in ("1L", "1R", "2L", "2R")]
    with path.open("w", encoding="utf-8") as stream:
        stream.write(
            "job,tag,performed at,reason,people,instrument,method," + ",".join(heads) + ",hours run [h],notes\n"
        )
        for n in range(len(jobs)):
            found, left = measured[0][n], measured[1][n]
            stream.write(
                f"B{n:07d},A-{jobs.asset[n]:06d},{when[n]}:{n % 60:02d},{REASONS[jobs.reason[n]]},"
                f"{history.people[jobs.person[n]]},{history.instruments[jobs.instrument[n]]},laser,"
                f"{found[0]},{found[1]},{found[2]},{found[3]},{left[0]},{left[1]},{left[2]},{left[3]},"
                f"{soft[n, 0]},0,0,0,{soft[n, 1]},0,0,0,{hours[n] or ''},\n"
            )
    return path
