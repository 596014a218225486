//! Prints which layout of which command is shown by whose data: `protocol-notes/coverage.md`. The data are
//! the fixtures, which are no part of the library, so this is no subcommand.

#[path = "../tests/support/coverage.rs"]
mod coverage;
#[path = "../tests/support/exchanges.rs"]
mod exchanges;
#[path = "../tests/support/mod.rs"]
mod support;
#[path = "../tests/support/vectors.rs"]
mod vectors;

fn main() {
    let lines = coverage::coverage(&support::fixtures(), &vectors::rows(), &exchanges::by_hand());
    print!("{}", coverage::page(&lines));
}
