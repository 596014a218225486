//! A bench with a host that says whatever a test has it say, and somebody who hears all of it.

use looprig::app::command::Catalogue;
use looprig::bench::{check, world};
use looprig::capture::Annotator;
use looprig::conform::host_check::{HostCheck, Judged, LineFacts, Place, Report};
use looprig::frame::{
    Address, Capabilities, Frame, Master as Role, Octet, PollingAddress, RawFrame, ReceiverConfig, StampUnit,
    Target, UniqueAddress,
};
use looprig::line::Delivery;
use looprig::sim::{Participant, World};
use looprig::time::{Instant, Pace};
use looprig::transaction::PairerConfig;
use std::path::Path;
use std::time::Duration;

/// What an observer of simulated wires can tell.
pub const EXACT: Capabilities = Capabilities {
    unit: StampUnit::Octets,
    stamp_error: Duration::ZERO,
    parity_seen: true,
    carrier_seen: true,
    echo: false,
};

/// One device of revision 7 at polling address 0 that wants 7 preambles, more than any must have.
pub const BENCH: &str = "
[[device]]
tag = \"FV-3104\"
preambles_request = 7
[[line]]
at = \"pty:\"
";

/// Longer than STO and the longest answer of these tests, 28 + 45 characters [LL-02], and than RT1 [LL-05].
pub const PATIENT_MS: u64 = 750;

pub struct Rig {
    world: World,
    host: usize,
    ear: usize,
    now: Instant,
    heard: Vec<Octet>,
    pub role: Role,
    pub device: UniqueAddress,
}

impl Rig {
    pub fn new(bench: &str) -> Rig {
        let plan = check(bench, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
        let (mut world, _) = world(&plan, &[], Duration::ZERO, Instant::ZERO);
        let (host, ear) = (world.add_observer(), world.add_observer());
        let device = world.bus().stations().find_map(Participant::device).expect("a device");
        let device = device.device().unique_address();
        let mut rig =
            Rig { world, host, ear, now: Instant::ZERO, heard: Vec::new(), role: Role::Secondary, device };
        // A host that begins at once does not know whose turn it is [LL-05].
        rig.rest(500);
        rig
    }

    pub fn rest(&mut self, ms: u64) {
        self.now += Duration::from_millis(ms);
        let mut out: Vec<Delivery> = Vec::new();
        self.world.run_until(self.now, &mut out);
        self.heard.extend(out.iter().filter(|d| d.port == self.ear).map(|d| d.octet));
    }

    /// Sends and waits until the last octet has left.
    pub fn say(&mut self, frame: &RawFrame) {
        let end = self.world.bus_mut().transmit_raw(self.now, self.host, frame);
        let ms = u64::try_from(end.since(self.now).as_millis()).expect("not long") + 1;
        self.rest(ms);
    }

    pub fn request(&self, target: Target, command: u8, data: &[u8]) -> Frame {
        Frame::request(Address::new(self.role, target), command, data.to_vec()).expect("it fits")
    }

    /// A request to the device, by its unique address.
    pub fn long(&self, command: u8, data: &[u8]) -> Frame {
        self.request(Target::Unique(self.device), command, data)
    }

    pub fn polling(&self, command: u8, data: &[u8]) -> Frame {
        self.request(Target::Polling(PollingAddress::default()), command, data)
    }

    /// Sends a frame after as many preambles, and rests.
    pub fn send(&mut self, frame: &Frame, preambles: usize, rest_ms: u64) {
        self.say(&RawFrame::of(frame, preambles));
        self.rest(rest_ms);
    }

    /// As a good host does it.
    pub fn identify(&mut self) {
        let frame = self.polling(0, &[]);
        self.send(&frame, 5, PATIENT_MS);
    }

    /// As a good host does it: 7 preambles, and time for the answer.
    pub fn ask(&mut self, command: u8, data: &[u8]) {
        let frame = self.long(command, data);
        self.send(&frame, 7, PATIENT_MS);
    }

    /// Octets exactly so, each a character, none with wrong parity.
    pub fn octets(&mut self, values: &[u8], rest_ms: u64) {
        self.say(&RawFrame { octets: values.iter().map(|&v| v.into()).collect() });
        self.rest(rest_ms);
    }

    /// Everything that was heard.
    pub fn heard(&self) -> &[Octet] {
        &self.heard
    }

    pub fn report(&self) -> Report {
        judge(&self.heard, LineFacts::of_line("bus, virtual time", Pace::Wire, EXACT), Judged::default())
    }
}

/// What the check makes of these octets on such a line. Each run without a pause of a character
/// counts as a record.
pub fn judge(heard: &[Octet], facts: LineFacts, judged: Judged) -> Report {
    let (mut check, mut annotator) = (HostCheck::new(judged), annotator(facts));
    check.begin(facts);
    let records = heard.chunk_by(|a, b| b.at.since(a.at) <= Duration::from_micros(18_500));
    for (i, record) in records.enumerate() {
        annotator.handle_timeout(record[0].at);
        check.record(Place { file: 0, line: i as u64 + 2 }, record[0].at);
        annotator.push(record);
        while let Some(item) = annotator.next() {
            check.look(&item);
        }
    }
    annotator.finish();
    while let Some(item) = annotator.next() {
        check.look(&item);
    }
    check.finish()
}

fn annotator(facts: LineFacts) -> Annotator {
    let error = facts.capabilities.map_or(Duration::ZERO, |c| c.stamp_error);
    let (receiver, pairer) = match facts.capabilities {
        Some(_) => {
            (ReceiverConfig::for_line(facts.pace, error), PairerConfig::for_line(facts.pace, error * 2))
        }
        None => (ReceiverConfig::UNTIMED, PairerConfig::UNTIMED),
    };
    Annotator::new(receiver, pairer, None).with_catalogue(Catalogue::default())
}

/// The names of the findings, each once.
pub fn names(report: &Report) -> Vec<&'static str> {
    let mut names: Vec<&str> = report.findings.iter().map(|f| f.rule.slug).collect();
    names.dedup();
    names
}

/// The names of what could not be judged, each once.
pub fn unjudged(report: &Report) -> Vec<&'static str> {
    let mut names: Vec<&str> = report.unjudged.iter().map(|u| u.rule.slug).collect();
    names.dedup();
    names
}
