"""What is said once more, or comes late, is no new evidence."""

from typing import Protocol

from watchdog.core.inputs import Reading

REPEAT_SHARE, REPEAT_MOST_S = 0.3, 1.0
"""The very same message within this share of the longest interval, or this time, is a message that was delivered twice."""

REPEAT_PERIODS = 0.6
"""And only where it usually comes later than that, in reporting periods."""

FROM_VALUES = Reading._fields.index("temperature_c")


class Heard(Protocol):
    """What was heard of a heater so far, and of each further sensor; times in seconds."""

    newest: Reading | None
    newest_of: dict[str, Reading]
    repeat_s: float

    @property
    def period_s(self) -> float | None: ...


def repeat_s(longest_interval_s: float) -> float:
    """Within this time, in seconds, the very same message may be one that was delivered twice."""
    return min(REPEAT_SHARE * longest_interval_s, REPEAT_MOST_S)


def is_news(heard: Heard, reading: Reading) -> bool:
    """False for what is older than, or the very same as, what was heard last of the same sensor."""
    newest = heard.newest_of.get(reading.sensor) if reading.sensor else heard.newest
    if newest is None:
        return True
    later_s = reading.at - newest.at
    if later_s > heard.repeat_s:
        return True
    if later_s > 0.0:
        period_s = heard.period_s
        if period_s is None or later_s > REPEAT_PERIODS * period_s:
            return True
    return later_s >= 0.0 and reading[FROM_VALUES:] != newest[FROM_VALUES:]
