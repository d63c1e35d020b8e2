"""Noise and resolution of a sensor, from its readings alone.

A sensor behind a converter has steps that grow with its temperature, by ten times from a room to a hotend. So noise is counted in
the steps of the very block in which it shows, and a resolution is that of the newest blocks, and of temperatures near theirs.
"""

from math import erf, log, pi, sqrt
from typing import ClassVar

from watchdog.core.values import INFINITY, JsonObject, from_plain, to_plain

BLOCK = 16
"""Readings are looked at in blocks of so many."""

CALM = 6.0
"""A block is calm when its range is at most so many mean steps: 3 for white noise, 15 for a ramp, more for a glitch."""

MOST_RANGE_K = 4.0
"""What moves further in one block is heat, or a bad contact, whatever it looks like."""

TWO_VALUES, HOPS = 1.5, 0.5
"""A block no wider than so many of its steps holds two values. Hardly any noise, at the edge between them, lets every other reading hop."""

SCATTER = 1.8
"""A block of steady noise shows less than it is by chance, but hardly ever less than one part in so many."""

CALM_BLOCKS, STEP_BLOCKS = 3, 3
"""So many calm blocks before anything is said of its noise, and so many of any kind before its smallest step is."""

SETTLED_BLOCKS, CLEAR = 4, 4.0
"""Noise below so many steps looks like a controller that settles until there were so many calm blocks."""

FALLS, RISES = 0.15, 0.08
"""The calmest blocks tell the noise: what a controller does adds to the others, and must not be taken for it."""

BEND_BLOCKS, BEND_SHOWS = 3, 0.65
"""After so many moving blocks, how its readings bend from one to the next tells noise too, where it is at least so many of its steps."""

SMALLEST_STEP_K = 1e-6

NEAR_K = 40.0
"""So far from where they were seen, steps may be half, or twice, as large."""

PER_STEP = 2.0 / sqrt(pi)
"""Mean absolute difference of two independent normal values with a standard deviation of one."""

PER_BEND = sqrt(6.0) * sqrt(2.0 / pi)
"""Mean absolute second difference of independent normal values: their standard deviations add as 1, 2 and 1. A ramp adds nothing."""

STICKY_LEAST, STICKY_SHARE, FORGETS_BLOCKS = 4.0, 0.6, 256
"""A row of equal readings that ended by itself, longer than this and than this share of what chance allows at most (one in a million),
is no noise's: a converter that averages has fine steps at the edges of its counts, and one value in between, where a held heater may
rest for minutes. After so many blocks a row counts half, or chance would bring one some day."""

NO_CHANCE = 1e-10
"""A row of equal readings that noise leaves only so rarely is no chance."""


