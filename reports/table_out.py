"""The joined ride as a table: Parquet that stands on its own, or CSV, by the file's ending."""

from __future__ import annotations

import io
from pathlib import PurePath

from analyzer.ride_analysis import RideResult
from importers.errors import UsageError
from reports.events_csv import safe_text

PARQUET_ENDINGS = (".parquet", ".pq")
CSV_ENDINGS = (".csv",)


def check_table_name(name: str) -> None:
    """Does the ending say which form is wanted? Raises `UsageError` when not."""
    ending = PurePath(name).suffix.lower()
    if name != "-" and ending not in PARQUET_ENDINGS + CSV_ENDINGS:
        raise UsageError(
            where=name,
            what=f"the ending '{ending}' does not say what to write",
            remedy="End the name with .parquet (keeps setup and sources) or .csv.",
        )


def ride_csv(result: RideResult) -> bytes:
    """The ride's table as CSV: UTF-8, numbers as the shortest text that reads back the same,
    missing values empty."""
    from pyarrow import Table, csv

    table = result.ride.table
    text_columns = table.select_dtypes(exclude="number").columns
    if len(text_columns):
        table = table.assign(
            **{name: table[name].map(safe_text, na_action="ignore") for name in text_columns}
        )
    held = io.BytesIO()
    csv.write_csv(Table.from_pandas(table, preserve_index=False), held)
    return held.getvalue()


def ride_table(result: RideResult, name: str) -> bytes:
    """The joined ride as the ending of `name` says: CSV, or a Parquet file that carries setup and
    sources and can be read again on its own. Raises `UsageError` for any other ending."""
    check_table_name(name)
    if PurePath(name).suffix.lower() in CSV_ENDINGS:
        return ride_csv(result)
    from importers.ride_file import ride_file_bytes

    return ride_file_bytes(result.ride, result.setup)
