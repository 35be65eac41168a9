"""What a tap on the finished mount says: the modes that rang, told by frequency and direction, and how they compare."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import permutations
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from matdb.advice.camera import SixAxes
from matdb.advice.flown import Against, interval, verdict
from matdb.arrays import Array
from matdb.bench.trace.record import Trace, TraceFit, TraceMode

#: What is asked of a tap.
WANTED: Final = ("bounce", "roll rocking", "pitch rocking")
#: Of a motion that did not ring, of one of several, and of none of the six.
SILENT: Final = "it did not ring, tap the camera"
UNTOLD: Final = "which of them cannot be told"
OTHER: Final = "none of the six modes foretold"
#: How far all modes together, and one beside them, may lie off what was foretold, in ln of frequency; choice.
_ALL_SD, _ONE_SD = 0.2, 0.08
#: How far the vertical share of a motion may lie off what its shape tells: the phone tilts, and so does the tap.
_SHARE_SD: Final = 0.15
#: Squares of standard deviations: of a mode that is none of the six, of a bounce that is no bounce.
_NONE, _NO_BOUNCE = 9.0, 6.0
#: By how much an account has to be better than another to be told, where directions are known and where not; choice, by
#: which one mode in 60 is named wrongly on random mounts, and one in 20 where directions are not known.
_BETTER, _BETTER_BLIND = 2.5, 5.0
#: Moving along the vertical by this share a mode may be the bounce.
_VERTICAL: Final = 0.7
#: A sensor that lies has this share of gravity along one axis; gravity in either unit, within this share.
_LIES, _GRAVITY, _WITHIN = 0.9, (9.81, 1.0), 0.06
_AXIS: Final = re.compile(r"(?<![a-z])(?:a|acc|accel|acceleration)?[ _.\-]*([xyz])(?![a-z])")
_TURNS: Final = re.compile(r"gyr|rot|rate|deg|rad|(?<![a-z])[gw][ _]?[xyz](?![a-z])")


def tapped(fit: TraceFit, six: SixAxes, places_mm: Array) -> tuple[Against, ...]:
    """What rang, strongest first, against what was foretold; and which of bounce and rocking did not.

    Each mode is one of the six or none, no two the same. The bounce is what moves most along the vertical, however far
    off its frequency; the others follow it, for the same rubber holds them. Where two accounts are nearly as good, no
    verdict is told.

    Parameters
    ----------
    fit : TraceFit
        What rang; its record tells the vertical by gravity or by its columns' names.
    six : SixAxes
        As foretold, with what records on top.
    places_mm : ndarray, shape (n, 3)
        Where the sensor may be, from the centre of gravity.
    """
    rows = list[Against]()
    for rang, likely in zip(fit.modes, _likely(fit, six, places_mm), strict=True):
        found = interval(rang.frequency_hz, rang.frequency_sd_hz)
        sd = rang.damping_ratio * rang.log_decrement_sd / rang.log_decrement
        plain: dict[str, Any] = {"natural_frequency_hz": found, "damping_ratio": interval(rang.damping_ratio, sd)}
        *some, last = ((*six.motions, "another mode")[k] for k in likely)
        what = f"{', '.join(some)} or {last}" if some else last
        if 6 in likely or len({verdict(found, six.modes[k].natural_frequency_hz).split()[0] for k in likely}) > 1:
            rows.append(Against(what=what, verdict=UNTOLD if some else OTHER, **plain))
            continue
        # Of several the nearest.
        off = np.log([six.modes[k].natural_frequency_hz.median / rang.frequency_hz for k in likely])
        near = six.modes[likely[int(np.argmin(np.abs(off)))]]
        hz, damping = near.natural_frequency_hz, near.damping_ratio
        plain |= {"foretold_hz": hz, "foretold_damping_ratio": damping}
        rows.append(Against(what=what, verdict=verdict(found, hz), **plain))
    heard = " ".join(row.what for row in rows)
    for what in WANTED:
        if what not in heard:
            silent = f"{SILENT} {'from above' if what == 'bounce' else 'off its middle'}"
            rows.append(Against(what=what, natural_frequency_hz=None, damping_ratio=None, verdict=silent))
    return tuple(sorted(rows, key=lambda row: [*WANTED, row.what].index(row.what)))


def _likely(fit: TraceFit, six: SixAxes, places_mm: Array) -> list[list[int]]:
    """Which of the six each mode that rang may be, 6 for none, in the best accounts of all of them together."""
    rang, bounce = fit.modes, six.motions.index("bounce")
    off = np.log([[mode.frequency_hz / told.natural_frequency_hz.median for told in six.modes] for mode in rang])
    up = _upright(fit.trace)
    aside, vertical = _directions(rang, up, six.shapes, places_mm)
    # Columns beyond the six stand for none of them.
    none = range(6, 6 + len(rang))
    accounts = np.array(list(permutations([*range(6), *none], len(rang))))
    accounts = accounts[np.all((accounts < 6) | (accounts == 6 + np.arange(len(rang))), axis=1)]
    known, at = accounts < 6, np.minimum(accounts, 5)
    each = np.arange(len(rang))
    all_off = np.arange(-1.6, 1.6, 0.01)
    apart = np.where(known[..., None], (off[each, at][..., None] - all_off) / _ONE_SD, 0.0)
    common = 4.0 * np.log1p((all_off / (2.0 * _ALL_SD)) ** 2)
    cost = np.min((apart**2).sum(axis=1) + common, axis=1)
    cost += np.where(known, aside[each, at], _NONE).sum(axis=1)
    if vertical.max(initial=0.0) > 0.0:
        weak = np.where(vertical > 0.0, 4.0 * np.log(vertical.max() / np.maximum(vertical, 1e-9)), 0.0)
        is_bounce = accounts == bounce
        cost += np.where(is_bounce, weak, 0.0).sum(axis=1) + np.where(is_bounce.any(axis=1), 0.0, _NO_BOUNCE)
    blind = up is None or up.all() or not up.any()
    good = accounts[cost < cost.min() + (_BETTER_BLIND if blind else _BETTER)]
    return [sorted({min(int(k), 6) for k in good[:, i]}) for i in each]


def _directions(
    rang: Sequence[TraceMode], up: NDArray[np.bool_] | None, shapes: Array, places_mm: Array
) -> tuple[Array, Array]:
    """How little each mode's direction fits each of the six, squares; how much of the energy is bounce's if any is."""
    aside = np.zeros((len(rang), 6))
    if up is None:
        return aside, np.zeros(len(rang))
    moved = shapes[:3].T[:, None] + np.cross(shapes[3:].T[:, None], places_mm[None])
    share = moved[..., 2] ** 2 / np.maximum((moved**2).sum(axis=2), 1e-300)
    least, most = share.min(axis=1), share.max(axis=1)
    if up.all() or not up.any():
        # One direction alone: what does not move along it is not seen.
        aside += np.where(most < 0.05 if up.all() else least > 0.95, _NONE, 0.0)
        return aside, np.array([mode.share for mode in rang]) * up.all()
    power = np.array([np.nansum(mode.amplitude**2, axis=0) for mode in rang])
    along = power[:, up].sum(axis=1) / np.maximum(power.sum(axis=1), 1e-300)
    short = np.maximum(np.maximum(least - along[:, None], along[:, None] - most), 0.0)
    seen = np.array([mode.share for mode in rang]) * along
    return (short / _SHARE_SD) ** 2, np.where(along >= _VERTICAL, seen, 0.0)


def _upright(trace: Trace) -> NDArray[np.bool_] | None:
    """Which signals stand upright, by gravity in them or by their names; None where neither tells."""
    names = [name.casefold() for name in trace.names]
    if any(_TURNS.search(name) for name in names):
        return None
    rest = np.median(trace.signal, axis=0)
    size = float(np.linalg.norm(rest))
    if any(abs(size / g - 1.0) < _WITHIN for g in _GRAVITY):
        along = rest**2 / size**2
        return along > _LIES if along.max() > _LIES else None
    found = [_AXIS.search(re.split(r"[(\[]", name)[0]) for name in names]
    if len(found) == 1 and not found[0]:
        # One signal without a word is what a tap from above shows.
        return np.array([True])
    if not all(found):
        return None
    return np.array([each is not None and each[1] == "z" for each in found])
