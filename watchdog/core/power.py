"""The power logic: cuts and evidence in, relay orders and verdicts out. Pure.

A cut goes through an ordered list of relays. The first is commanded OFF; when it does not confirm in time, or is known to be
out of reach, the next one fires while the first keeps being commanded. Orders are only ever OFF.
"""

from collections.abc import Iterable
from math import isnan

from watchdog.core.cut import Cut
from watchdog.core.cutting import Cutting
from watchdog.core.inputs import RelayReport
from watchdog.core.outputs import Output
from watchdog.core.plan import CoolingPlan
from watchdog.core.relay_words import news
from watchdog.core.values import NEVER, JsonObject

FED_AFTER_S = 10.0
"""A board may go on talking for so long after its power was cut (its capacitors, its host's queue)."""


class Power(Cutting):
    """All relays of a site and the cuts that stand, as the engine sees them. `deadline()` is when `expire` must run."""

    def start(self, cut: Cut, at: float) -> list[Output]:
        """Begin to cut the power of a printer, or go on with a latch found at the start."""
        self.cuts[cut.printer] = cut
        out: list[Output] = []
        self._fire(cut, at, out)
        self._plan_next()
        return out

    def widen(
        self, printer: str, heater: str, cooling: CoolingPlan | None, temperature_c: float | None, relays: tuple[str, ...], at: float
    ) -> list[Output]:
        """Something else of a latched printer must lose its power: when none of the relays opened so far feeds it, its own follow."""
        cut = self.cuts[printer]
        opened = cut.relays[: cut.stage + 1]
        if not relays or any(name in relays for name in opened):
            return []
        behind = tuple(name for name in cut.relays[cut.stage + 1 :] if name not in relays)
        cut.turn_to(heater, cooling, temperature_c, opened + relays + behind)
        why = f"{heater or printer} is not fed through relay {opened[-1]}: trying relay {relays[0]}" if opened else f"trying {relays[0]}"
        out: list[Output] = [cut.event(at, "next relay", "alarm", why, relays[0])]
        cut.wait_for_cooling(at)
        self._fire(cut, at, out)
        self._plan_next()
        return out

    def open_besides(self, printer: str, relays: Iterable[str], at: float, *, all_needed: bool) -> list[Output]:
        """A whole printer must lose its power: relays of single heaters are opened as well, beside what its cut goes through."""
        cut = self.cuts[printer]
        opened = (*cut.relays[: cut.stage + 1], *cut.besides)
        new = tuple(name for name in relays if name not in opened)
        cut.besides += new
        cut.all_needed = all_needed
        out: list[Output] = []
        for name in new:
            self._want_off(self.relays[name], cut, at, out)
        self._verdict(cut, at, out)
        self._plan_next()
        return out

    def read_from(self, printer: str) -> float:
        """From when on a reading tells how a latched printer is: not before its cut, nor while its board falls silent."""
        cut = self.cuts.get(printer)
        if cut is None:
            return NEVER
        relay = self._confirmed(cut)
        return cut.at if relay is None or not relay.plan.silences else relay.confirmed_at + FED_AFTER_S

    def resume(self, at: float) -> None:
        """This computer slept or stalled: what had to come in time could not be heard, so it gets its time once more."""
        for relay in self._demanded.values():
            relay.wait_again(at)
        for cut in self.cuts.values():
            cut.wait_for_cooling(at)
        self._plan_next()

    def release(self, printer: str) -> None:
        """The latch of a printer was reset: its relays are left alone, unless another latch wants them off."""
        self.cuts.pop(printer, None)
        for relay in list(self._demanded.values()):
            relay.printers = tuple(name for name in relay.printers if name != printer)
            if not relay.printers:
                relay.release()
                del self._demanded[relay.name]
        self._plan_next()

    def report(self, report: RelayReport, at: float) -> list[Output]:
        """Take a relay report; evidence settles cuts, signs of life are answered at once."""
        relay = self.relays.get(report.relay)
        if relay is None:
            return []
        out: list[Output] = []
        before = (relay.reachable, relay.sent)
        relay.note(report)
        out += news(relay, report, before, at, *self._behind(relay))
        if relay.demanded:
            came_back = report.reachable is True and before[0] is not True
            if relay.lives():
                out.append(self._event(relay, at, "sign of life", "alarm", "shows power again while its latch stands: OFF once more"))
                self._demand(relay, at, out)
                for cut in self._cuts_of(relay):
                    if not self._confirmed(cut):
                        cut.doubt(at)
            elif came_back and not relay.confirmed:
                self._order(relay, at, out)
            self._settle(relay, at, out)
            self._plan_next()
        return out

    def temperature(self, printer: str, temperature_c: float, heater: str, at: float) -> list[Output]:
        """A live temperature of a printer whose power is being cut: the top rung of the evidence."""
        cut = self.cuts.get(printer)
        if cut is None:
            return []
        out: list[Output] = []
        self._fed_another_way(cut, at, out)
        if heater == cut.heater and not isnan(temperature_c):  # none should come this far; it would slip through min and max
            change = cut.see(temperature_c, at)
            if change == "proven":
                out.append(cut.event(at, "cut proven", "info", f"{heater} is cooling as it must: the power is gone"))
            elif change == "rising":
                for name in cut.relays[: cut.stage + 1]:
                    self._order(self.relays[name], at, out)
                cut.trusted_from = cut.stage + 1
                self._next(cut, at, f"{heater} rose to {temperature_c:.1f} degC after the cut, more than stored heat explains", out)
            self._plan_next()
        return out

    def _fed_another_way(self, cut: Cut, at: float, out: list[Output]) -> None:
        relay = self._confirmed(cut)
        if relay is None or not relay.plan.silences or cut.fed_told or at < relay.confirmed_at + FED_AFTER_S:
            return
        cut.fed_told = True
        why = f"{cut.printer} still sends readings although relay {relay.name} is off: it is fed by another way"
        out.append(cut.event(at, "fed another way", "alarm", why, relay.name))
        if cut.stage + 1 < len(cut.relays):
            self._next(cut, at, why, out)

    def expire(self, at: float) -> list[Output]:
        """Run what is due at `at`: repeats, missing confirmations, cooling that did not come, reminders."""
        out: list[Output] = []
        for relay in list(self._demanded.values()):
            if relay.judge_at <= at:
                self._settle(relay, at, out)
            if relay.repeat_at <= at:
                self._order(relay, at, out)
        for cut in list(self.cuts.values()):
            if cut.cooling_by <= at:
                self._look_for_cooling(cut, at, out)
            if cut.remind_at <= at:
                self._remind(cut, at, out)
        self._plan_next()
        return out

    def deadline(self) -> float:
        return self._deadline

    def darkens(self, relays: Iterable[str]) -> bool:
        """True while one of these relays keeps the board of its printer silent."""
        return any(self.relays[name].darkens() for name in relays)

    def talked_on(self, relays: Iterable[str], at: float) -> None:
        """Readings came although a relay says off: it does not feed what it was said to feed."""
        for name in relays:
            relay = self.relays[name]
            if relay.state == "off" and not relay.demanded and at > relay.state_at + FED_AFTER_S:
                relay.contradicted = True

    def snapshot(self) -> JsonObject:
        return {
            "orders": self._orders,
            "demanded": list(self._demanded),
            "relays": {name: relay.snapshot() for name, relay in self.relays.items()},
            "cuts": {name: cut.snapshot() for name, cut in self.cuts.items()},
        }

    def restore(self, saved: JsonObject, cooling: dict[tuple[str, str], CoolingPlan]) -> None:
        self._orders = saved["orders"]
        for name, state in saved["relays"].items():
            self.relays[name].restore(state)
        self._demanded = {name: self.relays[name] for name in saved["demanded"]}
        self.cuts = {name: Cut.restored(state, cooling.get((name, state["heater"]))) for name, state in saved["cuts"].items()}
        self._plan_next()
