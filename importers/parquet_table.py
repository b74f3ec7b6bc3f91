"""A log that comes as a Parquet file: the same raw table as from text."""

from __future__ import annotations

import os

import pyarrow as pa
import pyarrow.parquet as pq

from importers.cell_values import column_of
from importers.dialect import Dialect
from importers.errors import LogError
from importers.raw_table import RawColumn, RawTable

MAGIC = b"PAR1"
MOST_ROWS = 50_000_000
"""More rows than 24 h at 500 Hz are not believed. Our choice."""
MOST_CELLS = 200_000_000
"""... nor more cells: they would fill 1.6 GB. Our choice."""
MOST_CELLS_A_BYTE = 50
FREE_CELLS = 10_000_000
"""A file that claims more cells than this for each of its bytes, and more than these, is no log:
what swings packs to a byte or two a cell. Our choice."""


def parquet_cells(path: str) -> pa.Table:
    """A Parquet file's table as it is.

    Raises
    ------
    LogError : it is damaged or far too large
    """
    try:
        file = pq.ParquetFile(path)
        rows, width = file.metadata.num_rows, file.metadata.num_columns
        most = max(FREE_CELLS, MOST_CELLS_A_BYTE * os.path.getsize(path))
        if rows > MOST_ROWS or rows * width > min(MOST_CELLS, most):
            raise LogError(
                where=path,
                what=f"it claims {rows} rows of {width} columns",
                remedy="Cut it into rides first.",
            )
        return file.read()
    except (pa.ArrowException, OSError) as error:
        raise LogError(
            where=path,
            what=f"a damaged Parquet file ({str(error).splitlines()[0][:80]})",
            remedy="Copy it from the logger again.",
        ) from error


def read_parquet_table(path: str) -> RawTable:
    """The table in a Parquet file as columns of numbers and of words.

    Raises
    ------
    LogError : it is damaged or far too large
    """
    table = parquet_cells(path)
    plain = Dialect(delimiter=",", quote='"', decimal=".", thousands="", width=1, score=1.0)
    columns: list[RawColumn] = []
    left: list[str] = []
    for at, name in enumerate(table.column_names):
        column = table.column(at)
        kind = column.type
        if pa.types.is_timestamp(kind) or pa.types.is_date(kind):
            columns.append(RawColumn(name, "", texts=_iso(column)))
        elif pa.types.is_nested(kind) or pa.types.is_binary(kind):
            left.append(name)
        else:
            columns.append(column_of(column, name, "", plain))
    problems = (f"nested columns left out: {', '.join(left)}",) if left else ()
    return RawTable(tuple(columns), table.num_rows, problems=problems, form="Parquet")


def _iso(column: pa.ChunkedArray) -> pa.StringArray:
    import pyarrow.compute as pc

    zoned = getattr(column.type, "tz", None)
    stamps = column.cast(pa.timestamp("us", tz=zoned), safe=False)  # nanoseconds are cut
    text = pc.strftime(stamps, format="%Y-%m-%dT%H:%M:%S%z" if zoned else "%Y-%m-%dT%H:%M:%S")
    flat = text.combine_chunks()
    return flat if isinstance(flat, pa.StringArray) else pa.array(flat, pa.string())
