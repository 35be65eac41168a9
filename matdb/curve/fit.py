"""Fit a material's curve to its readings, and report what the fit rests on."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from matdb.bench.readings import Reading
from matdb.bench.thermal.soak import soak_not_told
from matdb.curve.band import band
from matdb.curve.curve import FAMILY_PRIOR, READINGS, Curve, not_told
from matdb.curve.evidence import GROUPS, HARDNESS, Evidence
from matdb.curve.gathering import gather
from matdb.curve.parameters import GLASS, PARAMETERS, UNNAMED, ln_shift
from matdb.curve.posterior import PRIOR_PARTICLES, Posterior, fit_posterior, prior_population
from matdb.curve.prior import YIELD_SPAN_K, prior_of
from matdb.curve.tolerance import fumbled_probability
from matdb.errors import FitError
from matdb.form.part import Part
from matdb.material.crystallisation import crystallisation_of
from matdb.material.record import Material
from matdb.material.shift import ZERO_C

Array = NDArray[np.float64]

#: A stiffness is named as fumbled from this probability and this factor on, and alone where it holds so much of what
#: it and any other share: measured, so that fewer than one right reading in 200 is named.
FUMBLED: Final = 0.55
_ALONE: Final = 0.95
#: From this probability on it is told that two hardly agree: their answer's band holds both explanations.
_HARDLY: Final = 0.3
_NAMED_FACTOR: Final = 1.3
#: A loss that no other reading within some kelvin speaks for may as well be the model's misfit: another factor.
_FUMBLED_LOSS: Final = 0.5
_NAMED_LOSS, _NAMED_LOSS_ALONE = 2.5, 5.0
#: The coldest reading, far too stiff or too stiff and lossy, may as well near the glass transition.
_GLASS_FACTOR: Final = 2.0
_GLASS_LN_LOSS: Final = 0.22
_NEIGHBOUR_K: Final = 8.0
#: A parameter counts as told by the readings when its spread shrank to this share of the prior's.
TOLD_BY_READINGS: Final = 0.7


def prior_curve(material: Material, *, seed: int = 0) -> Curve:
    """The curve of a material without readings: its family, and its label's hardness if it has one.

    Parameters
    ----------
    material : Material
        The record.
    seed : int
        Seed of the draws.
    """
    posterior = prior_population(prior_of(material), seed)
    return Curve(
        material=material.name,
        family=material.family,
        basis=FAMILY_PRIOR,
        parameters=posterior.draws,
        misfit=posterior.misfit,
        crystallises=crystallisation_of(material.family) is not None,
        weights=posterior.weights,
        seed=seed,
        report={"parameters": _parameters(posterior, None), "laws": posterior.weights, "readings": [], "warnings": []},
    )


def fit_curve(
    material: Material,
    parts: Mapping[str, Part],
    readings: Sequence[Reading],
    *,
    seed: int = 0,
    numbers: Sequence[int] | None = None,
    progress: Callable[[float], None] | None = None,
) -> Curve:
    """Fit every reading of a material, whatever its kind and on whatever part, in one posterior.

    Parameters
    ----------
    material : Material
        The record; family, hardness and glass transition set the prior.
    parts : mapping of str to Part
        The parts that the readings name.
    readings : sequence of Reading
        At least one.
    seed : int
        Same seed and same readings in any order: the same draws.
    numbers : sequence of int, optional
        What the store calls the readings, for the report to name them by.
    progress : callable, optional
        Called with the share done, 0 to 1.

    Returns
    -------
    Curve
        With its report: residual of each reading, what came from the data, law weights, warnings.

    Raises
    ------
    FitError
        No reading.
    InputError
        A reading does not fit its part's form.
    """
    if not readings:
        raise FitError(material.name, "there is no reading yet; log one with 'matdb reading add'")
    evidence = gather(readings, parts, material.family)
    prior = prior_of(material, float(np.ptp(evidence.temperature_k)))
    posterior = fit_posterior(prior, evidence, seed=seed, progress=progress)
    temperatures = evidence.temperature_k - ZERO_C
    by_part = evidence.by_part(posterior.offsets)
    rows = _residuals(evidence, posterior, readings)
    # A reading that does not fit the others widens no range: it must not turn a guess into a measurement.
    fits = [not row["fumbled"] and not isinstance(row["or_else"], str) for row in rows]
    counts = np.array([any(fits[index] for index in indices) for indices in evidence.rows_of])
    counts = counts if counts.any() else ~counts
    before = prior_population(prior, seed, evidence.common_sd, particles=PRIOR_PARTICLES)
    return Curve(
        material=material.name,
        family=material.family,
        basis=READINGS,
        parameters=posterior.draws,
        **by_part,
        piecewise=tuple(sorted({evidence.specimens[k] for k in evidence.specimen[evidence.piece >= 0]})),
        common_sd=evidence.common_sd,
        misfit=posterior.misfit,
        measured_c=(float(temperatures[counts].min()), float(temperatures[counts].max())),
        measured_ln_hz=_reduced_range(evidence, posterior, counts),
        measured_loss_ln_hz=_reduced_range(evidence, posterior, counts & ~np.isnan(evidence.loss)),
        read_c=tuple(sorted({round(float(t), 2) for t in temperatures[counts]})),
        crystallises=crystallisation_of(material.family) is not None,
        rest=posterior.rest,
        bench_strain=evidence.bench_strain,
        softening=posterior.softening,
        weights=posterior.weights,
        report=_report(material, readings, evidence, posterior, before, by_part["offsets"], rows, numbers),
        reading_count=len(readings),
        seed=seed,
    )


def _report(
    material: Material,
    readings: Sequence[Reading],
    evidence: Evidence,
    posterior: Posterior,
    before: Posterior,
    offsets: Mapping[str, Array],
    rows: Sequence[Mapping[str, Any]],
    numbers: Sequence[int] | None,
) -> dict[str, Any]:
    """What the fit rests on, in plain values."""
    return {
        "laws": posterior.weights,
        "log_evidence": posterior.log_evidence,
        "parameters": _parameters(posterior, before),
        "noise_factors": {
            name: band(posterior.noise[:, k]).to_dict() for k, name in enumerate(GROUPS) if k in evidence.groups_read
        },
        "misfit": band(posterior.misfit).to_dict(),
        "offsets": {name: band(np.exp(values)).to_dict() for name, values in sorted(offsets.items())},
        "sessions": {
            evidence.sessions[k].strip() or UNNAMED: band(posterior.drift[:, k]).to_dict()
            for k in range(len(evidence.sessions))
        },
        "geometry_sd": evidence.common_sd,
        "readings": rows,
        "warnings": _warnings(material, readings, evidence, posterior, rows, numbers),
    }


def _reduced_range(evidence: Evidence, posterior: Posterior, counts: NDArray[np.bool_]) -> tuple[float, float] | None:
    """Ln of the lowest and highest reduced frequency (Hz, referred to 23 degC) that these rows speak for."""
    if not counts.any():
        return None
    shift = np.median(ln_shift(posterior.draws, evidence.temperature_k), axis=0)
    reduced = (evidence.ln_s.real - math.log(2.0 * math.pi) + shift)[counts]
    return float(reduced.min()), float(reduced.max())


def _residuals(evidence: Evidence, posterior: Posterior, readings: Sequence[Reading]) -> list[dict[str, Any]]:
    """One entry a reading in the order given: measured over predicted, standardised residual, whether it fits."""
    stiff, loss, stiff_rate, loss_rate = evidence.predict(
        posterior.draws, posterior.offsets, posterior.drift, posterior.softening, posterior.rest
    )
    spreads = evidence.residual_scale(stiff_rate, loss_rate, posterior.noise, posterior.misfit[:, None])
    away = {"stiffness": evidence.stiff - stiff, "loss": evidence.loss - loss}
    z = {name: values / sd for (name, values), sd in zip(away.items(), spreads, strict=True)}
    share, width = evidence.fumbled_share, evidence.fumbled_width
    odds = {name: fumbled_probability(values, share, width[name]) for name, values in z.items()}
    # The stiffness of a free vibration goes with the square of its frequency.
    away["stiffness"] = away["stiffness"] * np.where(evidence.free, 2.0, 1.0)
    fumbled, rivals, glassy, hardly = _misfits(evidence, away, odds)
    entries: dict[int, dict[str, Any]] = {}
    for k, indices in enumerate(evidence.rows_of):
        parts = {
            name: {
                "measured_over_predicted": math.exp(float(np.median(values[:, k]))),
                "standardised": float(np.median(z[name][:, k])),
                "fumbled_probability": float(odds[name][:, k].mean()),
            }
            for name, values in away.items()
            if not np.isnan(values[0, k])
        }
        rival = evidence.rows_of[rivals[k]][0] if k in rivals else None
        against = evidence.rows_of[hardly[k]][0] if k in hardly else None
        for index in indices:
            reading = readings[index]
            entries[index] = {
                "index": index,
                "kind": reading.kind,
                "subject": getattr(reading, reading.subject),
                "temperature_c": reading.temperature_c,
                **parts,
                "fumbled": bool(fumbled[k]),
                "or_else": "the curve nears glass" if glassy[k] else rival,
                "hardly_with": against,
            }
    return [entries[index] for index in sorted(entries)]


def _misfits(
    evidence: Evidence, away: Mapping[str, Array], odds: Mapping[str, Array]
) -> tuple[NDArray[np.bool_], dict[int, int], NDArray[np.bool_], dict[int, int]]:
    """Rows that are fumbled, pairs of which one is (both ways), rows that are or that near the glass transition, and
    pairs that hardly agree.

    ``away`` and ``odds``: ln of measured over predicted and the probability that it is fumbled, (draws, rows).
    """
    factor = np.exp(np.abs(away["stiffness"]))
    # Two readings that contradict each other are each fumbled in some draws, and one of them in nearly all.
    stiff = np.where(factor > _NAMED_FACTOR, odds["stiffness"], 0.0)
    single = stiff.mean(axis=0)
    either = single[:, None] + single - stiff.T @ stiff / len(stiff)
    np.fill_diagonal(either, single)
    rival = either.argmax(axis=1)
    most = either.max(axis=1)
    fumbled = (most > FUMBLED) & (single > FUMBLED) & (single >= _ALONE * most)
    rivals = {
        k: j
        for k, j in enumerate(rival.tolist())
        if most[k] > FUMBLED and rival[j] == k != j and max(single[k], single[j]) < _ALONE * most[k]
    }
    # Of several that one contradicts, only one is its match; the others are as doubtful.
    rivals |= {k: int(rival[k]) for k in np.flatnonzero((single > FUMBLED) & ~fumbled).tolist() if k not in rivals}
    close = np.abs(evidence.temperature_k[:, None] - evidence.temperature_k) < _NEIGHBOUR_K
    lone = (close & ~np.isnan(evidence.loss)).sum(axis=1) < 2
    stiffer, lossier = (np.median(values, axis=0) for values in away.values())
    lossy = np.nan_to_num(odds["loss"].mean(axis=0)) > _FUMBLED_LOSS
    lossy &= np.abs(lossier) > np.log(np.where(lone, _NAMED_LOSS_ALONE, _NAMED_LOSS))
    # The coldest reading may show glass that the others do not tell of.
    coldest = (evidence.temperature_k == evidence.temperature_k.min()) & (close.sum(axis=1) < 2) & (len(single) > 1)
    stiff_or_lossy = (np.median(factor, axis=0) > _GLASS_FACTOR) | (lossier > _GLASS_LN_LOSS)
    glassy = coldest & ((fumbled & (stiffer > 0.0) & stiff_or_lossy) | (lossy & ~fumbled & (lossier > 0.0)))
    fumbled = (fumbled | lossy) & ~glassy
    named = fumbled | glassy
    hardly = {
        k: j
        for k, j in enumerate(rival.tolist())
        if most[k] > _HARDLY and j != k and not (named[[k, j]].any() or k in rivals or j in rivals)
    }
    return fumbled, rivals, glassy, hardly


def _parameters(posterior: Posterior, before: Posterior | None) -> list[dict[str, Any]]:
    """Per parameter: band, and how much of its prior spread the readings took away."""
    out = []
    for column, parameter in enumerate(PARAMETERS):
        used = parameter.speaks_for(posterior.draws)
        if not parameter.title or used.sum() < 20:
            continue
        values = posterior.draws[used, column]
        entry: dict[str, Any] = {
            "name": parameter.title,
            "unit": parameter.unit,
            **band(parameter.shown(values)).to_dict(),
        }
        told = False
        if before is not None:
            old = before.draws[parameter.speaks_for(before.draws), column]
            entry["spread_against_prior"] = float(np.std(values) / max(float(np.std(old)), 1e-12))
            told = entry["spread_against_prior"] < TOLD_BY_READINGS
        out.append(entry | {"from": "readings" if told else "prior"})
    return out


def _warnings(
    material: Material,
    readings: Sequence[Reading],
    evidence: Evidence,
    posterior: Posterior,
    rows: Sequence[Mapping[str, Any]],
    numbers: Sequence[int] | None,
) -> list[str]:
    """Warnings that hold for the fit as a whole."""
    untold_soak = {k for k, each in enumerate(readings) if soak_not_told(material.family, each)}
    found = _misfit_warnings(rows, numbers, untold_soak)
    if (evidence.group == HARDNESS).all():
        found.append("only hardness was read: a surface value; stiffness in the cold comes from the family prior")
    elif np.isnan(evidence.loss).all():
        found.append("no reading tells of damping: loss factor and damping ratio come from the family prior")
    temperatures = evidence.temperature_k - ZERO_C
    if temperatures.max() - temperatures.min() < YIELD_SPAN_K:
        found.append(
            "all readings lie within 15 K: how stiffness changes with temperature comes from the family prior; "
            "read the part in a freezer and in an oven"
        )
    on_part = evidence.specimen[evidence.group < 2] >= 0
    untold = list[str]()
    if on_part.any() and evidence.bench_strain is None and prior_of(material).table["softening_share"].value >= 0.1:
        untold.append("amplitude")
    # Several that carry one mass are read together: there is no piece to tell.
    if on_part.any() and not evidence.pieces and any(getattr(each, "count", 1) == 1 for each in readings):
        untold.append("piece")
    if untold:
        found.append(not_told(material.family, *untold))
    found += _unlike_thermometers(readings)
    if evidence.on_label:
        found.append("no part that was read has a shape: how stiff any other is rests on the label or the family")
    glass = float(np.median(posterior.draws[:, GLASS])) - ZERO_C
    if temperatures.min() < glass + 10.0:
        found.append(f"some readings lie within 10 K of the glass transition (about {glass:.0f} degC) or below it")
    return found


def _unlike_thermometers(readings: Sequence[Reading]) -> Iterator[str]:
    """Of each session whose readings tell its thermometer's accuracy otherwise, which counts."""
    told: dict[str, set[float]] = {}
    for each in readings:
        if each.session is not None and each.thermometer_sd_k is not None:
            told.setdefault(each.session, set()).add(each.thermometer_sd_k)
    for session, sds in told.items():
        if len(sds) > 1:
            all_of = " and ".join(f"{sd:g} K" for sd in sorted(sds))
            yield f"the thermometer of session {session!r} was told to be off by {all_of}: the largest counts for all"


