import numpy as np
import pytest

from analyzer.rest_voltage import cell_volts, charge_from_rest, charge_pct, rest_after
from simulator.curves import published_curve
from simulator.pack_rides import PackModel, setup_of

CHEN = setup_of(PackModel(cell_empty_v=2.5, cell_full_v=4.2))


@pytest.mark.parametrize(
    ("cell_v", "pct"),
    [(2.8, 1.5), (3.0, 3.3), (3.1, 4.8), (3.4, 13.3), (3.6, 31.8), (3.7, 44.3), (4.1, 91.3)],
)
def test_rows_of_a_published_curve(cell_v, pct):
    # Chen et al. 2020 through PyBaMM 26.10.1.1.
    assert float(charge_pct(CHEN.curve, cell_v, CHEN)) == pytest.approx(pct, abs=0.1)


def test_another_zero_rescales():
    # With 2.8 V as empty SOC' = (SOC - 1.5)/(100 - 1.5): 50 % becomes 49.2 %.
    setup = setup_of(PackModel(cell_empty_v=2.8))
    assert float(charge_pct(setup.curve, 3.7509, setup)) == pytest.approx(49.2, abs=0.05)


@pytest.mark.parametrize("setup", [CHEN, setup_of(PackModel(cell_empty_v=3.0, cell_full_v=4.1))])
def test_there_and_back(setup):
    pct = np.linspace(0, 100, 41)
    back = charge_pct(setup.curve, cell_volts(setup.curve, pct, setup), setup)
    np.testing.assert_allclose(back, pct, atol=1e-6)


def test_beyond_full_goes_on():
    assert float(charge_pct(CHEN.curve, 4.21, CHEN)) > 100
    assert float(charge_pct(CHEN.curve, 2.4, CHEN)) < 0


@pytest.mark.parametrize("pct", [30, 50, 70, 90])
def test_a_built_in_curve_carries_the_spread_of_its_chemistry(pct):
    # The three published nmc curves lie 78 mV apart at 50 %: an interval from one of them that
    # does not hold the others is false.
    setup = setup_of(PackModel(cell_empty_v=2.8), known_curve=False)
    for name in ("nmc811_chen2020", "nmc532_mohtat2020", "nmc111_bpx2022"):
        soc, volts = published_curve(name)
        low, high = np.interp([2.8, 4.2], volts, soc)
        rest = float(np.interp(low + (high - low) * pct / 100, soc, volts))
        found = charge_from_rest(rest * 14, 0.1, setup)
        assert found.low <= pct <= found.high


def test_one_own_curve_is_sharper_than_built_in():
    own, any_nmc = (setup_of(PackModel(), known_curve=k) for k in (True, False))
    rest = 3.7 * 14
    assert charge_from_rest(rest, 0.1, own).half_width < 2.5
    assert charge_from_rest(rest, 0.1, any_nmc).half_width > 6


@pytest.mark.parametrize("known", [True, False])
def test_an_lfp_plateau_opens_the_interval(known):
    # lfp_bpx2022 rises by 0.45 mV per % between 45 and 55 %.
    model = PackModel(curve="lfp_bpx2022", cell_empty_v=2.5, cell_full_v=3.65)
    found = charge_from_rest(3.278 * 14, 0.1, setup_of(model, known_curve=known))
    assert found is None or found.half_width > 15


def test_rest_falls_everywhere():
    model = PackModel(curve="lfp_bpx2022", cell_empty_v=2.5, cell_full_v=3.65)
    drawn = np.linspace(0, 20, 200)
    assert (np.diff(rest_after(setup_of(model), 3.34 * 14, drawn)) < 0).all()


def test_curves_of_one_name_fall_differently():
    # ocv_curves: from 95 to 85 % nmc811 falls 4.1236 - 4.0809 V, nmc532 4.1360 - 4.0216 V,
    # nmc111 4.1296 - 3.9954 V per cell: started from one voltage they differ by tens of mV.
    from setup_maker import setup_of

    from analyzer.rest_voltage import fall_sd_v

    text = '[pack]\nchemistry = "nmc"\nseries = 14\ncapacity_ah = 18.0\n[drives.left]\n'
    setup = setup_of(text)
    spread = fall_sd_v(setup, 14 * 4.13, 1.8)
    assert 14 * 0.02 < 2 * spread < 14 * 0.15
    assert fall_sd_v(setup, 14 * 4.13, 0.0) == 0.0
