"""One MQTT client, made ready to connect."""

import os
import secrets
import socket
from pathlib import Path
from typing import Any, Final

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from watchdog.settings.addresses import Broker
from watchdog.wire.bounded import BoundedPackets

CONNECT_TIMEOUT_S: Final = 3.0
DEAD_LINE_S: Final = 4.0
VERSIONS: Final = {"3.1.1": MQTTProtocolVersion.MQTTv311, "5": MQTTProtocolVersion.MQTTv5}


class BoundedClient(BoundedPackets, paho.Client):
    """No message takes much memory, whoever sends it."""


def new_client(broker: Broker) -> paho.Client:
    """A client with a clean session and an id of its own, so that two never push each other off the broker.

    Raises OSError or ValueError when the password or the certificates cannot be read.
    """
    five = broker.protocol == "5"
    client = BoundedClient(
        CallbackAPIVersion.VERSION2,
        client_id=f"heatwarden-relays-{secrets.token_hex(6)}",
        clean_session=None if five else True,
        protocol=VERSIONS[broker.protocol],
        reconnect_on_failure=False,
    )
    client.connect_timeout = CONNECT_TIMEOUT_S
    client.suppress_exceptions = True
    client.on_socket_open = _hurry
    if broker.user:
        client.username_pw_set(broker.user, _password(broker))
    if broker.tls is not None:
        client.tls_set(
            ca_certs=broker.tls.ca_file or None,
            certfile=broker.tls.certificate_file or None,
            keyfile=broker.tls.key_file or None,
        )
    return client


def _password(broker: Broker) -> str | None:
    """Read anew for each connection: a changed password needs no restart."""
    if broker.password_file:
        path = Path(broker.password_file)
    elif broker.password_credential:
        directory = os.environ.get("CREDENTIALS_DIRECTORY")
        if not directory:
            raise ValueError(f"no credentials directory is given, so the credential {broker.password_credential!r} cannot be read")
        path = Path(directory) / broker.password_credential
    else:
        return None
    return path.read_text(encoding="utf-8").rstrip("\r\n")


def _hurry(_client: paho.Client, _userdata: Any, sock: Any) -> None:  # noqa: ANN401 - as paho has it
    """A command is one small packet: it must not wait for an acknowledgement of the one before.

    And one that no host acknowledges for a few seconds means a dead line: the keep-alive would take twenty to see that,
    and the retries of TCP grow so far apart that a line which came back would stay unused for as long.
    """
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    if hasattr(socket, "TCP_USER_TIMEOUT"):
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, int(DEAD_LINE_S * 1000))
