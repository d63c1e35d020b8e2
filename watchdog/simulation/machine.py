"""The plant of one printer: its heaters, the air around them, and what it draws from the wall."""

from watchdog.simulation import bodies
from watchdog.simulation.facts import PrinterFacts, TrueHeater
from watchdog.simulation.heater import Heater
from watchdog.simulation.parts import HeaterSetup, Room

SUPPLY_EFFICIENCY = 0.88


class Machine:
    """A printer at work: heaters by name, beds warming hotends, all of them warming the air of a box if there is one."""

    __slots__ = ("_bed", "_efficiency", "_facts", "air", "board", "coupling", "extra_w", "heaters", "main_on", "room", "room_c")

    def __init__(self, facts: PrinterFacts, setups: dict[str, HeaterSetup], room: Room, seed: int) -> None:
        """Raises ValueError for a chamber heater without a box, and for a bed that cannot be built."""
        self._facts = facts
        self.room = room
        self.room_c = room.at(0.0)
        kinds = {name: heater.kind for name, heater in facts.heaters.items()}
        box = facts.enclosure
        if box is None and "chamber" in kinds.values():
            raise ValueError(f"{facts.name} has a chamber heater and no enclosure")
        chamber_start_c = next((setups[name].start_c for name, kind in kinds.items() if kind == "chamber" and name in setups), None)
        self.air = bodies.chamber(box, self.room_c if chamber_start_c is None else chamber_start_c) if box else None
        self.heaters: dict[str, Heater] = {}
        for name, heater in facts.heaters.items():
            true, setup = facts.true.get(name, TrueHeater()), setups.get(name, HeaterSetup())
            start_c = self.room_c if setup.start_c is None else setup.start_c
            if heater.kind == "chamber" and self.air is not None:
                chain = self.air
            else:
                chain = (bodies.bed if heater.kind == "bed" else bodies.hotend)(heater, true, start_c)
            self.heaters[name] = Heater(name, heater, true, setup, chain, seed)
        self._bed = next((self.heaters[name] for name, kind in kinds.items() if kind == "bed"), None)
        self._efficiency = {name: 1.0 if heater.supply == "mains" else SUPPLY_EFFICIENCY for name, heater in facts.heaters.items()}
        self.coupling = facts.parked_coupling
        self.extra_w = 0.0
        """Lights and whatever else somebody switched on."""
        self.board = self.main_on = True

    def step(self, at_s: float, dt_s: float, unfed: frozenset[str], *, board: bool) -> None:
        """`dt_s` onwards from `at_s`; heaters in `unfed` get no power, and without `board` nothing is controlled or said."""
        board = board and self.main_on
        if board and not self.board:
            for heater in self.heaters.values():
                heater.forget()
        self.board = board
        self.room_c = self.room.at(at_s)
        air_c = self.air_c
        bed_excess_k = self._bed.chain.celsius[-1] - air_c if self._bed is not None else 0.0
        into_air_w = element_w = 0.0
        for name, heater in self.heaters.items():
            watts = heater.step(at_s, dt_s, board=board, fed=board and name not in unfed)
            if heater.kind == "chamber":
                element_w += watts
                continue
            around_c = air_c + self.coupling * bed_excess_k if heater.kind == "hotend" else air_c
            heater.chain.step(dt_s, watts, around_c, heater.draft)
            into_air_w += heater.chain.lost_w
            heater.sense(dt_s, around_c)
        if self.air is not None:
            self._warm_air(dt_s, element_w, into_air_w)

    def _warm_air(self, dt_s: float, element_w: float, into_air_w: float) -> None:
        if self.air is None:
            return
        self.air.step(dt_s, element_w, self.room_c, 1.0, into_air_w)
        for heater in self.heaters.values():
            if heater.kind == "chamber":
                heater.sense(dt_s, self.room_c)

    @property
    def air_c(self) -> float:
        """The air around the heaters, in degrees Celsius."""
        return self.room_c if self.air is None else self.air.celsius[1]

    def wall_w(self) -> float:
        """What the whole printer draws, in watts."""
        if not self.board:
            return 0.0
        busy = any(heater.target_c > 0.0 for heater in self.heaters.values())
        heat_w = sum(heater.watts / self._efficiency[name] for name, heater in self.heaters.items())
        return self._facts.standby_w + self.extra_w + heat_w + (self._facts.fans_w if busy else 0.0)
