//! What another process has used.

use std::fs;
use std::process::Child;
use std::time::Duration;

/// What Linux tells of a process (proc_pid_stat(5), fields 14 and 15, in hundredths of a second;
/// proc_pid_status(5), VmHWM); elsewhere nothing is told.
pub(crate) struct Usage {
    pub(crate) user: Duration,
    pub(crate) system: Duration,
    pub(crate) most_mb: f64,
}

impl Usage {
    pub(crate) fn of(process: &Child) -> Option<Self> {
        let tell = |what: &str| fs::read_to_string(format!("/proc/{}/{what}", process.id())).ok();
        let (stat, status) = (tell("stat")?, tell("status")?);
        let (_, fields) = stat.rsplit_once(')')?;
        let mut fields = fields.split_whitespace().skip(11);
        let mut ticks = || {
            Some(Duration::from_millis(
                10 * fields.next()?.parse::<u64>().ok()?,
            ))
        };
        let most = status
            .lines()
            .find_map(|line| line.strip_prefix("VmHWM:"))?;
        let kb: f64 = most.trim().strip_suffix("kB")?.trim().parse().ok()?;
        Some(Self {
            user: ticks()?,
            system: ticks()?,
            most_mb: kb * 1024.0 / 1e6,
        })
    }
}
