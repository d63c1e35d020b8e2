"""Tokens: which are good, until when, and what becomes of a file that is not."""

import os
import threading
from pathlib import Path
from typing import Any

import orjson
import pytest
from rig.front_by_hand import made

from watchdog.guard.token_file import NAME, Token, TokensUnusableError, read_tokens, write_tokens
from watchdog.guard.tokens import MISSING, MOST_BAD, OVER, UNKNOWN, WAIT, WITHIN_S, Tokens

NOON_S = 1_792_929_600.0


class Bench:
    def __init__(self, folder: Path) -> None:
        self.folder, self.at, self.wall_s = folder, 100.0, NOON_S
        self.told: list[tuple[str, str]] = []
        self.tokens = Tokens(folder, lambda: self.at, lambda: self.wall_s, lambda level, text: self.told.append((level, text)))

    def write(self, *tokens: Token) -> None:
        write_tokens(self.folder, tokens)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_what_is_written_is_read_again_by_its_owner_alone(tmp_path: Path) -> None:
    tokens = (made("bench tablet", ("read", "trip"))[1], made("Ünï", ("report",), ("anvil",), NOON_S)[1])
    write_tokens(tmp_path, tokens)
    assert read_tokens(tmp_path) == tokens
    assert (tmp_path / NAME).stat().st_mode & 0o777 == 0o600
    assert [path.name for path in tmp_path.iterdir()] == [NAME]


def test_a_token_is_good_from_the_moment_it_is_kept_until_it_is_not(bench: Bench) -> None:
    secret, token = made("visitor")
    assert bench.tokens.verify(secret) == UNKNOWN
    bench.write(token)
    assert bench.tokens.verify(secret) == token
    assert bench.tokens.verify(secret[:-1] + "?") == UNKNOWN
    assert bench.tokens.verify("") == MISSING
    bench.write()
    assert bench.tokens.verify(secret) == UNKNOWN
    assert [level for level, _ in bench.told] == ["info", "info"]
    assert "taken away 'visitor'" in bench.told[-1][1]


def test_a_token_ends_by_the_wall_clock(bench: Bench) -> None:
    secret, token = made("visitor", until_s=NOON_S + 60.0)
    bench.write(token)
    assert bench.tokens.verify(secret) == token
    bench.wall_s += 60.0
    assert bench.tokens.verify(secret) == OVER


def test_bad_tokens_in_numbers_wait_and_good_ones_go_on(bench: Bench) -> None:
    secret, token = made("tablet")
    bench.write(token)
    assert [bench.tokens.verify(f"hw_{number}") for number in range(MOST_BAD)] == [UNKNOWN] * MOST_BAD
    assert [bench.tokens.verify(f"hw_{number}") for number in range(5)] == [WAIT] * 5
    assert bench.tokens.verify(secret) == token
    assert [text for _, text in bench.told if "bad tokens" in text] == [
        f"{MOST_BAD} bad tokens within 60 s: somebody tries, or something uses an old one"
    ]
    bench.at += WITHIN_S
    assert bench.tokens.verify("hw_again") == UNKNOWN


GOOD = orjson.loads(
    b'{"format":1,"tokens":[{"name":"a","scopes":["read"],"printers":[],"until":null,"sha256":"' + b"ab" * 32 + b'","made":"now"}]}'
)


FLAWS: tuple[dict[str, Any], ...] = (
    {"scopes": []},
    {"scopes": ["all"]},
    {"scopes": "read"},
    {"printers": "anvil"},
    {"printers": [1]},
    {"until": "soon"},
    {"until": 7},
    {"sha256": "ab"},
    {"sha256": "zz" * 32},
    {"sha256": None},
    {"name": ""},
    {"name": "it's"},
    {"name": "\u202e"},
    {"name": 7},
)
DAMAGED = (
    b"",
    b"\x00" * 300,
    b"[]",
    b'{"format":2,"tokens":[]}',
    b'{"format":1,"tokens":{}}',
    b"[" * 5000,
    orjson.dumps(GOOD | {"tokens": GOOD["tokens"] * 2}),
    *(orjson.dumps(GOOD | {"tokens": [GOOD["tokens"][0] | flaw]}) for flaw in FLAWS),
)


@pytest.mark.parametrize("raw", DAMAGED, ids=range(len(DAMAGED)))
def test_of_a_damaged_file_no_token_is_good_and_that_is_loud_once(bench: Bench, raw: bytes) -> None:
    secret, token = made("tablet")
    bench.write(token)
    assert bench.tokens.verify(secret) == token
    (bench.folder / NAME).write_bytes(raw)
    assert [bench.tokens.verify(secret) for _ in range(3)] == [UNKNOWN] * 3
    assert bench.tokens.why == f"{NAME} is damaged"
    assert [level for level, _ in bench.told] == ["warning"]
    bench.write(token)
    assert bench.tokens.verify(secret) == token
    assert bench.tokens.why == ""


def test_the_good_file_of_that_test_is_good(tmp_path: Path) -> None:
    (tmp_path / NAME).write_bytes(orjson.dumps(GOOD))
    (tmp_path / NAME).chmod(0o600)
    assert [token.name for token in read_tokens(tmp_path)] == ["a"]


def test_a_file_that_others_could_have_written_is_not_trusted(bench: Bench) -> None:
    """Threats S03 and S17: whoever can write it could let himself in."""
    secret, token = made("tablet")
    bench.write(token)
    (bench.folder / NAME).chmod(0o620)
    assert bench.tokens.verify(secret) == UNKNOWN
    assert "written by others" in bench.tokens.why
    (bench.folder / NAME).unlink()
    (bench.folder / NAME).symlink_to("/dev/null")
    with pytest.raises(TokensUnusableError, match="cannot be read"):
        read_tokens(bench.folder)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a file away")
def test_what_root_writes_belongs_to_the_owner_of_the_directory(tmp_path: Path) -> None:
    os.chown(tmp_path, 4711, 4712)
    write_tokens(tmp_path, (made("tablet")[1],))
    status = (tmp_path / NAME).stat()
    assert (status.st_uid, status.st_gid) == (4711, 4712)


def test_many_threads_at_once_see_one_truth(bench: Bench) -> None:
    secret, token = made("tablet")
    bench.write(token)
    found: list[object] = []
    threads = [threading.Thread(target=lambda: found.extend(bench.tokens.verify(secret) for _ in range(50))) for _ in range(8)]
    for thread in threads:
        thread.start()
        bench.write(token, made("other")[1])
    for thread in threads:
        thread.join()
    assert found == [token] * 400
