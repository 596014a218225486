//! How many simulated seconds pass in a second of one core, beside the least that any such world must
//! do: hand each octet to a receiver of everybody who hears it.
//!
//! Run with `cargo bench --bench world`. The aims are 5000 simulated seconds a second for one device and
//! one master, and 1000 for fifteen devices and two masters with bursts heard.

use looprig::app::command::Revision;
use looprig::device::{Device, DeviceConfig};
use looprig::frame::{
    Address, Frame, Master as Role, Octet, RawFrame, Receiver, ReceiverConfig, Target, UniqueAddress,
};
use looprig::line::Clock;
use looprig::link::MasterConfig;
use looprig::sim::{DeviceStation, Errand, MasterStation, Participant, Talker, World};
use looprig::time::{Instant, Pace};
use std::hint::black_box;
use std::time::Duration;

/// Simulated time of one run, s.
const SECONDS: u64 = 600;
/// The quickest of so many runs counts.
const ROUNDS: usize = 7;

fn request(role: Role, unique: UniqueAddress, command: u8) -> Errand {
    let address = Address::new(role, Target::Unique(unique));
    let frame = Frame::request(address, command, Vec::new()).expect("no data");
    Errand { frame, preambles: Some(5), first_at: Instant::ZERO, every: Some(Duration::ZERO) }
}

/// A burst a second from a device that nobody asks, to the masters in turn [LL-10]; it begins before a
/// master takes its turn.
fn bursts() -> Talker {
    let unique = UniqueAddress::from_octets([0x3D, 0x71, 0x00, 0xB0, 0x01]);
    Talker::new((1..SECONDS).map(|s| {
        let master = if s % 2 == 0 { Role::Primary } else { Role::Secondary };
        let address = Address { master, burst: true, target: Target::Unique(unique) };
        let frame = Frame::reply(true, address, 1, [0; 2], vec![0x39, 0x42, 0x48, 0, 0]).expect("short");
        (Instant::ZERO + Duration::from_secs(s), RawFrame::of(&frame, 5))
    }))
    .after_silence(Pace::Wire.character())
}

/// Every master busy without a pause, with the commands that a control system reads all the time.
fn world(devices: u32, masters: &[Role], with_bursts: bool) -> World {
    let mut world = World::new(Pace::Wire, 1);
    let mut uniques = Vec::new();
    for i in 0..devices {
        let mut config = DeviceConfig::new(Revision::R7);
        config.identity.device_id = 0x3100 + i;
        uniques.push(config.identity.unique_address());
        let (device, _) = Device::new(config, None, Pace::Wire, Duration::ZERO, Instant::ZERO);
        world.add_device(DeviceStation::new(device, Vec::new()), Clock::default());
    }
    for &role in masters {
        let config = MasterConfig { role, ..MasterConfig::default() };
        let errands = uniques.iter().flat_map(|&u| [1, 2, 3].map(|command| request(role, u, command)));
        let errands = errands.collect();
        world.add_master(MasterStation::new(config, Pace::Wire, errands), Clock::default());
    }
    if with_bursts {
        world.add_talker(bursts());
    }
    world
}

#[allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
fn now() -> std::time::Instant {
    std::time::Instant::now()
}

/// Seconds of this machine for one run, with the octets that passed and the transactions.
fn run(mut world: World) -> (f64, u64, u64) {
    let mut heard = Vec::new();
    let begun = now();
    world.run_until(Instant::ZERO + Duration::from_secs(SECONDS), &mut heard);
    let took = begun.elapsed().as_secs_f64();
    let answered = world.bus().stations().filter_map(Participant::master).map(|m| m.tally().answered).sum();
    black_box(&heard);
    (took, world.bus().traffic().heard, answered)
}

/// The same octets to as many receivers, and nothing else.
fn bare(make: &dyn Fn() -> World, listeners: usize) -> f64 {
    let mut world = make();
    world.add_observer();
    let mut heard = Vec::new();
    world.run_until(Instant::ZERO + Duration::from_secs(SECONDS), &mut heard);
    let octets: Vec<Octet> = heard.iter().map(|d| d.octet).collect();
    let config = ReceiverConfig::for_line(Pace::Wire, Duration::ZERO);
    let mut receivers: Vec<Receiver> = (0..listeners).map(|_| Receiver::new(config)).collect();
    let begun = now();
    for octet in &octets {
        for receiver in &mut receivers {
            receiver.push(&[*octet]);
            while let Some(reception) = receiver.next() {
                black_box(&reception);
            }
        }
    }
    begun.elapsed().as_secs_f64()
}

fn least(mut measure: impl FnMut() -> f64) -> f64 {
    (0..ROUNDS).map(|_| measure()).fold(f64::INFINITY, f64::min)
}

fn show(name: &str, aim: f64, listeners: usize, make: &dyn Fn() -> World) {
    let (_, octets, answered) = run(make());
    let took = least(|| run(make()).0);
    let floor = least(|| bare(make, listeners));
    println!("{name}");
    println!(
        "  {:.0} simulated seconds a second (aim: over {aim:.0}); {octets} octets and {answered} answers in {SECONDS} s",
        SECONDS as f64 / took
    );
    let who = if listeners == 1 { "one receiver".to_owned() } else { format!("{listeners} receivers") };
    println!("  {:.1} times what {who} alone would need for the same octets", took / floor);
}

fn main() {
    let two = [Role::Primary, Role::Secondary];
    // Who sends does not hear, so one hears an octet where there are two.
    show("one device, one master", 5000.0, 1, &|| world(1, &two[..1], false));
    show("15 devices, two masters, bursts heard", 1000.0, 17, &|| world(15, &two, true));
}
