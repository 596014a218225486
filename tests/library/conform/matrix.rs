//! The suite on known faults: each fault is found, each fail is explained by its fault, each case can fail, and the page
//! of the notes says so.

use looprig::cli::fault_matrix::{Extent, FaultMatrix, Reasons, Row, Specimen, write};
use looprig::conform::all;
use looprig::device::ProtocolFault;
use looprig::report::Format;
use std::collections::{BTreeMap, BTreeSet};

/// Every one of these many faults is in the sample. The whole is run where the environment variable LOOPRIG_MATRIX is
/// `whole`: less than a minute where looprig is built for release, many without.
const ONE_OF: usize = 8;

fn is_whole() -> bool {
    std::env::var("LOOPRIG_MATRIX").is_ok_and(|v| v == "whole")
}

/// Some of each subject, the same in every run.
fn faults() -> Vec<&'static ProtocolFault> {
    let every = if is_whole() { 1 } else { ONE_OF };
    let of_section = ProtocolFault::sections().iter().flat_map(|s| s.faults.iter().step_by(every));
    of_section.collect()
}

fn matrix(faults: &[&'static ProtocolFault], extent: Extent) -> FaultMatrix {
    let devices = Specimen::own().unwrap_or_else(|e| panic!("{e:?}"));
    FaultMatrix::run(devices, all(), faults, extent, &|_, _| {})
}

/// `protocol-notes/fault-matrix.md`.
fn page() -> String {
    let path = format!("{}/protocol-notes/fault-matrix.md", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// Of each fault of the page what it violates, and the cases that fail on it.
fn rows(page: &str) -> BTreeMap<&str, (&str, BTreeSet<&str>)> {
    let cells = |line| -> Vec<&str> { str::split(line, '|').map(str::trim).collect() };
    let rows = page.lines().map(cells).filter(|c| c.len() == 5 && c[2].starts_with('['));
    rows.map(|c| (c[1], (c[2].trim_matches(['[', ']']), c[3].split(", ").collect()))).collect()
}

fn shown(row: &Row) -> BTreeSet<&'static str> {
    row.fails.iter().filter(|f| row.shows(f)).map(|f| f.case.id).collect()
}

#[test]
fn faults_are_found_and_explain_what_fails() {
    let faults = faults();
    let extent = if is_whole() { Extent::Every } else { Extent::First };
    let m = matrix(&faults, extent);
    let reasons = Reasons::of_the_notes().expect("the file of reasons");
    assert_eq!(m.rows.len(), faults.len());
    let wrong = m.complaints(&reasons);
    assert!(wrong.is_empty(), "{}:\n{}", wrong.len(), wrong.join("\n"));
    let page = page();
    if is_whole() {
        let mut made = String::new();
        write(&m, &reasons, Format::Text, &mut made);
        let line = made.lines().zip(page.lines()).position(|(a, b)| a != b);
        let again = "make protocol-notes/fault-matrix.md again with `looprig conform --matrix`";
        assert_eq!(made, page, "it differs from line {line:?} on, counted from 0: {again}");
        return;
    }
    let kept = rows(&page);
    for row in &m.rows {
        let name = row.fault.name();
        let (violates, cases) = kept.get(name).unwrap_or_else(|| panic!("{name} is not on the page"));
        assert_eq!(*violates, row.fault.violates(), "{name}");
        // The page is of all devices.
        let more: Vec<&str> = shown(row).into_iter().filter(|id| !cases.contains(id)).collect();
        assert!(more.is_empty(), "{name} fails more cases than the page says: {more:?}");
    }
}

/// The page has every fault that there is, in their order, and no other; and it says what each violates.
#[test]
fn the_page_has_every_fault() {
    let page = page();
    let rows = rows(&page);
    let kept: BTreeMap<&str, &str> = rows.iter().map(|(name, (violates, _))| (*name, *violates)).collect();
    let all: BTreeMap<&str, &str> = ProtocolFault::all().map(|f| (f.name(), f.violates())).collect();
    assert_eq!(kept, all);
}

/// A reason is for something that is there.
#[test]
fn reasons_are_about_faults_and_cases() {
    let reasons = Reasons::of_the_notes().expect("the file of reasons");
    let is_case = |id: &str| all().iter().any(|c| c.id == id);
    for r in &reasons.same {
        assert!(r.cases.len() > 1 && r.cases.iter().all(|id| is_case(id)), "{r:?}");
    }
    assert!(reasons.unproven.iter().all(|r| is_case(&r.name)), "{:?}", reasons.unproven);
    assert!(reasons.unfound.iter().all(|r| ProtocolFault::named(&r.name).is_some()), "{:?}", reasons.unfound);
    // Where one is found after all, its reason is told as one too many.
    let page = page();
    for name in reasons.unproven.iter().chain(&reasons.unfound).map(|r| &r.name) {
        assert!(page.contains(&format!("- {name} [")), "{name} needs no reason any more");
    }
    for r in &reasons.same {
        assert!(page.contains(&format!(": {}\n", r.reason)), "{:?} need no reason any more", r.cases);
    }
}

/// A case that is put on the wrong requirement is told, and so are a case that nothing fails and cases that are alike.
#[test]
fn what_is_wrong_is_told() {
    use looprig::conform::{Case, Outcome, Probe, expect};
    use looprig::frame::Master;
    fn names_the_primary(p: &mut Probe<'_>) -> Outcome {
        let reply = p.ask_as(Master::Primary, 0, &[])?;
        expect(reply.master() == Master::Primary, "the primary master in its answer", "the secondary")
    }
    fn passes(_: &mut Probe<'_>) -> Outcome {
        Ok(())
    }
    let fault = ProtocolFault::named("master_bit_never_set").expect("a fault");
    let cases = vec![
        Case::advice("own/wrong", "TY-04", "it cites what has nothing to do with it", names_the_primary),
        Case::advice("own/right", "FR-16", "it cites what the fault violates", names_the_primary),
        Case::advice("own/never", "LL-09", "it never fails", passes),
    ];
    let mut devices = Specimen::own().unwrap_or_else(|e| panic!("{e:?}"));
    devices.truncate(1);
    let m = FaultMatrix::run(devices, cases, &[fault], Extent::Every, &|_, _| {});
    let unexplained: Vec<&str> = m.rows[0].unexplained().map(|f| f.case.id).collect();
    assert_eq!(unexplained, ["own/wrong"]);
    let told = m.complaints(&Reasons::default());
    assert!(told.len() == 1 && told[0].contains("does not explain own/wrong [TY-04]"), "{told:?}");
    // All cases were not run, and not all faults: more is not said of them.
    assert!(m.healthy.is_empty() && !m.is_whole);
    assert_eq!(m.unproven().map(|c| c.id).collect::<Vec<_>>(), ["own/never"]);
    assert_eq!(m.same(), [(vec!["own/wrong", "own/right"], vec!["master_bit_never_set"])]);
}
