"""Which system calls a service manager's filter lets through, and which ones a process makes."""

import re
import subprocess
from functools import cache
from pathlib import Path


@cache
def members(group: str) -> frozenset[str]:
    """The calls of a group such as @system-service, its sub-groups resolved."""
    done = subprocess.run(["systemd-analyze", "syscall-filter", "--no-pager", group], check=True, capture_output=True, text=True)
    words = {line.strip() for line in done.stdout.splitlines()[1:] if line.strip() and not line.strip().startswith("#")}
    return frozenset().union(*(members(word) if word.startswith("@") else {word} for word in words))


def allowed(filters: list[str]) -> frozenset[str]:
    """What the `SystemCallFilter` lines of a unit come to."""
    calls: frozenset[str] = members("@default")
    for line in filters:
        groups = frozenset().union(*(members(word) for word in line.removeprefix("~").split()))
        calls = calls - groups if line.startswith("~") else calls | groups
    return calls


def made(trace: Path) -> frozenset[str]:
    """The names in what strace has written."""
    return frozenset(re.findall(r"^(?:\d+ +)?(\w+)\(", trace.read_text(errors="replace"), re.MULTILINE))


def families(trace: Path) -> frozenset[str]:
    """The kinds of sockets it asked for."""
    return frozenset(re.findall(r"\bsocket(?:pair)?\((AF_\w+|PF_\w+)", trace.read_text(errors="replace")))
