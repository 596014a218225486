//! What was found in a trace: numbers with names, units and words.

use super::super::Format;
use super::super::csv::write_text;
use super::super::text::write_wrapped;
use crate::exchange::json::write_string;
use core::fmt::Write;

/// One number that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Its name for programs: lower case, words joined by `_`, the unit last, such as `first_motion_s`.
    pub name: &'static str,
    /// Its name for people.
    pub words: &'static str,
    /// The number, in the unit; `None` where there is none, such as the time of something that never happened.
    pub value: Option<f64>,
    /// The unit as people write it; may be empty.
    pub unit: &'static str,
    /// Digits behind the point in text.
    pub digits: usize,
}

/// The numbers of one motion.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Findings {
    /// Which motion, a few words.
    pub title: String,
    /// The numbers, in the order in which they are shown.
    pub list: Vec<Finding>,
    /// What else is to be said, a sentence each.
    pub remarks: Vec<String>,
}

impl Findings {
    /// Findings of a motion, none yet.
    pub fn new(title: impl Into<String>) -> Findings {
        Findings { title: title.into(), ..Findings::default() }
    }

    /// Adds a number.
    pub fn add(
        &mut self,
        name: &'static str,
        words: &'static str,
        value: impl Into<Option<f64>>,
        unit: &'static str,
        digits: usize,
    ) {
        let value = value.into().filter(|v| v.is_finite());
        self.list.push(Finding { name, words, value, unit, digits });
    }

    /// Appends all of them: text as a table of words and numbers; JSON as one object a motion; CSV as one number a
    /// line under `motion,quantity,value`.
    pub fn write_all(all: &[Findings], format: Format, out: &mut String) {
        if format == Format::Csv {
            out.push_str("motion,quantity,value\n");
        }
        for (n, one) in all.iter().enumerate() {
            match format {
                Format::Text => {
                    if n > 0 {
                        out.push('\n');
                    }
                    one.write_as_text(out);
                }
                Format::Json => {
                    one.write_json(out);
                    out.push('\n');
                }
                Format::Csv => {
                    for finding in &one.list {
                        write_text(&one.title, out);
                        let _ = write!(out, ",{},", finding.name);
                        if let Some(value) = finding.value {
                            let _ = write!(out, "{value}");
                        }
                        out.push('\n');
                    }
                }
            }
        }
    }

    fn write_as_text(&self, out: &mut String) {
        write_wrapped(&self.title, 2, out);
        let widest = self.list.iter().map(|f| f.words.chars().count()).max().unwrap_or(0);
        for f in &self.list {
            let value = match f.value {
                Some(value) => {
                    let text = format!("{value:.*}", f.digits);
                    let is_nought = text.chars().all(|c| matches!(c, '-' | '0' | '.'));
                    if is_nought { text.trim_start_matches('-').to_owned() } else { text }
                }
                None => "-".to_owned(),
            };
            write_wrapped(&format!("  {:<widest$}{value:>12} {}", f.words, f.unit), 4, out);
        }
        for remark in &self.remarks {
            write_wrapped(&format!("  {remark}"), 4, out);
        }
    }

    /// Appends one object: `motion`, every number by its name or null, `remarks`.
    fn write_json(&self, out: &mut String) {
        out.push_str("{\"motion\":");
        write_string(&self.title, out);
        for f in &self.list {
            let _ = match f.value {
                Some(value) => write!(out, ",\"{}\":{value}", f.name),
                None => write!(out, ",\"{}\":null", f.name),
            };
        }
        out.push_str(",\"remarks\":[");
        for (n, remark) in self.remarks.iter().enumerate() {
            if n > 0 {
                out.push(',');
            }
            write_string(remark, out);
        }
        out.push_str("]}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found() -> Findings {
        let mut found = Findings::new("opening, 0 to 100 %");
        found.add("first_motion_s", "first motion after", 0.1068, "s", 3);
        found.add("overshoot_percent", "overshoot", -0.000_01, "%", 2);
        found.add("end_stop_s", "end stop after", None, "s", 3);
        found.remarks.push("It does not reach \"open\".".to_owned());
        found
    }

    #[test]
    fn in_every_format() {
        let written = |format| {
            let mut out = String::new();
            Findings::write_all(&[found()], format, &mut out);
            out
        };
        assert_eq!(
            written(Format::Text),
            "opening, 0 to 100 %\n  first motion after       0.107 s\n  overshoot                 0.00 %\n  \
             end stop after               - s\n  It does not reach \"open\".\n"
        );
        let json: serde_json::Value = serde_json::from_str(written(Format::Json).trim()).unwrap();
        assert_eq!(json["first_motion_s"], 0.1068);
        assert_eq!(json["end_stop_s"], serde_json::Value::Null);
        assert_eq!(json["remarks"][0], "It does not reach \"open\".");
        assert_eq!(
            written(Format::Csv),
            "motion,quantity,value\n\"opening, 0 to 100 %\",first_motion_s,0.1068\n\"opening, 0 to 100 \
             %\",overshoot_percent,-0.00001\n\"opening, 0 to 100 %\",end_stop_s,\n"
        );
    }
}
