"""docs/settings.md knows every key, and no key that is not there."""

import re
from dataclasses import MISSING, Field, fields
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

import pytest

from watchdog.checks.registry import CHECKS
from watchdog.settings import addresses, feeds, model, relay_tables
from watchdog.wire.feed import Fields

GUIDE = Path(__file__).parent.parent.parent / "docs" / "settings.md"
ROW = re.compile(r"^\| `(\w+)` \| (.*?) \| (.+) \|$", re.MULTILINE)

SECTIONS: dict[str, type[Any]] = {
    "heatwarden.toml": model.MainFile,
    "[state]": model.State,
    "[front]": model.Front,
    "[brokers.NAME]": addresses.Broker,
    "[brokers.NAME.tls]": addresses.Tls,
    "[pages.NAME]": addresses.Page,
    'kind = "mqtt"': relay_tables.MqttRelayTable,
    'kind = "command"': relay_tables.CommandRelayTable,
    'kind = "http"': relay_tables.HttpRelayTable,
    'kind = "pretend"': relay_tables.PretendRelayTable,
    "order": addresses.SwitchOrder,
    "echo": addresses.SwitchEcho,
    "meter": addresses.SwitchMeter,
    "presence": addresses.SwitchPresence,
    "order over HTTP": addresses.HttpOrder,
    "answer over HTTP": addresses.HttpAnswer,
    "echo over HTTP": addresses.HttpEcho,
    "meter over HTTP": addresses.HttpMeter,
    "printers/NAME.toml": model.PrinterFile,
    "[heaters.NAME]": model.Heater,
    "[heaters.NAME.readings]": feeds.Readings,
    "fields": Fields,
    "[meter]": feeds.Meter,
    "[observe]": model.Observe,
    "[heaters.NAME.learnt]": model.Learnt,
}
OF_EVERY_RELAY = {"kind", *(field.name for field in fields(relay_tables.RelayCommon))}
KINDS_OF_RELAYS = set(relay_tables.tables_by_kind(get_args(relay_tables.RelayTable)[0]).values())


def rows(heading: str) -> dict[str, str]:
    """Key and default of each row under a heading."""
    found = re.search(rf"^#+ {re.escape(heading)}\n(.*?)(?=^#|\Z)", GUIDE.read_text(), re.MULTILINE | re.DOTALL)
    assert found, f"docs/settings.md has no section {heading!r}"
    return {key: default for key, default, _ in ROW.findall(found[1])}


def keys(table: type[Any]) -> set[str]:
    own = {field.name for field in fields(table) if field.init}
    return own - OF_EVERY_RELAY if table in KINDS_OF_RELAYS else own


@pytest.mark.parametrize("heading", SECTIONS)
def test_each_table_is_documented_key_by_key(heading: str) -> None:
    assert set(rows(heading)) == keys(SECTIONS[heading])


def test_what_every_relay_has_is_documented() -> None:
    assert set(rows("[relays.NAME]")) == OF_EVERY_RELAY


@pytest.mark.parametrize("entry", CHECKS, ids=lambda entry: entry.key)
def test_the_limits_of_each_check_are_documented(entry: Any) -> None:
    assert set(rows(f"limits.{entry.key}")) == {field.name for field in fields(entry.limits)}


@pytest.mark.parametrize("heading", SECTIONS)
def test_documented_defaults_are_the_real_ones(heading: str) -> None:
    told = rows(heading)
    for field in fields(SECTIONS[heading]):
        if field.name in told:
            assert_default(field, told[field.name])


def assert_default(field: Field[Any], told: str) -> None:
    required = field.default is MISSING and field.default_factory is MISSING
    assert (told == "required") == required, f"{field.name}: {told}"
    if told.startswith("`") and isinstance(field.default, bool | int | float | str):
        shown = (
            str(field.default).lower()
            if isinstance(field.default, bool)
            else f'"{field.default}"'
            if isinstance(field.default, str)
            else str(field.default)
        )
        assert told == f"`{shown}`", f"{field.name}: {told}"


def test_documented_words_are_the_real_ones() -> None:
    text = GUIDE.read_text()
    for table in SECTIONS.values():
        for key, hint in get_type_hints(table).items():
            for choice in [hint, *get_args(hint)]:
                if get_origin(choice) is not None and key in keys(table):
                    assert all(f'"{word}"' in text for word in get_args(choice) if isinstance(word, str)), f"{key}: {choice}"


def test_every_table_of_the_model_has_a_section() -> None:
    modules = (model, relay_tables, addresses, feeds)
    tables = {entry for module in modules for entry in vars(module).values() if hasattr(entry, "__pydantic_config__")}
    made_from_others = {relay_tables.RelayCommon, *get_args(addresses.RelayAddress)}
    assert {entry.__name__ for entry in tables - made_from_others} - {"Feed"} == {entry.__name__ for entry in SECTIONS.values()}
