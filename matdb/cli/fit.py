"""``matdb fit`` and ``matdb report``: from readings to a curve, and what the curve rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any, Final

from matdb.cli import screen
from matdb.cli.answering import Told
from matdb.cli.options import Call, MaterialArgument, arg, option
from matdb.cli.screen import Column, band_cell, given_text, number_text, records_table, share_text, show
from matdb.curve.band import Band
from matdb.curve.curve import Curve
from matdb.curve.parameters import LAWS, UNNAMED
from matdb.errors import InputError
from matdb.fields import low_high, named
from matdb.material.families import CABLE
from matdb.units import counted

if TYPE_CHECKING:
    from matdb.curve.low_temperature import LowTemperature

#: What the fit calls a law with the four-parameter master curve.
_FOUR: Final = ", four parameters"
#: What a fit's report has by name.
_BY_NAME: Final = ("laws", "log_evidence", "noise_factors", "offsets", "sessions")


def fit(
    call: Told,
    material: Annotated[str | None, arg("[MATERIAL]", "Its name; without it all whose fit is not current.")] = None,
    seed: int = option("NUMBER", "Seed of the random draws.", 0, min=0),
) -> None:
    """Fit all readings of a material and keep the fit.

    For instance: matdb fit; or of one material: matdb fit 'TPU 85A'.
    """
    if material is None:
        _fit_all(call, seed)
        return
    with call.existing() as store, screen.Progress(f"fit of {material}") as update:
        curve = store.fit(material, seed=seed, progress=update)
    made = (
        f"from {counted(curve.reading_count, 'readings')} (fit {curve.fit_id})"
        if curve.measured_c
        else "nothing to fit"
    )
    rests = f"{made}, {curve.rests_on(None, *(curve.measured_c or (0.0, 0.0)))}"
    told = [modulus_text(curve), f"{rests[0].upper()}{rests[1:]}."]
    call.tell(told, summary(curve), warnings=notes(curve), how_to_ask="'matdb report'")


def _fit_all(call: Told, seed: int) -> None:
    """Fit every material that has readings newer than its fit."""
    with call.existing() as store:
        stale = [each.name for each in store.materials() if store.curve(each.name).stale]
        made = []
        for number, name in enumerate(stale, 1):
            with screen.Progress(f"fit of {name}, {number} of {len(stale)}") as update:
                made.append(store.fit(name, seed=seed, progress=update))
    told = [modulus_text(curve) for curve in made] or ["Every fit is current."]
    warnings = [text for curve in made for text in notes(curve)]
    call.tell(told, {"fits": [summary(curve) for curve in made]}, warnings=warnings, how_to_ask="'matdb report'")


def report(material: MaterialArgument, call: Call) -> None:
    """Report on the newest fit: what it rests on, and how it stiffens in the cold.

    The shift laws with their weights, each reading's residual, what came from readings or from the prior, T2 to T100,
    where stiffness doubles, and the glass transition.
    """
    with call.existing() as store:
        curve = store.curve(material)
        numbers = () if curve.fit_id is None else store.records.fit_reading_ids(curve.fit_id)
        try:
            cold = store.low_temperature(material)
            found = {key: value for key, value in curve.report.items() if key != "warnings"}
            found["readings"] = [_numbered(row, numbers) for row in found.get("readings", [])]
            told = found | {name: named(found[name]) for name in _BY_NAME if name in found}
            content = summary(curve) | {"report": told, "low_temperature": cold.to_dict()}
            call.answer(content, lambda: _show_report(curve, found, cold), notes(curve))
        except (TypeError, ValueError, LookupError, AttributeError, OverflowError) as error:
            # What a fit says of itself is kept as it came; a store from elsewhere may hold anything there.
            raise InputError(f"report of fit {curve.fit_id}", repr(error), "whole", f"matdb fit {material}") from None


def _numbered(row: Mapping[str, Any], numbers: Sequence[int]) -> dict[str, Any]:
    """A reading of a fit's report with its number in the store instead of its place in the fit."""
    found = dict(row)
    index = found.pop("index", None)
    return found | ({"number": numbers[index]} if isinstance(index, int) and index < len(numbers) else {})


def _show_report(curve: Curve, found: Mapping[str, Any], cold: LowTemperature) -> None:
    if curve.fit_id is None:
        show(f"{curve.material} has no fit: this is the family prior of {curve.family}.")
    else:
        show(
            f"fit {curve.fit_id} of {curve.material}, made {curve.created_at:%Y-%m-%d %H:%M} UTC by matdb "
            f"{curve.program_version}: {counted(curve.reading_count, 'readings')}"
        )
    show(modulus_text(curve))
    weights, four = law_weights(curve)
    shape = f"five parameters {share_text(1.0 - four)}, four parameters {share_text(four)} (a spectrum without skew)"
    _section(weights.items(), _LAW_COLUMNS, f"Shape of the master curve: {shape}.")
    beside = "In brackets: how many standard deviations off. About one in twenty is beyond 2."
    _section(found["readings"], _READING_COLUMNS, beside)
    own = {"MPa": modulus_unit(curve)}
    parameters = [row | {"unit": own.get(row["unit"], row["unit"])} for row in found.get("parameters", ())]
    _section(parameters, _PARAMETER_COLUMNS)
    _section((found.get("offsets") or {}).items(), _OFFSET_COLUMNS)
    sessions = found.get("sessions", {})
    _section(sessions.items() if sessions.keys() - {UNNAMED} else (), _SESSION_COLUMNS)
    _in_the_cold(cold)
    screen.lines("Before you rely on it:", notes(curve))


