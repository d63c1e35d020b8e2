"""A broker behind TLS whose certificate does not hold: loud, and not one byte of it in plain."""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from rig.broker import Certificates, MosquittoBroker, free_port
from rig.site import TOPIC, HeaterTable, PlugTable, PrinterTable, SiteTable
from rig.tap import Tap
from rig.workshop import Workshop, until

pytestmark = pytest.mark.rig

CASES = {
    "good": ({}, ""),
    "expired": ({"expired": True}, "certificate refused: certificate has expired"),
    "misnamed": ({"host": "DNS:elsewhere.example"}, "certificate refused: IP address mismatch"),
    "stranger": ({}, "certificate refused: self-signed certificate in certificate chain"),
}
"""Printer, how the certificate of its broker was made, and what must be said of it."""

TLS_HANDSHAKE, TLS_RECORDS = 0x16, {0x14, 0x15, 0x16, 0x17}
PASSWORD = "correct-horse-battery"


class Bench:
    """One mosquitto with a plain line for the rig and a TLS line a printer. Reading, plug and presence of each go by its line."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        ports, lines, tables = {}, [], []
        stranger = Certificates(_made(folder / "another"))
        (folder / "password").write_text(PASSWORD)
        (folder / "password").chmod(0o600)
        for name, (options, _) in CASES.items():
            certificates = Certificates(_made(folder / name), **options)  # type: ignore[arg-type]  # a row of the table
            ports[name] = free_port()
            lines.append(f"listener {ports[name]} 127.0.0.1\n{certificates.config}")
        broker = stack.enter_context(MosquittoBroker(_made(folder / "broker"), "allow_anonymous true\n" + "".join(lines)))
        self.taps = {name: stack.enter_context(Tap(port)) for name, port in ports.items()}
        for name, tap in self.taps.items():
            ca = stranger.ca if name == "stranger" else folder / name / "ca.pem"
            secret = f'user = "heatwarden"\npassword_file = "{folder / "password"}"'
            tables.append(f'\n[brokers.{name}]\nhost = "127.0.0.1"\nport = {tap.port}\n{secret}\ntls = {{ ca_file = "{ca}" }}\n')
        site = SiteTable(printers=tuple(self._printer(name) for name in CASES), more="".join(tables))
        self.shop = stack.enter_context(Workshop(_made(folder / "shop"), site, broker))
        for table in site.plugs.values():
            self.shop.plug(table)
        for name in CASES:
            self.shop.printer(name)
        self.shop.guard.start()
        until(lambda: self.shop.guard.status_if_any() and self.shop.state("good") == "protected", 15)

    @staticmethod
    def _printer(name: str) -> PrinterTable:
        heater = HeaterTable(broker=name, grace_s=60.0, advise_s=30.0)
        return PrinterTable(name=name, relays=(PlugTable(name=f"{name}-plug", broker=name),), heaters=(heater,))


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    with ExitStack() as stack:
        yield Bench(tmp_path_factory.mktemp("tls"), stack)


@pytest.mark.parametrize("name", [name for name in CASES if name != "good"])
def test_row_f22_a_certificate_that_does_not_hold_is_loud_and_nothing_is_sent(bench: Bench, name: str) -> None:
    shop, says = bench.shop, CASES[name][1]
    told = shop.loud(f"connection {name} does not carry readings of {name} ({says}")
    assert told.level == "warning"
    until(lambda: not any("not been reached yet" in why for why in shop.guard.printer(name)["why_not"]))
    why_not = "; ".join(shop.guard.printer(name)["why_not"])
    assert f"bed cannot be heard: connection {name} is down" in why_not
    assert f"no relay that cuts its power can be reached: {name}-plug" in why_not
    assert shop.heater(name)["temperature_c"] is None
    until(lambda: len(bench.taps[name].sent) >= 4)  # it tries again and again, and never in another way
    assert not shop.trips(name)


@pytest.mark.parametrize("name", CASES)
def test_row_f22_no_byte_goes_in_plain(bench: Bench, name: str) -> None:
    sent = [bytes(connection) for connection in until(lambda: [kept for kept in bench.taps[name].sent if kept])]
    for words in sent:
        assert words[0] == TLS_HANDSHAKE
        assert set(kinds(words)) <= TLS_RECORDS, "one TLS record after the other, and nothing between them"
        for secret in (b"MQTT", PASSWORD.encode(), b"heatwarden", TOPIC.encode()):
            assert secret not in words


def kinds(words: bytes) -> Iterator[int]:
    """The kind of each TLS record in what was sent."""
    place = 0
    while place + 5 <= len(words):
        yield words[place]
        place += 5 + int.from_bytes(words[place + 3 : place + 5], "big")


def test_row_f22_the_good_one_is_heard_and_protects(bench: Bench) -> None:
    assert bench.shop.state("good") == "protected"
    assert bench.shop.heater("good")["temperature_c"] == pytest.approx(60.0, abs=0.1)
