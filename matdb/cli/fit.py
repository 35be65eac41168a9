"""``matdb fit`` and ``matdb report``: from readings to a curve, and what the curve rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.cli.options import JsonOption, StoreOption, existing

if TYPE_CHECKING:
    from matdb.curve.band import Band
    from matdb.curve.curve import Curve
    from matdb.curve.low_temperature import LowTemperature

#: What the fit calls a law with the four-parameter master curve.
_FOUR = ", four parameters"

MaterialArgument = Annotated[str, typer.Argument(metavar="MATERIAL", help="The material's name.")]


def fit(
    ctx: typer.Context,
    material: MaterialArgument,
    seed: Annotated[int, typer.Option("--seed", min=0, metavar="NUMBER", help="Seed of the random draws.")] = 0,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Fit all readings of a material and keep the fit."""
    from matdb.cli.screen import document, lines, progress, show
    from matdb.units import counted

    with existing(ctx, store) as kept, progress(f"fit of {material}") as update:
        curve = kept.fit(material, seed=seed, progress=update)
    warnings = notes(curve)
    if as_json:
        document("fit", summary(curve), warnings)
        return
    if curve.fit_id is None:
        show(f"{material} has no reading: nothing was fitted, and answers come from the family prior.")
    else:
        show(f"fit {curve.fit_id} of {material}: {counted(curve.reading_count, 'readings')}, {laws_text(curve)}")
    show(modulus_text(curve))
    lines("Before you rely on it:", warnings)


def report(
    ctx: typer.Context, material: MaterialArgument, store: StoreOption = None, as_json: JsonOption = False
) -> None:
    """Report on the newest fit: what it rests on, and how it stiffens in the cold.

    The shift laws with their weights, each reading's residual, what came from readings or from the prior, T2 to T100,
    where stiffness doubles, and the glass transition.
    """
    from matdb.cli.screen import band_text, document, given_text, lines, show, table
    from matdb.units import counted

    with existing(ctx, store) as kept:
        curve = kept.curve(material)
        numbers = () if curve.fit_id is None else kept.records.fit_reading_ids(curve.fit_id)
        cold = kept.low_temperature(material)
    told = dict(curve.report)
    readings = [dict(r) for r in told.get("readings", [])]
    for row in readings:
        index = row.pop("index", None)
        if isinstance(index, int) and index < len(numbers):
            row["number"] = numbers[index]
    told["readings"] = readings
    warnings = notes(curve)
    told.pop("warnings", None)
    if as_json:
        document("report", summary(curve) | {"report": told, "low_temperature": cold.to_dict()}, warnings)
        return
    if curve.fit_id is None:
        show(f"{material} has no fit: this is the family prior of {curve.family}.")
    else:
        show(
            f"fit {curve.fit_id} of {material}, made {curve.created_at:%Y-%m-%d %H:%M} UTC by matdb "
            f"{curve.program_version}: {counted(curve.reading_count, 'readings')}"
        )
    show(modulus_text(curve))
    _laws(curve)
    if readings:
        show()
        table(
            ["reading", "kind", "on", "at degC", "stiffness read / expected", "loss read / expected", ""],
            [
                [
                    str(r.get("number", "-")),
                    str(r.get("kind", "")),
                    str(r.get("subject", "")),
                    given_text(r.get("temperature_c")),
                    _residual(r.get("stiffness")),
                    _residual(r.get("loss")),
                    "does not fit" if r.get("fumbled") else "",
                ]
                for r in readings
            ],
            right=(0, 3),
        )
        show("In brackets: how many standard deviations off. About one in twenty is beyond 2.")
    parameters = told.get("parameters", [])
    if parameters:
        show()
        table(
            ["parameter", "unit", "value (95 %)", "told by"],
            [
                [
                    str(p["name"]),
                    "" if p["unit"] == "1" else str(p["unit"]),
                    band_text(p["median"], p["low"], p["high"]),
                    str(p.get("from", "")),
                ]
                for p in parameters
            ],
        )
    offsets = told.get("offsets", {})
    if offsets:
        show()
        table(
            ["part", "stiffness against its geometry (95 %)"],
            [
                [
                    str(k),
                    "the reference: its geometry is taken as drawn"
                    if v["low"] == v["high"]
                    else band_text(v["median"], v["low"], v["high"]),
                ]
                for k, v in offsets.items()
            ],
        )
    _in_the_cold(cold)
    lines("Before you rely on it:", warnings)


