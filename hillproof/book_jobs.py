"""What the book's commands do: keep rides, analyse them anew when needed, sum them up."""

from __future__ import annotations

import gc
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from hillproof.book_bundles import bundles, is_kept_ride
from hillproof.faults import TRACEBACK_VARIABLE, told
from hillproof.log_args import SETUP_NAME, check_facts, choose_setup, log_path, parse_start
from importers.errors import BookError, UserError

if TYPE_CHECKING:
    from analyzer.ageing_parts import Kept
    from analyzer.ageing_result import AgeingResult
    from analyzer.in_force_course import InForceChange
    from analyzer.summary import RideSummary
    from importers.book import Book, Entry
    from importers.book_notes import HandNote
    from importers.ride import Ride
    from importers.setup_types import Setup


@dataclass(frozen=True, slots=True)
class DayFacts:
    """What the rider says of the day, and how to read the logs."""

    setup: str | None = None
    map_file: str | None = None
    mass_kg: float | None = None
    pack_temp_c: float | None = None
    note: str | None = None
    start: str | None = None


@dataclass(frozen=True, slots=True)
class Added:
    """What became of one ride handed to `book add`."""

    what: str
    name: str | None
    new: bool
    kind: str = "ride"
    error: str = ""


def default_folder() -> Path:
    """The book's place in this platform's data folder."""
    from platformdirs import user_data_path

    return user_data_path("hillproof", appauthor=False) / "book"


def open_book(folder: str | None) -> Book:
    """The book named, else the default one."""
    from importers.book import Book

    return Book(folder if folder is not None else default_folder())


@dataclass(frozen=True, slots=True)
class _Task:
    """One bundle of logs on its way into a book."""

    folder: str
    what: str
    logs: tuple[str, ...]
    facts: DayFacts
    hashes: tuple[str, ...]


def add_all(
    book: Book, arguments: Sequence[str], facts: DayFacts, *, cluster: str | None = None
) -> Iterator[Added]:
    """Keep every ride and charge in the arguments, over all cores or a cluster; what is kept
    already is not read again. An error of one is told in its answer, the others go on.

    Raises
    ------
    importers.errors.UserError : a cluster that cannot be used
    """
    from hillproof.parallel import run_all
    from importers.book import file_hash

    kept = book.by_sources()
    tasks: list[_Task] = []
    for what, logs, error in bundles(arguments):
        if error:
            yield Added(what, None, new=False, error=error)
            continue
        hashes = tuple(sorted(file_hash(log_path(one)) for one in logs))
        if all(hashes) and hashes in kept:
            there = kept[hashes]
            yield Added(what, there.name, new=False, kind=there.kind)
        else:
            tasks.append(_Task(book.place, what, logs, facts, hashes))
    for answers in run_all(_add_one, tasks, cluster=cluster, workers=_workers(book)):
        yield from answers


def _workers(book: Book) -> int | None:
    """One where no other process sees the book (`memory://`), else as many as there are cores."""
    return None if book.store.shared else 1


def _add_one(task: _Task) -> list[Added]:
    from importers.book import Book

    try:
        return _add_new(Book(task.folder), task.what, task.logs, task.facts, list(task.hashes))
    except UserError as error:
        return [Added(task.what, None, new=False, error=str(error))]
    except OSError:
        raise  # a full disk or a lost network is no single ride's
    except Exception as fault:
        said = (
            f"{task.what}: hillproof failed on it, and it is not your fault: {told(fault)}. It is "
            f"left out. `hillproof ride` on its logs with {TRACEBACK_VARIABLE}=1 shows where; "
            "report that."
        )
        return [Added(task.what, None, new=False, error=said)]


def _add_new(
    book: Book, what: str, logs: Sequence[str], facts: DayFacts, hashes: list[str]
) -> list[Added]:
    """Each ride and each charge in these logs, kept by itself."""
    from importers.read_ride import read_rides
    from importers.ride import RideFacts
    from importers.setup_file import read_setup

    if len(logs) == 1 and is_kept_ride(logs[0]):
        return [_keep(book, what, *_kept_ride(logs[0], facts), hashes)]
    own = Path(log_path(logs[0])).parent / SETUP_NAME
    choice = choose_setup(str(own) if own.is_file() else facts.setup, logs)
    assert choice.path is not None
    setup = read_setup(choice.path)
    check_facts(facts.mass_kg, facts.pack_temp_c)
    day = RideFacts(facts.mass_kg, facts.pack_temp_c, facts.note)
    start = parse_start(facts.start)
    parts = read_rides(logs, setup, map_file=facts.map_file, start=start, facts=day)
    kept = [one for kind, one in parts if kind != "idle"]
    if not kept:
        raise BookError(where=what, what="nothing was ridden or charged in it", remedy="")
    sources = hashes if len(kept) == 1 else ()
    return [_keep(book, what, ride, setup, sources) for ride in kept]


