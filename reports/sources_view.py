"""What was read and how sure: one view per log file, for the page and for `look`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath, PureWindowsPath

from importers.ride import ChannelReading, Source
from reports.numbers import chance, duration, fixed, quantity
from reports.sentences import counted

SURE = 0.95
"""From here a guess is called sure. The contract's."""


@dataclass(frozen=True, slots=True)
class ChannelView:
    """One column of a file, all text."""

    header: str
    channel: str
    unit: str
    sign: str
    rate: str
    sure: str
    why: str
    state: str
    """`sure`, `doubt` or `unread`."""


PLAIN_FORM = "commas"
"""What every table is thought to be written with, and is not worth a word."""
LEAST_PPM = 0.5
"""A drift that would be shown as none is not shown. The rounding of `numbers.quantity`."""


@dataclass(frozen=True, slots=True)
class SourceView:
    """One file: its name, what it was taken for, how it read."""

    file: str
    title: str
    summary: str
    channels: tuple[ChannelView, ...]
    problems: tuple[str, ...]
    role_in_doubt: bool
    in_doubt: bool
    """The role, or any column."""
    read: bool
    """Whether any column but the time is read."""
    count: str
    """How many columns, in words."""


def file_name(path: str) -> str:
    """A file's name without its folders, whichever system wrote it: folders can tell who the
    rider is."""
    return PureWindowsPath(PurePath(path).name).name


def source_views(sources: tuple[Source, ...]) -> tuple[SourceView, ...]:
    """What was read of every file."""
    return tuple(source_view(one) for one in sources)


def source_view(source: Source) -> SourceView:
    """What was read of one file and how sure."""
    name = file_name(source.file)
    role = {None: "in doubt", "all": "whole ride", "gps": "GPS", "bms": "BMS"}.get(
        source.role, source.role
    )
    channels = tuple(_channel_view(one) for one in source.channels)
    doubt = source.role is None or any(one.state == "doubt" for one in channels)
    return SourceView(
        name,
        f"{name}: {role}",
        _summary(source),
        channels,
        source.problems,
        source.role is None,
        doubt,
        any(one.channel not in (None, "time_s") for one in source.channels),
        counted(len(channels), "column"),
    )


def _summary(source: Source) -> str:
    parts = [f"{fixed(source.rows, 0)} rows"]
    if source.rows_dropped:
        parts.append(f"{fixed(source.rows_dropped, 0)} left out")
    if source.rate_hz is not None:
        parts.append(quantity(source.rate_hz, "hz"))
    if source.start is not None:
        parts.append(f"from {source.start:%Y-%m-%d %H:%M:%S}")
    if source.form not in ("", PLAIN_FORM):
        parts.append(source.form)
    offset = source.clock_offset_s
    if offset is not None and offset != 0.0:
        text = f"clock {duration(abs(offset))} {'ahead' if offset > 0 else 'behind'}"
        low, high = source.clock_offset_low_s, source.clock_offset_high_s
        if low is not None and high is not None:
            text += f" (±{duration((high - low) / 2)})"
        parts.append(text)
    drift = source.clock_drift_ppm
    if drift is not None and abs(drift) >= LEAST_PPM:
        pace = "fast" if drift > 0 else "slow"
        parts.append(f"running {quantity(abs(drift), 'ppm')} {pace}")
    return ", ".join(parts)


def _channel_view(one: ChannelReading) -> ChannelView:
    unread = one.channel is None
    state = "unread" if unread else "sure" if one.sure >= SURE else "doubt"
    return ChannelView(
        header=one.header,
        channel=one.channel or "not read",
        unit=one.unit,
        sign="" if unread else "turned" if one.sign < 0 else "as logged",
        rate="" if one.rate_hz is None or unread else quantity(one.rate_hz, "hz"),
        sure="" if unread else _sure_text(one.sure),
        why=one.why,
        state=state,
    )


def _sure_text(sure: float) -> str:
    """How sure, never rounded up to what is called sure."""
    text = chance(sure)
    return f"under {text}" if sure < SURE and text == chance(SURE) else text
