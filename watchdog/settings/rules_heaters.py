"""Whether a heater's temperatures and limits make sense together."""

from collections.abc import Iterator
from dataclasses import dataclass, fields

from watchdog.checks.registry import CHECKS
from watchdog.settings.bounds import FRONT_RESTART_S
from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.heater_facts import harm, normal_max
from watchdog.settings.learnt import LEARNABLE
from watchdog.settings.limits import resolve
from watchdog.settings.model import Heater
from watchdog.settings.safety import chosen, safety
from watchdog.settings.sheet import Sheet
from watchdog.thermal.heater_classes import CLASSES

LEAST_INTERVALS = 2.0


def heaters(sheet: Sheet) -> Iterator[Draft]:
    """All that can be wrong with the facts and limits of heaters, beyond the bounds of single numbers."""
    for file, name, heater in sheet.heaters():
        yield from _known_limits(file, ("heaters", name, "limits"), heater)
        yield from _may_observe(file, ("heaters", name, "observe"), heater)
        yield from _may_be_learnt(file, ("heaters", name, "learnt", "limits"), heater)
        judge = _Judge(file, ("heaters", name), heater, {(limit.check, limit.key): limit.value for limit in resolve(heater)})
        yield from judge.temperatures()
        yield from judge.ceiling()
        yield from judge.range()
        yield from judge.waits()
        yield from judge.safety()


def _known_limits(file: str, path: KeyPath, heater: Heater) -> Iterator[Draft]:
    known = {entry.key: tuple(field.name for field in fields(entry.limits)) for entry in CHECKS}
    for check, limits in heater.limits.items():
        if check not in known:
            yield Draft(file, (*path, check), "unknown-check", check, names=tuple(known))
            continue
        for key in limits:
            if key not in known[check]:
                yield Draft(file, (*path, check, key), "unknown-limit", key, names=known[check])


def _may_observe(file: str, path: KeyPath, heater: Heater) -> Iterator[Draft]:
    """Not every check may: what stands last between a heater and a fire is always armed."""
    always = {entry.key: entry.always_armed for entry in CHECKS}
    names = tuple(key for key, armed in always.items() if not armed)
    for check in heater.observe:
        if check not in names:
            code = "always-armed" if check in always else "unknown-check"
            yield Draft(file, (*path, check), code, check, names=() if check in always else names)


def _may_be_learnt(file: str, path: KeyPath, heater: Heater) -> Iterator[Draft]:
    for check, limits in (heater.learnt.limits if heater.learnt else {}).items():
        keys = tuple(key for of_check, key in LEARNABLE if of_check == check)
        if not keys:
            yield Draft(file, (*path, check), "unknown-check", check, names=tuple(of_check for of_check, _ in LEARNABLE))
        for key in limits:
            if keys and key not in keys:
                yield Draft(file, (*path, check, key), "unknown-limit", key, names=keys)


@dataclass(frozen=True, slots=True)
class _Judge:
    """One heater and its resolved limits, by name of check and key."""

    file: str
    path: KeyPath
    heater: Heater
    limit: dict[tuple[str, str], float]

    def temperatures(self) -> Iterator[Draft]:
        """Normal below harm, and harm within what such heaters stand."""
        normal, harmful = normal_max(self.heater), harm(self.heater)
        chosen_ceiling = "above_c" in self.heater.limits.get("ceiling", {})
        if normal.value >= harmful.value and (self.heater.normal_max_c is not None or not chosen_ceiling):
            key = "harm_c" if self.heater.normal_max_c is None else "normal_max_c"
            said = {
                "normal": f"{normal.value:g}",
                "normal_origin": normal.origin,
                "harm": f"{harmful.value:g}",
                "harm_origin": harmful.origin,
            }
            yield Draft(self.file, (*self.path, key), "normal-over-harm", said=said)
        kind = CLASSES[self.heater.kind]
        if harmful.value > kind.highest_harm_c:
            said = {"highest": f"{kind.highest_harm_c:g} degrees Celsius", "kind": kind.name}
            yield Draft(self.file, (*self.path, "harm_c"), "harm-over-class", harmful.value, said=said)

    def ceiling(self) -> Iterator[Draft]:
        """A chosen ceiling lies between what is normal and what does harm."""
        if "above_c" not in self.heater.limits.get("ceiling", {}):
            return
        above_c, harmful, normal_max_c = self.limit["ceiling", "above_c"], harm(self.heater), self.heater.normal_max_c
        if above_c > harmful.value:
            said = {"harm": f"{harmful.value:g}", "harm_origin": harmful.origin}
            yield Draft(self.file, (*self.path, "limits", "ceiling", "above_c"), "ceiling-over-harm", above_c, said=said)
        if normal_max_c is not None and normal_max_c >= above_c:
            yield Draft(self.file, (*self.path, "normal_max_c"), "normal-over-ceiling", normal_max_c, said={"ceiling": f"{above_c:g}"})

    def range(self) -> Iterator[Draft]:
        """The range in which a sensor can be believed is one."""
        coldest, hottest, frost = (self.limit["out of range", key] for key in ("coldest_c", "hottest_c", "frost_c"))
        if not frost <= coldest < hottest:
            said = {"coldest": f"{coldest:g}", "hottest": f"{hottest:g}", "frost": f"{frost:g}"}
            yield Draft(self.file, self._chosen("out_of_range", "coldest_c", "hottest_c", "frost_c"), "coldest-over-hottest", said=said)

    def waits(self) -> Iterator[Draft]:
        """One lost message is no silence, and advice comes before the cut."""
        grace_s, advise_s = self.limit["no readings", "grace_s"], self.limit["no readings", "advise_s"]
        interval_s = self.heater.readings.longest_interval_s
        if grace_s < LEAST_INTERVALS * interval_s:
            said = {"least": f"{LEAST_INTERVALS * interval_s:g}", "interval": f"{interval_s:g}"}
            yield Draft(self.file, self._chosen("no_readings", "grace_s"), "grace-under-intervals", grace_s, said=said)
        if self.heater.readings.pushed and grace_s < FRONT_RESTART_S:
            said = {"least": f"{FRONT_RESTART_S:g}"}
            yield Draft(self.file, self._chosen("no_readings", "grace_s"), "grace-under-restart", grace_s, said=said)
        if advise_s > grace_s:
            said = {"advise": f"{advise_s:g}", "grace": f"{grace_s:g}"}
            yield Draft(self.file, self._chosen("no_readings", "advise_s", "grace_s"), "advise-over-grace", said=said)
        outage_s = self.limit["no readings", "outage_s"]
        if outage_s < grace_s:
            said = {"outage": f"{outage_s:g}", "grace": f"{grace_s:g}"}
            yield Draft(self.file, self._chosen("no_readings", "outage_s"), "outage-under-grace", outage_s, said=said)

    def safety(self) -> Iterator[Draft]:
        """A chosen ceiling cuts early enough."""
        key = chosen(resolve(self.heater))
        found = safety(self.heater) if key else None
        if found is not None and found.ceiling_c < found.harm_c and not found.protects:
            yield Draft(self.file, (*self.path, "limits", "ceiling", key), "ceiling-too-late", said={"arithmetic": found.arithmetic})

    def _chosen(self, check: str, *keys: str) -> KeyPath:
        """The first of these limits that stands in the file."""
        own = self.heater.limits.get(check, {})
        return (*self.path, "limits", check, next((key for key in keys if key in own), keys[0]))
