//! How many files this process may have open.

/// Lets this process have as many open files as the system allows it, where it has been given fewer to begin with: a fleet
/// has several for each port. What the system refuses stays as it is; whoever opens too many is told then.
pub(crate) fn allow_many() {
    #[cfg(unix)]
    {
        let mut limit = libc::rlimit { rlim_cur: 0, rlim_max: 0 };
        // SAFETY: the limit is a structure of our own, which both calls use only while they run.
        unsafe {
            if libc::getrlimit(libc::RLIMIT_NOFILE, &raw mut limit) == 0 && limit.rlim_cur < limit.rlim_max {
                limit.rlim_cur = limit.rlim_max;
                libc::setrlimit(libc::RLIMIT_NOFILE, &raw const limit);
            }
        }
    }
}
