"""The made ride's terminal text, JSON and events as they stood when last looked at.

`pytest tests/reports/test_golden.py --update-golden` writes them anew; read the difference before
it is committed.
"""

import io
from pathlib import Path

import pytest
from made.ride_results import made_result
from rich.console import Console

from reports.events_csv import events_csv
from reports.json_out import ride_json
from reports.terminal import print_look, print_ride

GOLDEN = Path(__file__).parents[1] / "golden"


def terminal(call, what):
    text = io.StringIO()
    call(what, Console(file=text, width=100, soft_wrap=True, color_system=None))
    return "\n".join(line.rstrip() for line in text.getvalue().splitlines()) + "\n"


MADE = {
    "ride_terminal.txt": lambda: terminal(print_ride, made_result()),
    "look_terminal.txt": lambda: terminal(print_look, made_result().ride.sources),
    "ride.json": lambda: ride_json(made_result()),
    "events.csv": lambda: events_csv(made_result()),
}


@pytest.mark.parametrize("name", MADE)
def test_output_is_as_it_was_last_looked_at(name, update_golden):
    place, made = GOLDEN / name, MADE[name]()
    if update_golden:
        place.write_bytes(made.encode())
    assert made.encode() == place.read_bytes(), f"see {place.name}; --update-golden writes it"
