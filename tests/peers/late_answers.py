"""emberline records units of pymodbus and libmodbus behind a wire that holds answers back.

Every value of these units differs from every other of the same shape, so an answer credited to the
wrong request shows. pymodbus returns diagnostics queries (function 08), libmodbus ignores them:
both of emberline's ways to be sure again are taken.
"""

import os
import select
import subprocess
import threading
import time
import tty
from contextlib import contextmanager

import bench
import kiln
import read_libmodbus_server
import read_pymodbus_server

# Longer than the setup lets an answer take.
ANSWER_WITHIN_S, HELD_S = 0.3, 0.45
SECONDS, EVERY_S = 15, 0.25
# Every so many answers to a read one is held back.
HOLD_EVERY = 23
READS, DIAGNOSTICS, REFUSED = (1, 2, 3, 4), 8, 0x80

SETUP = f"""
schema = 1

[lines.bench]
serial = "{kiln.PORT}"
answer_within = "{round(ANSWER_WITHIN_S * 1000)} ms"

[[loops]]
name = "kiln-top"
line = "bench"
unit_number = 1
map = "{bench.HERE / 'maps' / 'kiln.toml'}"
every = "{round(EVERY_S * 1000)} ms"
"""


class Relay:
    """Passes frames on between a master and a unit, some answers late, and counts functions."""

    def __init__(self, master, unit):
        self._master, self._unit = master, unit
        self._held = []
        self._answers = 0
        self.asked, self.answered, self.held = {}, {}, 0

    def run(self, stop):
        while not stop.is_set():
            ready, _, _ = select.select([self._master, self._unit], [], [], 0.005)
            if self._master in ready:
                request = frame(self._master)
                self._count(self.asked, request)
                os.write(self._unit, request)
            if self._unit in ready:
                self._answer(frame(self._unit))
            self._let_go()

    def _answer(self, answer):
        self._count(self.answered, answer)
        is_read = answer[1] in READS
        self._answers += is_read
        if is_read and self._answers % HOLD_EVERY == 0:
            self.held += 1
            self._held.append((time.monotonic() + HELD_S, answer))
        else:
            os.write(self._master, answer)

    def _let_go(self):
        while self._held and self._held[0][0] <= time.monotonic():
            os.write(self._master, self._held.pop(0)[1])

    @staticmethod
    def _count(counts, sent):
        counts[sent[1]] = counts.get(sent[1], 0) + 1


def frame(port):
    """What comes until 3 ms of silence."""
    received = os.read(port, 512)
    while select.select([port], [], [], 0.003)[0]:
        received += os.read(port, 512)
    return received


@contextmanager
def relay(here, there):
    """Two serial ports with these names and the relay between them."""
    ends = [os.openpty() for _ in (here, there)]
    for (_, port), link in zip(ends, (here, there)):
        tty.setraw(port)
        link.symlink_to(os.ttyname(port))
    between, stop = Relay(ends[0][0], ends[1][0]), threading.Event()
    running = threading.Thread(target=between.run, args=(stop,))
    running.start()
    try:
        yield between
    finally:
        stop.set()
        running.join()
        for end in (descriptor for pair in ends for descriptor in pair):
            os.close(end)


def check(tally, cwd, peer, between):
    """Records for a while; no cell may hold anything but its own value."""
    (cwd / "late.toml").write_text(SETUP)
    words = ["record", "late.toml", "--into", peer, "--for", f"{SECONDS}s", *bench.AT_ONCE]
    code, out, err = bench.emberline(*words, cwd=cwd)
    tally.equal(f"{peer}: record: exit code", (code, err.count("error")), (0, 0))
    folder = cwd / out.strip() / "kiln-top"
    header, *rows = [row for day in sorted(folder.glob("20*.csv")) for row in kiln.table(day)]
    rows = [row for row in rows if row != header]
    tally.equal(f"{peer}: rows", len(rows), int(SECONDS / EVERY_S))
    values = [kiln.TOP.values[point] for point in kiln.TREND]
    wrong = [row for row in rows if any(got not in ("", own) for got, own in zip(row[3:], values))]
    tally.equal(f"{peer}: cells that are not their point's value", wrong[:1], [])
    whole = sum(row[2] == "good" for row in rows)
    tally.true(f"{peer}: rows that are whole", 3 * whole > len(rows), f"only {whole}")
    tally.true(f"{peer}: answers were held back", between.held >= 3, f"only {between.held}")
    lost = sum(row[2] not in ("good", "skipped") for row in rows)
    tally.true(f"{peer}: and rows tell of it", lost >= 2, f"only {lost}")


def check_pymodbus(tally):
    with bench.folder() as cwd, relay(cwd / kiln.PORT, cwd / "far-end") as between:
        with read_pymodbus_server.running(cwd / "far-end"):
            check(tally, cwd, "pymodbus", between)
    fences = between.asked.get(DIAGNOSTICS, 0)
    tally.true("pymodbus: asked to return a query", fences >= 2, f"{between.asked}")
    tally.equal("pymodbus: returned every one", between.answered.get(DIAGNOSTICS), fences)


def check_libmodbus(tally):
    with bench.folder() as cwd, relay(cwd / kiln.PORT, cwd / "far-end") as between:
        with read_libmodbus_server.running(tally, cwd / "far-end"):
            check(tally, cwd, "libmodbus", between)
    fences, refusal = between.asked.get(DIAGNOSTICS, 0), DIAGNOSTICS | REFUSED
    answers = [between.answered.get(function) for function in (DIAGNOSTICS, refusal)]
    tally.equal("libmodbus: ignores diagnostics", (fences > 0, answers), (True, [None, None]))
    tally.true("libmodbus: is not asked for ever", fences < between.held, f"{fences} times")


def main():
    tally = bench.Tally()
    check_pymodbus(tally)
    check_libmodbus(tally)
    tally.close()


if __name__ == "__main__":
    main()
