"""The access list that the example settings recommend, tried on a real broker."""

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker, overhear, publisher, say, wait_for
from rig.site import HeaterTable, PlugTable, PrinterTable, SiteTable
from rig.workshop import Workshop, until

pytestmark = pytest.mark.rig

EXAMPLE = Path(__file__).parent.parent.parent / "config" / "heatwarden.toml"
USERS = ("heatwarden", "anvil", "guest")
GOOD = '{"temperature_c": 61.25, "target_c": 60}'


def recipe() -> str:
    """The lines of the access list in the comments of the example settings."""
    found = re.search(r"^#     # acl\n((?:#     .+\n)+)", EXAMPLE.read_text(), re.MULTILINE)
    assert found, "the example settings no longer show an access list"
    return "".join(f"{line.removeprefix('#     ')}\n" for line in found.group(1).splitlines())


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MosquittoBroker]:
    folder = tmp_path_factory.mktemp("access")
    (folder / "acl").write_text(recipe())
    (folder / "passwords").touch()
    for user in USERS:
        subprocess.run(["mosquitto_passwd", "-b", folder / "passwords", user, f"{user} secret"], check=True, capture_output=True)
    lines = f"allow_anonymous false\npassword_file {folder / 'passwords'}\nacl_file {folder / 'acl'}\n"
    with MosquittoBroker(folder, lines) as running:
        yield running


def test_nobody_is_let_in_without_a_name(broker: MosquittoBroker) -> None:
    """Threat S21: an anonymous guest of the network takes over nothing."""
    to = ["mosquitto_pub", "-p", str(broker.port), "-t", "millbrook/anvil/bed", "-m", GOOD]
    for name in ([], ["-u", "anvil", "-P", "guessed"]):
        done = subprocess.run([*to, *name], capture_output=True, text=True, check=False, timeout=10)
        assert done.returncode != 0
        assert "not authorised" in done.stderr
    assert subprocess.run([*to, "-u", "anvil", "-P", "anvil secret"], check=False, timeout=10).returncode == 0


def test_each_may_say_what_is_its_own_and_no_more(broker: MosquittoBroker, tmp_path: Path) -> None:
    """Threats S01, S04 and S21: the guard hears anvil's own readings and nobody else's words in anvil's name."""
    secret = tmp_path / "secret"
    secret.write_text("heatwarden secret\n")
    secret.chmod(0o600)
    printers = tuple(
        PrinterTable(name=name, relays=(PlugTable(name=f"{name}-plug"),), heaters=(HeaterTable(topic=f"millbrook/{name}/bed"),))
        for name in ("anvil", "bramble")
    )
    site = SiteTable(printers=printers, broker=f'user = "heatwarden"\npassword_file = "{secret}"\n')
    with Workshop(tmp_path, site, broker) as shop:
        shop.guard.start()
        until(lambda: (shop.guard.status_if_any() or {"links": [{"connected": None}]})["links"][0]["connected"], 15)
        with (
            publisher(broker.port, user="anvil", password="anvil secret") as anvil,
            publisher(broker.port, user="guest", password="guest secret") as guest,
            publisher(broker.port, user="heatwarden", password="heatwarden secret") as ear,
        ):
            orders = overhear(ear, "millbrook/plugs/+/order", qos=1)
            for stranger in (anvil, guest):
                say(stranger, "millbrook/bramble/bed", GOOD, qos=1)
                say(stranger, "millbrook/plugs/anvil-plug/order", "on", qos=1)
                say(stranger, "millbrook/plugs/anvil-plug/echo", "off", qos=1)
            say(guest, "millbrook/anvil/bed", '{"temperature_c": 20.0}', qos=1)
            say(anvil, "millbrook/anvil/bed", GOOD, qos=1)
            until(lambda: shop.heater("anvil")["temperature_c"] == 61.25)
            assert shop.heater("anvil")["readings"] == 1
            assert shop.heater("bramble")["readings"] == 0
            assert orders == []
            say(ear, "millbrook/plugs/anvil-plug/order", "off", qos=1)
            assert wait_for(lambda: [order.payload for order in orders] == [b"off"])
        assert [relay["state"] for relay in shop.guard.status()["relays"]] == [None, None]
