"""Row F57 and F58: power is cut at every call of a trip's latch, with every part of the unsynced writes lost or torn."""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest

from watchdog.core.latch import Latch
from watchdog.latch.slot import HEADER_BYTES
from watchdog.latch.store import NAME, PAGE_BYTES, LatchStore


class PowerCut(BaseException):
    """The lights go out."""


@dataclass
class Inode:
    durable: bytearray = field(default_factory=bytearray)
    pending: list[tuple[int, bytes]] = field(default_factory=list)

    def content(self) -> bytes:
        return bytes(applied(self.durable, self.pending))


def applied(base: bytes | bytearray, writes: list[tuple[int, bytes]]) -> bytearray:
    content = bytearray(base)
    for offset, data in writes:
        content.extend(bytes(max(0, offset + len(data) - len(content))))
        content[offset : offset + len(data)] = data
    return content


class LossyDisk:
    """A folder in memory that keeps what was not synced apart, and cuts the power before its `cut_at`-th change."""

    def __init__(self, cut_at: int | None = None) -> None:
        self.names: dict[str, Inode] = {}
        self.durable_names: dict[str, Inode] = {}
        self.name_changes: list[dict[str, Inode]] = []
        self.calls = 0
        self.cut_at = cut_at

    def size(self, name: str) -> int | None:
        return len(self.names[name].content()) if name in self.names else None

    def read(self, name: str, offset: int, length: int) -> bytes:
        return self.names[name].content()[offset : offset + length]

    def create(self, name: str, size: int) -> None:
        self._change_names({**self.names, name: Inode()})
        self.write(name, 0, bytes(size))

    def write(self, name: str, offset: int, data: bytes) -> None:
        # A write that the power cut short has begun: it is pending, like all others, before the lights go out.
        self.names[name].pending.append((offset, data))
        self._count()

    def sync(self, name: str) -> None:
        self._count()
        inode = self.names[name]
        inode.durable, inode.pending = bytearray(inode.content()), []

    def rename(self, old: str, new: str) -> None:
        self._change_names({**{name: inode for name, inode in self.names.items() if name != old}, new: self.names[old]})

    def sync_folder(self) -> None:
        self._count()
        self.durable_names, self.name_changes = self.names, []

    def _change_names(self, names: dict[str, Inode]) -> None:
        self.name_changes.append(names)
        self.names = names
        self._count()

    def _count(self) -> None:
        self.calls += 1
        if self.calls == self.cut_at:
            raise PowerCut

    def remains(self, dice: random.Random, samples: int) -> Iterator["LossyDisk"]:
        """Disks that may be found after the cut: each prefix of the name changes, with all, none, parts of the writes."""
        for names in [self.durable_names, *self.name_changes]:
            for _ in range(samples):
                disk = LossyDisk()
                disk.names = {name: Inode(self._survivor(inode, dice)) for name, inode in names.items()}
                yield disk

    @staticmethod
    def _survivor(inode: Inode, dice: random.Random) -> bytearray:
        kept: list[tuple[int, bytes]] = []
        for offset, data in inode.pending:
            fate = dice.choice(["all", "none", "prefix", "sectors"])
            if fate == "prefix":
                kept.append((offset, data[: dice.randrange(len(data) + 1)]))
            elif fate == "sectors":
                kept += [(offset + at, data[at : at + 512]) for at in range(0, len(data), 512) if dice.random() < 0.5]
            elif fate == "all":
                kept.append((offset, data))
        return applied(inode.durable, kept)


def latch(printer: str, reason: str = "the bed is above its ceiling") -> Latch:
    return Latch(
        printer, f"{printer}-1", "bed", "ceiling", reason, ("plug", "mains"), "2026-01-02T03:04:05Z", 131.5, {"plug": {"host": "b"}}
    )


def saves() -> list[dict[str, Latch]]:
    """What a guard saves one after the other: it fits, it fits, it must grow, it is released."""
    anvil, bramble, wordy = latch("anvil"), latch("bramble"), latch("cinder", "x" * 9000)
    return [
        {},
        {"anvil": anvil},
        {"anvil": anvil, "bramble": bramble},
        {"anvil": anvil, "bramble": bramble, "cinder": wordy},
        {"bramble": bramble, "cinder": wordy},
        {},
    ]


def run(disk: LossyDisk) -> tuple[int, bool]:
    """Save until the power goes; how many saves had returned, and whether it went at all."""
    returned = 0
    try:
        store = LatchStore(disk, ["anvil", "bramble", "cinder"], room_bytes=2000)
        for latches in saves():
            store.save(latches)
            returned += 1
    except PowerCut:
        return returned, True
    return returned, False


def calls_in_all() -> int:
    disk = LossyDisk()
    assert run(disk) == (len(saves()), False)
    return disk.calls


def check_after_cut(disk: LossyDisk, returned: int) -> None:
    loaded = LatchStore(disk).load(used_before=returned > 0)
    if returned == 0 and loaded.state == "fresh":
        return
    assert loaded.state in {"good", "one slot damaged"}, (loaded, disk.names)
    allowed = saves()[max(0, returned - 1) : returned + 1]
    assert loaded.latches in allowed