def _kept_ride(path: str, facts: DayFacts) -> tuple[Ride, Setup]:
    """A ride file's ride and the setup it was ridden with, else the one named; what the rider says
    of the day counts more than what the file says."""
    from importers.ride import RideFacts
    from importers.ride_file import read_ride_file
    from importers.setup_file import read_setup

    ride, setup = read_ride_file(path)
    check_facts(facts.mass_kg, facts.pack_temp_c)
    day, said = ride.facts, facts
    whole = RideFacts(
        day.mass_kg if said.mass_kg is None else said.mass_kg,
        day.pack_temp_c if said.pack_temp_c is None else said.pack_temp_c,
        day.note if said.note is None else said.note,
    )
    start = ride.start or parse_start(facts.start)
    ride = replace(ride, facts=whole, start=start)
    return ride, setup if facts.setup is None else read_setup(facts.setup)


def _keep(book: Book, what: str, ride: Ride, setup: Setup, sources: Sequence[str]) -> Added:
    from analyzer.charge_log import charge_summary, is_charge
    from analyzer.ride_analysis import analyse_ride
    from analyzer.summary import SUMMARY_VERSION, summary_of, to_row

    if ride.start is None:
        raise BookError(
            where=what,
            what="the logs carry no date, and the book keeps rides by date",
            remedy="Say when it began: --start 2031-05-04T09:12.",
        )
    result = analyse_ride(ride, setup)
    summary = charge_summary(result) if is_charge(ride, setup) else summary_of(result)
    name, new = book.add(
        ride, setup, sources=sources, kind=summary.kind, summary=to_row(summary),
        summary_version=SUMMARY_VERSION,
    )  # fmt: skip
    return Added(what, name, new=new, kind=summary.kind)


def kept_rides(book: Book, entries: Sequence[Entry], *, cluster: str | None = None) -> list[Kept]:
    """Summaries of these rides; those of an older analysis are analysed anew and kept again."""
    from analyzer.ageing_parts import Kept
    from analyzer.summary import SUMMARY_VERSION, from_row
    from hillproof.parallel import run_all

    old = [
        one for one in entries
        if one.summary is None or one.summary_version != SUMMARY_VERSION
    ]  # fmt: skip
    fresh = dict(
        run_all(
            _renewed, [(book.place, one) for one in old], cluster=cluster, workers=_workers(book)
        )
    )
    return [
        Kept(one.name, fresh[one.name] if one.name in fresh else from_row(one.summary or {}))
        for one in entries
    ]


def _renewed(task: tuple[str, Entry]) -> tuple[str, RideSummary]:
    from analyzer.charge_log import charge_summary
    from analyzer.ride_analysis import analyse_ride
    from analyzer.summary import SUMMARY_VERSION, summary_of, to_row
    from importers.book import Book
    from importers.ride_file import read_ride_file

    folder, entry = task
    result = analyse_ride(*read_ride_file(entry.path))
    summary = charge_summary(result) if entry.kind == "charge" else summary_of(result)
    Book(folder).renew(entry, to_row(summary), SUMMARY_VERSION)
    return entry.name, summary


def one_pack(entries: Sequence[Entry], pack: str | None, place: str) -> list[Entry]:
    """The rides of one pack of the book at `place`: the named one, else the newest ride's.

    Raises
    ------
    BookError : the book is empty, or has no such pack
    """
    if not entries:
        raise BookError(
            where=f"the book at {place}",
            what="it holds no ride yet",
            remedy="`hillproof book add LOG… --setup FILE` keeps one.",
        )
    wanted = entries[-1].pack if pack is None else pack
    own = [one for one in entries if one.pack == wanted]
    if not own:
        names = ", ".join(sorted({one.pack or "(unnamed)" for one in entries}))
        raise BookError(where=f"pack {pack}", what="no ride of it is kept",
                        remedy=f"Packs in this book: {names}.")  # fmt: skip
    return own


