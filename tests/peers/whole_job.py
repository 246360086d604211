"""The whole job over a serial line, each part in a process of its own.

mock-device is the oven on a pseudo-terminal, a hundred times as fast as the clock. One emberline
records a setpoint step, an autotune and the step back, another one waits for the tune, a third one
measures; episodes.py then works out all numbers again from the recording's CSV.
"""

import json
import subprocess
import sys
import time

import bench

SPEED = 100
# Real seconds between a step and what comes next: most of an hour of the oven's time. Steps closer
# than 30 s would be taken for one that was keyed in.
STEP_S = 35


def setup_with_faster_polls(cwd):
    """mock-device's own setup, with a poll every ten seconds of the oven's time."""
    setup = cwd / "setup.toml"
    text = setup.read_text()
    if text.count('every = "1 s"') != 1:
        raise ValueError(f"the setup has changed: {text}")
    setup.write_text(text.replace('every = "1 s"', 'every = "100 ms"'))
    return setup


def recording_in(folder):
    return bench.wait_for("a recording", lambda: list(folder.glob("*/recording.toml")))[0].parent


def play(tally, device, recording):
    """What the person at the oven does, and the one who waits for the tune."""
    time.sleep(2)
    device.type("setpoint 510", "ok")
    time.sleep(STEP_S)
    device.type("autotune", "ok")
    code, out, _ = bench.emberline("await", recording, "--until", "tuned", "--json", cwd=None)
    tally.equal("await: exit code", code, 0)
    tally.equal("await: the tune happened", json.loads(out)["happened"], True)
    device.type("setpoint 490", "ok")
    time.sleep(STEP_S)


def check_measured(tally, recording):
    code, out, _ = bench.emberline("measure", recording, "--json", cwd=None)
    tally.equal("measure: exit code", code, 0)
    episodes = json.loads(out)["loops"][0]["episodes"]
    kinds = [episode["kind"] for episode in episodes if episode["kind"] != "hold"]
    tally.equal("measure: episodes", kinds, ["setpoint-step", "autotune", "setpoint-step"])
    script = [sys.executable, bench.HERE / "episodes.py", bench.EMBERLINE, recording]
    again = subprocess.run(script, capture_output=True, text=True)
    tally.true("the numbers of both steps, worked out again", again.returncode == 0, again.stdout)


def main():
    tally = bench.Tally()
    with bench.folder() as cwd:
        words = ["--pty", cwd / "oven", "--write-setup", cwd, "--speed", SPEED]
        with bench.mock_device(*words) as (device, _):
            command = ["record", setup_with_faster_polls(cwd), "--into", cwd / "recordings", *bench.AT_ONCE]
            quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
            with bench.running(bench.EMBERLINE, *command, **quiet) as recorder:
                recording = recording_in(cwd / "recordings")
                play(tally, device, recording)
                recorder.terminate()
                tally.equal("record: exit code after a stop signal", recorder.wait(), 0)
        check_measured(tally, recording)
    tally.close()


if __name__ == "__main__":
    main()
