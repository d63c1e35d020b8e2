"""What the guard answers to its clients. Runs in the loop's thread: copies, never waits."""

from collections.abc import Callable

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reset, TripByHand
from watchdog.core.outputs import Event, Output
from watchdog.core.status import site_status
from watchdog.core.values import JsonObject
from watchdog.guard.hands import Hands
from watchdog.guard.inbox import Question
from watchdog.wire.control import Request


class Answers:
    """Answers questions about one engine, and carries out what people ask for."""

    def __init__(self, engine: Engine, hands: Hands, *, now: Callable[[], float], about_guard: Callable[[], JsonObject]) -> None:
        self._engine, self._hands, self._now, self._about_guard = engine, hands, now, about_guard
        self._started_at = engine.now

    def answer(self, question: Question) -> None:
        """Always answers, also when something goes wrong."""
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
        if not request.person.strip() or not request.reason.strip():
            return {"ok": False, "error": "this needs the name of a person and a reason, both go on record"}
        return self._trip(request) if request.ask == "trip" else self._reset(request)

    def _status(self) -> JsonObject:
        status = site_status(self._engine.site, self._started_at) | {"guard": self._about_guard()}
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

    def _do(self, outputs: list[Output]) -> None:
        self._hands.carry_out(outputs)
