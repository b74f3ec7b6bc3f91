"""The joined ride as a table that reads back the same."""

import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made.ride_results import made_result

from importers.errors import UsageError
from reports.table_out import ride_table


def test_csv_reads_back_the_same():
    result = made_result(duration_s=30.0)
    table = result.table.copy()
    table.loc[3, "left.battery_current_a"] = np.nan
    table["status"] = pd.Series(["=1+1", None] * (len(table) // 2), dtype=object)
    result = replace(result, ride=replace(result.ride, table=table))
    data = ride_table(result, "out.CSV")
    back = pd.read_csv(io.BytesIO(data))
    # Types may differ (a column of whole numbers reads back as integers); values may not.
    pd.testing.assert_frame_equal(
        back.drop(columns="status"),
        table.drop(columns="status"),
        check_dtype=False,
        check_exact=True,
    )
    assert back["status"].iloc[0] == "'=1+1"


def test_an_ending_that_says_nothing_is_refused():
    with pytest.raises(UsageError, match=r"\.parquet"):
        ride_table(made_result(duration_s=30.0), "out.xlsx")
