"""Controllers of a printer: what duty they ask for, 0 to 1. They have no protection of their own: the worst case is what is guarded."""

from typing import Protocol


class Controller(Protocol):
    """Asks for heat."""

    def duty(self, dt_s: float, target_c: float, seen_c: float) -> float:
        """The duty for the next `dt_s` seconds; a target of 0 is off."""
        ...

    def reports(self, target_c: float) -> float:
        """The target that it reports, in degrees Celsius, when `target_c` is what the schedule asks for."""
        ...


class TwoPoint:
    """Full on below the target, off above it."""

    __slots__ = ("_band_k", "_on")

    def __init__(self, band_k: float = 0.5) -> None:
        self._band_k = band_k
        self._on = False

    def duty(self, dt_s: float, target_c: float, seen_c: float) -> float:
        del dt_s
        if target_c <= 0.0:
            self._on = False
        elif seen_c < target_c - self._band_k:
            self._on = True
        elif seen_c > target_c + self._band_k:
            self._on = False
        return 1.0 if self._on else 0.0

    def reports(self, target_c: float) -> float:
        return target_c


class Pid:
    """Proportional to the error, with an integral that waits while the output is at its end, and the derivative of the reading."""

    __slots__ = ("_before_c", "_gain", "_integral", "_integral_per_s", "_rate_k_s", "_rise_s", "_target_c")

    SMOOTHING_S = 3.0

    def __init__(self, gain_per_k: float, integral_s: float, rise_s: float) -> None:
        """Duty per kelvin, integral time in seconds, lead time of the derivative in seconds."""
        self._gain, self._integral_per_s, self._rise_s = gain_per_k, 1.0 / integral_s, rise_s
        self._integral = 0.0
        self._before_c: float | None = None
        self._rate_k_s = 0.0
        self._target_c = 0.0

    def duty(self, dt_s: float, target_c: float, seen_c: float) -> float:
        if target_c != self._target_c:
            self._target_c, self._integral = target_c, 0.0
        if target_c <= 0.0:
            self._before_c = None
            return 0.0
        if self._before_c is not None:
            rate_k_s = (seen_c - self._before_c) / dt_s
            self._rate_k_s += (rate_k_s - self._rate_k_s) * min(1.0, dt_s / self.SMOOTHING_S)
        self._before_c = seen_c
        error_k = target_c - seen_c
        asked = self._gain * (error_k - self._rise_s * self._rate_k_s) + self._integral
        if 0.0 < asked < 1.0 or (asked >= 1.0) != (error_k > 0.0):
            self._integral = min(1.0, max(0.0, self._integral + self._gain * error_k * self._integral_per_s * dt_s))
        return min(1.0, max(0.0, asked))

    def reports(self, target_c: float) -> float:
        return target_c


class TuningRun:
    """Swings around a temperature of its own, full on and off, to measure the heater; then off.

    `reports_off`: the target stands at 0 meanwhile, as some printers have it: from outside just like a switch that fails closed.
    """

    __slots__ = ("_around_c", "_on", "_reports_off", "_swings")

    def __init__(self, around_c: float, swings: int = 5, *, reports_off: bool = False) -> None:
        self._around_c, self._swings, self._reports_off = around_c, swings, reports_off
        self._on = True

    def duty(self, dt_s: float, target_c: float, seen_c: float) -> float:
        del dt_s, target_c
        if self._swings <= 0:
            return 0.0
        if self._on and seen_c > self._around_c:
            self._on = False
            self._swings -= 1
        elif not self._on and seen_c < self._around_c - 1.0:
            self._on = True
        return 1.0 if self._on else 0.0

    def reports(self, target_c: float) -> float:
        del target_c
        return self._around_c if self._swings > 0 and not self._reports_off else 0.0


def well_tuned(slope_k_s: float, lag_s: float) -> Pid:
    """A loop that settles without much overshoot, for a heater that rises `slope_k_s` at full power and lags by `lag_s`."""
    return Pid(0.35 / (slope_k_s * lag_s), 12.0 * lag_s, 0.5 * lag_s)


def badly_tuned(slope_k_s: float, lag_s: float) -> Pid:
    """A loop that rings for a while: too much of the integral, no derivative."""
    return Pid(0.25 / (slope_k_s * lag_s), 2.5 * lag_s, 0.0)
