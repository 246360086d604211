"""What changed in a record: movements of the setpoint, tunes, and the output by hand."""

import dataclasses

import numpy as np

KEYING_S = 30.0
STAIRS_S = 300.0
RUN = 5
FLAT_PCT = 0.1
LEVELS_PCT = 5.0
# Shorter cycles are noise.
LEAST_PERIODS = 4


@dataclasses.dataclass
class Movement:
    begins: float
    arrives: float
    old: float
    new: float
    ramp: bool


def movements_of(record):
    """Every movement of the setpoint: at once, or a ramp."""
    if record.sp is None:
        return []
    known = ~np.isnan(record.sp)
    t, sp = record.t[known], record.sp[known]
    at = np.flatnonzero(np.diff(sp) != 0) + 1
    if len(at) == 0:
        return []
    changes = _Changes(t, sp, at, record.period())
    found, taken, first = [], np.zeros(len(at), bool), 0
    while first < len(at):
        end = changes.chain_from(first)
        ramps = changes.ramps_in(first, end)
        if ramps:
            found += changes.movements_about(ramps, first, end)
            taken[first:end] = True
        first = end
    # What is in no ramp, in stretches that no ramp interrupts.
    edges = np.flatnonzero(np.diff(np.concatenate(([True], taken, [True])).astype(int)))
    for begin, end in zip(edges[::2], edges[1::2]):
        found += changes.stairs_and_steps(begin, end)
    return sorted(found, key=lambda movement: movement.begins)


class _Changes:
    def __init__(self, t, sp, at, period):
        self.when, self.by = t[at], sp[at] - sp[at - 1]
        self.old, self.new = sp[at - 1], sp[at]
        self.at = at
        # Nobody saw what the setpoint did just before these.
        self.hidden = t[at] - t[at - 1] > 1.5 * period
        # How much of the time since the change before nobody saw.
        since, begins, ends = np.concatenate(([t[0]], self.when[:-1])), t[:-1], t[1:]
        long = ends - begins > 1.5 * period
        begins, ends = begins[long], ends[long]
        self.unseen = [
            float(np.maximum(np.minimum(ends, b) - np.maximum(begins, a), 0.0).sum())
            for a, b in zip(since, self.when)
        ]

    def movement(self, first, end, ramp):
        return Movement(
            self.when[first], self.when[end - 1], self.old[first], self.new[end - 1], ramp
        )

    def linked(self, i):
        """Whether change i belongs to what change i-1 belongs to."""
        if self.when[i] - self.when[i - 1] <= KEYING_S:
            return True
        no_rest = self.at[i] == self.at[i - 1] + 1
        seen = self.when[i] - self.when[i - 1] - self.unseen[i]
        return self.by[i] * self.by[i - 1] > 0 and (no_rest or seen <= KEYING_S)

    def chain_from(self, first):
        end = first + 1
        while end < len(self.when) and self.linked(end):
            end += 1
        return end

    def ramps_in(self, first, end):
        """The runs of a chain that are ramps."""
        sizes = np.abs(self.by[first:end])
        jump = (np.abs(self.by) > 5 * np.median(sizes)) & ~self.hidden
        found, begin = [], first
        for i in range(first + 1, end + 1):
            if i < end and self.by[i] * self.by[i - 1] > 0 and not jump[i] and not jump[i - 1]:
                continue
            if i - begin >= RUN and self.when[i - 1] - self.when[begin] > KEYING_S:
                found.append((begin, i))
            begin = i
        return found

    def movements_about(self, ramps, first, end):
        """The ramps of a chain and what is left between them."""
        found, done = [], first
        for begin, stop in ramps:
            # The jump to where the ramp begins belongs to the ramp's start and is nothing.
            rest = begin - 1 if begin > done else done
            if rest > done:
                found.append(self.movement(done, rest, False))
            found.append(self.movement(begin, stop, True))
            done = stop
        if done < end:
            found.append(self.movement(done, end, False))
        return found

    def stairs_and_steps(self, first, end):
        """Stairs among changes that are in no ramp; the rest are movements at once."""
        found = []
        while first < end:
            stop = self.stairs_from(first, end)
            ramp = stop is not None
            if not ramp:
                stop = first + 1
                while stop < end and self.when[stop] - self.when[stop - 1] <= KEYING_S:
                    if self.stairs_from(stop, end) is not None:
                        break
                    stop += 1
            found.append(self.movement(first, stop, ramp))
            first = stop
        return found

    def stairs_from(self, first, most):
        """The end of the stairs that begin with this change."""
        steps, gaps, end = [abs(self.by[first])], [], first + 1
        even = lambda values: len(values) == 0 or max(values) <= 2 * min(values) + 1e-9
        while end < most and self.by[end] * self.by[first] > 0:
            gap, step = self.when[end] - self.when[end - 1], abs(self.by[end])
            # When a change that rows hide came is not known, so neither interval beside it is.
            patchy = self.unseen[end] > 0 or (end - 1 > first and self.unseen[end - 1] > 0)
            if patchy and gaps and gap - self.unseen[end] > 2 * min(gaps):
                break
            more_steps = steps if patchy else [*steps, step]
            more_gaps = gaps if patchy else [*gaps, gap]
            low = max(*steps, step) <= 1.0 + 1e-9
            if not even(more_gaps) or not (low or gap < STAIRS_S):
                break
            if not even(more_steps):
                # The last change may be smaller.
                end += int(step <= 2 * min(steps))
                break
            steps, gaps, end = more_steps, more_gaps, end + 1
        long = self.when[end - 1] - self.when[first] > KEYING_S
        return end if end - first >= RUN and long else None


