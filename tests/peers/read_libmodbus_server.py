"""emberline reads a unit that libmodbus simulates on a pseudo-terminal."""

import subprocess
from contextlib import contextmanager

import bench
import kiln


def rows(unit):
    """The unit's tables as libmodbus_peer reads them."""
    tables = {
        "coil": unit.coils,
        "discrete": unit.discrete,
        "holding": unit.holding,
        "input": unit.input,
    }
    for table, values in tables.items():
        for address, value in enumerate(values):
            yield f"{table} {address} {int(value)}\n"
    yield "\n"


@contextmanager
def running(tally, port):
    """The server on this port."""
    words = [bench.LIBMODBUS_PEER, "serve", port, kiln.TOP.number]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with bench.running(*words, **pipes) as server:
        server.stdin.writelines(rows(kiln.TOP))
        server.stdin.flush()
        tally.equal("libmodbus", server.stdout.readline(), "ready\n")
        yield


def main():
    tally = bench.Tally()
    with bench.folder() as cwd, bench.wire(cwd / kiln.PORT, cwd / "far-end"):
        with running(tally, cwd / "far-end"):
            # libmodbus takes a request to another unit as the start of trouble: one loop only.
            kiln.check_read(tally, cwd, ["kiln-top"])
    tally.close()


if __name__ == "__main__":
    main()
