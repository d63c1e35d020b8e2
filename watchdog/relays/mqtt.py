"""A plug or relay board on MQTT."""

from typing import Final

from watchdog.core.inputs import RelayReport, RelayState
from watchdog.core.values import NEVER
from watchdog.relays.around import Around
from watchdog.relays.mqtt_link import MqttLink
from watchdog.relays.mqtt_member import Forgets
from watchdog.relays.payload import resolver, shown, text_of, watts_of
from watchdog.settings.addresses import MqttRelay

LOOK_S: Final = 2.0
"""How long a broker may take to hand out what it kept."""

LONGEST_TOPIC: Final = 65535
UNKNOWN_EVERY_S: Final = 60.0


class MqttDriver:
    """Sends OFF at QoS 1, never retained, and listens to what the plug says of itself.

    It can be reached when it says so: its presence, or else the accepted subscriptions. Any live word of the plug
    counts as well. The command topic is watched for commands that others left or send. With MQTT 5 and a plug
    without presence that watch ends after a look: while we subscribe, the broker cannot tell that nobody else does.
    """

    def __init__(self, name: str, address: MqttRelay, around: Around) -> None:
        """Raises ValueError when the address cannot work."""
        self.name = name
        self.unknown = 0
        self._address = address
        self._around = around
        self._echo_pointer = resolver(address.echo.pointer) if address.echo else None
        self._meter_pointer = resolver(address.meter.pointer) if address.meter else None
        heard = [part.topic for part in (address.echo, address.meter, address.presence) if part is not None]
        _check(address, heard)
        self.order_topic = address.order.topic
        self.order_payload = address.order.off.encode()
        self.topics = (self.order_topic, *dict.fromkeys(heard))
        self._link: MqttLink | None = None
        self._reachable: bool | None = None
        self._why = ""
        self._refused = ""
        self._unknown_at = NEVER

    def start(self) -> None:
        """Join the connection that all relays of this broker share."""
        if self._link is None:
            self._link = self._around.links.join(self._address.broker, self)

    def off(self, order: int) -> None:
        """On the wire when this returns, or failed at once: no order waits for a connection."""
        link = self._link
        if link is None:
            self.done(order, why=f"not connected to broker {self._address.broker.host}:{self._address.broker.port}: not started")
        else:
            link.order(self, order)

    def stop(self) -> None:
        """Leave the connection."""
        link, self._link = self._link, None
        if link is not None:
            self._around.links.leave(link, self)

    def linked(self, link: Forgets, refused: dict[str, str]) -> None:
        """Subscribed. A plug with presence will speak for itself; the broker keeps its last word."""
        watch = refused.pop(self.order_topic, "")
        if watch:
            self._say(why=f"the command topic cannot be watched for commands of others: {watch}")
        elif self._address.presence is None and self._address.broker.protocol == "5":
            link.forget(self.order_topic, LOOK_S)
        self._refused = "; ".join(f"subscription to {topic} refused: {why}" for topic, why in refused.items())
        if self._refused:
            self._reach(there=False, why=self._refused)
        elif self._address.presence is None:
            self._reach(there=True)

    def unlinked(self, why: str) -> None:
        """No connection, no relay."""
        self._reach(there=False, why=why)

    def done(self, order: int, *, why: str = "", nobody: bool = False) -> None:
        """The broker has the command, or why not. Taken over by the broker is not yet off."""
        self._say(sent=not why, order=order, why=why)
        if nobody:
            self._reach(there=False, why="nobody listens on the command topic")
        elif not why and self._why.startswith("nobody"):
            self._reach(there=True)

    def heard(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """One topic may carry several of these."""
        address = self._address
        if topic == self.order_topic:
            self._overheard(payload, retained=retained)
            return
        if address.presence is not None and topic == address.presence.topic:
            self._presence(payload, retained=retained)
        if address.echo is not None and topic == address.echo.topic:
            self._echo(payload, retained=retained)
        if address.meter is not None and topic == address.meter.topic:
            self._meter(payload, retained=retained)

    def _overheard(self, payload: bytes, *, retained: bool) -> None:
        if retained:
            self._say(
                retained=True, why=f"retained command found on {self.order_topic}: {shown(payload)}; each plug that connects obeys it"
            )
        elif payload and payload.strip() != self.order_payload.strip():
            self._say(why=f"foreign command seen on {self.order_topic}: {shown(payload)}")

    def _presence(self, payload: bytes, *, retained: bool) -> None:
        presence = self._address.presence
        word = text_of(payload, None)
        if presence is not None and word == presence.here:
            self._reach(there=True, retained=retained)
        elif presence is not None and word == presence.gone:
            self._reach(there=False, why="the relay's presence says that it is gone", retained=retained)
        else:
            self._unknown("presence", payload, retained=retained)

    def _echo(self, payload: bytes, *, retained: bool) -> None:
        echo = self._address.echo
        word = text_of(payload, self._echo_pointer)
        if echo is not None and word in {echo.on, echo.off}:
            self._alive(retained=retained)
            self._say(state="off" if word == echo.off else "on", retained=retained)
        else:
            self._unknown("echo", payload, retained=retained)

    def _meter(self, payload: bytes, *, retained: bool) -> None:
        meter = self._address.meter
        watts = None if meter is None else watts_of(payload, self._meter_pointer, meter.standby_w)
        if watts is None:
            self._unknown("meter", payload, retained=retained)
        else:
            self._alive(retained=retained)
            self._say(power_w=watts, retained=retained)

    def _unknown(self, part: str, payload: bytes, *, retained: bool) -> None:
        """Counted always, reported once in a while: some plugs mention only what changed."""
        self.unknown += 1
        now = self._around.now()
        if now - self._unknown_at >= UNKNOWN_EVERY_S:
            self._unknown_at = now
            self._say(retained=retained, why=f"unknown {part} {shown(payload)}")

    def _alive(self, *, retained: bool) -> None:
        if not retained and not self._refused:
            self._reach(there=True)

    def _reach(self, *, there: bool, why: str = "", retained: bool = False) -> None:
        """Said when it changes, not with each message."""
        if (there, why) != (self._reachable, self._why):
            self._reachable, self._why = there, why
            self._say(reachable=there, why=why, retained=retained)

    def _say(
        self,
        *,
        reachable: bool | None = None,
        sent: bool | None = None,
        order: int = 0,
        state: RelayState | None = None,
        power_w: float | None = None,
        retained: bool = False,
        why: str = "",
    ) -> None:
        at = self._around.now()
        self._around.report(RelayReport(self.name, at, reachable, sent, order, state, power_w, retained, why))


def _check(address: MqttRelay, heard: list[str]) -> None:
    """Refuse what cannot work, or what would make our own command look like the plug's answer."""
    for topic in (address.order.topic, *heard):
        if not topic or any(sign in topic for sign in "+#\0") or topic.startswith("$share/") or len(topic.encode()) > LONGEST_TOPIC:
            raise ValueError(f"topic {topic!r} is not usable: one plain topic is needed, without + or # or $share")
    if address.order.topic in heard:
        raise ValueError(f"topic {address.order.topic!r} takes the command and also reports: our own command would look like an answer")
    if not address.order.off.strip():
        raise ValueError("order.off is empty: it must be the text that opens the relay")
    if address.echo is not None and address.echo.on == address.echo.off:
        raise ValueError(f"echo.on and echo.off are both {address.echo.on!r}: they must differ")
    if address.presence is not None and address.presence.here == address.presence.gone:
        raise ValueError(f"presence.here and presence.gone are both {address.presence.here!r}: they must differ")
    if not 0 < address.broker.port <= LONGEST_TOPIC or not address.broker.host:
        raise ValueError(f"broker {address.broker.host!r} port {address.broker.port}: a host and a port from 1 to 65535 are needed")
    if not 5 <= address.broker.keepalive_s <= 300:  # noqa: PLR2004
        raise ValueError(f"broker.keepalive_s is {address.broker.keepalive_s}: 5 to 300 are allowed")
