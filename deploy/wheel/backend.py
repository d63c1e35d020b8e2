"""How this project is built: by setuptools as it is, or with the pure core compiled by mypyc.

`HEATWARDEN_COMPILED=1 pip install .` needs a C compiler and makes a wheel for this machine alone. Its verdicts are the same, to the last
bit: a test compares them. Without it the wheel is plain Python, which stays the truth.
"""

import os
from collections.abc import Mapping
from pathlib import Path
from shutil import rmtree
from typing import Any

import setuptools
from setuptools import build_meta

COMPILED = os.environ.get("HEATWARDEN_COMPILED", "") not in {"", "0"}
COMPILER = "mypy>=2.4"
PURE = ("core", "wire", "thermal", "checks")
LEFT_OUT = {"__init__.py", "feed.py"}
"""Nothing to compile, and a dataclass that pydantic must be able to look into."""

Options = Mapping[str, Any] | None


def modules() -> list[str]:
    """The files that are compiled."""
    folders = (Path("watchdog", folder) for folder in PURE)
    return [str(path) for folder in folders for path in sorted(folder.glob("*.py")) if path.name not in LEFT_OUT]


class _Compiling(build_meta._BuildMetaBackend):  # noqa: SLF001 - the one place at which extensions can be handed over without a setup.py
    def run_setup(self, setup_script: str = "setup.py") -> None:  # noqa: ARG002 - there is none
        from mypyc.build import mypycify  # noqa: PLC0415 - only there once it was asked for

        rmtree("build", ignore_errors=True)  # what an earlier build left there would be packed as well
        setuptools.setup(ext_modules=mypycify(["--config-file=", *modules()], group_name="heatwarden"))


_backend = _Compiling() if COMPILED else build_meta

build_wheel, build_editable = _backend.build_wheel, _backend.build_editable
prepare_metadata_for_build_wheel = build_meta.prepare_metadata_for_build_wheel
prepare_metadata_for_build_editable = build_meta.prepare_metadata_for_build_editable
build_sdist, get_requires_for_build_sdist = build_meta.build_sdist, build_meta.get_requires_for_build_sdist


def get_requires_for_build_wheel(config_settings: Options = None) -> list[str]:
    """What building needs beside setuptools."""
    return [*build_meta.get_requires_for_build_wheel(config_settings), *([COMPILER] if COMPILED else [])]


get_requires_for_build_editable = get_requires_for_build_wheel
