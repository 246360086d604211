//! What the system lets the program have.

/// Lets it have as many files open as may be: a recording keeps three for each loop, a line one, and
/// many systems stop a program at 1,024 that does not ask for more.
#[cfg(unix)]
pub(super) fn ask_for_many_files() {
    use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
    let Rlimit { maximum, .. } = getrlimit(Resource::Nofile);
    let all = Rlimit {
        current: maximum,
        maximum,
    };
    // Some systems allow less than they say. It is tried for many loops, and needed for few.
    let _ = setrlimit(Resource::Nofile, all);
}

/// There is no such limit.
#[cfg(not(unix))]
pub(super) fn ask_for_many_files() {}