def _section(records: Any, columns: Sequence[Column], *said: str) -> None:
    """Print a table with what is said of it, where there are any records."""
    if records:
        show()
        records_table(records, columns)
        for text in said:
            show(text)


def _fits(row: Mapping[str, Any]) -> str:
    """Whether a reading fits, where it does not quite."""
    if row.get("fumbled"):
        return "does not fit"
    if row.get("or_else") is not None:
        return "may not fit"
    return "hardly agrees" if row.get("hardly_with") is not None else ""


def _residual(found: Any) -> str:
    if not found:
        return "-"
    return f"{number_text(found.get('measured_over_predicted'))} ({found.get('standardised', 0.0):+.1f})"


_LAW_COLUMNS: Final = (
    Column("shift law", lambda item: str(item[0])),
    Column("weight", lambda item: share_text(item[1]), right=True),
    Column("what it says", lambda item: LAWS[item[0]]),
)
_READING_COLUMNS: Final = (
    Column("reading", lambda r: str(r.get("number", "-")), right=True),
    Column("kind", lambda r: str(r.get("kind", ""))),
    Column("on", lambda r: str(r.get("subject", ""))),
    Column("at degC", lambda r: given_text(r.get("temperature_c")), right=True),
    Column("stiffness read / expected", lambda r: _residual(r.get("stiffness"))),
    Column("loss read / expected", lambda r: _residual(r.get("loss"))),
    Column("", _fits),
)
_PARAMETER_COLUMNS: Final = (
    Column("parameter", lambda p: str(p["name"])),
    Column("unit", lambda p: "" if p["unit"] == "1" else str(p["unit"])),
    Column("value (95 %)", band_cell),
    Column("told by", lambda p: str(p.get("from", ""))),
)
_SESSION_COLUMNS: Final = (
    Column("bench session", lambda item: str(item[0])),
    Column("its thermometer shows too much, K (95 %)", lambda item: band_cell(item[1])),
)
_REFERENCE: Final = "the reference: its geometry is taken as drawn"
_OFFSET_COLUMNS: Final = (
    Column("part", lambda item: str(item[0])),
    Column(
        "stiffness against its geometry (95 %)",
        lambda item: _REFERENCE if item[1]["low"] == item[1]["high"] else band_cell(item[1]),
    ),
)


def _in_the_cold(cold: LowTemperature) -> None:
    from matdb.curve.low_temperature import COLDEST_C

    named = {name: getattr(cold, name.lower()) for name in ("T2", "T5", "T10", "T100", "doubles")}
    rows = [
        (
            name,
            f"{index.ratio:g} times as stiff as at 23 degC, at {index.frequency_hz:g} Hz",
            _degrees(index.temperature_c),
            share_text(index.share),
            "extrapolated" if index.extrapolated else "readings",
        )
        for name, index in named.items()
    ]
    glass = cold.glass_transition
    tg = "glass transition, as the WLF laws have it"
    rows.append(("Tg", tg, _degrees(glass.temperature_c), share_text(glass.wlf_share), glass.basis))
    show()
    screen.table(["in the cold", "where it is", "degC (95 %)", "of draws", "rests on"], rows, right=(3,))
    show(f"Glass transition: {glass.note}.")
    if any(index.share < 0.995 for index in named.values()):
        show(f"'Of draws': the share that gets there above {number_text(COLDEST_C)} degC.")


def _degrees(found: Band | None) -> str:
    return "-" if found is None else f"{found.median:.0f} ({found.low:.0f} to {found.high:.0f})"


def law_weights(curve: Curve) -> tuple[dict[str, float], float]:
    """Weight of each shift law, whatever the shape of its master curve, heaviest first; and the four parameters' share.

    A law is fitted twice, with a skewed spectrum (five parameters) and without (four); here both count for it.
    """
    whole: dict[str, float] = {}
    four = 0.0
    for name, weight in curve.weights.items():
        law = name.removesuffix(_FOUR)
        whole[law] = whole.get(law, 0.0) + weight
        four += weight if law != name else 0.0
    return dict(sorted(whole.items(), key=lambda item: -item[1])), four


def modulus_text(curve: Curve) -> str:
    """One sentence: the modulus at room temperature and in the cold."""
    cold, warm = (band_cell(curve.modulus(t, 30.0).storage_mpa) for t in (-10.0, 23.0))
    unit = modulus_unit(curve)
    return f"{curve.material} at 30 Hz: {warm} {unit} at 23 degC, {cold} {unit} at -10 degC."


def modulus_unit(curve: Curve) -> str:
    """The unit of its modulus: what a loop of wire rope has in its place is a factor on its load points."""
    return "times its load points" if curve.family == CABLE else "MPa"


def notes(curve: Curve) -> tuple[str, ...]:
    """What to know of a curve as a whole."""
    prior = () if curve.basis == "readings" else (curve.without_readings(),)
    return (*prior, *curve.age_notes, *curve.report.get("warnings", ()))


def summary(curve: Curve) -> dict[str, Any]:
    """A curve's fit in plain values."""
    laws, four = law_weights(curve)
    return {
        "material": curve.material,
        "family": curve.family,
        "basis": curve.basis,
        "fit": curve.fit_id,
        "made_at": curve.created_at,
        **{name: getattr(curve, name) for name in ("program_version", "stale", "seed", "reading_count")},
        "measured_c": low_high(curve.measured_c),
        "laws": named(laws),
        "four_parameters": four,
        "at_30_hz": [{"temperature_c": t, "storage_mpa": curve.modulus(t, 30.0).storage_mpa} for t in (-10.0, 23.0)],
    }