def _misfit_warnings(
    rows: Sequence[Mapping[str, Any]], numbers: Sequence[int] | None, untold_soak: Collection[int]
) -> list[str]:
    """Which readings do not fit, or which two do not fit each other; places of those whose soak decides and is untold.

    What lies in the cold for hours may crystallise, which is asked before a slip is looked for.
    """

    def name(row: Mapping[str, Any]) -> str:
        what = f"the {row['kind']} of {row['subject']} at {row['temperature_c']:g} degC"
        return what if numbers is None else f"reading {numbers[row['index']]}, {what},"

    def crystallised(*some: Mapping[str, Any]) -> str:
        asked = any(row["index"] in untold_soak for row in some)
        return "in such cold it may have crystallised, and its soak was not told; " * asked

    found = []
    for row in rows:
        other = row["or_else"]
        if row["fumbled"]:
            others = "the others" if len(rows) > 1 else "what its family leads to expect"
            hint = "look at mass, count and unit"
            if ("stiffness" not in row or row["stiffness"]["fumbled_probability"] <= FUMBLED) and len(rows) > 1:
                hint = "look at how the decay was read, or the material loses otherwise than the curve can follow"
            found.append(f"{name(row)} does not fit {others}: {crystallised(row)}{hint}; it hardly counts in this fit")
        elif isinstance(other, str):
            found.append(
                f"{name(row)} is stiffer or loses more than the others lead to expect: {crystallised(row)}it was "
                "misread, or the material nears its glass transition; it hardly counts in this fit, read again some 8 "
                "K warmer"
            )
        elif other is not None and (row["index"] < other or rows[other]["or_else"] != row["index"]):
            found.append(
                f"{name(row)} or {name(rows[other])} does not fit the others, which cannot tell which of the two: "
                f"{crystallised(row, rows[other])}look at mass, count and unit of both, or read one of them again"
            )
        elif row["hardly_with"] is not None:
            against = rows[row["hardly_with"]]
            if row["index"] < against["index"] or against["hardly_with"] != row["index"]:
                found.append(
                    f"{name(row)} and {name(against)} hardly agree: {crystallised(row, against)}one was "
                    "misread, or the part is built otherwise than drawn; bands hold both, read one of them again"
                )
    return found
