"""How logs of a side break off and begin: what a lost supply leaves behind. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from importers.log_table import LogTable
from importers.place_logs import PlacedLog

LOAD_SHARE = 0.25
"""A log that ends above this part of its own top current ended under load. Our choice."""
LOAD_FLOOR_A = 2.0
END_S = 0.5


def side_pieces(
    placed: Sequence[PlacedLog], from_s: float, to_s: float, zero_s: float = 0.0
) -> tuple[str, ...]:
    """One sentence for each place where a side's log stops and another, or a restart, follows.

    Only those between `from_s` and `to_s` of the joined time; told as counted from `zero_s`.
    """
    out: list[str] = []
    for role in dict.fromkeys(one.role for one in placed):
        mine = sorted((one for one in placed if one.role == role), key=lambda one: one.span_s[0])
        for before, after in pairwise(mine):
            if not from_s <= before.span_s[1] < to_s:
                continue
            gap = after.span_s[0] - before.span_s[1]
            out.append(
                f"{role}: {before.table.file} {_end(before.table, before.table.time_s.size)} at "
                f"{before.span_s[1] - zero_s:.1f} s; {after.table.file} begins {gap:.1f} s later"
            )
        for one in mine:
            for at in one.table.restarts:
                when = float(one.to_ride_s(one.table.time_s[at - 1 : at])[0])
                if not from_s <= when < to_s:
                    continue
                how = _end(one.table, at)
                out.append(
                    f"{role}: {one.table.file} {how} at {when - zero_s:.1f} s and its logger "
                    "began anew"
                )
    return tuple(out)


def _end(table: LogTable, until: int) -> str:
    """How the rows before `until` end: under load or at rest."""
    current = [
        np.asarray(values, np.float64)
        for name, values in table.columns.items()
        if name.rsplit(".", 1)[-1] in ("battery_current_a", "pack_current_a")
    ]
    if not current:
        return "breaks off"
    total = np.abs(np.sum(current, axis=0))
    last = total[:until][table.time_s[:until] >= table.time_s[until - 1] - END_S]
    if not np.isfinite(last).any():
        return "breaks off"
    at_end, top = float(np.nanmean(last)), float(np.nanpercentile(total, 99))
    loaded = at_end > max(LOAD_SHARE * top, LOAD_FLOOR_A)
    return f"breaks off under load ({at_end:.0f} A)" if loaded else f"ends at {at_end:.1f} A"
