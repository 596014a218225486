//! How many files this process may have open.

/// Lets this process have as many open files as the system allows it, where it has been given fewer to begin with: a fleet
/// has several for each port. Gives how many that are; `None` where there is no such limit, or nobody says which.
pub(crate) fn allow_many() -> Option<u64> {
    #[cfg(unix)]
    {
        let mut limit = libc::rlimit { rlim_cur: 0, rlim_max: 0 };
        // SAFETY: the limit is a structure of our own, which the call uses only while it runs.
        if unsafe { libc::getrlimit(libc::RLIMIT_NOFILE, &raw mut limit) } != 0 {
            return None;
        }
        if limit.rlim_cur < limit.rlim_max {
            let most = libc::rlimit { rlim_cur: limit.rlim_max, ..limit };
            // SAFETY: as above.
            if unsafe { libc::setrlimit(libc::RLIMIT_NOFILE, &raw const most) } == 0 {
                limit = most;
            }
        }
        #[allow(clippy::unnecessary_cast, clippy::useless_conversion, reason = "not 64 bits everywhere")]
        Some(u64::from(limit.rlim_cur)).filter(|_| limit.rlim_cur != libc::RLIM_INFINITY)
    }
    #[cfg(not(unix))]
    None
}
