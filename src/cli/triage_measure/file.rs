//! A file of scenes: one a line, as JSON, so that likelihoods can be judged without computing the valves again.

use super::scene::Seen;
use crate::cli::output::Failure;
use serde_json::Value as Json;

/// A line of it, with an error that names the field.
fn one(line: &str) -> Result<Seen, serde_json::Error> {
    let value: Json = serde_json::from_str(line)?;
    match value.get("both") {
        Some(_) => serde_json::from_value(value).map(Seen::Two),
        None => serde_json::from_value(value).map(Seen::One),
    }
}

/// As JSON lines.
pub fn written(seen: &[Seen]) -> String {
    let lines = seen.iter().filter_map(|s| serde_json::to_string(s).ok());
    lines.map(|line| line + "\n").collect()
}

/// Reads them again; `name` is that of the file.
///
/// # Errors
/// A line is no scene: which, and what is wrong with it. There is none at all.
pub fn read(text: &str, name: &str) -> Result<Vec<Seen>, Failure> {
    let failed = |wrong: String| {
        let next = "give a file that `looprig triage --measure --scenes FILE` has written";
        Failure::new(format!("reading scenes from {name}"), wrong, next)
    };
    if text.trim().is_empty() {
        return Err(failed("no scene is in it".to_owned()));
    }
    let lines = text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty());
    let each = lines.map(|(i, line)| one(line).map_err(|e| (i, e)));
    each.map(|one| one.map_err(|(i, e)| failed(format!("line {}: this is no scene: {e}", i + 1)))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is wrong is told with its line and its field.
    #[test]
    fn lines_that_are_no_scenes() {
        let wrong = |text: &str| read(text, "kept.jsonl").expect_err("it is wrong").to_string();
        for (text, says) in [
            ("{\"valve\": 1}", ["line 1", "missing field"]),
            ("\n{\"both\": 3}", ["line 2", "invalid type"]),
            ("no scene", ["line 1", "expected"]),
            ("\n \n", ["no scene is in it", "--scenes"]),
            ("", ["no scene is in it", "--scenes"]),
        ] {
            let told = wrong(text);
            assert!(told.contains("kept.jsonl") && says.iter().all(|s| told.contains(s)), "{told}");
        }
    }
}
