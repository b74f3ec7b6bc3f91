"""One function per command: read, analyse, write. From Python, `analyse_ride` is the way in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from hillproof.log_args import check_facts, choose_setup, parse_start
from hillproof.progress import Step, no_progress
from importers.errors import LogError, UsageError

if TYPE_CHECKING:
    from analyzer.compare import CompareResult
    from analyzer.limits_merge import LimitsResult
    from analyzer.predict import PredictResult
    from analyzer.ride_analysis import RideResult
    from analyzer.setup_check import SetupCheck
    from hillproof.hill_asked import HillAsked
    from importers.ride import Source
    from importers.setup_types import Setup


def analyse_ride(
    logs: Sequence[str],
    setup: str | None = None,
    *,
    map_file: str | None = None,
    mass_kg: float | None = None,
    pack_temp_c: float | None = None,
    note: str | None = None,
    start: str | None = None,
    book: str | None = None,
    allow_charge: bool = False,
    progress: Step = no_progress,
) -> RideResult:
    """What happened in one ride, and what to change.

    `logs` are paths or `NAME=path`, as on the command line; `setup` is found beside the first
    log when it is not named. One ride file, or with `book` one ride's name in it, is analysed anew
    with the setup it was ridden with, or with the `setup` named. The result holds what the JSON
    shows, and `result.table`, the joined ride as a pandas frame.

    Raises
    ------
    importers.errors.UserError : a log, the setup or an argument that cannot be used
    """
    from importers.read_ride import read_ride
    from importers.ride import RideFacts
    from importers.setup_file import read_setup

    kept = kept_file(logs, book)
    if kept is not None:
        from analyzer.ride_analysis import analyse_ride as analyse
        from importers.ride_file import read_ride_file

        known, own = read_ride_file(kept)
        return analyse(known, own if setup is None else read_setup(setup))
    choice = choose_setup(setup, logs)
    assert choice.path is not None
    build = read_setup(choice.path)
    progress("reading the logs", 0.05)
    check_facts(mass_kg, pack_temp_c)
    facts = RideFacts(mass_kg=mass_kg, pack_temp_c=pack_temp_c, note=note)
    ride = read_ride(list(logs), build, map_file=map_file, start=parse_start(start), facts=facts)
    progress("analysing the ride", 0.5)
    from analyzer.charge_log import is_charge
    from analyzer.ride_analysis import analyse_ride as analyse

    if not allow_charge and is_charge(ride, build):
        raise LogError(
            where=", ".join(logs),
            what="this is the log of a pack being charged: charge only goes in, nothing moves",
            remedy=f"`hillproof book add {' '.join(logs)}` keeps it; it tells the capacity.",
        )

    return analyse(ride, build)


def kept_file(logs: Sequence[str], book: str | None = None) -> str | None:
    """The ride file that the one log named is, or that a book keeps under its name.

    Raises
    ------
    importers.errors.UserError : with a book, neither a file nor a ride of it
    """
    import os

    if len(logs) != 1:
        return None
    (log,) = logs
    if os.path.exists(log):
        if not log.endswith(".parquet"):
            return None
        from importers.ride_file import is_ride_file

        return log if is_ride_file(log) else None
    if book is None or "=" in log:
        return None
    from hillproof.book_jobs import open_book

    return open_book(book).find(log).path


def warm_up(*, report: bool) -> None:
    """Load what the later steps need while the first ones wait for the disk and the parser."""
    from threading import Thread

    def load() -> None:
        if report:
            from reports.plot_script import packed_plot_script

            packed_plot_script()
        import scipy.linalg  # noqa: F401

        import reports.page  # noqa: F401

    Thread(target=load, daemon=True).start()


def write_ride(
    result: RideResult,
    *,
    report: str | None = None,
    json: str | None = None,
    events: str | None = None,
    table: str | None = None,
    progress: Step = no_progress,
) -> None:
    """Write what was asked for; all or nothing.

    Raises
    ------
    importers.errors.UserError : a file that cannot be written
    """
    from reports.write import write_outputs

    outputs: dict[str, str | bytes] = {}
    if json is not None:
        from reports.json_out import ride_json

        outputs[json] = ride_json(result)
    if events is not None:
        from reports.events_csv import events_csv

        outputs[events] = events_csv(result)
    if report is not None:
        progress("drawing the report", 0.8)
        from reports.page import ride_page

        outputs[report] = ride_page(result)
    if table is not None:
        progress("writing the table", 0.95)
        from reports.table_out import ride_table

        outputs[table] = ride_table(result, table)
    write_outputs(outputs)


def look(
    logs: Sequence[str], setup: str | None = None, *, map_file: str | None = None
) -> tuple[Source, ...]:
    """What is in these files, and how sure is each guess?

    Raises
    ------
    importers.errors.UserError : a file that is no table, a setup or map that cannot be used
    """
    from importers.channel_map import read_map
    from importers.look import look as look_at
    from importers.setup_file import read_setup

    choice = choose_setup(setup, logs, required=False)
    build = None if choice.path is None else read_setup(choice.path)
    return look_at(
        list(logs), setup=build, mapping=None if map_file is None else read_map(map_file)
    )


def load_rides(rides: Sequence[str], book: str | None = None) -> list[tuple[str, RideResult]]:
    """Kept rides by name, in time order, analysed anew each with the setup it was ridden with.

    A ride is a ride file (`ride --table`), or with `book` a ride's name in it; with `book` and no
    ride named, all rides of the book's newest pack.

    Raises
    ------
    importers.errors.UserError : no such ride, or not a ride file
    """
    import os

    from analyzer.ride_analysis import analyse_ride as analyse
    from hillproof.book_jobs import one_pack, open_book
    from importers.ride_file import read_ride_file

    paths: list[str] = []
    shelf = open_book(book) if book is not None else None
    for one in rides:
        known = os.path.exists(one) or shelf is None
        paths.append(one if known or shelf is None else shelf.find(one).path)
    if not rides and shelf is not None:
        kept = one_pack(shelf.entries(), None, str(shelf.place))
        paths = [entry.path for entry in kept if entry.kind == "ride"]
    results = [(Path(path).stem, analyse(*read_ride_file(path))) for path in paths]
    return sorted(results, key=lambda pair: _began(pair[1]))


def _began(result: RideResult) -> tuple[bool, float]:
    """For ordering in time; rides without a date first."""
    start = result.ride.start
    return (start is not None, start.timestamp() if start is not None else 0.0)


def check_limits(
    rides: Sequence[str], book: str | None = None
) -> tuple[LimitsResult, list[tuple[str, RideResult]]]:
    """Do the limits hold, over these rides or a whole book? The answer, and the rides by name.

    Raises
    ------
    importers.errors.UserError : no ride, or one that cannot be read
    """
    from analyzer.limits_merge import merge_limits

    shown = load_rides(rides, book)
    if not shown:
        raise UsageError(
            where="limits",
            what="no ride was named",
            remedy="Name ride files (`hillproof ride … --table F.parquet` writes one), or a book "
            "with --book DIR.",
        )
    return merge_limits(shown), shown


def check_setup(
    setup: str, rides: Sequence[str] = (), book: str | None = None
) -> tuple[Setup, SetupCheck]:
    """What will go wrong on the road, from the setup and, where given, from what rides showed?

    Raises
    ------
    importers.errors.UserError : the setup cannot be used
    """
    from analyzer.setup_check import check_setup as check
    from importers.setup_file import read_setup

    build = read_setup(setup)
    shown = load_rides(rides, book) if rides or book is not None else []
    return build, check(build, [result for _, result in shown])


def predict(
    hill: HillAsked, setup: str | None, rides: Sequence[str] = (), book: str | None = None
) -> PredictResult:
    """Would this hill work, from the setup and, where given, from rides of this build?

    Without a setup file, that of the newest ride counts: a ride carries the one it was ridden with.

    Raises
    ------
    importers.errors.UserError : a hill, setup or ride that cannot be used
    """
    from analyzer.estimate import Note
    from analyzer.predict import predict_hill
    from importers.setup_file import read_setup

    ahead = hill.checked()
    build = None if setup is None else read_setup(setup)
    shown = load_rides(rides, book) if rides or book is not None else []
    notes: list[Note] = []
    if build is None:
        if not shown:
            raise UsageError(
                where=str(book or ""),
                what="there is no ride here whose setup could be used, and no setup file",
                remedy="Name one with --setup FILE.",
            )
        name, newest = shown[-1]
        build = newest.setup
        notes.append(Note("setup", f"No setup file named: the one that ride {name} carries."))
    result = predict_hill(build, [one for _, one in shown], ahead)
    if hill.temp_c is None:
        text = f"No --temp given: motors, controllers, pack and air at {ahead.temp_c:.0f} °C."
        notes.append(Note("hill.temp_c", text))
    return replace(result, notes=(*result.notes, *notes))


def compare(before: str, after: str, book: str | None = None) -> CompareResult:
    """What changed between two rides, and is it beyond chance?

    Raises
    ------
    importers.errors.UserError : a ride that cannot be read
    """
    from analyzer.compare import compare_rides

    ((_, one),) = load_rides([before], book)
    ((_, two),) = load_rides([after], book)
    return compare_rides(one, two)
