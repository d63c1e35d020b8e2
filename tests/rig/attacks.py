"""What the front may have to bear: connections that never finish, a huge body, posts without pause. In a process of their own."""

import http.client
import os
import socket
import threading
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Final

import orjson

HALF_OPEN: Final = 400
CRUMB_EVERY_S: Final = 0.2
HUGE: Final = 200_000_000
PIECE: Final = bytes(65536)
POSTING: Final = 16
BATCH: Final = 200

Stop = threading.Event


def half_open(port: int, _token: str, stop: Stop) -> None:
    """`HALF_OPEN` connections with half a request, a byte more now and then; those that are closed are opened again."""
    held: list[socket.socket | None] = [None] * HALF_OPEN
    while not stop.is_set():
        for place in range(HALF_OPEN):
            if stop.is_set():
                break
            known = held[place]
            try:
                if known is None:
                    held[place] = known = socket.create_connection(("127.0.0.1", port), timeout=1.0)
                    known.sendall(b"GET /api/v1/status HTTP/1.1\r\nHost: localhost\r\nX-Crumb: ")
                else:
                    known.sendall(b"a")
            except OSError:
                if known is not None:
                    known.close()
                held[place] = None
        stop.wait(CRUMB_EVERY_S)
    for known in held:
        if known is not None:
            known.close()


def huge_body(port: int, token: str, stop: Stop) -> None:
    """A body of 200 MB, again and again, as far as it is taken."""
    head = (
        f"POST /api/v1/readings HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {token}\r\nContent-Type: application/json\r\n"
        f"Content-Length: {HUGE}\r\n\r\n"
    ).encode()
    while not stop.is_set():
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=2.0) as poster:
            poster.sendall(head)
            for _ in range(HUGE // len(PIECE)):
                if stop.is_set():
                    break
                poster.sendall(PIECE)


def posting(port: int, token: str, stop: Stop) -> None:
    """`POSTING` connections that post readings without pause: every second one single readings, the others batches."""
    threads = [threading.Thread(target=_post, args=(port, token, stop, BATCH if number % 2 else 1)) for number in range(POSTING)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def _post(port: int, token: str, stop: Stop, count: int) -> None:
    items = [{"printer": "cinder", "heater": "bed", "temperature_c": 24.0 + place % 3, "target_c": 0} for place in range(count)]
    body, headers = orjson.dumps(items), {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    while not stop.is_set():
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10.0)
        with suppress(OSError, http.client.HTTPException):
            while not stop.is_set():
                connection.request("POST", "/api/v1/readings", body, headers)
                connection.getresponse().read()
        connection.close()


ATTACKS: Final = {"half open": half_open, "huge body": huge_body, "posting": posting}


def attacker(port: int, token: str, line: Connection) -> None:
    """Attacks by the name that comes over the line, until the next word comes."""
    os.nice(5)
    with suppress(EOFError):
        while True:
            name = line.recv()
            stop = Stop()
            thread = threading.Thread(target=ATTACKS[name], args=(port, token, stop))
            thread.start()
            line.recv()
            stop.set()
            thread.join()
            line.send("ended")
