#!/usr/bin/env python3
"""Works out the step numbers of a recording again, with numpy, scipy and python-control.

    step_numbers.py EMBERLINE RECORDING [--loop NAME]

Reads the loop's day files itself, finds the setpoint steps, and applies the definitions in their
plain form to each. `EMBERLINE measure RECORDING --json` must give the same steps, the same numbers
to 1e-9 (relative), and what python-control's `step_info` says of the approach within one sample.
Exit code 1 when it does not.
"""

import argparse
import csv
import json
import pathlib
import subprocess
import sys

import control
import numpy as np
from scipy.integrate import trapezoid
from scipy.stats import norm

KEYING_S = 30.0
PROBABLE = norm.ppf(0.75) * np.sqrt(6.0)


def read_day_files(folder):
    """Time, process value, setpoint and autotune of the rows with a process value."""
    rows = []
    for path in sorted(folder.glob("[0-9][0-9][0-9][0-9]-*.csv")):
        with open(path, newline="", encoding="utf-8") as file:
            rows += [row for row in csv.DictReader(file)]
    names = list(rows[0])
    pv, sp = (next(n for n in names if n.split("_")[0] == role) for role in ("pv", "sp"))
    rows = [row for row in rows if row[pv] != ""]
    column = lambda name: np.array([float(row[name] or "nan") for row in rows])
    tuning = column("tuning") != 0 if "tuning" in names else np.zeros(len(rows), bool)
    return column("elapsed_s"), column(pv), column(sp), tuning


def noise_of(y):
    return np.median(np.abs(np.diff(y, 2))) / PROBABLE if len(y) > 2 else 0.0


def steps_of(t, y, sp, tuning):
    """(t0, end, earliest, from, target) of every setpoint step."""
    known = ~np.isnan(sp)
    at = np.flatnonzero(np.diff(sp[known]) != 0) + 1
    when, before, after = t[known][at], sp[known][at - 1], sp[known][at]
    starts = [i for i in range(len(at)) if i == 0 or when[i] - when[i - 1] > KEYING_S]
    moves = []
    for first, last in zip(starts, [s - 1 for s in starts[1:]] + [len(at) - 1]):
        moves.append((when[first], when[last], before[first], after[last]))
    edges = np.flatnonzero(np.diff(tuning.astype(int)))
    in_tune = lambda time: bool(tuning[np.searchsorted(t, time)])
    moves = [move for move in moves if not in_tune(move[0])]
    bounds = sorted({t[0], t[-1], *t[edges + 1], *(m[0] for m in moves), *(m[1] for m in moves)})
    least = max(1.0, 3.0 * noise_of(y))
    found = []
    for begins, t0, old, new in moves:
        if abs(new - old) > least:
            end = next((b for b in bounds if b > t0), t0)
            earliest = next((b for b in reversed(bounds) if b < begins), t[0])
            found.append((t0, end, earliest, old, new))
    return found, least


def crossing(t, e, i, level):
    return t[i - 1] + (level - e[i - 1]) * (t[i] - t[i - 1]) / (e[i] - e[i - 1])


def first_crossing(t, v, level):
    """First time the line is at or above the level."""
    i = np.flatnonzero(v >= level)
    if len(i) == 0:
        return None
    return t[0] if i[0] == 0 else crossing(t, v, i[0], level)


def stays_in(t, e, band):
    """(enters, leaves, side it came from, side it left to, values) of each stay in the band."""
    inside = np.abs(e) <= band
    found, i = [], 0
    while i < len(e):
        if not inside[i]:
            i += 1
            continue
        j = i
        while j + 1 < len(e) and inside[j + 1]:
            j += 1
        came = 0 if i == 0 else np.sign(e[i - 1])
        left = 0 if j + 1 == len(e) else np.sign(e[j + 1])
        enters = t[0] if i == 0 else crossing(t, e, i, came * band)
        leaves = t[-1] if j + 1 == len(e) else crossing(t, e, j + 1, left * band)
        found.append((enters, leaves, came, left, e[i : j + 1]))
        i = j + 1
    return found


def settled_in(t, e, band, period, swing, oscillation):
    """When the line came to stay, and the end of the dwell.

    In at one side and out at the other without turning round is no stay, however slow.
    """
    for enters, leaves, came, left, values in stays_in(t, e, band):
        dwell = max(10 * period, 0.05 * enters, oscillation or 0.0)
        turned = np.max(np.maximum.accumulate(left * values) - left * values) > swing
        passes = came * left < 0 and leaves - enters < enters and not turned
        if leaves - enters >= dwell and not passes:
            return enters, enters + dwell
    return None, None


def approach_of(t, past, band, swing_sd, settling, dwelt):
    """Which samples are the approach: up to settled plus the dwell.

    An overshoot smaller than the band would be cut off there, so a first one that stands out from
    the noise and from what the loop does later on is followed to its end.
    """
    if settling is None:
        return len(t)
    end = int(np.sum(t <= dwelt))
    later = past[t >= 0.5 * t[-1]]
    wander = np.median(np.abs(later - np.median(later))) / norm.ppf(0.75)
    high = np.flatnonzero((past > max(swing_sd, 4 * wander)) & (t <= dwelt + settling))
    if len(high) == 0:
        return end
    begins = max(high[0], end)
    back = np.flatnonzero(past[begins:] <= 0)
    over = begins + back[0] if len(back) else len(t)
    under_way = np.all(past[high[0] : begins] > 0) and np.all(np.abs(past[end:over]) <= band)
    return over if under_way else end


