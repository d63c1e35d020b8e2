"""A TCP proxy that delays what comes from the far end: latency and jitter, for kernels that have none to offer."""

import asyncio
import contextlib
import random
import threading
from types import TracebackType
from typing import Self


class SlowLine:
    """Listens on `port` of loopback and connects on to `host` and `to`. `delay_s` and `jitter_s` may be changed at any time."""

    def __init__(self, host: str, to: int, port: int) -> None:
        self.port, self.delay_s, self.jitter_s = port, 0.0, 0.0
        self._to = (host, to)
        self._dice = random.Random(port)
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self._stop = asyncio.Event()
        self._thread = threading.Thread(target=self._loop.run_until_complete, args=(self._serve(),), daemon=True)

    async def _serve(self) -> None:
        async with await asyncio.start_server(self._client, "127.0.0.1", self.port):
            self._ready.set()
            await self._stop.wait()
        tasks = asyncio.all_tasks() - {asyncio.current_task()}
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    async def _client(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError, asyncio.CancelledError):
            far_reader, far_writer = await asyncio.open_connection(*self._to)
            try:
                await asyncio.gather(self._copy(reader, far_writer), self._slowly(far_reader, writer))
            finally:
                far_writer.close()
                writer.close()

    async def _copy(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await reader.read(65536):
            writer.write(data)
            await writer.drain()

    async def _slowly(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Each piece leaves `delay_s` after it came, with jitter, and never before the one in front of it."""
        pieces: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue()

        async def leave() -> None:
            while True:
                at, data = await pieces.get()
                await asyncio.sleep(max(0.0, at - self._loop.time()))
                writer.write(data)

        leaving = asyncio.create_task(leave())
        try:
            while data := await reader.read(65536):
                await pieces.put((self._loop.time() + self.delay_s + self._dice.uniform(0.0, self.jitter_s), data))
        finally:
            leaving.cancel()

    def __enter__(self) -> Self:
        self._thread.start()
        assert self._ready.wait(5)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(5)
        self._loop.close()
