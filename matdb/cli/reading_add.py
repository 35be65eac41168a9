"""``matdb reading add``: one command a kind of reading, its options the fields of the kind's class."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from matdb.api import Store
from matdb.bench.readings import READINGS, Reading, check_on_part
from matdb.bench.thermal.state import bench_state
from matdb.cli.cautions import BENCH
from matdb.cli.options import Call, Group, argument_of, option_of, values_of, with_fields
from matdb.cli.screen import lines, show
from matdb.fields import FieldInfo, record_fields

app = Group("Log one reading.")


def _place(each: FieldInfo) -> int:
    """Where an option stands: what is needed, the other figures, how the part was mounted, doubts, the rest."""
    if each.needed:
        return 0
    return {"figure": 3 if each.is_spread else 1, "mount": 2, "state": 4, "record": 5}[each.group]


def _needed_first(cls: type[Reading]) -> list[FieldInfo]:
    known = record_fields(cls)
    return sorted((each for name, each in known.items() if name != cls.subject), key=_place)


def _command(cls: type[Reading]) -> Callable[..., None]:
    known = record_fields(cls)

    @with_fields(argument_of(known[cls.subject]), *map(option_of, _needed_first(cls)))
    def command(given: dict[str, Any], call: Call) -> None:
        reading = cls(**values_of(known, given))
        on = getattr(reading, reading.subject)
        with call.opened() as kept:
            if reading.subject == "part":
                check_on_part(reading, kept.part(on))
            odd = kept.doubts(reading)
            number = kept.records.add_reading(reading)
            logged = kept.records.reading(number)
            doubts = [*odd, *bench_doubts(kept, reading)]
        answer_logged(call, number, logged.reading, doubts)

    command.__doc__ = "\n\n".join(cls.logged_as)
    return command


for _kind, _cls in READINGS.items():
    app.command(_kind)(_command(_cls))


def answer_logged(call: Call, number: int, reading: Reading, doubts: Sequence[str], content: Any = None) -> None:
    """Say what was logged, what to know of it, and what to beware of; ``content`` stands before it in JSON."""
    cautions = hazards(reading)

    def screen() -> None:
        on = getattr(reading, reading.subject)
        show(f"logged reading {number}: {reading.kind} on {on} at {reading.temperature_c:g} degC")
        lines("Before you rely on it:", doubts)
        lines("Cautions:", cautions)

    call.answer((content or {}) | {"number": number, "reading": reading.to_dict()}, screen, [*doubts, *cautions])


def bench_doubts(kept: Store, reading: Reading) -> list[str]:
    """What soak and drift say of a reading, and how many seconds were left."""
    if reading.subject != "part" or (reading.soak_min is None and reading.seconds_out is None):
        return []
    part = kept.part(getattr(reading, "part"))  # noqa: B009
    state = bench_state(reading, part, kept.material(part.material).family)
    said = list(state.warnings)
    if state.drift is not None and not state.drift.warning and abs(state.drift.drift_k) >= 0.1:
        left = float(state.drift.seconds_left)
        said.append(
            f"{reading.seconds_out:.0f} s out of the chamber: a fit takes {state.temperature_c:.1f} +- "
            f"{state.temperature_sd_k:.1f} degC; the error passes 2 K {left:.0f} s later"
        )
    return said


def hazards(reading: Any) -> list[str]:
    """Cautions for the bench at this reading's temperature and load."""
    so = (not 0.0 <= reading.temperature_c <= 45.0, (getattr(reading, "mass_kg", None) or 0.0) >= 2.0)
    return [caution for caution, holds in zip(BENCH, so, strict=True) if holds]
