//! Whether all that stands in a report is of one valve [TV-101], and of one job [TV-134].

use super::OtherCheck;
use super::dates::wrong_order;
use super::findings::{Finding, fault, look};
use super::words::clean;
use crate::commission::travel::record::{Occasion, Record};

/// Who a part of a report is of.
struct Who {
    tag: String,
    address: String,
}

impl Who {
    fn of(record: &Record) -> Who {
        let names = [&record.valve.tag, &record.device.tag, &record.device.long_tag];
        let tag = names.into_iter().map(|n| clean(n.trim())).find(|n| !n.is_empty());
        Who { tag: tag.unwrap_or_default(), address: clean(record.device.unique_address.trim()) }
    }

    fn of_check(check: &OtherCheck) -> Who {
        let address = check.about.iter().find(|(name, _)| name == "unique address");
        Who {
            tag: clean(check.tag.trim()),
            address: address.map_or(String::new(), |(_, words)| clean(words.trim())),
        }
    }

    fn words(&self) -> String {
        match (self.tag.as_str(), self.address.as_str()) {
            (tag, "") => tag.to_owned(),
            ("", address) => format!("a device without a tag (unique address {address})"),
            (tag, address) => format!("{tag} (unique address {address})"),
        }
    }
}

/// Whether two of what is known differ.
fn differ(a: &str, b: &str) -> bool {
    !a.is_empty() && !b.is_empty() && a != b
}

/// Two valves in one report are a fault of the report. The same tag with another device, or the same device with another tag, may be right, and is told.
pub fn valves(records: &[&Record], checks: &[OtherCheck]) -> Option<Finding> {
    let all: Vec<Who> = records.iter().map(|r| Who::of(r)).chain(checks.iter().map(Who::of_check)).collect();
    let pairs = || all.iter().enumerate().flat_map(|(n, a)| all[n + 1..].iter().map(move |b| (a, b)));
    let tags = |(a, b): &(&Who, &Who)| differ(&a.tag, &b.tag);
    let addresses = |(a, b): &(&Who, &Who)| differ(&a.address, &b.address);
    let is_known = |(a, b): &(&Who, &Who)| !a.address.is_empty() && a.address == b.address;
    let named = |(a, b): (&Who, &Who)| format!("{} and {}", a.words(), b.words());
    if let Some(two) = pairs().find(|p| tags(p) && !is_known(p)) {
        return Some(fault(format!(
            "This report is of two valves: {}. Make a report of each; nothing here compares them.",
            named(two)
        )));
    }
    if let Some(two) = pairs().find(addresses) {
        return Some(look(format!(
            "Different devices: {}. That is right only if the positioner was exchanged between.",
            named(two)
        )));
    }
    pairs().find(tags).map(|two| {
        look(format!(
            "The same device with different tags: {}. That is right only if it was named anew between.",
            named(two)
        ))
    })
}

/// A test as left that began before one as found, or a year after it, is a fault of the report.
pub fn order(records: &[&Record]) -> Option<Finding> {
    let of = |occasion| records.iter().filter(move |r| r.occasion == occasion);
    let mut pairs =
        of(Occasion::AsFound).flat_map(|f| of(Occasion::AsLeft).map(|l| (&f.started, &l.started)));
    let wrong = pairs.find_map(|(found, left)| wrong_order(&clean(found), &clean(left)))?;
    Some(fault(format!("As left {wrong}. Which test was the last one? Look at the records and the clock.")))
}
