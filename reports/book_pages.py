"""A whole book as linked pages in one folder that open from disk and share one plot script."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from analyzer.ageing_result import AgeingResult
from analyzer.limits_merge import merge_limits
from analyzer.ride_analysis import RideResult
from analyzer.words import Severity
from reports.findings_view import findings_views
from reports.limits_view import summary
from reports.numbers import day, estimate, quantity
from reports.page import Shelf, ageing_page, limits_page, render, ride_page
from reports.plot_script import plot_script
from reports.sentences import capital

SCRIPT = "plots.js"
INDEX = "index.html"
TO_BOOK = (INDEX, "All rides")


@dataclass(frozen=True, slots=True)
class LinkedRow:
    """One ride of the index: its page, its numbers, its gravest finding."""

    file: str
    name: str
    severity: Severity | None
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BookView:
    """The index: packs with their ageing pages, rides with theirs."""

    title: str
    ageing: tuple[tuple[str, str, str], ...]
    """(file, pack, sentence)."""
    limits: tuple[tuple[str, str, str], ...]
    """(file, build, sentence)."""
    caption: str
    heads: tuple[str, ...]
    rides: tuple[LinkedRow, ...]


def file_of(kind: str, name: str) -> str:
    """The page's file name: letters, digits and dashes only, whatever the ride is called."""
    return f"{kind}-{re.sub('[^A-Za-z0-9]+', '-', name).strip('-').lower() or 'one'}.html"


def book_pages(
    rides: Iterable[tuple[str, RideResult]], packs: Iterable[tuple[str, AgeingResult]]
) -> Iterator[tuple[str, str | bytes]]:
    """(file name, content) of every page, one ride at a time so that a long book needs no more
    memory than a short one; the index comes last, when every page it leads to is there."""
    yield SCRIPT, plot_script()
    taken: set[str] = set()
    rows = []
    builds: dict[str, list[tuple[str, RideResult]]] = {}
    shelf = Shelf(SCRIPT, (TO_BOOK,))
    for name, result in rides:
        file = _free(file_of("ride", name), taken)
        yield file, ride_page(result, shelf)
        rows.append(_row(file, name, result))
        builds.setdefault(_build_name(result), []).append((name, _without_table(result)))
    ageing = []
    for name, judged in packs:
        file = _free(file_of("ageing", name), taken)
        yield file, ageing_page(judged, shelf)
        ageing.append((file, capital(name), _sentence(judged)))
    limits = []
    for name, own in builds.items():
        file = _free(file_of("limits", name), taken)
        merged = merge_limits(own)
        yield file, limits_page(merged, shelf=shelf)
        limits.append((file, capital(name), summary(merged)))
    yield INDEX, _index(tuple(rows), tuple(ageing), tuple(limits))


def _build_name(result: RideResult) -> str:
    """Limits are those of one build: rides of another are another page."""
    return result.setup.vehicle.name or result.setup.pack.name or "the build"


def _without_table(result: RideResult) -> RideResult:
    """What limits need of a ride, without its samples: a book may hold thousands."""
    bare = replace(result.ride, table=result.ride.table[["time_s"]].iloc[:0].copy())
    return replace(result, ride=bare, pack_fit=None)


def _free(file: str, taken: set[str]) -> str:
    stem, count = file.removesuffix(".html"), 1
    while file in taken:
        count += 1
        file = f"{stem}-{count}.html"
    taken.add(file)
    return file


def _sentence(result: AgeingResult) -> str:
    from reports.ageing_view import headline

    return headline(result)


def _row(file: str, name: str, result: RideResult) -> LinkedRow:
    views = findings_views(result)
    totals, pack = result.totals, result.pack
    first = views[0] if views else None
    return LinkedRow(
        file,
        day(result.ride.start) or name,
        first.severity if first else None,
        (
            name,
            quantity(totals.distance_m, "m"),
            estimate(pack.resistance_10s_25c_ohm, "ohm"),
            first.headline if first else "Nothing that needs telling.",
        ),
    )


def _index(
    rows: tuple[LinkedRow, ...],
    ageing: tuple[tuple[str, str, str], ...],
    limits: tuple[tuple[str, str, str], ...],
) -> str:
    view = BookView(
        title="The book of rides",
        ageing=ageing,
        limits=limits,
        caption="Every ride kept, in the order ridden",
        heads=("Ride", "Kept as", "Distance", "Resistance at 25 °C", "First finding"),
        rides=rows,
    )
    return render("book.html.j2", view=view, shelf=Shelf(SCRIPT, ()))
