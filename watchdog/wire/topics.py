"""MQTT topics of readings: one topic, one publisher, no patterns."""

from watchdog.wire.plain_text import printable

LONGEST_TOPIC_BYTES = 65535


def check_exact_topic(topic: str) -> None:
    """Raises ValueError with a plain sentence unless `topic` names exactly one MQTT topic.

    A wildcard would let any publisher speak for a heater; a shared subscription would hand part of the readings to
    somebody else.
    """
    shown = printable(topic)
    if not topic:
        raise ValueError("the topic is empty; name one topic, such as millbrook/anvil/bed")
    if topic.startswith("$share/"):
        raise ValueError(f'topic "{shown}" is a shared subscription, which loses readings to others; name the topic itself')
    if "+" in topic or "#" in topic:
        raise ValueError(f'topic "{shown}" has a wildcard (+ or #), which lets any publisher speak; name one topic')
    if not topic.isprintable():
        raise ValueError(f'topic "{shown}" has a control or invisible character; MQTT forbids these or advises against them')
    if len(topic.encode()) > LONGEST_TOPIC_BYTES:
        raise ValueError(f"the topic is longer than {LONGEST_TOPIC_BYTES} bytes, the most MQTT can carry")
