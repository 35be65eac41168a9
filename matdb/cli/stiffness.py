"""``matdb stiffness`` and ``matdb curve``: stiffness and damping of a part, modulus and loss of a material."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final

from matdb.api import Store
from matdb.cli import options
from matdb.cli.answering import AskedNow, RestOption, over_states, refuse_beside_mounting, rest_hours
from matdb.cli.fit import modulus_unit, summary
from matdb.cli.options import HeldFor, arg, option
from matdb.cli.screen import Column, band_cell, given_text, number_text, records_table
from matdb.errors import InputError
from matdb.exchange.tables import AnswerTable, curve_table, stiffness_table
from matdb.units import mass_text

_AT_C: Final = Column("at degC", lambda row: given_text(row["temperature_c"]), right=True)


@dataclass(frozen=True, kw_only=True)
class States(HeldFor):
    """At which states a part is asked about."""

    temp: options.TempsOption
    frequency: options.FrequenciesOption = None
    mass: str | None = option("MASS", "The mass on all the parts together, such as 250g.")
    count: int | None = option("NUMBER", "How many equal parts share the mass; 1 without it.")
    mounting: str | None = option("NAME", "As this mounting holds it: its mass and count, and the best squeeze.")
    amplitude: str | None = option(
        "LENGTH", "Peak amplitude of its vibration, such as 0.2mm; the readings' without it."
    )
    rest: RestOption = None
    step: options.StepOption = "5K"

    def check(self, cure: str = "") -> None:
        """Refuse both frequency and mass, or neither, or what a mounting has of its own. Raises InputError."""
        if self.mounting is not None:
            refuse_beside_mounting({"mass": self.mass, "count": self.count})
        elif (self.mass is None) == (not self.frequency):
            raise InputError("--frequency and --mass", "both" if self.mass else "neither", "one of the two", cure)

    def load(self, store: Store) -> dict[str, Any]:
        """The mass that is asked for and how many share it, no mass at frequencies; amplitude and rest.

        Raises UnitError, NotFound.
        """
        felt = {"amplitude_mm": options.quantity(self.amplitude, "length", "--amplitude")}
        felt["rest_h"] = rest_hours(self.rest)
        if self.mounting is not None and not self.frequency:
            wanted = store.mounting(self.mounting)
            return felt | {"mass_kg": wanted.mass_kg, "count": wanted.count}
        mass_kg = options.quantity(self.mass, "mass", "--mass")
        return felt | {"mass_kg": mass_kg, "count": 1 if self.count is None else self.count}


def stiffness(
    call: AskedNow,
    part: Annotated[str, arg("PART", "The part's name.")],
    states: States,
    csv: options.CsvOption = None,
    force: options.ForceOption = False,
) -> None:
    """Show a part's stiffness and damping ratio at a frequency, or at the natural frequency under a mass.

    For instance: matdb stiffness leg --temp -4C..9C --mass 600g --count 4.
    """
    states.check("--frequency 30Hz asks at a frequency; --mass 250g at the natural frequency under that mass")
    with call.existing() as store:
        known = store.part(part)
        states = states.best(store, [known], options.temperatures(states.temp, states.step))
        answer = stiffness_answer(store, [part], states)
        rows = answer.banded()
        at = [row["temperature_c"] for row in rows]
        curve, untold = store.current_curve(known.material), store.material(known.material).untold
    rests = curve.rests_on(part, min(at), max(at))
    written = options.write_answer(csv, answer.header, answer.rows, force)
    mass_kg, count = rows[0]["mass_kg"], rows[0]["count"]
    under = "" if mass_kg is None else f" under {mass_text(mass_kg)}" + (f" on {count}" if count > 1 else "")
    unsqueezed = " unsqueezed" * (len(known.form.squeezes_to_try(states.axis)) > 1)
    what = f"{states.said(known) or part + unsqueezed}, {states.axis}{under}"
    new = " Freshly screwed: 'matdb squeeze' counts set and creep." if known.form.pair is not None else ""
    told = [*over_states(what, rows, "stiffness_n_per_mm", "N/mm", _figures), rests_text(rests) + new]
    if untold and curve.measured_c is None:
        told.insert(0, f"Tell the hardness of {known.material} first, or nearly anything is possible: {untold}")
    content = {"part": part, "axis": states.axis, "basis": answer.basis, "files": written, "rows": rows}
    call.tell(told, content, lambda: show_rows(rows), answer.warnings)


def rests_text(rests: str) -> str:
    """What numbers rest on, as a sentence on the brackets after them."""
    return f"{rests[0].upper()}{rests[1:]}; brackets hold 95 %."


def _figures(row: Mapping[str, Any], alone: bool) -> str:
    stiffness, damping = band_cell(row["stiffness_n_per_mm"]), f"damping ratio {band_cell(row['damping_ratio'], 2)}"
    if row["mass_kg"] is None:
        return f"{stiffness} N/mm, {damping}"
    ringing = f"{stiffness} N/mm, {band_cell(row['natural_frequency_hz'])} Hz"
    return f"{ringing}, {damping if alone else damping.partition(' (')[0]}"


def stiffness_answer(store: Store, parts: Sequence[str], states: States) -> AnswerTable:
    """The table of parts at these states; raises as :meth:`matdb.api.Store.effective`, UnitError, and InputError."""
    t = options.temperatures(states.temp, states.step)
    f = options.frequencies(states.frequency) if states.frequency else None
    options.few_states(len(t) * (1 if f is None else len(f)) * len(parts))
    squeezes: dict[str, Any] = {"axis": states.axis, "squeeze_mm": lambda part: states.on(part)[0]}
    return stiffness_table(store, parts, t, frequency_hz=f, **states.load(store), **squeezes)


def show_rows(rows: Sequence[Mapping[str, Any]]) -> None:
    """Print the rows of :func:`matdb.exchange.tables.stiffness_table`, their bands whole."""
    columns = [
        _AT_C,
        Column("at Hz", lambda r: number_text(r["frequency_hz"]), right=True),
        Column("stiffness, N/mm", lambda r: band_cell(r["stiffness_n_per_mm"])),
        Column("damping ratio", lambda r: band_cell(r["damping_ratio"], 2)),
    ]
    if any(r["mass_kg"] is not None for r in rows):
        columns.append(Column("natural frequency, Hz", lambda r: band_cell(r["natural_frequency_hz"])))
    records_table(rows, [*columns, Column("rests on", _rests_on)])


def _rests_on(row: Mapping[str, Any]) -> str:
    return str(row["basis"]) + (", extrapolated" if row["extrapolated"] and row["basis"] == "readings" else "")


# -- a material ----------------------------------------------------------------------------------------------------


def curve(
    call: AskedNow,
    material: options.MaterialArgument,
    temp: options.TempsOption,
    frequency: options.FrequenciesOption = None,
    step: options.StepOption = "5K",
    fit: int | None = option("NUMBER", "Answer from this older fit instead of the newest.", min=1),
    csv: options.CsvOption = None,
    force: options.ForceOption = False,
) -> None:
    """Show storage modulus and loss factor over temperatures and frequencies (30 Hz without one).

    For instance: matdb curve 'TPU 85A' --temp -15C..35C --frequency 30Hz.
    """
    t, f = options.temperatures(temp, step), options.frequencies(frequency or ["30Hz"])
    options.few_states(len(t) * len(f))
    with call.existing() as store:
        found = store.current_curve(material) if fit is None else store.curve_of_fit(fit)
        if found.material != material:
            raise InputError("--fit", fit, f"a fit of {material}", f"that one is of {found.material}")
        answer = curve_table(found, store.material(material), t, f)
    written = options.write_answer(csv, answer.header, answer.rows, force)
    rests = found.rests_on(None, float(t.min()), float(t.max()))
    rows = answer.banded()
    unit = modulus_unit(found)

    def moduli(row: Mapping[str, Any], _: bool) -> str:
        return f"{band_cell(row['storage_mpa'])} {unit}, loss factor {band_cell(row['loss_factor'], 2)}"

    told = [*over_states(material, rows, "storage_mpa", unit, moduli), rests_text(rests)]
    content = summary(found) | {"files": written, "rows": rows}
    modulus = Column(f"storage modulus, {unit}", lambda r: band_cell(r["storage_mpa"]))
    columns = [*_MODULI[:2], modulus, *_MODULI[2:]]
    call.tell(told, content, lambda: records_table(rows, columns), answer.warnings)


def _remark(row: Mapping[str, Any]) -> str:
    if row["basis"] == "family prior":
        return "family prior"
    return "extrapolated" if row["extrapolated"] else ""


_MODULI: Final = (
    _AT_C,
    Column("at Hz", lambda r: given_text(r["frequency_hz"]), right=True),
    Column("loss factor", lambda r: band_cell(r["loss_factor"], 2)),
    Column("", _remark),
)
