"""A Containerfile, as far as a test must understand it."""

import re
import shlex
import shutil
from pathlib import Path
from typing import NamedTuple

import orjson


class Line(NamedTuple):
    """One instruction, its continuation lines joined."""

    word: str
    rest: str

    def words(self) -> list[str]:
        """The list of an instruction in its JSON form, or the words of the plain form."""
        if self.rest.startswith("["):
            found: list[str] = orjson.loads(self.rest)
            return found
        return shlex.split(self.rest)


def stages(path: Path) -> list[list[Line]]:
    """The instructions of each stage; each begins with its FROM."""
    text = "\n".join(line for line in path.read_text(encoding="utf-8").splitlines() if not line.lstrip().startswith("#"))
    found: list[list[Line]] = []
    for line in text.replace("\\\n", " ").splitlines():
        if line.strip():
            word, _, rest = line.strip().partition(" ")
            if word == "FROM":
                found.append([])
            found[-1].append(Line(word, " ".join(rest.split())))
    return found


def copy_in(stage: list[Line], source: Path, target: Path) -> None:
    """What the COPY lines of a stage take from the build context."""
    for line in stage:
        if line.word == "COPY":
            *names, place = line.words()
            for name in names:
                into = target / place if not place.endswith("/") else target / place / Path(name).name
                if (source / name).is_dir():
                    shutil.copytree(source / name, into, ignore=shutil.ignore_patterns("__pycache__"))
                else:
                    shutil.copy(source / name, into)


def commands(stage: list[Line], places: dict[str, str]) -> list[str]:
    """The shell commands of the RUN lines, with the container's own places put elsewhere."""
    found = [line.rest for line in stage if line.word == "RUN"]
    for here, there in places.items():
        found = [re.sub(rf"(?<!\S){re.escape(here)}(?=[\s/]|$)", there, command) for command in found]
    return found
