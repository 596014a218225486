//! The suite on known faults: each fault is found, each fail is explained by its fault, and most cases can fail.

use looprig::cli::fault_matrix::{Extent, FaultMatrix, Reasons, Specimen};
use looprig::conform::all;
use looprig::device::ProtocolFault;

/// Every one of these many faults is in the sample. The whole is run where the environment variable LOOPRIG_MATRIX is
/// `whole`: it takes minutes.
const ONE_OF: usize = 8;

fn is_whole() -> bool {
    std::env::var("LOOPRIG_MATRIX").is_ok_and(|v| v == "whole")
}

/// Whether there are cases of every part: until then it is no wonder that nothing finds some faults.
fn is_complete() -> bool {
    let has = |part: &&str| all().iter().any(|c| c.id.starts_with(*part));
    ["universal/", "status/", "common/", "burst/", "delayed/", "lock/"].iter().all(has)
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

#[test]
fn faults_are_found_and_explain_what_fails() {
    let faults = faults();
    let extent = if is_whole() { Extent::Every } else { Extent::First };
    let m = matrix(&faults, extent);
    let reasons = Reasons::of_the_notes().expect("the file of reasons");
    assert!(m.healthy.is_empty(), "{:#?}", m.healthy);
    assert_eq!(m.rows.len(), faults.len());
    let mut wrong = Vec::new();
    for row in &m.rows {
        let name = row.fault.name();
        wrong.extend(row.unexplained().map(|f| {
            format!(
                "{name} [{}]: {} [{}]: {} / {}",
                row.fault.violates(),
                f.case.id,
                f.case.requirement,
                f.expected,
                f.observed
            )
        }));
        // A device that takes nothing back is no fault of the bench.
        let spoilt = row.spoilt.iter().filter(|s| !s.2.starts_with("not put back"));
        wrong.extend(spoilt.map(|s| format!("{name}: {s:?}")));
        if is_complete() && !row.is_found() && reasons.unfound(name).is_none() {
            wrong.push(format!("{name} is found by no case"));
        }
    }
    if is_whole() {
        let unproven = m.unproven().filter(|c| reasons.unproven(c.id).is_none());
        wrong.extend(unproven.map(|c| format!("{} fails on no fault", c.id)));
        let same = m.same().into_iter().filter(|(cases, _)| reasons.same(cases).is_none());
        wrong.extend(same.map(|(cases, faults)| format!("{cases:?} fail on the same faults {faults:?}")));
    }
    assert!(wrong.is_empty(), "{}:\n{}", wrong.len(), wrong.join("\n"));
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
    assert!(!m.passed() && m.healthy.is_empty());
    assert_eq!(m.unproven().map(|c| c.id).collect::<Vec<_>>(), ["own/never"]);
    assert_eq!(m.same(), [(vec!["own/wrong", "own/right"], vec!["master_bit_never_set"])]);
}
