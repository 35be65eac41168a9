"""Traces of known truth: the fit against the plain peak-and-log method, one table.

python tests/benchmarks/trace_table.py [records] [first seed]
python tests/benchmarks/trace_table.py --rig [records of a kind] [first seed]

Seeds 0 to 499 (of the rig 0 to 19) were looked at while the thresholds were set; a block from elsewhere is the fairer
figure. The second form strikes a camera on four isolators (tests/bench/rig.py) and reads it with nothing told, and with
what a bench tells: a range that is surely right, modes foretold with the curve's doubt and dimensions off by some 4 %.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from scipy.signal import find_peaks

from matdb.bench.trace.fit import fit_trace
from tests.bench.rig import KINDS, struck
from tests.bench.synthetic import record


def peak_and_log(trace):
    """The plain method on the liveliest axis: peaks after the largest one, period and slope of the logarithms."""
    x = trace.signal - np.median(trace.signal, axis=0)
    x = x[:, np.argmax(np.std(x, axis=0))]
    first = int(np.argmax(x))
    peaks, _ = find_peaks(x[first:], prominence=0.2 * x[first])
    places = np.concatenate([[0], peaks]) + first
    heights = x[places]
    falling = np.concatenate([[True], np.diff(heights) < 0]) & (heights > 0)
    stop = int(np.argmin(falling)) if not falling.all() else falling.size
    places, heights = places[:stop], heights[:stop]
    if places.size < 3:
        return np.nan, np.nan
    n = np.arange(places.size)
    return 1.0 / np.polyfit(n, trace.time_s[places], 1)[0], -np.polyfit(n, np.log(heights), 1)[0]


def run(seeds):
    """Errors and verdicts of the records with these seeds, as rows of dictionaries."""
    rows = []
    for seed in seeds:
        truth = record(seed)
        fit = fit_trace(truth.trace)
        row = {"seed": seed, "truth": truth, "fit": fit, "verdict": fit.verdict, "modes": []}
        main = int(np.argmax(truth.energy))
        f, d = peak_and_log(truth.trace)
        near = int(np.argmin(np.abs(truth.frequency_hz / f - 1))) if np.isfinite(f) else main
        row["plain"] = (f / truth.frequency_hz[near] - 1, d / truth.log_decrement[near] - 1)
        for mode in fit.modes:
            i = int(np.argmin(np.abs(np.log(truth.frequency_hz / mode.frequency_hz))))
            row["modes"].append(
                (
                    mode.frequency_hz / truth.frequency_hz[i] - 1,
                    mode.log_decrement / truth.log_decrement[i] - 1,
                    (mode.frequency_hz - truth.frequency_hz[i]) / mode.frequency_sd_hz,
                    (mode.log_decrement - truth.log_decrement[i]) / mode.log_decrement_sd,
                    bool(mode.flags),
                    i,
                )
            )
        row["main"] = main
        rows.append(row)
    return rows


def within(errors):
    """Whether a pair of relative errors is inside 1 % and 10 %."""
    return abs(errors[0]) <= 0.01 and abs(errors[1]) <= 0.10


def summary(rows):
    """Lines of the table and the figures behind them."""
    n = len(rows)
    first = [r["modes"][0] if r["modes"] else None for r in rows]
    good = np.array([m is not None and within(m) for m in first])
    verdict = np.array([r["verdict"] for r in rows])
    plain = np.array([within(r["plain"]) for r in rows])
    silent = (verdict == "good") & ~good
    told = ~good & (verdict != "good")
    second_silent = sum(1 for r in rows if r["verdict"] == "good" for m in r["modes"][1:] if not m[4] and not within(m))
    z = np.array([m[2:4] for m in first if m is not None and abs(m[0]) < 0.2])
    cover = [np.mean(np.abs(z) < k, axis=0) for k in (1.0, 1.96)]
    figures = {
        "within": good.mean(),
        "plain": plain.mean(),
        "good": np.mean(verdict == "good"),
        "flagged": np.mean(verdict == "flagged"),
        "refused": np.mean(verdict == "refused"),
        "silent": int(silent.sum()),
        "second_silent": second_silent,
        "cover68": cover[0],
        "cover95": cover[1],
    }
    median = [np.nanmedian([abs(m[k]) for m in first if m is not None]) for k in (0, 1)]
    median_plain = [np.nanmedian([abs(r["plain"][k]) for r in rows]) for k in (0, 1)]
    lines = [
        f"{n} records of 4 to 10 taps, 100 Hz-4 kHz, noise to 20 % of the peak, offset, drift, "
        f"40 % two modes, 60 % hum, 40 % clipped",
        f"{'':44}{'fit':>10}{'peak-and-log':>14}",
        f"{'frequency within 1 %, decrement within 10 %':44}{good.mean():10.1%}{plain.mean():14.1%}",
        f"{'median error of the frequency':44}{median[0]:10.2%}{median_plain[0]:14.2%}",
        f"{'median error of the decrement':44}{median[1]:10.2%}{median_plain[1]:14.2%}",
        f"{'of those outside: flagged or refused':44}{told.sum():6d} of {int((~good).sum()):d}",
        f"{'silently wrong':44}{int(silent.sum()):10d}{int((~plain).sum()):14d}",
        f"{'silently wrong second modes':44}{second_silent:10d}",
        f"{'good / flagged / asked / refused':44}"
        + " / ".join(str(int((verdict == v).sum())) for v in ("good", "flagged", "asked", "refused")).rjust(10),
        f"{'68 % interval holds frequency, decrement':44}{cover[0][0]:10.1%}{cover[0][1]:14.1%}",
        f"{'95 % interval holds frequency, decrement':44}{cover[1][0]:10.1%}{cover[1][1]:14.1%}",
    ]
    return lines, figures


def struck_outcome(kind, seed, *, told):
    """A record of the rig: "right", "asked", "warned" (off, but flagged or refused) or "silent"; right but flagged."""
    truth, rng = struck(kind, seed), np.random.default_rng([77, seed])
    more = {}
    if told and kind == "alias":
        more = {"frequency_range_hz": (52.0, 98.0)}
    elif told:
        doubt = truth.frequency_hz * np.exp(0.2 * rng.normal())
        others = truth.all_hz[truth.all_hz != truth.frequency_hz] / truth.frequency_hz
        more = {
            "foretold_hz": (doubt / 1.5, doubt * 1.5),
            "beside": others * np.exp(0.04 * rng.normal(size=others.size)),
        }
    fit = fit_trace(truth.trace, **more)
    if fit.verdict == "asked":
        return "asked", False
    mode = fit.modes[fit.chosen] if fit.modes else None
    good = mode is not None and within(
        (mode.frequency_hz / truth.frequency_hz - 1, mode.log_decrement / truth.log_decrement - 1)
    )
    return "right" if good else "silent" if fit.verdict == "good" else "warned", good and fit.verdict != "good"


def struck_table(seeds):
    """Lines on the rig's records of every kind, and the count of outcomes by kind and whether told."""
    found = {(k, told): [struck_outcome(k, seed, told=told) for seed in seeds] for k in KINDS for told in (False, True)}
    words = ("right", "asked", "warned", "silent")
    counts = {key: [sum(word == w for word, _ in each) for w in words] for key, each in found.items()}
    lines = [f"{'record':10}{'told':>6}" + "".join(f"{w:>8}" for w in words) + f"{'right but flagged':>20}"]
    lines += [
        f"{kind:10}{'yes' if told else 'no':>6}" + "".join(f"{n:8d}" for n in each)
        + f"{sum(over for _, over in found[kind, told]):20d}"
        for (kind, told), each in counts.items()
    ]  # fmt: skip
    return lines, counts


if __name__ == "__main__" and sys.argv[1:2] == ["--rig"]:
    count, first = (int(each) for each in sys.argv[2:4]) if len(sys.argv) > 3 else (20, 100)
    print("\n".join(struck_table(range(first, first + count))[0]))
elif __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    found = run(range(first, first + count))
    print("\n".join(summary(found)[0]))
