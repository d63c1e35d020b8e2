"""Readings polled over HTTP by a real guard: pages that hang, answer something else, or cannot be found harm nobody but themselves."""

import gzip
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import orjson
import pytest
from pytest_httpserver import HTTPServer
from rig.broker import MosquittoBroker
from rig.figures import figure
from rig.guard import AS_INSTALLED
from rig.netns import BrokerInside, Namespace
from rig.raw_http import RawServer, Talk, answer
from rig.site import HeaterTable, PlugTable, PrinterTable, SiteTable
from rig.workshop import Workshop, seconds, until
from werkzeug import Request, Response

pytestmark = pytest.mark.rig

EVERY_S = 0.25
LIMIT_S = 3.0
GRACE_S = 8.0
GOOD = answer(b'{"bed": {"now": 60.0, "wanted": 60}}')


def page(name: str, url: str, limit_s: float = LIMIT_S) -> str:
    return f'\n[pages.{name}]\nurl = "{url}"\nevery_s = {EVERY_S}\ntime_limit_s = {limit_s}\n'


def printer(name: str, *, heaters: tuple[str, ...] = ("bed",), of: str = "", grace_s: float = 60.0) -> PrinterTable:
    """A printer whose heaters are polled from the page `of`, by itself NAME."""
    tables = tuple(
        HeaterTable(
            name=heater,
            kind=heater,
            page=of or name,
            interval_s=EVERY_S + LIMIT_S,
            grace_s=grace_s,
            advise_s=grace_s / 2,
            confirm_s=0.0,
            more=f'fields = {{ temperature = "/{heater}/now", target = "/{heater}/wanted" }}\n',
        )
        for heater in heaters
    )
    return PrinterTable(name=name, relays=(PlugTable(name=f"{name}-plug"),), heaters=tables)


class Board:
    """A printer's own page, served by a real HTTP server. `temperature_c` may be changed at any time."""

    def __init__(self, server: HTTPServer, name: str) -> None:
        self.temperature_c = 60.0
        self.asked = 0
        server.expect_request(f"/{name}").respond_with_handler(self._respond)
        self.url = server.url_for(f"/{name}")

    def _respond(self, request: Request) -> Response:
        assert request.method == "GET"
        self.asked += 1
        bed = {"now": self.temperature_c + self.asked % 3 * 0.05, "wanted": 60}
        return Response(orjson.dumps({"bed": bed, "hotend": {"now": 30.0 + self.asked % 3 * 0.05, "wanted": 0}}))


@pytest.fixture(scope="module")
def server() -> Iterator[HTTPServer]:
    with HTTPServer(threaded=True) as running:
        yield running


