"""Flights of known truth read from two logs: what is told, how well, and what is refused.

    python tests/benchmarks/flights.py 200 [FIRST] [varied] [causal | between | growing]

Rotor speeds within 1 % (or twice the standard deviation that was told), clocks within 2 ms, sensors' axes within 1
degree, natural frequencies within 3 % of a mode that has a share in that axis, damping ratios within 15 %; what lies
outside without having been refused is silently wrong. Every fourth airframe logs no acceleration. Varied, each flight
has one thing that others do not have, by turns: see VARIATIONS. Causal, the mounts' stiffness grows with frequency as
its loss demands; between, half as steeply; growing, so does the loss; else both are constant.
"""

import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.flight_simulator import LAWS, RATES, fly

from matdb.bench.flight.following import followed, motion
from matdb.bench.flight.log import evened
from matdb.bench.flight.rotor import follow_rotors
from matdb.bench.flight.two_logs import align
from matdb.bench.trace.record import Refused
from matdb.errors import InputError

#: A mode that has less of an axis is not that axis' mode.
SHARE = 0.2


VARIATIONS = ("gusts", "steady", "apart", "noise", "drift", "bursts", "jump", "saturated")


def varied(flight, how, rng):
    """What sensors, loggers and clocks do beside, of VARIATIONS; those of air and rotors are flown."""
    deg = np.pi / 180
    for rate, times in ((flight.rate, flight.time_s), (flight.camera_rate, flight.camera_time_s)):
        if how == "noise":
            # A bias that walks, and steps of a sixteenth of a degree a second.
            hz = (times.size - 1) / np.ptp(times)
            rate += np.cumsum(rng.standard_normal(rate.shape), axis=0) * 0.02 * deg / np.sqrt(hz)
            rate[:] = np.round(rate * 16 / deg) * deg / 16
        elif how == "saturated":
            most = np.quantile(np.abs(rate - np.median(rate, axis=0)), 0.999)
            np.clip(rate, -most, most, out=rate)
    time, camera_time, kept = flight.time_s, flight.camera_time_s, []
    if how == "drift":
        # A holder that turns slowly under way, as one that is steered does.
        slow = np.cumsum(rng.standard_normal((int(np.ptp(camera_time)) // 8 + 3, 3)), axis=0) * 0.3 * deg
        grid = camera_time[0] + 8.0 * np.arange(len(slow))
        flight.camera_rate += np.stack([np.interp(camera_time, grid, x) for x in slow.T], axis=1)
    elif how == "jump":
        # Times that go back are refused on reading; so the one clock or the other goes forth.
        which, by, when = rng.integers(2), rng.uniform(5e-3, 60e-3), rng.uniform(0.2, 0.8)
        time, camera_time = (
            each + by * (each > np.quantile(each, when)) if k == which else each
            for k, each in enumerate((time, camera_time))
        )
    for each in (time, camera_time):
        keep = np.ones(each.size, bool)
        for at in rng.uniform(each[0], each[-1], 30) if how == "bursts" else ():
            keep &= (each < at) | (each > at + rng.uniform(0.02, 0.4))
        kept.append(keep)
    a, c = kept
    return replace(
        flight, time_s=time[a], rate=flight.rate[a], acceleration=flight.acceleration[a],
        camera_time_s=camera_time[c], camera_rate=flight.camera_rate[c],
    )  # fmt: skip


def rotors(track, truth):
    """The largest error of lowest, usual and highest speed, as a share, and what was told of it."""
    true = truth.rotor(track.time_s)
    wanted = np.quantile(true, 0.01), np.median(true), np.quantile(true, 0.99)
    told = track.lowest_hz, track.hover_hz, track.highest_hz
    return max(abs(a / b - 1.0) for a, b in zip(told, wanted, strict=True)), track.sd_hz / track.hover_hz


def read(seed, vary=False, law="constant"):
    """One flight: rows of (what, verdict, error, held by its interval or None)."""
    rng, how = np.random.default_rng(seed), VARIATIONS[seed % len(VARIATIONS)] if vary else ""
    rates = {"rate_hz": RATES[seed % 7], "camera_rate_hz": RATES[(3 * seed + seed // 7) % 7]}
    flight = varied(fly(rng, **rates, flies=seed % 25 != 24, vary=how, law=law), how, rng)
    truth = flight.truth
    columns = {"rate": flight.rate} | ({"acceleration": flight.acceleration} if seed % 4 else {})
    airframe = evened("airframe", flight.time_s, columns)
    camera = evened("camera", flight.camera_time_s, {"rate": flight.camera_rate})
    try:
        track = follow_rotors(airframe, truth.blades)
    except Refused as why:
        yield "rotor", "refused", str(why), None
        return
    if seed % 25 == 24:
        yield "rotor", "WRONG", "it did not fly", None
        return
    error, sd = rotors(track, truth)
    yield (
        "rotor",
        "right" if error < 0.01 else "told" if error < 2.0 * sd else "WRONG",
        f"{error:.4f} sd {sd:.4f}",
        None,
    )
    try:
        both = align(airframe, camera, track.flew_s)
    except Refused as why:
        yield "clock", "refused", str(why), None
        return
    slow = motion(airframe, track.flew_s, track)
    try:
        axes, both = followed(both, track, slow.manoeuvre_hz, (airframe.hz, camera.hz))
    except (Refused, InputError) as why:
        yield "following", "refused", str(why), None
        return
    t = np.linspace(*track.flew_s, 9)
    off = np.abs(both.camera_time(t) - (t - truth.offset_s) * (1.0 + truth.drift)).max()
    yield (
        "clock",
        "right" if off < 2e-3 and how != "jump" else "WRONG",
        f"{1e3 * off:.2f} ms sd {1e3 * both.clock_sd_s:.2f}",
        None,
    )
    turn = np.degrees((Rotation.from_matrix(both.matrix) * truth.turn.inv()).magnitude())
    yield "axes", "right" if turn < 1.0 else "WRONG", f"{turn:.3f} deg", None
    for k, each in enumerate(axes):
        if each.refused:
            yield each.axis, "refused", each.refused, None
            continue
        fit = each.fit
        own = np.abs(truth.share[k]) > SHARE
        near = np.argmin(np.where(own, np.abs(truth.modes_hz - fit.frequency_hz), np.inf))
        nearest, damping = truth.modes_hz[near], truth.damping[near]
        error = fit.frequency_hz / nearest - 1.0
        held = abs(fit.frequency_hz - nearest) < 1.96 * fit.frequency_sd_hz
        said = f"{fit.frequency_hz:.2f} +- {fit.frequency_sd_hz:.2f}, true {nearest:.2f}"
        yield f"{each.axis} frequency", "right" if abs(error) < 0.03 else "WRONG", said, held
        error = fit.damping_ratio / damping - 1.0
        held = abs(fit.loss_factor - 2.0 * damping) < 1.96 * fit.loss_factor_sd
        said = f"{fit.damping_ratio:.4f} +- {0.5 * fit.loss_factor_sd:.4f}, true {damping:.4f}"
        yield f"{each.axis} damping", "right" if abs(error) < 0.15 else "WRONG", said, held


def main(many, first=0, **truth):
    """Print what is wrong as it comes, and the table."""
    counts, held = {}, {}
    for seed in range(first, first + many):
        for what, verdict, said, inside in read(seed, **truth):
            counts.setdefault(what, Counter())[verdict] += 1
            if inside is not None:
                held.setdefault(what, []).append(inside)
            if verdict != "right":
                print(f"{seed:4d} {what}: {verdict}: {said}", flush=True)
    print(f"\n{'':18}{'right':>7}{'told':>7}{'refused':>9}{'wrong':>7}{'95 % hold':>11}")
    for what, found in counts.items():
        inside = f"{100 * np.mean(held[what]):10.0f}%" if what in held else ""
        print(f"{what:18}{found['right']:7d}{found['told']:7d}{found['refused']:9d}{found['WRONG']:7d}{inside:>11}")


if __name__ == "__main__":
    told = next((word for word in LAWS if word in sys.argv), LAWS[0])
    main(*map(int, filter(str.isdigit, sys.argv[1:])), vary="varied" in sys.argv, law=told)
