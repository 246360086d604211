//! Processor time, where the system tells it.

use std::fs;
use std::time::Duration;

/// Processor time of all threads of this process so far, those that ended too; `None` where there is
/// no Linux (proc_pid_stat(5), fields 14 and 15, in hundredths of a second).
pub(crate) fn time_so_far() -> Option<Duration> {
    let stat = fs::read_to_string("/proc/self/stat").ok()?;
    // The second field is a name and may hold anything, also spaces and brackets.
    let (_, fields) = stat.rsplit_once(')')?;
    let mut fields = fields.split_whitespace().skip(11);
    let mut ticks = || fields.next()?.parse::<u64>().ok();
    Some(Duration::from_millis(10 * (ticks()? + ticks()?)))
}
