"""The first screen: up to five findings, each in the same order: what happened, number against
limit, evidence, what else it might be, what to do, what that costs, the caution, what is not
known."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.estimate import Estimate
from analyzer.events import Event
from analyzer.findings import Finding
from analyzer.limit_remedies import limit_remedy
from analyzer.limits import LimitCheck
from analyzer.ride_analysis import RideResult
from analyzer.words import BalanceVerdict, EventKind, Severity, Verdict
from reports.advice import Advice, advice_of
from reports.beside import against_limit, beside_sentences
from reports.headlines import event_headline
from reports.measures import measure_sentences
from reports.not_known import not_known
from reports.numbers import beside, chance, estimate, fixed, moment, quantity, unit_suffix
from reports.sentences import (
    BALANCE,
    capital,
    cause_name,
    counted,
    joined,
    limit_phrase,
    sentence,
)
from reports.tables import Place

LOWER_BOUNDS = ("derate_from_v", "stop_at_v", "cell_low_v", "cell_empty_v", "min_charge_temp_c")
"""Limits that are passed downwards."""
SAG_WITH_NUMBERS = "too_much_current"
ALIKE_PCT = 0.1
"""Wheel speeds this near to each other are alike [%]. Our choice: half a millimetre of radius."""
MOST_FINDINGS = 5
"""The contract's first screen."""
PADDING = 0.35
"""A link to a place shows this share of the place's length before and after it. Our choice."""
LEAST_PADDING_S = 4.0
"""... and at least this much [s]. Our choice: the seconds before tell why."""


@dataclass(frozen=True, slots=True)
class Part:
    """One labelled paragraph of a finding."""

    label: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FindingView:
    """One finding, all text final."""

    severity: Severity
    headline: str
    parts: tuple[Part, ...]
    place: Place | None


def findings_views(result: RideResult) -> tuple[FindingView, ...]:
    """The findings of the first screen, most important first."""
    return tuple(finding_view(one, result) for one in result.findings[:MOST_FINDINGS])


def nothing_found(result: RideResult) -> str:
    """What to say of a ride without findings: that may be for want of anything to judge by."""
    text = "Nothing was found that needs telling."
    if not result.limits:
        text += " The setup gives no limit that this ride could be held against."
    if count := len(result.not_checked):
        text += f" {counted(count, 'thing')} could not be checked: what each needs is listed."
    return text


def finding_view(finding: Finding, result: RideResult) -> FindingView:
    """One finding as headline and labelled paragraphs."""
    if finding.subject in EventKind.__members__.values():
        return _event_finding(finding, result)
    tell = {
        "limit": _limit_finding,
        "balance": _balance_finding,
        "setting": _setting_finding,
        "pack": _pack_finding,
        "not_tried": _not_tried_finding,
        "good": _good_finding,
    }
    return tell[finding.subject](finding, result)


def place_between(start_s: float, end_s: float, result: RideResult) -> Place:
    """The link to some seconds of the ride, with a few before and after."""
    pad = max(PADDING * (end_s - start_s), LEAST_PADDING_S)
    return Place(moment(start_s, result.ride.start), start_s - pad, end_s + pad)


def parts_of(pairs: list[tuple[str, tuple[str, ...]]]) -> tuple[Part, ...]:
    """The paragraphs that have something to say."""
    return tuple(Part(label, texts) for label, texts in pairs if texts)


def advice_parts(advice: Advice) -> list[tuple[str, tuple[str, ...]]]:
    """What to do, what it costs, the caution, as labelled paragraphs."""
    return [("Do", advice.do), ("Cost", advice.cost), ("Caution", advice.caution)]


def _event_finding(finding: Finding, result: RideResult) -> FindingView:
    told = [result.events[i] for i in finding.events]
    first = told[0]
    events = [one for one in told if one.kind is first.kind]
    beside = [one for one in told if one.kind is not first.kind]
    headline = event_headline(events, result)
    likeliest = first.causes[0] if first.causes else None
    advice = advice_of(first.remedy)
    if likeliest is not None and likeliest.remedy:
        advice = advice_of(likeliest.remedy)
    facts = tuple(sentence(one) for one in first.facts if one.rstrip(".") not in headline)
    facts = (*against_limit(first, result.setup), *facts, *measure_sentences(first))
    facts = (*facts, *beside_sentences(beside, headline, facts))
    advice = with_more(advice, beside)
    evidence = tuple(map(sentence, likeliest.evidence)) if likeliest else ()
    pairs = [
        ("Numbers", facts),
        ("Evidence", evidence),
        ("Otherwise", _otherwise(first)),
        *advice_parts(advice),
        ("Not known", not_known(first, result)),
    ]
    return FindingView(
        finding.severity,
        headline,
        parts_of(pairs),
        place_between(first.start_s, first.end_s, result),
    )


