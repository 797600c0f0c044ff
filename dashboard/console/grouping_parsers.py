"""How the subcommands columns and group are typed."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from dashboard.console.typed import file

RUNS = {"columns": ("grouping", "run_columns"), "group": ("grouping", "run_group")}


def add_grouping(
    verb: Callable[[str, str, str], argparse.ArgumentParser], book: Callable[[argparse.ArgumentParser], None]
) -> None:
    """Add both subcommands."""
    columns = verb(
        "columns",
        "write the history of each site as Parquet files, for study on another machine",
        "  driftbook columns out/columns",
    )
    columns.add_argument("folder", type=file, metavar="FOLDER", help="where a folder for each site is made")
    columns.add_argument("--site", metavar="CODE", help="only this site (default: all)")
    book(columns)
    group = verb(
        "group",
        "study many sites from such files, by several workers, and say what they say together",
        "  driftbook group out/columns\n"
        "  driftbook group out/columns --workers 4 --json > group.json\n"
        "  driftbook group /shared/columns --scheduler tcp://10.0.0.5:8786",
    )
    group.add_argument("folder", type=file, metavar="FOLDER", help="folder that 'driftbook columns' wrote into")
    group.add_argument("--workers", type=int, default=1, metavar="N", help="processes on this machine (default: 1)")
    group.add_argument("--scheduler", metavar="ADDRESS", help="a running Dask scheduler, whose workers do it")
    group.add_argument("--json", action="store_true", help="print everything as JSON")
