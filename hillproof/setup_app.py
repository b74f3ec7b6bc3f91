"""`setup new` and `setup check` on the command line: parse, call `setup_command`."""

from __future__ import annotations

from typing import Annotated

import typer

from hillproof.options import BookFolder, Json, OpenReport, Quiet, Report, Rides, SetupFile, Strict
from hillproof.plain_help import PlainCommand, example
from hillproof.shell import end_strictly, opened, shell_console

setup_app = typer.Typer(
    help="Write a setup file, or judge one on paper.", no_args_is_help=True, rich_markup_mode=None
)


@setup_app.command(
    "new", cls=PlainCommand, epilog=example("setup new setup.toml", "setup new setup.toml --ask")
)
def setup_new(
    file: Annotated[str, typer.Argument(metavar="FILE", help="A new file.")],
    ask: Annotated[bool, typer.Option("--ask", help="Ask for the values one by one.")] = False,
    quiet: Quiet = False,
) -> None:
    """Write a commented setup file to fill in; replaces nothing."""
    from hillproof import setup_command

    setup_command.new(file, ask=ask, quiet=quiet)


@setup_app.command(
    "check",
    cls=PlainCommand,
    short_help="What will go wrong with these limits, and what would do?",
    epilog=example("setup check setup.toml", "setup check setup.toml ride.parquet"),
)
def setup_check(
    file: Annotated[str | None, typer.Argument(metavar="FILE", help="The setup to judge.")] = None,
    rides: Rides = None,
    setup: SetupFile = None,
    book: BookFolder = None,
    report: Report = None,
    json: Json = None,
    open_report: OpenReport = False,
    quiet: Quiet = False,
    strict: Strict = False,
) -> None:
    """A setup judged before any ride: what will go wrong on the road, what to set instead and what
    that costs; with rides, by what they showed, too."""
    from hillproof import setup_command

    with opened(open_report, report):
        severities = setup_command.check(
            file or setup,
            rides or (),
            book=book,
            report=report,
            json=json,
            console=shell_console(quiet=quiet),
        )
    end_strictly(strict, severities)
