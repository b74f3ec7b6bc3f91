"""`limits`, `compare` and `predict` on the command line: call a job, print, write."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from hillproof import jobs
from hillproof.hill_asked import HillAsked
from hillproof.log_args import check_outputs, choose_setup

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
    result, shown = jobs.check_limits(rides, book)
    from reports.limits_json import limits_json
    from reports.limits_view import print_limits

    _write(json, report, lambda: limits_json(result), lambda: _page("limits_page", result, shown))
    if console is not None and "-" not in (json, report):
        print_limits(result, console)
        _written(console, report, json)
    from analyzer.words import Verdict

    exceeded = any(one.check.verdict is Verdict.EXCEEDED for one in result.limits)
    return ["act"] if exceeded else []


def _page(name: str, *parts: object) -> str:
    from reports import page

    made: str = getattr(page, name)(*parts)
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


def predict(
    hill: HillAsked,
    *,
    setup: str | None,
    rides: Sequence[str],
    book: str | None,
    report: str | None,
    json: str | None,
    console: Console | None,
) -> None:
    """Would this hill work? Prints and writes the answer.

    Raises
    ------
    importers.errors.UserError : arguments, setup, rides or outputs that cannot be used
    """
    carried = bool(rides) or book is not None
    choice = choose_setup(setup, rides, required=not carried)
    check_outputs({"--report": report, "--json": json}, [choice.path, hill.track, *rides])
    result = jobs.predict(hill, choice.path, rides, book)
    from reports.predict_json import predict_json

    _write(json, report, lambda: predict_json(result), lambda: _page("predict_page", result))
    if console is not None and "-" not in (json, report):
        from reports.predict_view import print_predict

        if choice.found:
            console.print(choice.sentence, markup=False)
        print_predict(result, console)
        _written(console, report, json)


def compare(
    before: str,
    after: str,
    *,
    book: str | None,
    report: str | None,
    json: str | None,
    console: Console | None,
) -> None:
    """Did a change of settings do what it was meant to? Prints and writes the answer.

    Raises
    ------
    importers.errors.UserError : a ride or an output that cannot be used
    """
    check_outputs({"--report": report, "--json": json}, [before, after])
    result = jobs.compare(before, after, book)
    from reports.compare_json import compare_json

    names = (Path(before).stem, Path(after).stem)
    _write(
        json, report, lambda: compare_json(result), lambda: _page("compare_page", result, *names)
    )
    if console is not None and "-" not in (json, report):
        from reports.compare_view import print_compare

        print_compare(result, *names, console)
        _written(console, report, json)
