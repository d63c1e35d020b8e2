"""A relay board on a serial line, played on a pseudo-terminal: it answers lines of text, and it can be slow, mute or garbled."""

import os
import select
import threading
import tty
from types import TracebackType
from typing import Self


class SerialBoard:
    """Its port is `port`. `closed` are the channels whose contacts conduct, `heard` every line it was given.

    `mute` answers nothing. `before_answers` is sent ahead of each answer: noise, or an answer that comes late. `slow_s` is how long it
    thinks. `stuck` answers as if, and moves nothing.
    """

    def __init__(self, *, closed: tuple[int, ...] = (1, 2)) -> None:
        self.closed = set(closed)
        self.heard: list[str] = []
        self.mute = self.stuck = False
        self.before_answers = b""
        self.slow_s = 0.0
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)  # as a line without a terminal at its end
        self.port = os.ttyname(self._slave)
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._serve, name="serial board", daemon=True)

    def _serve(self) -> None:
        rest = b""
        while not self._ending.is_set():
            if not select.select([self._master], [], [], 0.02)[0]:
                continue
            *lines, rest = (rest + os.read(self._master, 256)).split(b"\n")
            for line in lines:
                self.heard.append(line.decode("ascii", "replace"))
                self._answer(line.decode("ascii", "replace").split())

    def _answer(self, words: list[str]) -> None:
        if self.mute or len(words) != 2 or not words[1].isdigit():
            return
        order, channel = words[0], int(words[1])
        self._ending.wait(self.slow_s)
        shown = set(self.closed)
        if order == "open":
            shown.discard(channel)
        elif order == "close":
            shown.add(channel)
        if not self.stuck:
            self.closed = shown
        state = "closed" if channel in shown else "open"
        os.write(self._master, self.before_answers + f"{channel} {state}\n".encode())

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._ending.set()
        self._thread.join()
        os.close(self._master)
        os.close(self._slave)
