"""What the fault tests share: a broker, slow rows that run in the background from the start, and the table of what was measured.

A module whose rows mostly wait defines `begin_early(stack, folder, full)`. It is called before the first test of this folder, what it
returns is the fixture `story` of its tests, and these come last, when there is little left to wait for.
"""

from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any

import pytest
from rig.broker import MosquittoBroker


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MosquittoBroker]:
    """One broker for a module whose rows leave it alone."""
    with MosquittoBroker(tmp_path_factory.mktemp("broker")) as running:
        yield running


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: hasattr(getattr(item, "module", None), "begin_early"))


@pytest.fixture(scope="session", autouse=True)
def early(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    """What has begun early, by the name of its module; an exception where it could not."""
    modules = {item.module.__name__: item.module for item in request.session.items if isinstance(item, pytest.Function)}
    begun: dict[str, Any] = {}
    with ExitStack() as stack:
        for name, module in modules.items():
            if hasattr(module, "begin_early"):
                try:
                    begun[name] = module.begin_early(stack, tmp_path_factory.mktemp("early"), full=request.config.getoption("--long"))
                except (Exception, pytest.skip.Exception) as problem:  # noqa: BLE001 - it is raised again by those whom it concerns
                    begun[name] = problem
        yield begun


@pytest.fixture
def story(early: dict[str, Any], request: pytest.FixtureRequest) -> Any:
    """What the module of this test has begun."""
    begun = early[request.module.__name__]
    if isinstance(begun, BaseException):
        raise begun
    return begun
