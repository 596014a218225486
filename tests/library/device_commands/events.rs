//! What a bench does to a device besides its inputs: busy, malfunction, power [DV-09] [DV-50].

use super::rig::{BOTH, PRIMARY, REVISIONS, Rig, SECONDARY, from_master, request, unique};
use looprig::app::command::Revision;
use looprig::device::{Device, DeviceConfig, Slow, Stored, encode_image};
use looprig::frame::Octet;
use looprig::line::Station;
use looprig::sim::{Change, DeviceStation};
use looprig::time::{Instant, Pace};
use std::time::Duration;

const R5: Revision = Revision::R5;
const R7: Revision = Revision::R7;

fn at(ms: u64) -> Instant {
    Instant::ZERO + Duration::from_millis(ms)
}

/// Busy (32) begins and ends by an event, each at its time; so do malfunction (80), and the temporary lock (16) by the
/// power.
#[test]
fn changes_at_their_times() {
    let (device, _) = Device::new(DeviceConfig::new(R7), None, Pace::Fast, Duration::ZERO, Instant::ZERO);
    let changes = vec![
        (at(1000), Change::Busy(true)),
        (at(2000), Change::Busy(false)),
        (at(3000), Change::Malfunction(true)),
        (at(4000), Change::Malfunction(false)),
        (at(5000), Change::PowerCycle),
    ];
    let mut station = DeviceStation::new(device, changes);
    let mut ask = |ms: u64, master: u8, command: u8, data: &[u8]| {
        for value in request(&from_master(master, unique(R7)), command, data) {
            station.handle(at(ms), &[Octet::clean(at(ms), value)]);
        }
        let answer = station.poll_transmit(at(ms)).expect("an answer");
        // Preambles, delimiter, address, command and count come before the status octets.
        [answer[5 + 1 + 5 + 2], answer[5 + 1 + 5 + 3]]
    };
    assert_eq!(ask(400, SECONDARY, 71, &[1])[0], 0);
    let seen: Vec<[u8; 2]> = [500, 1500, 2500, 3500, 4500, 5500]
        .map(|ms| {
            let [code, status] = ask(ms, PRIMARY, 19, &[0, 0, 1]);
            [code, status & 0xA0]
        })
        .to_vec();
    // Cold start (20) at first and after the power; refused by the lock until then.
    assert_eq!(seen, [[16, 0x20], [32, 0], [16, 0], [16, 0x80], [16, 0], [0, 0x20]]);
}

/// [DV-50]: device malfunction (80) and, since command 48 says something else, more status available (10); in command 48
/// failure (08) in octet 6, electronic defect (40) in standardized status 0, octet 8 [ST-06]. A power cycle mends nothing.
#[test]
fn malfunction() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision).warm();
        rig.device.set_malfunction(true);
        for master in BOTH {
            assert_eq!(rig.ask(master, 0, &[]).status, [0, 0x90]);
        }
        let expected = match revision {
            R5 => vec![0x40, 0, 0, 0x08, 0, 0],
            _ => {
                let mut status = vec![0; 14];
                (status[6], status[8]) = (0x08, 0x40);
                status
            }
        };
        assert_eq!(rig.ask(PRIMARY, 48, &[]).data, expected);
        if revision == R7 {
            assert_eq!(rig.ask(PRIMARY, 48, &expected).status, [0, 0x80], "seen, and still there");
        }
        rig.device.power_cycle(rig.now);
        assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0xB0]);
        rig.device.set_malfunction(false);
        let more = if revision == R7 { 0x10 } else { 0x00 };
        assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, more]);
        assert!(rig.ask(PRIMARY, 48, &[]).data.iter().all(|&o| o == 0));
    }
}

