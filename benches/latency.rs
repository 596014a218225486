//! How long a mock at wire pace takes to answer over a pseudo-terminal: from the last octet of a
//! request to the first of its reply, as a host sees it that opens the terminal like any other program.
//!
//! Run with `cargo bench --bench latency`; `-- 200` asks for so many exchanges (default 40). The host is
//! a plain file with a clock: none of our own stamps are trusted. A request goes out octet by octet at
//! wire pace, as a UART would send it.
//!
//! An octet's time is its end. So the first octet of a reply cannot be there sooner than the response
//! delay and one character (9.17 ms) after the request: that sum is the nearest to compare with.

#[cfg(unix)]
#[path = "latency/measure.rs"]
mod measure;

fn main() {
    #[cfg(unix)]
    measure::run();
    #[cfg(not(unix))]
    println!("pseudo-terminals are Unix only: nothing to measure");
}
