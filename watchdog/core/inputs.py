"""All that can be fed to the engine. `at` is monotonic engine time in seconds, given by the caller."""

from typing import Literal, NamedTuple, TypeAlias

RelayState = Literal["on", "off"]


class Reading(NamedTuple):
    """What a source said about one heater at one moment; None means "not reported in this message".

    `heater` is empty for the metered power of the whole printer. `target_unknown` tells an explicit null
    target (the source does not know) from a target that was merely not mentioned. `retained` marks a value
    that the broker kept: it may initialise a target, and is never fresh. `sensor` names one of a heater's
    further sensors; empty is the one its controller uses.
    """

    printer: str
    heater: str
    at: float
    temperature_c: float | None = None
    target_c: float | None = None
    duty: float | None = None
    power_w: float | None = None
    sensor: str = ""
    target_unknown: bool = False
    retained: bool = False


class Unusable(NamedTuple):
    """A message that held no usable reading: counted, reported once in a while, and never fresh."""

    printer: str
    heater: str
    at: float
    why: str


class Tick(NamedTuple):
    """Time has reached `at`. Carries no meaning of its own: deadlines run at their exact times."""

    at: float


class Suspended(NamedTuple):
    """The host slept for `slept_s` and woke at `at`: no timer may count the sleep as evidence."""

    at: float
    slept_s: float


class SourceReport(NamedTuple):
    """What is known of a source's link: `connected` None leaves it; `alive` None leaves it.

    `alive` True is proof of life of the device behind it (for sources that report on change);
    `alive` False is a last will, a hint only.
    """

    source: str
    at: float
    connected: bool | None = None
    alive: bool | None = None
    why: str = ""


class RelayReport(NamedTuple):
    """What a relay driver or its device says; None means "nothing new about this".

    `order` numbers the command that `sent` speaks of: True executed, False failed. A `retained` echo never confirms.
    """

    relay: str
    at: float
    reachable: bool | None = None
    sent: bool | None = None
    order: int = 0
    state: RelayState | None = None
    power_w: float | None = None
    retained: bool = False
    why: str = ""


class TripByHand(NamedTuple):
    """A person asks for the power of a printer to be cut."""

    printer: str
    at: float
    person: str
    reason: str


class Reset(NamedTuple):
    """A person asks for a latched printer to be released.

    `unread` accepts that no reading can be had before power returns; `vouched` says that the person has seen
    with their own eyes that the power is off.
    """

    printer: str
    at: float
    person: str
    reason: str
    unread: bool = False
    vouched: bool = False


class Bypass(NamedTuple):
    """A person asks that one check of a printer, on all its heaters, does not cut for so many seconds.

    `long` says that a time beyond the usual bound is meant.
    """

    printer: str
    at: float
    check: str
    person: str
    reason: str
    seconds: float
    long: bool = False


class EndBypass(NamedTuple):
    """A person ends the bypass of a check; with an empty `check`, all bypasses of the printer."""

    printer: str
    at: float
    person: str
    check: str = ""


Input: TypeAlias = Reading | Unusable | Tick | Suspended | SourceReport | RelayReport | TripByHand | Reset | Bypass | EndBypass
