"""Steps of the output by hand."""

import dataclasses

import numpy as np

from .basics import noise_of
from .changes import FLAT_PCT, KEYING_S

LEAST_PCT = 5.0
QUIET_S = 60.0
KEPT_S = 300.0


@dataclasses.dataclass
class OutputStep:
    begins: float
    arrives: float
    old: float
    new: float
    # Where the output leaves its new value, if that ends the window.
    leaves: float | None


def output_steps_of(record, movements, tunes, cycling, bounds):
    if record.u is None:
        return []
    known = ~np.isnan(record.u)
    t, u = record.t[known], record.u[known]
    if record.modes:
        return _in_known_manual(record, t, u)
    free = lambda time: not any(a <= time <= b for a, b, *_ in [*tunes, *cycling])
    return [s for s in _unknown_mode(record, t, u, movements, bounds) if free(s.begins)]


def _in_known_manual(record, t, u):
    changed = np.flatnonzero(np.abs(np.diff(u)) > 1e-9) + 1
    changed = [i for i in changed if record.mode_at(t[i]) == record.mode_at(t[i - 1]) == "manual"]
    found, first = [], 0
    while first < len(changed):
        end = first + 1
        while end < len(changed) and t[changed[end]] - t[changed[end - 1]] <= KEYING_S:
            end += 1
        i, j = changed[first], changed[end - 1]
        if abs(u[j] - u[i - 1]) >= LEAST_PCT:
            found.append(OutputStep(t[i], t[j], u[i - 1], u[j], None))
        first = end
    return found


def _unknown_mode(record, t, u, movements, bounds):
    found = []
    least = max(1.0, 3 * noise_of(record.y))
    for i in np.flatnonzero(np.abs(np.diff(u)) >= LEAST_PCT) + 1:
        t0, old, new = t[i], u[i - 1], u[i]
        if i < 10 or np.any(np.abs(u[i - 10 : i] - old) > FLAT_PCT):
            continue
        back = (t >= t[i] - QUIET_S) & (np.arange(len(t)) < i)
        quiet = t0 - t[0] >= QUIET_S and np.all(np.abs(u[back] - old) <= FLAT_PCT)
        off = np.flatnonzero(np.abs(u[i:] - new) > FLAT_PCT)
        leaves = t[i + off[0]] if len(off) else None
        bound = next((b for b in bounds if b > t0), t[-1])
        kept_to = min(bound, leaves if leaves is not None else np.inf)
        kept = kept_to - t0 >= KEPT_S or (kept_to == bound and kept_to - t0 >= QUIET_S)
        still = not any(m.begins - QUIET_S < t0 < m.arrives + QUIET_S for m in movements)
        if not (quiet and kept and still):
            continue
        initial, final = ends_of(record, t0, kept_to, bounds)
        if np.sign(new - old) * (final - initial) > least:
            found.append(OutputStep(t0, t0, old, new, leaves if leaves and leaves < bound else None))
    return found


def initial_of(record, t0, bounds_before):
    """Process value at a change: mean over the last minute up to it, not from before a bound."""
    earliest = max([b for b in bounds_before], default=record.t[0])
    before = (record.t >= max(t0 - 60.0, earliest)) & (record.t <= t0)
    at = record.y[record.t >= t0][0]
    return float(record.y[before].mean()) if before.sum() >= 3 else float(at)


def ends_of(record, t0, end, bounds):
    """Process value before, and over the last tenth of the window (at least a minute)."""
    initial = initial_of(record, t0, [b for b in bounds if b < t0])
    length = end - t0
    last = (record.t >= end - max(0.1 * length, min(60.0, length))) & (record.t <= end)
    return initial, float(record.y[last].mean())
