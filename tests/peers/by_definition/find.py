"""All episodes of a record with all their numbers."""

import numpy as np
from scipy.integrate import trapezoid

from .basics import missing_in, noise_of
from .by_hand import ends_of, initial_of, output_steps_of
from .changes import movements_of, tunes_of
from .course import Course, step_numbers
from .cycles import cycles_of, ultimate_of
from .holds import disturbances_in, hold_numbers

LEAST_HOLD_S = 300.0


def episodes_of(record):
    return Finder(record).episodes()


def in_force(sp):
    """The setpoint at every sample: the last one known; before the first one known, that one."""
    if sp is None or np.all(np.isnan(sp)):
        return None
    known = np.flatnonzero(~np.isnan(sp))
    last = np.maximum.accumulate(np.where(np.isnan(sp), known[0], np.arange(len(sp))))
    return sp[last]


class Finder:
    def __init__(self, record):
        self.record = record
        self.t, self.y = record.t, record.y
        self.period = record.period()
        self.in_force = in_force(record.sp)
        self.least = max(1.0, 3.0 * noise_of(record.y))
        moves = movements_of(record)
        self.tunes, self.cycling = tunes_of(record, moves)
        self.moves = [m for m in moves if not self._in_tune(m.begins)]
        bounds = {self.t[0], self.t[-1], *record.changed}
        bounds |= {time for tune in self.tunes for time in tune[:2]}
        bounds |= {time for m in self.moves for time in (m.begins, m.arrives)}
        self.by_hand = output_steps_of(
            record, self.moves, self.tunes, self.cycling, sorted(bounds)
        )
        for step in self.by_hand:
            bounds |= {step.begins, step.arrives}
            if step.leaves is not None:
                bounds.add(step.leaves)
        self.bounds = sorted(bounds)
        # Where a hold may begin: bound -> (time it settled, whether after a ramp), or None.
        self.settled = {}
        self.curves = []

    def _in_tune(self, time):
        return any(begin <= time < end for begin, end, _ in self.tunes)

    def next_bound(self, time):
        return next((b for b in self.bounds if b > time), time)

    def part(self, begin, end):
        return (self.t >= begin) & (self.t <= end)

    def missing(self, begin, end):
        return missing_in(self.t, self.period, begin, end)

    def setpoint_at(self, time):
        if self.in_force is None:
            return None
        return float(self.in_force[max(np.searchsorted(self.t, time, side="right") - 1, 0)])

    def episodes(self):
        found = []
        for m in self.moves:
            if abs(m.new - m.old) > self.least:
                found.append(self.ramp(m) if m.ramp else self.step(m))
        found += [self.tune(*tune) for tune in self.tunes]
        found += [self.output_step(step) for step in self.by_hand]
        found += self.holds()
        return sorted(found, key=lambda one: one["start_s"])

    def step(self, m):
        end = self.next_bound(m.arrives)
        window = self.part(m.arrives, end)
        initial = initial_of(
            self.record, m.arrives, [b for b in self.bounds if b < m.begins]
        )
        numbers, curve = step_numbers(
            self.t[window] - m.arrives,
            self.y[window],
            (end - m.arrives, np.interp(end, self.t, self.y)),
            initial,
            m.new,
            self.record.band,
            self.least,
            self.period,
        )
        self.settled[m.arrives] = (numbers["settling_s"], False)
        one = {"kind": "setpoint-step", "start_s": m.arrives, "end_s": end}
        one |= {"from": m.old, "to": m.new, **numbers}
        one["missing_s"] = self.missing(m.arrives, end)
        self.curves.append((one, curve))
        return one

    def ramp(self, m):
        following = self.part(m.begins, m.arrives)
        t, off = self.t[following], self.y[following] - self.in_force[following]
        end = self.next_bound(m.arrives)
        line = self.part(m.arrives, end)
        line_t, line_y = self.t[line], self.y[line]
        noise = noise_of(line_y)
        if end > line_t[-1]:
            line_t, line_y = np.append(line_t, end), np.append(line_y, np.interp(end, self.t, self.y))
        sign = 1.0 if m.new > m.old else -1.0
        course = Course(line_t - m.arrives, line_y, m.new, sign, self.period, noise)
        two_pct = 0.02 * abs(m.new - m.old)
        band = self.record.band if self.record.band is not None else two_pct
        numbers, _ = course.numbers(band, two_pct)
        self.settled[m.arrives] = (numbers["settling_s"], True)
        length = m.arrives - m.begins
        if numbers["peak_s"] is not None:
            numbers["peak_s"] += length
        return {
            "kind": "ramp",
            "start_s": m.begins,
            "end_s": m.arrives,
            "from": m.old,
            "to": m.new,
            **numbers,
            "noise_sd": noise_of(self.y[following]),
            "missing_s": self.missing(m.begins, m.arrives),
            "overshoot_pct": 100 * numbers["overshoot"] / abs(m.new - m.old),
            "rate_per_min": 60 * (m.new - m.old) / length,
            "following_mean": trapezoid(off, t) / (t[-1] - t[0]),
            "following_max": float(off[np.argmax(np.abs(off))]),
            "window_s": length,
        }

    def tune(self, begin, end, inferred):
        inside = self.part(begin, end)
        t, y = self.t[inside], self.y[inside]
        count, numbers, stretch = cycles_of(t, y)
        outcome = "unknown" if inferred else self.record.outcome_of(begin, end)
        one = {"kind": "autotune", "outcome": outcome}
        one |= { "start_s": begin, "end_s": end, "cycles": count}
        one |= {"from": self.setpoint_at(begin), "to": self.setpoint_at(end)}
        one |= {"window_s": end - begin}
        one |= {"noise_sd": noise_of(y), "missing_s": self.missing(begin, end), **numbers}
        if count and self.record.u is not None:
            u = self.record.u[inside]
            one["ultimate_gain"] = ultimate_of(t, y, u, stretch, numbers["period_s"])
            one["ultimate_period_s"] = numbers["period_s"]
        return one

    def output_step(self, step):
        end = self.next_bound(step.arrives)
        window = self.part(step.arrives, end)
        t, y = self.t[window] - step.arrives, self.y[window]
        initial, final = ends_of(
            self.record, step.arrives, end, [b for b in self.bounds if b < step.begins]
        )
        last = t >= t[-1] - max(0.1 * t[-1], min(60.0, t[-1]))
        slope = np.polyfit(t[last] - t[last].mean(), y[last], 1)[0] if last.sum() > 1 else 0.0
        drift = abs(slope) * (t[-1] - t[last][0])
        at_rest = drift <= max(0.02 * abs(final - initial), 3 * noise_of(y))
        one = {
            "kind": "output-step",
            "start_s": step.arrives,
            "end_s": end,
            "output_from": step.old,
            "output_to": step.new,
            "from": initial,
            "initial": initial,
            "noise_sd": noise_of(y),
            "window_s": end - step.arrives,
            "missing_s": self.missing(step.arrives, end),
        }
        if at_rest:
            numbers, _ = step_numbers(
                t,
                y,
                (end - step.arrives, np.interp(end, self.t, self.y)),
                initial,
                final,
                self.record.band,
                self.least,
                self.period,
            )
            one |= {"to": final, **numbers}
        return one

    def holds(self):
        found = []
        for begin, end in zip(self.bounds, self.bounds[1:]):
            settled, soak = self.settled.get(begin, (0.0, False))
            after = begin in self.settled
            moving = any(m.begins <= begin < m.arrives for m in self.moves)
            by_hand = any(s.begins <= begin <= s.arrives for s in self.by_hand)
            if settled is None or moving or by_hand or self._in_tune(begin):
                continue
            start = begin + settled
            setpoint = self.setpoint_at(start)
            found += self.parts_of_hold(start, end, setpoint, soak)
            manual = self.record.mode_at(begin) not in (None, "automatic")
            cycling = any(a < end and b > start for a, b in self.cycling)
            if self.record.band is None or setpoint is None or manual or cycling:
                continue
            if end - start > LEAST_HOLD_S:
                inside = self.part(start, end)
                found += disturbances_in(
                    self.t[inside],
                    self.y[inside],
                    setpoint,
                    self.record.band,
                    self.period,
                    after,
                    end == self.t[-1],
                )
        return found

    def parts_of_hold(self, start, end, setpoint, soak):
        marks = [time for time, _ in self.record.marks if start < time < end]
        for begin, stop in zip([start, *marks], [*marks, end]):
            inside = self.part(begin, stop)
            if stop - begin > LEAST_HOLD_S and inside.any():
                numbers = hold_numbers(self.record, begin, stop, setpoint, soak)
                kind = "soak" if soak else "hold"
                yield {"kind": kind, "start_s": begin, "end_s": stop, **numbers}
