"""A real mosquitto on a free loopback port, with certificates where they are asked for."""

import contextlib
import signal
import socket
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pytest
from paho.mqtt.client import Client, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

MOSQUITTO = Path("/usr/sbin/mosquitto")
STARTS_WITHIN_S = 5.0


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(condition: Any, within_s: float = 5.0) -> bool:
    """True as soon as `condition()` is; false if it was not within `within_s`."""
    pause = threading.Event()
    for _ in range(int(within_s / 0.01) + 1):
        if condition():
            return True
        pause.wait(0.01)
    return bool(condition())


class MosquittoBroker:
    """One broker. `config` are further lines of its configuration; a listener line is put in unless one is given."""

    def __init__(self, folder: Path, config: str = "allow_anonymous true\n", port: int = 0) -> None:
        if not MOSQUITTO.exists():
            pytest.skip(f"no mosquitto at {MOSQUITTO}; install it to run the tests with a real broker")
        self.port = port or free_port()
        self.folder = folder
        self.process: subprocess.Popen[bytes] | None = None
        self.configure(config)

    @property
    def host(self) -> str:
        """Where it can be reached."""
        return "127.0.0.1"

    def configure(self, config: str) -> None:
        """Takes effect at the next start."""
        # As root mosquitto would drop to its own user and lose sight of the test's files.
        lines = f"listener {self.port} 127.0.0.1\npersistence false\nuser root\nlog_type all\n{config}"
        (self.folder / "mosquitto.conf").write_text(lines)

    def start(self) -> Self:
        with (self.folder / "mosquitto.log").open("ab") as log:
            self.process = subprocess.Popen([MOSQUITTO, "-c", self.folder / "mosquitto.conf"], stdout=log, stderr=log)
        if not wait_for(self._answers, STARTS_WITHIN_S):
            self.stop()
            raise RuntimeError(f"mosquitto did not start:\n{self.log()}")
        return self

    def _answers(self) -> bool:
        with contextlib.suppress(OSError), socket.create_connection((self.host, self.port), timeout=0.5):
            return True
        return False

    def stop(self, *, kill: bool = False) -> None:
        if self.process is not None:
            self.thaw()
            self.process.send_signal(signal.SIGKILL if kill else signal.SIGTERM)
            self.process.wait(5)
            self.process = None

    def restart(self, *, kill: bool = False) -> None:
        self.stop(kill=kill)
        self.start()

    def freeze(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGCONT)

    def log(self) -> str:
        return (self.folder / "mosquitto.log").read_text(errors="replace")

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.stop()


@contextlib.contextmanager
def publisher(port: int, *, protocol: str = "3.1.1", client_id: str = "", user: str = "", password: str = "") -> Iterator[Client]:
    """A connected client of its own, to publish with."""
    client = Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTv5 if protocol == "5" else MQTTv311)
    if user:
        client.username_pw_set(user, password)
    client.connect("127.0.0.1", port)
    client.loop_start()
    assert wait_for(client.is_connected), "the test's own publisher could not connect"
    try:
        yield client
    finally:
        client.disconnect()
        client.loop_stop()


def say(client: Client, topic: str, payload: bytes | str, *, qos: int = 0, retain: bool = False) -> None:
    """Publish and wait until it has left."""
    client.publish(topic, payload, qos=qos, retain=retain).wait_for_publish(5)


def overhear(client: Client, topic: str, *, qos: int = 0) -> list[MQTTMessage]:
    """What a client hears on a topic from now on: the broker has granted it when this returns."""
    heard: list[MQTTMessage] = []
    granted = threading.Event()
    client.on_message = lambda _client, _data, message: heard.append(message)
    client.on_subscribe = lambda *_: granted.set()
    client.subscribe(topic, qos=qos)
    assert granted.wait(5), f"the broker did not grant {topic!r}"
    return heard


def password_file(path: Path, user: str, password: str) -> None:
    """A mosquitto password file with one user."""
    subprocess.run(["mosquitto_passwd", "-b", "-c", path, user, password], check=True, capture_output=True)


class Certificates:
    """A certificate authority of its own and a server certificate for `host`, made by the openssl command."""

    def __init__(self, folder: Path, host: str = "IP:127.0.0.1", *, expired: bool = False) -> None:
        self.ca = folder / "ca.pem"
        self.certificate = folder / "server.pem"
        self.key = folder / "server.key"
        ca_key = folder / "ca.key"
        request = folder / "server.csr"
        extras = folder / "extras"
        extras.write_text(f"subjectAltName={host}\n")
        _openssl(f"req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=Millbrook-test-authority -keyout {ca_key} -out {self.ca}")
        _openssl(f"req -newkey rsa:2048 -nodes -subj /CN=broker -keyout {self.key} -out {request}")
        # Valid until a day ago: x509 has no start date before OpenSSL 3.4, but takes a negative number of days.
        days = -1 if expired else 2
        sign = f"x509 -req -in {request} -CA {self.ca} -CAkey {ca_key} -CAcreateserial -days {days} -extfile {extras}"
        _openssl(f"{sign} -out {self.certificate}")

    @property
    def config(self) -> str:
        return f"allow_anonymous true\ncafile {self.ca}\ncertfile {self.certificate}\nkeyfile {self.key}\n"


def _openssl(arguments: str) -> None:
    done = subprocess.run(["openssl", *arguments.split()], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise RuntimeError(f"openssl {arguments}: {done.stderr}")
