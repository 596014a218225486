//! Prints which layout of which command is shown by whose data: `protocol-notes/coverage.md`. The data are
//! the fixtures, which are no part of the library, so this is no subcommand.

#[path = "../tests/support/mod.rs"]
mod support;

use support::{coverage, exchanges, fixtures, vectors};

fn main() {
    let lines = coverage::coverage(&fixtures(), &vectors::rows(), &exchanges::by_hand());
    print!("{}", coverage::page(&lines));
}