def tunes_of(record, movements):
    """(start, end, inferred) of every tune, and the lasting two-level stretches."""
    if record.tune is not None:
        edges = np.flatnonzero(np.diff(np.concatenate(([0], record.tune.astype(int), [0]))))
        last = len(record.t) - 1
        ends = zip(edges[::2], edges[1::2])
        return [(record.t[i], record.t[min(j, last)], False) for i, j in ends], []
    if record.u is None:
        return [], []
    tunes, cycling = [], []
    known = ~np.isnan(record.u)
    t, u = record.t[known], record.u[known]
    for starts, idle in _two_level(t, u):
        first, stop = starts[0], starts[-1]
        cycles = (len(starts) - 2) // 2
        if cycles < 2:
            continue
        begin, end = t[first], t[min(stop, len(t) - 1)]
        cycle = (t[starts[2 * cycles]] - begin) / cycles
        if cycle < LEAST_PERIODS * record.period():
            continue
        levels = (u[first], u[starts[1]])
        before, after = (t >= begin - cycle) & (t < begin), (t >= end) & (t <= end + cycle)
        other = (idle or _off(u[before], levels)) and _off(u[after], levels)
        inside = first > 0 and stop < len(u)
        whole = np.array([t[b] - t[a] for a, b in zip(starts[1:-1], starts[3:-1])])
        even = len(whole) == 0 or whole.max() <= 2 * whole.min()
        moved = any(begin < m.begins < end for m in movements)
        manual = record.mode_at(begin) == "manual"
        if cycles <= 6 and inside and other and even and not moved and not manual:
            tunes.append((begin, end, True))
        elif cycles > 6 or not inside or not other:
            cycling.append((begin, end))
    return tunes, cycling


def _off(u, levels):
    """Whether some of these, and not just one here and there, are at neither level."""
    off = np.all([np.abs(u - level) > FLAT_PCT for level in levels], axis=0).sum()
    return bool(off >= 3 and 10 * off >= len(u))


def _two_level(t, u):
    """Index of each run's first sample, and of the first sample after, of every sequence of runs
    that alternate between two levels; and whether an idle first run was left out."""
    starts = [0]
    for i in range(1, len(u)):
        if abs(u[i] - u[starts[-1]]) > FLAT_PCT:
            starts.append(i)
    ends = starts[1:] + [len(u)]
    found, i = [], 0
    while i + 1 < len(starts):
        levels = [u[starts[i]], u[starts[i + 1]]]
        j = i + 2
        while j < len(starts) and abs(u[starts[j]] - levels[(j - i) % 2]) <= FLAT_PCT:
            j += 1
        if j - i >= 3 and abs(levels[0] - levels[1]) >= LEVELS_PCT:
            lengths = [t[min(ends[k], len(t) - 1)] - t[starts[k]] for k in range(i, j)]
            idle = levels[0] < levels[1] and lengths[0] > 2 * max(lengths[1:])
            found.append(([*starts[i + idle : j], ends[j - 1]], idle))
            i = j - 1
        else:
            i += 1
    return found
