#!/usr/bin/env python3
"""Three records of a workshop that never heard of Emberline, made with python-control and scipy in
three ways to write a CSV; `measure` and `steady` say of them what python-control, numpy and scipy say.

    foreign_files.py EMBERLINE FOLDER

    kammer-7.csv   semicolons, decimal commas, day numbers of a spreadsheet, Latin-1 degrees
    forge.tsv      tabs, RFC 3339 with the offset of a time zone, irregular sampling
    bath.csv       quoted cells, milliseconds since 1970, no setpoint; two days of a slow bath

Exit code 1 where anything differs.
"""

import argparse
import datetime
import json
import pathlib
import subprocess
import sys

import control
import numpy as np
from scipy import signal
from scipy.integrate import trapezoid

from by_definition.basics import EDGE, first_crossing, stays_in, time_in_band

BEGAN = datetime.datetime(2027, 3, 4, 6, 0, tzinfo=datetime.timezone.utc)
CALM_S = 600.0


def loop_of(gain, tau, dead, kc, ti):
    """First order plus dead time under PI control, from setpoint to process value."""
    delay = control.tf(*control.pade(dead, 6))
    plant = control.tf([gain], [tau, 1]) * delay
    return control.feedback(plant * control.tf([kc * ti, kc], [ti, 0]))


def kammer(folder):
    """A chamber that goes from 180 to 220 degrees, with overshoot; every second."""
    t = np.arange(0.0, 4000.0)
    r = np.where(t < CALM_S, 180.0, 220.0)
    _, y = control.forced_response(loop_of(2.0, 120.0, 15.0, 2.2, 90.0), t, r - 180.0)
    y = np.round(180.0 + y, 3)
    days = 46450.25 + t / 86400.0
    comma = lambda value: value.replace(".", ",")
    lines = ["Zeitpunkt;Kammer 7 [\u00b0C];Soll 7 [\u00b0C];Stellgrad"]
    lines += [comma(f"{d:.10f};{a:.3f};{b:.1f};") for d, a, b in zip(days, y, r)]
    path = folder / "kammer-7.csv"
    path.write_text("\r\n".join(lines) + "\r\n", encoding="latin-1")
    columns = ["--time", "Zeitpunkt", "--pv", "Kammer 7 [\u00b0C]", "--setpoint", "Soll 7 [\u00b0C]"]
    return path, columns, (t, y, r)


def forge(folder):
    """A small furnace that is cooled from 900 to 850 degrees; looked at now and then."""
    random = np.random.default_rng(7)
    t = np.round(np.cumsum(random.uniform(1.0, 4.0, 1500)), 3)
    target = np.where(t < CALM_S, 900.0, 850.0)
    system = signal.lti([1.0], [900.0, 24.0, 1.0])
    fine = np.arange(0.0, t[-1] + 0.1, 0.1)
    _, line, _ = signal.lsim(system, np.where(fine < t[t >= CALM_S][0], 0.0, 1.0), fine)
    y = np.round(900.0 - 50.0 * np.interp(t, fine, line), 2)
    zone = datetime.timezone(datetime.timedelta(hours=1))
    stamp = lambda s: (BEGAN + datetime.timedelta(seconds=s)).astimezone(zone)
    lines = ["stamp\toperator\tfurnace\ttarget"]
    for s, a, b in zip(t, y, target):
        lines.append(f"{stamp(s).isoformat(timespec='milliseconds')}\tm.\t{a:.2f}\t{b:.0f}")
    path = folder / "forge.tsv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    columns = ["--time", "stamp", "--pv", "furnace", "--setpoint", "target"]
    return path, columns, (t - t[0], y, target)


def bath(folder):
    """A bath at 60 degrees, twice a minute: a cycle of half an hour in coloured noise."""
    random = np.random.default_rng(11)
    t = np.arange(0.0, 2 * 86400.0, 30.0)
    noise = signal.lfilter([1.0], [1.0, -0.6], random.normal(0.0, 0.05, len(t)))
    y = np.round(60.0 + 0.3 * np.sin(2 * np.pi * t / 1800.0) + noise, 2)
    first = int(BEGAN.timestamp() * 1000)
    lines = ['"epoch_ms","remark","bath"']
    lines += [f'"{first + int(1000 * s)}","","{a:.2f}"' for s, a in zip(t, y)]
    path = folder / "bath.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path, ["--time", "epoch_ms", "--pv", "bath"], (t, y, None)


