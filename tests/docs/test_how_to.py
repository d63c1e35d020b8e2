"""The how-to pages: their settings are good, they say what they must, they name nothing that is sold, and they are found."""

import re
from pathlib import Path

import pytest
from rig.how_to import FOLDER, TOP, Bench, pages
from typer.testing import CliRunner

from watchdog.cli.app import app

PAGES = {shown.path.name: shown for shown in pages()}
WITH_SETTINGS = {name: shown for name, shown in PAGES.items() if shown.settings}
README = (TOP / "README.md").read_text(encoding="utf-8")

CAUTION = (
    "> heatwarden is one more layer and no certified safety device. Work on mains voltage belongs to people licensed for it where you "
    "live, and local electrical codes come before this page: [read this first](../../README.md#read-this-first)."
)
"""Word for word on every page, below its title; lines may break anywhere."""

SECTIONS = ["What you need", "Settings", "Try it out", "What it proves, and what it does not", "What goes wrong most often"]
PRINTERS = {"anvil", "bramble", "cinder"}
TERMS = """
AC API CLI CPU CSV DC DHCP DTR HTTP HTTPS ID IP JSON LED MOSFET MOSFETs MQTT PEM QoS RFC TCP TLS TOML URL URLs USB UTF
Debian
Basic Digest GET POST PUT Pointer Pointers Python SQLite Celsius Fahrenheit Ctrl I NOT OFF ON REACHABLE SILENT
Ada Robin Millbrook Tool Library
"""
"""Terms of the trade, open standards, the invented library and its people. A name that is not here does not belong on a page."""


@pytest.mark.parametrize("name", WITH_SETTINGS)
def test_the_settings_of_a_page_are_complete_and_good(name: str, tmp_path: Path) -> None:
    files = [block.file for block in PAGES[name].settings]
    assert "heatwarden.toml" in files, "a block of TOML is a whole file, with its name in backticks on the line before"
    assert all(re.fullmatch(r"heatwarden\.toml|printers/[a-z-]+\.toml", file) for file in files), files
    assert len(set(files)) == len(files) > 1
    bench = Bench(PAGES[name], tmp_path)
    answer = CliRunner().invoke(app, ["check", "--config", str(bench.config)])
    assert answer.exit_code == 0, answer.output


@pytest.mark.parametrize("name", WITH_SETTINGS)
def test_a_page_with_settings_has_the_same_sections_as_the_others(name: str) -> None:
    assert [heading for heading in PAGES[name].headings() if heading in SECTIONS] == SECTIONS


@pytest.mark.parametrize("name", PAGES)
def test_a_page_begins_with_its_title_and_the_caution(name: str) -> None:
    lines = PAGES[name].text.split("\n\n")
    assert re.fullmatch(r"# [A-Z].+[^.]", lines[0])
    assert " ".join(lines[1].replace("\n>", "").split()) == CAUTION


def test_the_caution_leads_to_the_cautions() -> None:
    assert "\n## Read this first\n" in README
    told = README.split("\n## Read this first\n")[1].split("\n## ")[0]
    for word in ("not a certified safety device", "licensed", "electrical codes", "thermal cut-off", "smoke alarm"):
        assert word in told, word


@pytest.mark.parametrize("name", PAGES)
def test_the_readme_links_every_page(name: str) -> None:
    assert f"](docs/how-to/{name})" in README


@pytest.mark.parametrize("name", PAGES)
def test_every_link_of_a_page_leads_somewhere(name: str) -> None:
    for target in re.findall(r"\]\(([^)]+)\)", PAGES[name].text):
        assert not re.match(r"\w+:", target), f"{target}: pages lead to other pages of the project only"
        path, _, heading = target.partition("#")
        leads_to = (FOLDER / path).resolve() if path else PAGES[name].path
        assert leads_to.exists(), target
        if heading:
            assert heading in {_anchor(title) for title in re.findall(r"^#+ (.+)$", leads_to.read_text(encoding="utf-8"), re.MULTILINE)}


def _anchor(title: str) -> str:
    return re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-")


@pytest.mark.parametrize("name", PAGES)
def test_a_page_plays_in_the_invented_library_and_reaches_nobody_else(name: str) -> None:
    shown = PAGES[name]
    assert {Path(block.file).stem for block in shown.settings} <= PRINTERS | {"heatwarden"}
    text = "".join(block.text for block in shown.blocks)
    assert set(re.findall(r'^site = "(.*)"$', text, re.MULTILINE)) <= {"millbrook"}
    assert all(topic.startswith(("millbrook/", "heatwarden/")) for topic in re.findall(r'topic = "([^"]*)"', text))
    hosts = re.findall(r'\bhost = "([^"]*)"', text) + re.findall(r"https?://([^/:\s\"']+)", shown.text)
    assert [host for host in hosts if not re.fullmatch(r"127\.0\.0\.1|localhost|192\.0\.2\.\d+|[a-z.-]+\.(example|home\.arpa)", host)] == []


@pytest.mark.parametrize("name", PAGES)
def test_a_page_names_nothing_that_is_sold(name: str) -> None:
    found = set[str]()
    for line in PAGES[name].prose.splitlines():
        plain = re.sub(r"\]\([^)]*\)", "]", line).lstrip("#>-|*0123456789. ")
        found |= set(re.findall(r"(?<=[a-z,;] )[*_\[\"]*([A-Z][\w.-]*\w|[A-Z])", plain))
    assert found - set(TERMS.split()) == set()
