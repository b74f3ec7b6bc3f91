"""What logged fault codes say: only what the rider's own table gives a meaning to is read."""

from __future__ import annotations

import numpy as np

from analyzer.loss_facts import Around
from analyzer.words import CutoutCause

NEAR_S = 0.5
"""A code that changes this near to a loss belongs to it [s]. The issue's."""
TOLD = 3.5
"""What a code with a known meaning adds to its cause's logarithm. Our choice: strong, yet a code
may name a consequence."""


def _changes(here: Around) -> list[tuple[float, str, str, bool]]:
    """(seconds after the loss, column, new code, seen before) of codes that changed near it."""
    ride, out = here.search.ride, []
    rows = here.rows(-NEAR_S, NEAR_S)
    for name in ride.table.columns:
        if str(name).split(".")[-1] != "status":
            continue
        texts = ride.table[name].iloc[max(rows.start - 1, 0) : rows.stop].astype(str).to_numpy()
        earlier = set(ride.table[name].iloc[: max(rows.start - 1, 0)].astype(str).unique())
        for at in np.flatnonzero(texts[1:] != texts[:-1]).tolist():
            row = max(rows.start - 1, 0) + at + 1
            after = float(here.time_s[row] - here.time_s[here.loss.first])
            out.append((after, str(name), str(texts[at + 1]), str(texts[at + 1]) in earlier))
    return sorted(out)


def code_odds(here: Around) -> dict[CutoutCause, float]:
    """What the codes that changed near the loss add, by the setup's `[fault_words]`."""
    known = {_plain(code): word for code, word in here.search.setup.fault_words}
    out: dict[CutoutCause, float] = {}
    for place, (_, _, code, _) in enumerate(_changes(here)):
        word = known.get(_plain(code))
        if word is None:
            continue
        # The first link is the cause: later codes count for less.
        cause = CutoutCause(word)
        out[cause] = max(out.get(cause, 0.0), TOLD - place)
    return out


def _plain(code: str) -> str:
    """`7`, `7.0` and ` 7 ` are one code."""
    text = code.strip()
    return text[:-2] if text.endswith(".0") and text[:-2].isdigit() else text


def code_sentences(here: Around) -> list[str]:
    """The codes as they stand, on which side first, and whether seen before; never decoded beyond
    the setup's own table."""
    known = {_plain(code): word for code, word in here.search.setup.fault_words}
    out = []
    for after, column, code, before in _changes(here)[:3]:
        side = column.split(".")[0] if "." in column else "the ride"
        when = f"{abs(after):.2f} s {'before' if after < 0 else 'after'} the loss"
        means = f", which your setup calls {known[_plain(code)]}" if _plain(code) in known else ""
        again = "seen before in this ride" if before else "not seen before in this ride"
        out.append(f"The code of {side} changed to “{code}” {when}{means} ({again}).")
    return out
