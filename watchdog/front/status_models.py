"""What the guard says of the site: described for the OpenAPI document. The guard may say more than this."""

from typing import Any

from pydantic import Field

from watchdog.front.models import Closed, Open, State


class Heater(Open):
    """One heater. Temperatures in degrees Celsius, duty from 0 to 1."""

    name: str
    kind: str
    temperature_c: float | None
    age_s: float | None = Field(description="seconds since its last reading")
    live: bool
    target_c: float | None = Field(description="null: not known, which is not off")
    duty: float | None
    ceiling_c: float
    nearest: tuple[float, str] = Field(description="the check that came nearest to a trip: 0 is far, 1 tripped")


class Latch(Open):
    """A trip that stands."""

    trip: str
    heater: str
    check: str
    reason: str
    at_wall: str
    verdict: str = Field(description="what is known of the power")
    failure: str


class Printer(Open):
    """One printer."""

    name: str
    state: State
    why_not: list[str] = Field(description="all that stands between it and being protected")
    idle: bool = Field(description="nothing of it heats")
    latch: Latch | None
    power_w: float | None
    relays: list[str]
    heaters: list[Heater]


class Relay(Open):
    """One relay."""

    name: str
    cuts: str
    printers: list[str]
    reachable: bool | None = Field(description="null: not heard yet")
    commanded_off: bool
    confirmed: bool


class Status(Open):
    """The whole site."""

    site: str
    state: State
    idle: bool
    running_s: float
    starting: bool = Field(description="just started: sources and relays are still making contact")
    printers: list[Printer]
    relays: list[Relay]
    guard: dict[str, Any] = Field(description="about the guard itself: notices, warnings, its record")


class Printers(Closed):
    """All printers that the token is for."""

    printers: list[Printer]
