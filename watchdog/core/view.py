"""The read-only view of a heater that checks judge."""

from collections.abc import Mapping
from typing import Protocol


class SourceView(Protocol):
    """What is known of the source behind a heater."""

    @property
    def on_change(self) -> bool:
        """True when silence is normal and proof of life comes another way."""

    @property
    def longest_interval_s(self) -> float:
        """The longest time between two reports (or two proofs of life) of a healthy source."""

    @property
    def alive_at(self) -> float:
        """The time of the last proof of life of the source, any of its readings included."""


class Expected(Protocol):
    """What the physics of one heater allow, as far as its facts are known; temperatures in degrees Celsius, rates in kelvin a second."""

    def slowest_rise_k_per_s(self, celsius: float, duty: float = 1.0) -> float:
        """At `duty` (0 to 1), the weakest and heaviest that it may be; negative where even that must cool."""

    def cautious_rise_k_per_s(self, celsius: float) -> float:
        """At full power, with facts as wrong as they often are, but not all at their worst."""

    def usual_rise_k_per_s(self, celsius: float) -> float:
        """At full power, just as its facts say."""

    def fastest_rise_k_per_s(self, celsius: float) -> float:
        """At full power, the strongest and lightest that it may be."""

    def slowest_fall_k_per_s(self, celsius: float) -> float:
        """Without power, in warm and still air; a positive number."""


class HeaterView(Protocol):
    """One heater as a check may see it: newest values with their ages. Times are engine seconds."""

    @property
    def printer(self) -> str: ...

    @property
    def heater(self) -> str: ...

    @property
    def now(self) -> float: ...

    @property
    def since(self) -> float:
        """When watching of this heater began (start, reset or resume): nothing was heard before."""

    @property
    def temperature_c(self) -> float | None:
        """The newest live temperature of the controlling sensor; None before the first."""

    @property
    def temperature_at(self) -> float: ...

    @property
    def lacking_at(self) -> float:
        """When it said all but its temperature for the second time; of no meaning where that came later."""

    @property
    def previous_c(self) -> float | None:
        """The temperature before the newest one."""

    @property
    def previous_at(self) -> float: ...

    @property
    def low_c(self) -> float:
        """The lower of the two newest temperatures: one wild sample is no rise. Without meaning before the first."""

    @property
    def high_c(self) -> float:
        """The higher of them: one wild sample is no fall."""

    @property
    def coldest_c(self) -> float:
        """The lowest temperature since watching began; infinity before the first."""

    @property
    def hottest_c(self) -> float | None:
        """The hottest newest value over all sensors of this heater."""

    @property
    def fresh(self) -> bool:
        """True when the input being judged brought a live temperature of this heater, from whichever sensor."""

    @property
    def sensor(self) -> str:
        """The sensor that spoke last; empty is the controlling one."""

    @property
    def spoken_c(self) -> float | None:
        """What that sensor said."""

    @property
    def spoken_interval_s(self) -> float:
        """The longest time between two words of that sensor."""

    @property
    def target_c(self) -> float | None:
        """The newest target; 0 is commanded off, None is unknown (which is never off)."""

    @property
    def target_at(self) -> float: ...

    @property
    def target_changed_at(self) -> float:
        """When the target last took another value."""

    @property
    def target_lowered_at(self) -> float:
        """When the target was last seen to go down."""

    @property
    def duty(self) -> float | None: ...

    @property
    def duty_at(self) -> float: ...

    @property
    def power_w(self) -> float | None:
        """What a meter of this heater alone said last, in watts."""

    @property
    def power_at(self) -> float: ...

    @property
    def printer_power_w(self) -> float | None:
        """What a meter of the whole printer said last, in watts."""

    @property
    def printer_power_at(self) -> float: ...

    @property
    def is_off(self) -> bool:
        """True when it said last that nobody asks it for heat: target 0, or unknown with a duty of 0."""

    @property
    def printer_is_off(self) -> bool:
        """True when every heater of the printer said so last."""

    @property
    def all_are_silent(self) -> bool:
        """True while a printer has several heaters, and for a few reporting intervals nothing was heard of any, or of its source."""

    @property
    def printer_is_heard(self) -> bool:
        """False once a source of it has been silent for so long that what was said last need not hold any more."""

    @property
    def sensors(self) -> Mapping[str, tuple[float, float]]:
        """Further sensors by name: what each said last (degrees Celsius), and when."""

    def interval_s(self, sensor: str) -> float:
        """The longest time between two words of a sensor; empty is the controlling one."""

    @property
    def darkened(self) -> bool:
        """True while a relay that feeds this printer's board is known to be off: silence is expected."""

    @property
    def lit_at(self) -> float:
        """When a relay last showed that the power of a darkened board is back."""

    @property
    def latched(self) -> bool: ...

    @property
    def expected(self) -> Expected | None:
        """What its physics allow; None where its facts are not known."""

    @property
    def source(self) -> SourceView: ...

    @property
    def period_s(self) -> float | None:
        """The observer's estimate of the reporting period; None while it learns or when it failed."""

    @property
    def noise_k(self) -> float | None:
        """The observer's estimate of the noise of the controlling sensor, one standard deviation; None while it learns."""

    @property
    def lively_steps(self) -> float | None:
        """The noise, in steps of its resolution, that its readings surely keep as long as their sensor lives; None while unknown."""

    @property
    def longest_row(self) -> int:
        """How many readings were equal in the longest row that ended by itself."""

    @property
    def resolution_k(self) -> float | None:
        """The observer's estimate of the smallest step of the controlling sensor near its newest reading; None while it learns."""

    @property
    def warmest_neighbour_c(self) -> float | None:
        """The newest value of the hottest other heater of this printer that can warm this one; None when none is heard."""

    def slope_k_per_s(self) -> float | None:
        """The observer's least-squares slope over its window; None while it learns or when it failed."""


TWO_SENSORS_K = 5.0
"""What no power reaches becomes no hotter than its warm neighbour; two sensors may differ by this."""


def is_warmed(view: HeaterView, celsius: float, within_k: float) -> bool:
    """True where `celsius` is no more than `within_k` above a neighbour, a chamber perhaps, which may then hold it there."""
    neighbour_c = view.warmest_neighbour_c
    return neighbour_c is not None and celsius <= neighbour_c + within_k


def says_the_same(view: HeaterView) -> bool:
    """True where a source that reports on change has just proved that it lives, and so that its last word stands."""
    return view.source.on_change and not view.fresh and view.source.alive_at == view.now


def is_last_of_one_switched_off(view: HeaterView) -> bool:
    """True where nothing asked for heat when it fell silent: its owner may have switched it off just after a wild word."""
    return view.is_off and (not view.source.on_change or view.source.alive_at <= view.temperature_at)
