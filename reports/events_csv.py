"""The events of a ride as CSV, one row each (RFC 4180), safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io

from analyzer.events import Event
from analyzer.ride_analysis import RideResult
from reports.json_out import number

COLUMNS = (
    "kind",
    "start_s",
    "end_s",
    "severity",
    "drives",
    "quantity",
    "peak",
    "limit",
    "limit_value",
    "cause",
    "probability",
    "remedy",
)
"""The contract's."""

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\0")
"""Text that begins so can run as a formula in a spreadsheet (OWASP ASVS 5, 1.2.10; CWE-1236)."""


def events_csv(result: RideResult) -> str:
    """One row per event: what, when, how bad, against which limit, why, what to do."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for event in result.events:
        writer.writerow(_row(event))
    return text.getvalue()


def safe_text(text: str) -> str:
    """Text that no spreadsheet takes for a formula; numbers never come through here."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def _row(event: Event) -> list[str]:
    likeliest = event.causes[0] if event.causes else None
    remedy = event.remedy if likeliest is None or not likeliest.remedy else likeliest.remedy
    return [
        event.kind.value,
        _figure(event.start_s),
        _figure(event.end_s),
        event.severity.value,
        safe_text("+".join(event.drives)),
        safe_text(event.peak.quantity) if event.peak else "",
        _figure(event.peak.value) if event.peak else "",
        safe_text(event.limit.name) if event.limit else "",
        _figure(event.limit.value) if event.limit else "",
        safe_text(likeliest.cause) if likeliest else "",
        _figure(likeliest.probability) if likeliest else "",
        safe_text(" ".join(remedy)),
    ]


def _figure(value: float) -> str:
    rounded = number(value)
    return "" if rounded is None else repr(rounded)