def _residual(found: Any) -> str:
    from matdb.cli.screen import number_text

    if not found:
        return "-"
    return f"{number_text(found.get('measured_over_predicted'))} ({found.get('standardised', 0.0):+.1f})"


def _laws(curve: Curve) -> None:
    from matdb.cli.screen import share_text, show, table
    from matdb.curve.parameters import LAWS

    weights, four = law_weights(curve)
    if not weights:
        return
    show()
    table(
        ["shift law", "weight", "what it says"],
        [[name, share_text(weight), LAWS[name]] for name, weight in weights.items()],
        right=(1,),
    )
    show(
        f"Shape of the master curve: five parameters {share_text(1.0 - four)}, four parameters {share_text(four)} (a "
        "spectrum without skew)."
    )


def _in_the_cold(cold: LowTemperature) -> None:
    from matdb.cli.screen import number_text, share_text, show, table
    from matdb.curve.low_temperature import COLDEST_C

    named = (("T2", cold.t2), ("T5", cold.t5), ("T10", cold.t10), ("T100", cold.t100), ("doubles", cold.doubles))
    rows = []
    for name, index in named:
        where = index.temperature_c
        rows.append(
            [
                name,
                f"{index.ratio:g} times as stiff as at 23 degC, at {index.frequency_hz:g} Hz",
                "-" if where is None else _degrees(where),
                share_text(index.share),
                "extrapolated" if index.extrapolated else "readings",
            ]
        )
    glass = cold.glass_transition
    rows.append(
        [
            "Tg",
            "glass transition, as the WLF laws have it",
            "-" if glass.temperature_c is None else _degrees(glass.temperature_c),
            share_text(glass.wlf_share),
            glass.basis,
        ]
    )
    show()
    table(["in the cold", "where it is", "degC (95 %)", "of draws", "rests on"], rows, right=(3,))
    show(f"Glass transition: {glass.note}.")
    if any(index.share < 0.995 for _, index in named):
        show(f"'Of draws': the share that gets there above {number_text(COLDEST_C)} degC.")


def _degrees(found: Band) -> str:
    return f"{found.median:.0f} ({found.low:.0f} to {found.high:.0f})"


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


def laws_text(curve: Curve) -> str:
    """The shift laws with their weights, heaviest first, and the share of the four-parameter master curve."""
    from matdb.cli.screen import share_text

    weights, four = law_weights(curve)
    laws = "; ".join(f"{name} {share_text(weight)}" for name, weight in weights.items() if weight >= 0.05)
    return f"{laws}; four parameters {share_text(four)}" if laws else ""


def modulus_text(curve: Curve) -> str:
    """One sentence: the modulus at room temperature, in the cold, and their ratio."""
    from matdb.cli.screen import band_text

    cold, warm = (curve.modulus(t, 30.0).storage_mpa for t in (-10.0, 23.0))
    return (
        f"Storage modulus at 30 Hz: {band_text(warm.median, warm.low, warm.high)} MPa at 23 degC, "
        f"{band_text(cold.median, cold.low, cold.high)} MPa at -10 degC."
    )


def notes(curve: Curve) -> tuple[str, ...]:
    """What to know of a curve as a whole."""
    prior = () if curve.basis == "readings" else (curve.without_readings(),)
    return (*prior, *curve.age_notes, *curve.report.get("warnings", ()))


def summary(curve: Curve) -> dict[str, Any]:
    """A curve's fit in plain values."""
    laws, four = law_weights(curve)
    cold, warm = (curve.modulus(t, 30.0).storage_mpa for t in (-10.0, 23.0))
    return {
        "material": curve.material,
        "family": curve.family,
        "basis": curve.basis,
        "fit": curve.fit_id,
        "made_at": curve.created_at,
        "program_version": curve.program_version,
        "stale": curve.stale,
        "seed": curve.seed,
        "reading_count": curve.reading_count,
        "measured_c": curve.measured_c,
        "laws": laws,
        "four_parameters": four,
        "storage_mpa_at_30_hz": {"-10_c": cold.to_dict(), "23_c": warm.to_dict()},
    }
