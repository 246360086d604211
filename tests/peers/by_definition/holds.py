"""Holds, soaks and the disturbances in them."""

import numpy as np
from scipy.integrate import trapezoid

from .basics import (
    EDGE,
    crossing,
    digit_of,
    final_mean,
    missing_in,
    noise_of,
    settled_in,
    time_in_band,
)
from .cycles import cycles_of

NOISE_IN_BAND = 4.0
# How long a hold that does not begin settled must stay in the band first.
CALM_S = 300.0


def hold_numbers(record, begin, end, setpoint, soak):
    """Numbers of a settled stretch."""
    inside = (record.t >= begin) & (record.t <= end)
    t, y, period = record.t[inside], record.y[inside], record.period()
    known = setpoint is not None
    count, cycle, _ = cycles_of(t, y)
    steady = count >= 5 and all(
        cycle[spread] < cycle[name] / 5
        for name, spread in (("period_s", "period_spread_s"), ("amplitude", "amplitude_spread"))
    )
    numbers = {
        "from": setpoint,
        "to": setpoint,
        "final_error": final_mean(t - begin, y - setpoint, end - begin) if known else None,
        "sd": float(np.std(y, ddof=1)) if len(y) > 1 else None,
        "peak_to_peak": float(np.ptp(y)),
        "window_s": end - begin,
        "noise_sd": noise_of(y),
        "missing_s": missing_in(record.t, period, begin, end),
        "amplitude": cycle["amplitude"] if steady else None,
        "period_s": cycle["period_s"] if steady else None,
    }
    if soak and record.band is not None:
        off = record.y - setpoint
        numbers["in_band_s"] = time_in_band(record.t, off, record.band, begin, end)
    return numbers


def disturbances_in(t, y, setpoint, band, period, settled, to_the_end):
    """The excursions of a hold; it begins settled, or they count from where it has settled. A last
    sample that is not the record's is the first of what comes after."""
    last_s = t[-1] if to_the_end else np.nextafter(t[-1], -np.inf)
    noise = noise_of(y)
    e = y - setpoint
    if len(t) < 3 or band < NOISE_IN_BAND * noise:
        return []
    swing = max(3 * noise, digit_of(y))
    if settled:
        first = 0
    else:
        enters, _ = settled_in(t - t[0], e, band, period, swing, CALM_S)
        if enters is None:
            return []
        first = int(np.flatnonzero(t >= t[0] + enters)[0])
    found, i = [], first
    while True:
        out = np.flatnonzero((np.abs(e[i:]) > band + EDGE) & (t[i:] <= last_s))
        if len(out) == 0:
            return found
        first_out = i + out[0]
        side = np.sign(e[first_out])
        begins = crossing(t, e, first_out, side * band) if first_out > 0 else t[0]
        enters, _ = settled_in(t[first_out:] - begins, e[first_out:], band, period, swing)
        ends = t[-1] if enters is None else begins + enters
        inside = (t > begins) & (t < ends if enters is not None else t <= last_s)
        farthest = np.abs(e[inside]).max(initial=0.0)
        outside = np.sum(np.abs(e[inside]) > band + EDGE)
        if outside >= 3 or farthest > band + 3 * noise:
            found.append(_numbers(t, e, begins, ends, side, enters is not None, band, setpoint, period))
        later = np.flatnonzero((t >= ends) & (np.abs(e) <= band + EDGE))
        if enters is None or len(later) == 0:
            return found
        i = later[0]


def _numbers(t, e, begins, ends, side, returned, band, setpoint, period):
    inside = (t > begins) & (t < ends if returned else t <= ends)
    ti, ei = t[inside], e[inside]
    deepest = int(np.argmax(side * ei))
    edge = side * band
    # The ends lie on the band's edges; the last at the side it came back from.
    line_t, line_e = np.append(begins, ti), np.append(edge, ei)
    if returned:
        line_t, line_e = np.append(line_t, ends), np.append(line_e, np.interp(ends, t, e))
    echo_to = min(ends + (ends - begins), t[-1])
    echo = (t >= ti[deepest]) & (t <= echo_to)
    return {
        "kind": "disturbance",
        "start_s": begins,
        "end_s": ends,
        "from": setpoint,
        "to": setpoint,
        "depth": float(ei[deepest]),
        "return_s": ends - begins if returned else None,
        "iae": float(trapezoid(np.abs(line_e), line_t)),
        "overshoot": max(0.0, float(np.max(-side * e[echo]))),
        "window_s": ends - begins,
        "noise_sd": noise_of(e[(t >= begins) & (t <= ends)]),
        "missing_s": missing_in(t, period, begins, ends),
    }
