"""Every recipe ends as it says, the same way each time; sample files are what the code writes."""

import numpy as np
import pytest

from simulator.make_samples import HOME, samples
from simulator.scenarios import ALL_CASES, CLEAN, make_case


@pytest.mark.parametrize("variant", ["tune", "second"])
@pytest.mark.parametrize("cause", ALL_CASES)
def test_a_case_ends_as_its_name_says(cause, variant):
    sim = make_case(cause, 3, variant)
    losses = sim.truth.losses
    if cause in CLEAN:
        assert losses == ()
    else:
        assert losses[0].cause == cause
        assert losses[0].start_s < losses[0].end_s
        assert set(losses[0].drives) <= set(sim.drives)
    table = sim.ride.table
    assert np.all(np.diff(table["time_s"]) > 0)
    assert len(table) > 300
    assert sim.setup.drive_names == sim.drives


def test_the_same_seed_is_the_same_ride_and_another_set_is_not():
    one, two = make_case("supply_interrupted", 1), make_case("supply_interrupted", 1)
    assert one.ride.table.equals(two.ride.table)
    assert not one.ride.table.equals(make_case("supply_interrupted", 1, "report").ride.table)


def test_sample_files_are_written_again_to_the_byte():
    made = samples()
    for name in ("hill/gps.csv", "setup.toml"):
        assert (HOME / name).read_bytes() == made[name].rstrip("\n").encode() + b"\n"


def test_samples_stay_small():
    # The wheel carries them: 3 MB at most.
    assert sum(p.stat().st_size for p in HOME.rglob("*") if p.is_file()) < 3_000_000
