"""Other processes as the kernel shows them."""

from pathlib import Path


def children(pid: int) -> dict[int, str]:
    """The living children of a process: their command lines by their ids."""
    found = {}
    for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
        line = command_line(int(word))
        if line:
            found[int(word)] = line
    return found


def child(pid: int, word: str) -> int | None:
    """The id of the one child whose command line holds `word` as an argument; None while there is none."""
    return next((number for number, line in children(pid).items() if word in line.split()), None)


def command_line(pid: int) -> str:
    """Empty for a process that is gone or dead."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode().strip()
    except OSError:
        return ""


def lives(pid: int) -> bool:
    """False also for a dead one that nobody has buried yet."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def oom_score(pid: int) -> int:
    """Who is first to go when memory runs out: the higher one."""
    return int(Path(f"/proc/{pid}/oom_score").read_text())
