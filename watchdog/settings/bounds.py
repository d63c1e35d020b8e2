"""Within which bounds each number makes sense. Nothing outside of them is ever meant."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from typing import Any, NamedTuple

from watchdog.checks.registry import CHECKS
from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE
from watchdog.settings.sheet import Sheet, printer_file
from watchdog.thermal.heater_classes import CLASSES


class Bounds(NamedTuple):
    """From `low` (itself not allowed when `above`) to `high`, which is allowed."""

    low: float
    high: float
    above: bool = False

    def hold(self, value: float) -> bool:
        """True when `value` lies within; NaN never does."""
        return (self.low < value if self.above else self.low <= value) and value <= self.high

    def __str__(self) -> str:
        return f"{'above ' if self.above else ''}{self.low:g} to {self.high:g}"


def _over_zero(high: float) -> Bounds:
    return Bounds(0, high, above=True)


LONGEST_INTERVAL_S = 48.0
"""The longest grace, 120 s, must hold two and a half reporting intervals."""

FRONT_RESTART_S = 10.0
"""In seconds: so long the front may be away when it fails and its supervisor starts it again: to be noticed, a pause before the new
start, and a slow board that loads a web server. Pushed readings pause meanwhile, which must not be taken for silence."""

BOUNDS: dict[str, Bounds] = {
    "port": Bounds(1, 65535),
    "keepalive_s": Bounds(5, 60),
    "sent_within_s": _over_zero(10),
    "echo_within_s": _over_zero(30),
    "within_s": _over_zero(300),
    "standby_w": Bounds(0, 50),
    "ask_every_s": Bounds(5, 300),
    "every_s": Bounds(0.25, LONGEST_INTERVAL_S),
    "time_limit_s": _over_zero(10),
    "longest_interval_s": _over_zero(LONGEST_INTERVAL_S),
    "duty_full": _over_zero(100_000),
    "normal_max_c": _over_zero(600),
    "harm_c": _over_zero(600),
    "rated_w": Bounds(5, 20_000),  # who means kilowatts, metres or kilograms is told so
    "width_mm": Bounds(30, 3_000),
    "depth_mm": Bounds(30, 3_000),
    "plate_mm": Bounds(0.1, 50),
    "face_mm": Bounds(0, 30),
    "block_g": Bounds(1, 5_000),
    "heating_hours": _over_zero(200),
}
"""By key, wherever it stands."""

LIMIT_BOUNDS: dict[tuple[str, str], Bounds] = {
    ("ceiling", "confirm_s"): Bounds(0, 60),
    ("no_readings", "grace_s"): _over_zero(120),
    ("no_readings", "outage_s"): _over_zero(120),
    ("no_response", "duty"): Bounds(0, 1, above=True),
    ("no_response", "cold_share"): Bounds(0, 1),
    ("jumping", "rate_k_per_s"): _over_zero(100),
    ("jumping", "jumps"): Bounds(2, 1000),
    ("disagreement", "share"): Bounds(0, 1),
}
"""By check and key; other limits go by the ending of their key."""

_BY_ENDING = {
    "confirm_s": _over_zero(60),
    "_k_per_s": _over_zero(1),
    "_s": _over_zero(3600),
    "_k": _over_zero(100),
    "_w": _over_zero(20000),
}


def numbers(sheet: Sheet) -> Iterator[Draft]:
    """Every number that stands outside of its bounds."""
    if sheet.main:
        yield from _in_table(MAIN_FILE, (), sheet.main)
    for printer, table in sheet.printers.items():
        yield from _in_table(printer_file(printer), (), table)
    for file, name, heater in sheet.heaters():
        tables: tuple[tuple[KeyPath, dict[str, dict[str, float]]], ...] = (
            (("limits",), heater.limits),
            (("learnt", "limits"), heater.learnt.limits if heater.learnt else {}),
        )
        for path, limits in tables:
            yield from _limits_in(file, ("heaters", name, *path), heater.kind, limits)
        hours = BOUNDS["heating_hours"]
        for check, value in heater.observe.items():
            if not hours.hold(value):
                yield Draft(file, ("heaters", name, "observe", check), "out-of-bounds", value, said={"bounds": f"{hours} hours"})


def _limits_in(file: str, path: KeyPath, kind: str, table: dict[str, dict[str, float]]) -> Iterator[Draft]:
    for check, limits in table.items():
        for key, value in limits.items():
            bounds = limit_bounds(kind, check, key)
            if bounds and not bounds.hold(value):
                yield Draft(file, (*path, check, key), "out-of-bounds", value, said={"bounds": str(bounds)})


def limit_bounds(kind: str, check: str, key: str) -> Bounds | None:
    """The bounds of one limit; None for a limit that does not exist."""
    entry = next((entry for entry in CHECKS if entry.key == check), None)
    if entry is None or key not in {field.name for field in fields(entry.limits)}:
        return None
    if (check, key) in LIMIT_BOUNDS:
        return LIMIT_BOUNDS[check, key]
    if key.endswith("_c"):
        return Bounds(*CLASSES[kind].plausible_c)
    return next((bounds for ending, bounds in _BY_ENDING.items() if key.endswith(ending)), None)


def _in_table(file: str, path: KeyPath, value: Any) -> Iterator[Draft]:  # noqa: ANN401 - any part of a settings file
    if is_dataclass(value):
        for field in fields(value):
            yield from _in_table(file, (*path, field.name), getattr(value, field.name))
    elif isinstance(value, dict) and path[-1] not in {"limits", "observe"}:
        for name, item in value.items():
            yield from _in_table(file, (*path, name), item)
    elif isinstance(value, int | float) and path[-1] in BOUNDS and not BOUNDS[str(path[-1])].hold(value):
        yield Draft(file, path, "out-of-bounds", value, said={"bounds": str(BOUNDS[str(path[-1])])})
