"""What may stand in `[relays.NAME]`: one frozen dataclass a kind. Times in seconds."""

from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypeAlias, get_args, get_type_hints

from watchdog.core.plan import Cuts
from watchdog.core.values import STRICT
from watchdog.settings.addresses import HttpEcho, HttpMeter, HttpOrder, SwitchEcho, SwitchMeter, SwitchOrder, SwitchPresence


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayCommon:
    """What every relay says of itself. `feeds_board` None means true, unless it cuts a heater only."""

    __pydantic_config__ = STRICT

    cuts: Cuts
    feeds_board: bool | None = None
    echo_within_s: float = 5.0

    @property
    def silences(self) -> bool:
        """True when opening it also takes the printer's board and its readings down."""
        return self.cuts != "heater" if self.feeds_board is None else self.feeds_board


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttRelayTable(RelayCommon):
    """A plug or relay board on MQTT; `broker` is a name under `[brokers]`."""

    __pydantic_config__ = STRICT

    kind: Literal["mqtt"]
    broker: str
    order: SwitchOrder
    echo: SwitchEcho | None = None
    meter: SwitchMeter | None = None
    presence: SwitchPresence | None = None
    sent_within_s: float = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandRelayTable(RelayCommon):
    """A program that opens a relay; see addresses.CommandRelay."""

    __pydantic_config__ = STRICT

    kind: Literal["command"]
    off: tuple[str, ...]
    ask: tuple[str, ...] = ()
    ask_every_s: float = 30.0
    time_limit_s: float = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpRelayTable(RelayCommon):
    """A plug or relay board with an HTTP interface; see addresses.HttpRelay."""

    __pydantic_config__ = STRICT

    kind: Literal["http"]
    order: HttpOrder
    echo: HttpEcho | None = None
    meter: HttpMeter | None = None
    secret_file: str = ""
    secret_credential: str = ""
    ca_file: str = ""
    ask_every_s: float = 30.0
    time_limit_s: float = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PretendRelayTable(RelayCommon):
    """Cuts nothing: for trying things out."""

    __pydantic_config__ = STRICT

    kind: Literal["pretend"]
    file: str = ""


class ByKind:
    """Tells pydantic to go by `kind`. Without importing it here: files that were validated before are read without it."""

    def __get_pydantic_core_schema__(self, union: Any, handler: Any) -> Any:  # noqa: ANN401 - types of pydantic, which loads late
        from pydantic_core import core_schema  # noqa: PLC0415 - see above

        choices = {kind: handler.generate_schema(table) for kind, table in tables_by_kind(union).items()}
        return core_schema.tagged_union_schema(choices, discriminator="kind")


def tables_by_kind(union: Any) -> dict[str, Any]:  # noqa: ANN401 - a union of types
    """The tables that a union is made of, by what their `kind` must say."""
    return {get_args(get_type_hints(table)["kind"])[0]: table for table in get_args(union)}


RelayTable: TypeAlias = Annotated[MqttRelayTable | CommandRelayTable | HttpRelayTable | PretendRelayTable, ByKind()]


def shows_heat(relay: RelayTable) -> bool:
    """True when the meter of a relay is also that of what the relay cuts."""
    return isinstance(relay, MqttRelayTable | HttpRelayTable) and relay.meter is not None and relay.meter.shows_heat
