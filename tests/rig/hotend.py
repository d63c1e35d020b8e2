"""A hotend in real seconds: two lumps of metal, a heater that is stuck on, and a plug that really takes its heat away."""

import threading
import time
from types import TracebackType
from typing import Self

from rig.plug import Plug

STEP_S = 0.02


class Hotend:
    """40 W into the block, which loses heat to the air and heats the sensor; all in degrees Celsius, watts and joules a kelvin."""

    HEATER_W = 40.0
    AIR_C = 25.0
    BLOCK_J_PER_K = 13.0
    SENSOR_J_PER_K = 0.6
    LOSS_W_PER_K = 0.10
    COUPLING_W_PER_K = 0.25

    def __init__(self, plug: Plug, start_c: float) -> None:
        self.block_c = self.sensor_c = self.hottest_c = start_c
        self._plug = plug
        self._heats = threading.Event()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def stick(self) -> None:
        """From now on the heater is on, whatever the printer wants."""
        self._heats.set()

    def read(self) -> float:
        """What its sensor says."""
        return self.sensor_c

    def _run(self) -> None:
        at = time.monotonic_ns()
        while not self._ending.wait(STEP_S):
            now = time.monotonic_ns()
            if self._heats.is_set():
                self._step((now - at) / 1e9)
            at = now

    def _step(self, step_s: float) -> None:
        heat_w = self.HEATER_W if self._plug.on else 0.0
        over_w = self.COUPLING_W_PER_K * (self.block_c - self.sensor_c)
        lost_w = self.LOSS_W_PER_K * (self.block_c - self.AIR_C)
        self.block_c += (heat_w - lost_w - over_w) * step_s / self.BLOCK_J_PER_K
        self.sensor_c += over_w * step_s / self.SENSOR_J_PER_K
        self.hottest_c = max(self.hottest_c, self.block_c)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._ending.set()
        self._thread.join(2)
