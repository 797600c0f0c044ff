"""A table as Parquet, typed, with unit and meaning of each column in the file itself."""

from __future__ import annotations

import io
from typing import Any

from dashboard.files.table_out import Form, TableOut
from dashboard.files.xlsx_file import about_lines
from dashboard.words import say
from models.errors import DriftbookError

MIME = "application/vnd.apache.parquet"


class NoParquetError(DriftbookError):
    """What writes Parquet is not installed."""


def parquet_bytes(table: TableOut) -> bytes:
    """Write a table.

    Parameters
    ----------
    table : TableOut
        The table. [as said by its columns]

    Raises
    ------
    NoParquetError
        If pyarrow is not installed.
    """
    arrow, parquet = _library()
    kinds = {
        Form.TEXT: arrow.string(),
        Form.NUMBER: arrow.float64(),
        Form.COUNT: arrow.int64(),
        Form.YES: arrow.bool_(),
        Form.DAY: arrow.date32(),
        Form.MOMENT: arrow.timestamp("us", tz=table.zone),
    }
    fields = [
        arrow.field(
            column.heading,
            kinds[column.form],
            metadata={"unit": column.unit, "meaning": column.meaning},
        )
        for column in table.columns
    ]
    arrays = [arrow.array(column.values, type=field.type) for column, field in zip(table.columns, fields, strict=True)]
    schema = arrow.schema(fields, metadata=dict(about_lines(table)))
    held = io.BytesIO()
    parquet.write_table(arrow.Table.from_arrays(arrays, schema=schema), held)
    return held.getvalue()


def _library() -> tuple[Any, Any]:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise NoParquetError(say("files.no_parquet"), remedy=say("files.no_parquet.remedy")) from None
    return pa, pq
