"""Lines of keys, in every way in which TOML can write them."""

from watchdog.settings.lines import Lines

TEXT = b"""# a comment
site = "millbrook"
state.directory = "/var"
"quoted key" = 1

[brokers.main]
tls = { ca_file = "/ca", nested.key = 2 }
list = [
    1,
    # between
    { k = 3 },
]
[[table.entry]]
a = 1
[[table.entry]]
a = 2
"""


def test_each_key_is_found_on_its_line() -> None:
    lines = Lines(TEXT)
    expected = {
        ("site",): 2,
        ("state",): 3,
        ("state", "directory"): 3,
        ("quoted key",): 4,
        ("brokers",): 6,
        ("brokers", "main"): 6,
        ("brokers", "main", "tls", "ca_file"): 7,
        ("brokers", "main", "tls", "nested", "key"): 7,
        ("brokers", "main", "list"): 8,
        ("brokers", "main", "list", 0): 9,
        ("brokers", "main", "list", 1, "k"): 11,
        ("table", "entry", 0, "a"): 14,
        ("table", "entry", 1, "a"): 16,
    }
    assert {path: lines.of(path) for path in expected} == expected


def test_a_missing_key_is_found_at_the_table_that_lacks_it() -> None:
    assert Lines(TEXT).of(("brokers", "main", "host")) == 6
    assert Lines(TEXT).of(("relays", "plug")) == 1
