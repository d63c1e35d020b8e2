"""Where the front gets its settings, TLS, and what happens when they are wrong."""

import http.client
import shutil
import ssl
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig.broker import Certificates
from rig.front import AS_INSTALLED, Front
from rig.settings_files import good_settings

from watchdog.front.settings import front_settings
from watchdog.settings.load import load
from watchdog.settings.model import Front as Table
from watchdog.settings.protection import protection
from watchdog.settings.validated_copy import keep


@pytest.fixture
def config(tmp_path: Path) -> Path:
    return good_settings(tmp_path)


def add(config: Path, text: str) -> None:
    main = config / "heatwarden.toml"
    main.write_text(main.read_text() + f"\n[front]\n{text}\n")


def test_without_the_table_the_defaults_hold(config: Path, tmp_path: Path) -> None:
    assert front_settings(config, tmp_path / "state") == (Table(), ())


def test_what_is_wrong_elsewhere_does_not_keep_people_from_seeing_it(config: Path, tmp_path: Path) -> None:
    add(config, "port = 9000")
    (config / "printers" / "anvil.toml").write_text("nonsense")
    (config / "printers" / "bramble.toml").unlink(missing_ok=True)
    shutil.rmtree(tmp_path / "secret", ignore_errors=True)
    assert front_settings(config, tmp_path / "state") == (Table(port=9000), ())


@pytest.mark.parametrize("text", ["port = 0", 'port = "x"', 'listen = "shed"', 'hosts = ["*"]', 'certificate_file = "/x"', "colour = 1"])
def test_what_is_wrong_in_it_is_told_and_what_ran_last_is_used(config: Path, tmp_path: Path, text: str) -> None:
    state = tmp_path / "state"
    assert front_settings(config, state)[1] == ()
    before = (config / "heatwarden.toml").read_text()
    add(config, "port = 9000")
    keep(state, load(config).texts)
    (config / "heatwarden.toml").write_text(before)
    add(config, text)
    table, problems = front_settings(config, state)
    assert table == Table(port=9000)
    assert problems
    assert all(problem.file == "heatwarden.toml" and problem.key.startswith("front") for problem in problems)
    shutil.rmtree(state / "validated")
    assert front_settings(config, state)[0] is None


@pytest.mark.parametrize("damage", ["no toml at all [", None])
def test_without_a_readable_main_file_and_without_a_copy_there_is_nothing_to_run(config: Path, tmp_path: Path, damage: str | None) -> None:
    if damage is None:
        shutil.rmtree(config)
    else:
        (config / "heatwarden.toml").write_text(damage)
    table, problems = front_settings(config, tmp_path / "state")
    assert table is None
    assert problems


def test_the_key_must_be_kept_like_a_password_and_the_guard_does_not_care(config: Path, tmp_path: Path) -> None:
    (tmp_path / "front.pem").write_text("certificate")
    (tmp_path / "front.key").write_text("key")
    (tmp_path / "front.key").chmod(0o644)
    add(config, f'certificate_file = "{tmp_path}/front.pem"\nkey_file = "{tmp_path}/front.key"')
    assert [problem.code for problem in front_settings(config, tmp_path / "state")[1]] == ["secret-open"]
    assert load(config).problems == ()


@pytest.mark.parametrize(("text", "told"), [('listen = "0.0.0.0"', True), ('listen = "::1"', False), ("", False)])
def test_listening_to_the_network_in_the_clear_is_noted(config: Path, text: str, *, told: bool) -> None:
    add(config, text)
    settings = load(config).settings
    assert settings is not None
    assert [lack for lack in protection(settings).lacks if lack.startswith("front: it listens on")] != [] or not told
    assert bool([lack for lack in protection(settings).lacks if lack.startswith("front:")]) == told


class TlsHouse:
    """A front that speaks TLS."""

    def __init__(self, folder: Path) -> None:
        self.certificates = Certificates(folder)
        self.certificates.key.chmod(0o600)
        files = f'certificate_file = "{self.certificates.certificate}"\nkey_file = "{self.certificates.key}"'
        self.front = Front(folder / "config", folder / "state", files)


@pytest.fixture(scope="module")
def tls(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TlsHouse]:
    tls = TlsHouse(tmp_path_factory.mktemp("tls"))
    with tls.front:
        yield tls


@pytest.mark.rig
def test_with_a_certificate_it_speaks_tls_and_nothing_else(tls: TlsHouse) -> None:
    context = ssl.create_default_context(cafile=str(tls.certificates.ca))
    connection = http.client.HTTPSConnection("127.0.0.1", tls.front.port, timeout=10, context=context)
    connection.request("GET", "/livez")
    assert connection.getresponse().status == 200
    assert connection.sock.version() in {"TLSv1.2", "TLSv1.3"}
    connection.close()
    with pytest.raises((http.client.HTTPException, OSError)):
        tls.front.get("/livez")


@pytest.mark.rig
def test_old_versions_of_tls_are_not_spoken(tls: TlsHouse) -> None:
    done = subprocess.run(
        ["openssl", "s_client", "-connect", f"127.0.0.1:{tls.front.port}", "-tls1_1", "-cipher", "DEFAULT@SECLEVEL=0"],
        input="",
        capture_output=True,
        text=True,
        check=False,
        timeout=20,
    )
    assert "Cipher is (NONE)" in done.stdout + done.stderr


@pytest.mark.rig
def test_half_a_handshake_ends_in_time(tls: TlsHouse) -> None:
    with tls.front.connect() as connection:
        connection.sendall(b"\x16\x03\x01")
        connection.settimeout(15)
        assert connection.recv(100) == b""


@pytest.mark.rig
@pytest.mark.parametrize(
    ("settings", "code", "says"),
    [
        ("port = 99999", 78, "front.port: found 99999"),
        ('listen = "192.0.2.1"', 1, "cannot listen on 192.0.2.1"),
        ("KEY", 78, "certificate_file and key_file"),
    ],
)
def test_a_front_that_cannot_run_ends_with_a_sentence(tmp_path: Path, settings: str, code: int, says: str) -> None:
    (tmp_path / "config").mkdir()
    if settings == "KEY":
        for name in ("a.pem", "a.key"):
            (tmp_path / name).write_text("nothing of the kind")
            (tmp_path / name).chmod(0o600)
        settings = f'certificate_file = "{tmp_path}/a.pem"\nkey_file = "{tmp_path}/a.key"'
    (tmp_path / "config" / "heatwarden.toml").write_text(f'site = "millbrook"\n[front]\n{settings}\n')
    command = [*AS_INSTALLED, "--config", str(tmp_path / "config"), "--state", str(tmp_path / "state")]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=30)
    assert done.returncode == code, done.stderr
    assert says in done.stderr
    assert "Traceback" not in done.stderr
