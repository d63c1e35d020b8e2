"""A network namespace with a real broker in it, and several lines to it that can each be spoilt. Root only."""

import os
import shutil
import subprocess
from itertools import count
from pathlib import Path
from string import ascii_lowercase
from types import TracebackType
from typing import Self

import pytest
from rig.broker import MOSQUITTO, MosquittoBroker, wait_for

NUMBERS = count()


def run(*command: str) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)}: {done.stderr.strip()}")


class Namespace:
    """Lines are numbered from 0. Line N leads from this host to `address(N)` in the namespace; rules are put up inside of it."""

    def __init__(self, lines: int) -> None:
        missing = [tool for tool in ("ip", "iptables") if shutil.which(tool) is None]
        if missing or os.geteuid() != 0:
            pytest.skip(f"network faults need root and the commands ip and iptables; missing: {', '.join(missing) or 'root'}")
        number = next(NUMBERS)
        self.name = f"hw{os.getpid() % 1_000_000}{ascii_lowercase[number % 26]}"
        self._net = f"10.{100 + (os.getpid() + number) % 100}"  # two runs at once must not share their addresses
        self._lines = lines

    def address(self, line: int) -> str:
        return f"{self._net}.{line}.2"

    def near(self, line: int) -> str:
        """The address of this host on a line, as seen from inside."""
        return f"{self._net}.{line}.1"

    def nobody(self, line: int) -> str:
        """An address on a line that nobody has."""
        return f"{self._net}.{line}.9"

    def outer(self, line: int) -> str:
        return f"{self.name}o{line}"

    def inner(self, line: int) -> str:
        return f"{self.name}i{line}"

    def inside(self, *command: str) -> None:
        """Run a command in the namespace."""
        run("ip", "netns", "exec", self.name, *command)

    def rule(self, line: int, *words: str, add: bool = True) -> None:
        """An iptables rule for what comes in on a line, and its twin for what goes out, unless `words` allow only one of them."""
        step = "-A" if add else "-D"
        self.inside("iptables", step, "INPUT", "-i", self.inner(line), "-p", "tcp", *words)
        if "tcp-reset" not in words:
            self.inside("iptables", step, "OUTPUT", "-o", self.inner(line), "-p", "tcp", *words)

    def count(self, line: int) -> int:
        """How many packets the rules of a line have met that open a connection (`--syn`)."""
        listed = subprocess.run(
            ["ip", "netns", "exec", self.name, "iptables", "-nvxL", "INPUT"], capture_output=True, text=True, check=True
        )
        return sum(int(row.split()[0]) for row in listed.stdout.splitlines() if self.inner(line) in row and "flags:0x17/0x02" in row)

    def link(self, line: int, *, up: bool) -> None:
        """Pull the plug of a line, or put it in again."""
        run("ip", "link", "set", self.outer(line), "up" if up else "down")

    def __enter__(self) -> Self:
        try:
            run("ip", "netns", "add", self.name)
            self.inside("ip", "link", "set", "lo", "up")
            for line in range(self._lines):
                outer, inner = self.outer(line), self.inner(line)
                run("ip", "link", "add", outer, "type", "veth", "peer", "name", inner, "netns", self.name)
                run("ip", "addr", "add", f"{self._net}.{line}.1/24", "dev", outer)
                run("ip", "link", "set", outer, "up")
                self.inside("ip", "addr", "add", f"{self.address(line)}/24", "dev", inner)
                self.inside("ip", "link", "set", inner, "up")
        except RuntimeError as error:
            self._clear()
            pytest.skip(f"no network namespace can be made here: {error}")
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._clear()

    def _clear(self) -> None:
        subprocess.run(["ip", "netns", "del", self.name], capture_output=True, check=False)  # its ends of the lines go with it


class BrokerInside(MosquittoBroker):
    """A broker in the namespace that can be reached by all lines; line 0 is left alone and serves the rig itself."""

    def __init__(self, folder: Path, namespace: Namespace) -> None:
        self._namespace = namespace
        super().__init__(folder)

    def configure(self, config: str) -> None:
        lines = f"listener {self.port} 0.0.0.0\npersistence false\nuser root\nset_tcp_nodelay true\n{config}"
        (self.folder / "mosquitto.conf").write_text(lines)

    def start(self) -> Self:
        command = ["ip", "netns", "exec", self._namespace.name, str(MOSQUITTO), "-c", str(self.folder / "mosquitto.conf")]
        with (self.folder / "mosquitto.log").open("ab") as log:
            self.process = subprocess.Popen(command, stdout=log, stderr=log)
        if not wait_for(self._answers, 5.0):
            self.stop()
            raise RuntimeError(f"mosquitto did not start in the namespace:\n{self.log()}")
        return self

    @property
    def host(self) -> str:
        return self._namespace.address(0)
