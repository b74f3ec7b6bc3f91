"""Nothing is said surely that nothing seen decides (the trade's pairs, causes.md; no source)."""

import pytest
from handmade import make_setup as setup
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.causes.combine import MODELS, Seen, probabilities, together
from analyzer.causes.pairs import PAIRS
from analyzer.causes.told_apart import decided, told_apart
from analyzer.words import CutoutCause as C

SURE = 0.6
LEVELS: dict[str, set[str]] = {}
for model in MODELS:
    for sign, levels in model.signs.items():
        LEVELS.setdefault(sign, set()).update(levels)
for pair in PAIRS:
    for fact in (*pair.for_one, *pair.for_other):
        for sign, levels in fact.items():
            LEVELS.setdefault(sign, set()).update(levels.split())
SIGNS = st.fixed_dictionaries(
    {}, optional={sign: st.sampled_from(sorted(levels)) for sign, levels in LEVELS.items()}
)


@given(SIGNS)
@settings(max_examples=200, deadline=None)
def test_a_sure_first_is_told_from_every_rival(signs):
    chances = probabilities(signs, setup())
    assert sum(chances.values()) == pytest.approx(1.0)
    first, p = next(iter(chances.items()))
    if p >= SURE:
        rivals = [c for c, q in chances.items() if c is not first and q >= 0.011]
        assert all(told_apart(first, one, signs)[0] for one in rivals)


@pytest.mark.parametrize("pair", PAIRS, ids=lambda p: f"{p.one.value}/{p.other.value}")
def test_without_any_fact_a_pair_is_open_and_each_fact_speaks_for_one(pair):
    assert not told_apart(pair.one, pair.other, {})[0]
    assert not told_apart(pair.other, pair.one, {})[0]
    assert pair.ask
    for mine, first, second in (
        (pair.for_one, pair.one, pair.other),
        (pair.for_other, pair.other, pair.one),
    ):
        for fact in mine:
            signs = {sign: levels.split()[0] for sign, levels in fact.items()}
            assert told_apart(first, second, signs)[0], fact
            assert not told_apart(second, first, signs)[0], fact


def test_a_connector_at_full_current_with_the_trip_unknown_is_a_split():
    signs = {
        "kind": "drive", "who": "all", "order": "together", "bus": "collapse", "fall": "instant",
        "discharge_load": "far_above", "charge": "middle", "cell_low": "mean_clear",
        "heat_load": "mild",
    }  # fmt: skip
    chances = probabilities(signs, setup())
    assert max(chances.values()) < SURE
    assert {C.BMS_OVERCURRENT_DISCHARGE, C.SUPPLY_INTERRUPTED} == set(list(chances)[:2])


def test_a_trip_that_used_its_delay_is_said_surely():
    signs = {
        "kind": "drive", "who": "all", "order": "together", "bus": "collapse", "fall": "instant",
        "discharge_load": "far_above", "discharge_trip": "used", "charge": "middle",
        "cell_low": "mean_clear",
    }  # fmt: skip
    first, p = next(iter(probabilities(signs, setup()).items()))
    assert first is C.BMS_OVERCURRENT_DISCHARGE
    assert p > 0.9


def test_a_motor_that_stops_slowly_without_a_jerk_or_a_spike_is_a_split() -> None:
    """However much else leans to the sensor: a trip whose spike fell between two readings looks
    just so (causes.md)."""
    signs = {
        "kind": "drive", "who": "one", "how": "gone", "fall": "instant", "temp_wire": "fine",
        "phase": "half", "speed": "still", "road": "keeps", "rolling": "runs", "frozen": "no",
        "beats": "no", "bus": "rebound", "discharge_load": "light", "charge": "middle",
        "alive": "yes", "demand": "held", "sides": "together", "away": "tens", "return": "later",
        "log": "goes_on_pack", "idle": "no", "flicker": "no",
    }  # fmt: skip
    sensor, trip = C.ROTOR_SENSOR_FAULT, C.PHASE_OVERCURRENT
    for split in together([Seen(signs)] * 3, setup()):
        assert next(iter(split)) is sensor
        assert split[sensor] < SURE
        assert list(split)[1] is trip
    jerks = Seen(signs | {"jitter": "yes"})
    for told in together([Seen(signs), jerks], setup()):
        assert told[sensor] > 0.9


def test_what_decides_outweighs_many_small_signs() -> None:
    """Full motor current, steady until it is gone, and back by itself: a trip, whatever else leans
    to the sensor (causes.md)."""
    signs = {
        "kind": "drive", "who": "one", "how": "gone", "fall": "instant", "stop_at_v": "clear",
        "controller_heat": "clear", "motor_heat": "clear", "temp_wire": "fine", "phase": "full",
        "speed": "still", "road": "keeps", "jitter": "no", "beats": "no", "rolling": "runs",
        "frozen": "no", "bus": "rebound", "charge": "middle", "alive": "yes", "demand": "held",
        "sides": "together", "away": "tens", "return": "later", "log": "goes_on", "idle": "no",
    }  # fmt: skip
    sensor, trip = C.ROTOR_SENSOR_FAULT, C.PHASE_OVERCURRENT
    assert (trip, sensor) in decided([signs])
    chances = probabilities(signs, setup())
    assert next(iter(chances)) is trip
    assert chances[sensor] < 0.3 * chances[trip]
    jerks = signs | {"phase": "half", "jitter": "yes"}
    assert not {(trip, sensor), (sensor, trip)} & set(decided([signs, jerks]))


@pytest.mark.parametrize(
    ("bus", "opened"), [("collapse", True), ("rebound", False)], ids=["sinks", "stays"]
)
def test_a_bus_that_sinks_has_lost_its_pack_and_one_that_stays_has_not(bus, opened) -> None:
    """The trade's (causes.md): after the path opens the voltage leaves the pack's rest; after the
    controllers stop by themselves it rebounds."""
    signs = {"kind": "drive", "who": "one", "how": "gone", "fall": "instant", "bus": bus,
             "speed": "riding", "road": "keeps", "demand": "held"}  # fmt: skip
    chances = probabilities(signs, setup())
    path = sum(chances.get(c, 0.0) for c in (
        C.BMS_OVERCURRENT_DISCHARGE, C.BMS_OVERHEAT, C.CELL_LOW_VOLTAGE, C.SUPPLY_INTERRUPTED,
        C.IDLE_SHUTDOWN,
    ))  # fmt: skip
    assert path > 0.8 if opened else path < 0.1