def judge(book: Book, pack: str | None, *, cluster: str | None = None) -> AgeingResult:
    """How has the pack aged over the rides kept? A re-celled pack begins a new life.

    Raises
    ------
    importers.errors.UserError : the book is empty or cannot be read
    """
    from analyzer.ageing import judge_ageing
    from analyzer.ageing_result import DayNote
    from analyzer.estimate import Note
    from analyzer.hand_notes import cell_spread_note, charges_by_hand, noon, with_hand_rests
    from importers.ride_file import read_ride_file

    every = book.entries()
    entries = one_pack(every, pack, str(book.place))
    _, setup = read_ride_file(entries[-1].path)
    since = setup.pack.in_service_since
    life = [one for one in entries if since is None or one.start.date() >= since]
    if not life:
        raise BookError(
            where=f"pack {entries[-1].pack}" if entries[-1].pack else "the pack",
            what=f"no ride is kept since {since}, when the newest ride's setup says that it went "
            f"into service; the newest is of {entries[-1].start:%Y-%m-%d}",
            remedy="Add rides of it, or correct pack.in_service_since and add the newest again.",
        )
    hand, doubtful = notes_of(book.notes(), every, entries[-1].pack)
    hand = [one for one in hand if since is None or date.fromisoformat(one.day) >= since]
    kept, more = with_hand_rests(kept_rides(book, life, cluster=cluster), hand, setup)
    kept += charges_by_hand(hand, setup.pack.capacity_ah)
    days = [DayNote(noon(one.day), one.text) for one in hand]
    gc.freeze()  # thousands of summaries stay to the end: the collector need not look through them
    try:
        result = judge_ageing(kept, setup, notes=days)
    finally:
        gc.unfreeze()
    notes = [*result.notes, *more, *(Note("notes", one) for one in doubtful)]
    cells = cell_spread_note(hand)
    if cells is not None:
        notes = [cells, *(one for one in notes if not one.text.startswith(NO_CELL))]
    lost = left_out_text(book, every)
    if lost:
        notes.append(Note("rides", lost))
    before = len(entries) - len(life)
    if before:
        text = (
            f"{before} ride{'' if before == 1 else 's'} before {since} belong to the cells that "
            "were in it then, and are left out."
        )
        notes.append(Note("rides", text))
    return replace(result, notes=tuple(notes))


NO_CELL = "No cell was logged"
MOST_NAMES = 3
"""Files named in one sentence."""


def left_out_text(book: Book, entries: Sequence[Entry]) -> str:
    """Which files of the book could not be read as rides, in one sentence; empty where none."""
    names = book.left_out(entries)
    if not names:
        return ""
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return (
        f"{len(names)} file{'' if len(names) == 1 else 's'} of the book could not be read as "
        f"{'a ride and is' if len(names) == 1 else 'rides and are'} left out "
        f"({', '.join(names[:MOST_NAMES])}{more}): `hillproof book check` says why."
    )


def notes_of(
    notes: Sequence[HandNote], entries: Sequence[Entry], pack: str
) -> tuple[list[HandNote], list[str]]:
    """The notes by hand of one pack, and what is said of those that may be another's.

    A note on a ride is that ride's pack's. One on a date belongs to the pack ridden that day, else
    to the one ridden nearest to it; where several were ridden that day its text stands with each,
    and what was measured counts for none.
    """
    packs = {one.name: one.pack for one in entries}
    own: list[HandNote] = []
    doubtful: list[str] = []
    for note in notes:
        if note.about in packs:
            holders = {packs[note.about]}
        else:
            holders = _ridden_about(date.fromisoformat(note.day), entries)
        if pack not in holders:
            continue
        measured = (note.rest_voltage_v, note.cell_min_v, note.cell_max_v, note.charged_ah)
        if len(holders) > 1 and any(one is not None for one in measured):
            doubtful.append(
                f"What was measured on {note.day} counts for no pack: {', '.join(sorted(holders))} "
                "were ridden that day. Name the ride instead of the date."
            )
            note = replace(note, rest_voltage_v=None, cell_min_v=None, cell_max_v=None,
                           charged_ah=None, from_pct=None, to_pct=None)  # fmt: skip
        own.append(note)
    return own, doubtful


def _ridden_about(day: date, entries: Sequence[Entry]) -> set[str]:
    """Packs ridden or charged on a day, else those nearest to it."""
    away = [(abs((one.start.date() - day).days), one.pack) for one in entries]
    least = min((one for one, _ in away), default=0)
    return {pack for days, pack in away if days == least}