class Says:
    """What Emberline says of a file, compared number by number."""

    def __init__(self, emberline, path, columns):
        self.command, self.path, self.columns = [emberline], path, columns
        self.wrong, self.right = [], 0

    def ask(self, command, *options):
        words = [*self.command, command, str(self.path), *self.columns, *options, "--json"]
        return json.loads(subprocess.run(words, check=True, capture_output=True).stdout)["loops"][0]

    def compare(self, name, theirs, own, within):
        if theirs is None or not np.isclose(theirs, own, rtol=0.0, atol=within):
            self.wrong.append(f"{self.path.name}: {name} is {own} here, {theirs} from emberline")
        else:
            self.right += 1

    def exactly(self, name, theirs, own):
        self.compare(name, theirs, own, 1e-9 * max(1.0, abs(own)))


def check_step(says, record, band):
    t, y, r = record
    i = int(np.flatnonzero(np.diff(r))[0]) + 1
    says_of = next(
        one
        for one in says.ask("measure", "--band", str(band))["episodes"]
        if one["kind"] == "setpoint-step"
    )
    before = (t >= t[i] - 60.0) & (t <= t[i])
    initial, target = y[before].mean(), r[i]
    t, y, sample = t[i:] - t[i], y[i:], np.diff(t[i:]).max()
    delta = target - initial
    scaled, e = (y - initial) / delta, target - y

    info = control.step_info(scaled, T=t, final_output=1.0)
    says.compare("overshoot_pct", says_of["overshoot_pct"], max(info["Overshoot"], 0.0), 1e-9)
    says.compare("rise_s", says_of["rise_s"], info["RiseTime"], 2 * sample)
    says.compare("settling_2pct_s", says_of["settling_2pct_s"], info["SettlingTime"], sample)
    if info["Overshoot"] > 0:
        says.compare("peak_s", says_of["peak_s"], info["PeakTime"], 1e-9)

    ten, ninety = (first_crossing(t, scaled, level) for level in (0.1, 0.9))
    says.exactly("rise_s", says_of["rise_s"], ninety - ten)
    says.exactly("settling_s", says_of["settling_s"], stays_in(t, e, band)[-1][0])
    says.exactly("overshoot", says_of["overshoot"], max(0.0, np.max(-np.sign(delta) * e)))
    for name, value in (("iae", np.abs(e)), ("ise", e**2), ("itae", t * np.abs(e)), ("itse", t * e**2)):
        own = trapezoid(value, t)
        says.compare(name, says_of[name], own, 1e-12 * own)
    last = t >= t[-1] - max(0.1 * t[-1], min(60.0, t[-1]))
    says.exactly("final_error", says_of["final_error"], -e[last].mean())


def check_steady(says, record, band, around):
    t, y, _ = record
    found = says.ask("steady", "--band", str(band), "--around", str(around))
    says.exactly("count", found["count"], len(y))
    says.exactly("mean", found["mean"], y.mean())
    says.exactly("sd", found["sd"], y.std(ddof=1))
    says.exactly("min", found["min"], y.min())
    says.exactly("max", found["max"], y.max())
    for name, share in (("p01", 1), ("p05", 5), ("p50", 50), ("p95", 95), ("p99", 99)):
        says.exactly(name, found[name], np.percentile(y, share))
    inside = time_in_band(t, y - around, band, t[0], t[-1])
    says.exactly("in_band_pct", found["in_band_pct"], 100 * inside / t[-1])
    out = np.concatenate(([0], np.abs(y - around) > band + EDGE, [0])).astype(int)
    says.exactly("excursion_count", found["excursion_count"], np.sum(np.diff(out) == 1))
    off = y - y.mean()
    says.exactly("lag1", found["lag1"], np.sum(off[1:] * off[:-1]) / np.sum(off**2))
    frequency, power = signal.periodogram(y, fs=1 / (t[1] - t[0]), detrend="linear")
    period = 1 / frequency[np.argmax(power)]
    # A peak is as wide as one frequency of the record.
    says.compare("cycle.period_s", found["cycle"]["period_s"], period, period**2 / t[-1])
    says.compare("cycle.amplitude", found["cycle"]["amplitude"], 0.3, 0.01)


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("emberline")
    arguments.add_argument("folder", type=pathlib.Path)
    args = arguments.parse_args()
    args.folder.mkdir(parents=True, exist_ok=True)
    wrong, right = [], 0
    for make, band in ((kammer, 1.0), (forge, 2.0)):
        path, columns, record = make(args.folder)
        says = Says(args.emberline, path, columns)
        check_step(says, record, band)
        wrong, right = wrong + says.wrong, right + says.right
    path, columns, record = bath(args.folder)
    says = Says(args.emberline, path, columns)
    check_steady(says, record, 0.4, 60.0)
    wrong, right = wrong + says.wrong, right + says.right
    print("\n".join([*wrong, f"three files, {right} numbers agree, {len(wrong)} do not"]))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
