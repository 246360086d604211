"""The numbers of a step or ramp: how the process value came to its target."""

import dataclasses

import numpy as np
from scipy.signal import savgol_filter
from scipy.stats import norm

from .basics import (
    digit_of,
    final_mean,
    first_crossing,
    integrals_of,
    noise_of,
    settled_in,
)


class Course:
    """The line from t0 on, seen from its target: above 0 is past it. Its last point, the window's
    end, may lie between two samples: it is no sample of the noise."""

    def __init__(self, t, y, target, sign, period, noise):
        self.t, self.y, self.target, self.sign, self.period = t, y, target, sign, period
        self.past = sign * (y - target)
        self.noise = noise
        digit = digit_of(y)
        self.swing = max(3 * self.noise, digit)
        self.stands_out = max(6 * self.noise, digit)
        self.chain = _chain_of(_swings_of(t, self.past, self.swing), t)

    def settled(self, band, oscillation=None):
        return settled_in(self.t, self.past, band, self.period, self.swing, oscillation or 0.0)

    def approach(self, band, settling, dwelt):
        """How many samples are the approach: up to settled plus the dwell.

        An overshoot smaller than the band would be cut off there, so a first one that stands out
        from the noise and from what the loop does later on is followed to its end.
        """
        t, past = self.t, self.past
        if settling is None:
            return len(t)
        end = int(np.sum(t <= dwelt))
        later = past[t >= 0.5 * t[-1]]
        wander = np.median(np.abs(later - np.median(later))) / norm.ppf(0.75)
        high = (past > max(self.stands_out, 4 * wander)) & (t <= dwelt + settling)
        high = np.flatnonzero(high)
        if len(high) == 0:
            return end
        begins = max(high[0], end)
        back = np.flatnonzero(past[begins:] <= 0)
        over = begins + back[0] if len(back) else len(t)
        under_way = np.all(past[high[0] : begins] > 0) and np.all(np.abs(past[end:over]) <= band)
        return over if under_way else end

    def oscillation(self, band, within):
        """The swings that the step set off: if their first lies in the approach to the band, or if
        they last and do not just ripple within a band."""
        approach = self.approach(band, *self.settled(band))
        own = self.chain and self.chain[0].at <= self.t[approach - 1]
        large = max((swing.size for swing in self.chain), default=0.0) > within
        return self.chain if own or (large and _lasts(self.chain, self.t[-1])) else []

    def numbers(self, band, two_pct):
        swings = self.oscillation(band, band)
        period = _period_of(swings)
        settling, dwelt = self.settled(band, period)
        settling_2pct, _ = self.settled(two_pct, _period_of(self.oscillation(band, two_pct)))
        approach = self.approach(band, settling, dwelt)
        over = max(self.past[:approach].max(), 0.0)
        second = len(swings) >= 3
        sizes = [swing.size for swing in swings[2:]]
        lasting = settling is None and len(sizes) >= 2
        return {
            "overshoot": over,
            "overshoot_smoothed": self.smoothed(over, approach, band),
            "peak_s": self.t[self.past[:approach].argmax()] if over > 0 else None,
            "settling_s": settling,
            "settling_band": band,
            "settling_2pct_s": settling_2pct,
            "period_s": period if second else None,
            "decay_ratio": swings[2].size / swings[0].size if second else None,
            "amplitude": np.mean(np.add(sizes[:-1], sizes[1:]) / 2) if lasting else None,
            "noise_sd": self.noise,
        }, approach

    def smoothed(self, over, approach, band):
        """The overshoot of a running parabola over 11 samples, where noise matters."""
        if over == 0 or (over >= 6 * self.noise and band >= 4 * self.noise):
            return None
        smooth = self.past.copy()
        if len(smooth) >= 11:
            smooth[5:-5] = savgol_filter(self.past, 11, 2)[5:-5]
        arrived = np.flatnonzero(self.past[:approach] >= 0)[0]
        return max(smooth[arrived:approach].max(), 0.0)


@dataclasses.dataclass
class Swing:
    side: float
    begins: float
    ends: float
    size: float
    at: float


def _swings_of(t, past, h):
    """Every stay on one side of the target: from the first sample farther than h on it."""
    found = []
    for time, value in zip(t, past):
        side = 1.0 if value > h else -1.0 if value < -h else 0.0
        if side == 0.0:
            continue
        if not found or found[-1].side != side:
            found.append(Swing(side, time, time, abs(value), time))
        found[-1].ends = time
        if abs(value) > found[-1].size:
            found[-1].size, found[-1].at = abs(value), time
    return found


def _chain_of(swings, t):
    """The step's own swings, from the first one past the target on; with the chain behind them where
    that lasts to the end and begins within one of its periods."""
    first = next((i for i, swing in enumerate(swings) if swing.side > 0), len(swings))
    own = _linked(swings[first:], t)
    later = _linked(swings[first + len(own) :], t)
    if own and later and _lasts(later, t[-1]):
        periods = [b.at - a.at for a, b in zip(later, later[2:])]
        if later[0].at - own[-1].at <= np.median(periods):
            return own + later
    return own


def _linked(swings, t):
    """The swings that hang together, from the first of these on."""
    chain = []
    for swing in swings:
        if chain:
            before = chain[-1]
            soon = swing.begins - before.ends <= before.ends - before.begins
            if not (soon and swing.size <= 1.5 * before.size):
                break
        if not swing.at < t[-1]:
            break
        chain.append(swing)
    return chain


def _period_of(chain):
    if len(chain) >= 3:
        return chain[2].at - chain[0].at
    return 2 * (chain[1].at - chain[0].at) if len(chain) == 2 else None


def _lasts(chain, end):
    periods = np.array([b.at - a.at for a, b in zip(chain, chain[2:])])
    if len(periods) < 3:
        return False
    median = np.median(periods)
    even = periods.max() <= 2 * median and 2 * periods.min() >= median
    return bool(even and end - chain[-1].at <= 1.5 * median)


def step_numbers(t, y, end, initial, target, band, least, period):
    """The numbers of a step; t counts from it; the line's end (time, value) is where its window
    ends, between samples or at one. Also python-control's view of it."""
    delta = target - initial
    sign = 1.0 if delta > 0 else -1.0
    large = abs(delta) >= least
    two_pct = 0.02 * abs(delta)
    noise = noise_of(y)
    error = final_mean(t, y - target, end[0])
    if end[0] > t[-1]:
        t, y = np.append(t, end[0]), np.append(y, end[1])
    course = Course(t, y, target, sign, period, noise)
    numbers, approach = course.numbers(band if band is not None else two_pct, two_pct)
    ten, ninety = (first_crossing(t, sign * (y - initial), p * abs(delta)) for p in (0.1, 0.9))
    if not large:
        numbers["settling_2pct_s"] = None
    numbers |= {
        "initial": initial,
        "overshoot_pct": 100 * numbers["overshoot"] / abs(delta) if large else None,
        "rise_s": ninety - ten if large and ninety is not None else None,
        "final_error": error,
        "window_s": end[0],
    }
    numbers |= integrals_of(t, target - y)
    return numbers, (t, (y - initial) / delta if delta else y, approach)
