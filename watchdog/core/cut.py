"""One cut: a printer whose power must go, how far along its relays it is, and what its temperature says."""

from typing import ClassVar, Literal

from watchdog.core.outputs import Event, EventKind, Level
from watchdog.core.plan import CoolingPlan
from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain

Verdict = Literal["cutting", "confirmed", "proven", "not confirmed"]
Change = Literal["", "proven", "rising"]

NO_EVIDENCE_S = 60.0
"""Where no temperature can tell, the relays have so long to show that the power is gone."""

HEARD_WITHIN_S = 30.0
"""A temperature older than this says nothing about cooling."""


class Cut:
    """Where a cut stands. `stage` is the index of the last relay that was commanded.

    `besides` are relays of single heaters that are opened at once where the whole printer must lose its power. They show nothing
    of it, unless no relay cuts the whole printer (`all_needed`): then every one of them must confirm.
    """

    STATE: ClassVar[tuple[str, ...]] = (
        "printer", "heater", "trip", "at", "stage", "verdict", "failure", "cooled", "cooling_by", "remind_at", "fed_told",
        "start_c", "peak_c", "last_c", "last_at", "trusted_from", "all_needed",
    )  # fmt: skip

    def __init__(
        self,
        printer: str,
        heater: str,
        trip: str,
        relays: tuple[str, ...],
        at: float,
        cooling: CoolingPlan | None = None,
        temperature_c: float | None = None,
    ) -> None:
        self.printer, self.heater, self.trip, self.relays, self.at = printer, heater, trip, relays, at
        self.cooling = cooling
        self.besides: tuple[str, ...] = ()
        self.all_needed = False
        self.stage = 0
        self.trusted_from = 0  # relays before this one said off while the temperature said otherwise
        self.verdict: Verdict = "cutting"
        self.failure = ""
        self.cooled = self.fed_told = False
        self.cooling_by = self.remind_at = INFINITY
        self.start_c = self.peak_c = self.last_c = temperature_c
        self.last_at = NEVER
        self.wait_for_cooling(at)

    def wait_for_cooling(self, at: float) -> None:
        """From `at` on the temperature has its time to turn down."""
        if not self.cooled:
            self.cooling_by = at + (NO_EVIDENCE_S if self.cooling is None else self.cooling.within_s)
            self.start_c = self.last_c

    def doubt(self, at: float) -> None:
        """Power showed again: the cooling seen so far proves nothing any more."""
        self.cooled = False
        self.wait_for_cooling(at)
        self.peak_c = self.last_c

    def turn_to(self, heater: str, cooling: CoolingPlan | None, temperature_c: float | None, relays: tuple[str, ...]) -> None:
        """Another heater of the printer is in danger and no relay so far feeds it: from here on it is the one to judge by."""
        self.heater, self.cooling, self.relays = heater, cooling, relays
        self.stage += 1
        self.trusted_from = self.stage
        self.verdict, self.failure, self.cooled = "cutting", "", False
        self.start_c = self.peak_c = self.last_c = temperature_c
        self.last_at = NEVER

    def see(self, temperature_c: float, at: float) -> Change:
        """Take a live temperature of the tripped heater; tells when it settles something.

        A single wild sample settles nothing: the last two values must agree.
        """
        before_c, self.last_c, self.last_at = self.last_c, temperature_c, at
        cooling = self.cooling
        if cooling is None:
            return ""
        if before_c is None or self.start_c is None or self.peak_c is None:
            self.start_c = self.peak_c = temperature_c
            return ""
        low_c, high_c = min(before_c, temperature_c), max(before_c, temperature_c)
        if self.cooled:
            return self._watch_on(cooling, low_c, high_c)
        self.peak_c = max(self.peak_c, low_c)
        if high_c <= self.peak_c - cooling.drop_k and self.peak_c > cooling.cold_c:
            self.cooled = True
            self.cooling_by = INFINITY
            self.start_c = high_c
            if self.verdict != "proven":
                self.verdict, self.failure = "proven", ""
                self.remind_at = INFINITY
                return "proven"
        elif low_c > self.start_c + cooling.stored_rise_k:
            self.start_c = low_c
            return "rising"
        return ""

    def _watch_on(self, cooling: CoolingPlan, low_c: float, high_c: float) -> Change:
        """It has cooled, and must not rise again while the latch stands: `start_c` is the coldest since."""
        assert self.start_c is not None
        self.start_c = min(self.start_c, high_c)
        if not low_c > max(self.start_c + cooling.stored_rise_k, cooling.cold_c):
            return ""
        self.cooled = False
        self.verdict = "cutting"
        self.start_c = self.peak_c = low_c
        return "rising"

    def overdue(self, at: float) -> bool:
        """At the cooling deadline: is there fresh evidence that it did not cool? Without any, nothing is judged."""
        self.cooling_by = INFINITY
        if self.cooling is None or self.cooled or self.last_c is None or at - self.last_at > HEARD_WITHIN_S:
            return False
        return self.last_c > self.cooling.cold_c

    def confirm(self, *, proven: bool) -> bool:
        """A relay confirmed; True when that is news."""
        new: Verdict = "proven" if proven or self.cooled else "confirmed"
        if self.verdict in (new, "proven"):
            return False
        self.verdict = new
        self.failure = ""
        self.remind_at = INFINITY
        return True

    def failed(self, at: float, why: str) -> None:
        """All relays are spent and the power is not confirmed gone."""
        self.verdict, self.failure = "not confirmed", why
        self.remind_at = at
        self.wait_for_cooling(at)

    def event(self, at: float, kind: EventKind, level: Level, sentence: str, relay: str = "") -> Event:
        """An event of this cut."""
        numbers = {"since_trip_s": at - self.at}
        if self.last_c is not None:
            numbers["temperature_c"] = self.last_c
        return Event(at, kind, level, sentence, printer=self.printer, heater=self.heater, trip=self.trip, relay=relay, numbers=numbers)

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE} | {"relays": list(self.relays), "besides": list(self.besides)}

    @staticmethod
    def restored(saved: JsonObject, cooling: CoolingPlan | None) -> "Cut":
        cut = Cut(saved["printer"], saved["heater"], saved["trip"], tuple(saved["relays"]), from_plain(saved["at"]), cooling)
        for key in Cut.STATE:
            setattr(cut, key, from_plain(saved[key]))
        cut.besides = tuple(saved["besides"])
        return cut
