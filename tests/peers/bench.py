"""What every check needs: the programs under test, a wire between two ports, and a tally."""

import os
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

HERE = Path(__file__).resolve().parent
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", HERE.parent.parent / "target"))
EMBERLINE = TARGET / "debug" / "emberline"
MOCK_DEVICE = TARGET / "debug" / "mock-device"
LIBMODBUS_PEER = TARGET / "peers" / "libmodbus_peer"

# Nobody else polls a pseudo-terminal of ours.
AT_ONCE = ["--listen-first", "0s"]

# A program that has not begun, or not ended, by then never will.
PATIENCE_S = 60.0


class Tally:
    """Counts what agrees and what does not, and says both."""

    def __init__(self):
        self.passed = 0
        self.failed = 0

    def equal(self, what, got, wanted):
        self.true(what, got == wanted, f"got {got!r}, wanted {wanted!r}")

    def true(self, what, holds, otherwise=""):
        if holds:
            self.passed += 1
            print(f"ok    {what}")
        else:
            self.failed += 1
            print(f"FAIL  {what}: {otherwise}")

    def close(self):
        """Prints the closing line and ends the process with its exit code."""
        print(f"{self.passed} passed, {self.failed} failed", flush=True)
        sys.exit(1 if self.failed or not self.passed else 0)


def wait_for(what, holds):
    """Waits until `holds()` gives something true, and gives it back."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        found = holds()
        if found:
            return found
        time.sleep(0.05)
    raise TimeoutError(f"{what} did not come")


@contextmanager
def folder():
    """A folder for one check."""
    with tempfile.TemporaryDirectory(prefix="emberline-peers-") as path:
        yield Path(path)


@contextmanager
def running(*words, **options):
    """A child process that ends with the block."""
    child = subprocess.Popen([str(word) for word in words], **options)
    try:
        yield child
    finally:
        child.terminate()
        try:
            child.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            child.kill()
            raise


@contextmanager
def wire(here, there):
    """Two serial ports with these names, joined: what goes into one comes out of the other."""
    ends = [f"pty,rawer,link={end}" for end in (here, there)]
    with running("socat", *ends):
        wait_for("the wire", lambda: here.exists() and there.exists())
        yield


def emberline(*words, cwd):
    """Runs emberline to its end; gives its exit code, standard output and standard error."""
    command = [str(EMBERLINE), *(str(word) for word in words)]
    ended = subprocess.run(command, cwd=cwd, capture_output=True, text=True, timeout=PATIENCE_S)
    return ended.returncode, ended.stdout, ended.stderr


class MockDevice:
    """A running mock-device, and the hand of a person on its panel."""

    def __init__(self, child):
        self._child = child

    def until(self, beginning):
        """Reads what it says up to a line that begins like this, and gives that line."""
        for line in self._child.stdout:
            if line.startswith(beginning):
                return line.strip()
        raise EOFError(f"mock-device ended before '{beginning}'")

    def type(self, line, answer):
        """Types a command and gives the answer that begins like this."""
        self._child.stdin.write(line + "\n")
        self._child.stdin.flush()
        return self.until(answer)


@contextmanager
def mock_device(*words):
    """mock-device with these arguments; gives it and where it is reached."""
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with running(MOCK_DEVICE, *words, **pipes) as child:
        device = MockDevice(child)
        device.until("[lines.")
        reached = child.stdout.readline().split('"')[1]
        yield device, reached
