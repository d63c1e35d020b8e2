"""Requests made from the OpenAPI document, good ones and bad ones, against the real front and guard: never a fault, always as described."""

from collections.abc import Callable
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from rig.house import House
from schemathesis import Case, GenerationMode, SerializationContext
from schemathesis.checks import content_type_conformance, response_schema_conformance, status_code_conformance

from watchdog.front.batches import LINES
from watchdog.front.problems import URN

pytestmark = pytest.mark.rig

ROUTES = [
    ("GET", "/livez"),
    ("GET", "/readyz"),
    ("GET", "/api/v1/openapi.json"),
    ("GET", "/api/v1/status"),
    ("GET", "/api/v1/printers"),
    ("GET", "/api/v1/printers/{name}"),
    ("GET", "/api/v1/events"),
    ("GET", "/api/v1/trips"),
    ("GET", "/api/v1/trips/{id}"),
    ("POST", "/api/v1/readings"),
    ("POST", "/api/v1/printers/{name}/trip"),
    ("POST", "/api/v1/printers/{name}/reset"),
]
"""All but the stream, which would not end and has tests of its own."""

WITHOUT_ANY = ("/livez", "/readyz")
"""Nothing is asked of them, so nothing of it can be wrong."""

CHECKS = [status_code_conformance, content_type_conformance, response_schema_conformance]
MAY_BE_UNAVAILABLE = {URN + name for name in ("not-ready", "guard-busy", "busy")}


@schemathesis.serializer(*LINES)
def as_lines(_context: SerializationContext, value: Any) -> bytes:
    """The document calls lines a text."""
    return value if isinstance(value, bytes) else str(value).encode(errors="replace")


@pytest.fixture(scope="module")
def described(home: House) -> Any:
    answer = home.front.get("/api/v1/openapi.json", home.tokens["all"])
    assert answer.status == 200
    return schemathesis.openapi.from_dict(answer.json)


def test_every_route_but_the_stream_is_tried(described: Any) -> None:
    found = {(one.ok().method.upper(), one.ok().path) for one in described.get_all_operations()}
    assert found == {*ROUTES, ("GET", "/api/v1/events/stream")}


@pytest.mark.parametrize(
    ("method", "path", "mode"),
    [(*route, mode) for route in ROUTES for mode in GenerationMode if route[1] not in WITHOUT_ANY or mode is GenerationMode.POSITIVE],
    ids=str,
)
def test_no_request_is_a_fault_and_every_answer_is_as_described(
    home: House, described: Any, method: str, path: str, mode: GenerationMode, long_count: Callable[[int, int], int]
) -> None:
    operation = described[path][method]
    cases: Any = operation.as_strategy(generation_mode=mode)
    if "{name}" in path:
        cases |= operation.as_strategy(generation_mode=mode, path_parameters={"name": "cinder"})

    @settings(
        max_examples=long_count(10, 120),
        phases=[Phase.generate],
        suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
    )
    @given(case=cases, token=st.sampled_from([home.tokens["all"]] * 4 + [home.tokens["none of it"], ""]))
    def hold(case: Case[Any], token: str) -> None:
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        response = case.call(base_url=f"http://127.0.0.1:{home.front.port}", headers=headers, timeout=15)
        if response.status_code >= 500:
            assert response.status_code == 503, response.text
            assert response.json()["type"] in MAY_BE_UNAVAILABLE, response.text
        case.validate_response(response, checks=CHECKS)

    hold()
    assert "a fault of the front" not in home.front.log()
