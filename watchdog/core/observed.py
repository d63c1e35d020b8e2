"""What the observer of a heater knows, and nothing once it has failed: checks that ask must not fall with it."""

from watchdog.core.observer import Observer


class Observed:
    """The part of a heater that its observer tells."""

    __slots__ = ("observer", "observer_failed", "temperature_c")

    observer: Observer
    observer_failed: bool
    temperature_c: float | None

    @property
    def period_s(self) -> float | None:
        return None if self.observer_failed else self.observer.period_s

    @property
    def noise_k(self) -> float | None:
        return None if self.observer_failed else self.observer.roughness.noise_k

    @property
    def lively_steps(self) -> float | None:
        return None if self.observer_failed else self.observer.roughness.lively_steps

    @property
    def longest_row(self) -> int:
        return self.observer.roughness.longest_row

    @property
    def resolution_k(self) -> float | None:
        unknown = self.observer_failed or self.temperature_c is None
        return None if unknown else self.observer.roughness.resolution_k(self.temperature_c or 0.0)

    @property
    def warms_up(self) -> bool:
        """True while there is no slope yet, or none any more."""
        return self.observer_failed or not self.observer.knows_slope

    def slope_k_per_s(self) -> float | None:
        if self.observer_failed:
            return None
        try:
            return self.observer.slope_k_per_s()
        except Exception:  # noqa: BLE001 - a check that asks must not fall with the observer
            self.observer_failed = True
            return None
