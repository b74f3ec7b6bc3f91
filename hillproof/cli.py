"""The command line: parse, call one job, print. Nothing heavy is imported before it is needed.

Exit status: 0 the job was done; 1 only with --strict; 2 the input, setup or arguments cannot be
used; 70 a fault of ours.
"""

from __future__ import annotations

import errno
import gc
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from hillproof.book_command import ageing, book_app
from hillproof.options import (
    Json,
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
from importers.errors import UserError

if TYPE_CHECKING:
    from rich.console import Console

EXIT_STRICT, EXIT_UNUSABLE, EXIT_OUR_FAULT, EXIT_INTERRUPTED = 1, 2, 70, 130
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
"""What the system says of an output with no room for more."""
TRACEBACK_VARIABLE = "HILLPROOF_TRACEBACK"
COLLECT_EVERY = 1_000_000
"""Objects made between two searches for dead cycles. Imports make hundreds of thousands that stay;
at Python's default, searching them takes a tenth of a second from each command. Our choice."""

app = typer.Typer(
    name="hillproof",
    help="Why did it cut out, do the limits hold, how has the pack aged: from your ride logs.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
setup_app = typer.Typer(
    help="Write a setup file, or judge one on paper.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(setup_app, name="setup")
app.add_typer(book_app, name="book")
app.command(
    "ageing",
    cls=PlainCommand,
    short_help="How has the pack aged, and when will that matter?",
    epilog=example("ageing --report ageing.html"),
)(ageing)

Logs = Annotated[
    list[str],
    typer.Argument(
        metavar="LOG", help="Log files; left=FILE, gps=FILE or bms=FILE says what one holds."
    ),
]
BookFolder = Annotated[
    str | None, typer.Option("--book", metavar="DIR", help="A book whose rides count, too.")
]
Rides = Annotated[
    list[str] | None,
    typer.Argument(metavar="RIDE", help="Ride files of this build, or names in a book."),
]


def _console() -> Console:
    from hillproof.console import console

    return console()


def _say(text: str, *, quiet: bool, err: bool = False) -> None:
    if text and not quiet:
        typer.echo(text, err=err)


def _open(report: str | None) -> None:
    if report is None or report == "-":
        return
    import webbrowser

    webbrowser.open(Path(report).absolute().as_uri())


def _strict_exit(strict: bool, severities: list[str]) -> None:
    if strict and "act" in severities:
        raise typer.Exit(EXIT_STRICT)


@contextmanager
def _shown(open_report: bool, report: str | None) -> Iterator[None]:
    """With `--open`: refuse at once where there will be no report, show it once it is written."""
    if open_report and report in (None, "-"):
        from importers.errors import UsageError

        raise UsageError(
            where="--open", what="there is no report file to open", remedy="Add --report F.html."
        )
    yield
    if open_report:
        _open(report)


@app.command(
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

    report = run_demo(folder, console=None if quiet else _console())
    if open_report:
        _open(report)


@app.command(
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
        console=None if quiet else _console(),
    )


@app.command(
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

    with _shown(open_report, report):
        outputs = {"--report": report, "--json": json, "--events": events, "--table": table}
        kept = jobs.kept_file(logs, book)
        choice = choose_setup(setup, logs) if kept is None else SetupChoice(setup, found=False)
        check_outputs(outputs, [*map(log_path, logs), choice.path, map_file, kept])
        to_stdout = "-" in outputs.values()
        _say(choice.sentence, quiet=quiet, err=to_stdout)
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
            from reports.terminal import print_ride

            print_ride(result, _console())
            for path in filter(None, outputs.values()):
                _say(f"Written: {path}", quiet=quiet)
    severities = [one.severity for one in result.events]
    severities += [one.severity for one in result.findings]
    _strict_exit(strict, [str(one) for one in severities])


@app.command(
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

    with _shown(open_report, report):
        severities = hill_commands.limits(
            rides or (), book=book, report=report, json=json, console=None if quiet else _console()
        )
    _strict_exit(strict, severities)


@app.command(
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

    with _shown(open_report, report):
        hill = HillAsked(grade, length, charge, temp, speed, extra_mass, track)
        hill_commands.predict(
            hill,
            setup=setup,
            rides=rides or (),
            book=book,
            report=report,
            json=json,
            console=None if quiet else _console(),
        )


@app.command(
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

    with _shown(open_report, report):
        hill_commands.compare(
            before,
            after,
            book=book,
            report=report,
            json=json,
            console=None if quiet else _console(),
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

    with _shown(open_report, report):
        severities = setup_command.check(
            file or setup,
            rides or (),
            book=book,
            report=report,
            json=json,
            console=None if quiet else _console(),
        )
    _strict_exit(strict, severities)


def _fault_of_ours(fault: Exception) -> NoReturn:
    if os.environ.get(TRACEBACK_VARIABLE):
        import traceback

        traceback.print_exception(fault)
    text = " ".join(str(fault).split())[:200]
    typer.echo(
        f"hillproof failed, and it is not your fault: {type(fault).__name__}: {text}. "
        f"Run it again with {TRACEBACK_VARIABLE}=1 to see where, and report that.",
        err=True,
    )
    sys.exit(EXIT_OUR_FAULT)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit status.

    A reader that has seen enough (`| head`) is no fault: 0, as for any job that was done; 1 would
    be taken for an answer to --strict.
    """
    stdout = sys.stdout
    try:
        try:
            app(arguments)
        finally:
            sys.stdout.flush()  # a full disk may show here only
    except SystemExit:
        if sys.stdout is not stdout:  # typer silences an output whose reader has gone, and says 1
            sys.exit(0)
        raise
    except UserError as error:
        typer.echo(str(error), err=True)
        sys.exit(EXIT_UNUSABLE)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as fault:
        if fault.errno not in FULL:
            _fault_of_ours(fault)
        what = f"the output could not be written whole ({fault.strerror})"
        typer.echo(f"standard output: {what}. Make room, or send it elsewhere.", err=True)
        sys.exit(EXIT_UNUSABLE)
    except KeyboardInterrupt:
        typer.echo("stopped", err=True)
        sys.exit(EXIT_INTERRUPTED)
    except Exception as fault:
        _fault_of_ours(fault)


def run() -> None:
    """Run the command line as a process of its own and end it at once.

    Python would take a quarter of a second to take large tables apart piece by piece before it
    ends; the system takes the memory back whole.
    """
    gc.set_threshold(COLLECT_EVERY)
    # Our matrices are small: threads that wait for one another cost more than they give.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    status: int | str | None = 0
    try:
        main()
    except SystemExit as end:
        status = end.code
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):  # its reader may be gone
            stream.flush()
    os._exit(status if isinstance(status, int) else 0 if status is None else EXIT_OUR_FAULT)
