"""A ceiling, the time to act, and what a heater does meanwhile: the arithmetic behind "cannot protect"."""

from dataclasses import replace
from math import inf

import pytest

from watchdog.settings.addresses import Broker
from watchdog.settings.explained import lines, remarks, verdict
from watchdog.settings.feeds import Readings
from watchdog.settings.limits import Limit, resolve
from watchdog.settings.model import Heater, MainFile, PrinterFile, Settings
from watchdog.settings.protection import protection
from watchdog.settings.safety import safety

READINGS = Readings(broker="main", topic="anvil/bed", longest_interval_s=2.0)
BED = Heater(
    kind="bed", readings=READINGS, normal_max_c=100.0, harm_c=130.0, rated_w=400.0, width_mm=300.0, depth_mm=300.0, plate_mm=4.0,
    plate_material="aluminium",
)  # fmt: skip


def test_what_is_reached_is_the_ceiling_the_rise_until_the_power_is_gone_and_what_is_stored() -> None:
    found = safety(BED)
    assert found is not None
    assert found.response_s == pytest.approx(5.0 + 2.0 + 3.0 + 2.0)  # sensor, interval, confirm, relay
    assert found.usual_reached_c == pytest.approx(115.0 + found.usual_rise_k_per_s * found.response_s + found.stored_k)
    # 300 x 300 x 4 mm of aluminium (2700 kg/m3, 900 J/(kg K)) and a 1.5 mm mat: 875 + 211 J/K; 400 W less what is lost at 115 degC
    assert 0.1 < found.usual_rise_k_per_s < 400.0 / (875.0 + 211.0)
    assert found.protects
    assert found.usual_reached_c < found.worst_reached_c


def test_the_later_it_acts_the_hotter_it_gets_until_it_cannot_protect() -> None:
    reached = []
    for interval_s in (1.0, 5.0, 20.0, 40.0):
        found = safety(replace(BED, readings=replace(READINGS, longest_interval_s=interval_s)))
        assert found is not None
        reached.append(found.usual_reached_c)
    assert reached == sorted(reached)
    slow = safety(replace(BED, harm_c=121.0, readings=replace(READINGS, longest_interval_s=40.0)))
    assert slow is not None
    assert not slow.protects


def test_a_source_too_slow_for_its_heater_is_called_unable_to_protect_it() -> None:
    slow = replace(BED, readings=replace(READINGS, longest_interval_s=40.0))
    main = MainFile(site="millbrook", brokers={"main": Broker(host="127.0.0.1")})
    told = " ".join(protection(Settings(main, {"anvil": PrinterFile(heaters={"bed": slow})})).printers["anvil"].lacks)
    assert "unable to protect it by the ceiling" in told
    assert "unable" in verdict(slow)
    assert "in time" in verdict(BED)


def test_a_default_ceiling_lowers_itself_where_only_so_it_protects_and_never_far() -> None:
    """60 W on 10 g rise by 2.5 K/s at 300 degC: 9 s later, with what is stored, 322 degC are passed; from 296 they are not."""
    hotend = Heater(
        kind="hotend", readings=replace(READINGS, topic="anvil/hotend"), normal_max_c=280.0, harm_c=330.0, rated_w=60.0, block_g=10.0
    )
    usual, lowered, hopeless = (ceiling_of(replace(hotend, harm_c=harm_c)) for harm_c in (330.0, 322.0, 302.0))
    assert (usual.value, lowered.value, hopeless.value) == (300.0, 296.0, 291.0)
    assert "lowered from 300" in lowered.why
    assert not any("lowered" in limit.why for limit in (usual, hopeless))
    found = safety(replace(hotend, harm_c=322.0))
    assert found is not None
    assert found.protects
    chosen = ceiling_of(replace(hotend, harm_c=320.0, limits={"ceiling": {"above_c": 300.0}}))
    assert (chosen.value, chosen.origin) == (300.0, "settings")


def ceiling_of(heater: Heater) -> Limit:
    return next(limit for limit in resolve(heater) if (limit.check, limit.key) == ("ceiling", "above_c"))


def test_a_heater_that_never_reaches_harm_has_all_the_time_there_is() -> None:
    weak = replace(BED, rated_w=60.0)
    found = safety(weak)
    assert found is not None
    assert found.usual_safety_s == inf
    assert found.in_time
    assert any("never" in line.sentence for line in lines(weak))


def test_what_is_missing_is_named_and_nothing_is_invented() -> None:
    bare = replace(BED, width_mm=None, plate_mm=None)
    assert safety(bare) is None
    assert lines(bare) == ()
    assert verdict(bare) == ""
    assert "give width_mm, plate_mm as well" in remarks(bare)[0]
    assert remarks(BED) == ()
    assert "chamber" in remarks(replace(BED, kind="chamber"))[0]


def test_every_line_has_its_range_in_order() -> None:
    for line in lines(BED):
        assert line.least <= line.usual <= line.most, line
