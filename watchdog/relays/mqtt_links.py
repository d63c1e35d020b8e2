"""The links in use."""

from collections.abc import Callable

from watchdog.relays.mqtt_link import MqttLink
from watchdog.relays.mqtt_member import Member
from watchdog.settings.addresses import Broker


class Links:
    """The links in use, one a broker. For the thread that starts and stops relays."""

    def __init__(self, now: Callable[[], float]) -> None:
        """No link exists before a relay needs it."""
        self._now = now
        self._links: dict[Broker, MqttLink] = {}

    def join(self, broker: Broker, member: Member) -> MqttLink:
        """The link to `broker`, with `member` in it; opened for the first one."""
        link = self._links.get(broker)
        if link is None:
            link = self._links[broker] = MqttLink(broker, self._now)
            link.add(member)
            link.start()
        else:
            link.add(member)
        return link

    def leave(self, link: MqttLink, member: Member) -> None:
        """Take `member` out; the last one closes the link."""
        if link.remove(member):
            del self._links[link.broker]
            link.stop()

    def all(self) -> list[MqttLink]:
        """Those in use, for supervision."""
        return list(self._links.values())