def day_of(book: Book, about: str) -> tuple[str, str]:
    """The day (ISO 8601) a note belongs to, and what it is about: a date, or a ride's full name.

    Raises
    ------
    BookError : neither a date nor a ride of the book
    """
    try:
        return date.fromisoformat(about).isoformat(), about
    except ValueError:
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", about):
            raise BookError(
                where=about, what="there is no such day", remedy="Write a date like 2031-05-04."
            ) from None
        entry = book.find(about)
        return entry.start.date().isoformat(), entry.name


def keep_note(book: Book, about: str, text: str, measures: dict[str, float | None]) -> str:
    """Keep what was done or measured by hand on a ride or a day; the day.

    Raises
    ------
    BookError : an empty text, an empty book, no such ride or day, or measurements that cannot be
        of any pack ridden then
    """
    from importers.book_notes import HandNote, not_this_pack
    from importers.ride_file import read_ride_file

    if not text.strip():
        raise BookError(where="book note", what="it has no text", remedy="Say what was done.")
    entries = book.entries()
    if not entries:
        raise BookError(
            where=f"the book at {book.place}",
            what="it holds no ride yet, so a note has no pack to belong to",
            remedy="`hillproof book add LOG… --setup FILE` keeps one.",
        )
    day, name = day_of(book, about)
    note = HandNote(about=name, day=day, text=text, **measures)
    faults: dict[str, list[str]] = {}
    for pack in sorted({one.pack for one in entries}):
        if notes_of([note], entries, pack)[0]:
            own = [one for one in entries if one.pack == pack]
            near = min(own, key=lambda one: abs((one.start.date() - date.fromisoformat(day)).days))
            faults[pack] = not_this_pack(read_ride_file(near.path)[1], measures)
    if faults and all(faults.values()):
        pack, what = next(iter(faults.items()))
        where = f"book note, pack {pack}" if pack else "book note"
        raise BookError(where=where, what="; ".join(what), remedy="Correct and try again.")
    book.note(note)
    return day


@dataclass(frozen=True, slots=True)
class SettingChange:
    """A setting that differs from the ride before, of one pack."""

    ride: str
    start: datetime
    key: str
    before: object
    after: object


def setting_changes(entries: Sequence[Entry]) -> list[SettingChange]:
    """How the setup changed from ride to ride, by pack, in time order."""
    from importers.ride_file import read_ride_file
    from importers.setup_flat import flat_settings

    changes: list[SettingChange] = []
    last: dict[str, Mapping[str, object]] = {}
    for entry in entries:
        _, setup = read_ride_file(entry.path)
        now: Mapping[str, object] = flat_settings(setup)
        before = last.get(entry.pack)
        if before is not None:
            for key in sorted({*before, *now}):
                if before.get(key) != now.get(key):
                    changes.append(
                        SettingChange(entry.name, entry.start, key, before.get(key), now.get(key))
                    )
        last[entry.pack] = now
    return changes


def in_force_changes(book: Book, entries: Sequence[Entry]) -> list[InForceChange]:
    """What was really in force, by the plateaus of each ride, pack by pack, in time order."""
    from analyzer.in_force_course import RideInForce, in_force_course
    from importers.ride_file import read_ride_file
    from importers.setup_flat import flat_settings

    rides = [one for one in entries if one.kind == "ride"]
    kept = {one.name: one.summary for one in kept_rides(book, rides)}
    packs: dict[str, list[RideInForce]] = {}
    for entry in rides:
        _, setup = read_ride_file(entry.path)
        seen = kept[entry.name].in_force
        one = RideInForce(entry.name, entry.start, flat_settings(setup), seen)
        packs.setdefault(entry.pack, []).append(one)
    found = [change for one in packs.values() for change in in_force_course(one)]
    return sorted(found, key=lambda one: (one.start, one.key))


def write_pages(book: Book, folder: str) -> int:
    """The whole book as linked pages in a folder; how many rides. Charges count in the packs'
    ageing.

    Raises
    ------
    importers.errors.UserError : the folder cannot be written, or the book not read
    """
    from analyzer.ride_analysis import analyse_ride
    from importers.ride_file import read_ride_file
    from reports.book_pages import book_pages
    from reports.write import write_folder

    every = book.entries()
    entries = [one for one in every if one.kind == "ride"]
    packs = sorted({one.pack for one in every})
    results = ((one.name, analyse_ride(*read_ride_file(one.path))) for one in entries)
    ageing = ((one or "pack", judge(book, one)) for one in packs)
    write_folder(folder, book_pages(results, ageing))
    return len(entries)
