"""What several kinds of episode need: noise, crossings, stays in a band, missing time."""

import numpy as np
from scipy.integrate import trapezoid
from scipy.stats import norm

# Rounding of a difference must not decide what is inside a band.
EDGE = 1e-9
PROBABLE = norm.ppf(0.75)


def noise_of(y):
    """Standard deviation from the median absolute second difference."""
    return float(np.median(np.abs(np.diff(y, 2))) / (PROBABLE * np.sqrt(6.0))) if len(y) > 2 else 0.0


def digit_of(y):
    """The smallest difference between neighbouring samples; infinite where all are equal."""
    changes = np.abs(np.diff(y))
    changes = changes[changes > 1e-9]
    return float(changes.min()) if len(changes) else np.inf


def missing_in(t, period, begin, end):
    """Time from begin to end not covered by good samples: of each interval longer than 1.5 periods
    the part that lies there."""
    overlap = np.minimum(t[1:], end) - np.maximum(t[:-1], begin)
    return float(overlap[(np.diff(t) > 1.5 * period) & (overlap > 0)].sum())


def final_mean(t, e, length):
    """Mean over the last tenth, at least a minute where there is that much; t from 0 to length."""
    last = t >= length - max(0.1 * length, min(60.0, length))
    return float(e[last].mean()) if last.any() else None


def crossing(t, e, i, level):
    """When the line from sample i-1 to sample i is at the level."""
    return t[i - 1] + (level - e[i - 1]) * (t[i] - t[i - 1]) / (e[i] - e[i - 1])


def first_crossing(t, v, level):
    """First time the line is at or above the level."""
    i = np.flatnonzero(v >= level)
    if len(i) == 0:
        return None
    return t[0] if i[0] == 0 else crossing(t, v, i[0], level)


def stays_in(t, e, band):
    """(enters, leaves, side it came from, side it left to, values) of each stay in the band."""
    inside = np.concatenate(([False], np.abs(e) <= band + EDGE, [False]))
    edges = np.flatnonzero(np.diff(inside.astype(int)))
    found = []
    for i, j in zip(edges[::2], edges[1::2] - 1):
        came = 0 if i == 0 else np.sign(e[i - 1])
        left = 0 if j + 1 == len(e) else np.sign(e[j + 1])
        enters = t[0] if i == 0 else crossing(t, e, i, came * band)
        leaves = t[-1] if j + 1 == len(e) else crossing(t, e, j + 1, left * band)
        found.append((enters, leaves, came, left, e[i : j + 1]))
    return found


def settled_in(t, e, band, period, swing, least=0.0):
    """When the line came to stay, and the end of the dwell; t counts from 0.

    In at one side and out at the other without turning round is no stay, however slow.
    """
    for enters, leaves, came, left, values in stays_in(t, e, band):
        dwell = max(10 * period, 0.05 * enters, least)
        turned = np.max(np.maximum.accumulate(left * values) - left * values) > swing
        passes = came * left < 0 and leaves - enters < enters and not turned
        if leaves - enters >= dwell and not passes:
            return float(enters), float(enters + dwell)
    return None, None


def time_in_band(t, e, band, begin, end):
    """Time from begin to end that the straight lines between samples spend within the band."""
    inside = (t > begin) & (t < end)
    edges = np.interp([begin, end], t, e)
    e = np.concatenate((edges[:1], e[inside], edges[1:]))
    t = np.concatenate(([begin], t[inside], [end]))
    total = 0.0
    for t0, t1, a, b in zip(t, t[1:], e, e[1:]):
        low, high = min(a, b), max(a, b)
        if high == low:
            share = float(abs(low) <= band)
        else:
            share = max(0.0, min(high, band) - max(low, -band)) / (high - low)
        total += share * (t1 - t0)
    return total


def integrals_of(t, e):
    return {
        "iae": trapezoid(np.abs(e), t),
        "ise": trapezoid(e**2, t),
        "itae": trapezoid(t * np.abs(e), t),
        "itse": trapezoid(t * e**2, t),
    }
