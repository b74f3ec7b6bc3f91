"""Any ride gives a page: channels missing, empty or constant, two rows, a day, three drives."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made.ride_results import made_result

from reports.json_out import ride_json
from reports.page import MOST_BYTES, ride_page
from reports.terminal import print_ride

SHORT = made_result(duration_s=700.0, rate_hz=2.0)
COLUMNS = [name for name in SHORT.table.columns if name != "time_s"]


def with_table(result, table):
    fit = result.pack_fit
    if fit is not None:
        rows = len(table)
        fit = replace(
            fit, rest_voltage_v=fit.rest_voltage_v[:rows], modelled_v=fit.modelled_v[:rows]
        )
    return replace(result, ride=replace(result.ride, table=table), pack_fit=fit)


def shown(result):
    page = ride_page(result)
    assert len(page.encode()) < MOST_BYTES
    for word in ("NaN", "nan ", "None", "Infinity", "inf "):
        assert word not in page[page.index("<main") : page.index("</main>")]
    ride_json(result)
    return page


@settings(max_examples=12, deadline=None)
@given(st.sets(st.sampled_from(COLUMNS)), st.sets(st.sampled_from(COLUMNS)))
def test_channels_missing_or_without_a_value(dropped, empty):
    table = SHORT.table.drop(columns=sorted(dropped))
    for name in empty - dropped:
        table[name] = np.nan
    shown(with_table(SHORT, table))


@pytest.mark.parametrize("rows", [2, 3, 10])
def test_a_few_rows(rows):
    shown(with_table(SHORT, SHORT.table.iloc[:rows]))


def test_constant_channels():
    table = SHORT.table.copy()
    for name in COLUMNS:
        table[name] = 0.0
    shown(with_table(SHORT, table))


def test_one_wild_sample_does_not_break_the_page():
    table = SHORT.table.copy()
    table.loc[5, "left.battery_voltage_v"] = 1e12
    table.loc[6, "left.battery_current_a"] = -1e12
    shown(with_table(SHORT, table))


@pytest.mark.parametrize("drives", [("a",), ("front", "left", "right")])
def test_any_number_of_drives(drives):
    shown(made_result(drives))


def test_a_day_at_one_hertz():
    shown(made_result(duration_s=86_400.0, rate_hz=1.0))


def test_the_result_is_not_changed():
    before = SHORT.table.copy()
    ride_page(SHORT)
    assert before.equals(SHORT.table)


def test_terminal_of_every_kind_of_ride():
    from rich.console import Console

    for result in (SHORT, with_table(SHORT, SHORT.table.iloc[:2])):
        print_ride(result, Console(quiet=True))
