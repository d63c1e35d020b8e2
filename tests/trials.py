"""Verdicts on a set of labelled logs: `python tests/trials.py SET` prints them as JSON, in the form the set's scorer takes.

Settings are made mechanically from what the owner of the simulated printer knows (the manifest's `facts`, `sample_period_s`
and `reports_*`), alike for all logs; never from expectations, families or file names. Uses two processes.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import orjson

from watchdog.replay.runner import replay
from watchdog.settings.assemble import site_plan
from watchdog.settings.feeds import Readings
from watchdog.settings.model import Heater, MainFile, PrinterFile, Settings
from watchdog.sources.recordings import Recording

PROCESSES = 2
LONGEST_OVER_PERIOD = 2.0
"""An owner declares a longest interval of twice the usual one."""

SUPPLIES = {"24 V DC": "24 V DC", "12 V DC": "12 V DC", "48 V DC": "48 V DC", "mains": "mains"}
SWITCHES = {"board": "printer board", "external MOSFET": "MOSFET module", "solid-state relay": "solid-state relay"}
PLATES = {"aluminium": "aluminium", "steel": "steel", "copper": "copper", "glass": "glass", "FR4": "circuit board"}
FACES = {"borosilicate glass": "glass", "glass": "glass", "spring steel": "spring steel", "steel": "spring steel", "PEI": "polymer sheet"}
NUMBERS = ("rated_w", "width_mm", "depth_mm", "plate_mm", "face_mm", "block_g", "normal_max_c")


def heater_of(name: str, facts: dict[str, Any], entry: dict[str, Any]) -> Heater:
    """One heater as its owner would describe it."""
    values: dict[str, Any] = {key: float(facts[key]) for key in NUMBERS if facts.get(key)}
    supply = str(facts.get("supply", ""))
    words = {
        "supply": SUPPLIES.get(supply) or ("mains" if "mains" in supply or "V AC" in supply else None),
        "switch": SWITCHES.get(str(facts.get("switch"))),
        "plate_material": PLATES.get(str(facts.get("plate_material"))),
        "face_material": FACES.get(str(facts.get("face_material"))),
    }
    values |= {key: word for key, word in words.items() if word}
    interval_s = LONGEST_OVER_PERIOD * float(entry["sample_period_s"])
    readings = Readings(broker="log", topic=f"log/{name}", longest_interval_s=interval_s)
    return Heater(kind=facts["role"], readings=readings, harm_c=float(facts["damage_c"]), **values)


def settings_of(entry: dict[str, Any]) -> Settings:
    """One printer, from what its owner knows."""
    heaters = {name: heater_of(name, facts, entry) for name, facts in entry["facts"].items()}
    return Settings(MainFile(site="trials"), {entry["printer"]: PrinterFile(relays=(), heaters=heaters)})


def verdict_of(folder: Path, entry: dict[str, Any]) -> tuple[str, list[dict[str, str]]]:
    """The trips in one log."""
    verdict = replay(site_plan(settings_of(entry)), Recording(folder / entry["log"]))
    return entry["log"], [{key: trip[key] for key in ("time", "heater", "check")} for trip in verdict.trips]


def verdicts(folder: Path) -> dict[str, list[dict[str, str]]]:
    """Every log of a set."""
    manifest = orjson.loads((folder / "manifest.json").read_bytes())
    with ProcessPoolExecutor(PROCESSES) as pool:
        return dict(pool.map(verdict_of, [folder] * len(manifest), manifest, chunksize=4))


def main() -> None:
    folder = Path(sys.argv[1])
    sys.stdout.buffer.write(orjson.dumps(verdicts(folder), option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE))


if __name__ == "__main__":
    main()
