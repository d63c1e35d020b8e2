"""What the guard answers to its clients. Runs in the loop's thread: copies, never waits."""

from collections.abc import Callable

from watchdog.core.bypassing import MINUTE_S
from watchdog.core.engine import Engine
from watchdog.core.inputs import Bypass, EndBypass, Reset, TripByHand
from watchdog.core.outputs import Event, Output
from watchdog.core.status import site_status
from watchdog.core.values import JsonObject
from watchdog.guard.hands import Hands
from watchdog.guard.inbox import Question
from watchdog.wire.control import Ask, Request


class Answers:
    """Answers questions about one engine, and carries out what people ask for."""

    def __init__(self, engine: Engine, hands: Hands, *, now: Callable[[], float], about_guard: Callable[[], JsonObject]) -> None:
        self._engine, self._hands, self._now, self._about_guard = engine, hands, now, about_guard
        self._started_at = engine.now
        self._acts: dict[Ask, Callable[[Request], JsonObject]] = {
            "trip": self._trip,
            "reset": self._reset,
            "bypass": self._bypass,
            "end bypass": self._end_bypass,
        }

    def answer(self, question: Question) -> None:
        """Always answers, also when something goes wrong; nobody who has withdrawn the question."""
        if not question.take_up():
            return
        try:
            reply = self._reply(question.request)
        except Exception as error:  # noqa: BLE001 - a question must not end the loop
            reply = {"ok": False, "error": f"the guard could not answer: {error!r}"}
        question.answer(reply)

    def _reply(self, request: Request) -> JsonObject:
        site = self._engine.site
        if request.ask == "status":
            return {"ok": True, "status": self._status()}
        if request.ask == "headroom":
            return {"ok": True, "headroom": self._engine.take_headroom()}
        if request.printer not in site.printers:
            known = ", ".join(site.printers) or "none"
            return {"ok": False, "error": f"there is no printer {request.printer!r}; there are: {known}"}
        if not request.person.strip() or not (request.reason.strip() or request.ask == "end bypass"):
            return {"ok": False, "error": "this needs the name of a person and a reason, both go on record"}
        return self._acts[request.ask](request)

    def _status(self) -> JsonObject:
        status = site_status(self._engine.site, self._started_at, self._now()) | {"guard": self._about_guard()}
        for printer in status["printers"]:
            if printer["latch"] is not None and not printer["latch"]["at_wall"]:
                printer["latch"]["at_wall"] = self._hands.since(printer["name"])
        return status

    def _trip(self, request: Request) -> JsonObject:
        already = self._engine.site.printers[request.printer].latch is not None
        self._do(self._engine.feed(TripByHand(request.printer, self._now(), request.person, request.reason)))
        latch = self._engine.site.printers[request.printer].latch
        assert latch is not None
        return {"ok": True, "trip": latch.trip, "already": already, "relays": list(latch.relays)}

    def _reset(self, request: Request) -> JsonObject:
        command = Reset(request.printer, self._now(), request.person, request.reason, request.unread, request.vouched)
        outputs = self._engine.feed(command)
        self._do(outputs)
        events = [output for output in outputs if isinstance(output, Event)]
        refused = [event.sentence for event in events if event.kind == "reset refused"]
        if refused:
            return {"ok": False, "error": refused[-1]}
        return {"ok": True, "probation": any(event.kind == "probation" for event in events)}

    def _bypass(self, request: Request) -> JsonObject:
        seconds = request.minutes * MINUTE_S
        command = Bypass(request.printer, self._now(), _check(request), request.person, request.reason, seconds, request.long)
        before = self._engine.site.printers[request.printer].bypasses.running.get(command.check)
        outputs = self._engine.feed(command)
        self._do(outputs)
        refused = [output.sentence for output in outputs if isinstance(output, Event) and output.kind == "bypass refused"]
        if refused:
            return {"ok": False, "error": refused[-1]}
        replaced = None if before is None or before.until <= command.at else {"person": before.person, "reason": before.reason}
        return {"ok": True, "check": command.check, "left_s": seconds, "replaced": replaced}

    def _end_bypass(self, request: Request) -> JsonObject:
        check = _check(request)
        running = list(self._engine.site.printers[request.printer].bypasses.running)
        ended = [name for name in running if check in ("", name)]
        if not ended:
            return {"ok": False, "error": f"nothing of {request.printer} is bypassed{f' by the name of {check}' * bool(check)}"}
        self._do(self._engine.feed(EndBypass(request.printer, self._now(), request.person, check)))
        return {"ok": True, "ended": ended, "still": [name for name in running if name not in ended]}

    def _do(self, outputs: list[Output]) -> None:
        self._hands.carry_out(outputs)


def _check(request: Request) -> str:
    """A check by its name, however the words are joined: as in settings files, or as people see it."""
    return " ".join(request.check.replace("_", " ").replace("-", " ").split())
