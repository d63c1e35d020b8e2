"""How a message becomes a reading: plain values that fit a settings file and a decoder alike."""

from dataclasses import dataclass
from typing import Literal

from watchdog.core.values import STRICT

Unit = Literal["celsius", "fahrenheit", "kelvin"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fields:
    """JSON Pointers (RFC 6901) into a message; the defaults fit the message described in the README.

    An empty pointer means that the whole message is the value. None means that the message does not carry it.
    """

    __pydantic_config__ = STRICT

    temperature: str | None = "/temperature_c"
    target: str | None = "/target_c"
    duty: str | None = "/duty"
    power: str | None = "/power_w"


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """One topic and how to read it.

    `form` json: numbers found through `fields` (a bare number is a temperature when the fields are the default
    ones); text: one regular expression `pattern` with groups named temperature, target, duty, power.
    `unit` is that of temperature and target. `duty_full` is the duty value that means full power (1 or 100 or 255).
    `off_words` are texts that mean "commanded off" where a target is expected. `not_readings` are numbers that the
    source sends when it has no temperature. `numbers_as_text` accepts "61.2" in quotes.
    """

    __pydantic_config__ = STRICT

    topic: str
    form: Literal["json", "text"] = "json"
    fields: Fields = Fields()
    pattern: str = ""
    unit: Unit = "celsius"
    duty_full: float = 1.0
    off_words: tuple[str, ...] = ()
    not_readings: tuple[float, ...] = ()
    numbers_as_text: bool = False
    sensor: str = ""
