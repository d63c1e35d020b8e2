"""`heatwarden limits PRINTER`: every limit with where it comes from and why."""

from dataclasses import fields
from pathlib import Path

import orjson
from typer.testing import CliRunner

from watchdog.checks.registry import CHECKS
from watchdog.cli.app import app

EXAMPLES = Path(__file__).parent.parent.parent / "config"


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["limits", *words, "--config", str(EXAMPLES)])
    return done.exit_code, done.output


def test_every_limit_of_every_check_is_explained() -> None:
    code, text = run("anvil", "--json")
    told = orjson.loads(text)
    assert code == 0
    assert told["order"] == ["settings", "learnt", "facts", "class of heater"]
    for heater in told["heaters"].values():
        named = [(limit["check"], limit["key"]) for limit in heater["limits"]]
        assert named == [(entry.name, field.name) for entry in CHECKS for field in fields(entry.limits)]
        assert all(limit["origin"] in told["order"] and limit["why"] for limit in heater["limits"])


def test_physics_are_told_where_facts_suffice_and_what_is_missing_where_not() -> None:
    _, text = run("anvil", "--json")
    heaters = orjson.loads(text)["heaters"]
    assert next(line["what"] for line in heaters["bed"]["physics"]) == "heat capacity"
    assert "harm begins at 130 degC" in heaters["bed"]["verdict"]
    assert heaters["hotend"]["physics"] == []
    assert "block_g" in heaters["hotend"]["remarks"][0]


def test_a_person_can_read_it() -> None:
    code, text = run("anvil")
    assert code == 0
    assert "15 K above normal_max_c 100" in text
    assert "steady temperature if stuck on" in text
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 120


def test_an_unknown_printer_is_refused_with_those_there_are() -> None:
    code, text = run("zebra")
    assert code == 2
    assert "anvil" in text