def peaks_past(t, past, noise):
    """Times and sizes of the largest excursions on alternate sides of the target, beyond noise."""
    side = np.where(past > noise, 1, np.where(past < -noise, -1, 0))
    found, current = [], 0
    for time, value, now in zip(t, past, side):
        if now not in (0, current):
            current = now
            found.append([current, time, value])
        elif current and current * value > current * found[-1][2]:
            found[-1][1:] = [time, value]
    first = next((i for i, peak in enumerate(found) if peak[0] > 0), len(found))
    return found[first:]


def numbers_of(t, y, step, band, least, period):
    """The numbers of one step, each straight from its definition."""
    t0, end, earliest, old, target = step
    look_back = (t >= max(t0 - 60.0, earliest)) & (t <= t0)
    window = (t >= t0) & (t <= end)
    t, y, before = t[window] - t0, y[window], y[look_back]
    initial = before.mean() if len(before) >= 3 else y[0]
    delta = target - initial
    sign = 1.0 if delta > 0 else -1.0
    past, noise = sign * (y - target), noise_of(y)
    changes = np.abs(np.diff(y))
    digit = changes[changes > 1e-9].min()
    swing, stands_out = max(3 * noise, digit), max(6 * noise, digit)
    swings = peaks_past(t, past, swing)

    # An oscillation is the step's own when its first peak lies in the approach.
    approach = approach_of(t, past, band, stands_out, *settled_in(t, past, band, period, swing, None))
    own = swings and swings[0][1] <= t[approach - 1]
    oscillation = None
    if own and len(swings) >= 3:
        oscillation = swings[2][1] - swings[0][1]
    elif own and len(swings) == 2:
        oscillation = 2 * (swings[1][1] - swings[0][1])
    settling, dwelt = settled_in(t, past, band, period, swing, oscillation)
    settling_2pct, _ = settled_in(t, past, 0.02 * abs(delta), period, swing, oscillation)

    approach = approach_of(t, past, band, stands_out, settling, dwelt)
    over = max(past[:approach].max(), 0.0)
    peak = t[past[:approach].argmax()] if over > 0 else None
    ten, ninety = (first_crossing(t, sign * (y - initial), p * abs(delta)) for p in (0.1, 0.9))
    last = t >= t[-1] - max(0.1 * t[-1], min(60.0, t[-1]))
    e = target - y
    large = abs(delta) >= least
    return {
        "start_s": t0,
        "end_s": end,
        "from": old,
        "to": target,
        "initial": initial,
        "overshoot": over,
        "overshoot_pct": 100 * over / abs(delta) if large else None,
        "peak_s": peak,
        "rise_s": ninety - ten if large and ninety is not None else None,
        "settling_s": settling,
        "settling_band": band,
        "settling_2pct_s": settling_2pct if large else None,
        "final_error": (y - target)[last].mean(),
        "iae": trapezoid(np.abs(e), t),
        "ise": trapezoid(e**2, t),
        "itae": trapezoid(t * np.abs(e), t),
        "itse": trapezoid(t * e**2, t),
        "window_s": t[-1],
        "noise_sd": noise,
    }, (t, (y - initial) / delta, approach)


def disagreements(own, emberline):
    for name, value in own.items():
        other = emberline[name]
        if (value is None) != (other is None):
            yield f"{name}: {value} here, {other} from emberline"
        elif value is not None and not np.isclose(value, other, rtol=1e-9, atol=1e-9):
            yield f"{name}: {value!r} here, {other!r} from emberline"


def control_disagreements(curve, emberline, period):
    """python-control on the approach alone, scaled to a step from 0 to 1."""
    t, scaled, end = curve
    info = control.step_info(scaled, T=t, final_output=1.0)
    checks = [("rise_s", info["RiseTime"], 2 * period)]
    settled = emberline["settling_2pct_s"]
    if settled is not None:
        # It takes the last time outside for settled, so it is shown only the first stay.
        stay = t <= settled + 10 * period
        info = control.step_info(scaled[stay], T=t[stay], final_output=1.0)
        checks.append(("settling_2pct_s", info["SettlingTime"], period))
    info = control.step_info(scaled[:end], T=t[:end], final_output=1.0)
    checks.append(("overshoot_pct", max(info["Overshoot"], 0.0), 1e-6))
    if emberline["peak_s"] is not None:
        checks.append(("peak_s", info["PeakTime"], 1e-6))
    for name, value, within in checks:
        if emberline[name] is not None and abs(value - emberline[name]) > within:
            yield f"{name}: {value} from python-control, {emberline[name]} from emberline"


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("emberline")
    arguments.add_argument("recording", type=pathlib.Path)
    arguments.add_argument("--loop", help="else the first one")
    args = arguments.parse_args()

    command = [args.emberline, "measure", str(args.recording), "--json"]
    measured = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
    loop = next(l for l in measured["loops"] if args.loop in (None, l["loop"]))
    theirs = [e for e in loop["episodes"] if e["kind"] == "setpoint-step"]

    t, y, sp, tuning = read_day_files(args.recording / loop["loop"])
    steps, least = steps_of(t, y, sp, tuning)
    intervals = np.diff(t)
    period = float(np.median(intervals[intervals > 0]))
    wrong = []
    if len(steps) != len(theirs) or not steps:
        wrong.append(f"{len(steps)} steps here, {len(theirs)} from emberline")
    for number, (step, other) in enumerate(zip(steps, theirs), start=1):
        own, curve = numbers_of(t, y, step, other["settling_band"], least, period)
        found = list(disagreements(own, other))
        found += control_disagreements(curve, other, period)
        wrong += [f"step {number}: {what}" for what in found]
    print("\n".join(wrong) or f"{len(steps)} steps, {len(own)} numbers each: all agree")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
