"""Synthetic traces of known truth, shared by the test and the table of the benchmarks."""

from dataclasses import dataclass

import numpy as np

from matdb.bench.trace.record import Trace


@dataclass(frozen=True)
class Truth:
    """What went into a record: damped frequencies, decrements, and what was done to it."""

    frequency_hz: np.ndarray
    log_decrement: np.ndarray
    energy: np.ndarray
    rate_hz: float
    taps: int
    noise: float
    hum: float
    clip: float
    trace: Trace


def record(seed):
    """One record: 8-80 Hz below Nyquist / 2.5, damping ratio 0.01-0.15, 4 to 10 taps of several cycles each."""
    rng = np.random.default_rng([2718, seed])
    rate = np.exp(rng.uniform(np.log(100), np.log(4000)))
    top = min(80.0, rate / 5.0)
    f = [np.exp(rng.uniform(np.log(8), np.log(top)))]
    zeta = [np.exp(rng.uniform(np.log(0.01), np.log(0.15)))]
    size = [1.0]
    if rng.random() < 0.4:
        ratio = rng.uniform(1.12, 1.6)
        f.append(f[0] * ratio if f[0] * ratio < top else f[0] / ratio)
        zeta.append(np.exp(rng.uniform(np.log(0.01), np.log(0.15))))
        size.append(rng.uniform(0.2, 0.8))
    f, zeta, size = np.array(f), np.array(zeta), np.array(size)
    omega0 = 2 * np.pi * f / np.sqrt(1 - zeta**2)
    poles = -zeta * omega0 + 2j * np.pi * f
    taps, axes = int(rng.integers(4, 11)), int(rng.integers(1, 4))
    gap = np.clip(rng.uniform(4, 8) / np.min(-poles.real), 0.5, 5.0)
    starts = 0.3 + gap * np.arange(taps) + rng.uniform(0, 0.2, taps)
    time = np.arange(0.0, starts[-1] + gap, 1 / rate)
    if rng.random() < 0.3:
        time = np.sort(time + rng.normal(0, 0.1 / rate, time.size))
        time = time[rng.random(time.size) > 0.03]
    signal = np.zeros((time.size, axes))
    share = rng.uniform(0.2, 1.0, (len(f), axes))
    share /= share.max(axis=1, keepdims=True)
    energy = np.zeros(len(f))
    for start in starts:
        strength = rng.uniform(0.5, 1.0)
        after = np.maximum(time - start, 0.0)
        for m, s in enumerate(poles):
            wave = np.exp(s * after + 1j * rng.uniform(0, 2 * np.pi)).real * (time >= start)
            signal += strength * size[m] * wave[:, None] * share[m]
        energy += (strength * size) ** 2 * np.sum(share**2, axis=1) / -poles.real
    peak = np.abs(signal).max()
    noise = rng.uniform(0.0, 0.2)
    hum = rng.uniform(0.02, 0.2) if rng.random() < 0.6 else 0.0
    clip = rng.uniform(0.6, 0.95) if rng.random() < 0.4 else 0.0
    slow = rng.uniform(0, 0.5) * np.sin(2 * np.pi * rng.uniform(0.03, 0.3) * time + rng.uniform(0, 6))
    slow = slow + rng.uniform(-0.5, 0.5) * time / time[-1]
    mains = 50.0 + rng.normal(0, 0.02)
    signal = signal + peak * (
        noise * rng.normal(size=signal.shape)
        + slow[:, None] * rng.uniform(0.3, 1.0, axes)
        + hum * np.sin(2 * np.pi * mains * time[:, None] + rng.uniform(0, 6, axes)) * rng.uniform(0.3, 1, axes)
    )
    if clip:
        signal = np.clip(signal, -clip * peak, clip * peak)
    signal = signal + rng.normal(0, 5, axes)
    return Truth(
        f, 2 * np.pi * -poles.real / (2 * np.pi * f), energy, rate, taps, noise, hum, clip, Trace(time, signal)
    )
