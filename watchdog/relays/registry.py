"""Which kinds of relay there are. A new kind needs its module and one line here."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from watchdog.core.inputs import RelayReport
from watchdog.core.values import JsonObject
from watchdog.relays.around import Around
from watchdog.relays.command import CommandDriver
from watchdog.relays.driver import Driver
from watchdog.relays.http import HttpDriver
from watchdog.relays.mqtt import MqttDriver
from watchdog.relays.mqtt_links import Links
from watchdog.relays.pretend import PretendDriver
from watchdog.settings.addresses import CommandRelay, HttpRelay, MqttRelay, PretendRelay
from watchdog.settings.trusted import construct

if TYPE_CHECKING:
    from pydantic import ValidationError


class Kind(NamedTuple):
    """How an address of this kind looks, and what is made of it."""

    address: type
    make: Callable[[str, Any, Around], Driver]


KINDS: Final[dict[str, Kind]] = {
    "mqtt": Kind(MqttRelay, MqttDriver),
    "command": Kind(CommandRelay, CommandDriver),
    "http": Kind(HttpRelay, HttpDriver),
    "pretend": Kind(PretendRelay, PretendDriver),
}


def build(
    name: str,
    address: JsonObject,
    *,
    now: Callable[[], float],
    report: Callable[[RelayReport], None],
    links: Links,
    checked: bool = False,
) -> Driver:
    """The driver of the relay `name`, from plain JSON: the fields of its address and a `kind`.

    The same way serves a normal start and a relay of which only a latch record still knows. An address that comes from
    settings found good is `checked` already. Raises ValueError that says what is wrong, where, and what is allowed.
    """
    kind = KINDS.get(str(address.get("kind")))
    if kind is None:
        raise ValueError(f"relay {name!r}: kind is {address.get('kind')!r}; allowed are {', '.join(sorted(KINDS))}")
    fields = {key: value for key, value in address.items() if key != "kind"}
    values = construct(kind.address, fields) if checked else _validated(name, kind.address, fields)
    try:
        return kind.make(name, values, Around(now=now, report=report, links=links))
    except (ValueError, TypeError) as error:
        raise ValueError(f"relay {name!r}: {error}") from error


def _validated(name: str, address: type, fields: JsonObject) -> Any:  # noqa: ANN401 - an instance of `address`
    import orjson  # noqa: PLC0415 - see settings.trusted: a start without a standing latch must not pay for the validator
    from pydantic import TypeAdapter, ValidationError  # noqa: PLC0415

    try:
        # As JSON: in strict mode pydantic refuses a list where a tuple is meant, unless it reads JSON.
        return TypeAdapter(address).validate_json(orjson.dumps(fields))
    except ValidationError as error:
        raise ValueError(f"relay {name!r}: {_problems(error)}") from None
    except (ValueError, TypeError) as error:
        raise ValueError(f"relay {name!r}: {error}") from error


def _problems(error: "ValidationError") -> str:
    return "; ".join(f"{'.'.join(map(str, one['loc'])) or 'address'}: {one['msg']}" for one in error.errors(include_url=False))
