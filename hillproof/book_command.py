"""`book …` and `ageing` on the command line: parse, call `book_jobs`, print."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

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
    Temp,
)
from hillproof.plain_help import PlainCommand, example
from hillproof.shell import opened
from importers.errors import BookError

if TYPE_CHECKING:
    from hillproof.book_jobs import Added

book_app = typer.Typer(
    help="Keep rides and what was measured by hand.", no_args_is_help=True, rich_markup_mode=None
)
ageing_app = typer.Typer()

Folder = Annotated[
    str | None, typer.Option("--book", metavar="DIR", help="The book; else the default one.")
]
Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster", metavar="ADDRESS", help="Other computers to share the work (a Dask scheduler)."
    ),
]


@book_app.command(
    "add",
    cls=PlainCommand,
    epilog=example("book add left.csv right.csv", "book add rides-2031/*", "book add charge.csv"),
)
def add(
    logs: Annotated[
        list[str],
        typer.Argument(metavar="LOG", help="One ride's logs, or folders with a ride each."),
    ],
    book: Folder = None,
    setup: SetupFile = None,
    map_file: MapFile = None,
    mass: Mass = None,
    temp: Temp = None,
    note: RideNote = None,
    start: Start = None,
    cluster: Cluster = None,
    quiet: Quiet = False,
) -> None:
    """Keep one ride from its logs, or one ride per folder of logs."""
    from hillproof import book_jobs

    facts = book_jobs.DayFacts(setup, map_file, mass, temp, note, start)
    target = book_jobs.open_book(book)
    bad: list[Added] = []
    for one in book_jobs.add_all(target, logs, facts, cluster=cluster):
        if one.error:
            bad.append(one)
        elif not quiet:
            state = f"kept as {one.name}" if one.new else f"is kept already as {one.name}"
            typer.echo(f"{one.what}: {one.kind} {state}")
    if bad:
        first, *more = _told_once(bad)
        raise BookError(
            where="", what=first, remedy="",
            more=tuple(BookError(where="", what=one, remedy="") for one in more),
        )  # fmt: skip


MOST_NAMES = 3
"""Rides named in one message."""


def _told_once(bad: list[Added]) -> list[str]:
    """What went wrong, each text once; where it does not say with which rides, they are named."""
    rides: dict[str, list[str]] = {}
    for one in bad:
        rides.setdefault(one.error, []).append(one.what)
    out = []
    for error, names in rides.items():
        if len(names) > 1 or names[0] not in error:
            more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
            error = f"{error} Not kept: {', '.join(names[:MOST_NAMES])}{more}."
        out.append(error)
    return out


@book_app.command("list", cls=PlainCommand, epilog=example("book list", "book list --settings"))
def list_rides(
    book: Folder = None,
    settings: Annotated[
        bool,
        typer.Option("--settings", help="Settings that changed, and what was in force."),
    ] = False,
    json: Json = None,
    quiet: Quiet = False,
) -> None:
    """What is kept."""
    from hillproof import book_jobs
    from hillproof.log_args import check_outputs

    check_outputs({"--json": json}, [])
    target = book_jobs.open_book(book)
    entries = target.entries()
    changes = book_jobs.setting_changes(entries) if settings else []
    seen = book_jobs.in_force_changes(target, entries) if settings else []
    if json is not None:
        from reports.book_text import book_json
        from reports.write import write_outputs

        write_outputs({json: book_json(entries, changes, target.notes(), seen)})
    if not quiet and json != "-":
        from hillproof.console import console
        from reports.book_text import print_book

        print_book(entries, changes, target.notes(), console(), target.place, seen)
        if settings and entries and not (changes or seen):
            typer.echo("No setting changed.")
        if lost := book_jobs.left_out_text(target, entries):
            typer.echo(lost)


@book_app.command(
    "remove", cls=PlainCommand, epilog=example("book remove 2031-12-06T1556-f2c35bbd")
)
def remove(
    ride: Annotated[str, typer.Argument(metavar="RIDE", help="Its name in `book list`.")],
    book: Folder = None,
    quiet: Quiet = False,
) -> None:
    """Take one ride out of the book for good."""
    from hillproof import book_jobs

    name = book_jobs.open_book(book).remove(ride)
    if not quiet:
        typer.echo(f"Removed: {name}")


@book_app.command("check", cls=PlainCommand, epilog=example("book check"))
def check(book: Folder = None, quiet: Quiet = False) -> None:
    """Is all of the book whole?"""
    from hillproof import book_jobs

    target = book_jobs.open_book(book)
    faults = target.check()
    if faults:
        first, *more = faults
        raise BookError(
            where=target.place, what=first,
            remedy="Remove the ride and add it from its logs again.",
            more=tuple(BookError(where=target.place, what=one, remedy="") for one in more),
        )  # fmt: skip
    if not quiet:
        rides, notes = len(target.entries()), len(target.notes())
        told = (
            f"{rides} ride{'' if rides == 1 else 's'} and {notes} note{'' if notes == 1 else 's'}"
        )
        typer.echo(f"{told}: all whole")


@book_app.command(
    "note",
    cls=PlainCommand,
    epilog=example(
        'book note 2031-10-12 "battery out for cleaning"',
        'book note 2031-10-12 "rested" --rest-voltage 57.3',
    ),
)
def note(
    about: Annotated[
        str, typer.Argument(metavar="RIDE_OR_DATE", help="A kept ride or 2031-10-12.")
    ],
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What was done or seen.")],
    book: Folder = None,
    rest_voltage: Annotated[
        float | None,
        typer.Option("--rest-voltage", metavar="V", help="The pack's voltage after long rest."),
    ] = None,
    cell_min: Annotated[
        float | None,
        typer.Option("--cell-min", metavar="V", help="The lowest cell after charging."),
    ] = None,
    cell_max: Annotated[
        float | None,
        typer.Option("--cell-max", metavar="V", help="The highest cell after charging."),
    ] = None,
    charged_ah: Annotated[
        float | None, typer.Option("--charged-ah", metavar="AH", help="What the charger put in.")
    ] = None,
    from_pct: Annotated[
        float | None, typer.Option("--from-pct", metavar="P", help="Charge when charging began.")
    ] = None,
    to_pct: Annotated[
        float | None, typer.Option("--to-pct", metavar="P", help="Charge when it ended.")
    ] = None,
    quiet: Quiet = False,
) -> None:
    """Keep what was done or measured by hand on a ride or a day."""
    from hillproof import book_jobs
    from importers.book_notes import checked_measures

    measures = checked_measures(
        rest_voltage_v=rest_voltage, cell_min_v=cell_min, cell_max_v=cell_max,
        charged_ah=charged_ah, from_pct=from_pct, to_pct=to_pct,
    )  # fmt: skip
    day = book_jobs.keep_note(book_jobs.open_book(book), about, text, measures)
    if not quiet:
        typer.echo(f"Noted for {day}")


@book_app.command("pages", cls=PlainCommand, epilog=example("book pages my-rides"))
def pages(
    outdir: Annotated[str, typer.Argument(metavar="OUTDIR", help="A folder for the pages.")],
    book: Folder = None,
    quiet: Quiet = False,
) -> None:
    """The whole book as linked pages that open from disk."""
    from hillproof import book_jobs

    count = book_jobs.write_pages(book_jobs.open_book(book), outdir)
    if not quiet:
        typer.echo(f"{count} ride{'' if count == 1 else 's'}: open {outdir}/index.html")


@ageing_app.command(
    cls=PlainCommand,
    short_help="How has the pack aged, and when will that matter?",
    epilog=example("ageing --report ageing.html"),
)
def ageing(
    book: Folder = None,
    pack: Annotated[
        str | None,
        typer.Option("--pack", metavar="NAME", help="Which pack; else that of the newest ride."),
    ] = None,
    report: Report = None,
    json: Json = None,
    cluster: Cluster = None,
    open_report: OpenReport = False,
    quiet: Quiet = False,
) -> None:
    """How the pack has aged over the rides kept, and when it will matter."""
    from hillproof import book_jobs
    from hillproof.log_args import check_outputs
    from reports.write import write_outputs

    with opened(open_report, report):
        check_outputs({"--report": report, "--json": json}, [])
        target = book_jobs.open_book(book)
        result = book_jobs.judge(target, pack, cluster=cluster)
        contents: dict[str, str | bytes] = {}
        if json is not None:
            from reports.ageing_json import ageing_json

            contents[json] = ageing_json(result)
        if report is not None:
            from reports.page import ageing_page

            contents[report] = ageing_page(result)
        write_outputs(contents)
        if not quiet and "-" not in contents:
            from hillproof.console import console
            from reports.ageing_view import print_ageing

            print_ageing(result, console())
            for path in contents:
                typer.echo(f"Written: {path}")
