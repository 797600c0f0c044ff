"""Every table that can be taken along, by name, and the three ways to write one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from dashboard.files import csv_file, parquet_file, xlsx_file
from dashboard.files.around import Around, around
from dashboard.files.table_out import TableOut
from dashboard.files.tables_asset import asset_jobs, asset_runs
from dashboard.files.tables_book import (
    effects,
    entries,
    instrument_jobs,
    instruments,
    late_jobs,
    limit_sets,
    people,
    people_left,
    what_if,
)
from dashboard.files.tables_fleet import due, due_loads, forecast_held, groups, machines, no_forecast, offenders
from dashboard.files.tables_month import month_chart, month_classes, month_jobs, month_left_over, month_returned
from dashboard.files.tables_more import (
    asset_components,
    asset_feet,
    asset_forecast,
    asset_versions,
    funnel,
    limit_curve,
    repeatability,
)
from dashboard.place import shortened
from dashboard.words import say
from models.errors import UnknownNameError

Make = Callable[[Around], TableOut]

TABLES: dict[str, Make] = {
    "month-classes": month_classes,
    "month-chart": month_chart,
    "month-jobs": month_jobs,
    "month-left-over": month_left_over,
    "month-returned": month_returned,
    "offenders": offenders,
    "funnel": funnel,
    "groups": groups,
    "machines": machines,
    "asset-jobs": asset_jobs,
    "asset-runs": asset_runs,
    "asset-versions": asset_versions,
    "asset-forecast": asset_forecast,
    "asset-components": asset_components,
    "asset-feet": asset_feet,
    "due": due,
    "due-loads": due_loads,
    "forecast-held": forecast_held,
    "no-forecast": no_forecast,
    "entries": entries,
    "people": people,
    "people-left": people_left,
    "instruments": instruments,
    "late-jobs": late_jobs,
    "instrument-jobs": instrument_jobs,
    "effects": effects,
    "repeatability": repeatability,
    "limit-sets": limit_sets,
    "limit-curve": limit_curve,
    "what-if": what_if,
}
"""What makes each table out of the query of its page."""


@dataclass(frozen=True, slots=True)
class FileForm:
    """One way to write a table."""

    mime: str
    write: Callable[[TableOut], bytes]


FORMS: dict[str, FileForm] = {
    "csv": FileForm(csv_file.MIME, csv_file.csv_bytes),
    "xlsx": FileForm(xlsx_file.MIME, xlsx_file.xlsx_bytes),
    "parquet": FileForm(parquet_file.MIME, parquet_file.parquet_bytes),
}
"""The ways, by the ending of the file."""


def make_table(name: str, query: str) -> TableOut:
    """Make a table for a query.

    Parameters
    ----------
    name : str
        Name of the table. [unitless]
    query : str
        The same query as that of its page. [unitless]

    Raises
    ------
    UnknownNameError
        If there is no such table, or what the query names is not known.
    """
    make = TABLES.get(name)
    if make is None:
        raise UnknownNameError(
            say("files.no_table", asked=shortened(name)),
            remedy=say("files.no_table.remedy", names=", ".join(TABLES)),
        )
    return make(around(f"/table/{name}", query))
