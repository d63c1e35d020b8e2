"""A whole house: broker, plug, printer, guard, tokens and front, each the real thing."""

import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from rig.broker import MosquittoBroker
from rig.front import Front
from rig.site import HeaterTable, PrinterTable, SiteTable, simple
from rig.workshop import Workshop, until

from watchdog.wire.front import SCOPES

COMMAND = (sys.executable, "-m", "watchdog.cli.main")
TOKEN = re.compile(r"hw_[A-Za-z0-9_-]{43}")


@dataclass(frozen=True, kw_only=True)
class PushedTable(PrinterTable):
    """A printer whose bed is pushed through the front."""

    def text(self) -> str:
        text, count = re.subn(r'broker = "shed"\n(longest_interval_s = [0-9.]+\n)topic = "[^"]+"\n', r"pushed = true\n\1", super().text())
        assert count == len(self.heaters)
        return text


@dataclass
class House:
    """`tokens` by the scope that each has and no other; "all" has every one, "none of it" is of a right shape and unknown."""

    shop: Workshop
    front: Front
    tokens: dict[str, str]

    def make_token(self, name: str, *scopes: str, printer: str = "") -> str:
        words = [word for scope in scopes for word in ("--scope", scope)] + (["--printer", printer] if printer else [])
        made = self.command("token", "make", name, *words)
        found = TOKEN.search(made)
        assert found, made
        return found[0]

    def command(self, *words: str) -> str:
        where = ["--config", str(self.shop.guard.config), "--state", str(self.shop.guard.state)]
        done = subprocess.run([*COMMAND, *words, *where], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        return done.stdout


@contextmanager
def house(folder: Path, *, advise_s: float = 20.0, grace_s: float = 60.0) -> Iterator[House]:
    """anvil is read over MQTT, bramble and cinder are pushed through the front. Returns once all of it answers."""
    (folder / "broker").mkdir()
    pushed = HeaterTable(interval_s=4.0, advise_s=advise_s, grace_s=grace_s)
    printers = [PushedTable(name=name, relays=simple(name).relays, heaters=(pushed,)) for name in ("bramble", "cinder")]
    site = SiteTable(printers=(simple("anvil"), *printers))
    with MosquittoBroker(folder / "broker") as broker, Workshop(folder, site, broker) as shop:
        front = Front(shop.guard.config, shop.guard.state)
        shop.begin(quiet=("bramble", "cinder"))
        with front:
            made = House(shop, front, {})
            for scope in SCOPES:
                made.tokens[scope] = made.make_token(f"the {scope} one", scope)
            made.tokens["all"] = made.make_token("bench tablet", *SCOPES)
            made.tokens["none of it"] = "hw_" + "z" * 43
            until(lambda: front.get("/api/v1/status", made.tokens["read"]).status == 200)
            yield made
