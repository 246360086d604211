"""What python-control's `step_info` says of a step, where it means the same."""

import control
import numpy as np


def step_info_disagreements(curve, emberline):
    """python-control on the approach alone, scaled to a step from 0 to 1."""
    t, scaled, end = curve
    # It snaps to samples, so it is right to one of them at each end.
    sample = np.diff(t).max(initial=0.0)
    if emberline["overshoot_pct"] is None or len(t) < 3:
        return
    checks = []
    if emberline["rise_s"] is not None:
        info = control.step_info(scaled, T=t, final_output=1.0)
        checks.append(("rise_s", info["RiseTime"], 2 * sample))
    settled = emberline["settling_2pct_s"]
    if settled is not None:
        # It takes the last time outside for settled, so it is shown only the first stay.
        stay = t <= settled + 10 * np.median(np.diff(t))
        info = control.step_info(scaled[stay], T=t[stay], final_output=1.0)
        checks.append(("settling_2pct_s", info["SettlingTime"], sample))
    if emberline["peak_s"] is not None:
        info = control.step_info(scaled[:end], T=t[:end], final_output=1.0)
        checks.append(("overshoot_pct", max(info["Overshoot"], 0.0), 1e-6))
        # Of samples that are equal but for rounding it may name another.
        seen, named = np.interp([info["PeakTime"], emberline["peak_s"]], t, scaled)
        checks.append(("peak_s", info["PeakTime"] if seen - named > 1e-9 else emberline["peak_s"], 1e-6))
    for name, value, within in checks:
        if abs(value - emberline[name]) > within:
            yield f"{name}: {value} from python-control, {emberline[name]} from emberline"
