"""The guard's first control socket: for the command line. Its file permissions are its authority."""

import logging
import socketserver
import threading
from pathlib import Path

from watchdog.guard.inbox import Inbox, Question
from watchdog.guard.unix_server import UnixServer
from watchdog.wire.control import MAX_LINE, decode_request, encode_reply

log = logging.getLogger("heatwarden")

MOST_CLIENTS = 16
IDLE_S = 10.0
ANSWER_WITHIN_S = 5.0


class ControlSocket:
    """A Unix socket, mode 0600. One request a line, one reply a line; the loop never waits for a client."""

    def __init__(self, path: Path, inbox: Inbox) -> None:
        path.unlink(missing_ok=True)
        slots = threading.BoundedSemaphore(MOST_CLIENTS)

        class Client(socketserver.StreamRequestHandler):
            timeout = IDLE_S

            def handle(self) -> None:
                if not slots.acquire(blocking=False):
                    self.wfile.write(encode_reply({"ok": False, "error": "too many clients at once; try again"}))
                    return
                try:
                    while line := self.rfile.readline(MAX_LINE + 1):
                        self.wfile.write(encode_reply(_ask(inbox, line)))
                except (TimeoutError, OSError):
                    return  # a slow or vanished client is dropped
                finally:
                    slots.release()

        class Server(UnixServer):
            request_queue_size = MOST_CLIENTS

            def handle_error(self, request: object, client_address: object) -> None:
                del request, client_address
                log.exception("a client of the control socket failed")  # noqa: LOG004 - called from within the handler

        self._path = path
        self._server = Server(str(path), Client, bind_and_activate=False)
        self._server.server_bind()
        path.chmod(0o600)
        self._server.server_activate()
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.5}, name="control", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self) -> None:
        """Listen no more."""
        self._server.shutdown()
        self._server.server_close()
        self._path.unlink(missing_ok=True)


def _ask(inbox: Inbox, line: bytes) -> dict[str, object]:
    request = decode_request(line)
    if isinstance(request, str):
        return {"ok": False, "error": request}
    question = Question(request)
    inbox.ask(question)
    if not question.answered.wait(ANSWER_WITHIN_S):
        return {"ok": False, "error": f"the guard did not answer within {ANSWER_WITHIN_S:.0f} s: its loop is busy or stuck"}
    return question.reply
