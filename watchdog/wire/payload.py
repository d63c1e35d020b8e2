"""From the payload of a message to judged values, or to a short sentence that says why not."""

from typing import Any, Final, Literal, NamedTuple, TypeAlias

from watchdog.wire.feed import Feed
from watchdog.wire.numbers import ABSURD_POWER_W, ABSURD_TEMPERATURE, FULLEST_DUTY, SCALES, decimal
from watchdog.wire.plain_text import printable
from watchdog.wire.splitting import ABSENT, FeedError, NoMatchError, Raw, compile_split

__all__ = ["KINDS", "LARGEST_PAYLOAD_BYTES", "Decoded", "Decoder", "FeedError", "Kind", "Rejected"]

LARGEST_PAYLOAD_BYTES: Final = 64 * 1024
EXCERPT: Final = 60
"""How much of a payload a sentence may quote, in characters."""

Kind = Literal["empty", "too large", "not json", "no match", "no value", "not a number", "out of bounds", "sentinel"]
KINDS: Final[tuple[Kind, ...]] = (
    "empty",
    "too large",
    "not json",
    "no match",
    "no value",
    "not a number",
    "out of bounds",
    "sentinel",
)


class Rejected(NamedTuple):
    """A message, or one value of it, that cannot be used. `why` is safe to log and quotes at most 60 characters."""

    kind: Kind
    why: str


class Decoded(NamedTuple):
    """The usable values of a message; None means "not reported".

    `target_c` 0 is commanded off; `target_unknown` is true when the target was mentioned but is null or unreadable.
    `flaw` tells of a value that had to be left out although others could be used.
    """

    temperature_c: float | None
    target_c: float | None
    target_unknown: bool
    duty: float | None
    power_w: float | None
    flaw: Rejected | None = None


Judged: TypeAlias = tuple[float | None, float | None, bool, float | None, float | None, Rejected | None]
"""The fields of Decoded, in their order."""

_Value: TypeAlias = float | Rejected | None


