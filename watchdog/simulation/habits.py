"""Odd ways of owners: each begins at `at_s`, leaves both heaters off, and returns when, in seconds."""

from watchdog.simulation.diary import Diary


def off(diary: Diary, at_s: float) -> float:
    for heater in ("bed", "hotend"):
        diary.ask(at_s, heater, 0.0)
    return at_s


def preheats(diary: Diary, at_s: float) -> float:
    """Both are heated and forgotten until the idle time-out."""
    diary.ask(at_s, "bed", 60.0)
    diary.ask(at_s, "hotend", 200.0)
    return off(diary, at_s + diary.dice.uniform(1200.0, 2400.0))


def cancels(diary: Diary, at_s: float) -> float:
    """Off in the middle of the heat-up, and on again, more than once."""
    for _ in range(diary.dice.randrange(2, 5)):
        heater = diary.dice.choice(("bed", "hotend"))
        diary.ask(at_s, heater, diary.printer.heaters[heater].normal_max_c - 10.0)
        at_s += diary.dice.uniform(15.0, 120.0)
        diary.ask(at_s, heater, 0.0)
        at_s += diary.dice.uniform(5.0, 60.0)
    return off(diary, at_s)


def turns_the_knob(diary: Diary, at_s: float) -> float:
    """The target moves by 1 K a second or so, up, and later down."""
    heater, target_c = diary.dice.choice(("bed", "hotend")), 40.0
    for step_k in (1.0, -1.0):
        for _ in range(diary.dice.randrange(10, 40)):
            target_c += step_k
            diary.ask(at_s, heater, target_c)
            at_s += diary.dice.uniform(0.5, 2.0)
        at_s += diary.dice.uniform(100.0, 400.0)
    return off(diary, at_s)


def pulls_cold(diary: Diary, at_s: float) -> float:
    """Hot, off, and held where plastic can be pulled out in one piece."""
    for after_s, target_c in ((0.0, 230.0), (240.0, 0.0), (300.0, 90.0), (700.0, 0.0)):
        diary.ask(at_s + after_s, "hotend", target_c)
    return off(diary, at_s + 800.0)


def levels(diary: Diary, at_s: float) -> float:
    """The bed is held at one temperature after the other, up and down."""
    for target_c in diary.dice.sample((40.0, 50.0, 60.0, 70.0, 80.0), 3):
        diary.ask(at_s, "bed", target_c)
        at_s += diary.dice.uniform(400.0, 900.0)
    return off(diary, at_s)


def barely_heats(diary: Diary, at_s: float) -> float:
    """Targets at and just above the room."""
    diary.ask(at_s, "bed", diary.dice.uniform(18.0, 35.0))
    diary.ask(at_s, "hotend", diary.dice.uniform(25.0, 60.0))
    return off(diary, at_s + diary.dice.uniform(300.0, 900.0))


HABITS = (preheats, cancels, turns_the_knob, pulls_cold, levels, barely_heats)