def test_a_power_cut_at_any_call_leaves_the_last_saved_state_or_the_one_being_saved() -> None:
    dice = random.Random(57)
    cuts = calls_in_all()
    assert cuts > 20
    for cut_at in range(1, cuts + 1):
        disk = LossyDisk(cut_at)
        returned, cut = run(disk)
        assert cut
        for remains in disk.remains(dice, samples=60):
            check_after_cut(remains, returned)


def test_every_torn_prefix_of_an_overwrite_leaves_the_state_before_or_after_it() -> None:
    before, after = saves()[1:3]
    torn_disks = 0
    for cut_at in range(1, 5):
        for torn in range(900):
            disk = LossyDisk()
            store = LatchStore(disk, room_bytes=2000)
            store.save(before)
            disk.calls, disk.cut_at = 0, cut_at
            with pytest.raises(PowerCut):
                store.save(after)
            inode = disk.names[NAME]
            inode.pending = [(offset, data[:torn]) for offset, data in inode.pending]
            loaded = LatchStore(disk).load(used_before=True)
            assert loaded.latches in ([before] if cut_at == 1 and torn < 300 else [before, after])
            assert loaded.state in {"good", "one slot damaged"}
            torn_disks += loaded.state == "one slot damaged"
    assert torn_disks > 900


def test_a_guard_that_comes_back_after_a_cut_saves_and_loses_nothing_in_a_second_cut() -> None:
    dice = random.Random(58)
    wanted = {"anvil": latch("anvil", "again")}
    for cut_at in range(1, calls_in_all() + 1):
        first = LossyDisk(cut_at)
        returned, _ = run(first)
        for disk in first.remains(dice, samples=3):
            standing = LatchStore(disk).load(used_before=returned > 0).latches
            disk.durable_names = disk.names
            for second_cut in range(1, 9):
                again = LossyDisk(second_cut)
                again.names = {name: Inode(bytearray(inode.durable)) for name, inode in disk.names.items()}
                again.durable_names = again.names
                done = False
                try:
                    LatchStore(again, room_bytes=2000).save(wanted)
                    done = True
                except PowerCut:
                    pass
                for remains in again.remains(dice, samples=3):
                    loaded = LatchStore(remains).load(used_before=returned > 0)
                    assert loaded.latches in ([wanted] if done else [wanted, standing])


def garble(disk: LossyDisk, start: int, length: int, how: Callable[[int], int]) -> None:
    content = disk.names[NAME].durable
    content[start : start + length] = bytes(how(byte) for byte in content[start : start + length])


@pytest.mark.parametrize("damaged", [(0,), (1,), (0, 1)])
@pytest.mark.parametrize("how", [lambda _: 0, lambda _: 255, lambda byte: byte ^ 1], ids=["zeros", "ones", "flipped"])
def test_a_saved_latch_outlives_either_slot_and_two_damaged_slots_are_never_a_fresh_start(damaged: tuple[int, ...], how: Any) -> None:
    for count in range(1, len(saves()) + 1):
        disk = LossyDisk()
        store = LatchStore(disk, ["anvil"], room_bytes=2000)
        for latches in saves()[:count]:
            store.save(latches)
        slot_bytes = len(disk.names[NAME].durable) // 2
        for slot in damaged:
            garble(disk, slot * slot_bytes, slot_bytes, how)
        for used_before in (True, False):
            loaded = LatchStore(disk).load(used_before=used_before)
            if len(damaged) == 1:
                assert (loaded.state, loaded.latches, loaded.known_printers) == ("one slot damaged", saves()[count - 1], ("anvil",))
                assert f"slot {damaged[0] + 1}" in loaded.why
            else:
                assert (loaded.state, loaded.latches) == ("both damaged", {})


def test_every_single_flipped_bit_of_header_and_body_is_noticed() -> None:
    disk = LossyDisk()
    LatchStore(disk, room_bytes=2000).save({"anvil": latch("anvil")})
    length = HEADER_BYTES + 200
    for bit in range(8 * length):
        content = disk.names[NAME].durable
        # The two bytes that pad the header are part of what is summed too.
        content[bit // 8] ^= 1 << bit % 8
        assert LatchStore(disk).load(used_before=True).state == "one slot damaged"
        content[bit // 8] ^= 1 << bit % 8
    assert LatchStore(disk).load(used_before=True).state == "good"


def test_a_file_that_lost_its_end_still_gives_the_slot_that_is_whole() -> None:
    disk = LossyDisk()
    LatchStore(disk, room_bytes=10_000).save({"anvil": latch("anvil")})
    whole = len(disk.names[NAME].durable)
    for left in range(0, whole, PAGE_BYTES // 2):
        cut = LossyDisk()
        cut.names = {NAME: Inode(disk.names[NAME].durable[:left])}
        loaded = LatchStore(cut).load(used_before=True)
        if left == 0:
            assert (loaded.state, loaded.why) == ("both damaged", "the latch file is empty")
        else:
            # A little more than half of the file already holds the second slot's content too.
            assert loaded.state == ("good" if left > whole // 2 else "one slot damaged")
            assert set(loaded.latches) == {"anvil"}
        LatchStore(cut).save({"bramble": latch("bramble")})
        assert set(LatchStore(cut).load(used_before=True).latches) == {"bramble"}
