"""One heater of a pretend printer: controller, switch, lumps and sensors as one loop."""

from watchdog.simulation import bodies
from watchdog.simulation.chain import Chain
from watchdog.simulation.chance import dice
from watchdog.simulation.control import Controller, TwoPoint, badly_tuned, well_tuned
from watchdog.simulation.facts import HeaterFacts, HeaterKind, TrueHeater
from watchdog.simulation.parts import HeaterSetup
from watchdog.simulation.sensing import Sensor
from watchdog.simulation.switching import Switch

NOMINAL_C = 25.0
SENSOR_NODE: dict[HeaterKind, int] = {"bed": 1, "hotend": 1, "chamber": 1}
"""Between mat and plate, in the block, in the air."""


class Heater:
    """A heater at work. Watts are what reaches the heater itself."""

    __slots__ = (
        "_next", "_per_k", "board_hung", "chain", "controller", "draft", "duty", "full_w", "hot_from", "kind", "name", "schedule",
        "sensors", "switch", "target_c", "watts",
    )  # fmt: skip

    def __init__(self, name: str, facts: HeaterFacts, true: TrueHeater, setup: HeaterSetup, chain: Chain, seed: int) -> None:
        """`chain` is its own, or for a chamber the enclosure's."""
        self.name, self.kind, self.chain = name, facts.kind, chain
        self.full_w = facts.rated_w * true.power_factor
        self._per_k = true.power_per_k
        node = min(SENSOR_NODE[facts.kind], len(chain.celsius) - 1)
        self.sensors = {
            label: Sensor(spec, node if spec.node is None else spec.node, chain.celsius[node], dice(seed, name, "sensor", label))
            for label, spec in setup.sensors.items()
        }
        self.switch = Switch()
        self.schedule = setup.schedule
        self._next = 0
        self.controller = self._controller(setup)
        self.target_c = self.duty = self.watts = 0.0
        self.draft = 1.0
        self.hot_from = 1 if facts.kind == "chamber" else 0  # the fanned element of a chamber is hotter than its air in all health
        self.board_hung = False

    def step(self, at_s: float, dt_s: float, *, board: bool, fed: bool) -> float:
        """What the heater gets in the `dt_s` after `at_s`, in watts: `board` runs the controller, `fed` says that power can flow."""
        schedule = self.schedule
        while self._next < len(schedule) and schedule[self._next][0] <= at_s:
            self.target_c = schedule[self._next][1]
            self._next += 1
        if not board:
            self.duty = 0.0
        elif not self.board_hung:
            self.duty = self.controller.duty(dt_s, self.target_c, self.sensors[""].shown_c)
        self.watts = self.full_w * self.switch.share(self.duty) if fed else 0.0
        if self._per_k and self.watts:
            self.watts /= 1.0 + self._per_k * (self.chain.celsius[0] - NOMINAL_C)
        return self.watts

    def sense(self, dt_s: float, air_c: float) -> None:
        """Let all its sensors follow."""
        celsius = self.chain.celsius
        for sensor in self.sensors.values():
            sensor.step(dt_s, celsius[sensor.node], air_c)

    def hottest_c(self) -> float:
        """Its hottest lump, in degrees Celsius; things laid on it do not count as hotter than it."""
        return max(self.chain.celsius[self.hot_from :]) if self.hot_from else max(self.chain.celsius)

    def says_target_c(self) -> float:
        """The target as its controller reports it."""
        return self.controller.reports(self.target_c)

    def forget(self) -> None:
        """Its board has started anew: no job, no target."""
        self._next = len(self.schedule)
        self.target_c = self.duty = 0.0
        self.board_hung = False

    def _controller(self, setup: HeaterSetup) -> Controller:
        if setup.control == "two-point":
            return TwoPoint()
        slope_k_s, lag_s = bodies.slope_and_lag(self.chain, self.full_w)
        lag_s += self.sensors[""].spec.tau_s
        return well_tuned(slope_k_s, lag_s) if setup.control == "well tuned" else badly_tuned(slope_k_s, lag_s)
