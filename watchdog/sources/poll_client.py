"""Asks one page over HTTP. Loaded by the thread that polls: a guard without pages need not carry an HTTP client."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Final

from watchdog.fetch.breaker import Breaker
from watchdog.fetch.client import Client, Request, status_words
from watchdog.fetch.failure import LATE, NoAnswerError
from watchdog.fetch.lookup import Lookup
from watchdog.fetch.secret import secret_of
from watchdog.settings.addresses import Page

_ACCEPT: Final = {"Accept": "application/json, text/plain;q=0.9, */*;q=0.1"}


class PageClient:
    """Asks one page. One request at a time; the connection is kept for the next one."""

    def __init__(self, page: Page, now: Callable[[], float]) -> None:
        """Nothing is asked or read yet."""
        self._page, self._now = page, now
        self._lookups: dict[tuple[str, int], Lookup] = {}
        self._client = Client(now, self._lookup, ca_file=page.ca_file, keep=True)
        self._breaker = Breaker()
        self._over = False

    def ask(self) -> bytes:
        """The body of one answer that is 200, whole, in time, plain and not too long. Raises NoAnswerError for any other."""
        page = self._page
        secret = secret_of(page.secret_file, page.secret_credential)
        request = Request("GET", page.url, _ACCEPT | ({page.header: secret} if secret else {}))
        self._breaker = Breaker()
        if self._over:
            self._breaker.break_off()
        try:
            answer = self._client.fetch(request, self._now() + page.time_limit_s, self._breaker)
        except NoAnswerError as problem:
            if problem.kind == LATE:
                raise NoAnswerError(LATE, f"no whole answer within {page.time_limit_s:g} s") from None
            raise
        if answer.status != HTTPStatus.OK:
            raise NoAnswerError(f"status {answer.status}", status_words(answer))
        return answer.body

    def interrupt(self) -> None:
        """Let the request under way end at once, and no other begin; from any thread."""
        self._over = True
        self._breaker.break_off()

    def close(self) -> None:
        """Let go of the connection."""
        self._client.close()

    def _lookup(self, host: str, port: int) -> Lookup:
        if (host, port) not in self._lookups:
            self._lookups[host, port] = Lookup(host, port)
        return self._lookups[host, port]
