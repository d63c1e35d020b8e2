"""Readings over MQTT: one connection to one broker, whatever the number of heaters behind it."""

import secrets
from collections import deque
from collections.abc import Callable, Sequence
from functools import wraps
from typing import Any, Concatenate, Final, ParamSpec

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from watchdog.core.values import NEVER
from watchdog.settings.addresses import Broker
from watchdog.sources.links import Links
from watchdog.sources.mqtt_client import TirelessClient, failure_in_hand
from watchdog.sources.mqtt_handlers import Counters, Presence, Subscription, compile_handlers
from watchdog.sources.notes import Note, Notes
from watchdog.sources.sink import Sink

__all__ = ["Counters", "MqttSource", "Presence", "Subscription"]

TOPICS_A_PACKET: Final = 64
RETRY_REFUSED_S: Final = 30.0
UNSTEADY_CONNECTS: Final = 3
"""So many connections lost within a minute are no accident. Not every broker says that another client took the id over."""
SESSION_TAKEN_OVER: Final = 0x8E

P = ParamSpec("P")


def _caught(callback: "Callable[Concatenate[MqttSource, P], None]") -> "Callable[Concatenate[MqttSource, P], None]":
    """A callback that counts its exceptions instead of raising them into the network thread."""

    @wraps(callback)
    def safe(source: "MqttSource", /, *args: P.args, **kwargs: P.kwargs) -> None:
        try:
            callback(source, *args, **kwargs)
        except Exception as problem:  # noqa: BLE001 - an exception in a callback would end the network thread
            source.failed(callback.__name__, problem)

    return safe


