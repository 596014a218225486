//! Protocol faults of mocks: putting them in, listing them, saying that a device has some.

use super::mock::misread;
use super::output::{Failure, Output};
use crate::bench::{BenchPlan, DevicePlan, add_protocol_fault};
use crate::device::{Consequences, ProtocolFault};
use crate::report::Format;
use crate::report::table::Table;
use core::fmt::Write;
use std::path::Path;

/// Reads a bench file and puts these faults in, each as `NAME` or `NAME@TAG`.
///
/// # Errors
/// The file makes no sense, or a fault cannot be put in.
pub fn read(path: &Path, faults: &[String]) -> Result<BenchPlan, Failure> {
    let mut plan = crate::bench::read(path).map_err(|e| misread(&e))?;
    for fault in faults {
        put(&mut plan, fault)?;
    }
    Ok(plan)
}

/// What a device is called: its tag, else its polling address.
fn name(device: &DevicePlan) -> String {
    let stored = &device.config.factory;
    match stored.tag.trim_end() {
        "" => format!("device at {}", stored.polling_address),
        tag => tag.to_owned(),
    }
}

/// Puts a fault into the device of a tag or a polling address, or into every device that can have it.
fn put(plan: &mut BenchPlan, wanted: &str) -> Result<(), Failure> {
    let failed = |(wrong, right): (String, String)| {
        Failure::new(format!("putting in the fault {wanted}"), wrong, right)
    };
    let (fault, tag) = match wanted.split_once('@') {
        Some((fault, tag)) => (fault, Some(tag)),
        None => (wanted, None),
    };
    let is_meant = |d: &DevicePlan| {
        let stored = &d.config.factory;
        tag.is_none_or(|tag| {
            stored.polling_address.to_string() == tag
                || !tag.is_empty() && stored.tag.trim_end() == tag.to_uppercase()
        })
    };
    let names: Vec<String> = plan.devices.iter().map(name).collect();
    let mut meant: Vec<&mut DevicePlan> = plan.devices.iter_mut().filter(|d| is_meant(d)).collect();
    if meant.is_empty() {
        let right = format!("the devices here are {}", names.join(", "));
        return Err(failed((format!("no device of this bench is called \"{}\"", tag.unwrap_or("")), right)));
    }
    let mut refused = None;
    let mut done = 0;
    for device in &mut meant {
        let config = &mut device.config;
        let (kind, revision) = (config.kind.name(), config.identity.revision);
        match add_protocol_fault(&mut config.faults, fault, kind, revision) {
            Ok(()) => done += 1,
            Err(why) => refused = Some(why),
        }
    }
    match refused {
        Some(why) if done == 0 => Err(failed(why)),
        _ => Ok(()),
    }
}

/// What is deliberately wrong with the devices of a bench, a line each.
pub fn told(plan: &BenchPlan) -> Vec<String> {
    let of = |d: &DevicePlan| {
        let name = name(d);
        let told = |f: &&'static ProtocolFault| {
            format!("{name} is deliberately faulty, {}: {} [{}]", f.name(), f.does(), f.violates())
        };
        d.config.faults.iter().map(told).collect::<Vec<_>>()
    };
    plan.devices.iter().flat_map(of).collect()
}

fn also(fault: &ProtocolFault) -> String {
    match fault.consequences() {
        Consequences::Everything => "whatever is read".to_owned(),
        Consequences::These(ids) => others(ids, fault).join(" "),
        Consequences::NoAnswer(ids) => {
            let no_answer = ["no answer".to_owned()].into_iter();
            no_answer.chain(others(ids, fault)).collect::<Vec<_>>().join(" ")
        }
    }
}

fn others(ids: &[&str], fault: &ProtocolFault) -> Vec<String> {
    ids.iter().filter(|id| **id != fault.violates()).map(|id| (*id).to_owned()).collect()
}

fn devices(fault: &ProtocolFault) -> String {
    let kind = fault.kind().map_or(String::new(), |k| format!(", {}", k.words()));
    format!("{}{kind}", fault.revisions())
}

/// Lists the faults: as text the page of the protocol notes.
pub fn list(out: &mut Output) {
    if out.options.format == Format::Text {
        page(out.text());
        return;
    }
    let mut table =
        Table::new("Protocol faults", &["about", "name", "does", "violates", "consequences", "devices"]);
    for section in ProtocolFault::sections() {
        for f in section.faults {
            let (also, devices) = (also(f), devices(f));
            table.row([section.about, f.name(), f.does(), f.violates(), &also, &devices]);
        }
    }
    table.write(out.options.format, out.text());
}

/// The page as Markdown.
fn page(out: &mut String) {
    let cited = |ids: &str| ids.split(' ').map(|id| format!("[{id}]")).collect::<Vec<_>>().join(" ");
    let _ = write!(
        out,
        "# Faults of the protocol that a mock can have\n\n\
         Made by `looprig mock --protocol-faults`; a test keeps it equal to the rows in `src/device/faults/`. \
         {} faults: `looprig mock --fault NAME` or\n`NAME@TAG`, or `protocol_faults = [\"NAME\"]` of a device in a \
         bench file. They are nothing that a device should do.\n\n\
         Each names the requirement that it violates and what else a check may stumble over. What it violates was \
         written before a check was run on it.\nThose of the last two sections were made when checks had been run on \
         the others, to tell apart what those did not. What else may show was put\nright after runs, where they \
         showed that something was forgotten that follows from the fault (such as [TB-18] of slow bursts), or that too \
         much stood there.\n\"No answer\" stands where answers are not heard as answers: any check may miss \
         one then, and nothing else follows. \"Whatever is read\" stands where all\nof an answer is in the wrong \
         place.\nWhere a requirement is graded R, or is our own decision, a \
         device that departs from it does not break a published rule.\n",
        ProtocolFault::all().count()
    );
    for section in ProtocolFault::sections() {
        let _ = write!(
            out,
            "\n## {}\n\n| name | what the device does wrong | violates | may show in | revisions |\n|---|---|---|---|---|\n",
            section.about
        );
        for f in section.faults {
            let also = match f.consequences() {
                Consequences::These(ids) if others(ids, f).is_empty() => "-".to_owned(),
                Consequences::These(_) => cited(&also(f)),
                Consequences::NoAnswer(ids) => match others(ids, f) {
                    none if none.is_empty() => "no answer".to_owned(),
                    some => format!("no answer; {}", cited(&some.join(" "))),
                },
                Consequences::Everything => also(f),
            };
            let _ = writeln!(
                out,
                "| {} | {} | {} | {also} | {} |",
                f.name(),
                f.does(),
                cited(f.violates()),
                devices(f)
            );
        }
    }
}
