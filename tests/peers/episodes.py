#!/usr/bin/env python3
"""Works out all episodes of recordings again, by the definitions of docs/numbers.md, with numpy and
scipy, and compares every number with what Emberline says.

    episodes.py EMBERLINE SOURCE...

A SOURCE is a recording, a CSV beside whose name a `.truth.json` with its band stands, or a folder of
both. Exit code 1 where anything differs: an episode that only one side has, a number off by more than
1e-9 (relative; integrals 1e-12), a number that only one side has, a number that applies to its
episode, is not there, and has no note that says why, and a step on which python-control's `step_info`
means the same and says something else.
"""

import argparse
import json
import pathlib
import subprocess
import sys

import numpy as np

from by_definition import record as records
from by_definition.find import Finder
from step_info import step_info_disagreements

INTEGRALS = ("iae", "ise", "itae", "itse")
STEP = """initial overshoot overshoot_pct overshoot_smoothed peak_s rise_s settling_s settling_band
    settling_2pct_s final_error iae ise itae itse window_s noise_sd period_s amplitude decay_ratio
    missing_s""".split()
HOLD = "final_error sd peak_to_peak amplitude period_s window_s noise_sd missing_s".split()
# Which numbers apply to which kind: docs/numbers.md, "Which number applies to what".
APPLIES = {
    "setpoint-step": STEP,
    "output-step": [*STEP, "output_from", "output_to"],
    "ramp": """overshoot overshoot_pct peak_s settling_s settling_band settling_2pct_s window_s
        noise_sd missing_s rate_per_min following_mean following_max""".split(),
    "autotune": """outcome amplitude period_s amplitude_spread period_spread_s cycles ultimate_gain
        ultimate_period_s window_s noise_sd missing_s""".split(),
    "hold": HOLD,
    "soak": [*HOLD, "in_band_s"],
    "disturbance": "depth return_s iae overshoot window_s noise_sd missing_s".split(),
}
PLACES = ["start_s", "end_s", "from", "to"]


def measured(emberline, source, band):
    command = [emberline, "measure", str(source), "--json"]
    command += [] if band is None else ["--band", str(band)]
    return json.loads(subprocess.run(command, check=True, capture_output=True).stdout)["loops"]


def differs(name, own, theirs, kind):
    if (own is None) != (theirs is None):
        return True
    if isinstance(own, str) or own is None:
        return own != theirs
    # The target of an output step is a mean, right to its last digits only.
    within = 1e-12 if name in INTEGRALS and kind != "output-step" else 1e-9
    return not np.isclose(own, theirs, rtol=within, atol=within)


def disagreements(own, theirs):
    for name in [*PLACES, *APPLIES[own["kind"]]]:
        if name not in theirs:
            yield f"{name} is not in the document"
        elif differs(name, own.get(name), theirs[name], own["kind"]):
            yield f"{name}: {own.get(name)!r} here, {theirs[name]!r} from emberline"
    explained = {note["about"] for note in theirs["notes"]}
    for name in APPLIES[own["kind"]]:
        if name in theirs and theirs[name] is None and name not in explained:
            yield f"{name} is null and no note says why"


def label(one):
    return f"{one['kind']} from {one['start_s']:.3f} to {one['end_s']:.3f} s"


def compared(record, theirs):
    """What differs, and how many episodes and numbers were compared."""
    finder = Finder(record)
    own, wrong, theirs = finder.episodes(), [], list(theirs)
    curves = {id(one): curve for one, curve in finder.curves}
    numbers = 0
    for one in own:
        same = lambda other: other["kind"] == one["kind"] and abs(other["start_s"] - one["start_s"]) < 1e-6
        other = next((other for other in theirs if same(other)), None)
        if other is None:
            wrong.append(f"{label(one)}: only here")
            continue
        theirs.remove(other)
        found = list(disagreements(one, other))
        if id(one) in curves:
            found += step_info_disagreements(curves[id(one)], other)
        wrong += [f"{label(one)}: {what}" for what in found]
        numbers += sum(one.get(name) is not None for name in [*PLACES, *APPLIES[one["kind"]]])
    wrong += [f"{label(other)}: only from emberline" for other in theirs]
    return wrong, len(own), numbers


def sources_of(path):
    """(what to measure, name of the loop or None, --band or None) below a path."""
    if (path / "recording.toml").is_file():
        loops = sorted(one.name for one in path.iterdir() if one.is_dir())
        return [(path, name, None) for name in loops]
    if path.is_dir():
        return [it for entry in sorted(path.iterdir()) for it in sources_of(entry)]
    if path.suffix == ".csv":
        truth = path.with_suffix(".truth.json")
        band = json.loads(truth.read_text())["band"] if truth.is_file() else None
        return [(path, None, band)]
    return []


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("emberline")
    arguments.add_argument("sources", nargs="+", type=pathlib.Path)
    args = arguments.parse_args()
    wrong, episodes, numbers, records_read = [], 0, 0, 0
    for path, name, band in (it for source in args.sources for it in sources_of(source)):
        if name is None:
            record = records.from_csv(path, band)
        else:
            record = records.from_recording(path, name)
        loops = measured(args.emberline, path, band)
        theirs = next(one for one in loops if name in (None, one["loop"]))["episodes"]
        found, count, values = compared(record, theirs)
        wrong += [f"{path.name}: {what}" for what in found]
        episodes, numbers, records_read = episodes + count, numbers + values, records_read + 1
    print("\n".join(wrong))
    print(f"{records_read} records, {episodes} episodes, {numbers} numbers; {len(wrong)} disagreements")
    return 1 if wrong or not numbers else 0


if __name__ == "__main__":
    sys.exit(main())
