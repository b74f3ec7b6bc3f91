"""Verdicts at another charge, temperature and load: the table and the lines for the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.limits_merge import MergedLimit
from analyzer.restated import Restated, RestatedSet
from analyzer.words import Verdict
from reports.numbers import UNKNOWN, estimate, unit_suffix
from reports.sentences import VERDICT, VERDICT_SEVERITY, capital, limit_name
from reports.tables import Row, Table

CAPTION = "What each verdict becomes at another charge, temperature or load, the rest as ridden"
WORSE = (Verdict.EXCEEDED, Verdict.TOUCHED, Verdict.OVERSHOOTS)


def restated_table(order: Sequence[MergedLimit], told: RestatedSet) -> Table:
    """One row a limit, one column a condition; limits that no ride carries are left out."""
    heads = ("Limit", "As ridden", *(capital(f"at {one.name}") for one in told.conditions))
    rows = []
    for one in order:
        cells = told.of(one.check.limit)
        if all(cell.verdict is None for cell in cells):
            continue
        now = VERDICT[one.check.verdict]
        worst = max(
            (c.verdict for c in cells if c.verdict in WORSE and c.verdict is not one.check.verdict),
            key=lambda word: VERDICT_SEVERITY[word].rank,
            default=None,
        )
        rows.append(
            Row(
                (
                    capital(limit_name(one.check.limit)),
                    capital(now),
                    *(_cell(cell, one.check.limit) for cell in cells),
                ),
                None if worst is None else VERDICT_SEVERITY[worst],
            )
        )
    return Table(CAPTION, heads, tuple(rows))


def _cell(one: Restated, limit: str) -> str:
    if one.verdict is None or one.value is None:
        return UNKNOWN
    return f"{capital(VERDICT[one.verdict])}: {estimate(one.value, unit_suffix(limit))}"


def worse_than_ridden(order: Sequence[MergedLimit], told: RestatedSet) -> list[str]:
    """The verdicts that turn for the worse, one sentence each, for the terminal."""
    lines = []
    for one in order:
        turned = [
            cell
            for cell in told.of(one.check.limit)
            if cell.verdict in WORSE
            and cell.verdict is not one.check.verdict
            and one.check.verdict is not Verdict.EXCEEDED
        ]
        if not turned:
            continue
        each = "; ".join(
            f"{VERDICT[cell.verdict]} at {cell.condition.name}"
            f" ({estimate(cell.value, unit_suffix(one.check.limit))})"
            for cell in turned
            if cell.verdict is not None
        )
        lines.append(f"{one.check.limit}, {VERDICT[one.check.verdict]} as ridden: {each}")
    return lines
