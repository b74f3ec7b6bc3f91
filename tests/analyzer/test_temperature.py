import numpy as np
import pytest
from handmade import clock, make_ride

from analyzer.temperature import (
    Activation,
    PackTemperature,
    arrhenius_ratio,
    log_ratio_interval,
    pack_temperature,
    resistance_over_mean,
)
from importers.ride import RideFacts

# R(T)/R(25 °C) = exp[(E/Rg)(1/T - 1/298.15)], closed form with Rg of CODATA 2018, rounded.
TABLE = {
    15: (2.236, 1.740, 1.378, 1.234, 1.109, 0.822, 0.748, 0.684),
    20: (2.924, 2.093, 1.533, 1.323, 1.148, 0.770, 0.679, 0.602),
    30: (5.001, 3.027, 1.899, 1.522, 1.229, 0.675, 0.560, 0.467),
    40: (8.552, 4.379, 2.351, 1.751, 1.317, 0.592, 0.462, 0.363),
}
TEMPS_C = (-10, 0, 10, 15, 20, 35, 40, 45)


@pytest.mark.parametrize("e_kj", TABLE)
def test_arrhenius_table(e_kj):
    found = [arrhenius_ratio(t, e_kj * 1000) for t in TEMPS_C]
    assert found == pytest.approx(TABLE[e_kj], abs=6e-4)


def test_the_unknown_energy_between_15_and_25_c():
    # 10 K apart, 12 to 32 kJ/mol about 20.5 move the resistance by a factor 0.89 ... 1.18 one way
    # (closed form, rounded), so by 1/1.18 - 1 and 1/0.89 - 1 the other. Temperature itself known.
    value, down, up = log_ratio_interval(PackTemperature(15.0, 0.0, "logged"), Activation())
    # exp(-20500 / 8.3145 * (1/288.15 - 1/298.15)) = 0.7505
    assert np.exp(value) == pytest.approx(0.7505, abs=6e-4)
    assert np.exp(up) - 1 == pytest.approx(0.118, abs=0.01)
    assert 1 - np.exp(-down) == pytest.approx(0.155, abs=0.01)


def test_at_25_c_only_the_sensor_counts():
    value, down, up = log_ratio_interval(PackTemperature(25.0, 1.0, "logged"), Activation())
    assert value == pytest.approx(0.0, abs=1e-12)
    # d ln R / dT = E / (Rg T^2) = 20500 / (8.3145 * 298.15^2) = 2.774 %/K
    assert down == pytest.approx(1.96 * 0.02774, rel=1e-3)
    assert up == pytest.approx(down)


def test_where_the_temperature_is_from():
    t = clock(100, 1)
    assert pack_temperature(make_ride(t, {"pack_temp_c": 21.0})).source == "logged"
    cells = make_ride(t, {"cell_temp_01_c": 20.0, "cell_temp_02_c": 24.0})
    assert pack_temperature(cells).mean_c == 22.0
    stated = make_ride(t, {"ambient_temp_c": 3.0}, facts=RideFacts(pack_temp_c=12.0))
    assert pack_temperature(stated).mean_c == 12.0
    assert pack_temperature(make_ride(t, {"ambient_temp_c": 3.0})).source == "ambient"
    nothing = pack_temperature(make_ride(t, {}))
    assert nothing.source == "assumed"
    assert nothing.sd_c >= 8


def test_a_broken_sensor_is_not_believed():
    assert pack_temperature(make_ride(clock(100, 1), {"pack_temp_c": -127.0})).source == "assumed"


def test_resistance_follows_logged_warmth():
    t = clock(100, 1)
    ride = make_ride(t, {"pack_temp_c": np.linspace(0, 20, t.size)})
    ratio = resistance_over_mean(ride, t)
    assert ratio[0] / ratio[-1] == pytest.approx(arrhenius_ratio(0) / arrhenius_ratio(20), rel=1e-6)
