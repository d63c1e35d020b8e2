"""A paho client that is set up to tell the truth: clean sessions, verified TLS, a thread that does not die."""

import os
import socket
import ssl
import sys
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, Final

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from watchdog.settings.addresses import Broker
from watchdog.sources.ahead import ReadsAhead
from watchdog.wire.bounded import BoundedPackets

CONNECT_WITHIN_S: Final = 5.0
LONGEST_WAIT_S: Final = 4
"""A broker that comes back is found within five seconds; one that refuses us is asked no more than some fifteen times a minute."""
LARGEST_PACKET_BYTES: Final = 256 * 1024
"""What an MQTT 5 broker may send us at all. Above the largest payload allowed, so that moderate excess is seen and counted."""


class NotConnectableError(OSError):
    """Something the connection needs on our side is missing: a password, a certificate. Never connected without it."""


class TirelessClient(ReadsAhead, BoundedPackets, Client):
    """A paho client whose network thread outlives every exception, and which reads its secrets at each connect.

    A failure to prepare (password, certificates) is an OSError like any other failure to connect: paho waits and tries again.
    """

    def __init__(self, broker: Broker, client_id: str, on_failure: Callable[[str, Exception], None]) -> None:
        five = broker.protocol == "5"
        super().__init__(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=None if five else True,
            protocol=MQTTv5 if five else MQTTv311,
        )
        self._broker = broker
        self._on_failure = on_failure
        self._tls_ready = broker.tls is None
        self._finish = threading.Event()
        self.network_thread: threading.Thread | None = None
        self.connect_timeout = CONNECT_WITHIN_S
        self.reconnect_delay_set(min_delay=1, max_delay=LONGEST_WAIT_S)
        self.on_pre_connect = self._prepare
        self.on_socket_open = self._opened
        self._acknowledge: Callable[[], object] = lambda: None
        self._aim()

    def loop_forever(self, timeout: float = 1.0, retry_first_connection: bool = False) -> MQTTErrorCode:  # noqa: FBT001, FBT002 - paho's own
        """Paho's loop, begun anew after any exception until `finish`."""
        self.network_thread = threading.current_thread()
        while True:
            try:
                code = super().loop_forever(timeout, retry_first_connection)
            except Exception as problem:  # noqa: BLE001 - the one thread that brings readings must not die
                code = MQTTErrorCode.MQTT_ERR_UNKNOWN
                self._on_failure("network thread", problem)
            if self._finish.wait(0.0):
                return code
            self._finish.wait(1.0)
            self._aim()

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Paho's, and what was received is acknowledged now, not within the 40 ms that TCP may take.

        A broker with Nagle's algorithm on, as they come, keeps its next message until then.
        """
        code = super().loop_read(max_packets)
        try:
            self._acknowledge()
        except OSError:
            return code  # the connection is gone, as paho will notice
        return code

    def finish(self, within_s: float) -> bool:
        """Disconnect and let the network thread end; true if it did so in time."""
        self._finish.set()
        self.disconnect()
        thread = self.network_thread
        if thread is not None and thread is not threading.current_thread():
            thread.join(within_s)
            if thread.is_alive():
                return False
            self._let_go()
        return True

    def _let_go(self) -> None:
        """Hold nobody who holds us, so that all sockets are closed as soon as the owner goes."""
        self.on_pre_connect = self.on_socket_open = self.on_connect = self.on_connect_fail = None
        self.on_disconnect = self.on_subscribe = self.on_message = None
        self._on_failure = lambda *_: None

    def reconnect(self) -> MQTTErrorCode:
        """Paho's, but never again once finished."""
        if self._finish.is_set():
            self.disconnect()
            raise NotConnectableError("stopped")
        return super().reconnect()

    def _aim(self) -> None:
        five = self._broker.protocol == "5"
        properties = None
        if five:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho's
            properties.SessionExpiryInterval = 0
            properties.MaximumPacketSize = LARGEST_PACKET_BYTES
        options: dict[str, Any] = {"clean_start": True, "properties": properties} if five else {}
        self.connect_async(self._broker.host, self._broker.port, self._broker.keepalive_s, **options)

    def _opened(self, _client: Client, _userdata: object, opened: Any) -> None:  # noqa: ANN401 - a socket, plain or TLS
        self.forget_ahead()
        try:
            opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        except OSError:
            return  # only speed is lost
        if hasattr(socket, "TCP_QUICKACK"):
            self._acknowledge = partial(opened.setsockopt, socket.IPPROTO_TCP, socket.TCP_QUICKACK, 1)

    def _prepare(self, _client: Client, _userdata: object) -> None:
        if self._broker.user:
            self.username_pw_set(self._broker.user, _password(self._broker))
        if not self._tls_ready:
            self.tls_set_context(_tls_context(self._broker))
            self._tls_ready = True


def _password(broker: Broker) -> str | None:
    """The password as it stands now in its file or systemd credential; None if the broker has none."""
    if broker.password_credential:
        folder = os.environ.get("CREDENTIALS_DIRECTORY", "")
        if not folder:
            raise NotConnectableError(f"password credential {broker.password_credential}: systemd gave this service no credentials")
        path = Path(folder) / broker.password_credential
    elif broker.password_file:
        path = Path(broker.password_file)
    else:
        return None
    try:
        return path.read_text(encoding="utf-8").rstrip("\r\n")
    except OSError as problem:
        raise NotConnectableError(f"password file {path} cannot be read: {problem.strerror}") from problem
    except UnicodeDecodeError as problem:
        raise NotConnectableError(f"password file {path} is not UTF-8 text") from problem


def _tls_context(broker: Broker) -> ssl.SSLContext:
    tls = broker.tls
    assert tls is not None
    try:
        context = ssl.create_default_context(cafile=tls.ca_file or None)
        if tls.certificate_file:
            context.load_cert_chain(tls.certificate_file, tls.key_file or None)
    except (OSError, ValueError) as problem:
        named = ", ".join(name for name in (tls.ca_file, tls.certificate_file, tls.key_file) if name)
        raise NotConnectableError(f"TLS files ({named}) cannot be used: {problem}") from problem
    return context


def failure_in_hand() -> str:
    """Why the connection being given up just now failed; for paho's on_connect_fail, which is not told."""
    problem = sys.exception()
    if problem is None:
        return "no connection"
    if isinstance(problem, ssl.SSLCertVerificationError):
        return f"certificate refused: {problem.verify_message}"
    if isinstance(problem, ssl.SSLError):
        return f"TLS failed: {problem.reason or problem}"
    if isinstance(problem, TimeoutError):
        return "no answer in time"
    if isinstance(problem, OSError):
        return problem.strerror or str(problem)
    return f"{type(problem).__name__}: {problem}"
