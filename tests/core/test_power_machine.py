"""Whatever happens in whatever order: only ever OFF, and a standing latch keeps commanding every relay it came to."""

from dataclasses import replace
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule
from rig.plans import heater, plug, workshop

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading, RelayReport, Reset, Suspended, Tick, TripByHand
from watchdog.core.outputs import LatchChange, Mark, RelayOrder
from watchdog.core.plan import PrinterPlan, SitePlan

RELAYS = st.sampled_from(["contactor", "anvil-plug", "table-plug", "bed-relay", "hotend-relay"])
PRINTERS = st.sampled_from(["anvil", "bramble", "cinder"])
HEATERS = st.sampled_from([("anvil", "bed"), ("anvil", "hotend"), ("bramble", "bed"), ("cinder", "bed"), ("cinder", "hotend")])
MAYBE = st.sampled_from([None, True, False])

AGAIN_S = 60.0
SETTLED = ("confirmed", "proven")


def three_printers() -> SitePlan:
    """The workshop, and cinder, of which no relay cuts more than one heater."""
    heaters = (heater(printer="cinder", relays=("bed-relay",)), heater("hotend", printer="cinder", relays=("hotend-relay",)))
    plan, own = workshop(), tuple(plug(name, cuts="heater", silences=False) for name in ("bed-relay", "hotend-relay"))
    return replace(plan, printers=(*plan.printers, PrinterPlan("cinder", heaters, ())), relays=(*plan.relays, *own))


class PowerMachine(RuleBasedStateMachine):
    """A workshop under random people, relays and readings. Time moves in steps of at most a second between looks."""

    def __init__(self) -> None:
        super().__init__()
        self.engine = Engine(three_printers(), 0.0)
        self.ordered: dict[str, float] = {}
        self.marks: set[str] = set()
        self.latched: set[str] = set()
        self.order = 0

    def feed(self, item: Input) -> None:
        for output in self.engine.feed(item):
            if isinstance(output, Mark):
                self.marks.add(output.printer)
            elif isinstance(output, RelayOrder):
                assert set(output._fields) == {"relay", "order", "printer"}  # there is no way to say on
                assert output.order > self.order
                self.order = output.order
                self.ordered[output.relay] = self.engine.now
            elif isinstance(output, LatchChange):
                (self.latched.discard if output.latch is None else self.latched.add)(output.printer)
            elif output.kind == "trip":
                assert output.printer in self.marks

    def now(self, step_s: float = 0.01) -> float:
        return self.engine.now + step_s

    @rule(seconds=st.integers(1, 130))
    def wait(self, seconds: int) -> None:
        for _ in range(seconds):
            self.feed(Tick(self.now(1.0)))
            self.repeats_in_time()

    @rule(where=HEATERS, temperature_c=st.sampled_from([24.0, 60.0, 100.0, 130.0, 300.0]), count=st.integers(1, 6))
    def read(self, where: tuple[str, str], temperature_c: float, count: int) -> None:
        for _ in range(count):
            self.feed(Reading(*where, self.now(1.0), temperature_c))

    @rule(printer=PRINTERS)
    def trip(self, printer: str) -> None:
        self.feed(TripByHand(printer, self.now(), "Robin", "smell"))

    @rule(
        relay=RELAYS, reachable=MAYBE, sent=MAYBE, state=st.sampled_from([None, "on", "off"]), power_w=st.sampled_from([None, 0.0, 300.0])
    )
    def report(self, **told: Any) -> None:
        self.feed(RelayReport(at=self.now(), order=self.order, **told))

    @rule(relay=RELAYS, state=st.sampled_from(["on", "off"]))
    def retained(self, relay: str, state: Any) -> None:
        before = {name for name, cut in self.engine.site.power.cuts.items() if cut.verdict in SETTLED}
        self.feed(RelayReport(relay, self.now(), state=state, retained=True))
        assert {name for name, cut in self.engine.site.power.cuts.items() if cut.verdict in SETTLED} <= before

    @rule(printer=PRINTERS, unread=st.booleans(), vouched=st.booleans())
    def reset(self, printer: str, *, unread: bool, vouched: bool) -> None:
        self.feed(Reset(printer, self.now(), "Robin", "looked", unread, vouched))

    @rule(slept_s=st.sampled_from([10.0, 1000.0]))
    def sleep(self, slept_s: float) -> None:
        self.feed(Suspended(self.now(slept_s), slept_s))
        self.feed(Tick(self.engine.now))
        self.repeats_in_time()

    @invariant()
    def repeats_in_time(self) -> None:
        for printer, cut in self.engine.site.power.cuts.items():
            assert self.engine.site.printers[printer].latch is not None
            for relay in (*cut.relays[: cut.stage + 1], *cut.besides):
                assert self.engine.now - self.ordered[relay] <= AGAIN_S + 1e-6, f"{relay} was left alone"

    @invariant()
    def every_latch_has_its_cut_and_every_cut_its_latch(self) -> None:
        site = self.engine.site
        assert set(site.power.cuts) == {name for name, printer in site.printers.items() if printer.latch is not None} == self.latched

    @invariant()
    def relays_are_demanded_for_those_who_want_them_and_no_others(self) -> None:
        power = self.engine.site.power
        for name, relay in power.relays.items():
            wanting = {printer for printer, cut in power.cuts.items() if name in (*cut.relays[: cut.stage + 1], *cut.besides)}
            assert set(relay.printers) == wanting
            assert relay.demanded == bool(wanting)

    @invariant()
    def nothing_is_confirmed_without_a_relay_or_a_cooling_that_shows_it(self) -> None:
        power = self.engine.site.power
        for cut in power.cuts.values():
            if cut.verdict in SETTLED and not cut.cooled:
                trusted = [power.relays[name] for name in cut.relays[cut.trusted_from : cut.stage + 1]]
                assert any(relay.state == "off" and relay.state_at > relay.demanded_at for relay in trusted)
                assert not cut.all_needed or all(power.relays[name].confirmed for name in cut.besides)


TestPowerMachine = PowerMachine.TestCase
TestPowerMachine.settings = settings(stateful_step_count=30)  # and the number of examples of the profile
