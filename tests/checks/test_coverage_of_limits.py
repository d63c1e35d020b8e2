"""Registry, scenarios and documentation belong together, and no limit stands there without a scenario that feels it."""

import ast
import inspect
from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path

import pytest
from rig.plans import limits_of
from rig.scenario import Scenario, load, problems, run

from watchdog.checks.registry import CHECKS, Entry

FOLDER = Path(__file__).parent.parent / "scenarios"
FACTORS = (0.5, 2.0, 0.25, 4.0)
LIMITS = [(entry, field.name) for entry in CHECKS for field in fields(entry.limits)]


def scenarios_of(entry: Entry) -> list[Scenario]:
    return [load(path) for path in sorted((FOLDER / entry.key).glob("*.toml"))]


def test_every_check_has_a_folder_of_scenarios_and_every_folder_a_check() -> None:
    assert {folder.name for folder in FOLDER.iterdir()} == {entry.key for entry in CHECKS}


@pytest.mark.parametrize("entry", CHECKS, ids=lambda entry: entry.key)
def test_every_check_has_scenarios_for_both_verdicts(entry: Entry) -> None:
    assert {scenario.verdict for scenario in scenarios_of(entry)} == ({"quiet"} if entry.only_advises else {"trip", "quiet"})


@pytest.mark.parametrize("entry", CHECKS, ids=lambda entry: entry.key)
def test_every_check_and_every_limit_is_documented(entry: Entry) -> None:
    assert (entry.check.__doc__ or "").startswith("Advises when " if entry.only_advises else "Cuts when ")
    body = ast.parse(inspect.getsource(entry.limits)).body[0]
    assert isinstance(body, ast.ClassDef)
    told = {
        place.target.id
        for place, text in zip(body.body, body.body[1:], strict=False)
        if isinstance(place, ast.AnnAssign) and isinstance(place.target, ast.Name) and isinstance(text, ast.Expr)
    }
    assert told == {field.name for field in fields(entry.limits)}


@pytest.mark.parametrize(("entry", "name"), LIMITS, ids=[f"{entry.key}.{name}" for entry, name in LIMITS])
def test_moving_any_limit_spoils_some_scenario(entry: Entry, name: str) -> None:
    felt = (problems(scenario, run(moved(scenario, entry, name, factor))) for factor in FACTORS for scenario in scenarios_of(entry))
    assert any(felt), f"no scenario of {entry.key} feels {name}"


def moved(scenario: Scenario, entry: Entry, name: str, factor: float) -> Scenario:
    """The same scenario with one limit multiplied."""
    usual = getattr(limits_of(scenario.told["kind"], scenario.limits, scenario.told.get("facts"))[entry.key], name)
    own: Mapping[str, float] = scenario.limits.get(entry.key, {})
    return replace(scenario, limits={**scenario.limits, entry.key: {**own, name: usual * factor}})


@pytest.mark.parametrize("path", sorted(FOLDER.rglob("*.toml")), ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_a_scenario_says_what_it_shows_and_what_it_expects(path: Path) -> None:
    scenario = load(path)
    assert scenario.verdict in {"trip", "quiet"}
    assert scenario.told["about"]
    assert set(scenario.told.get("expect", {})) == ({"not_before_s", "by_s"} if scenario.verdict == "trip" else set()) | (
        {"advisories"} & set(scenario.told.get("expect", {}))
    )
