"""What an owner knows of a heater, as far as its physics go. None is "not said"."""

from dataclasses import dataclass
from typing import NamedTuple


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Watts, millimetres, grams. A bed without a plate has its face on the mat itself; `block_g` is a hotend's."""

    kind: str
    rated_w: float
    normal_max_c: float
    harm_c: float
    width_mm: float | None = None
    depth_mm: float | None = None
    plate_mm: float | None = None
    plate_material: str | None = None
    face_mm: float | None = None
    face_material: str | None = None
    block_g: float | None = None


class Range(NamedTuple):
    """The least, the usual and the most that is plausible of one quantity."""

    least: float
    usual: float
    most: float
