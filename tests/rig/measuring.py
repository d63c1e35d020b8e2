"""What the benchmarks share: CPU time of another process, a flood of messages, figures."""

import multiprocessing
import statistics
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

STOCK = "allow_anonymous true\nlog_type none\n"
"""A broker as it comes, without the rig's log of every packet, which would be measured too."""

QUIET_S = 0.05
LONGEST_S = 60.0
QUIET_SHARE = 0.1
"""A process that used less than this share of a core for `QUIET_S` has done its work."""

now = time.monotonic  # noqa: TID251 - measuring time is the purpose


class Spent(NamedTuple):
    """Seconds by the wall and on the CPU."""

    wall_s: float
    cpu_s: float


def cpu_s(pid: int) -> float:
    """Seconds on the CPU of all threads that a process has now."""
    stats = Path(f"/proc/{pid}/task").glob("*/schedstat")
    return sum(int(stat.read_text().split()[0]) for stat in stats) / 1e9


def spent_on(work: "Flood", pid: int, finished: Callable[[], bool]) -> Spent:
    """What a process spends until all was sent and it has nothing more to do, looked at from outside, which costs it nothing.

    `finished` is asked whenever it looks so, as a busy machine may just have left it waiting. Raises TimeoutError after a minute.
    """
    begun_at, begun_cpu_s = now(), cpu_s(pid)
    seen = [(begun_at, begun_cpu_s)]
    while True:
        if now() > begun_at + LONGEST_S:
            raise TimeoutError("messages were lost, or the machine is far too busy")
        time.sleep(0.005)  # noqa: TID251 - looks on from outside
        seen.append((now(), cpu_s(pid)))
        while len(seen) > 1 and seen[1][0] <= seen[-1][0] - QUIET_S:
            del seen[0]
        (earlier, before), (later, after) = seen[0], seen[-1]
        quiet = later - earlier >= QUIET_S and after - before < QUIET_SHARE * QUIET_S
        if quiet and work.done() and finished():
            return Spent(earlier - begun_at, after - begun_cpu_s)


def packet(topic: str, payload: bytes) -> bytes:
    """An MQTT 3.1.1 PUBLISH at QoS 0, section 3.3 of the standard: what a client would send, made beforehand."""
    body = len(topic.encode()).to_bytes(2, "big") + topic.encode() + payload
    length, left = bytearray(), len(body)
    while True:
        left, digit = divmod(left, 128)[0], left % 128
        length.append(digit | (0x80 if left else 0))
        if not left:
            return b"\x30" + bytes(length) + body


class Flood:
    """A publisher in a process of its own, which sends ready-made packets as fast as the broker takes them, or at a rate."""

    def __init__(self, port: int) -> None:
        context = multiprocessing.get_context("spawn")
        self._orders: Any = context.Queue()
        self._done: Any = context.Queue()
        self._process = context.Process(target=_flood, args=(port, self._orders, self._done), daemon=True)
        self._process.start()
        self._sending = False

    def send(self, packets: Sequence[bytes], *, batch: int = 50, every_s: float = 0.0) -> None:
        """Hand over and return; `done` tells when the broker has taken it all."""
        self._sending = True
        self._orders.put(([b"".join(packets[first : first + batch]) for first in range(0, len(packets), batch)], every_s))

    def done(self) -> bool:
        if self._sending and not self._done.empty():
            self._done.get()
            self._sending = False
        return not self._sending

    def end(self) -> None:
        self._process.kill()
        self._process.join()


def _flood(port: int, orders: Any, done: Any) -> None:
    client = Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port, keepalive=0)
    client.loop_start()
    while not client.is_connected():
        time.sleep(0.01)  # noqa: TID251 - a process of its own
    sock: Any = client.socket()
    sock.setblocking(True)
    while True:
        batches, every_s = orders.get()
        due = now()
        for batch in batches:
            if every_s:
                due += every_s
                time.sleep(max(due - now(), 0.0))  # noqa: TID251 - as above
            sock.sendall(batch)
        done.put(True)


def p99(values: Iterable[float]) -> float:
    ordered = sorted(values)
    return ordered[min(int(len(ordered) * 0.99), len(ordered) - 1)]


def figures(values: Iterable[float], digits: int = 0) -> dict[str, float]:
    """Median and 99th percentile."""
    values = list(values)
    return {"median": round(statistics.median(values), digits), "p99": round(p99(values), digits)}