class Decoder:
    """One feed, compiled once. Raises FeedError for a feed that cannot work; `decode` never raises.

    - A number is a finite JSON number; never a boolean; a text only where the feed says `numbers_as_text`, and then
      in plain ASCII decimal notation.
    - A temperature that is absent, null, in `not_readings`, beyond 3000 in its own unit or under absolute zero is no
      temperature.
    - A target that is absent is not reported; null or unreadable, it is unknown; an off word, or a number at or below
      0 in the declared unit (or below 0 degC), is 0: commanded off.
    - A duty is divided by `duty_full` and must lie within 0 to 1.05; power is in watts.
    - Of a key given twice the last counts, as in most readers of JSON.
    """

    def __init__(self, feed: Feed) -> None:
        self._split = compile_split(feed)
        scale = SCALES[feed.unit]
        self._zero, self._size = scale.zero, scale.size
        self._coldest = scale.coldest
        self._sentinels = frozenset(feed.not_readings)
        self._off_words = frozenset(feed.off_words)
        self._texts = feed.numbers_as_text or feed.form == "text"
        if not 0 < feed.duty_full < float("inf"):
            raise FeedError(f"duty_full is {feed.duty_full}; it must be a number above 0, such as 1, 100 or 255")
        self._duty_full = feed.duty_full
        self._places = _places(feed)

    def decode(self, payload: bytes) -> Decoded | Rejected:
        """The values of one message. Temperatures in degC, duty 0 to 1.05, power in watts."""
        judged = self.judge(payload)
        return judged if isinstance(judged, Rejected) else Decoded(*judged)

    def judge(self, payload: bytes) -> Judged | Rejected:  # noqa: C901 - the hot path: one more call a value costs a fifth of it
        """As `decode`, the fields of Decoded in a plain tuple, which is built in a sixth of the time."""
        if not 0 < len(payload) <= LARGEST_PAYLOAD_BYTES:
            return _wrong_size(payload)
        try:
            raw_temperature, raw_target, raw_duty, raw_power = self._split(payload)
        except (ValueError, RecursionError) as problem:
            return self._unsplit(payload, problem)
        flaw: Rejected | None = None
        target: _Value = None
        duty: _Value = None
        power: _Value = None
        unknown = False
        temperature = None if raw_temperature is ABSENT else self._temperature(raw_temperature)
        if type(temperature) is Rejected:
            flaw, temperature = temperature, None
        if raw_target is not ABSENT:
            target = None if raw_target is None else self._target(raw_target)
            if type(target) is Rejected:
                flaw, target = flaw or target, None
            unknown = target is None
        if raw_duty is not ABSENT and raw_duty is not None:
            duty = self._duty(raw_duty)
            if type(duty) is Rejected:
                flaw, duty = flaw or duty, None
        if raw_power is not ABSENT and raw_power is not None:
            power = self._power(raw_power)
            if type(power) is Rejected:
                flaw, power = flaw or power, None
        if temperature is None and target is None and duty is None and power is None and not unknown:
            return flaw or Rejected("no value", f"no value at {self._places}: {printable(payload, EXCERPT)}")
        return temperature, target, unknown, duty, power, flaw  # type: ignore[return-value]  # the flaws are taken out above

    def _temperature(self, raw: Raw) -> float | Rejected:
        value: Any = raw if type(raw) is float or type(raw) is int else self._number(raw, "temperature")
        if type(value) is Rejected:
            return value
        if self._sentinels and value in self._sentinels:
            return Rejected("sentinel", f"temperature {value:g} means that the source has no reading")
        if self._coldest <= value <= ABSURD_TEMPERATURE:
            return (value - self._zero) / self._size  # type: ignore[no-any-return]
        return _beyond("temperature", value)

    def _target(self, raw: Raw) -> float | Rejected:
        value: Any = raw
        if type(raw) is not float and type(raw) is not int:
            if type(raw) is str and raw in self._off_words:
                return 0.0
            value = self._number(raw, "target")
            if type(value) is Rejected:
                return value
        if not -ABSURD_TEMPERATURE <= value <= ABSURD_TEMPERATURE:
            return _beyond("target", value)
        if value <= 0:
            return 0.0
        celsius: float = (value - self._zero) / self._size
        return celsius if celsius > 0 else 0.0

    def _duty(self, raw: Raw) -> float | Rejected:
        value: Any = raw if type(raw) is float or type(raw) is int else self._number(raw, "duty")
        if type(value) is Rejected:
            return value
        share: float = value / self._duty_full
        return share if 0.0 <= share <= FULLEST_DUTY else _beyond("duty", value)

    def _power(self, raw: Raw) -> float | Rejected:
        value: Any = raw if type(raw) is float or type(raw) is int else self._number(raw, "power")
        if type(value) is Rejected:
            return value
        return float(value) if -ABSURD_POWER_W <= value <= ABSURD_POWER_W else _beyond("power", value)

    def _number(self, raw: Raw, name: str) -> float | Rejected:
        """The slow way, for whatever is not a JSON number."""
        if raw is None:
            return Rejected("no value", f"{name} is null")
        if self._texts and type(raw) is str:
            value = decimal(raw)
            if value is not None:
                return value
        return Rejected("not a number", f"{name} is not a number: {printable(_shown(raw), EXCERPT)}")

    def _unsplit(self, payload: bytes, problem: Exception) -> Rejected:
        if isinstance(problem, NoMatchError):
            return Rejected("no match", f"the line does not match the pattern: {printable(payload, EXCERPT)}")
        if isinstance(problem, UnicodeDecodeError):
            return Rejected("no match", f"the line is not UTF-8 text: {printable(payload, EXCERPT)}")
        return Rejected("not json", f"not JSON: {printable(payload, EXCERPT)}")


def _wrong_size(payload: bytes) -> Rejected:
    if not payload:
        return Rejected("empty", "the message is empty")
    return Rejected("too large", f"the message has {len(payload)} bytes, more than the {LARGEST_PAYLOAD_BYTES} allowed")


def _beyond(name: str, value: float) -> Rejected:
    return Rejected("out of bounds", f"{name} {value:g} is beyond anything real")


def _shown(raw: Raw) -> str:
    """A JSON value as a person would recognise it; nested ones only by their kind, as they may be huge."""
    if type(raw) is bool:
        return "true" if raw else "false"
    if type(raw) is dict:
        return "an object"
    return "an array" if type(raw) is list else f'"{raw[: EXCERPT + 1]}"'


def _places(feed: Feed) -> str:
    """Where values were looked for, for people."""
    if feed.form == "text":
        return "any group of the pattern"
    fields = (feed.fields.temperature, feed.fields.target, feed.fields.duty, feed.fields.power)
    shown = ['""' if pointer == "" else printable(pointer) for pointer in fields if pointer is not None]
    return "pointer " + shown[0] if len(shown) == 1 else "pointers " + ", ".join(shown)
