"""Messages a second through MqttSource beside a bare paho callback, on one broker, in one go.

    python tests/benchmarks/ingest.py [--protocol 3.1.1|5] [--messages 40000] [--rounds 3]

The publisher is a process of its own and goes no faster than both sides can follow: it sends in bursts and waits until the
listener has had each of them. The figure is the listener's CPU time a message, so that a busy machine does not blur it, and
the wall-clock rate beside it. Bare and full rounds alternate.
"""

import argparse
import multiprocessing
import sys
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

sys.path.insert(0, str(Path(__file__).parents[1]))

from rig.broker import MosquittoBroker, wait_for

from watchdog.settings.addresses import Broker
from watchdog.sources.mqtt import MqttSource, Subscription
from watchdog.wire.feed import Feed

now = time.monotonic  # noqa: TID251 - a benchmark measures time
PAYLOAD = b'{"temperature_c": 61.2, "target_c": 60, "duty": 0.4, "power_w": 310}'
TOPICS = [f"millbrook/{printer}/{heater}" for printer in ("anvil", "bramble", "cinder") for heater in ("bed", "hotend")]
BURST = 1000


class Kept:
    """A sink that costs next to nothing."""

    def __init__(self) -> None:
        self.inputs: deque[Any] = deque(maxlen=1000)
        self.reading = self.inputs.append
        self.report = self.inputs.append


def publish(port: int, orders: Any, done: Any) -> None:
    """Publishes as many messages as each order says, until it is 0."""
    client = Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    wait_for(client.is_connected)
    while count := orders.get():
        for number in range(count):
            sent = client.publish(TOPICS[number % len(TOPICS)], PAYLOAD)
        sent.wait_for_publish(10)
        done.put(count)
    client.disconnect()
    client.loop_stop()


def measure(count: Callable[[], int], messages: int, orders: Any, done: Any) -> tuple[float, float]:
    """Wall seconds and the CPU seconds of this process for `messages`, received in bursts."""
    begin, cpu, first = now(), time.process_time(), count()
    for sent in range(BURST, messages + 1, BURST):
        orders.put(BURST)
        done.get()
        if not wait_for(lambda wanted=first + sent: count() >= wanted, 10):
            raise SystemExit(f"messages were lost: {count() - first} of {sent}")
    return now() - begin, time.process_time() - cpu


def bare(port: int, protocol: str) -> tuple[Client, Callable[[], int]]:
    """The least a listener can do: count."""
    heard = [0]

    def on_message(_client: Client, _data: Any, _message: Any) -> None:
        heard[0] += 1

    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5 if protocol == "5" else MQTTv311)
    ready = threading.Event()
    client.on_subscribe = lambda *_: ready.set()
    client.on_message = on_message
    client.connect("127.0.0.1", port)
    client.loop_start()
    client.subscribe([(topic, 0) for topic in TOPICS])
    assert ready.wait(5)
    return client, lambda: heard[0]


def full(port: int, protocol: Any) -> tuple[MqttSource, Callable[[], int]]:
    """The whole source, into a sink that only keeps."""
    names = [topic.split("/") for topic in TOPICS]
    subscriptions = [
        Subscription(printer=printer, heater=heater, source=printer, feed=Feed(topic=topic))
        for topic, (_, printer, heater) in zip(TOPICS, names, strict=True)
    ]
    sink = Kept()
    source = MqttSource("home", Broker(host="127.0.0.1", port=port, protocol=protocol), subscriptions, sink, now, lambda *_: None)
    source.start()
    assert wait_for(lambda: sum(getattr(item, "connected", False) is True for item in sink.inputs) == 3)
    return source, lambda: source.counters.readings


def main() -> None:
    """Run the rounds and print the ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--protocol", choices=["3.1.1", "5"], default="3.1.1")
    parser.add_argument("--messages", type=int, default=40_000)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    context = multiprocessing.get_context("spawn")
    orders, done = context.Queue(), context.Queue()
    costs: dict[str, list[tuple[float, float]]] = {"bare": [], "full": []}
    with tempfile.TemporaryDirectory() as folder, MosquittoBroker(Path(folder), "allow_anonymous true\nlog_type none\n") as broker:
        process = context.Process(target=publish, args=(broker.port, orders, done))
        process.start()
        for _ in range(options.rounds):
            client, count = bare(broker.port, options.protocol)
            costs["bare"].append(measure(count, options.messages, orders, done))
            client.disconnect()
            client.loop_stop()
            source, count = full(broker.port, options.protocol)
            costs["full"].append(measure(count, options.messages, orders, done))
            source.stop()
        orders.put(0)
        process.join(10)
    report(costs, options.messages, options.protocol)


def report(costs: dict[str, list[tuple[float, float]]], messages: int, protocol: str) -> None:
    """The figures, one line a side, and their ratio."""
    cpu = {side: median(cpu for _, cpu in rounds) / messages * 1e6 for side, rounds in costs.items()}
    for side, rounds in costs.items():
        rate = messages / median(wall for wall, _ in rounds)
        sys.stdout.write(
            f"MQTT {protocol} {side}: {cpu[side]:.2f} us of CPU a message, {1e6 / cpu[side]:,.0f} messages/s; {rate:,.0f}/s by the wall\n"
        )
    sys.stdout.write(f"MQTT {protocol} ratio full to bare: {cpu['bare'] / cpu['full']:.3f}\n")


if __name__ == "__main__":
    main()