class Pages:
    """anvil with two heaters on one good page, cinder on one that hangs after its head, dahlia on one that says what `words` are."""

    def __init__(self, folder: Path, stack: ExitStack, server: HTTPServer, broker: MosquittoBroker) -> None:
        self.words = GOOD
        self.asked = 0
        self.anvil = Board(server, "anvil")
        self.cinder_hangs = threading.Event()
        hanging = stack.enter_context(RawServer(self._hang))
        changing = stack.enter_context(RawServer(self._say))
        more = page("anvil", self.anvil.url) + page("cinder", f"http://127.0.0.1:{hanging.port}/")
        more += page("dahlia", f"http://127.0.0.1:{changing.port}/now")
        printers = (printer("anvil", heaters=("bed", "hotend")), printer("cinder", grace_s=GRACE_S), printer("dahlia", grace_s=120.0))
        self.shop = stack.enter_context(Workshop(folder, SiteTable(printers=printers, more=more), broker))
        self.shop.begin(quiet=("anvil", "cinder", "dahlia"))
        until(lambda: all(entry["state"] == "protected" for entry in self.shop.guard.status()["printers"]))

    def _hang(self, talk: Talk) -> None:
        while talk.hear():
            if self.cinder_hangs.is_set():
                talk.say(b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\n{")
                talk.pause(30)
            talk.say(GOOD)

    def _say(self, talk: Talk) -> None:
        while talk.hear():
            self.asked += 1
            talk.say(self.words)

    def failed(self, name: str, kind: str) -> int:
        """How often a page failed in this way."""
        return int(self.told(name)["failures"].get(kind, 0))

    def told(self, name: str) -> dict[str, Any]:
        """What `status` says of a page."""
        found: dict[str, Any] = next(entry for entry in self.shop.guard.status()["guard"]["pages"] if entry["name"] == name)
        return found


@pytest.fixture(scope="module")
def all_pages(tmp_path_factory: pytest.TempPathFactory, server: HTTPServer, broker: MosquittoBroker) -> Iterator[Pages]:
    with ExitStack() as stack:
        yield Pages(tmp_path_factory.mktemp("pages"), stack, server, broker)


@pytest.fixture
def pages(all_pages: Pages) -> Iterator[Pages]:
    """With dahlia's page in order again at the end, whatever came of the test."""
    yield all_pages
    all_pages.words = GOOD
    until(lambda: all_pages.shop.state("dahlia") == "protected")


def resident_mb(shop: Workshop) -> float:
    """The most memory that the guard ever took, in MB."""
    assert shop.guard.process is not None
    lines = Path(f"/proc/{shop.guard.process.pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024


BOMB = gzip.compress(bytes(10_000_000)) * 100
"""1 MB that unpacks to 1 GB."""

ANSWERS = {
    "a login page": (
        answer(b"<html><form>Log in</form></html>", fields="Content-Type: text/html\r\n"),
        "no reading",
        "holds no reading: <html>",
    ),
    "nothing": (answer(b"", "204 No Content"), "status 204", "it answers 204"),
    "elsewhere": (answer(b"", "301 Moved Permanently", "Location: http://127.0.0.1:9/\r\n"), "status 301", "which is not followed"),
    "no access": (answer(b'{"bed": {"now": 21.0}}', "401 Unauthorized"), "status 401", "it answers 401"),
    "trouble": (answer(b'{"bed": {"now": 21.0}}', "500 Internal Server Error"), "status 500", "it answers 500"),
    "a bomb": (answer(BOMB, fields="Content-Encoding: gzip\r\n"), "too long", "more than the 65536 bytes"),
    "a small bomb": (answer(BOMB[: len(BOMB) // 100], fields="Content-Encoding: gzip\r\n"), "packed", "packed (gzip)"),
    "a bomb in disguise": (answer(BOMB), "too long", "more than the 65536 bytes"),
}


@pytest.mark.parametrize("name", ANSWERS)
def test_row_f25_no_such_answer_is_a_reading(pages: Pages, name: str) -> None:
    words, kind, says = ANSWERS[name]
    shop, t0 = pages.shop, seconds()
    before, failed = shop.heater("dahlia")["readings"], pages.failed("dahlia", kind)
    pages.words = words
    until(lambda: pages.failed("dahlia", kind) >= failed + 3)
    assert says in str(pages.told("dahlia")["why"])
    lost = shop.event("source lost", "dahlia", since=t0)
    assert says in lost.sentence
    assert len(shop.events("source lost", "dahlia", since=t0)) == 1, "once for as long as it stays the same"
    assert "bed cannot be heard: connection page dahlia is down" in shop.guard.printer("dahlia")["why_not"]
    assert shop.heater("dahlia")["temperature_c"] == 60.0
    assert shop.heater("dahlia")["readings"] <= before + 2
    pages.words = GOOD
    shop.event("source back", "dahlia", since=t0)
    until(lambda: shop.state("dahlia") == "protected")
    assert resident_mb(shop) < 150.0
    assert shop.state("anvil") == "protected"


def test_row_f24_a_page_that_hangs_is_cut_by_its_age_and_delays_nobody(pages: Pages) -> None:
    shop = pages.shop
    t0 = seconds()
    pages.cinder_hangs.set()
    lost = shop.event("source lost", "cinder", since=t0, within_s=3 * LIMIT_S)
    figure("F24 page hangs after its head to lost in the record (2 x 3 s)", lost.at.engine_s - t0)
    assert f"no whole answer within {LIMIT_S:g} s" in lost.sentence
    assert lost.at.engine_s - t0 < 2 * LIMIT_S + 2.0
    assert shop.heater("anvil")["age_s"] < 1.0
    off_s = shop.off_after_s("cinder-plug", t0, within_s=GRACE_S + 3.0)
    figure(f"F24 page hangs to power gone (grace {GRACE_S:g} s)", off_s)
    assert GRACE_S - 0.5 < off_s < GRACE_S + 1.0
    assert [trip.kind for trip in shop.trips("cinder")] == ["missing readings"]
    assert shop.guard.status()["guard"]["worst_lag_s"] < 0.5


def test_the_heaters_of_one_page_are_lost_together_and_told_in_one_event(broker: MosquittoBroker, tmp_path: Path) -> None:
    with ExitStack() as stack:
        server = stack.enter_context(HTTPServer(threaded=True))
        board = Board(server, "table")
        printers = (printer("jana", of="table"), printer("jo", of="table", heaters=("hotend",)))
        shop = stack.enter_context(Workshop(tmp_path, SiteTable(printers=printers, more=page("table", board.url)), broker))
        shop.begin(quiet=("jana", "jo"))
        until(lambda: all(entry["state"] == "protected" for entry in shop.guard.status()["printers"]))
        t0 = seconds()
        server.clear_all_handlers()
        lost = shop.event("source lost", since=t0)
        assert lost.sentence == "connection page table does not carry readings of jana, jo (it answers 500 Internal Server Error)"
        assert len(shop.events("source lost", since=t0)) == 1
        assert {printer["state"] for printer in shop.guard.status()["printers"]} == {"not protected"}


def test_a_polled_printer_that_overheats_is_cut(server: HTTPServer, broker: MosquittoBroker, tmp_path: Path) -> None:
    """From the page to the plug, with the real guard between them."""
    board = Board(server, "hot")
    site = SiteTable(printers=(printer("ida"),), more=page("ida", board.url))
    with Workshop(tmp_path, site, broker) as shop:
        shop.begin(quiet=("ida",))
        until(lambda: shop.state("ida") == "protected")
        assert shop.heater("ida")["fed"] == "polled"
        t0 = seconds()
        board.temperature_c = 180.0
        off_s = shop.off_after_s("ida-plug", t0)
        figure("E2E polled every 0.25 s: hot to power gone", off_s)
        assert off_s < EVERY_S + 0.5
        (trip,) = shop.trips("ida")
        assert (trip.heater, trip.check) == ("bed", "ceiling")


def test_row_f26_a_name_that_cannot_be_looked_up_harms_no_other_printer(tmp_path: Path) -> None:
    """The guard runs where nobody answers a look-up: one page has a name, another an address."""

    def good(talk: Talk) -> None:
        while talk.hear():
            temperature_c[1] += 0.05 if temperature_c[1] < temperature_c[0] + 0.1 else -0.1
            talk.say(answer(orjson.dumps({"bed": {"now": temperature_c[0] + temperature_c[1] % 0.1, "wanted": 60}})))

    temperature_c = [60.0, 0.0]
    with ExitStack() as stack:
        namespace = stack.enter_context(Namespace(1))
        resolv = Path("/etc/netns") / namespace.name / "resolv.conf"
        resolv.parent.mkdir(parents=True)
        stack.callback(resolv.parent.rmdir)
        resolv.write_text(f"nameserver {namespace.nobody(0)}\n")
        stack.callback(resolv.unlink)
        inside = stack.enter_context(BrokerInside(tmp_path, namespace))
        near = stack.enter_context(RawServer(good, host=namespace.near(0)))
        more = page("anvil", f"http://{namespace.near(0)}:{near.port}/") + page("cinder", "http://board.millbrook.invalid/now")
        site = SiteTable(printers=(printer("anvil"), printer("cinder")), host=inside.host, more=more)
        shop = stack.enter_context(Workshop(tmp_path / "shop", site, inside))
        for table in site.plugs.values():
            shop.plug(table)
        shop.guard.command = ("ip", "netns", "exec", namespace.name, *AS_INSTALLED)
        t0 = seconds()
        shop.guard.start()
        until(lambda: shop.guard.status_if_any() and shop.state("anvil") == "protected", 15)
        lost = shop.event("source lost", "cinder", within_s=2 * LIMIT_S + 3.0)
        figure("F26 start to a name that cannot be looked up in the record", lost.at.engine_s - t0)
        assert "the name board.millbrook.invalid " in lost.sentence
        assert "bed cannot be heard: connection page cinder is down" in shop.guard.printer("cinder")["why_not"]
        hot_at = seconds()
        temperature_c[0] = 180.0
        off_s = shop.off_after_s("anvil-plug", hot_at)
        figure("F26 hot to power gone beside a slow resolver", off_s)
        assert off_s < EVERY_S + 0.5
        assert shop.guard.status()["guard"]["worst_lag_s"] < 0.5
