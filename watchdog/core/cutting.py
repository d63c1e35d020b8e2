"""The steps of the power logic: how a cut goes from relay to relay."""

from collections.abc import Iterable

from watchdog.core.cut import Cut
from watchdog.core.outputs import Event, EventKind, Level, Output, RelayOrder
from watchdog.core.plan import RelayPlan
from watchdog.core.relay import Relay
from watchdog.core.relay_words import relay_event
from watchdog.core.values import INFINITY

REMIND_S = 60.0
"""An unconfirmed cut is said again this often, until a person comes."""


class Cutting:
    """Relays, cuts, and what one does to the other."""

    def __init__(self, relays: Iterable[RelayPlan]) -> None:
        self.relays = {plan.name: Relay(plan) for plan in relays}
        self.cuts: dict[str, Cut] = {}
        self.order, self.scheduled_at = 0, INFINITY
        self._deadline = INFINITY
        self._orders = 0
        self._demanded: dict[str, Relay] = {}

    def _fire(self, cut: Cut, at: float, out: list[Output]) -> None:
        """Command the relay at the cut's stage, and those behind it while they are known to be of no use."""
        if not cut.relays:
            self._give_up(cut, at, "no relay can cut it", out)
        while cut.stage < len(cut.relays):
            relay = self.relays[cut.relays[cut.stage]]
            failure = relay.failure  # it was wanted off by another latch before, in vain
            self._want_off(relay, cut, at, out)
            if relay.reachable is not False and not failure:
                break
            if cut.stage + 1 >= len(cut.relays):
                if failure:
                    self._give_up(cut, at, f"relay {relay.name} {failure}", out)
                break
            cut.stage += 1
            why = f"relay {relay.name} {failure or 'cannot be reached'}: trying the next one"
            out.append(cut.event(at, "next relay", "alarm", why, relay.name))
        self._verdict(cut, at, out)

    def _want_off(self, relay: Relay, cut: Cut, at: float, out: list[Output]) -> None:
        relay.printers = (*(name for name in relay.printers if name != cut.printer), cut.printer)
        if not relay.demanded:
            self._demand(relay, at, out)
        else:
            self._order(relay, at, out)

    def _look_for_cooling(self, cut: Cut, at: float, out: list[Output]) -> None:
        """The temperature had its time. It speaks louder than any relay; where it is not heard, some relay must have confirmed."""
        if cut.overdue(at):
            cut.trusted_from = cut.stage + 1
            self._next(cut, at, f"{cut.heater} did not cool in time after the cut", out)
        elif cut.verdict == "cutting":
            relay = self.relays[cut.relays[cut.stage]]
            if relay.judge_at == INFINITY:
                self._next(cut, at, f"nothing shows that the power through relay {relay.name} is gone", out)
            else:  # its own evidence is not due yet
                cut.cooling_by = relay.judge_at

    def _next(self, cut: Cut, at: float, why: str, out: list[Output]) -> None:
        """The cut did not work so far: the next relay, or the loudest word there is."""
        if cut.stage + 1 < len(cut.relays):
            cut.stage += 1
            name = cut.relays[cut.stage]
            out.append(cut.event(at, "next relay", "alarm", f"{why}: trying relay {name}", name))
            cut.wait_for_cooling(at)
            self._fire(cut, at, out)
            return
        self._give_up(cut, at, why, out)

    def _give_up(self, cut: Cut, at: float, why: str, out: list[Output]) -> None:
        cut.failed(at, why)
        self._remind(cut, at, out)

    def _remind(self, cut: Cut, at: float, out: list[Output]) -> None:
        todo = "Switch it off or pull its plug if that is safe; if it is not, keep away"
        sentence = f"the power of {cut.printer} is NOT confirmed off: {cut.failure}. {todo}"
        out.append(cut.event(at, "cut not confirmed", "alarm", sentence))
        cut.remind_at = at + REMIND_S

    def _settle(self, relay: Relay, at: float, out: list[Output]) -> None:
        """Judge a relay's evidence and move the cuts that hang on it."""
        failed_before = relay.failure
        relay.judge(at)
        for cut in self._cuts_of(relay):
            if relay.failure and not failed_before:
                out.append(self._event(relay, at, "relay failed", "alarm", relay.failure, cut.printer))
                why = f"relay {relay.name} {relay.failure}"
                if cut.relays[cut.stage] == relay.name and not self._confirmed(cut):
                    self._next(cut, at, why, out)
                elif cut.all_needed and relay.name in cut.besides:
                    self._give_up(cut, at, why, out)
            self._verdict(cut, at, out)

    def _cuts_of(self, relay: Relay) -> list[Cut]:
        return [self.cuts[printer] for printer in relay.printers if printer in self.cuts]

    def _confirmed(self, cut: Cut) -> Relay | None:
        if cut.all_needed and not all(self.relays[name].confirmed for name in cut.besides):
            return None
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
            cut.wait_for_cooling(at)

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

    def _event(self, relay: Relay, at: float, kind: EventKind, level: Level, what: str, printer: str = "") -> Event:
        name, trip = self._behind(relay, printer)
        return relay_event(relay, at, kind, level, what, name, trip)

    def _behind(self, relay: Relay, printer: str = "") -> tuple[str, str]:
        """The printer on whose behalf a relay is commanded, and its trip."""
        name = printer or (relay.printers[-1] if relay.printers else "")
        cut = self.cuts.get(name)
        return name, "" if cut is None else cut.trip

    def _plan_next(self) -> None:
        moments = [min(relay.judge_at, relay.repeat_at) for relay in self._demanded.values()]
        moments += [min(cut.cooling_by, cut.remind_at) for cut in self.cuts.values()]
        self._deadline = min(moments, default=INFINITY)
