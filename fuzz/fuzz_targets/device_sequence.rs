//! Sequences of requests into the device of each revision, as octets on a wire: no panic, no answer and no burst that is no frame,
//! and what it stores can be read again, also by a device that powers up with it [DV-03].
//!
//! The first octet chooses the revision and the kind of device. Each request is one octet (bit 7 the master, bit 6 at the
//! broadcast address, bit 5 with a wrong check byte, bit 4 a change around the device before it, bit 3 another device with
//! its memory before it, bit 2 a power cycle before it, bit 1 as soon as work under way is nearly done), the command, the
//! number of data octets, and the data. Answers come late, and a few commands take their time, so that work is done while
//! an answer waits [DV-40].

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::app::command::Revision;
use looprig::device::{Device, DeviceConfig, KindName, Restored, Slow, decode_image, why_not_slow};
use looprig::frame::{Octet, Receiver, ReceiverConfig, Reception};
use looprig::time::{Instant, Pace};
use std::time::Duration;

const CHARACTER: Duration = Duration::from_nanos(9_166_667);
const DELAY: Duration = Duration::from_millis(200);

struct Wire {
    device: Device,
    now: Instant,
}

impl Wire {
    fn new(kind: KindName, revision: Revision, image: Option<&[u8]>, now: Instant) -> Wire {
        let mut config = DeviceConfig::of_kind(kind, revision);
        config.response_delay = DELAY;
        let slow = [(22, 500), (71, 6000), (78, 2000)]
            .map(|(command, ms)| Slow { command, takes: Duration::from_millis(ms) });
        config.slow = slow.into_iter().filter(|s| why_not_slow(s.command, revision).is_none()).collect();
        let (device, restored) = Device::new(config, image, Pace::Wire, Duration::ZERO, now);
        // What a device has written it can read.
        assert!(!matches!(restored, Restored::Corrupt(_)));
        Wire { device, now }
    }

    fn send(&mut self, octets: &[u8]) {
        for &value in octets {
            self.now += CHARACTER;
            self.device.handle(self.now, &[Octet::clean(self.now, value)]);
        }
        // Silence, until nothing more is due soon.
        let until = self.now + Duration::from_secs(1);
        for _ in 0..8 {
            if let Some(answer) = self.device.poll_transmit(self.now) {
                let mut receiver = Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO));
                for &value in &answer {
                    self.now += CHARACTER;
                    receiver.push(&[Octet::clean(self.now, value)]);
                }
                self.device.sent(self.now);
                assert!(matches!(receiver.next(), Some(Reception::Good(_))), "{answer:02X?}");
            }
            let Some(at) = self.device.wake_at().filter(|at| *at <= until) else { break };
            self.now = self.now.max(at);
            self.device.handle_timeout(self.now);
        }
        self.now += Duration::from_millis(400);
        self.device.handle_timeout(self.now);
    }
}

fuzz_target!(|bytes: &[u8]| {
    let Some((&first, mut rest)) = bytes.split_first() else { return };
    let revision = Revision::NEWEST_FIRST[usize::from(first) % 3];
    let kind = KindName::ALL[usize::from(first) / 3 % 2];
    let mut wire = Wire::new(kind, revision, None, Instant::ZERO);
    let mut image: Option<Vec<u8>> = None;
    let mut unique: [u8; 5] = match revision {
        Revision::R5 => [0x3D, 0x51, 0x00, 0x31, 0x04],
        Revision::R6 => [0x3D, 0x61, 0x00, 0x31, 0x04],
        Revision::R7 => [0x3D, 0x71, 0x00, 0x31, 0x04],
    };
    // The device types of temperature transmitters are one above those of positioners [DV-61].
    unique[1] += u8::from(kind == KindName::Temperature);
    while let [flags, command, count, tail @ ..] = rest {
        let (data, after) = tail.split_at(usize::from(*count).min(tail.len()));
        rest = after;
        if flags & 0x10 != 0 {
            let now = wire.now;
            match command % 8 {
                0 => wire.device.set_loop_current_ma(now, f64::from(*count) / 10.0),
                1 => wire.device.set_supply_pressure_bar(f64::from(*count) / 25.0),
                2 => wire.device.set_write_protected(count % 2 == 0),
                3 => wire.device.set_busy(count % 2 == 0),
                4 => wire.device.set_armed(count % 2 == 0),
                5 => wire.device.set_process_temperature_degc(now, f64::from(*count) * 5.0 - 250.0),
                6 => wire.device.set_sensor_broken(now, count % 2 == 0),
                _ => wire.now += Duration::from_secs(u64::from(*count) * 3600),
            }
        }
        if flags & 0x08 != 0 {
            wire = Wire::new(kind, revision, image.as_deref(), wire.now);
        }
        if flags & 0x04 != 0 {
            wire.device.power_cycle(wire.now);
        }
        if flags & 0x02 != 0
            && let Some(at) = wire.device.wake_at()
        {
            // The request ends half a delay before that.
            let ahead = CHARACTER * (5 + 9 + data.len() as u32) + DELAY / 2;
            let wait = at.since(wire.now).saturating_sub(ahead);
            wire.now += wait;
            wire.device.handle_timeout(wire.now);
        }
        let mut address = if flags & 0x40 == 0 { unique } else { [0; 5] };
        address[0] |= flags & 0x80;
        let mut frame = vec![0x82];
        frame.extend(address);
        frame.extend([*command, data.len() as u8]);
        frame.extend(data);
        frame.push(frame.iter().fold(0, |x, o| x ^ o) ^ (flags & 0x20));
        wire.send(&[&[0xFF; 5], &frame[..]].concat());
        if let Some(written) = wire.device.take_image() {
            assert_eq!(decode_image(&written).as_ref(), Ok(wire.device.stored()));
            image = Some(written);
        }
    }
});
