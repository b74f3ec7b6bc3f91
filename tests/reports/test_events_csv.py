"""The events file: the contract's columns, RFC 4180, nothing a spreadsheet would run."""

import csv
import io
from dataclasses import replace

import pytest
from made.ride_results import bare_result, made_result, with_events

from reports.events_csv import events_csv, safe_text

HEADER = (
    "kind,start_s,end_s,severity,drives,quantity,peak,limit,limit_value,cause,probability,remedy"
)
"""The contract's section 2."""


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_header_line_ends_and_fields():
    text = events_csv(made_result())
    assert text.split("\r\n")[0] == HEADER
    assert text.count("\n") == text.count("\r\n") == 5
    brake, _, cutout, gap = rows_of(text)
    assert brake["drives"] == "left+right"
    assert brake["peak"] == "-13.6"
    assert cutout["cause"] == "bms_overcurrent_discharge"
    assert cutout["probability"] == "0.93"
    assert cutout["remedy"].startswith("Set each drive's battery limit to 17.5 A")
    assert gap["peak"] == gap["limit"] == gap["cause"] == ""


def test_without_events_only_the_header():
    assert events_csv(bare_result()) == HEADER + "\r\n"


@pytest.mark.parametrize("start", ["=1+1", "+1", "-1", "@x", "\tx", "\rx"])
def test_text_that_could_run_is_disarmed(start):
    # OWASP ASVS 5, 1.2.10: a leading apostrophe; CWE-1236 lists the first characters.
    full = made_result()
    event = replace(full.events[0], drives=(f'{start},"quoted"\nline',))
    (row,) = rows_of(events_csv(with_events(full, (event,))))
    assert row["drives"] == f'\'{start},"quoted"\nline'
    assert row["peak"] == "-13.6"


def test_harmless_text_is_left_alone():
    assert safe_text("left") == "left"
