"""Deadlines run in order, each at its exact time, ties settled the same way every time."""

from hypothesis import given
from hypothesis import strategies as st

from watchdog.core.timeline import Timeline
from watchdog.core.values import INFINITY


class Due:
    def __init__(self, order: int, *moments: float) -> None:
        self.order, self.scheduled_at, self.moments = order, INFINITY, list(moments)

    def deadline(self) -> float:
        return self.moments[0] if self.moments else INFINITY


moments = st.lists(st.sampled_from([0.0, 1.0, 1.5, 2.0, 3.0, 7.0]), max_size=6).map(sorted)


@given(st.lists(moments, min_size=1, max_size=5), st.lists(st.sampled_from([0.5, 1.0, 2.0, 4.0, 10.0]), max_size=4).map(sorted))
def test_every_deadline_runs_once_in_order_at_its_time(plans: list[list[float]], looks: list[float]) -> None:
    timeline, everyone = Timeline(), [Due(order, *times) for order, times in enumerate(plans)]
    for one in everyone:
        timeline.schedule(one)
    ran = []
    for look in [*looks, 20.0]:
        for at, due in timeline.due(look):
            assert isinstance(due, Due)
            assert at <= look
            ran.append((at, due.order))
            due.moments.pop(0)
    assert ran == sorted((moment, order) for order, times in enumerate(plans) for moment in times)
    assert timeline.nearest() == INFINITY


def test_a_deadline_that_moved_later_is_found_out_and_one_that_moved_sooner_is_not_missed() -> None:
    timeline, late, soon = Timeline(), Due(1, 5.0), Due(2, 9.0)
    timeline.schedule(late)
    timeline.schedule(soon)
    late.moments, soon.moments = [8.0], [3.0]
    timeline.schedule(soon)
    ran = []
    for at, one in timeline.due(10.0):
        assert isinstance(one, Due)
        ran.append((at, one.order))
        one.moments.pop(0)
    assert ran == [(3.0, 2), (8.0, 1)]
