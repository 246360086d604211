"""Lasting cycles: half-cycles, amplitude, period, ultimate gain."""

import numpy as np
from scipy.integrate import trapezoid

from .basics import digit_of, noise_of


def extrema_of(t, y):
    """(time, value, index) of the extremum of every stay above or below the middle, without the
    first two: the rise and the first peak are not part of a cycle."""
    if len(t) == 0:
        return []
    middle = np.median(y[t >= t[0] + 0.5 * (t[-1] - t[0])])
    h = max(3 * noise_of(y), digit_of(y))
    found, side = [], 0
    for i, value in enumerate(y):
        now = 1 if value > middle + h else -1 if value < middle - h else 0
        if now not in (0, side):
            side = now
            found.append([side, i])
        elif side and side * value > side * y[found[-1][1]]:
            found[-1][1] = i
    if found:
        side, i = found[-1]
        if np.max(side * (y[i] - y[i:])) <= h:
            found.pop()
    return [(t[i], y[i], i) for _, i in found[2:]]


def cycles_of(t, y):
    """Count, means and spreads over whole cycles, and the stretch they cover."""
    e = extrema_of(t, y)
    count = max((len(e) - 1) // 2, 0)
    if count == 0:
        return 0, {}, None
    periods, amplitudes = [], []
    for k in range(count):
        (t0, y0, _), (_, y1, _), (t2, y2, _) = e[2 * k : 2 * k + 3]
        periods.append(t2 - t0)
        amplitudes.append((abs(y0 - y1) + abs(y1 - y2)) / 4)
    spread = lambda values: float(np.std(values, ddof=1)) if count >= 3 else None
    numbers = {
        "period_s": float(np.mean(periods)),
        "amplitude": float(np.mean(amplitudes)),
        "period_spread_s": spread(periods),
        "amplitude_spread": spread(amplitudes),
    }
    return count, numbers, (e[0][2], e[2 * count][2])


def ultimate_of(t, y, u, stretch, period):
    """Percent per degree, from the first harmonic over whole cycles; the output is held between
    samples, the process value is a line."""
    i, j = stretch
    t, y, u = t[i : j + 1] - t[i], y[i : j + 1], u[i : j + 1]
    if np.any(np.isnan(u)):
        return None
    w = 2j * np.pi / period
    turn = np.exp(-w * t)
    mean = trapezoid(y, t) / t[-1]
    y1 = trapezoid((y - mean) * turn, t)
    u1 = np.sum(u[:-1] * np.diff(turn)) / -w
    return float(abs(u1) / abs(y1))
