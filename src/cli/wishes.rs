//! What the user asks of a running command by signals: to end, or to tell how it stands.

use super::open_line::Interrupt;
use super::output::Failure;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

#[derive(Debug, Default)]
struct Flags {
    end: AtomicBool,
    statistics: AtomicBool,
}

/// Hears Ctrl-C, SIGTERM and SIGHUP, and, on Unix, SIGUSR1. Each wakes the line's wait; what was
/// asked is then to be had here, so that none of them hides another.
#[derive(Debug)]
pub struct Wishes(Arc<Flags>);

/// Makes every thread that is started from now on leave SIGUSR1 to [`Wishes::hear`]; without it the
/// signal would end the program. A file that may not grow any more is an error of its own, not an end.
pub fn hold_back_signals() {
    #[cfg(unix)]
    // SAFETY: the set is made by sigemptyset before it is read, and nothing else is touched.
    unsafe {
        let mut set = core::mem::zeroed();
        libc::sigemptyset(&mut set);
        libc::sigaddset(&mut set, libc::SIGUSR1);
        libc::sigaddset(&mut set, libc::SIGXFSZ);
        libc::pthread_sigmask(libc::SIG_BLOCK, &set, core::ptr::null_mut());
    }
}

impl Wishes {
    /// Of somebody who interrupts the line's wait only to end it, and hears no signals.
    pub fn only_to_end() -> Wishes {
        Wishes(Arc::new(Flags { end: AtomicBool::new(true), ..Flags::default() }))
    }

    /// Begins to hear; `hold_back_signals` must have been called before the line was opened.
    ///
    /// # Errors
    /// The system takes no handler.
    pub fn hear(handle: Interrupt) -> Result<Wishes, Failure> {
        let flags = Arc::new(Flags::default());
        let (to, woken) = (Arc::clone(&flags), handle.clone());
        ctrlc::set_handler(move || {
            to.end.store(true, Ordering::SeqCst);
            woken.interrupt();
        })
        .map_err(|e| Failure::new("getting ready for Ctrl-C", e.to_string(), ""))?;
        #[cfg(unix)]
        {
            let to = Arc::clone(&flags);
            std::thread::Builder::new()
                .name("looprig-signals".to_owned())
                .spawn(move || {
                    while wait_for_usr1() {
                        to.statistics.store(true, Ordering::SeqCst);
                        handle.interrupt();
                    }
                })
                .map_err(|e| Failure::new("getting ready for SIGUSR1", e.to_string(), ""))?;
        }
        Ok(Wishes(flags))
    }

    /// Whether the command is to end.
    pub fn end(&self) -> bool {
        self.0.end.load(Ordering::SeqCst)
    }

    /// Whether statistics were asked for since the last time.
    pub fn take_statistics(&self) -> bool {
        self.0.statistics.swap(false, Ordering::SeqCst)
    }
}

/// Blocks until the signal comes; false when the system does not let us wait.
#[cfg(unix)]
fn wait_for_usr1() -> bool {
    // SAFETY: the set is made by sigemptyset before it is read, and `got` is written by the call.
    unsafe {
        let mut set = core::mem::zeroed();
        let mut got = 0;
        libc::sigemptyset(&mut set);
        libc::sigaddset(&mut set, libc::SIGUSR1);
        libc::sigwait(&set, &mut got) == 0
    }
}
