"""The guides cannot go stale: what they name must be there."""

import re
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from watchdog.checks.registry import CHECKS
from watchdog.cli.app import app
from watchdog.relays.registry import KINDS

TOP = Path(__file__).parents[2]
README = (TOP / "README.md").read_text(encoding="utf-8")
GUIDE = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("text", [README, GUIDE], ids=["README", "DEVELOPERS"])
def test_every_path_a_guide_names_exists(text: str) -> None:
    named = set(re.findall(r"`((?:watchdog|tests|docs|deploy|config)/[\w./-]*)", text)) | set(re.findall(r"\]\(([\w./-]+)\)", text))
    examples = {path for path in named if "NAME" in path or "KEY" in path or "NNNN" in path}
    assert {path for path in named - examples if not (TOP / path).exists()} == set()
    assert {path for path in examples if not (TOP / path).parent.parent.exists()} == set()


def test_the_layer_rule_of_the_guide_is_the_one_that_is_enforced() -> None:
    layers = next(contract for contract in PROJECT["tool"]["importlinter"]["contracts"] if contract["type"] == "layers")["layers"]
    written = " > ".join(layer.replace("(", "").replace(")", "") for layer in layers)
    assert written in GUIDE


def test_the_readme_has_a_row_for_every_check_and_no_other() -> None:
    table = README.split("## What it checks")[1].split("\n\n")[1]
    rows = [line.split("|")[1].strip() for line in table.splitlines()[2:]]
    assert sorted(rows) == sorted(entry.name for entry in CHECKS)


def commands() -> list[tuple[list[str], str]]:
    """The words of every command, those of groups included, and how it explains itself."""
    groups = [([], app), *(([str(group.name)], group.typer_instance) for group in app.registered_groups)]
    return [
        ([*words, str(command.name or command.callback.__name__)], command.callback.__doc__ or "")
        for words, group in groups
        for command in (group.registered_commands if group else ())
        if command.callback
    ]


def test_the_readme_tells_the_exit_codes_of_every_command() -> None:
    table = README.split("| command |")[1].split("\n\n")[0]
    told = {name.partition(" --")[0] for name in re.findall(r"`([a-z][a-z -]*)`", table)}
    assert told == {" ".join(words) for words, _ in commands()}


def test_every_command_explains_itself() -> None:
    for words, explained in commands():
        answer = CliRunner().invoke(app, [*words, "--help"])
        assert answer.exit_code == 0
        assert explained.split(".")[0].split()[0] in answer.output


def test_the_two_commands_stand_right_under_the_paragraph_that_states_the_job() -> None:
    blocks = README.split("\n\n")
    assert blocks[1].startswith("heatwarden is a second, independent layer of protection")
    assert "deploy/demo" in blocks[2]
    assert "deploy/test" in blocks[2]


def test_the_guide_says_how_to_add_what_the_registries_hold() -> None:
    for place in ("watchdog/checks/registry.py", "watchdog/relays/registry.py", "watchdog/wiring.py", "watchdog/settings/addresses.py"):
        assert place in GUIDE
    assert all((TOP / "watchdog" / "relays" / f"{kind}.py").exists() for kind in KINDS)
    assert all((TOP / "watchdog" / "checks" / f"{entry.key}.py").exists() for entry in CHECKS)


def test_every_check_documents_itself_and_its_limits() -> None:
    for entry in CHECKS:
        assert len((entry.check.__doc__ or "").split()) > 20, entry.name
        source = (TOP / "watchdog" / "checks" / f"{entry.key}.py").read_text(encoding="utf-8")
        for field in entry.limits.__dataclass_fields__:
            assert re.search(rf'    {field}: float(?: = [-\d.]+)?\n    """', source), f"{entry.name}.{field} has no docstring"


def test_decisions_are_short_and_say_status_context_decision_consequences() -> None:
    for path in sorted((TOP / "docs" / "decisions").glob("*.md")):
        text = path.read_text(encoding="utf-8")
        assert [word for word in ("Status:", "Context:", "Decision:", "Consequences:") if word not in text] == [], path.name
        assert len(text.splitlines()) <= 14, path.name
