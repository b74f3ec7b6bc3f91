"""Markers set from the path; options every test may use."""

from pathlib import Path

import pytest

SLOW = Path(__file__).parent / "slow"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--update-golden", action="store_true", help="write golden files from today's output"
    )


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if SLOW in item.path.parents:
            item.add_marker(pytest.mark.slow)


@pytest.fixture
def update_golden(request: pytest.FixtureRequest) -> bool:
    return bool(request.config.getoption("--update-golden"))
