"""Readings that clients push: judged as strictly as those that come over MQTT, item by item, with an answer for each that is refused."""

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any, Final

import orjson

from watchdog.core.inputs import Reading, SourceReport, Unusable
from watchdog.core.values import NEVER, JsonObject
from watchdog.sources.log_time import StampReader
from watchdog.sources.sink import Sink
from watchdog.wire.feed import Feed, Fields
from watchdog.wire.payload import Decoder, Rejected
from watchdog.wire.plain_text import printable

PUSHED: Final = "pushed through the front"
"""What the settings call this way; of any other way the words themselves go into a refusal."""

AHEAD_S: Final = 5.0
"""A clock that is further ahead than this is wrong: what it stamps could not be told from a repetition later."""

SHOWN: Final = 40
NAMES_SHOWN: Final = 6

_KEYS: Final = ("printer", "heater", "sensor", "temperature_c", "target_c", "duty", "power_w", "time")
_OF_A_HEATER: Final = ("sensor", "temperature_c", "target_c", "duty")

Voice = tuple[str, str, str]
"""Printer, heater and sensor; empty texts as in a Reading."""


@dataclass(frozen=True, slots=True)
class Refusal:
    """An item, by its place in what was pushed, that was not taken, or not wholly; `why` is a sentence without its full stop."""

    index: int
    why: str


class PushedSource:
    """Takes what clients push and puts readings into `sink`. Receipt time counts: `now` gives it in engine seconds.

    `ways` says of every voice there is how its readings come, and only those that are `PUSHED` may be. `wall_s` gives seconds
    since 1970, against which the stamps of clients are held. `link` is the name under which the engine knows this way.
    """

    def __init__(
        self, ways: Mapping[Voice, str], sink: Sink, now: Callable[[], float], wall_s: Callable[[], float], *, link: str = ""
    ) -> None:
        self._ways = dict(ways)
        self._sink, self._now, self._wall_s, self._link = sink, now, wall_s, link
        self._judge = Decoder(Feed(topic="")).judge
        self._judge_meter = Decoder(Feed(topic="", fields=Fields(temperature=None, target=None, duty=None))).judge
        self._stamps = StampReader()
        self._newest: dict[Voice, float] = {}
        self._lock = threading.Lock()
        self.accepted = 0
        self.refused = 0

    def start(self) -> None:
        """The way is open from now on; whether anybody uses it, the age of the readings says."""
        if self._link:
            self._sink.report(SourceReport(self._link, self._now(), connected=True))

    def stop(self, within_s: float = 0.0) -> bool:
        """Nothing of its own runs."""
        del within_s
        return True

    def tend(self) -> None:
        """Nothing to tend."""

    def take(self, items: list[JsonObject]) -> tuple[int, list[Refusal]]:
        """Give the readings in `items` to the guard; how many were taken, and what was refused and why. Never raises.

        In the client's thread, and from any number of threads. An item of which only some values can be used is taken, and the
        rest of it is among the refusals.
        """
        accepted, refusals = 0, []
        for index, item in enumerate(items):
            taken, why = self._take(item)
            accepted += taken
            if why:
                refusals.append(Refusal(index, why))
        with self._lock:
            self.accepted += accepted
            self.refused += len(refusals)
        return accepted, refusals

    def _take(self, item: Any) -> tuple[bool, str]:  # noqa: ANN401 - whatever a client sent
        voice, why = self._voice(item)
        if voice is None:
            return False, why
        why = self._stamp_problem(voice, item.get("time"))
        if why:
            return False, why
        judge = self._judge if voice[1] else self._judge_meter
        try:
            judged = judge(orjson.dumps(item))
        except (TypeError, ValueError) as problem:  # values that JSON cannot hold; a client sends none
            return False, f"not JSON: {printable(str(problem), SHOWN)}"
        printer, heater, sensor = voice
        if isinstance(judged, Rejected):
            self._sink.reading(Unusable(printer, heater, self._now(), judged.why))
            return False, judged.why
        temperature, target, unknown, duty, power, flaw = judged
        self._sink.reading(Reading(printer, heater, self._now(), temperature, target, duty, power, sensor, unknown))
        if flaw is None:
            return True, ""
        self._sink.reading(Unusable(printer, heater, self._now(), flaw.why))
        return True, f"{flaw.why}; the rest was taken"

    def _voice(self, item: Any) -> tuple[Voice | None, str]:  # noqa: ANN401 - whatever a client sent
        """Of whom an item speaks; or None, and why that cannot be."""
        if not isinstance(item, dict):
            return None, "not an object"
        strange = next((key for key in item if key not in _KEYS), None)
        if strange is not None:
            return None, f'"{printable(str(strange), SHOWN)}" is no key of a reading; allowed: {", ".join(_KEYS)}'
        printer, heater, sensor = item.get("printer"), item.get("heater"), item.get("sensor")
        heater, sensor = "" if heater is None else heater, "" if sensor is None else sensor
        if not isinstance(printer, str) or not isinstance(heater, str) or not isinstance(sensor, str):
            return None, "printer must be a text; heater and sensor a text, or null"
        if not heater:
            spare = [key for key in _OF_A_HEATER if item.get(key) is not None]
            if spare:
                return None, f"{spare[0]} without a heater; of a whole printer there is power_w alone"
        voice = (printer, heater, sensor)
        way = self._ways.get(voice)
        if way == PUSHED:
            return voice, ""
        name = printable(_name(voice), SHOWN)
        return None, f"{name} is {way}, not pushed" if way else f"{name} is not in the settings; pushed are {self._pushed()}"

    def _pushed(self) -> str:
        names = [_name(voice) for voice, way in self._ways.items() if way == PUSHED]
        more = f" and {len(names) - NAMES_SHOWN} more" if len(names) > NAMES_SHOWN else ""
        return ", ".join(names[:NAMES_SHOWN]) + more if names else "none"

    def _stamp_problem(self, voice: Voice, stamp: Any) -> str:  # noqa: ANN401 - whatever a client sent
        """Why the client's own time makes this item one that cannot count; notes it when it can."""
        if stamp is None:
            return ""
        try:
            at = self._seconds(stamp)
        except (ValueError, OverflowError):
            shown = f'"{printable(stamp, SHOWN)}"' if isinstance(stamp, str) else "given"
            return f"the time {shown} is none; allowed: ISO 8601 with Z or an offset, or seconds since 1970"
        ahead_s = at - self._wall_s()
        if ahead_s > AHEAD_S:
            return f"time is {ahead_s:.0f} s ahead of this computer's clock, more than the {AHEAD_S:g} allowed; set the clocks"
        with self._lock:
            if at <= self._newest.get(voice, NEVER):
                return "already had: not newer than the last one of this heater"
            self._newest[voice] = at
        return ""

    def _seconds(self, stamp: Any) -> float:  # noqa: ANN401 - whatever a client sent
        """A stamp as seconds since 1970. Raises ValueError or OverflowError for what is none."""
        if isinstance(stamp, str):
            return self._stamps.seconds(stamp)
        if isinstance(stamp, bool) or not isinstance(stamp, int | float) or not isfinite(stamp):
            raise ValueError
        return float(stamp)


def _name(voice: Voice) -> str:
    printer, heater, sensor = voice
    return "/".join(filter(None, (printer, heater, sensor))) if heater else f"the meter of {printer}"
