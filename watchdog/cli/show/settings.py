"""The settings files of the demo, written as a person would write them."""

from collections.abc import Iterable
from pathlib import Path

MAIN = """# The demo's settings. The embedded broker speaks MQTT 3.1.1 and lives on loopback only.
site = "millbrook-tool-library"

[state]
directory = "{state}"

[brokers.demo]
host = "127.0.0.1"
port = {port}
protocol = "3.1.1"
"""

RELAY = """
[relays.{name}-plug]
kind = "mqtt"
broker = "demo"
cuts = "printer"
feeds_board = false # the pretend boards stay on, so that you can watch them cool
order = {{ topic = "demo/{name}/plug/order", off = "open" }}
echo = {{ topic = "demo/{name}/plug/says", off = "open", on = "closed" }}
meter = {{ topic = "demo/{name}/plug/watts", standby_w = 2.0, within_s = 10.0 }}
"""

PRINTER = """relays = ["{name}-plug"]

[heaters.bed]
kind = "bed"
readings = {{ broker = "demo", topic = "demo/{name}/bed", longest_interval_s = 1.0 }}

[heaters.bed.limits.no_readings] # short, so that the show stays short
advise_s = 3.0
grace_s = 8.0

[heaters.hotend]
kind = "hotend"
readings = {{ broker = "demo", topic = "demo/{name}/hotend", longest_interval_s = 1.0 }}

[heaters.hotend.limits.no_readings]
advise_s = 3.0
grace_s = 8.0
"""


def write_settings(directory: Path, state: Path, port: int, printers: Iterable[str]) -> None:
    """Write heatwarden.toml and one file a printer."""
    names = list(printers)
    main = MAIN.format(state=state, port=port) + "".join(RELAY.format(name=name) for name in names)
    (directory / "printers").mkdir(parents=True, exist_ok=True)
    (directory / "heatwarden.toml").write_text(main, encoding="utf-8")
    for name in names:
        (directory / "printers" / f"{name}.toml").write_text(PRINTER.format(name=name), encoding="utf-8")
