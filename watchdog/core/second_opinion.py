"""What another sensor of the same heater, on a board of its own, says while the controller's is silent."""

from statistics import median

from watchdog.core.values import NEVER, JsonObject, from_plain, to_plain

TAKES = 5
"""The first and the newest so many readings are held against each other by their middle one: a wild one counts for nothing."""

FALL_K, RISE_K, SPREADS = 0.2, 0.5, 2.0
"""It falls, or rises, by so much at least, in kelvin; it rises by so many times what its first readings differ as well."""

SILENT_INTERVALS = 2.0
"""After so many of its longest intervals it is silent as well."""

WAITS_S = 300.0
"""So long it may take to show that a heater that is off cools; the thickest plate shows it sooner."""

Heard = tuple[float, float]
"""When, in engine seconds, and what, in degrees Celsius."""


class SecondOpinion:
    """The first further sensor that spoke since the silence began, and what it said first and last."""

    __slots__ = ("_believed_at", "_first", "_newest", "sensor")

    def __init__(self) -> None:
        self._first: list[Heard] = []
        self._newest: list[Heard] = []
        self.forget()

    def forget(self) -> None:
        """The controller's own sensor is heard again."""
        self.sensor = ""
        self._believed_at = NEVER
        self._first, self._newest = [], []

    def add(self, sensor: str, at: float, temperature_c: float) -> None:
        """Take a reading of a further sensor."""
        if not self.sensor:
            self.sensor = sensor
        if sensor == self.sensor:
            self._newest = [*self._newest[1 - TAKES :], (at, temperature_c)]
            if len(self._first) < TAKES:
                self._first.append((at, temperature_c))

    def vouches(self, now: float, since: float, longest_interval_s: float, cold_c: float, cooling_k_per_s: float) -> bool:
        """True while it shows that a heater that is off cools, or may still show it; `since` the controller's sensor is silent.

        A fall slower than `cooling_k_per_s` is none, and none is needed at or below `cold_c`. What fell when it was last heard
        is believed to have gone on, as it is of the controller's sensor.
        """
        if not self._newest or now - self._newest[-1][0] > SILENT_INTERVALS * longest_interval_s:
            return self._believed_at != NEVER
        waits = now - max(since, self._believed_at) < WAITS_S
        if len(self._first) < TAKES:
            return waits
        (first_at, first_c), (at, temperature_c) = _middle(self._first), _middle(self._newest)
        rise_k, spread_k = temperature_c - first_c, _spread_k(self._first)
        if temperature_c <= cold_c or rise_k <= -max(FALL_K, spread_k, cooling_k_per_s * (at - first_at)):
            self._believed_at, self._first = now, []  # and what comes must be seen to fall as well
            return True
        return waits and rise_k < max(RISE_K, SPREADS * spread_k)

    def snapshot(self) -> JsonObject:
        plain = {"first": [list(heard) for heard in self._first], "newest": [list(heard) for heard in self._newest]}
        return plain | {"sensor": self.sensor, "believed_at": to_plain(self._believed_at)}

    def restore(self, saved: JsonObject) -> None:
        self.sensor, self._believed_at = saved["sensor"], from_plain(saved["believed_at"])
        self._first = [(at, temperature_c) for at, temperature_c in saved["first"]]
        self._newest = [(at, temperature_c) for at, temperature_c in saved["newest"]]


def _middle(heard: list[Heard]) -> Heard:
    return median(at for at, _ in heard), median(celsius for _, celsius in heard)


def _spread_k(heard: list[Heard]) -> float:
    """How far readings of one moment differ, but for the highest and the lowest."""
    inner = sorted(celsius for _, celsius in heard)[1:-1]
    return inner[-1] - inner[0]
