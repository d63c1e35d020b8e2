"""Where readings come from: over a broker, pushed, or from a page."""

from dataclasses import dataclass, field, fields
from typing import Any, Literal, TypeAlias

from watchdog.core.values import STRICT
from watchdog.settings.addresses import SwitchPresence
from watchdog.wire.feed import Feed, Fields

Reports = Literal["periodically", "on change"]
Way = Literal["broker", "pushed", "page"]
"""The key that says where readings come from."""

Voice: TypeAlias = tuple[str, str, str]
"""Printer, heater and sensor. No heater: the printer's meter; no sensor: the one that the heater's controller uses."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings(Feed):
    """Where readings come from: `broker` and `topic`, or `pushed`, or `page`. `longest_interval_s` is the longest healthy silence.

    For a source that reports on change it is the longest time between two messages of `presence`, or of any kind.
    """

    __pydantic_config__ = STRICT

    broker: str = ""
    topic: str = ""
    pushed: bool = False
    page: str = ""
    longest_interval_s: float
    reports: Reports = "periodically"
    presence: SwitchPresence | None = None
    sensor: str = field(init=False, default="")

    @property
    def way(self) -> Way:
        """Which of the ways was chosen."""
        return way_of(self)

    def feed(self, sensor: str = "") -> Feed:
        """What a decoder needs of it; `sensor` is empty for the one that the heater's controller uses."""
        values: dict[str, Any] = {entry.name: getattr(self, entry.name) for entry in fields(Feed)}
        return Feed(**(values | {"sensor": sensor}))


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """The metered power of the whole printer, in watts, picked out by `pointer` (RFC 6901) or `pattern`. It comes as readings do."""

    __pydantic_config__ = STRICT

    broker: str = ""
    topic: str = ""
    pushed: bool = False
    page: str = ""
    longest_interval_s: float
    form: Literal["json", "text"] = "json"
    pointer: str = "/power_w"
    pattern: str = ""
    numbers_as_text: bool = False
    reports: Reports = "periodically"
    presence: SwitchPresence | None = None

    @property
    def way(self) -> Way:
        """Which of the ways was chosen."""
        return way_of(self)

    def feed(self) -> Feed:
        """The same as a feed that carries power and nothing else."""
        only_power = Fields(temperature=None, target=None, duty=None, power=self.pointer)
        return Feed(topic=self.topic, form=self.form, fields=only_power, pattern=self.pattern, numbers_as_text=self.numbers_as_text)


def way_of(feed: Readings | Meter) -> Way:
    """Where the readings of `feed` come from. The rules see to it that exactly one way is given."""
    return "pushed" if feed.pushed else "page" if feed.page else "broker"
