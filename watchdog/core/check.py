"""What a check is: what it says, when it is asked, what it remembers."""

from abc import ABC, abstractmethod
from typing import ClassVar, Literal, NamedTuple

from watchdog.core.values import INFINITY, JsonObject, Numbers, from_plain, to_plain
from watchdog.core.view import HeaterView

Demand = Literal["advise", "cut"]


class Finding(NamedTuple):
    """What a check says: a demand, one plain sentence, and the numbers behind it."""

    demand: Demand
    sentence: str
    numbers: Numbers


class Check(ABC):
    """A small state machine for one heater. It shares no state with another check.

    `on_reading` runs after anything new about the heater; `on_deadline` runs at exactly `deadline` (engine
    seconds), which must then be moved. `headroom` is how near the check came since it was last asked, 0 (far) to 1
    (tripped). `STATE` names the attributes that make up its memory.
    """

    name: ClassVar[str]
    STATE: ClassVar[tuple[str, ...]] = ()
    __slots__ = ("deadline", "headroom")

    def __init__(self) -> None:
        self.deadline = INFINITY
        self.headroom = 0.0

    @property
    def alarmed(self) -> bool:
        """True while the newest reading is one that no healthy heater gives: it stands against a reset."""
        return False

    def heeds(self, view: HeaterView) -> bool:  # noqa: ARG002 - only a check that waits for words of one kind needs a look
        """False while nothing was heard that it could judge. Asked anew with the first word of a further sensor or of a meter."""
        return True

    @abstractmethod
    def on_reading(self, view: HeaterView) -> Finding | None: ...

    def on_deadline(self, view: HeaterView) -> Finding | None:  # noqa: ARG002 - only a check that sets deadlines needs a look
        """What it says when its deadline falls due. A check that never sets one leaves this alone, and is not asked for any."""
        self.deadline = INFINITY
        return None

    @classmethod
    def sets_deadlines(cls) -> bool:
        """True for a check that has its own `on_deadline`."""
        return cls.on_deadline is not Check.on_deadline

    def near(self, share: float) -> None:
        """Note how near the check came without tripping; `share` above 0.99 is held there."""
        if share > self.headroom:
            self.headroom = min(share, 0.99)

    def snapshot(self) -> JsonObject:
        """The whole memory of the check as plain JSON values."""
        return {key: to_plain(getattr(self, key)) for key in ("deadline", "headroom", *self.STATE)}

    def restore(self, saved: JsonObject) -> None:
        """Continue from `snapshot`; raises KeyError when something is missing."""
        for key in ("deadline", "headroom", *self.STATE):
            setattr(self, key, from_plain(saved[key]))


def may_judge(check: Check, view: HeaterView) -> bool:
    """Whether it heeds what was heard. One that cannot say is asked: what fails then is a finding."""
    try:
        return check.heeds(view)
    except Exception:  # noqa: BLE001 - nothing that a check does may stop a reading
        return True
