"""The settings files of the demo, written as a person would write them."""

from collections.abc import Iterable
from pathlib import Path

from watchdog.cli.show.printers import SITE, Part

MAIN = """# The demo's settings. The embedded broker speaks MQTT 3.1.1 and lives on loopback only.
site = "{site}"

[state]
directory = "{state}"

[brokers.workshop]
host = "127.0.0.1"
port = {port}
protocol = "3.1.1"
"""

RELAY = """
[relays.{name}-plug]
kind = "mqtt"
broker = "workshop"
cuts = "printer"
order = {{ topic = "workshop/{name}/plug/order", off = "open" }}
echo = {{ topic = "workshop/{name}/plug/says", off = "open", on = "closed" }}
meter = {{ topic = "workshop/{name}/plug/watts", standby_w = 2.0, within_s = 15.0 }}
"""

HEATER = """
[heaters.{heater}]
{facts}
readings = {{ broker = "workshop", topic = "workshop/{name}/{heater}", longest_interval_s = 2.0 }}
"""


def write_settings(directory: Path, state: Path, port: int, parts: Iterable[Part]) -> None:
    """Write heatwarden.toml and one file a printer. All limits are left to what the facts and the class of heater imply."""
    parts = list(parts)
    main = MAIN.format(site=SITE, state=state, port=port) + "".join(RELAY.format(name=part.name) for part in parts)
    (directory / "printers").mkdir(parents=True, exist_ok=True)
    (directory / "heatwarden.toml").write_text(main, encoding="utf-8")
    for part in parts:
        heaters = "".join(HEATER.format(name=part.name, heater=heater, facts=_facts(part, heater)) for heater in part.heaters)
        (directory / "printers" / f"{part.name}.toml").write_text(f'relays = ["{part.name}-plug"]\n{heaters}', encoding="utf-8")


def _facts(part: Part, heater: str) -> str:
    """What the owner knows, one line each."""
    told = part.heaters[heater].told()
    return "\n".join(f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}" for key, value in told.items())
