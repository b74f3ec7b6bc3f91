"""What the commands share at the edge: what is said, shown in a browser, and the strict exit."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from rich.console import Console

EXIT_STRICT = 1


def shell_console(*, quiet: bool = False) -> Console | None:
    """Where results are printed; None where nothing shall be."""
    if quiet:
        return None
    from hillproof.console import console

    return console()


def say(text: str, *, quiet: bool, err: bool = False) -> None:
    """One line to the rider, unless it is empty or quiet was asked for."""
    if text and not quiet:
        typer.echo(text, err=err)


def end_strictly(strict: bool, severities: list[str]) -> None:
    """With `--strict`: exit status 1 when something must be acted on."""
    if strict and "act" in severities:
        raise typer.Exit(EXIT_STRICT)


def open_page(report: str) -> None:
    """Show a written report in the browser."""
    import webbrowser

    webbrowser.open(Path(report).absolute().as_uri())


@contextmanager
def opened(open_report: bool, report: str | None) -> Iterator[None]:
    """With `--open`: refuse at once where there will be no report, show it once it is written.

    Raises
    ------
    importers.errors.UsageError : no report file was asked for
    """
    if not open_report:
        yield
        return
    if report is None or report == "-":
        from importers.errors import UsageError

        raise UsageError(
            where="--open", what="there is no report file to open", remedy="Add --report F.html."
        )
    yield
    open_page(report)
