"""The power logic: cuts and evidence in, relay orders and verdicts out. Pure.

A cut goes through an ordered list of relays. The first is commanded OFF; when it does not confirm in time, or is known to be
out of reach, the next one fires while the first keeps being commanded. Orders are only ever OFF.
"""

from collections.abc import Iterable

from watchdog.core.cut import Cut
from watchdog.core.inputs import RelayReport
from watchdog.core.outputs import Event, EventKind, Level, Output, RelayOrder
from watchdog.core.plan import CoolingPlan, RelayPlan
from watchdog.core.relay import Relay
from watchdog.core.values import INFINITY, JsonObject

REMIND_S = 60.0
"""An unconfirmed cut is said again this often, until a person comes."""

FED_AFTER_S = 10.0
"""A board may go on talking for so long after its power was cut (its capacitors, its host's queue)."""


class Power:
    """All relays of a site and the cuts that stand. `deadline()` is when `expire` must run."""

    def __init__(self, relays: Iterable[RelayPlan]) -> None:
        self.relays = {plan.name: Relay(plan) for plan in relays}
        self.cuts: dict[str, Cut] = {}
        self.order, self.scheduled_at = 0, INFINITY
        self._deadline = INFINITY
        self._orders = 0
        self._demanded: dict[str, Relay] = {}

    # -- what the engine asks

    def start(self, cut: Cut, at: float) -> list[Output]:
        """Begin to cut the power of a printer, or go on with a latch found at the start."""
        self.cuts[cut.printer] = cut
        out: list[Output] = []
        self._fire(cut, at, out)
        self._plan_next()
        return out

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
        relay.note(report, at)
        self._tell(relay, report, before, at, out)
        if relay.demanded:
            came_back = report.reachable is True and before[0] is not True
            if relay.lives():
                out.append(self._event(relay, at, "sign of life", "alarm", "shows power again while its latch stands: OFF once more"))
                self._demand(relay, at, out)
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
        if heater == cut.heater:
            change = cut.see(temperature_c, at)
            if change == "proven":
                out.append(cut.event(at, "cut proven", "info", f"{heater} is cooling as it must: the power is gone"))
            elif change == "rising":
                cut.trusted_from = cut.stage + 1
                self._next(cut, at, f"{heater} rose to {temperature_c:.1f} degC after the cut, more than stored heat explains", out)
            self._plan_next()
        return out

    def expire(self, at: float) -> list[Output]:
        """Run what is due at `at`: repeats, missing confirmations, cooling that did not come, reminders."""
        out: list[Output] = []
        for relay in list(self._demanded.values()):
            if relay.judge_at <= at:
                self._settle(relay, at, out)
            if relay.repeat_at <= at:
                self._order(relay, at, out)
        for cut in list(self.cuts.values()):
            if cut.cooling_by <= at and cut.overdue(at):
                cut.trusted_from = cut.stage + 1
                self._next(cut, at, f"{cut.heater} did not cool in time after the cut", out)
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

    # -- steps

    def _fire(self, cut: Cut, at: float, out: list[Output]) -> None:
        """Command the relay at the cut's stage, and those behind it while they are known to be out of reach."""
        while cut.stage < len(cut.relays):
            relay = self.relays[cut.relays[cut.stage]]
            relay.printers = (*(name for name in relay.printers if name != cut.printer), cut.printer)
            if not relay.demanded:
                self._demand(relay, at, out)
            else:
                self._order(relay, at, out)
            if relay.reachable is not False or cut.stage + 1 >= len(cut.relays):
                break
            cut.stage += 1
            out.append(cut.event(at, "next relay", "alarm", f"relay {relay.name} cannot be reached: trying the next one", relay.name))
        self._verdict(cut, at, out)

    def _next(self, cut: Cut, at: float, why: str, out: list[Output]) -> None:
        """The cut did not work so far: the next relay, or the loudest word there is."""
        if cut.stage + 1 < len(cut.relays):
            cut.stage += 1
            name = cut.relays[cut.stage]
            out.append(cut.event(at, "next relay", "alarm", f"{why}: trying relay {name}", name))
            cut.wait_for_cooling(at)
            self._fire(cut, at, out)
            return
        cut.failed(at, why)
        self._remind(cut, at, out)

    def _remind(self, cut: Cut, at: float, out: list[Output]) -> None:
        sentence = f"the power of {cut.printer} is NOT confirmed off: {cut.failure}. Cut it by hand if that is safe, or leave"
        out.append(cut.event(at, "cut not confirmed", "alarm", sentence))
        cut.remind_at = at + REMIND_S

    def _settle(self, relay: Relay, at: float, out: list[Output]) -> None:
        """Judge a relay's evidence and move the cuts that hang on it."""
        failed_before = relay.failure
        relay.judge(at)
        for printer in relay.printers:
            cut = self.cuts.get(printer)
            if cut is None:
                continue
            if relay.failure and not failed_before:
                out.append(self._event(relay, at, "relay failed", "alarm", relay.failure, printer))
                if cut.relays[cut.stage] == relay.name and not self._confirmed(cut):
                    self._next(cut, at, f"relay {relay.name} {relay.failure}", out)
            self._verdict(cut, at, out)

    def _confirmed(self, cut: Cut) -> Relay | None:
        reached = [self.relays[name] for name in cut.relays[cut.trusted_from : cut.stage + 1]]
        return next((relay for relay in reversed(reached) if relay.confirmed), None)

    def _verdict(self, cut: Cut, at: float, out: list[Output]) -> None:
        relay = self._confirmed(cut)
        if relay is not None and cut.confirm(proven=relay.proven):
            kind: EventKind = "cut proven" if relay.proven else "cut confirmed"
            what = "is gone by its meter" if relay.proven else "is confirmed off by its echo"
            sentence = f"power through relay {relay.name} {what}, {at - cut.at:.3f} s after the trip"
            out.append(cut.event(at, kind, "info", sentence, relay.name))
        elif relay is None and cut.verdict in ("confirmed", "proven") and not cut.cooled:
            cut.verdict = "cutting"

    def _demand(self, relay: Relay, at: float, out: list[Output]) -> None:
        self._orders += 1
        relay.demand(at, self._orders)
        self._demanded[relay.name] = relay
        out.append(RelayOrder(relay.name, self._orders, relay.printers[-1]))
        out.append(self._event(relay, at, "relay ordered", "info", "is commanded OFF"))

    def _order(self, relay: Relay, at: float, out: list[Output]) -> None:
        self._orders += 1
        relay.ordered(at, self._orders)
        out.append(RelayOrder(relay.name, self._orders, relay.printers[-1]))

    def _fed_another_way(self, cut: Cut, at: float, out: list[Output]) -> None:
        relay = self._confirmed(cut)
        if relay is None or not relay.plan.silences or cut.fed_told or at < relay.confirmed_at + FED_AFTER_S:
            return
        cut.fed_told = True
        why = f"{cut.printer} still sends readings although relay {relay.name} is off: it is fed by another way"
        out.append(cut.event(at, "fed another way", "alarm", why, relay.name))
        if cut.stage + 1 < len(cut.relays):
            self._next(cut, at, why, out)

    def _tell(self, relay: Relay, report: RelayReport, before: tuple[bool | None, bool | None], at: float, out: list[Output]) -> None:
        """Put what is new in a report on record."""
        reachable, sent = before
        if report.reachable is not None and report.reachable is not reachable:
            if report.reachable:
                out.append(self._event(relay, at, "relay reachable", "info", "can be reached"))
            else:
                out.append(self._event(relay, at, "relay unreachable", "warning", f"cannot be reached: {report.why or 'no reason given'}"))
        elif report.why and report.sent is None:
            out.append(self._event(relay, at, "relay notice", "warning", f"reports: {report.why}"))
        if not relay.demanded or relay.sent is sent:
            return
        if relay.sent:
            out.append(self._event(relay, at, "relay sent", "info", "took the command OFF"))
        elif relay.sent is False:
            out.append(self._event(relay, at, "relay failed", "warning", f"did not take the command OFF: {report.why}"))

    def _event(self, relay: Relay, at: float, kind: EventKind, level: Level, what: str, printer: str = "") -> Event:
        name = printer or (relay.printers[-1] if relay.printers else "")
        cut = self.cuts.get(name)
        trip = "" if cut is None else cut.trip
        numbers = {} if relay.power_w is None else {"power_w": relay.power_w}
        sentence = f"relay {relay.name} {what}"
        return Event(at, kind, level, sentence, printer=name, trip=trip, relay=relay.name, numbers=numbers)

    def _plan_next(self) -> None:
        moments = [min(relay.judge_at, relay.repeat_at) for relay in self._demanded.values()]
        moments += [min(cut.cooling_by, cut.remind_at) for cut in self.cuts.values()]
        self._deadline = min(moments, default=INFINITY)

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
