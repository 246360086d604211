"""Works out what `emberline steady` says with numpy, scipy, pandas and allantools, from the same CSV files.

usage: steady_numbers.py EMBERLINE FOLDER-FOR-FILES
"""

import argparse
import json
import pathlib
import subprocess
import sys
from fractions import Fraction
from math import sqrt

import allantools
import numpy as np
import pandas as pd
from scipy import optimize, signal, stats

DAY = 86_400.0
wrong = []


def expect(what, own, theirs, within):
    """Relative, or absolute where the value is 0."""
    size = abs(own) if own else 1.0
    if theirs is None or not abs(own - theirs) <= within * size:
        wrong.append(f"{what}: {own!r} here, {theirs!r} from emberline")


def steady(emberline, path, *options):
    command = [emberline, "steady", str(path), "--json", *options]
    return json.loads(subprocess.run(command, check=True, capture_output=True).stdout)["loops"][0]


def write(path, columns):
    pd.DataFrame(columns).to_csv(path, index=False)
    return path


def moments(what, y, theirs):
    d = y - y.mean()
    expect(f"{what} mean", y.mean(), theirs["mean"], 1e-13)
    expect(f"{what} sd", y.std(ddof=1), theirs["sd"], 1e-10)
    expect(f"{what} lag1", (d[:-1] * d[1:]).sum() / (d * d).sum(), theirs["lag1"], 1e-9)
    for name, share in [("p01", 1), ("p05", 5), ("p50", 50), ("p95", 95), ("p99", 99)]:
        expect(f"{what} {name}", np.percentile(y, share, method="linear"), theirs[name], 1e-14)