def with_more(advice: Advice, beside: list[Event]) -> Advice:
    """The advice, and before it what the events of the same story add to do."""
    sag = next((advice_of(one.remedy) for one in beside if one.flavour == SAG_WITH_NUMBERS), None)
    if sag is not None and sag.do:
        return sag if not advice.do else Advice((*sag.do, *advice.do), sag.cost, advice.caution)
    high = [one for one in beside if one.kind is EventKind.OVERVOLTAGE]
    more = [one for event in high for one in advice_of(event.remedy).do[:1]]
    told = " ".join(advice.do)
    new = [one for one in dict.fromkeys(more) if one.split(";")[0] not in told]
    return Advice((*new, *advice.do), advice.cost, advice.caution)


def _otherwise(event: Event) -> tuple[str, ...]:
    """The other candidates with their chances and what would tell them apart."""
    texts = []
    for cause in event.causes[1:3]:
        if cause.cause == "unknown":
            continue
        text = f"{capital(cause_name(cause.cause))}, {chance(cause.probability)}"
        if cause.would_confirm:
            text = f"{text}: {cause.would_confirm[0]}"
        texts.append(sentence(text))
    return tuple(texts)


def _check(result: RideResult, key: str) -> LimitCheck | None:
    return next((one for one in result.limits if one.limit == key), None)


def _limit_finding(finding: Finding, result: RideResult) -> FindingView:
    checks = [one for key in finding.limits if (one := _check(result, key)) is not None]
    headline = " ".join(limit_sentence(one) for one in checks[:2]) or sentence(
        joined(tuple(map(limit_phrase, finding.limits)))
    )
    texts = tuple(sentence(one.text) for one in checks if one.text)
    first = next((one for one in checks if one.at_s is not None), None)
    place = None
    if first is not None and first.at_s is not None:
        place = place_between(first.at_s - first.window_s, first.at_s, result)
    ohm = result.pack.resistance_10s_ohm
    remedy = limit_remedy(checks[0], result.setup, ohm.value if ohm else None) if checks else ()
    pairs = [("Numbers", texts), *advice_parts(advice_of(remedy))]
    return FindingView(finding.severity, headline, parts_of(pairs), place)


def limit_sentence(check: LimitCheck) -> str:
    """One limit against the most seen of it, in one sentence."""
    name = capital(limit_phrase(check.limit))
    if check.seen is None:
        return f"{name}: nothing seen."
    seen, limit = beside(check.seen, check.set, unit_suffix(check.limit))
    low = check.limit.endswith(LOWER_BOUNDS)
    least = ("at most " if low else "at least ") if check.at_least else ""
    if check.verdict in (Verdict.WORKS, Verdict.NOT_REACHED):
        seen, limit = (quantity(one, unit_suffix(check.limit)) for one in (check.seen, check.set))
    if check.limit.endswith(LOWER_BOUNDS) and check.verdict in (Verdict.EXCEEDED, Verdict.TOUCHED):
        word = "passed" if check.verdict is Verdict.EXCEEDED else "reached"
        return f"{name} was {word}: down to {seen}, {limit} is the line."
    told = {
        Verdict.EXCEEDED: f"was exceeded: {least}{seen} against {limit}",
        Verdict.OVERSHOOTS: f"is overshot: {least}{seen} against the {limit} set",
        Verdict.TOUCHED: f"was touched: {least}{seen} against {limit}",
        Verdict.WORKS: f"works: it held current to {seen}, {limit} set",
        Verdict.HOLDS: f"holds: {least}{seen} against {limit}",
        Verdict.NOT_REACHED: f"was not reached: {least}{seen} seen, {limit} set",
        Verdict.NOT_EXERCISED: f"was not put to the test: {least}{seen} against {limit}",
    }
    return f"{name} {told[check.verdict]}."


def _balance_finding(finding: Finding, result: RideResult) -> FindingView:
    balance = result.balance
    if balance is None:
        return FindingView(finding.severity, "One drive: no sides to compare.", (), None)
    shares = [
        f"{one.drive} carried {estimate(one.drive_pct, 'pct')} while driving"
        for one in balance.shares
        if one.drive_pct is not None
    ]
    brake = [
        f"{one.drive} {estimate(one.brake_pct, 'pct')} while braking"
        for one in balance.shares
        if one.brake_pct is not None
    ]
    speed = (
        () if balance.speed_ratio is None else (_speed_sentence(balance.speed_ratio.value, result),)
    )
    numbers = tuple(sentence(joined(part)) for part in (shares, brake) if part)
    basis = () if not shares else (f"{fixed(balance.load_s, 0)} s of common load count.",)
    likely = [one for one in balance.causes if one.cause != "unknown"]
    evidence = tuple(
        sentence(f"{cause_name(one.cause)}, {chance(one.probability)}: {' '.join(one.evidence)}")
        for one in likely[:3]
    )
    advice = advice_of(likely[0].remedy) if likely else Advice()
    headline = BALANCE[balance.verdict]
    if balance.verdict is BalanceVerdict.UNEVEN and shares:
        headline = sentence(f"The sides do not carry alike: {shares[0]}")
        if likely and likely[0].probability >= 0.5:
            headline = f"{headline[:-1]}; likeliest, {cause_name(likely[0].cause)}."
    pairs = [
        ("Numbers", (*numbers, *speed, *basis)),
        ("Evidence", evidence),
        *advice_parts(advice),
    ]
    return FindingView(finding.severity, headline, parts_of(pairs), None)


