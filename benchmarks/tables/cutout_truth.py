"""How well are losses of drive and braking found, and their causes told? Against simulated truth.

    PYTHONPATH=.:tests python benchmarks/tables/cutout_truth.py [--seeds N] [--first N]
        [--sets report second] [--less] [--clean N]

Sets: `tune` (fitted on), `report` (same equations, other seeds), `second` (other equations, builds
and loggers that the fit never saw). `--less` repeats the reporting set with channels taken away.
"""

from __future__ import annotations

import argparse
from itertools import pairwise

from cutout_cases import ALL_CASES, CAUSES, TAKEN_AWAY, Case, Found, cases, np, told

BINS = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.97, 1.0001)


def judged(one: Found, chances: dict[str, float]) -> tuple[int, float, float]:
    """(place of the true cause, its probability, the first one's)."""
    order, values = list(chances), list(chances.values())
    if one.true not in order:
        return 99, 1e-4, values[0]
    place = order.index(one.true)
    return place, values[place], values[0]


def per_cause(
    found: list[Case],
) -> list[tuple[str, list[tuple[Found, dict[str, float]]], int, int]]:
    """(cause, matched losses, missed, false) of each cause's rides."""
    out = []
    for cause in CAUSES[1:]:
        mine = [one for one in found if one.cause == cause]
        losses = [pair for one in mine for pair in zip(one.found, told(one), strict=True)]
        out.append(
            (
                cause,
                [pair for pair in losses if pair[0].true == cause],
                sum(len(one.missed) for one in mine),
                sum(x.true is None for x, _ in losses),
            )
        )
    return out


def table(found: list[Case], title: str, *, reliability: bool = True) -> None:
    """Print one set's table."""
    print(f"\n{title}: {len(found)} rides, {sum(c.seconds for c in found) / 3600:.1f} h")
    print(f"{'cause':28} losses recall precis  first  first2 log-loss  kind  worst wrong first")
    rows = []
    for cause, losses, missed, false in per_cause(found):
        if not losses and not missed:
            continue
        places = [judged(*pair) for pair in losses]
        clear = [t for t, (x, _) in zip(places, losses, strict=True) if not x.ambiguous]
        n = len(losses)
        wrong = [t[2] for t in clear if t[0] != 0]
        row = (
            len(clear) / max(len(clear) + missed, 1),
            n / max(n + false, 1),
            np.mean([t[0] == 0 for t in clear]) if clear else np.nan,
            np.mean([t[0] <= 1 for t in clear]) if clear else np.nan,
            np.mean([-np.log(max(t[1], 1e-4)) for t in places]) if places else np.nan,
            np.mean([x.kind == x.true_kind for x, _ in losses]) if losses else np.nan,
        )
        rows.append(row)
        share = "  ".join(f"{100 * value:5.1f}" for value in row[:4])
        worst = f"{max(wrong):.2f} ({len(wrong)})" if wrong else "-"
        print(f"{cause:28} {n:5}  {share}  {row[4]:6.3f}  {100 * row[5]:5.1f}  {worst}")
    mean = np.nanmean(np.array(rows), axis=0)
    share = "  ".join(f"{100 * value:5.1f}" for value in mean[:4])
    print(f"{'mean over causes':28}        {share}  {mean[4]:6.3f}  {100 * mean[5]:5.1f}")
    _clean(found)
    _ambiguous(found)
    if reliability:
        _reliability(found)


def _ambiguous(found: list[Case]) -> None:
    """What no log can tell is judged by log-loss alone, and left out of recall and of first."""
    pairs = [
        pair
        for case in found
        for pair in zip(case.found, told(case), strict=True)
        if pair[0].true is not None and pair[0].ambiguous
    ]
    untold = sum(case.untold for case in found)
    if not pairs and not untold:
        return
    loss = np.mean([-np.log(max(judged(*pair)[1], 1e-4)) for pair in pairs]) if pairs else np.nan
    print(
        f"truly ambiguous: {len(pairs) + untold} losses, {untold} like a hand letting go and not "
        f"reported; log-loss of the others {loss:.3f}"
    )


def _clean(found: list[Case]) -> None:
    clean = [one for one in found if one.cause in ALL_CASES[len(CAUSES) - 1 :]]
    hours = sum(one.seconds for one in clean) / 3600
    false = sum(len(one.found) for one in clean)
    if hours:
        print(f"clean, tricky riding and gaps: {hours:.1f} h, {false} false losses")


def _reliability(found: list[Case]) -> None:
    said, right = [], []
    for case in found:
        for one, chances in zip(case.found, told(case), strict=True):
            if one.true is None:
                continue
            said += chances.values()
            right += [cause == one.true for cause in chances]
    p, y = np.array(said), np.array(right)
    print("said        n   right")
    for low, high in pairwise(BINS):
        on = (p >= low) & (p < high)
        if on.any():
            print(f"{p[on].mean():5.3f} {int(on.sum()):7}  {y[on].mean():6.3f}")
    honest = _wrong_and_sure(found)
    print(f"wrong first with 0.6 or more: {honest[0]} of {honest[1]} losses")


def _wrong_and_sure(found: list[Case]) -> tuple[int, int]:
    places = [
        judged(one, chances)
        for case in found
        for one, chances in zip(case.found, told(case), strict=True)
        if one.true is not None
    ]
    return sum(place != 0 and first >= 0.6 for place, _, first in places), len(places)


def main() -> None:
    """Print the tables that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=40)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--sets", nargs="+", default=["report", "second"])
    parser.add_argument("--clean", type=int, default=0, help="so many more clean rides")
    parser.add_argument("--less", action="store_true", help="with channels taken away")
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.seeds)
    for name in args.sets:
        found = cases(name, seeds)
        if args.clean:
            more = range(seeds.stop, seeds.stop + args.clean)
            found += cases(name, more, names=ALL_CASES[len(CAUSES) - 1 :])
        table(found, f"set {name!r}")
    if args.less:
        for what in TAKEN_AWAY[1:]:
            found = cases("report", range(max(args.seeds // 8, 1)), what=what)
            table(found, f"report, {what}", reliability=False)
            wrong, total = _wrong_and_sure(found)
            print(f"wrong first with 0.6 or more: {wrong} of {total} losses")


if __name__ == "__main__":
    main()
