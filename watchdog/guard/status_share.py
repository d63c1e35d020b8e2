"""One status for all who ask at the same time: the loop makes it once, however many clients there are."""

import threading
from collections.abc import Callable
from typing import Final

from watchdog.core.tripping import BY_HAND
from watchdog.core.values import JsonObject
from watchdog.guard.inbox import Inbox, Question
from watchdog.guard.token_file import Token
from watchdog.wire.control import Request

FRESH_S: Final = 0.2
"""A status is handed out again for so long."""


class StatusShare:
    """From any thread. `None` is the answer of a loop that does not turn."""

    def __init__(self, inbox: Inbox, now: Callable[[], float], within_s: float) -> None:
        """The loop gets `within_s` seconds for its answer."""
        self._inbox, self._now, self._within_s = inbox, now, within_s
        self._lock = threading.Lock()
        self._asked: tuple[float, Question] | None = None

    def status(self) -> JsonObject | None:
        """The status of the whole site. Not to be changed: others have it, too."""
        at = self._now()
        with self._lock:
            asked_at, question = self._asked or (at, None)
            # One that the loop has not answered yet is as new as one that would be asked now.
            if question is None or (question.answered.is_set() and at - asked_at >= FRESH_S):
                question = Question(Request("status"))
                self._asked = (at, question)
                self._inbox.ask(question)
        if not question.answered.wait(self._within_s):
            return None
        found: JsonObject | None = question.reply.get("status")
        return found

    def outdated(self) -> None:
        """Something was done: who asks from now on must see it."""
        with self._lock:
            self._asked = None


def reasons_of(status: JsonObject | None) -> list[str]:
    """Why not every printer is protected, in sentences without their full stop; empty when all are.

    They are told without a token: what people said of themselves and of their reasons is left out.
    """
    if status is None:
        return ["the guard's loop does not answer: it is busy or stuck"]
    reasons = [] if status["printers"] else ["there is no printer in the settings"]
    for printer in status["printers"]:
        if printer["state"] == "tripped":
            latch = printer["latch"]
            why = "tripped by hand" if latch["check"] == BY_HAND else latch["reason"]
            reasons.append(f"{printer['name']} was tripped and is latched: {why}".rstrip("."))
        said = tuple(f" by {bypass['person']}: {bypass['reason']}" for bypass in printer["bypasses"])
        reasons += [f"{printer['name']}: {_without(why, said)}" for why in printer["why_not"]]
        if printer["state"] == "not protected" and not printer["why_not"]:
            reasons.append(f"{printer['name']} is not protected")
    return reasons


def _without(why: str, said: tuple[str, ...]) -> str:
    return next((why.removesuffix(end) for end in said if why.endswith(end)), why)


def as_seen_by(status: JsonObject, token: Token) -> JsonObject:
    """The part of a status that a token of some printers may see. Its state is that of these printers."""
    if not token.printers:
        return status
    printers = [entry for entry in status["printers"] if token.sees(entry["name"])]
    states = {entry["state"] for entry in printers}
    guard = status["guard"]
    return status | {
        "state": next((state for state in ("tripped", "not protected") if state in states), "protected" if printers else "not protected"),
        "idle": bool(printers) and all(entry["idle"] for entry in printers),
        "printers": printers,
        "relays": [entry for entry in status["relays"] if any(token.sees(name) for name in entry["printers"])],
        "failed_checks": [entry for entry in status["failed_checks"] if token.sees(entry["printer"])],
        "guard": guard | {"warnings": [entry for entry in guard["warnings"] if not entry["printer"] or token.sees(entry["printer"])]},
    }
