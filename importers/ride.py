"""One ride on one clock: the only thing the analysis sees of log files.

Signs: positive current or power = the pack gives energy. Motor speed and phase current are
positive in the direction of travel. SI units, unit at the end of each column name.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import pandas as pd
from numpy.typing import NDArray

GAP_FACTOR = 5.0
"""A step in time of more than this many median steps is a gap. Our choice: loggers skip one or
two samples when busy, and a skipped sample is not a hole in the ride."""
GAP_FLOOR_S = 0.5
"""... and never less than this [s]. Our choice."""

ALL_RESTS_ON_IT = "what is found in this ride rests on it"
"""Ends the note of a doubt that comes before all findings: reports show it above them."""


@dataclass(frozen=True, slots=True)
class ChannelReading:
    """How one column of one file was read."""

    header: str
    channel: str | None
    """Full name with the drive before it (`left.battery_current_a`), `None` when not read."""
    unit: str
    """The unit as logged, before conversion; empty where it has none."""
    sign: int
    rate_hz: float | None
    """How often the channel really changes, not how often it is written."""
    sure: float
    why: str = ""
    """What decided, in a few words, for `look`."""


@dataclass(frozen=True, slots=True)
class Source:
    """One log file of a ride: what it was taken for and how well it read."""

    file: str
    """As typed; reports show the name only."""
    role: str | None
    """A drive of the setup, `gps`, `bms`, `all` (one wide or long file), or None in doubt."""
    rows: int
    rows_dropped: int
    rate_hz: float | None
    clock_offset_s: float | None
    clock_drift_ppm: float | None
    channels: tuple[ChannelReading, ...]
    problems: tuple[str, ...] = ()
    start: datetime | None = None
    clock_offset_low_s: float | None = None
    clock_offset_high_s: float | None = None
    form: str = ""
    """How the file is written, in a few words: `semicolons, decimal comma, Latin-1`."""


def reading_of(sources: Iterable[Source], channel: str) -> ChannelReading | None:
    """How the channel's column was read, None where none was. A long file's columns carry no
    drive."""
    bare = channel.rpartition(".")[2]
    every = (one for source in sources for one in source.channels)
    return next((one for one in every if one.channel in (channel, bare)), None)


@dataclass(frozen=True, slots=True)
class Unjudged:
    """A channel from which limits cannot be judged, in one direction or both, and why."""

    channel: str
    """Full name with the drive before it."""
    side: int
    """-1: values below zero (braking) say nothing; 1: those above; 0: neither does."""
    why: str


@dataclass(frozen=True, slots=True)
class RideFacts:
    """What the rider said about the day (`--mass`, `--temp`, `--note`)."""

    mass_kg: float | None = None
    pack_temp_c: float | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Ride:
    """One ride: a table with `time_s` rising strictly and one float64 column per channel.

    Missing is NaN, never filled in. A hole in the log is a jump of `time_s` with no rows in it.
    Columns are named by `importers.channels`: per-drive channels carry the drive and a dot.
    `status` columns hold text (object dtype). Nothing may change the table.
    """

    table: pd.DataFrame
    drives: tuple[str, ...]
    """In the setup's order; only drives the logs have channels of."""
    sources: tuple[Source, ...]
    start: datetime | None = None
    """The instant of `time_s` 0, with a zone; None when the logs carry no date."""
    facts: RideFacts = RideFacts()
    notes: tuple[tuple[str, str], ...] = ()
    """(about, text) pairs from reading: assumed zone, zero of a current taken, and so on."""
    pieces: tuple[str, ...] = ()
    """Evidence kept from files that are not part of the table (a log cut off under load)."""
    unjudged: tuple[Unjudged, ...] = ()
    """Channels whose limits are not checked, though they were logged."""
    _logged: dict[str, bool] = field(default_factory=dict, init=False, repr=False)
    """What `has` found, by channel: the table never changes."""
    _arrays: dict[str, NDArray[np.float64]] = field(default_factory=dict, init=False, repr=False)
    """The columns looked at, as they stand in the table."""
    _steps: dict[str, float] = field(default_factory=dict, init=False, repr=False)
    """`gap_s`, once asked for."""

    @property
    def time_s(self) -> NDArray[np.float64]:
        """n times, seconds since `start`."""
        return self._array("time_s")

    def has(self, channel: str) -> bool:
        """Whether the channel was logged with at least one value."""
        known = self._logged.get(channel)
        if known is None:
            known = channel in self.table.columns and bool(self.table[channel].notna().any())
            self._logged[channel] = known
        return known

    def get(self, channel: str) -> NDArray[np.float64] | None:
        """The channel's n values, or None where it is not logged (numeric channels only)."""
        if not self.has(channel):
            return None
        return self._array(channel)

    def _array(self, name: str) -> NDArray[np.float64]:
        found = self._arrays.get(name)
        if found is None:
            found = self.table[name].to_numpy(np.float64)
            if self.table[name].dtype == np.float64:  # else it is a copy, and those are many
                self._arrays[name] = found
        return found

    def rate_hz(self, channel: str) -> float | None:
        """How often a channel truly changes: what the peaks of it can be trusted to."""
        for source in self.sources:
            for one in source.channels:
                if one.channel == channel:
                    return one.rate_hz
        return None

    def unjudged_why(self, channel: str, side: int) -> str | None:
        """Why a limit on this channel, on that side of zero (0: both), is not checked, or None."""
        for one in self.unjudged:
            if one.channel == channel and (one.side == 0 or side in (0, one.side)):
                return one.why
        return None

    @property
    def doubts(self) -> tuple[str, ...]:
        """What may be wrong with all that is found: the notes that say so."""
        return tuple(f"{about}: {text}" for about, text in self.notes if ALL_RESTS_ON_IT in text)

    @property
    def gap_s(self) -> float:
        """Steps in time longer than this are holes in the log [s]."""
        if "gap" not in self._steps:
            time_s = self.time_s
            usual_s = float(np.median(np.diff(time_s))) if time_s.size >= 3 else 0.0
            self._steps["gap"] = max(GAP_FACTOR * usual_s, GAP_FLOOR_S)
        return self._steps["gap"]
