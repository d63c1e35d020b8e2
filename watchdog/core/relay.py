"""One relay as the power logic sees it: what was demanded of it, and what it and its meter say since."""

from typing import ClassVar

from watchdog.core.inputs import RelayReport, RelayState
from watchdog.core.plan import RelayPlan
from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain

REPEAT_S = 2.0
"""OFF is repeated this often until it is confirmed."""

REPEAT_CONFIRMED_S = 5.0
"""And this often once confirmed, until the power is proven gone."""

REPEAT_PROVEN_S = 60.0
"""And this often once it is proven gone, for as long as the latch stands."""


class Relay:
    """The state of one relay. Evidence counts only when it is newer than `demanded_at`, and never when retained."""

    STATE: ClassVar[tuple[str, ...]] = (
        "reachable", "state", "state_at", "power_w", "power_at", "sent", "order", "first_order", "demanded_at", "repeat_at", "judge_at",
        "confirmed", "confirmed_at", "failure", "contradicted", "why",
    )  # fmt: skip

    def __init__(self, plan: RelayPlan) -> None:
        self.plan = plan
        self.reachable: bool | None = None
        self.why = ""
        self.state: RelayState | None = None
        self.state_at = NEVER
        self.power_w: float | None = None
        self.power_at = NEVER
        self.contradicted = False  # it said off, and what it feeds talked on
        self.printers: tuple[str, ...] = ()  # whose latches want it off, in the order of their trips
        self.release()

    def release(self) -> None:
        """No latch wants it off any more."""
        self.sent: bool | None = None
        self.order = self.first_order = 0
        self.demanded_at = NEVER
        self.repeat_at = self.judge_at = INFINITY
        self.confirmed = False
        self.confirmed_at = NEVER
        self.failure = ""  # why it did not confirm in time

    @property
    def name(self) -> str:
        return self.plan.name

    @property
    def demanded(self) -> bool:
        return self.demanded_at != NEVER

    @property
    def echo_ok(self) -> bool:
        return self.state == "off" and self.state_at > self.demanded_at

    @property
    def meter_ok(self) -> bool:
        return self.power_w is not None and self.power_w <= self.plan.standby_w and self.power_at > self.demanded_at

    @property
    def proven(self) -> bool:
        return self.confirmed and self.plan.has_meter and self.meter_ok

    def demand(self, at: float, order: int) -> None:
        """OFF is demanded from `at` on: evidence from before no longer counts."""
        self.demanded_at = at
        self.sent, self.failure = None, ""
        self.confirmed = False
        self.first_order = order
        self.ordered(at, order)
        self.judge_at = at + self.plan.sent_within_s

    def wait_again(self, at: float) -> None:
        """Nobody listened until `at`: evidence that is still missing gets its time once more, and OFF goes out at once."""
        if self.demanded and not self.confirmed:
            self.demanded_at = at
            self.judge_at = at + self.plan.sent_within_s
        self.repeat_at = min(self.repeat_at, at)

    def ordered(self, at: float, order: int) -> None:
        """One more OFF goes out."""
        self.order = order
        pause_s = REPEAT_PROVEN_S if self.proven else REPEAT_CONFIRMED_S if self.confirmed else REPEAT_S
        self.repeat_at = at + pause_s

    def note(self, report: RelayReport) -> None:
        """Take what a report says, as of its own time; a retained echo tells nothing about now, nor does one that came late."""
        if report.reachable is not None:
            self.reachable = report.reachable
            if report.reachable:
                self.why = ""
        if report.why:
            self.why = report.why
        if report.sent is not None and self.demanded and report.order >= self.first_order:
            self.sent = report.sent
        if report.retained:
            return
        if report.state is not None and report.at >= self.state_at:
            if report.state == "on":
                self.contradicted = False
            self.state, self.state_at = report.state, report.at
        if report.power_w is not None and report.at >= self.power_at:
            self.power_w, self.power_at = report.power_w, report.at

    def judge(self, at: float) -> None:
        """Settle `confirmed` and `failure` from the evidence at hand, and when to look again."""
        plan = self.plan
        if not self.demanded:
            self.judge_at = INFINITY
            return
        waits: list[float] = []
        failure = ""
        met = plan.has_echo or plan.has_meter
        rungs = (
            (True, self.sent is True or self.echo_ok, plan.sent_within_s, "did not take the command"),
            (plan.has_echo, self.echo_ok, plan.echo_within_s, "did not say that it is off"),
            (plan.has_meter, self.meter_ok, plan.meter_within_s, "still passes power"),
        )
        for available, fulfilled, within_s, complaint in rungs:
            if not available or fulfilled:
                continue
            if complaint != "did not take the command":
                met = False
            if at >= self.demanded_at + within_s or (self.sent is False and complaint == "did not take the command"):
                failure = failure or f"{complaint} in {at - self.demanded_at:.1f} s" + (f" ({self.why})" if self.why else "")
            else:
                waits.append(self.demanded_at + within_s)
        if met and not self.confirmed:
            self.confirmed, self.confirmed_at = True, at
        self.failure = "" if self.confirmed else failure
        self.judge_at = min(waits, default=INFINITY)

    def lives(self) -> bool:
        """A sign of life after it was confirmed off: it says on, or its meter sees power."""
        if not self.confirmed:
            return False
        on = self.state == "on" and self.state_at > self.demanded_at
        metered = (
            self.plan.has_meter
            and self.power_w is not None
            and not self.power_w <= self.plan.standby_w
            and self.power_at > self.confirmed_at
        )
        return on or metered

    def darkens(self) -> bool:
        """True while what it feeds must be expected to be silent: it was commanded off, or says that it is."""
        return self.plan.silences and (self.demanded or (self.state == "off" and not self.contradicted))

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE} | {"printers": list(self.printers)}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
        self.printers = tuple(saved["printers"])
