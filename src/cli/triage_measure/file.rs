//! A file of scenes: one a line, as JSON, so that likelihoods can be judged without computing the valves again.

use super::scene::Seen;
use crate::cli::output::Failure;

/// As JSON lines.
pub fn written(seen: &[Seen]) -> String {
    let lines = seen.iter().filter_map(|s| serde_json::to_string(s).ok());
    lines.map(|line| line + "\n").collect()
}

/// Reads them again; `name` is that of the file.
///
/// # Errors
/// A line is no scene: which, and what is wrong with it.
pub fn read(text: &str, name: &str) -> Result<Vec<Seen>, Failure> {
    let lines = text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty());
    lines
        .map(|(i, line)| {
            serde_json::from_str(line).map_err(|e| {
                Failure::new(
                    format!("reading scenes from {name}"),
                    format!("line {}: this is no scene: {e}", i + 1),
                    "give a file that `looprig triage --measure --scenes FILE` has written",
                )
            })
        })
        .collect()
}