def _speed_sentence(ratio: float, result: RideResult) -> str:
    first, second = result.setup.drive_names[:2]
    off = abs(ratio - 1) * 100
    if off < ALIKE_PCT:
        return "Rolling straight both wheels turn alike, within 0.1 %."
    return sentence(
        f"rolling straight the {first} wheel turns {fixed(off, 1)} % "
        f"{'faster' if ratio > 1 else 'slower'} than the {second} one"
    )


def _interval(one: Estimate) -> str:
    """The interval of a plateau in brackets; empty without one."""
    if one.low is None or one.high is None:
        return ""
    return f" ({fixed(one.low, 1)} to {fixed(one.high, 1)} A)"


def _share_sentence(result: RideResult) -> tuple[str, ...]:
    """What each side carried while driving."""
    balance = result.balance
    if balance is None or balance.verdict is not BalanceVerdict.UNEVEN:
        return ()
    shares = [
        f"{one.drive} carried {estimate(one.drive_pct, 'pct')}"
        for one in balance.shares
        if one.drive_pct is not None
    ]
    return (sentence(f"driving, {joined(shares)}"),) if shares else ()


def _setting_finding(finding: Finding, result: RideResult) -> FindingView:
    drives = {one.drive: one for one in result.in_force}
    numbers = []
    for key in finding.limits:
        _, drive, name = key.split(".", 2)
        held = drives.get(drive)
        seen = getattr(held, name, None) if held else None
        value = getattr(result.setup.drive(drive), name)
        if seen is not None and value is not None:
            there, here = beside(seen.value, value, "a")
            numbers.append(
                sentence(
                    f"{limit_phrase(key)}: set to {here}, but the drive saturates at "
                    f"{there}{_interval(seen)}"
                )
            )
    causes = [] if result.balance is None else list(result.balance.causes)
    cause = next((one for one in causes if one.cause == "setting_not_in_force"), None)
    side = joined(finding.drives) or "one side"
    pairs = [
        ("Numbers", (*numbers, *_share_sentence(result))),
        ("Evidence", tuple(map(sentence, cause.evidence)) if cause and not numbers else ()),
        *advice_parts(advice_of(cause.remedy) if cause else Advice()),
    ]
    headline = f"What the setup says is not in force on {side}."
    return FindingView(finding.severity, headline, parts_of(pairs), None)


def _pack_finding(finding: Finding, result: RideResult) -> FindingView:
    pack = result.pack
    rows = (
        ("Resistance after 10 s", pack.resistance_10s_ohm, "ohm"),
        ("Charge at the start", pack.state_of_charge_start_pct, "pct"),
        ("Charge at the end", pack.state_of_charge_end_pct, "pct"),
    )
    numbers = tuple(
        f"{name}: {estimate(one, suffix)}." for name, one, suffix in rows if one is not None
    )
    headline = "The pack, as this ride shows it."
    return FindingView(finding.severity, headline, parts_of([("Numbers", numbers)]), None)


def _not_tried_finding(finding: Finding, result: RideResult) -> FindingView:
    count = len(finding.limits)
    verb = "has" if count == 1 else "have"
    headline = f"{counted(count, 'limit')} {verb} not been put to the test by this ride."
    checks = [one for key in finding.limits if (one := _check(result, key)) is not None]
    numbers = tuple(limit_sentence(one) for one in checks[:4])
    if len(checks) > 4:
        numbers = (*numbers, "The limits table has the others.")
    rest = ("A limit that was never approached is not known to hold.",)
    return FindingView(
        finding.severity, headline, parts_of([("Numbers", numbers), ("Not known", rest)]), None
    )


def _good_finding(finding: Finding, result: RideResult) -> FindingView:
    checks = [one for key in finding.limits if (one := _check(result, key)) is not None]
    if not checks:
        return FindingView(
            finding.severity,
            "Nothing in this ride went beyond a limit that could be checked.",
            parts_of([("Not known", ("What was not tried and not checked stands below.",))]),
            None,
        )
    works = tuple(limit_sentence(one) for one in checks[:4])
    headline = f"{counted(len(checks), 'limit')} proved to work in this ride."
    rest = ("A verdict holds for the charge, temperature and load it was tried at.",)
    return FindingView(
        finding.severity, headline, parts_of([("Numbers", works), ("Not known", rest)]), None
    )
