//! The `looprig` command.

fn main() {}
