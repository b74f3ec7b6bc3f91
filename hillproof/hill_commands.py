"""`limits`, `compare` and `predict` on the command line: call a job, print, write."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from hillproof import jobs
from hillproof.log_args import check_outputs

if TYPE_CHECKING:
    from rich.console import Console


def limits(
    rides: Sequence[str],
    *,
    book: str | None,
    report: str | None,
    json: str | None,
    console: Console | None,
) -> list[str]:
    """Judge limits over rides; the severities found.

    Raises
    ------
    importers.errors.UserError : a ride or an output that cannot be used
    """
    check_outputs({"--report": report, "--json": json}, rides)
    result = jobs.check_limits(rides, book)
    from reports.limits_json import limits_json
    from reports.limits_view import print_limits

    _write(json, report, lambda: limits_json(result), lambda: _page("limits_page", result))
    if console is not None and "-" not in (json, report):
        print_limits(result, console)
        _written(console, report, json)
    from analyzer.words import Verdict

    exceeded = any(one.check.verdict is Verdict.EXCEEDED for one in result.limits)
    return ["act"] if exceeded else []


def _page(name: str, result: object) -> str:
    from reports import page

    made: str = getattr(page, name)(result)
    return made


def _write(
    json: str | None,
    report: str | None,
    as_json: Callable[[], str],
    as_page: Callable[[], str],
) -> None:
    from reports.write import write_outputs

    contents: dict[str, str | bytes] = {}
    if json is not None:
        contents[json] = as_json()
    if report is not None:
        contents[report] = as_page()
    write_outputs(contents)


def _written(console: Console, *paths: str | None) -> None:
    for path in filter(None, paths):
        console.print(f"Written: {path}", markup=False)
