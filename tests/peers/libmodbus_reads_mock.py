"""libmodbus reads and writes mock-device: both layouts, on a pseudo-terminal and over TCP."""

import subprocess
from contextlib import contextmanager

import bench
import mock_checks

UNIT = 1


class Client:
    """libmodbus_peer, asked line by line."""

    def __init__(self, child):
        self._child = child

    def read(self, table, address, count):
        return [int(word) for word in self._ask("read", table, address, count).split()]

    def write(self, table, address, value):
        self._ask("write", table, address, value)

    def write_many(self, table, address, values):
        self._ask("write-many", table, address, *values)

    def _ask(self, *words):
        print(*words, file=self._child.stdin, flush=True)
        answer = self._child.stdout.readline().strip()
        if answer.startswith("exception "):
            raise mock_checks.Refused(int(answer.split()[1]))
        if not answer or answer.startswith("failed"):
            raise RuntimeError(f"{words}: {answer or 'libmodbus_peer ended'}")
        return answer


@contextmanager
def connect(reached):
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with bench.running(bench.LIBMODBUS_PEER, "ask", reached, UNIT, **pipes) as child:
        yield Client(child)


if __name__ == "__main__":
    mock_checks.check_all(connect)
