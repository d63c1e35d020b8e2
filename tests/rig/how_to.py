"""The how-to pages as a reader uses them: their files written to a folder of one's own, their commands typed into one shell.

A fenced block is a file when the line before it holds nothing but a name in backticks: `heatwarden.toml` and `printers/anvil.toml` are
relative to the settings directory, a full path is that of a program.
"""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

TOP = Path(__file__).parents[2]
FOLDER = TOP / "docs" / "how-to"

_FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_FILE_NAME = re.compile(r"(?:\n|\A)`([\w./-]+)`\s*\Z")
_SECRET = re.compile(r'^\s*(?:\w+\s*=\s*\{.*)?\b(?:\w+_file)\s*=\s*"([^"]+)"', re.MULTILINE)


@dataclass(frozen=True)
class Block:
    """One fenced block; `file` is empty for one that is no file."""

    language: str
    file: str
    text: str


class Page:
    """One page."""

    def __init__(self, path: Path) -> None:
        self.path, self.text = path, path.read_text(encoding="utf-8")
        self.blocks = [Block(found[1], self._file_of(found.start()), found[2]) for found in _FENCE.finditer(self.text)]

    def _file_of(self, start: int) -> str:
        name = _FILE_NAME.search(self.text[:start].rstrip("\n"))
        return name[1] if name else ""

    @property
    def prose(self) -> str:
        """All that is no block and no piece of code."""
        return re.sub(r"`[^`\n]*`", "`code`", _FENCE.sub("", self.text))

    @property
    def settings(self) -> list[Block]:
        return [block for block in self.blocks if block.language == "toml"]

    def file(self, name: str) -> Block:
        return next(block for block in self.blocks if block.file == name)

    def headings(self) -> list[str]:
        return re.findall(r"^## (.+)$", self.text, re.MULTILINE)


def pages() -> list[Page]:
    return [Page(path) for path in sorted(FOLDER.glob("*.md"))]


def page(name: str) -> Page:
    return Page(FOLDER / name)


class Bench:
    """A page's files in a folder of one's own. What a page keeps in the places of a real computer stands below `place`."""

    def __init__(self, shown: Page, place: Path, port: int = 1883) -> None:
        self.page, self.place, self.port = shown, place, port
        self.config, self.state, self.programs = place / "config", place / "state", place / "bin"
        for folder in (self.config / "printers", self.state, self.programs):
            folder.mkdir(parents=True)
        for block in shown.blocks:
            if block.file:
                self._write(block)

    def here(self, text: str) -> str:
        """The text with the places and the port of this bench."""
        for there, here in (("/etc/heatwarden", self.config), ("/var/lib/heatwarden", self.state), ("/usr/local/bin", self.programs)):
            text = text.replace(there, str(here))
        text = re.sub(r'^host = "127\.0\.0\.1"$', rf"\g<0>\nport = {self.port}", text, flags=re.MULTILINE)
        return text.replace("-h 127.0.0.1", f"-h 127.0.0.1 -p {self.port}")

    def _write(self, block: Block) -> None:
        if block.file.startswith("/"):
            path = Path(self.here(block.file))
            path.write_text(self.here(block.text).replace("#!/usr/bin/python3", f"#!{sys.executable}"))
            path.chmod(0o755)
            return
        path = self.config / block.file
        path.write_text(self.here(block.text))
        path.chmod(0o644)
        for secret in _SECRET.findall(block.text):
            self._secret(secret)

    def _secret(self, name: str) -> None:
        """Made as the page says it is to be made."""
        assert re.search(rf"install -m (?:600|640) .*{re.escape(name)}", self.page.text), f"{self.page.path.name}: how to make {name}?"
        path = Path(self.here(name))
        path.write_text("a word for the guard\n")
        path.chmod(0o600)


class Shell:
    """One bash into which the commands of a page are typed. `heatwarden` is the one under test."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        command = bench.programs / "heatwarden"
        command.write_text(f'#!/bin/sh\nexec {sys.executable} -m watchdog.cli.main "$@"\n')
        command.chmod(0o755)
        bash = shutil.which("bash")
        assert bash is not None
        env = os.environ | {"PATH": f"{bench.programs}:{os.environ['PATH']}", "HEATWARDEN_CONFIG": str(bench.config), "NO_COLOR": "1"}
        self._process = subprocess.Popen(
            [bash, "--norc"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=env, text=True
        )

    def run(self, text: str) -> str:
        """Run it; what it printed."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{self.bench.here(text)}\nprintf '\\n==done==\\n'\n")
        self._process.stdin.flush()
        said = []
        for line in self._process.stdout:
            if line == "==done==\n":
                break
            said.append(line)
        return "".join(said)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()


def alike(line: str) -> str:
    """A line of output without what differs from run to run: numbers, and how wide it is spaced."""
    return " ".join(re.sub(r"\d[\d.:/+-]*", "0", line).split())


def follow(shown: Page, shell: Shell, start_guard: Callable[[], object]) -> int:
    """Type every `sh` block of a page; a block of text after one is what must come of it. Returns how many were typed.

    `heatwarden guard`, which a reader types into a second terminal, is `start_guard`.
    """
    typed = 0
    for block, after in zip(shown.blocks, [*shown.blocks[1:], None], strict=True):
        if block.language != "sh":
            continue
        if block.text == "heatwarden guard\n":
            start_guard()
            continue
        said = shell.run(block.text)
        typed += 1
        wanted = after.text.splitlines() if after is not None and after.language == "text" else []
        missing = [line for line in wanted if alike(line) not in {alike(told) for told in said.splitlines()}]
        assert missing == [], f"typed:\n{block.text}\nsaid:\n{said}"
        assert not re.search(r"not authorised|refused|Error", said), said
    return typed
