"""Chance that repeats: every stream of it is named, so that one more fault does not shift the noise of a sensor."""

from random import Random


def dice(seed: int, *names: object) -> Random:
    """A stream of its own for `names` under `seed`; the same wherever and whenever it is asked for."""
    return Random("/".join(str(name) for name in (seed, *names)))  # noqa: S311 - must repeat, keeps no secret


def chance(stream: Random, share: float) -> bool:
    """True in `share` (0 to 1) of all cases."""
    return stream.random() < share
