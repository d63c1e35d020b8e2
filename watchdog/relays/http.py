"""A plug or relay board with an HTTP interface."""

from typing import TYPE_CHECKING, Final, Literal

from watchdog.fetch.breaker import Breaker, BrokenOffError
from watchdog.fetch.failure import LATE, NoAnswerError
from watchdog.fetch.lookup import Lookup
from watchdog.fetch.secret import secret_of
from watchdog.relays.around import Around
from watchdog.relays.http_check import check
from watchdog.relays.payload import resolver, shown, text_of, watts_of
from watchdog.relays.worker import Told, Worker
from watchdog.settings.addresses import SECRET_PLACE, HttpRelay
from watchdog.settings.web import host_and_port

if TYPE_CHECKING:
    from collections.abc import Mapping

    from watchdog.fetch.client import Answer, Client

TELLING_S: Final = 0.05
"""Kept back from the time limit, in seconds: within the limit it is also told what came of a request."""

HIDDEN: Final = "(secret)"


class HttpDriver(Worker):
    """Sends one request at a time, each over a new connection, and wants the whole answer within the time limit.

    A status from 200 to 299 and, where the settings say so, the right word in the answer mean that the command was
    taken; only the echo says that the relay is off. Requests go out as they stand in the settings, with the secret
    put in: nothing that was heard from outside can reach them. The secret is in no report and in no log.
    """

    def __init__(self, name: str, address: HttpRelay, around: Around) -> None:
        """Raises ValueError when the address cannot work. Nothing is loaded or looked up yet."""
        check(address)
        asks = address.echo is not None
        super().__init__(name, around, asks=asks, ask_every_s=address.ask_every_s, longest_s=address.time_limit_s)
        self._address = address
        order, echo, meter = address.order, address.echo, address.meter
        self._urls = (order.url, echo.url) if echo else (order.url,)
        self._answer_pointer = resolver(order.answer.pointer) if order.answer else None
        self._echo_pointer = resolver(echo.pointer) if echo else None
        self._meter_pointer = resolver(meter.pointer) if meter else None
        self._lookups: dict[tuple[str, int], Lookup] = {}
        self._client: Client | None = None
        self._secret = ""
        self._asking = Breaker()

    def _prepare(self) -> None:
        """The client, the names and the secret are at hand before the first OFF."""
        for url in self._urls:
            self._lookup(*host_and_port(url)).ahead()
        self._ready_client()
        self._read_secret()

    def _hurry(self) -> None:
        self._asking.break_off()

    def _words(self, error: Exception) -> str:
        return self._hide(super()._words(error))

    def _send_off(self) -> str:
        order = self._address.order
        answer = self._fetch(order.method, order.url, order.headers, order.body, Breaker())
        if isinstance(answer, str):
            return answer
        wanted = order.answer
        if wanted is None or text_of(answer.body, self._answer_pointer) == wanted.word:
            return ""
        return f"its answer says {self._found(answer.body, wanted.pointer)}, not {wanted.word!r}"

    def _ask(self) -> Told:
        echo, meter = self._address.echo, self._address.meter
        assert echo is not None
        try:
            answer = self._fetch("GET", echo.url, echo.headers, "", self._breakable())
        except BrokenOffError:
            return Told(stopped=True)
        if isinstance(answer, str):
            return Told(f"asking failed: {answer}")
        word = text_of(answer.body, self._echo_pointer)
        if word not in {echo.off, echo.on}:
            return Told(f"asking failed: its answer says {self._found(answer.body, echo.pointer)}, not {echo.off!r} or {echo.on!r}")
        state: Literal["off", "on"] = "off" if word == echo.off else "on"
        if meter is None:
            return Told(state=state, settled=state == "off")
        watts = watts_of(answer.body, self._meter_pointer, meter.standby_w)
        if watts is None:
            return Told(f"its answer holds no power: it says {self._found(answer.body, meter.pointer)}", state)
        return Told("", state, watts, settled=state == "off" and watts <= meter.standby_w)

    def _look(self) -> str | None:
        """It is only seen whether it takes a connection, and over TLS whether it is who it should be."""
        url = self._address.order.url
        try:
            self._ready_client().reach(*host_and_port(url), self._until(), self._breakable(), tls=url.startswith("https:"))
        except BrokenOffError:
            return None
        except NoAnswerError as error:
            return self._why(error)
        return ""

    def _fetch(self, method: str, url: str, headers: "Mapping[str, str]", body: str, breaker: Breaker) -> "Answer | str":
        """The answer, or why there is none that counts."""
        until = self._until()
        from watchdog.fetch.client import Request, status_words  # noqa: PLC0415 - see _ready_client

        why = self._read_secret()
        if why:
            return why
        filled = {name: value.replace(SECRET_PLACE, self._secret) for name, value in headers.items()}
        try:
            answer = self._ready_client().fetch(Request(method, url, filled, body.replace(SECRET_PLACE, self._secret)), until, breaker)
        except NoAnswerError as error:
            return self._why(error)
        return answer if 200 <= answer.status < 300 else self._hide(status_words(answer))  # noqa: PLR2004 - the good ones of HTTP

    def _ready_client(self) -> "Client":
        """Loaded so late because it takes longer than all else on the way to a guard that is armed."""
        if self._client is None:
            from watchdog.fetch.client import Client  # noqa: PLC0415 - see above

            client = Client(self._around.now, self._lookup, ca_file=self._address.ca_file)
            self._client = client
            client.prepare(tls=any(url.startswith("https:") for url in self._urls))
        return self._client

    def _lookup(self, host: str, port: int) -> Lookup:
        if (host, port) not in self._lookups:
            self._lookups[host, port] = Lookup(host, port)
        return self._lookups[host, port]

    def _read_secret(self) -> str:
        """Read anew each time, so that a changed one needs no restart; the last good one serves while there is none."""
        try:
            self._secret = secret_of(self._address.secret_file, self._address.secret_credential)
        except NoAnswerError as error:
            return "" if self._secret else str(error)
        return ""

    def _breakable(self) -> Breaker:
        """For a request that is no OFF. Whoever wants it to end sees this one, or is seen here."""
        self._asking = Breaker()
        if self._wanted():
            self._asking.break_off()
        return self._asking

    def _until(self) -> float:
        limit_s = self._address.time_limit_s
        return self._around.now() + limit_s - min(TELLING_S, limit_s / 10)

    def _found(self, body: bytes, pointer: str) -> str:
        """What stands there in place of what should; the secret may have come back in it."""
        word = text_of(body, resolver(pointer))
        at = f" at {pointer}" if pointer else ""
        if word is None:
            return f"nothing fit{at} in {shown(self._hide(body.decode('utf-8', 'replace')).encode())}"
        return f"{shown(self._hide(word).encode())}{at}"

    def _why(self, error: NoAnswerError) -> str:
        return f"no whole answer within {self._address.time_limit_s:g} s" if error.kind == LATE else self._hide(str(error))

    def _hide(self, text: str) -> str:
        return text.replace(self._secret, HIDDEN) if self._secret else text
