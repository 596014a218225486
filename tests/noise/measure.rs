//! One master and one device on wires whose bits are wrong at a rate: what becomes of the requests.

use core::fmt::Write;
use looprig::app::command::Revision;
use looprig::device::{Device, DeviceConfig};
use looprig::frame::{Address, Frame, Master as Role, Target};
use looprig::line::{Clock, FaultKind, Source, WireFault};
use looprig::link::{MasterConfig, Output};
use looprig::sim::{DeviceStation, Errand, MasterStation, Participant, World};
use looprig::time::{Instant, Pace};
use std::collections::BTreeSet;
use std::time::Duration;

/// Bit error rates of the table.
pub const RATES: [f64; 8] = [0.0, 1e-5, 1e-4, 3e-4, 1e-3, 2e-3, 5e-3, 1e-2];
/// Requests at each rate.
pub const REQUESTS: u64 = 20_000;
/// Repeats of a request at most [HO-04].
const RETRIES: u8 = 3;
/// Octets from delimiter to check byte of a request with command 3 and a long address: delimiter, 5, command, byte
/// count, check byte [FR-01].
const REQUEST: i32 = 9;
/// And of its answer in revision 7: 2 status octets and 4 + 4 * 5 of data more [CM-003].
const ANSWER: i32 = 9 + 2 + 24;
/// Bits of a character [FR-13].
const BITS: i32 = 11;
/// Preambles that must be right before a delimiter [FR-10].
const PREAMBLES: i32 = 2;

/// What was counted at one rate.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Row {
    pub rate: f64,
    pub requests: u64,
    pub answered: u64,
    pub repeats: u64,
    pub lost: u64,
    /// Answers that the device did not send, and answers of the device to what nobody asked.
    pub wrong: u64,
}

/// The same by arithmetic.
#[derive(Clone, Copy, Debug)]
pub struct Due {
    /// Probability that a try succeeds: every bit of both frames and of two preambles before each is right.
    /// Beside each of these two preambles one may be lost, which a wrong start bit does: the pause of just
    /// one character that it leaves is the longest that is none [LL-06].
    pub try_succeeds: f64,
}

impl Due {
    pub fn new(rate: f64) -> Due {
        let right = (1.0 - rate).powi(BITS * (REQUEST + ANSWER + 2 * PREAMBLES));
        Due { try_succeeds: right * (1.0 + rate).powi(2 * PREAMBLES) }
    }

    /// Share of requests that are answered in one of four tries.
    pub fn answered(self) -> f64 {
        1.0 - (1.0 - self.try_succeeds).powi(i32::from(RETRIES) + 1)
    }

    /// Repeats of a request on average: the second, third and fourth try are each made if all before failed.
    pub fn repeats(self) -> f64 {
        (1..=i32::from(RETRIES)).map(|n| (1.0 - self.try_succeeds).powi(n)).sum()
    }
}

/// Measures one rate.
pub fn row(rate: f64) -> Row {
    let mut world = World::new(Pace::Wire, 4);
    let mut config = DeviceConfig::new(Revision::R7);
    // Silence after a damaged request, so that every try either succeeds or fails [LL-08].
    config.answers_damaged = false;
    let unique = config.identity.unique_address();
    let (device, _) = Device::new(config, None, Pace::Wire, Duration::ZERO, Instant::ZERO);
    let device = world.add_device(DeviceStation::new(device, Vec::new()), Clock::default());
    let address = Address::new(Role::Secondary, Target::Unique(unique));
    let errand = Errand {
        frame: Frame::request(address, 3, Vec::new()).expect("no data"),
        preambles: Some(5),
        first_at: Instant::ZERO,
        every: Some(Duration::ZERO),
    };
    let config = MasterConfig { retries: RETRIES, ..MasterConfig::default() };
    let station = MasterStation::new(config, Pace::Wire, vec![errand]).keeping_outputs();
    let master = world.add_master(station, Clock::default());
    world.set_faults(vec![WireFault::always(FaultKind::BitErrors { rate })]);
    world.bus_mut().keep_begun();
    let mut row = Row { rate, ..Row::default() };
    let mut sent: BTreeSet<Vec<u8>> = BTreeSet::new();
    while row.requests < REQUESTS {
        let until = world.now() + Duration::from_secs(10);
        world.run_until(until, &mut Vec::new());
        for begun in world.bus_mut().take_begun() {
            if begun.source == Source::Station(device) {
                let frame: Vec<u8> = begun.values.into_iter().skip_while(|v| *v == 0xFF).collect();
                // Delimiter, address, command.
                row.wrong += u64::from(frame.get(6) != Some(&3));
                sent.insert(frame);
            }
        }
        let station =
            world.bus_mut().station_mut(master).and_then(Participant::master_mut).expect("the master");
        for output in station.take_outputs() {
            let Output::Done(t) = output else { continue };
            if row.requests == REQUESTS {
                break;
            }
            row.requests += 1;
            row.repeats += t.retries() as u64;
            match &t.reply {
                Some(good) => {
                    row.answered += 1;
                    row.wrong += u64::from(!sent.contains(&good.frame.encode_after(0).to_vec()));
                }
                None => row.lost += 1,
            }
        }
    }
    row
}

/// The table in Markdown.
pub fn markdown(rows: &[Row]) -> String {
    let mut out = String::from(
        "| bit error rate | requests | answered | due | repeats a request | due | lost | wrongly accepted |\n|---|---|---|---|---|---|---|---|\n",
    );
    for row in rows {
        let due = Due::new(row.rate);
        let n = row.requests as f64;
        let _ = writeln!(
            out,
            "| {:e} | {} | {:.2} % | {:.2} % | {:.4} | {:.4} | {} | {} |",
            row.rate,
            row.requests,
            100.0 * row.answered as f64 / n,
            100.0 * due.answered(),
            row.repeats as f64 / n,
            due.repeats(),
            row.lost,
            row.wrong
        );
    }
    out
}
