"""Unit words against SI (BIPM, The International System of Units, 9th ed.) and NIST SP 811."""

from __future__ import annotations

import pytest

from importers.units import looks_like_unit, parse_unit, units_of


@pytest.mark.parametrize(
    ("word", "dimension", "logged", "si"),
    [
        ("mV", "voltage", 51_230, 51.23),
        ("0.01 V", "voltage", 5123, 51.23),
        ("dV", "voltage", 512, 51.2),
        ("cA", "current", 2_500, 25.0),
        ("0.1A", "current", 250, 25.0),
        ("mA", "current", -1500, -1.5),
        ("°F", "temperature", 212, 100.0),  # NIST SP 811 B.8
        ("degF", "temperature", 32, 0.0),
        ("K", "temperature", 273.15, 0.0),
        ("0.1 °C", "temperature", 235, 23.5),
        ("km/h", "speed", 36, 10.0),
        ("mph", "speed", 1, 0.44704),  # the international mile, 1609.344 m
        ("kn", "speed", 1, 0.514444),  # 1852 m in an hour
        ("ft", "length", 1, 0.3048),
        ("kW", "power", 1.5, 1500.0),
        ("1e-7 deg", "angle", 471234567, 47.1234567),
        ("g", "acceleration", 1, 9.80665),
        ("rad/s", "rotation", 104.7197551, 1000.0),
        ("0-1", "fraction", 0.5, 50.0),
        ("tenths of a volt", "voltage", 512, 51.2),
        ("V x10", "voltage", 512, 51.2),
    ],
)
def test_factor_to_si(word: str, dimension: str, logged: float, si: float) -> None:
    unit = parse_unit(word, dimension)
    assert unit is not None
    assert logged * unit.factor + unit.offset == pytest.approx(si, rel=1e-6, abs=1e-9)


def test_one_word_may_be_two_units() -> None:
    assert {one.dimension for one in units_of("µs")} >= {"time", "pulse"}
    assert units_of("MW") != units_of("mW") or units_of("MW") == ()


@pytest.mark.parametrize("word", ["", "left", "battery", "motor speed", "[]x"])
def test_words_that_are_no_unit(word: str) -> None:
    assert units_of(word) == ()


def test_a_units_row_is_told_from_names() -> None:
    assert all(looks_like_unit(cell) for cell in ("s", "[V]", "A", "°C", "-", "km/h"))
    assert not looks_like_unit("Battery voltage")
