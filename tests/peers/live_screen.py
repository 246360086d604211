"""The live screen in a real terminal (tmux, 80x24): what it shows, its keys, and how it leaves."""

import shlex
import subprocess
from contextlib import contextmanager

import bench

WIDTH, HEIGHT = 80, 24
PROMPT = "ready> "


class Terminal:
    """A shell in a tmux server of its own."""

    def __init__(self, socket):
        self._tmux = ["tmux", "-S", str(socket), "-f", "/dev/null"]

    def tmux(self, *words):
        done = subprocess.run([*self._tmux, *words], check=True, capture_output=True, text=True)
        return done.stdout

    def start(self, cwd):
        shell = f"env PS1={shlex.quote(PROMPT)} bash --norc --noprofile"
        size = ["-x", str(WIDTH), "-y", str(HEIGHT)]
        self.tmux("new-session", "-d", *size, "-c", str(cwd), shell)
        self.shows(PROMPT.strip())

    def screen(self):
        return self.tmux("capture-pane", "-p")

    def mode(self):
        """Whether the cursor shows, and whether a program holds the second screen."""
        return self.tmux("display-message", "-p", "#{cursor_flag} #{alternate_on}").strip()

    def press(self, *keys):
        self.tmux("send-keys", *keys)

    def shows(self, *texts):
        """The screen, as soon as all these texts stand on it; raises `TimeoutError`."""

        def all_there():
            screen = self.screen()
            return all(text in screen for text in texts) and screen

        try:
            return bench.wait_for(f"{texts} on the screen", all_there)
        except TimeoutError:
            print(self.screen())
            raise


@contextmanager
def terminal(cwd):
    own = Terminal(cwd / "tmux")
    own.start(cwd)
    try:
        yield own
    finally:
        own.tmux("kill-server")


def check_demo(tally, own):
    """The demo's screen: the loop, its help, and leaving while it records."""
    command = [str(bench.EMBERLINE), "demo", "--speed", "600", "--out", "demo"]
    own.press(shlex.join(command) + "; echo left with $?", "Enter")
    screen = own.shows("annealer-top", "setpoint 490.0", "? help", "q quit")
    tally.equal("the screen fills the terminal", len(screen.splitlines()), HEIGHT)
    own.press("?")
    own.shows("this help; close what is open", "Esc close help")
    own.press("Escape")
    own.shows("? help", "setpoint 490.0")
    own.press("q")
    own.shows("Stop the recording and leave?")
    own.press("y")
    own.shows("left with 0")
    tally.true("q and y leave with exit code 0", True)
    check_restored(tally, own)


def check_follow(tally, own, cwd):
    """The same screen on a recording: `q` leaves at once, nothing would stop."""
    (recording,) = (path.parent for path in cwd.glob("demo/*/recording.toml"))
    command = [str(bench.EMBERLINE), "watch", "--follow", str(recording.relative_to(cwd))]
    own.press("clear", "Enter")
    own.press(shlex.join(command) + "; echo followed with $?", "Enter")
    own.shows("annealer-top", "? help", "q quit")
    own.press("q")
    own.shows("followed with 0")
    tally.true("q leaves a followed recording with exit code 0", True)
    check_restored(tally, own)


def check_restored(tally, own):
    """The shell is back as it was: its own screen, its cursor, and what is typed is seen."""
    tally.equal("cursor shown, first screen", own.mode(), "1 0")
    own.press("echo $((6 * 7)) is the answer", "Enter")
    own.shows("echo $((6 * 7)) is the answer", "\n42 is the answer")
    tally.true("what is typed is seen and carried out", True)


def main():
    tally = bench.Tally()
    with bench.folder() as cwd, terminal(cwd) as own:
        check_demo(tally, own)
        check_follow(tally, own, cwd)
    tally.close()


if __name__ == "__main__":
    main()
