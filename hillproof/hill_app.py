"""`limits`, `predict` and `compare` on the command line: parse, call `hill_commands`."""

from __future__ import annotations

from typing import Annotated

import typer

from hillproof.options import BookFolder, Json, OpenReport, Quiet, Report, Rides, SetupFile, Strict
from hillproof.plain_help import PlainCommand, example
from hillproof.shell import end_strictly, opened, shell_console

hill_app = typer.Typer()


@hill_app.command(
    cls=PlainCommand,
    short_help="Do the limits hold on real hills, and what was never tried?",
    epilog=example("limits ride.parquet", "limits --book DIR --report limits.html"),
)
def limits(
    rides: Rides = None,
    book: BookFolder = None,
    report: Report = None,
    json: Json = None,
    open_report: OpenReport = False,
    quiet: Quiet = False,
    strict: Strict = False,
) -> None:
    """Do the limits hold: every limit over one ride or many, climb by climb, under what conditions
    that was tried, and which ride would try the rest."""
    from hillproof import hill_commands

    with opened(open_report, report):
        severities = hill_commands.limits(
            rides or (), book=book, report=report, json=json, console=shell_console(quiet=quiet)
        )
    end_strictly(strict, severities)


@hill_app.command(
    cls=PlainCommand,
    short_help="Would this hill work, at this charge and temperature?",
    epilog=example(
        "predict --grade 9 --length 400 --charge 40 ride.parquet",
        "predict --grade -6 --length 900 --charge 98 --temp 5 ride.parquet",
        "predict --track way.gpx --charge 80 --book DIR",
    ),
)
def predict(
    rides: Rides = None,
    grade: Annotated[
        float | None,
        typer.Option("--grade", metavar="PCT", help="How steep; a negative grade is a descent."),
    ] = None,
    length: Annotated[
        float | None, typer.Option("--length", metavar="M", help="Length along the road.")
    ] = None,
    charge: Annotated[
        float | None,
        typer.Option("--charge", metavar="PCT", help="The pack's charge where the hill begins."),
    ] = None,
    temp: Annotated[
        float | None,
        typer.Option(
            "--temp", metavar="C", help="Of the air, and of pack and motors at the start."
        ),
    ] = None,
    speed: Annotated[
        float | None,
        typer.Option("--speed", metavar="KMH", help="Speed at the start; else as usual on climbs."),
    ] = None,
    extra_mass: Annotated[
        float,
        typer.Option("--extra-mass", metavar="KG", help="Load on top of the setup's mass."),
    ] = 0.0,
    track: Annotated[
        str | None,
        typer.Option(
            "--track", metavar="F.gpx", help="A recorded way instead of grade and length."
        ),
    ] = None,
    setup: SetupFile = None,
    book: BookFolder = None,
    report: Report = None,
    json: Json = None,
    open_report: OpenReport = False,
    quiet: Quiet = False,
) -> None:
    """Would this hill work: currents, voltage and heat to expect against every limit, each with
    its chance, and up to which grade, charge and cold it would."""
    from hillproof import hill_commands
    from hillproof.hill_asked import HillAsked

    with opened(open_report, report):
        hill = HillAsked(grade, length, charge, temp, speed, extra_mass, track)
        hill_commands.predict(
            hill,
            setup=setup,
            rides=rides or (),
            book=book,
            report=report,
            json=json,
            console=shell_console(quiet=quiet),
        )


@hill_app.command(
    cls=PlainCommand,
    short_help="Did a change of settings do what it was meant to?",
    epilog=example("compare before.parquet after.parquet --report change.html"),
)
def compare(
    before: Annotated[str, typer.Argument(metavar="RIDE_A", help="The ride before the change.")],
    after: Annotated[str, typer.Argument(metavar="RIDE_B", help="The ride after it.")],
    book: BookFolder = None,
    report: Report = None,
    json: Json = None,
    open_report: OpenReport = False,
    quiet: Quiet = False,
) -> None:
    """Did a change of settings do what it was meant to: two rides against each other, and which
    differences are more than chance."""
    from hillproof import hill_commands

    with opened(open_report, report):
        hill_commands.compare(
            before,
            after,
            book=book,
            report=report,
            json=json,
            console=shell_console(quiet=quiet),
        )
