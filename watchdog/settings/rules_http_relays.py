"""Whether a relay on HTTP can be commanded as described, keeps its secret, and what it leaves open."""

from collections.abc import Iterator
from urllib.parse import urlsplit

from watchdog.settings.addresses import SECRET_PLACE, HttpEcho, HttpOrder
from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE
from watchdog.settings.relay_tables import HttpRelayTable
from watchdog.settings.secret_files import credential, named_secret
from watchdog.settings.topics import pointer_problem
from watchdog.settings.web import authorities, sound_header, sound_url

_HOLDS_SECRETS = ("authorization", "cookie", "token", "key", "secret", "password", "auth")
"""A header field with such a word in its name is there for a secret."""


def http_relay(path: KeyPath, relay: HttpRelayTable, *, outside: bool) -> Iterator[Draft]:
    """All that can be wrong with one of them."""
    order, echo = relay.order, relay.echo
    yield from _request((*path, "order"), order)
    if order.method == "GET" and order.body:
        yield Draft(MAIN_FILE, (*path, "order", "body"), "get-with-body")
    if any(not letter.isprintable() and letter not in "\t\r\n" for letter in order.body):
        yield Draft(MAIN_FILE, (*path, "order", "body"), "request-text")
    if order.answer:
        yield from pointer_problem(MAIN_FILE, (*path, "order", "answer", "pointer"), order.answer.pointer)
        if not order.answer.word.strip():
            yield Draft(MAIN_FILE, (*path, "order", "answer", "word"), "answer-empty")
    if echo:
        yield from _request((*path, "echo"), echo)
        yield from pointer_problem(MAIN_FILE, (*path, "echo", "pointer"), echo.pointer)
        if echo.off == echo.on:
            yield Draft(MAIN_FILE, (*path, "echo", "on"), "same-words", echo.on, said={"words": "off and on"})
    if relay.meter:
        yield from pointer_problem(MAIN_FILE, (*path, "meter", "pointer"), relay.meter.pointer)
        if not echo:
            yield Draft(MAIN_FILE, (*path, "meter"), "echo-missing")
    yield from _secret(path, relay, outside=outside)
    yield from authorities((*path, "ca_file"), relay.ca_file, urls_of(relay), outside=outside)


def urls_of(relay: HttpRelayTable) -> tuple[str, ...]:
    """Where its requests go."""
    return (relay.order.url, relay.echo.url) if relay.echo else (relay.order.url,)


def _request(path: KeyPath, request: HttpOrder | HttpEcho) -> Iterator[Draft]:
    if not sound_url(request.url) or "{" in request.url:
        # What follows the question mark may hold a secret.
        yield Draft(MAIN_FILE, (*path, "url"), "request-url", request.url.partition("?")[0])
    for name, value in request.headers.items():
        if not sound_header(name):
            yield Draft(MAIN_FILE, (*path, "headers", name), "request-header", said={"name": f'"{name}"'})
        elif not value.isascii() or not value.isprintable() or value != value.strip() or not value:
            yield Draft(MAIN_FILE, (*path, "headers", name), "request-text")
        elif SECRET_PLACE not in value and any(word in name.lower() for word in _HOLDS_SECRETS):
            yield Draft(MAIN_FILE, (*path, "headers", name), "secret-in-settings")


def _secret(path: KeyPath, relay: HttpRelayTable, *, outside: bool) -> Iterator[Draft]:
    secret, name = relay.secret_file, relay.secret_credential
    key = (*path, "secret_file" if secret else "secret_credential")
    if secret and name:
        yield Draft(MAIN_FILE, (*path, "secret_credential"), "two-secrets")
    places = _places(relay)
    if places and not secret and not name:
        yield Draft(MAIN_FILE, (*path, *places[0]), "secret-without-file")
    if (secret or name) and not places:
        yield Draft(MAIN_FILE, key, "secret-unused")
    if secret:
        yield from named_secret((*path, "secret_file"), secret, outside=outside)
    if name:
        yield from credential((*path, "secret_credential"), name, outside=outside)


def _places(relay: HttpRelayTable) -> list[KeyPath]:
    """Where the secret is put in."""
    places: list[KeyPath] = [("order", "body")] if SECRET_PLACE in relay.order.body else []
    for key, request in (("order", relay.order), ("echo", relay.echo)):
        places += [(key, "headers", name) for name, value in (request.headers if request else {}).items() if SECRET_PLACE in value]
    return places


def http_relay_lacks(name: str, relay: HttpRelayTable) -> Iterator[str]:
    """One plain sentence for each thing that it leaves open."""
    if relay.order.answer is None and relay.echo is None:
        yield f"{name}: any answer with a status from 200 to 299 counts as taken, a page of errors too"
    secret = bool(relay.secret_file or relay.secret_credential)
    if all(_stays_here(url) for url in urls_of(relay)):
        return
    if not secret:
        yield f"{name}: no secret; anybody on its network may switch it"
    if any(url.startswith("http:") and not _stays_here(url) for url in urls_of(relay)):
        what = "its secret and all it says cross" if secret else "all it says crosses"
        yield f"{name}: http without TLS; {what} the network in the clear, and anybody there may answer in its place"


def _stays_here(url: str) -> bool:
    host = urlsplit(url).hostname or ""
    return host in {"localhost", "::1"} or host.startswith("127.")
