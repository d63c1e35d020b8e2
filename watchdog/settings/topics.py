"""Topics and pointers: whether one of them by itself is sound."""

from collections.abc import Iterator

from jsonpointer import JsonPointer, JsonPointerException

from watchdog.settings.draft import Draft, KeyPath
from watchdog.wire.topics import check_exact_topic


def bad_topic(file: str, path: KeyPath, topic: str) -> Iterator[Draft]:
    """A topic that more than one publisher could speak on, that is shared out among readers, or that MQTT does not know."""
    try:
        check_exact_topic(topic)
    except ValueError:
        yield Draft(file, path, "topic", topic)
        return
    if topic.startswith("$"):  # the broker's own
        yield Draft(file, path, "topic", topic)


def pointer_problem(file: str, path: KeyPath, pointer: str | None) -> Iterator[Draft]:
    """A text that is no JSON Pointer."""
    try:
        JsonPointer(pointer or "")
    except JsonPointerException:
        yield Draft(file, path, "pointer", pointer)
