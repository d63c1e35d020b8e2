"""`heatwarden check`: what people and programs get to see."""

import os
import pty
import subprocess
import sys
from pathlib import Path

import orjson
import pytest

from watchdog.cli.caution import CAUTIONS, IF_THIS_COMPUTER_DIES
from watchdog.cli.check import run
from watchdog.settings.load import load
from watchdog.settings.protection import protection

EXAMPLES = Path(__file__).parent.parent.parent / "config"


def replaced(config: Path, name: str, old: str, new: str) -> Path:
    text = (config / name).read_text()
    assert old in text
    (config / name).write_text(text.replace(old, new))
    return config


def lacks(config: Path, printer: str) -> str:
    settings = load(config).settings
    assert settings is not None
    return "\n".join(protection(settings).printers[printer].lacks)


def test_good_settings_give_0_and_say_what_protects_what(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(config, False) == 0
    text = capsys.readouterr().out
    assert "bed-contactor  cuts heater   confirmed by temperature falling" in text
    assert "anvil-plug     cuts printer  confirmed by echo or meter" in text
    assert "make-believe  cuts nothing (pretend)  confirmed by nothing" in text
    assert "chosen in the printer's file" in text
    assert text.count(IF_THIS_COMPUTER_DIES) == 2
    assert all(caution in text for caution in CAUTIONS)
    assert "\x1b" not in text


def test_bad_settings_give_78_and_every_problem_on_standard_error(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    replaced(config, "heatwarden.toml", "allow_commands", "allow_command")
    replaced(config, "printers/anvil.toml", "grace_s = 30.0", "grace_s = 300.0")
    assert run(config, False) == 78
    captured = capsys.readouterr()
    assert captured.out == ""
    lines = captured.err.splitlines()
    assert lines[0] == f"{config}: 3 problems; nothing was started or changed"
    assert lines[1].startswith(f"{config}/heatwarden.toml:2: allow_command: found ")
    assert lines[3].startswith(f"{config}/printers/anvil.toml:24: heaters.bed.limits.no_readings.grace_s: found 300; allowed: ")


def test_a_directory_that_is_not_there_is_told_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(tmp_path / "none", False) == 78
    assert f"{tmp_path / 'none'}: found no such directory; allowed: " in capsys.readouterr().err


def test_the_json_of_good_settings_has_the_documented_shape(config: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert run(config, True) == 0
    found = orjson.loads(capfdbinary.readouterr().out)
    assert list(found) == ["ok", "config", "site", "problems", "printers", "not_protected", "cautions"]
    assert (found["ok"], found["site"], found["problems"]) == (True, "millbrook", [])
    anvil = found["printers"]["anvil"]
    assert list(anvil) == ["heaters", "not_protected", "if_this_computer_dies"]
    bed = anvil["heaters"]["bed"]
    assert bed["kind"] == "bed"
    assert list(bed["limits"][0]) == ["check", "key", "value", "origin", "why"]
    assert bed["cut_by"][1] == {"relay": "anvil-plug", "cuts": "printer", "evidence": ["echo", "meter"]}


def test_the_json_of_bad_settings_has_the_documented_shape(config: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    replaced(config, "heatwarden.toml", "allow_commands", "allow_command")
    assert run(config, True) == 78
    captured = capfdbinary.readouterr()
    found = orjson.loads(captured.out)
    assert (found["ok"], found["site"], found["printers"]) == (False, None, {})
    assert list(found["problems"][0]) == ["file", "line", "key", "found", "allowed", "hint", "code"]
    assert captured.err == b""


@pytest.mark.parametrize(
    ("printer", "old", "new", "sentence"),
    [
        ("anvil", 'meter = { topic = "plugs/anvil/power", pointer = "/watts" }\n', "", "anvil-plug: no meter"),
        ("anvil", 'presence = { topic = "plugs/anvil/presence" }\n', "", "anvil-plug: no presence"),
        ("anvil", 'site = "millbrook"', 'site = "millbrook"', "bed-contactor: no echo and no meter; only a falling temperature"),
        ("anvil", 'cuts = "heater"', 'cuts = "heater"\nfeeds_board = true', "nothing can show that it opened"),
        ("cinder", 'ask = ["{here}/program", "show", "1"]\n', "", "table-board: no ask"),
        ("cinder", 'site = "millbrook"', 'site = "millbrook"', "bed: only one relay, table-board"),
        ("cinder", 'site = "millbrook"', 'site = "millbrook"', "make-believe: a pretend relay; it cuts nothing"),
        ("cinder", 'site = "millbrook"', 'site = "millbrook"', "table-board: opening it takes the power of anvil as well"),
    ],
)
def test_what_is_not_protected_is_said(config: Path, printer: str, old: str, new: str, sentence: str) -> None:
    replaced(config, "heatwarden.toml", old.replace("{here}", str(config.parent)), new)
    assert sentence in lacks(config, printer)


@pytest.mark.parametrize(
    ("printer", "old", "new", "sentence"),
    [
        (
            "cinder",
            'presence = { topic = "cinder/presence", here = "here", gone = "gone" }\n',
            "",
            "bed: its source reports on change and has no presence",
        ),
        ("cinder", " of (?P<target>[0-9.]+)", "", "bed: its target is not reported"),
        ("cinder", '"table-board", ', "", "bed: no relay that cuts anything"),
        (
            "anvil",
            'relays = ["anvil-plug", "table-board"]',
            'relays = ["anvil-plug"]',
            "hotend: its readings and all of its relays need the broker main",
        ),
    ],
)
def test_what_a_printers_file_leaves_open_is_said(config: Path, printer: str, old: str, new: str, sentence: str) -> None:
    replaced(config, f"printers/{printer}.toml", old, new)
    assert sentence in lacks(config, printer)


HTTP = """
[relays.plug-on-http]
kind = "http"
cuts = "printer"
order = {{ url = "{url}"{order} }}
{more}
"""
ECHO = 'echo = { url = "http://192.0.2.7/state" }'
CLEAR = "cross the network in the clear, and anybody there may answer in its place"


@pytest.mark.parametrize(
    ("url", "order", "more", "said", "unsaid"),
    [
        ("http://192.0.2.7/a", "", "", "any answer with a status from 200 to 299 counts as taken, a page of errors too", "no meter;"),
        ("http://192.0.2.7/a", "", "", "nothing can show that it opened", "no ask"),
        ("http://192.0.2.7/a", "", "", "no secret; anybody on its network may switch it", "no presence"),
        ("http://192.0.2.7/a", "", "", f"http without TLS; all it says {CLEAR.replace('cross ', 'crosses ')}", "its secret"),
        ("http://192.0.2.7/a", ', answer = { word = "ok" }', ECHO, "no meter; a welded contact that echoes off goes unseen", "any answer"),
        (
            "http://192.0.2.7/a",
            ', body = "{secret}"',
            ECHO + '\nsecret_file = "{here}/secret"\nmeter = { pointer = "/watts" }',
            f"http without TLS; its secret and all it says {CLEAR}",
            "no secret",
        ),
        ("https://192.0.2.7/a", "", ECHO, CLEAR.replace("cross ", "crosses "), "any answer"),
        ("https://192.0.2.7/a", "", ECHO.replace("http:", "https:"), "no secret", "without TLS"),
        ("http://127.0.0.1/a", "", "", "any answer", "without TLS"),
        ("http://127.0.0.1/a", "", "", "any answer", "no secret"),
    ],
)
def test_what_a_relay_on_http_leaves_open_is_said(config: Path, url: str, order: str, more: str, said: str, unsaid: str) -> None:
    main = config / "heatwarden.toml"
    main.write_text(main.read_text() + HTTP.format(url=url, order=order, more=more.replace("{here}", str(config.parent))))
    replaced(config, "printers/cinder.toml", "make-believe", "plug-on-http")
    told = [line for line in lacks(config, "cinder").splitlines() if line.startswith("plug-on-http: ")]
    assert any(said in line for line in told), told
    assert not any(unsaid in line for line in told), told


@pytest.mark.parametrize(("host", "said"), [("192.0.2.7", True), ("192.0.2.8", False)])
def test_one_device_for_readings_and_relays_is_a_common_cause(config: Path, host: str, *, said: bool) -> None:
    page = '[pages.board]\nurl = "http://192.0.2.7:8080/now"\nevery_s = 1.0\n\n[brokers.spare]'
    replaced(config, "heatwarden.toml", "[brokers.spare]", page)
    main = config / "heatwarden.toml"
    main.write_text(main.read_text() + HTTP.format(url=f"http://{host}/a", order="", more=ECHO))
    cinder = config / "printers" / "cinder.toml"
    reads = 'kind = "bed"\n[heaters.bed.readings]\npage = "board"\nlongest_interval_s = 20.0\n'
    cinder.write_text('relays = ["plug-on-http"]\n[heaters.bed]\n' + reads)
    assert ("bed: its readings and all of its relays are those of one device, 192.0.2.7" in lacks(config, "cinder")) is said


def test_two_ways_to_cut_are_no_common_cause(config: Path) -> None:
    assert "need the broker" not in lacks(config, "anvil")


def test_the_site_as_a_whole_is_judged(config: Path) -> None:
    replaced(config, "heatwarden.toml", f'tls = {{ ca_file = "{config.parent}/ca.pem" }}\n', "")
    replaced(config, "printers/cinder.toml", ', "make-believe"', "")
    settings = load(config).settings
    assert settings is not None
    assert protection(settings).lacks == (
        "broker main: no tls; its password and all readings cross the network in the clear",
        "broker spare: no user; anybody on its network may speak for a printer or switch a relay",
        "relay make-believe: described, and used by no printer",
    )


def on_a_terminal(config: Path, **environment: str) -> bytes:
    ours, theirs = pty.openpty()
    command = f"from pathlib import Path; from watchdog.cli.check import run; run(Path({str(config)!r}), False)"
    variables = {key: value for key, value in os.environ.items() if key != "NO_COLOR"} | {"TERM": "xterm", "COLUMNS": "120"} | environment
    child = subprocess.Popen([sys.executable, "-c", command], stdout=theirs, env=variables)
    os.close(theirs)
    seen = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:  # the terminal's other end is gone
            break
        if not piece:
            break
        seen += piece
    os.close(ours)
    assert child.wait(10) == 0
    return seen


def test_no_color_is_honoured_on_a_terminal(config: Path) -> None:
    assert b"anvil" in on_a_terminal(config, NO_COLOR="1")
    assert b"\x1b[3" not in on_a_terminal(config, NO_COLOR="1")
    assert b"\x1b[1m" in on_a_terminal(config)


def test_the_examples_are_good_as_shipped() -> None:
    loaded = load(EXAMPLES)
    assert [str(problem) for problem in loaded.problems] == []
    assert loaded.settings is not None
    switches = {heater.switch for table in loaded.settings.printers.values() for heater in table.heaters.values() if heater.kind == "bed"}
    assert switches == {"printer board", "MOSFET module", "solid-state relay", "mechanical relay"}
    supplies = {heater.supply for table in loaded.settings.printers.values() for heater in table.heaters.values() if heater.kind == "bed"}
    assert {"mains", "dedicated DC supply"} <= supplies


def test_the_examples_stay_good_with_what_they_comment_out(config: Path, tmp_path: Path) -> None:
    main = tmp_path / "examples" / "heatwarden.toml"
    (tmp_path / "examples" / "printers").mkdir(parents=True)
    for file in (EXAMPLES / "printers").glob("*.toml"):
        (main.parent / "printers" / file.name).write_text(file.read_text())
    text = (EXAMPLES / "heatwarden.toml").read_text()
    for line in (
        "allow_commands = true",
        'user = "heatwarden"',
        "password_file =",
        "tls =",
        "[relays.usb-board]",
        "kind = ",
        "cuts = ",
        "off = [",
        "ask = [",
        "order = {",
        "echo = {",
        "secret_file =",
        "[relays.cinder-http]",
        "[relays.make",
        "file =",
    ):
        text = text.replace(f"\n# {line}", f"\n{line}")
    for old, new in (
        ("/etc/heatwarden/broker-password", "secret"),
        ("/etc/heatwarden/ca.pem", "ca.pem"),
        ("/usr/local/bin/relay-board", "program"),
        ("/etc/heatwarden/cinder-plug-word", "secret"),
    ):
        text = text.replace(f'"{old}"', f'"{config.parent / new}"')
    main.write_text(text)
    main.chmod(0o644)
    loaded = load(main.parent)
    assert [str(problem) for problem in loaded.problems] == []
    assert loaded.settings is not None
    assert {"usb-board", "cinder-http", "make-believe"} <= set(loaded.settings.main.relays)
    assert loaded.settings.main.brokers["main"].tls is not None
