"""The front's client of the guard's second socket, against servers that do what a guard in trouble does."""

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import orjson
import pytest

from watchdog.front.guard_client import MOST_CONNECTIONS, GuardClient
from watchdog.front.problems import Problem

Handler = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]
WITHIN_S = 0.3


class Served:
    """A socket that one handler serves, and how often it was connected to."""

    def __init__(self, path: Path, handler: Handler) -> None:
        self.path, self.connections = path, 0
        self._handler = handler

    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.connections += 1
        try:
            await self._handler(reader, writer)
        except ConnectionError:
            pass
        finally:
            writer.close()

    async def start(self) -> asyncio.Server:
        self.path.unlink(missing_ok=True)
        return await asyncio.start_unix_server(self._connected, self.path)


async def echo(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    while line := await reader.readline():
        writer.write(orjson.dumps({"ok": True, "asked": orjson.loads(line)}) + b"\n")


def run(path: Path, handler: Handler, story: Callable[[GuardClient, Served], Awaitable[None]]) -> None:
    async def whole() -> None:
        served = Served(path, handler)
        client = GuardClient(path, WITHIN_S)
        async with await served.start():
            await story(client, served)
            await client.close()

    asyncio.run(asyncio.wait_for(whole(), 10))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "front.sock"


def test_one_connection_serves_many_questions(path: Path) -> None:
    async def story(client: GuardClient, served: Served) -> None:
        for number in range(50):
            assert (await client.ask({"n": number}))["asked"] == {"n": number}
        assert served.connections == 1

    run(path, echo, story)


def test_many_questions_at_once_share_a_few_connections_and_each_gets_its_own_answer(path: Path) -> None:
    async def story(client: GuardClient, served: Served) -> None:
        replies = await asyncio.gather(*(client.ask({"n": number}) for number in range(200)))
        assert [reply["asked"]["n"] for reply in replies] == list(range(200))
        assert served.connections <= MOST_CONNECTIONS

    run(path, echo, story)


async def _away(client: GuardClient, **how: Any) -> str:
    with pytest.raises(Problem) as problem:
        await client.ask({"n": 1}, **how)
    assert problem.value.name == "guard-away"
    return problem.value.detail


def test_without_a_guard_it_says_so_and_finds_it_as_soon_as_it_is_there(path: Path) -> None:
    async def whole() -> None:
        client = GuardClient(path, WITHIN_S)
        await _away(client)
        async with await Served(path, echo).start():
            assert (await client.ask({"n": 1}))["ok"]
            await client.close()

    asyncio.run(whole())


def test_a_guard_that_says_nothing_is_given_up_in_time_and_its_late_answer_is_never_taken_for_another(path: Path) -> None:
    slow = True

    async def late(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while line := await reader.readline():
            if slow:
                await asyncio.sleep(2 * WITHIN_S)
            writer.write(orjson.dumps({"ok": True, "asked": orjson.loads(line)}) + b"\n")

    async def story(client: GuardClient, served: Served) -> None:
        nonlocal slow
        assert "did not answer within" in await _away(client)
        slow = False
        await asyncio.sleep(2 * WITHIN_S)
        assert (await client.ask({"n": 2}))["asked"] == {"n": 2}
        assert served.connections == 2

    run(path, late, story)


def test_connections_that_the_guard_has_closed_meanwhile_cost_nobody_an_answer(path: Path) -> None:
    async def one_each(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        line = await reader.readline()
        writer.write(orjson.dumps({"ok": True, "asked": orjson.loads(line)}) + b"\n")
        await writer.drain()

    async def story(client: GuardClient, served: Served) -> None:
        for number in range(20):
            assert (await client.ask({"n": number}))["asked"] == {"n": number}
        assert served.connections == 20

    run(path, one_each, story)


def test_an_act_is_sent_once_even_when_its_connection_breaks(path: Path) -> None:
    lines: list[bytes] = []

    async def breaks(reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        lines.append(await reader.readline())

    async def story(client: GuardClient, served: Served) -> None:
        await _away(client, once=True)
        assert (len(lines), served.connections) == (1, 1)

    run(path, breaks, story)


@pytest.mark.parametrize("said", [b"nonsense\n", b"[]\n", b'{"ok": 1}\n', b'{"ok": true', b"\xff\n"])
def test_what_is_no_reply_is_no_guard(path: Path, said: bytes) -> None:
    async def babbles(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        writer.write(said)
        await writer.drain()

    async def story(client: GuardClient, _served: Served) -> None:
        await _away(client)

    run(path, babbles, story)


def test_when_all_connections_hang_the_next_question_is_given_up_in_time_too(path: Path) -> None:
    async def hangs(reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        while await reader.readline():
            pass

    async def story(client: GuardClient, _served: Served) -> None:
        began = asyncio.get_running_loop().time()
        replies = await asyncio.gather(*(client.ask({"n": number}) for number in range(4 * MOST_CONNECTIONS)), return_exceptions=True)
        assert all(isinstance(reply, Problem) for reply in replies)
        assert asyncio.get_running_loop().time() - began < 4 * WITHIN_S

    run(path, hangs, story)
