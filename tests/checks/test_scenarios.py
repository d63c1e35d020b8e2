"""Every scenario through the real engine: all checks armed, class defaults and the owner's limits."""

from pathlib import Path

import pytest
from rig.scenario import Scenario, load, problems, run

FOLDER = Path(__file__).parent.parent / "scenarios"
SCENARIOS = [load(path) for path in sorted(FOLDER.rglob("*.toml"))]


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.name)
def test_the_watch_says_what_the_scenario_expects(scenario: Scenario) -> None:
    assert problems(scenario, run(scenario)) == [], scenario.told["about"]
