"""The subcommands columns and group: sites as files of columns, and many sites studied side by side."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from dashboard.console.common import opened, out, settings_of
from dashboard.writing import counted
from models.errors import DriftbookError
from models.history.engine import study_of
from models.history.group import Group, SiteSummary, group_of, summary_of
from models.store.column_files import read_columns, sites_in, write_columns
from models.store.reader import Reader
from models.whole_files import not_written

WAIT = "20s"
"""How long a scheduler is waited for."""


def run_columns(given: argparse.Namespace) -> int:
    """Write the histories of a book's sites as Parquet."""
    folder = Path(given.folder)
    with opened(settings_of(given)) as engine:
        book = Reader(engine)
        sites = [site for site in book.sites() if given.site in {None, site.code}]
        if not sites:
            raise DriftbookError(
                f"The book has no site '{given.site}'.", remedy="Leave --site out to write all of them."
            )
        for site in sites:
            history = book.history(site.site_id)
            try:
                place = write_columns(history, site.code, folder, book=book.book_mark(), root_at=book.root_at)
            except OSError as fault:
                raise not_written(folder / site.code, fault, "driftbook columns FOLDER") from fault
            out.print(
                f"{place}: {len(history.jobs):,} jobs of {len(history.assets):,} machines, entry {history.head:,}."
            )
    return 0


def run_group(given: argparse.Namespace) -> int:
    """Study many sites, one after another or by several workers, and say what they say together."""
    places = sites_in(Path(given.folder))
    if not places:
        raise DriftbookError(
            f"There is no site in {given.folder}.", remedy="Write some first: driftbook columns FOLDER"
        )
    group = study_sites(places, workers=given.workers, scheduler=given.scheduler)
    if given.json:
        out.print_json(json.dumps(_plain(group.as_dict()), allow_nan=False))
    else:
        _show(group)
    return 0


def study_site(place: Path) -> SiteSummary:
    """Study one site from its files: the work of one worker."""
    code, history = read_columns(place)
    return summary_of(code, history, study_of(history))


def study_sites(places: Iterable[Path], *, workers: int = 1, scheduler: str | None = None) -> Group:
    """Study sites and put them together.

    Parameters
    ----------
    places : iterable of Path
        Folders of the sites; workers on other machines must reach them under the same path. [unitless]
    workers : int
        Processes on this machine; 1 works in this one, without any further library. [unitless]
    scheduler : str, optional
        Address of a running Dask scheduler whose workers do it instead. [unitless]

    Raises
    ------
    DriftbookError
        If the library for several workers is missing, or no scheduler answers.
    """
    if workers == 1 and scheduler is None:
        return group_of([study_site(place) for place in places])
    distributed = _library()
    options: dict[str, Any] = {"address": scheduler} if scheduler else {
        "n_workers": workers, "threads_per_worker": 1, "processes": True, "dashboard_address": None
    }  # fmt: skip
    try:
        client = distributed.Client(**options, timeout=WAIT)
    except OSError as fault:
        raise DriftbookError(
            f"No scheduler answers at {scheduler}: {fault}.", remedy="Start one, or leave --scheduler out."
        ) from fault
    with client:
        # Pure work: a worker that dies is replaced, and its site is studied again by another.
        return group_of(client.gather(client.map(study_site, list(places), pure=True)))


def _library() -> Any:
    try:
        import distributed
    except ModuleNotFoundError:
        raise DriftbookError(
            "Several workers need a library that is not installed.",
            remedy="Install it: in driftbook's checkout, pip install '.[group]', or leave --workers and --scheduler out.",
        ) from None
    return distributed


def _show(group: Group) -> None:
    from rich.table import Table

    out.print(
        f"{counted(len(group.sites), 'site')}, {group.machines:,} machines, {group.jobs:,} jobs. "
        f"{group.returned:,} of {group.looked:,} looks were returns, over {group.years:,.0f} machine-years: "
        f"{_rate(group.returned, group.years)} a machine-year."
    )
    if group.tested:
        out.print(
            f"80 % intervals on the sites' own past held in {group.held / group.tested:.1%} of {group.tested:,} tests."
        )
    table = Table(title="Found over limit, by speed class", title_justify="left")
    for heading in ("Speed class", "Sites", "Machines", "Found over", "Share", "95 % interval", "Left over"):
        table.add_column(heading, justify="left" if heading == "Speed class" else "right")
    for one in group.classes:
        known = one.judged > 0
        table.add_row(
            one.name,
            str(one.sites),
            f"{one.machines:,}",
            f"{one.over:,} of {one.judged:,}",
            f"{one.share:.1%}" if known else "–",
            f"{one.low:.1%}–{one.high:.1%}" if known else "–",
            f"{one.left_over:,} of {one.left_judged:,}",
        )
    out.print(table)


def _rate(count: int, years: float) -> str:
    return f"{count / years:.3f}" if years else "–"


def _plain(value: Any) -> Any:
    """Turn what is not a number into null: JSON knows no NaN."""
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return None if isinstance(value, float) and value != value else value  # noqa: PLR0124 - NaN is the one that differs from itself
