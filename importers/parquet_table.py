"""A log that comes as a Parquet file: the same raw table as from text."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import pyarrow as pa
import pyarrow.parquet as pq

from importers.cell_values import column_of
from importers.dialect import Dialect
from importers.errors import LogError
from importers.gather import Gathered
from importers.raw_table import RawColumn, RawTable

MAGIC = b"PAR1"
MOST_ROWS = 50_000_000
"""More rows than 24 h at 500 Hz are not believed. Our choice."""
MOST_CELLS = 2_000_000_000
"""... nor more cells. Our choice: the same day of 40 columns."""
MOST_AT_ONCE = 200_000_000
"""What is not read in parts is not larger [cells]: it would fill 1.6 GB. Our choice."""
LONG_CELLS = 32_000_000
"""From this size on a table is read in parts [cells]. Our choice: whole it would take 256 MB, as a
text of that size does."""
PART_CELLS = 4_000_000
"""Cells read at once of a long table. Our choice: 32 MB."""
BUFFER = 1 << 20
"""Bytes read ahead of each column. Our choice."""
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
    with _opened(path, MOST_AT_ONCE) as file:
        return file.read()


def read_parquet_table(path: str) -> RawTable:
    """The table in a Parquet file as columns of numbers and of words; a long one is read row group
    by row group and thinned as a long text is.

    Raises
    ------
    LogError : it is damaged or far too large
    """
    with _opened(path, MOST_CELLS) as file:
        nested = [
            one.name for one in file.schema_arrow
            if pa.types.is_nested(one.type) or pa.types.is_binary(one.type)
        ]  # fmt: skip
        problems = (f"nested columns left out: {', '.join(nested)}",) if nested else ()
        meta = file.metadata
        if meta.num_rows * meta.num_columns > LONG_CELLS:
            return _in_parts(file, problems)
        table = file.read()
        return RawTable(_columns(table), table.num_rows, problems=problems, form="Parquet")


@contextmanager
def _opened(path: str, most_cells: int) -> Iterator[pq.ParquetFile]:
    """The file; what is wrong with it, now or while it is read, as one message."""
    try:
        with pq.ParquetFile(path, pre_buffer=False, buffer_size=BUFFER) as file:
            rows, width = file.metadata.num_rows, file.metadata.num_columns
            most = max(FREE_CELLS, MOST_CELLS_A_BYTE * os.path.getsize(path))
            if rows > MOST_ROWS or rows * width > min(most_cells, most):
                raise LogError(
                    where=path,
                    what=f"it claims {rows} rows of {width} columns",
                    remedy="Cut it into rides first.",
                )
            yield file
    except (pa.ArrowException, OSError) as error:
        raise LogError(
            where=path,
            what=f"a damaged Parquet file ({str(error).splitlines()[0][:80]})",
            remedy="Copy it from the logger again.",
        ) from error


def _in_parts(file: pq.ParquetFile, problems: tuple[str, ...]) -> RawTable:
    rows, size = file.metadata.num_rows, max(PART_CELLS // file.metadata.num_columns, 1)
    pieces = -(-rows // size)
    out = Gathered(problems)
    for batch in file.iter_batches(batch_size=size):
        piece = _columns(pa.Table.from_batches([batch]))
        out.add(piece, (), batch.num_rows / rows, pieces)
        pa.default_memory_pool().release_unused()
    return replace(out.table(preamble=(), header_trusted=True), form="Parquet, read in parts")


def _columns(table: pa.Table) -> tuple[RawColumn, ...]:
    """Columns of numbers and of words; none of what is nested or binary."""
    plain = Dialect(delimiter=",", quote='"', decimal=".", thousands="", width=1, score=1.0)
    columns: list[RawColumn] = []
    for at, name in enumerate(table.column_names):
        column = table.column(at)
        kind = column.type
        if pa.types.is_timestamp(kind) or pa.types.is_date(kind):
            columns.append(RawColumn(name, "", texts=_iso(column)))
        elif not (pa.types.is_nested(kind) or pa.types.is_binary(kind)):
            columns.append(column_of(column, name, "", plain))
    return tuple(columns)


def _iso(column: pa.ChunkedArray) -> pa.StringArray:
    import pyarrow.compute as pc

    zoned = getattr(column.type, "tz", None)
    stamps = column.cast(pa.timestamp("us", tz=zoned), safe=False)  # nanoseconds are cut
    text = pc.strftime(stamps, format="%Y-%m-%dT%H:%M:%S%z" if zoned else "%Y-%m-%dT%H:%M:%S")
    flat = text.combine_chunks()
    return flat if isinstance(flat, pa.StringArray) else pa.array(flat, pa.string())
