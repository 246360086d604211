//! Memory this process uses.

use std::fs;

/// Memory in use now (proc_pid_status(5), VmRSS), in MB; elsewhere than on Linux nothing is told.
pub(crate) fn resident_mb() -> Option<f64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    let kb: f64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kb * 1024.0 / 1e6)
}