class Roughness:
    """Noise from the steps within calm blocks, resolution from the smallest step seen.

    `noise_k` is one standard deviation in kelvin; None while it learns. `lively_steps` is the noise that its readings surely have and
    go on having, in steps of its resolution; None where that is not known. `longest_row` counts the equal readings of the longest row
    that ended by itself. Ramps,
    glitches and rows of one value teach nothing, so that heating up looks no noisier and a stuck sensor no quieter than
    the sensor is. Noise far below the resolution cannot be seen and counts as less than half a step.

    Before there was a calm block, noise is what the steadiest block bends: a ramp does not bend, and its steps alone bend by less
    than `BEND_SHOWS` steps of noise would.
    """

    STATE: ClassVar[tuple[str, ...]] = (
        "_last_c", "_last_step_k", "_count", "_moves", "_low_c", "_high_c", "_steps_k", "_bends_k", "_least_k",
        "_blocks", "_calm", "_bent", "_newest", "_second", "_third", "_noise_k", "_noise", "_bend_k", "_bend", "_smallest_k",
        "_fine_k", "_finer_k", "_finest_k", "_seen_c", "_row", "longest_row",
    )  # fmt: skip
    __slots__ = (*STATE, "lively_steps", "noise_k")

    def __init__(self) -> None:
        self._last_c: float | None = None
        self._blocks = self._calm = self._bent = self._row = self.longest_row = 0
        self._newest = self._second = self._third = INFINITY  # noise of the newest blocks that moved, in their own steps
        self._noise_k = self._noise = self._last_step_k = self._seen_c = 0.0
        self._smallest_k = self._bend_k = self._bend = INFINITY
        self._fine_k = self._finer_k = self._finest_k = INFINITY  # smallest steps of the newest blocks that show them
        self._begin(INFINITY, -INFINITY)
        self._tell()

    def _begin(self, low_c: float, high_c: float) -> None:
        self._count = self._moves = 0
        self._steps_k = self._bends_k = 0.0
        self._least_k = INFINITY
        self._low_c, self._high_c = low_c, high_c

    def add(self, temperature_c: float) -> None:
        """Take one reading."""
        last_c, self._last_c = self._last_c, temperature_c
        if last_c is None:
            self._begin(temperature_c, temperature_c)
            return
        signed_k = temperature_c - last_c
        self._bends_k += abs(signed_k - self._last_step_k)
        self._last_step_k = signed_k
        self._row += 1
        if signed_k != 0.0:
            self._moves += 1
            if self._row > self.longest_row:
                self.longest_row = self._row
                self._tell()
            self._row = 0
        step_k = abs(signed_k)
        if SMALLEST_STEP_K < step_k < self._least_k:
            self._least_k = step_k
        self._steps_k += step_k
        if temperature_c < self._low_c:
            self._low_c = temperature_c
        elif temperature_c > self._high_c:
            self._high_c = temperature_c
        self._count += 1
        if self._count >= BLOCK:
            self._close(temperature_c)

    def _close(self, temperature_c: float) -> None:
        self._blocks += 1
        if self._blocks % FORGETS_BLOCKS == 0:
            self.longest_row //= 2
        least_k, mean_step_k = self._least_k, self._steps_k / self._count
        range_k = self._high_c - self._low_c
        if least_k < INFINITY:
            if least_k < self._smallest_k:
                self._smallest_k = least_k
            self._third, self._second, self._newest = self._second, self._newest, mean_step_k / PER_STEP / least_k
            calm, two_values = range_k <= min(CALM * mean_step_k, MOST_RANGE_K), range_k <= TWO_VALUES * least_k
            if two_values:
                mean_step_k = min(mean_step_k, HOPS * least_k)
            if calm or two_values:  # no ramp, whose steps are those of its heat
                self._fine_k, self._finer_k, self._finest_k, self._seen_c = self._finer_k, self._finest_k, least_k, temperature_c
            if calm:
                step_k = min(self._fine_k, self._finer_k, self._finest_k)  # one block of much noise need not show its smallest step
                self._note_noise(mean_step_k / PER_STEP, mean_step_k / PER_STEP / step_k)
            if 2 * self._moves > self._count and range_k <= MOST_RANGE_K:  # it did not stick, and was no heat
                self._note_bend(self._bends_k / self._count / PER_BEND, least_k)
        self._begin(temperature_c, temperature_c)
        self._tell()

    def _note_noise(self, noise_k: float, noise_steps: float) -> None:
        self._calm += 1
        self._noise_k += (noise_k - self._noise_k) * max(1.0 / self._calm, FALLS if noise_k < self._noise_k else RISES)
        self._noise += (noise_steps - self._noise) * max(1.0 / self._calm, FALLS if noise_steps < self._noise else RISES)

    def _note_bend(self, bend_k: float, least_k: float) -> None:
        self._bent += 1
        self._bend_k, self._bend = min(self._bend_k, bend_k), min(self._bend, bend_k / least_k)

    def _tell(self) -> None:
        """Said when it changes, a block at a time: it is asked for with each reading."""
        known = self._calm >= CALM_BLOCKS
        shows = self._bent >= BEND_BLOCKS and BEND_SHOWS <= self._bend < INFINITY
        self.noise_k: float | None = self._noise_k if known else self._bend_k if shows else None
        self.lively_steps: float | None = self._lively(self._noise) if known else self._lively(self._bend) if shows else None

    def _lively(self, noise_steps: float) -> float | None:
        """Noise that is surely not a controller's, and is still there.

        One that settles rings, hops and rests: soon after a change, noise of a step may be its. And noise that was there before
        is gone where the middle one of the newest blocks that moved shows less. One may be where a sensor froze.
        """
        if (CALM_BLOCKS <= self._calm < SETTLED_BLOCKS and noise_steps < CLEAR) or self._sticks(noise_steps):
            return None
        return min(noise_steps, SCATTER * sorted((self._newest, self._second, self._third))[1])

    def _sticks(self, noise_steps: float) -> bool:
        """Whether it has shown rows of equal readings that such noise does not leave, and that no fault made: they ended."""
        most = max(STICKY_LEAST, STICKY_SHARE * equal_by_chance(noise_steps)) if noise_steps > 0.0 else STICKY_LEAST
        return self.longest_row > most

    def resolution_k(self, celsius: float) -> float | None:
        """The smallest step in kelvin at `celsius`; None while it learns, and where steps were only seen far from there."""
        if self._blocks < STEP_BLOCKS or self._smallest_k == INFINITY:
            return None
        if self._finest_k == INFINITY:
            return self._smallest_k
        return min(self._fine_k, self._finer_k, self._finest_k) if abs(celsius - self._seen_c) <= NEAR_K else None

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
        self._tell()


def equal_by_chance(noise_steps: float) -> float:
    """How many equal readings in a row chance allows at most, for noise of so many steps of the resolution.

    The longest rows come where the true value lies in the middle of a step: each further reading falls into it with a probability
    of erf(1 / (2 sqrt 2 noise)). 61 for half a step, 25 for a whole one.
    """
    return 1.0 + log(NO_CHANCE) / log(erf(1.0 / (2.0 * sqrt(2.0) * noise_steps)))
