//! Whether all that stands in a report is of one valve [TV-101], and of one job [TV-134].

use super::dates::wrong_order;
use super::findings::{Finding, fault, look};
use super::words::clean;
use super::{Beside, OtherCheck};
use crate::commission::settings::Settings;
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

/// Settings and a wiring sheet that are of another valve than the tests [TV-154].
pub fn beside(records: &[&Record], beside: &Beside) -> Vec<Finding> {
    let settings = beside.settings.and_then(|(settings, from)| of_settings(records, settings, from));
    let wiring = beside.wiring.and_then(|(report, sheet)| {
        let devices: Vec<String> = report.circuit.devices.iter().map(|d| clean(d.tag.trim())).collect();
        of_sheet(records, &devices, sheet)
    });
    settings.into_iter().chain(wiring).collect()
}

/// The names that a record has for its valve.
fn names(record: &Record) -> impl Iterator<Item = String> {
    let all = [&record.valve.tag, &record.device.tag, &record.device.long_tag];
    all.into_iter().map(|n| clean(n.trim())).filter(|n| !n.is_empty())
}

fn of_settings(records: &[&Record], settings: &Settings, from: &str) -> Option<Finding> {
    let from = clean(from);
    let [short, long] = [("tag", "tag"), ("long_tag", "long_tag")].map(|(h, n)| settings.told(h, n));
    let [short, long] = [short, long].map(|n| clean(n.trim()));
    let theirs = Who {
        tag: if short.is_empty() { long.clone() } else { short.clone() },
        address: settings.unique_address(),
    };
    let is_other = |r: &&&Record| differ(&theirs.address, r.device.unique_address.trim());
    // Like is compared with like: a short tag with short ones, where both have one.
    let is_renamed = |r: &&&Record| {
        let short_differs = differ(&short, r.device.tag.trim());
        let long_differs = differ(&long, r.device.long_tag.trim());
        let is_named_so = r.valve.tag.trim() == short && !short.is_empty();
        !is_named_so
            && (short_differs || (short.is_empty() || r.device.tag.trim().is_empty()) && long_differs)
    };
    let said = |r: &Record| {
        format!("the settings in {from} are of {}, and the test is of {}", theirs.words(), Who::of(r).words())
    };
    if let Some(r) = records.iter().find(is_other) {
        return Some(fault(format!(
            "Settings of another device: {}. They say nothing of this valve.",
            said(r)
        )));
    }
    records.iter().find(is_renamed).map(|r| {
        if !theirs.address.is_empty() && theirs.address == r.device.unique_address.trim() {
            return look(format!(
                "Settings of the same device with another tag: {}. That is right only if it was named anew between.",
                said(r)
            ));
        }
        fault(format!("Settings of another device: {}. They say nothing of this valve.", said(r)))
    })
}

fn of_sheet(records: &[&Record], devices: &[String], sheet: &str) -> Option<Finding> {
    let is_there = |name: &String| devices.iter().any(|d| d.eq_ignore_ascii_case(name));
    let is_other = |r: &&&Record| names(r).next().is_some() && !names(r).any(|n| is_there(&n));
    let other = records.iter().find(is_other)?;
    let known: Vec<&str> = devices.iter().map(String::as_str).filter(|d| !d.is_empty()).collect();
    (!known.is_empty()).then(|| {
        fault(format!(
            "A wiring sheet of another loop: the devices in {} are {}, and the test is of {}. Its verdict says nothing of this loop.",
            clean(sheet),
            known.join(", "),
            Who::of(other).words()
        ))
    })
}
