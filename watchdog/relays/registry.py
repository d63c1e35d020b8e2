"""Which kinds of relay there are. A new kind needs its module and one line here."""

from collections.abc import Callable
from typing import Any, Final, NamedTuple

import orjson
from pydantic import TypeAdapter, ValidationError

from watchdog.core.inputs import RelayReport
from watchdog.core.values import JsonObject
from watchdog.relays.around import Around
from watchdog.relays.command import CommandDriver
from watchdog.relays.driver import Driver
from watchdog.relays.mqtt import MqttDriver
from watchdog.relays.mqtt_links import Links
from watchdog.relays.pretend import PretendDriver
from watchdog.settings.addresses import CommandRelay, MqttRelay, PretendRelay


class Kind(NamedTuple):
    """How an address of this kind looks, and what is made of it."""

    address: type
    make: Callable[[str, Any, Around], Driver]


KINDS: Final[dict[str, Kind]] = {
    "mqtt": Kind(MqttRelay, MqttDriver),
    "command": Kind(CommandRelay, CommandDriver),
    "pretend": Kind(PretendRelay, PretendDriver),
}


def build(name: str, address: JsonObject, *, now: Callable[[], float], report: Callable[[RelayReport], None], links: Links) -> Driver:
    """The driver of the relay `name`, from plain JSON: the fields of its address and a `kind`.

    The same way serves a normal start and a relay of which only a latch record still knows.
    Raises ValueError that says what is wrong, where, and what is allowed.
    """
    kind = KINDS.get(str(address.get("kind")))
    if kind is None:
        raise ValueError(f"relay {name!r}: kind is {address.get('kind')!r}; allowed are {', '.join(sorted(KINDS))}")
    fields = {key: value for key, value in address.items() if key != "kind"}
    try:
        # As JSON: in strict mode pydantic refuses a list where a tuple is meant, unless it reads JSON.
        checked: Any = TypeAdapter(kind.address).validate_json(orjson.dumps(fields))
        return kind.make(name, checked, Around(now=now, report=report, links=links))
    except ValidationError as error:
        raise ValueError(f"relay {name!r}: {_problems(error)}") from None
    except (ValueError, TypeError) as error:
        raise ValueError(f"relay {name!r}: {error}") from error


def _problems(error: ValidationError) -> str:
    return "; ".join(f"{'.'.join(map(str, one['loc'])) or 'address'}: {one['msg']}" for one in error.errors(include_url=False))