/// [DV-50]: what is stored comes back, and all else is gone: temporary lock, simulation, squawk, counters, arming, clock,
/// delayed responses; cold start for both masters. Inputs and switches are as they are, and burst mode is stored.
#[test]
fn power_cycle() {
    let mut config = DeviceConfig::new(R7);
    config.slow = vec![Slow { command: 41, takes: Duration::from_secs(100) }];
    let mut rig = Rig::with(config, None).warm();
    rig.ask(PRIMARY, 109, &[1, 0]);
    assert_eq!(rig.ask(PRIMARY, 41, &[]).status[0], 33);
    rig.ask(PRIMARY, 19, &[0, 0, 7]);
    rig.device.set_loop_current_ma(rig.now, 12.0);
    rig.wait(Duration::from_secs(60));
    rig.ask(PRIMARY, 71, &[1]);
    rig.ask(PRIMARY, 72, &[1]);
    // 4.5 bar = 1.125·2² = 40 90 00 00.
    rig.ask(PRIMARY, 79, &[3, 1, 7, 0x40, 0x90, 0, 0, 0xC0]);
    rig.ask(PRIMARY, 89, &[1, 28, 2, 124, 0, 0, 0, 0, 0, 0]);
    rig.device.set_armed(true);
    rig.device.set_write_protected(true);
    rig.bursts.clear();
    rig.device.power_cycle(rig.now);
    // Requests, replies, bursts: none came in the 5 + 9 characters of a request.
    assert_eq!(rig.ask(PRIMARY, 95, &[]).data, [0, 1, 0, 0, 0, 0]);
    assert!(rig.device.bursts() && !rig.bursts.is_empty());
    assert_eq!(rig.ask(PRIMARY, 41, &[]).status[0], 33, "it begins anew");
    assert_eq!(rig.ask(PRIMARY, 76, &[]).data, [0]);
    assert_eq!(rig.ask(SECONDARY, 0, &[]).status, [0, 0x60]);
    assert!(!rig.device.squawks(rig.now));
    assert_eq!(rig.ask(PRIMARY, 33, &[3]).data[2..], [0x40, 0x80, 0, 0], "4.0 bar, the sensor's");
    assert_eq!(rig.ask(PRIMARY, 90, &[]).data[14], 0x02, "the clock was never set");
    assert_eq!(rig.send(&request(&from_master(PRIMARY, [0; 5]), 73, &[]), None), None);
    assert_eq!(rig.ask(PRIMARY, 16, &[]).data, [0, 0, 7]);
    assert_eq!(rig.ask(PRIMARY, 19, &[0, 0, 8]).status[0], 7);
    assert_eq!((rig.device.loop_current_ma(), rig.device.set_point_percent()), (12.0, 50.0));
    assert!((rig.device.travel_percent(rig.now) - 50.0).abs() < 1e-6);
    // A lock for good is stored.
    rig.device.set_write_protected(false);
    rig.ask(PRIMARY, 71, &[2]);
    rig.device.power_cycle(rig.now);
    assert_eq!(rig.ask(SECONDARY, 19, &[0, 0, 9]).status[0], 16);
}

/// A request that was half heard, and an answer that had not begun, go with the power.
#[test]
fn power_lost_in_a_request_and_before_an_answer() {
    let mut config = DeviceConfig::new(R7);
    config.response_delay = Duration::from_millis(200);
    let mut rig = Rig::with(config, None);
    let whole = request(&from_master(PRIMARY, unique(R7)), 0, &[]);
    for lost in [whole.len() / 2, whole.len()] {
        for &value in &whole[..lost] {
            rig.now += Duration::from_nanos(9_166_667);
            rig.device.handle(rig.now, &[Octet::clean(rig.now, value)]);
        }
        rig.device.power_cycle(rig.now);
        assert_eq!(rig.send(&whole[lost..], None), None, "{lost} octets before");
        assert_eq!(
            rig.ask(PRIMARY, 0, &[]).status,
            [0, 0x20],
            "cold start is told by the first answer that leaves"
        );
    }
}

/// [DV-04]: the image that was bad has been put aside, so the power-up finds none, or the good one written since.
#[test]
fn a_power_cycle_ends_a_memory_defect() {
    let mut bad = encode_image(&Stored { tag: "FV-9999".into(), ..Stored::default() });
    bad[20] ^= 0x04;
    let mut rig = Rig::with(DeviceConfig::new(R7), Some(&bad));
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0xB0]);
    rig.device.power_cycle(rig.now);
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0x20]);
}
