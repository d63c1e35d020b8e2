"""Running a small program that may do anything: hang, fork, print without end. It is over when it is over.

It runs in a session of its own, without a shell and without input, and what is left of its session is killed
afterwards. Only a child that starts yet another session of its own could get away.
"""

import contextlib
import os
import selectors
import signal
import subprocess
from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

KEPT_BYTES: Final = 65536
CHUNK_BYTES: Final = 65536
LOOK_S: Final = 0.02
"""How often to look whether the program is over although its output is still open, or whether it is to be stopped."""


class Outcome(NamedTuple):
    """How it ended: `why` is empty for exit status 0. `output` is the beginning of what it printed."""

    why: str
    output: bytes = b""
    stopped: bool = False


def run(argv: Sequence[str], env: Mapping[str, str], *, limit_s: float, now: Callable[[], float], stop: Callable[[], bool]) -> Outcome:
    """Run `argv` for at most `limit_s`; as soon as `stop()` is true it is killed. Never raises for what the program does."""
    until = now() + limit_s
    try:
        process = subprocess.Popen(  # noqa: S603 - the settings name the program; nothing is ever added to it
            list(argv),
            env=dict(env),
            cwd="/",
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
            bufsize=0,
        )
    except OSError as error:
        return Outcome(_not_started(argv[0], error))
    with process, selectors.DefaultSelector() as pipes:
        kept = {"out": bytearray(), "err": bytearray()}
        try:
            for name, pipe in (("out", process.stdout), ("err", process.stderr)):
                assert pipe is not None
                os.set_blocking(pipe.fileno(), False)
                pipes.register(pipe, selectors.EVENT_READ, name)
            cut_short = _follow(process.pid, pipes, kept, until, now, stop)
        finally:
            _end(process)
        _read(pipes, kept, 0)
    return _outcome(process.returncode, cut_short, limit_s, kept)


def _follow(
    pid: int,
    pipes: selectors.BaseSelector,
    kept: dict[str, bytearray],
    until: float,
    now: Callable[[], float],
    stop: Callable[[], bool],
) -> str:
    """Read until the program is over ("") or must be ended ("time" or "stop")."""
    while not _over(pid):
        if stop():
            return "stop"
        left = until - now()
        if left <= 0:
            return "time"
        _read(pipes, kept, min(left, LOOK_S))
    return ""


def _over(pid: int) -> bool:
    """Without reaping it: as long as it is not reaped, its number, and that of its group, belong to nobody else."""
    return os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None


def _end(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def _read(pipes: selectors.BaseSelector, kept: dict[str, bytearray], longest_s: float) -> None:
    """Keep the beginning, drop the rest. One chunk a pipe, so that endless output cannot hold us."""
    if not pipes.get_map():
        longest_s = min(longest_s, 0.005)
    for key, _ in pipes.select(longest_s):
        try:
            chunk = os.read(key.fd, CHUNK_BYTES)
        except BlockingIOError:
            continue
        if chunk:
            room = KEPT_BYTES - len(kept[key.data])
            kept[key.data] += chunk[:room]
        else:
            pipes.unregister(key.fd)


def _outcome(status: int, cut_short: str, limit_s: float, kept: dict[str, bytearray]) -> Outcome:
    output = bytes(kept["out"])
    if cut_short == "stop":
        return Outcome("stopped", output, stopped=True)
    if cut_short == "time":
        return Outcome(f"over its time limit of {limit_s:g} s, killed", output)
    if status == 0:
        return Outcome("", output)
    said = bytes(kept["err"][:160]).decode("utf-8", "replace").strip().partition("\n")[0]
    hint = f": {said!a}" if said else ""
    return Outcome(f"killed by signal {-status}{hint}" if status < 0 else f"exit status {status}{hint}", output)


def _not_started(program: str, error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return f"not found: {program} (or the interpreter that its first line names)"
    if isinstance(error, PermissionError):
        return f"not executable: {program}"
    return f"cannot start {program}: {error.strerror}"
