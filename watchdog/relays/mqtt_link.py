"""One connection to a broker that all relays behind it share: commands out, echoes in.

It is a connection of its own, apart from the one that hears readings: one connection that does both waits for
delayed acknowledgements. A thread here only listens; a command is written to the socket by the thread that gives
it. Handing it to a network thread costs a wake-up, and up to a whole switch interval of the interpreter (5 ms)
while the giver stays busy, which is just what it does in a trip.

Every connection gets a fresh client. A client that reconnects would first send again what was not acknowledged:
an order from before the break, perhaps long reset.
"""

import contextlib
import threading
from collections.abc import Callable
from typing import Any, Final

import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from watchdog.relays.mqtt_client import new_client
from watchdog.relays.mqtt_member import Member
from watchdog.relays.waker import Waker
from watchdog.settings.addresses import Broker

RETRY_S: Final = (1.0, 2.0, 4.0)
"""Waits before a new attempt; the last one stays. With the time limit of an attempt, an order leaves within 5 s of a return."""

ROUND_S: Final = 1.0
LOCK_WAIT_S: Final = 0.1
"""The lock is held for one packet at a time, far under a millisecond; a giver of commands waits no longer than this."""


class MqttLink:
    """The shared connection. Its thread outlives every error; `errors` counts what was caught."""

    def __init__(self, broker: Broker, now: Callable[[], float]) -> None:
        """Nothing is opened before `start`."""
        self.broker = broker
        self.place = f"broker {broker.host}:{broker.port}"
        self.errors = 0
        self.round_at = now()
        self._now = now
        self._lock = threading.Lock()
        self._members: list[Member] = []
        self._listeners: dict[str, list[Member]] = {}
        self._client: paho.Client | None = None
        self._why = ""
        self._greeted = False
        self._in_flight: dict[int, tuple[Member, int]] = {}
        self._asked: dict[int, tuple[Member, tuple[str, ...]]] = {}
        self._later: list[tuple[float, str]] = []
        self._stopping = threading.Event()
        self._waker = Waker()
        self._thread = threading.Thread(target=self._run, name=f"relays at {self.place}", daemon=True)

    @property
    def connected(self) -> bool:
        """True from the broker's welcome until the loss is noticed."""
        return self._client is not None

    def start(self) -> None:
        """Begin to connect, and never stop trying."""
        self._thread.start()

    def stop(self) -> None:
        """Say good-bye and wait for the thread; it may be in the middle of an attempt to connect."""
        self._stopping.set()
        self._waker.wake()
        self._thread.join(timeout=10.0)
        self._waker.close()

    def add(self, member: Member) -> None:
        """From now on `member` is told what happens, and its topics are subscribed on each connection."""
        with self._lock:
            self._members.append(member)
            for topic in member.topics:
                self._listeners.setdefault(topic, []).append(member)
            if self._client is not None:
                self._subscribe(self._client, member)
                self._waker.wake()

    def remove(self, member: Member) -> bool:
        """Forget `member`; True when it was the last one."""
        with self._lock:
            self._members.remove(member)
            for topic in member.topics:
                self._listeners[topic].remove(member)
            unused = [topic for topic in member.topics if not self._listeners[topic]]
            if self._client is not None and unused and self._members:
                self._client.unsubscribe(unused)
                self._waker.wake()
            return not self._members

    def order(self, member: Member, order: int) -> None:
        """Send the command of `member` now, or fail it now: nothing waits here for a connection. Never raises."""
        if self._client is None:
            member.done(order, why=f"not connected to {self.place}")
        elif not self._lock.acquire(timeout=LOCK_WAIT_S):
            member.done(order, why=f"the link to {self.place} is busy")
        else:
            try:
                self._publish(member, order)
            finally:
                self._lock.release()

    def forget(self, topic: str, after_s: float) -> None:
        """End the subscription of `topic` on this connection, later. Only for members, within a call of theirs."""
        self._later.append((self._now() + after_s, topic))

    def _publish(self, member: Member, order: int) -> None:
        client = self._client
        try:
            info = client.publish(member.order_topic, member.order_payload, qos=1, retain=False) if client else None
        except Exception as error:  # noqa: BLE001 - the guard's loop is the caller, and it must go on
            self.errors += 1
            member.done(order, why=f"cannot publish: {error}")
            return
        if client is None or info is None or info.rc != MQTTErrorCode.MQTT_ERR_SUCCESS:
            member.done(order, why=f"not connected to {self.place}")
            return
        self._in_flight[info.mid] = (member, order)
        if client.want_write():
            self._waker.wake()

    def _run(self) -> None:
        attempt = 0
        while not self._stopping.is_set():
            self.round_at = self._now()
            self._greeted = False
            self._why = ""
            client: paho.Client | None = None
            try:
                client = self._connect()
                self._serve(client)
            except Exception as error:  # noqa: BLE001 - this thread must never die
                self.errors += not isinstance(error, OSError)
                self._why = self._why or f"no connection to {self.place}: {error}"
            self._ended(client)
            attempt = 0 if self._greeted else attempt
            self._stopping.wait(RETRY_S[min(attempt, len(RETRY_S) - 1)])
            attempt += 1

    def _connect(self) -> paho.Client:
        client = new_client(self.broker)
        client.on_connect = self._caught(self._on_connect)
        client.on_disconnect = self._caught(self._on_disconnect)
        client.on_message = self._caught(self._on_message)
        client.on_publish = self._caught(self._on_publish)
        client.on_subscribe = self._caught(self._on_subscribe)
        client.connect(self.broker.host, self.broker.port, keepalive=self.broker.keepalive_s)
        return client

    def _serve(self, client: paho.Client) -> None:
        while not self._stopping.is_set():
            sock = client.socket()
            if sock is None:
                return
            self.round_at = self._now()
            readable = self._waker.wait(sock, writing=client.want_write(), longest_s=ROUND_S)
            with self._lock:
                if readable:
                    client.loop_read()
                if client.want_write():
                    client.loop_write()
                client.loop_misc()
                self._forget_due(client)
        with self._lock:
            client.disconnect()

    def _forget_due(self, client: paho.Client) -> None:
        now = self._now()
        due = [topic for at, topic in self._later if at <= now]
        if due:
            self._later = [entry for entry in self._later if entry[0] > now]
            client.unsubscribe(due)

    def _ended(self, client: paho.Client | None) -> None:
        """The connection is gone, or never came: fail what was under way, and tell all members."""
        why = self._why or f"the connection to {self.place} was lost"
        with self._lock:
            self._client = None
            lost, self._in_flight = list(self._in_flight.values()), {}
            self._asked.clear()
            self._later.clear()
            for member, order in lost:
                self._caught(member.done)(order, why=f"{why}, before the command was acknowledged")
            for member in self._members:
                self._caught(member.unlinked)(why)
            with contextlib.suppress(Exception):
                if client is not None and client.socket() is not None:
                    client.disconnect()

    def _on_connect(self, client: paho.Client, _userdata: object, _flags: object, reason: Any, _properties: object) -> None:  # noqa: ANN401
        if reason.is_failure:
            self._why = f"{self.place} refuses us: {reason}"
            return
        self._greeted = True
        self._client = client
        for member in self._members:
            self._subscribe(client, member)

    def _on_disconnect(self, _client: object, _userdata: object, _flags: object, reason: object, _properties: object) -> None:
        self._why = self._why or f"the connection to {self.place} was lost ({reason})"
        self._waker.wake()

    def _subscribe(self, client: paho.Client, member: Member) -> None:
        five = self.broker.protocol == "5"
        wanted: list[Any] = [
            (topic, SubscribeOptions(qos=1, noLocal=topic == member.order_topic) if five else 1) for topic in member.topics
        ]
        _, mid = client.subscribe(wanted)
        if mid is not None:
            self._asked[mid] = (member, member.topics)

    def _on_subscribe(self, _client: object, _userdata: object, mid: int, reasons: list[Any], _properties: object) -> None:
        member, topics = self._asked.pop(mid)
        member.linked(self, {topic: str(reason) for topic, reason in zip(topics, reasons, strict=True) if reason.is_failure})

    def _on_message(self, _client: object, _userdata: object, message: paho.MQTTMessage) -> None:
        topic = message.topic
        for member in self._listeners.get(topic, ()):
            self._caught(member.heard)(topic, message.payload, retained=message.retain)

    def _on_publish(self, _client: object, _userdata: object, mid: int, reason: Any, _properties: object) -> None:  # noqa: ANN401
        member, order = self._in_flight.pop(mid)
        why = f"{self.place} refused the command: {reason}" if reason.is_failure else ""
        member.done(order, why=why, nobody=reason.value == 0x10)  # noqa: PLR2004 - MQTT 5: no matching subscribers

    def _caught(self, callback: Callable[..., Any]) -> Callable[..., None]:
        """An exception in a callback would end the listening: it is counted instead."""

        def run(*args: Any, **more: Any) -> None:  # noqa: ANN401
            try:
                callback(*args, **more)
            except Exception:  # noqa: BLE001
                self.errors += 1

        return run
