"""What the second socket answers: who asks is checked first, then the loop is asked. Runs in the clients' threads."""

from collections.abc import Callable, Collection, Sequence
from typing import Final, Protocol

from watchdog.core.outputs import Level
from watchdog.core.values import JsonObject
from watchdog.guard.inbox import Inbox, Question
from watchdog.guard.status_share import StatusShare, as_seen_by, reasons_of
from watchdog.guard.token_file import Token
from watchdog.guard.tokens import Tokens
from watchdog.guard.turnstile import Pace, Turnstile
from watchdog.wire.control import Ask, Request, encode_reply
from watchdog.wire.front import SCOPE_OF, FrontRequest, Refused, decode_front_request, encode_refusal
from watchdog.wire.plain_text import printable

ANSWER_WITHIN_S: Final = 5.0

CHUNK: Final = 20
"""Readings of a client that may wait for the loop at a time."""

LOOP_FIRST_S: Final = 0.05
LOOK_S: Final = 0.001
"""Before each chunk the loop gets so long to see to what waits, looked at so often."""

ACT_EVERY_S: Final = 0.2
ACT_WAITS_S: Final = 2.0
"""Acts of one token: each goes on record, and none may fill it."""

LONGEST_PERSON: Final = 100
LONGEST_REASON: Final = 500

TOO_MANY_ACTS: Final = Refused("busy", "too many acts with this token at once: wait a few seconds")
NOT_RESET: Final = Refused("busy", f"the guard did not answer within {ANSWER_WITHIN_S:.0f} s: its loop is busy or stuck; nothing was done")
TRIP_WAITS: Final = Refused(
    "busy", f"the guard did not answer within {ANSWER_WITHIN_S:.0f} s: it trips as soon as its loop turns. CUT THE POWER BY HAND"
)
NO_STATUS: Final = Refused("busy", f"the guard did not answer within {ANSWER_WITHIN_S:.0f} s: its loop is busy or stuck")


class Refusal(Protocol):
    """An item that was not taken, or not wholly."""

    @property
    def index(self) -> int: ...

    @property
    def why(self) -> str: ...


Take = Callable[[list[JsonObject]], tuple[int, Sequence[Refusal]]]
"""Gives readings to the guard; how many were taken, and what was refused. Never raises, from any thread."""


class FrontDesk:
    """Answers lines with lines."""

    def __init__(
        self,
        tokens: Tokens,
        inbox: Inbox,
        take: Take,
        printers: Collection[str],
        *,
        now: Callable[[], float],
        tell: Callable[[Level, str], None],
    ) -> None:
        """`tell` gets a level and a sentence for the record."""
        self._tokens, self._inbox, self._take, self._printers = tokens, inbox, take, printers
        self._tell = tell
        self._share = StatusShare(inbox, now, ANSWER_WITHIN_S)
        self._turnstile = Turnstile(now)
        self._acts = Pace(now, ACT_EVERY_S, ACT_WAITS_S)
        self._told = Pace(now, 60.0, 0.0)

    def answer(self, line: bytes) -> bytes:
        """The reply to one request, whatever the request is."""
        with self._turnstile:
            request = decode_front_request(line)
            token = self._tokens.verify(request.token) if isinstance(request, FrontRequest) and request.ask != "readiness" else None
        if isinstance(request, Refused):
            return encode_refusal(request)
        if isinstance(token, Refused):
            return encode_refusal(token)
        reply = self._readiness() if token is None else self._of(request, token)
        if isinstance(reply, Refused):
            return encode_refusal(reply)
        if request.ask != "status":
            return encode_reply(reply)
        with self._turnstile:  # of a large site it is long
            return encode_reply(reply)

    def _readiness(self) -> JsonObject:
        self._tokens.look()
        reasons = reasons_of(self._share.status())
        if self._tokens.why:
            reasons.append(f"no token is good: {self._tokens.why}")
        return {"ok": True, "ready": not reasons, "reasons": reasons}

    def _of(self, request: FrontRequest, token: Token) -> JsonObject | Refused:
        scope = SCOPE_OF[request.ask]
        if scope is not None and scope not in token.scopes:
            return self._refused(token, Refused("no scope", f"the token '{token.name}' has no scope '{scope}'"), request)
        if request.ask == "verify":
            return {"ok": True, "name": token.name, "scopes": list(token.scopes), "printers": list(token.printers)}
        if request.ask == "status":
            status = self._share.status()
            return NO_STATUS if status is None else {"ok": True, "status": as_seen_by(status, token)}
        if request.ask == "readings":
            return self._readings(request.readings, token)
        return self._act(request, token)

    def _refused(self, token: Token, refused: Refused, request: FrontRequest) -> Refused:
        """Told for the record, of each token now and then: who holds a token must not be able to fill it."""
        if request.ask in {"trip", "reset"} and self._told.wait(token.sha256):
            self._tell("warning", f"{request.ask} of {printable(request.printer, 40)} refused: {refused.error}")
        return refused

    def _readings(self, items: list[JsonObject], token: Token) -> JsonObject:
        accepted, refused = 0, []
        places = [place for place, item in enumerate(items) if _may(item, token)]
        if len(places) < len(items):
            mine = set(places)
            why = f"the token '{token.name}' is good for {', '.join(token.printers)} alone"
            refused = [{"index": place, "why": why} for place in range(len(items)) if place not in mine]
        for begin in range(0, len(places), CHUNK):
            chunk = places[begin : begin + CHUNK]
            self._inbox.settle(LOOP_FIRST_S, LOOK_S)
            with self._turnstile:
                taken, refusals = self._take([items[place] for place in chunk])
            accepted += taken
            refused += [{"index": chunk[refusal.index], "why": refusal.why} for refusal in refusals]
        return {"ok": True, "accepted": accepted, "refused": sorted(refused, key=_index)}

    def _act(self, request: FrontRequest, token: Token) -> JsonObject | Refused:
        if not token.sees(request.printer):
            allowed = f"the token '{token.name}' is good for {', '.join(token.printers)} alone"
            return self._refused(token, Refused("no scope", allowed), request)
        if request.printer not in self._printers:
            known = ", ".join(name for name in self._printers if token.sees(name)) or "none"
            return Refused("unknown printer", f"there is no printer {printable(request.printer, 40)!r}; there are: {known}")
        if not self._acts.wait(token.sha256):
            return TOO_MANY_ACTS
        # Whatever is too long or cannot be shown is cut or escaped and not refused: a trip may be urgent.
        person = f"{printable(request.person.strip(), LONGEST_PERSON)} by token '{token.name}'"
        reason = printable(request.reason.strip(), LONGEST_REASON)
        ask: Ask = "trip" if request.ask == "trip" else "reset"
        question = Question(Request(ask, request.printer, person, reason, request.unread, request.vouched))
        self._inbox.ask(question)
        answered = question.answered.wait(ANSWER_WITHIN_S)
        if not answered and ask == "reset" and not question.withdraw():
            answered = question.answered.wait(ANSWER_WITHIN_S)  # it is just being done
        self._share.outdated()
        if not answered:
            return TRIP_WAITS if ask == "trip" else NOT_RESET
        return question.reply if question.reply["ok"] else Refused("refused", question.reply["error"])


def _may(item: object, token: Token) -> bool:
    """Whether the token is good for the printer of an item; what names no printer is judged like any other item."""
    printer = item.get("printer") if isinstance(item, dict) else None
    return not isinstance(printer, str) or token.sees(printer)


def _index(refused: JsonObject) -> int:
    index: int = refused["index"]
    return index
