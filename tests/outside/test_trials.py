"""The labelled trials that others simulated, judged by their own scorer: never a false trip, and faults are caught in time."""

import importlib.util
import random
from collections import Counter
from typing import Any

import orjson
import pytest
import trials
from rig.outside import shared

TRIALS = shared("trials")
CAUGHT_AT_LEAST = 43
"""As many as hand-written window rules catch, which have 12 false trips beside."""


def _scorer() -> Any:
    spec = importlib.util.spec_from_file_location("outside_score", TRIALS / "score.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


SCORER = _scorer()
MANIFEST: list[dict[str, Any]] = orjson.loads((TRIALS / "manifest.json").read_bytes())


def test_a_sample_of_healthy_and_faulty_printers_has_no_false_trip(dice: random.Random) -> None:
    """A quick look; all of them take a while, see below."""
    for entry in dice.sample(MANIFEST, 12):
        log, trips = trials.verdict_of(TRIALS, entry)
        outcome, _ = SCORER.judge(entry, trips)
        assert outcome not in {"false trip", "early"}, f"{log}: {trips[0]}"


@pytest.mark.rig
def test_all_of_them_have_no_false_trip_and_at_least_as_many_faults_are_caught_as_by_window_rules() -> None:
    """Ten seconds and more on two cores."""
    verdicts = trials.verdicts(TRIALS)
    outcomes = {entry["log"]: SCORER.judge(entry, verdicts[entry["log"]])[0] for entry in MANIFEST}
    found = Counter(outcomes.values())
    wrong = {log: outcome for log, outcome in outcomes.items() if outcome not in {"quiet", "caught"}}
    assert found["false trip"] == found["early"] == 0, wrong
    assert found["caught"] >= CAUGHT_AT_LEAST, wrong
    assert found["quiet"] == sum(entry["expect"] == "quiet" for entry in MANIFEST)