class MqttSource:
    """Hears the feeds of `subscriptions` from one broker and puts readings and link reports into `sink`.

    Raises ValueError for a topic or a feed that cannot work; nothing raises later. `now` gives engine seconds; `on_note`
    takes rate-limited lines for the log and may be called from the network thread. `presence_topic`, if given, says
    "here" there, retained, with "gone" as the last will. Call `tend` about once a second.
    """

    def __init__(
        self,
        name: str,
        broker: Broker,
        subscriptions: Sequence[Subscription],
        sink: Sink,
        now: Callable[[], float],
        on_note: Note,
        *,
        presences: Sequence[Presence] = (),
        presence_topic: str = "",
    ) -> None:
        self.name = name
        self.counters = Counters()
        self.client_id = f"heatwarden-{secrets.token_hex(6)}"
        self._broker = broker
        self._now = now
        self._notes = Notes(now, on_note)
        self._handlers = compile_handlers(subscriptions, presences, sink, now, self.counters)
        wanted = [(item.source, item.feed.topic) for item in subscriptions] + [(item.source, item.topic) for item in presences]
        self._links = Links(wanted, sink, now)
        self._asked: dict[int, list[str]] = {}
        self._refused_at = NEVER
        self._stopping = False
        self._connects: deque[float] = deque(maxlen=2 * UNSTEADY_CONNECTS)
        self._presence_topic = presence_topic
        self._client = self._build_client()

    def start(self) -> None:
        """Begin to connect; returns at once. What comes of it arrives as reports."""
        self._client.loop_start()

    def stop(self, within_s: float = 6.0) -> bool:
        """Say goodbye and disconnect; true if the network thread ended in time."""
        self._stopping = True
        if self._presence_topic and self._client.is_connected():
            self._client.publish(self._presence_topic, "gone", qos=0, retain=True)
        return self._client.finish(within_s)

    def alive(self) -> bool:
        """True while the network thread runs."""
        thread = self._client.network_thread
        return thread is not None and thread.is_alive()

    def connected(self) -> bool:
        """True while the broker holds the connection; says nothing about readings."""
        return self._client.is_connected()

    def connects_last_minute(self) -> int:
        """How often a connection was made within the last 60 s, up to 6. More than a few: unstable, or our id is used twice."""
        since = self._now() - 60.0
        return sum(at >= since for at in tuple(self._connects))

    def tend(self) -> None:
        """Ask again for subscriptions that the broker refused, every 30 s: permissions may have been mended meanwhile."""
        refused = self._links.refused()
        if refused and self._now() - self._refused_at >= RETRY_REFUSED_S and self.connected():
            self._refused_at = self._now()
            self._subscribe(refused)

    def failed(self, where: str, problem: Exception) -> None:
        """Count an exception that was caught. Never raises."""
        self.counters.errors += 1
        self._notes.note("error", "warning", f"{self.name}: error in {where}: {type(problem).__name__}: {problem}")

    def _build_client(self) -> TirelessClient:
        client = TirelessClient(self._broker, self.client_id, self._thread_failed)
        if self._presence_topic:
            client.will_set(self._presence_topic, "gone", qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._message_callback()
        return client

    def _message_callback(self) -> Callable[[Client, Any, MQTTMessage], None]:
        """The path of every reading: no attribute is looked up that can be bound before."""
        counters, handlers_of, failed = self.counters, self._handlers.get, self.failed

        def on_message(_client: Client, _userdata: Any, message: MQTTMessage) -> None:  # noqa: ANN401 - paho's own
            try:
                counters.messages += 1
                if message.dup:
                    counters.duplicates += 1
                    return
                handlers = handlers_of(message.topic)
                if handlers is None:
                    counters.strays += 1
                    return
                for handle in handlers:
                    try:
                        handle(message.payload, message.retain)  # type: ignore[arg-type]  # of a received message it is bytes
                    except Exception as problem:  # noqa: BLE001 - the next heater on this topic must still be heard
                        failed("a reading", problem)
            except Exception as problem:  # noqa: BLE001 - an exception here would end the network thread
                failed("on_message", problem)

        return on_message

    @_caught
    def _on_connect(self, client: Client, _data: object, _flags: ConnectFlags, reason: ReasonCode, _more: Properties | None) -> None:
        if reason.is_failure:
            self._lost(f"the broker refused the connection: {reason}")
            return
        self.counters.connects += 1
        self._connects.append(self._now())
        self._notes.note("connect", "info", f"{self.name}: connected to {self._broker.host}:{self._broker.port}")
        self._asked.clear()
        self._subscribe(list(self._handlers))
        if self._presence_topic:
            client.publish(self._presence_topic, "here", qos=0, retain=True)

    @_caught
    def _thread_failed(self, where: str, problem: Exception) -> None:
        self.failed(where, problem)
        self._lost(f"error in the {where}: {type(problem).__name__}")

    @_caught
    def _on_connect_fail(self, _client: Client, _data: object) -> None:
        self._lost(failure_in_hand())

    @_caught
    def _on_disconnect(self, _client: Client, _data: object, _flags: DisconnectFlags, reason: ReasonCode, _more: Properties | None) -> None:
        if self._stopping:
            return
        if reason.value == SESSION_TAKEN_OVER:
            self._lost("another client uses our id")
            return
        connects = self.connects_last_minute()
        doubt = f"; connected {connects} times within a minute, as when another client uses our id" if connects >= UNSTEADY_CONNECTS else ""
        self._lost(f"disconnected: {reason}{doubt}", "unsteady" if doubt else "lost")

    def _lost(self, why: str, kind: str = "lost") -> None:
        if self._links.lost(why):
            self._notes.note(kind, "warning", f"{self.name}: no readings from {self._broker.host}:{self._broker.port}: {why}")

    def _subscribe(self, topics: list[str]) -> None:
        five = self._broker.protocol == "5"
        options = SubscribeOptions(qos=0, retainAsPublished=False, retainHandling=SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE)
        for first in range(0, len(topics), TOPICS_A_PACKET):
            some = topics[first : first + TOPICS_A_PACKET]
            code, packet = self._client.subscribe([(topic, options) for topic in some] if five else [(topic, 0) for topic in some])
            if code == MQTTErrorCode.MQTT_ERR_SUCCESS and packet is not None:
                self._asked[packet] = some

    @_caught
    def _on_subscribe(self, _client: Client, _data: object, packet: int, reasons: list[ReasonCode], _more: Properties | None) -> None:
        topics = self._asked.pop(packet, [])
        refused = [(topic, str(reason)) for topic, reason in zip(topics, reasons, strict=True) if reason.is_failure]
        for topic, reason in refused:
            self._links.refuse(topic, f"subscription refused for {topic}: {reason}")
        if refused:
            self._refused_at = self._now()
            shown = f"{refused[0][0]} ({refused[0][1]})" + (f" and {len(refused) - 1} more" if len(refused) > 1 else "")
            self._notes.note("refused", "warning", f"{self.name}: the broker refused the subscription to {shown}; check its permissions")
        self._links.grant(set(topics) - {topic for topic, _ in refused})