def half_width(e, terms, variance):
    """Student's half-width with the effective number of samples, the widest over means of 1, 2, 4 ..."""
    widest, weight = 0.0, 1.0
    while True:
        n = len(e)
        r = np.clip((e[:-1] * e[1:]).sum() / (e * e).sum(), 0.0, 1.0)
        widened = (1 + r) / (1 - r)
        scale = weight * (e * e).sum() / (n - terms)
        half = stats.t.ppf(0.975, n / widened - terms) * sqrt(scale * variance * widened)
        widest = max(widest, half)
        if n < 128:
            return widest
        e, weight = e[: n // 2 * 2].reshape(-1, 2).mean(axis=1), 2 * weight


def drift(what, t, y, slope, interval):
    days = (t - t.mean()) / DAY
    columns = [np.ones_like(days), days]
    if t[-1] - t[0] >= 2 * DAY:
        columns += [np.sin(2 * np.pi * t / DAY), np.cos(2 * np.pi * t / DAY)]
    else:
        line = stats.linregress(days, y)
        expect(f"{what} slope by linregress", line.slope, slope, 1e-9)
    x = np.column_stack(columns)
    fit = np.linalg.lstsq(x, y, rcond=None)[0]
    half = half_width(y - x @ fit, x.shape[1], np.linalg.inv(x.T @ x)[1, 1])
    expect(f"{what} slope", fit[1], slope, 1e-8)
    expect(f"{what} lower end", fit[1] - half, interval[0], 1e-6)
    expect(f"{what} upper end", fit[1] + half, interval[1], 1e-6)


def in_band(t, y, around, band):
    """Part of the time inside, and how many times outside, from the crossings of each line."""
    inside, d = 0.0, y - around
    for t0, t1, a, b in zip(t[:-1], t[1:], d[:-1], d[1:]):
        cuts = [0.0, 1.0]
        for edge in (-band, band):
            if (a - edge) * (b - edge) < 0:
                cuts.append((edge - a) / (b - a))
        cuts.sort()
        for u, v in zip(cuts[:-1], cuts[1:]):
            if abs(a + (b - a) * (u + v) / 2) <= band:
                inside += (t1 - t0) * (v - u)
    side = np.sign(d) * (np.abs(d) > band)
    outside = np.count_nonzero((side[1:] != 0) & (side[1:] != side[:-1])) + (side[0] != 0)
    return 100 * inside / (t[-1] - t[0]), int(outside)


def allan(what, y, period, points):
    full = [point for point in points if point["tau_s"] <= 512 * period]
    factors = [round(point["tau_s"] / period) for point in full]
    _, deviations, _, counts = allantools.oadev(y, rate=1.0, data_type="freq", taus=factors)
    if len(deviations) < 5:
        wrong.append(f"{what}: allantools has only {len(deviations)} averaging times")
    for point, own, count in zip(full, deviations, counts):
        expect(f"{what} allan {point['tau_s']}", own, point["adev"], 1e-9)
        if count != point["n"]:
            wrong.append(f"{what} allan {point['tau_s']}: {count} differences, {point['n']} from emberline")
    for point in points[len(full) :]:
        factor = round(point["tau_s"] / period)
        if point["n"] >= 32:
            own = allantools.oadev(y, rate=1.0, data_type="freq", taus=[factor])[1][0]
            expect(f"{what} allan {point['tau_s']}", own, point["adev"], 0.01)


def wander(rng, n, keep, sd):
    return signal.lfilter([sqrt(1 - keep * keep) * sd], [1, -keep], rng.standard_normal(n))


def a_week(emberline, folder):
    """Drift, daily cycle, wander and noise; a row every 10 s."""
    rng, n, period = np.random.default_rng(7), 60_480, 10.0
    t = period * np.arange(n)
    y = 200 + 0.03 * t / DAY + 0.25 * np.cos(2 * np.pi * t / DAY)
    y += wander(rng, n, np.exp(-period / 300), 0.08) + 0.02 * rng.standard_normal(n)
    y = np.round(y, 2)
    u = np.round(40 + 0.2 * t / DAY - 2 * np.cos(2 * np.pi * t / DAY) + rng.standard_normal(n), 1)
    when = pd.Timestamp("2027-03-04T00:00:00Z") + pd.to_timedelta(t, unit="s")
    stamps = when.strftime("%Y-%m-%dT%H:%M:%SZ")
    path = write(folder / "week.csv", {"time": stamps, "pv": y, "sp": 200.0, "out": u})
    theirs = steady(emberline, path, "--band", "0.5")
    moments("week", y, theirs)
    drift("week", t, y, theirs["drift_per_day"], theirs["drift_ci95"])
    out = theirs["output"]
    expect("week output mean", u.mean(), out["mean"], 1e-13)
    expect("week output sd", u.std(ddof=1), out["sd"], 1e-12)
    drift("week output", t, u, out["drift_per_day"], out["drift_ci95"])
    inside, outside = in_band(t, y, 200.0, 0.5)
    expect("week in band", inside, theirs["in_band_pct"], 1e-12)
    expect("week excursions", outside, theirs["excursion_count"], 0)
    allan("week", y, period, theirs["allan"])
    table = pd.DataFrame({"y": y, "u": u}, index=when)
    groups = [("days", table.index.floor("D")), ("hours", table.index.hour)]
    for name, group in groups:
        own = table.groupby(group).agg({"y": ["count", "mean", "std", "min", "max"], "u": "mean"})
        if len(own) != len(theirs[name]):
            wrong.append(f"{len(own)} {name}, {len(theirs[name])} from emberline")
        for row, other in zip(own.itertuples(index=False), theirs[name]):
            names = ["count", "mean", "sd", "min", "max", "output_mean"]
            for column, value in zip(names, row):
                expect(f"week {name} {column}", float(value), other[column], 1e-10)


def a_day(emberline, folder):
    """White noise on a slope, less than two days: what linregress gives; and too many values to count."""
    rng, n = np.random.default_rng(11), 86_400
    t = np.arange(float(n))
    y = 510 + 0.5 * t / DAY + rng.standard_normal(n)
    path = write(folder / "day.csv", {"t": t, "pv": y})
    theirs = steady(emberline, path, "--around", "510", "--band", "2")
    drift("day", t, y, theirs["drift_per_day"], theirs["drift_ci95"])
    ranks = np.sort(y)
    for name, share in [("p01", 0.01), ("p05", 0.05), ("p50", 0.5), ("p95", 0.95), ("p99", 0.99)]:
        off = abs(np.searchsorted(ranks, theirs[name]) / n - share)
        if off > 0.001:
            wrong.append(f"day {name}: rank off by {off}")


def a_few(emberline, folder):
    """Values that are all different, few enough to be counted: between them lie the percentiles."""
    y = np.random.default_rng(5).normal(510, 0.3, 137)
    path = write(folder / "few.csv", {"t": np.arange(137.0), "pv": y})
    moments("few", y, steady(emberline, path, "--around", "510"))


def a_cycle(emberline, folder):
    """A sine in a wander: the peak of scipy's periodogram, and the sine that scipy fits."""
    rng, n, period_s = np.random.default_rng(3), 20_000, 437.0
    t = np.arange(float(n))
    y = 510 + wander(rng, n, np.exp(-1 / 50), 0.3) + 0.4 * np.sin(2 * np.pi * t / period_s)
    path = write(folder / "cycle.csv", {"t": t, "pv": np.round(y, 2)})
    theirs = steady(emberline, path, "--around", "510")["cycle"]
    frequency, power = signal.periodogram(y, window="hann", detrend="linear")
    peak = frequency[power.argmax()]
    if theirs is None or abs(1 / theirs["period_s"] - peak) > 1 / n:
        wrong.append(f"cycle: {1 / peak} s by scipy's periodogram, {theirs} from emberline")
        return
    wave = lambda t, level, a, b, f: level + a * np.sin(2 * np.pi * f * t) + b * np.cos(2 * np.pi * f * t)
    fit, _ = optimize.curve_fit(wave, t, y, p0=[510, 0.3, 0.3, peak])
    expect("cycle period", 1 / fit[3], theirs["period_s"], 0.003)
    # Theirs is of segments, each with a phase of its own, and so takes a little of the wander in.
    expect("cycle amplitude", np.hypot(fit[1], fit[2]), theirs["amplitude"], 0.05)


def in_fractions(emberline, folder):
    """The hardest of NIST's sets with the very numbers that doubles hold, in rational arithmetic."""
    path = pathlib.Path(__file__).parents[1] / "reference/stats/NumAcc4.csv"
    y = [float(line) for line in path.read_text().split()[1:]]
    write(folder / "numacc4.csv", {"t": np.arange(len(y)), "pv": y})
    theirs = steady(emberline, folder / "numacc4.csv", "--around", "0")
    exact = [Fraction(value) for value in y]
    mean = sum(exact) / len(exact)
    d = [value - mean for value in exact]
    squares = sum(x * x for x in d)
    expect("NumAcc4 mean", float(mean), theirs["mean"], 2e-16)
    expect("NumAcc4 sd", sqrt(squares / (len(d) - 1)), theirs["sd"], 1e-15)
    lag1 = sum(a * b for a, b in zip(d, d[1:])) / squares
    expect("NumAcc4 lag1", float(lag1), theirs["lag1"], 1e-15)


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("emberline")
    arguments.add_argument("folder", type=pathlib.Path)
    args = arguments.parse_args()
    args.folder.mkdir(parents=True, exist_ok=True)
    for check in [a_week, a_day, a_few, a_cycle, in_fractions]:
        check(args.emberline, args.folder)
    print("\n".join(wrong) or "a week, a day, a few, a cycle, NumAcc4: all agree")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
