"""Whether the address of an HTTP relay can work at all; it may come from a latch record, which no settings vouch for."""

from typing import Final

from watchdog.settings.addresses import SECRET_PLACE, HttpEcho, HttpOrder, HttpRelay
from watchdog.settings.web import sound_header, sound_url

LONGEST_LIMIT_S: Final = 60.0


def check(address: HttpRelay) -> None:
    """Raises ValueError that says what is wrong and what is allowed."""
    order, echo = address.order, address.echo
    _request("order", order)
    if order.method == "GET" and order.body:
        raise ValueError("order.body goes with POST, PUT or PATCH, not with GET")
    if order.answer is not None and not order.answer.word.strip():
        raise ValueError("order.answer.word is empty: it must be what a good answer says")
    if echo is not None:
        _request("echo", echo)
        if echo.on == echo.off:
            raise ValueError(f"echo.on and echo.off are both {echo.on!r}: they must differ")
    elif address.meter is not None:
        raise ValueError("meter needs echo: its number stands in the page of the echo")
    if address.secret_file and address.secret_credential:
        raise ValueError("secret_file and secret_credential: one of the two is allowed")
    texts = [order.body, *order.headers.values(), *(echo.headers.values() if echo else ())]
    if any(SECRET_PLACE in text for text in texts) and not (address.secret_file or address.secret_credential):
        raise ValueError(f"{SECRET_PLACE} needs secret_file or secret_credential")
    if not 0 < address.time_limit_s <= LONGEST_LIMIT_S:
        raise ValueError(f"time_limit_s is {address.time_limit_s:g}: more than 0 and at most {LONGEST_LIMIT_S:g} seconds are allowed")
    if address.ask_every_s <= 0:
        raise ValueError(f"ask_every_s is {address.ask_every_s:g}: it must be more than 0")


def _request(part: str, request: HttpOrder | HttpEcho) -> None:
    if not sound_url(request.url) or "{" in request.url:
        raise ValueError(f"{part}.url is not usable: http:// or https:// and a host are needed, without user, password and placeholder")
    for name, value in request.headers.items():
        if not sound_header(name):
            raise ValueError(f"{part}.headers: {name!r} is no header field, or one that every request sets itself")
        if not value or not value.isascii() or not value.isprintable() or value != value.strip():
            raise ValueError(f"{part}.headers: the value of {name!r} must be printable ASCII on one line")
