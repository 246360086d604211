"""A loop's record as columns, from a recording's folder or a plain CSV."""

import csv
import dataclasses
import tomllib

import numpy as np

# A slow point is read this soon after a tune has ended.
NOTICED_S = 60.0
TUNING = ("proportional", "integral", "derivative")
DECIDING = ("proportional", "integral", "derivative", "mode", "control-mode", "control-action")


@dataclasses.dataclass
class Record:
    t: np.ndarray
    y: np.ndarray
    sp: np.ndarray | None
    u: np.ndarray | None = None
    # Whether an autotune was under way; None where that is not known.
    tune: np.ndarray | None = None
    band: float | None = None
    # (time, mode) of every known mode from there on; empty where the mode is not known.
    modes: list = dataclasses.field(default_factory=list)
    # When mode or tuning were changed by hand.
    changed: list = dataclasses.field(default_factory=list)
    # (time, role, value) of every proportional, integral or derivative that was written down.
    tunings: list = dataclasses.field(default_factory=list)
    marks: list = dataclasses.field(default_factory=list)

    def period(self):
        """Time between two samples: the median of those intervals that are not zero."""
        intervals = np.diff(self.t)
        return float(np.median(intervals[intervals > 0])) if np.any(intervals > 0) else 0.0

    def outcome_of(self, begin, end):
        """What came of a tune: whether the tuning after it is another than the one before."""
        before = {role: value for time, role, value in self.tunings if time <= begin}
        after = dict(before)
        for time, role, value in self.tunings:
            # What is written down when the tune's end is noticed, and before anything else is.
            if begin < time <= end + NOTICED_S:
                after[role] = value
        if not before:
            return "unknown"
        return "tuned" if after != before else "unchanged"

    def mode_at(self, time):
        return next((mode for since, mode in reversed(self.modes) if since <= time), None)


def from_csv(path, band=None):
    """A CSV with the columns time_s, pv_degC, sp_degC and out_pct, or some of them."""
    with open(path, newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["pv_degC"] != ""]
    return Record(
        t=_column(rows, "time_s"),
        y=_column(rows, "pv_degC"),
        sp=_column(rows, "sp_degC"),
        u=_column(rows, "out_pct"),
        band=band,
    )


def from_recording(folder, name):
    """One loop of a recording."""
    facts = tomllib.loads((folder / "recording.toml").read_text(encoding="utf-8"))
    setup = tomllib.loads(facts["setup"]["text"])
    loop = next(one for one in setup["loops"] if one["name"] == name)
    points = tomllib.loads(facts["maps"][loop["map"]])["points"]
    trend = {p["role"]: n for n, p in points.items() if p.get("refresh", "trend") == "trend"}
    rows = []
    for path in sorted((folder / name).glob("[0-9][0-9][0-9][0-9]-*.csv")):
        with open(path, newline="", encoding="utf-8") as file:
            rows += list(csv.DictReader(file))
    heads = {head.rsplit("_", 1)[0] if "_" in head else head: head for head in rows[0]}
    heads |= {head: head for head in rows[0]}
    column_of = lambda role: heads.get(trend.get(role))
    rows = [row for row in rows if row[column_of("process-value")] != ""]
    read = lambda role: _column(rows, column_of(role))
    tune = read("autotune-active")
    sp = read("working-setpoint")
    record = Record(
        t=_column(rows, "elapsed_s"),
        y=read("process-value"),
        sp=read("setpoint") if sp is None else sp,
        u=read("output"),
        tune=None if tune is None else np.nan_to_num(tune) != 0,
        band=loop.get("band"),
    )
    _read_told(record, folder / name, points)
    return record


def _column(rows, name):
    if name is None or name not in rows[0]:
        return None
    return np.array([float(row[name] or "nan") for row in rows])


def _read_told(record, folder, points):
    last = {}
    with open(folder / "settings.csv", newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            time, point, value = float(row["elapsed_s"]), row["point"], row["value"]
            if row["role"] not in DECIDING or value == "":
                continue
            if row["role"] in TUNING:
                record.tunings.append((time, row["role"], float(value)))
            if row["role"] == "mode":
                means = points[point].get("means", {})
                record.modes.append((time, means.get(str(int(float(value))))))
            if row["cause"] == "changed" and last.get(point, value) != value:
                record.changed.append(time)
            last[point] = value
    with open(folder / "events.csv", newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["event"] == "mark":
                record.marks.append((float(row["elapsed_s"]), row["text"]))
