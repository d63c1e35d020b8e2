"""What a relay shows to the link it shares."""

from typing import Protocol


class Forgets(Protocol):
    """The part of a link that its members may use from within a call."""

    def forget(self, topic: str, after_s: float) -> None:
        """End the subscription of `topic` on this connection, later."""


class Member(Protocol):
    """What a relay shows to its link. All of it is called under the link's lock: be quick, never block.

    Where there is `order`, `done` speaks of it: a `why` means that it failed.
    """

    order_topic: str
    order_payload: bytes
    topics: tuple[str, ...]

    def linked(self, link: Forgets, refused: dict[str, str]) -> None:
        """Connected and subscribed; `refused` says why not, by topic."""

    def unlinked(self, why: str) -> None: ...

    def heard(self, topic: str, payload: bytes, *, retained: bool) -> None: ...

    def done(self, order: int, *, why: str = "", nobody: bool = False) -> None: ...
