"""How brokers and relays are reached: plain values that fit a settings file, a latch record and a driver alike.

Secrets are never in here, only where they are kept: a file, or the name of a systemd credential.
"""

from dataclasses import dataclass, field
from typing import Final, Literal

from watchdog.core.values import STRICT


@dataclass(frozen=True, slots=True, kw_only=True)
class Tls:
    """Transport security: verified always. `ca_file` empty means the system's authorities."""

    __pydantic_config__ = STRICT

    ca_file: str = ""
    certificate_file: str = ""
    key_file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """An MQTT broker. `protocol` is the MQTT version; a password comes from a file or a systemd credential."""

    __pydantic_config__ = STRICT

    host: str
    port: int = 1883
    protocol: Literal["3.1.1", "5"] = "5"
    user: str = ""
    password_file: str = ""
    password_credential: str = ""
    tls: Tls | None = None
    keepalive_s: int = 10


USUAL_HEADER = "Authorization"


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A page on HTTP that is asked for readings every `every_s`; an answer must be whole within `time_limit_s`.

    A secret, from a file or a systemd credential, is sent as it stands in the field `header` of each request.
    `ca_file` empty means the system's authorities.
    """

    __pydantic_config__ = STRICT

    url: str
    every_s: float
    time_limit_s: float = 3.0
    header: str = USUAL_HEADER
    secret_file: str = ""
    secret_credential: str = ""
    ca_file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchOrder:
    """Where a plug listens and what it must be sent to open. There is no way to say how to close it."""

    __pydantic_config__ = STRICT

    topic: str
    off: str = "off"


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchEcho:
    """Where a plug says what it is doing. `pointer` (RFC 6901) picks the value out of a JSON payload."""

    __pydantic_config__ = STRICT

    topic: str
    off: str = "off"
    on: str = "on"
    pointer: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchMeter:
    """Where a plug reports the power through it, in watts. At or under `standby_w` the power counts as gone.

    With `shows_heat` it is also the meter of what the plug cuts, by which heating while off is seen.
    """

    __pydantic_config__ = STRICT

    topic: str
    pointer: str = ""
    standby_w: float = 2.0
    within_s: float = 75.0
    shows_heat: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchPresence:
    """Where a plug (or its last will) says whether it is there at all."""

    __pydantic_config__ = STRICT

    topic: str
    here: str = "here"
    gone: str = "gone"


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttRelay:
    """A plug or relay board on MQTT."""

    __pydantic_config__ = STRICT

    broker: Broker
    order: SwitchOrder
    echo: SwitchEcho | None = None
    meter: SwitchMeter | None = None
    presence: SwitchPresence | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandRelay:
    """A program that opens a relay. Argument lists, never a shell.

    `off` exits 0 when the command was sent. `ask`, if given, prints `on` or `off` on its first line: the echo, and
    the proof that the relay can be reached; it runs every `ask_every_s`.
    """

    __pydantic_config__ = STRICT

    off: tuple[str, ...]
    ask: tuple[str, ...] = ()
    ask_every_s: float = 30.0
    time_limit_s: float = 2.0


SECRET_PLACE: Final = "{secret}"  # noqa: S105 - no secret, but where one goes
"""What stands in a header or in a body for the secret of an HTTP relay."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpAnswer:
    """What a good answer says: `word`, at `pointer` (RFC 6901) in JSON, or as the whole of a plain text."""

    __pydantic_config__ = STRICT

    word: str
    pointer: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpOrder:
    """The request that opens a relay. It goes out as it stands, but for the secret; there is no way to say how to close it."""

    __pydantic_config__ = STRICT

    url: str
    method: Literal["GET", "POST", "PUT", "PATCH"] = "POST"
    headers: dict[str, str] = field(default_factory=dict)
    body: str = ""
    answer: HttpAnswer | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpEcho:
    """The page on which a relay says what it is doing: `off` or `on`, at `pointer` in JSON, or as the whole of a plain text."""

    __pydantic_config__ = STRICT

    url: str
    headers: dict[str, str] = field(default_factory=dict)
    pointer: str = ""
    off: str = "off"
    on: str = "on"


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpMeter:
    """Where in the echo's page the power stands, in watts. At or under `standby_w` the power counts as gone; `shows_heat` as over MQTT."""

    __pydantic_config__ = STRICT

    pointer: str
    standby_w: float = 2.0
    within_s: float = 75.0
    shows_heat: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpRelay:
    """A plug or relay board with an HTTP interface.

    Each request must be answered in full within `time_limit_s`; the echo is asked for every `ask_every_s`. A secret
    comes from a file or a systemd credential. `ca_file` empty means the system's authorities.
    """

    __pydantic_config__ = STRICT

    order: HttpOrder
    echo: HttpEcho | None = None
    meter: HttpMeter | None = None
    secret_file: str = ""
    secret_credential: str = ""
    ca_file: str = ""
    ask_every_s: float = 30.0
    time_limit_s: float = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PretendRelay:
    """Cuts nothing: for trying things out. Writes each command to `file` (empty: nowhere) and echoes it."""

    __pydantic_config__ = STRICT

    file: str = ""


RelayAddress = MqttRelay | CommandRelay | HttpRelay | PretendRelay
