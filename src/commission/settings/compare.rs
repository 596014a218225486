//! Two sets of settings side by side.

use super::parts::IDENTITY;
use super::{Content, Entry, Section, Settings, apart, busy_words};

/// A value that is not the same in both.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// The section's name.
    pub section: String,
    /// The value's name.
    pub name: String,
    /// Whether it is a setting; else a fact, which nothing here writes.
    pub setting: bool,
    /// Its text as found.
    pub as_found: String,
    /// Its text as left.
    pub as_left: String,
}

/// What a comparison shows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Comparison {
    /// What differs.
    pub differences: Vec<Difference>,
    /// How many values are the same.
    pub equal: usize,
    /// Sections that are not known whole on one side at least, so that what is not there was not compared.
    pub not_compared: Vec<String>,
}

/// What stands where there is no value.
fn without(section: Option<&Section>) -> String {
    match section.map(|s| &s.content) {
        Some(Content::Refused(64)) => "not in this device".into(),
        Some(Content::Refused(code)) => format!("refused, code {code}"),
        Some(Content::Unread(code)) => format!("not read, {}", busy_words(*code)),
        Some(Content::CutShort(_)) => "not read, answer cut short".into(),
        Some(Content::Values(_)) | None => "-".into(),
    }
}

/// Compares what was found with what was left, value by value.
pub fn compare(found: &Settings, left: &Settings) -> Comparison {
    let mut out = Comparison::default();
    for a in &found.sections {
        let b = left.section(a.part, a.number);
        for x in a.entries() {
            match b.and_then(|b| b.entry(&x.name).map(|y| (b, y))) {
                Some((_, y)) if x.same(y) => out.equal += 1,
                Some((b, y)) => {
                    let texts = apart((a, x, found.revision), (b, y, left.revision));
                    out.add(a, x, texts);
                }
                None => out.add(a, x, (a.text(x, found.revision), without(b))),
            }
        }
        // What one has and the other has not.
        for y in b.map_or(&[][..], Section::entries).iter().filter(|y| a.entry(&y.name).is_none()) {
            if let Some(b) = b {
                out.add(b, y, (without(Some(a)), b.text(y, left.revision)));
            }
        }
    }
    for b in left.sections.iter().filter(|b| found.section(b.part, b.number).is_none()) {
        for y in b.entries() {
            out.add(b, y, (without(None), b.text(y, left.revision)));
        }
    }
    for section in found.not_whole().chain(left.not_whole()) {
        if !out.not_compared.contains(&section.name()) {
            out.not_compared.push(section.name());
        }
    }
    out
}

impl Comparison {
    fn add(&mut self, section: &Section, entry: &Entry, (as_found, as_left): (String, String)) {
        self.differences.push(Difference {
            section: section.name(),
            name: entry.name.clone(),
            setting: section.part.is_setting(&entry.name),
            as_found,
            as_left,
        });
    }
}

/// In what the devices of two sets are of different kinds: type, device revision, universal revision.
/// Settings of one mean nothing certain to the other [HO-06].
pub fn other_type(a: &Settings, b: &Settings) -> Vec<Difference> {
    let kinds = [
        "manufacturer",
        "manufacturer_id",
        "device_type",
        "expanded_device_type",
        "universal_revision",
        "device_revision",
    ];
    differing_identity(a, b, &kinds)
}

/// Whether they are of two devices.
pub fn other_device(a: &Settings, b: &Settings) -> Option<Difference> {
    differing_identity(a, b, &["device_id"]).pop()
}

fn differing_identity(a: &Settings, b: &Settings, names: &[&str]) -> Vec<Difference> {
    let all = compare(a, b).differences;
    all.into_iter().filter(|d| d.section == IDENTITY && names.contains(&d.name.as_str())).collect()
}
