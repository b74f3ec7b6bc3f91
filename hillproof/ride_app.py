"""`look` and `ride` on the command line, and `demo`, which writes a ride to try them on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

import typer

from hillproof.options import (
    Json,
    Logs,
    MapFile,
    Mass,
    OpenReport,
    Quiet,
    Report,
    RideNote,
    SetupFile,
    Start,
    Strict,
    Temp,
)
from hillproof.plain_help import PlainCommand, example
from hillproof.shell import end_strictly, open_page, opened, say, shell_console

if TYPE_CHECKING:
    from analyzer.ride_analysis import RideResult

ride_app = typer.Typer()


@ride_app.command(
    cls=PlainCommand,
    short_help="Write a sample build with its logs and analyse it.",
    epilog=example("demo", "demo trial --open"),
)
def demo(
    folder: Annotated[
        str | None, typer.Argument(metavar="DIR", help="A new folder; else hillproof-demo.")
    ] = None,
    quiet: Quiet = False,
    open_report: OpenReport = False,
) -> None:
    """Write the sample build and logs, run the main job on them, say where the report is."""
    from hillproof.demo import run_demo

    report = run_demo(folder, console=shell_console(quiet=quiet))
    if open_report:
        open_page(report)


@ride_app.command(
    cls=PlainCommand,
    short_help="What is in these files, and how sure is each guess?",
    epilog=example("look left.csv right.csv", "look odd.csv --write-map odd-map.toml"),
)
def look(
    logs: Logs,
    setup: SetupFile = None,
    map_file: MapFile = None,
    write_map: Annotated[
        str | None,
        typer.Option("--write-map", metavar="FILE", help="Save the guesses as a map to edit."),
    ] = None,
    json: Json = None,
    table: Annotated[
        str | None,
        typer.Option(
            "--table", metavar="F.csv", help="Write one file's table as read, text as it stands."
        ),
    ] = None,
    quiet: Quiet = False,
) -> None:
    """What is in these files, column by column: what it was taken for, its unit and sign, how
    often it changes, how the clocks run, and how sure each guess is."""
    from hillproof import look_command

    look_command.run(
        logs,
        setup=setup,
        map_file=map_file,
        write_map=write_map,
        json=json,
        table=table,
        console=shell_console(quiet=quiet),
    )


@ride_app.command(
    cls=PlainCommand,
    short_help="What happened on a ride, why, and what to change?",
    epilog=example(
        "ride left.csv right.csv --report ride.html",
        "ride left=a.csv right=b.csv gps=c.csv --setup trike.toml --report ride.html --open",
        "ride wide.csv --table ride.parquet",
    ),
)
def ride(
    logs: Logs,
    setup: SetupFile = None,
    map_file: MapFile = None,
    report: Report = None,
    json: Json = None,
    events: Annotated[
        str | None, typer.Option("--events", metavar="F.csv", help="Write one row per event.")
    ] = None,
    table: Annotated[
        str | None,
        typer.Option(
            "--table", metavar="F.parquet", help="Keep the ride in one file, .parquet or .csv."
        ),
    ] = None,
    mass: Mass = None,
    temp: Temp = None,
    note: RideNote = None,
    start: Start = None,
    book: Annotated[
        str | None,
        typer.Option("--book", metavar="DIR", help="The book of a ride named instead of logs."),
    ] = None,
    open_report: OpenReport = False,
    quiet: Quiet = False,
    strict: Strict = False,
) -> None:
    """One ride from its logs: what happened, which limit or protection it was, on which side,
    and what to change."""
    from hillproof import jobs
    from hillproof.log_args import SetupChoice, check_outputs, choose_setup, log_path
    from hillproof.progress import progress_bar

    with opened(open_report, report):
        outputs = {"--report": report, "--json": json, "--events": events, "--table": table}
        kept = jobs.kept_file(logs, book)
        choice = choose_setup(setup, logs) if kept is None else SetupChoice(setup, found=False)
        check_outputs(outputs, [*map(log_path, logs), choice.path, map_file, kept])
        to_stdout = "-" in outputs.values()
        say(choice.sentence, quiet=quiet, err=to_stdout)
        jobs.warm_up(report=report is not None)
        with progress_bar(quiet) as step:
            result = jobs.analyse_ride(
                logs,
                choice.path,
                map_file=map_file,
                mass_kg=mass,
                pack_temp_c=temp,
                note=note,
                start=start,
                book=book,
                progress=step,
            )
            jobs.write_ride(
                result, report=report, json=json, events=events, table=table, progress=step
            )
        if not quiet and not to_stdout:
            _print(result, filter(None, outputs.values()))
    severities = [one.severity for one in result.events]
    severities += [one.severity for one in result.findings]
    end_strictly(strict, [str(one) for one in severities])


def _print(result: RideResult, written: Iterable[str]) -> None:
    from hillproof.console import console
    from reports.terminal import print_ride

    print_ride(result, console())
    for path in written:
        say(f"Written: {path}", quiet=False)
