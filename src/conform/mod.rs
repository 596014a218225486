//! How others behave on the line, held against the notes.

pub mod host_check;
