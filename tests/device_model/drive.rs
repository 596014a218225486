//! Random sequences, device and model side by side.

use crate::commands::exists;
use crate::model::{Model, Want};
use crate::rig::{BOTH, Rig, from_master, request};
use looprig::app::command::Revision;
use looprig::device::{DeviceConfig, KindName, Slow};
use std::collections::BTreeSet;
use std::fmt::Write;
use std::time::Duration;

/// Requests of a sequence.
const REQUESTS: usize = 200;

/// Numbers by chance, the same for the same seed (xorshift, from memory).
struct Dice(u64);

impl Dice {
    fn new(seed: u64) -> Dice {
        let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        for _ in 0..8 {
            dice.next();
        }
        dice
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() >> 16) as usize % n
    }

    fn of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.below(choices.len())]
    }

    fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    fn octets(&mut self, n: usize) -> Vec<u8> {
        (0..n).map(|_| self.next() as u8).collect()
    }
}

/// Commands that are asked; some are none.
const COMMANDS: &[u8] = &[
    0, 1, 2, 3, 6, 7, 8, 9, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 31, 33, 34, 35, 36, 37, 38, 39,
    40, 41, 42, 43, 44, 45, 46, 47, 48, 49, 50, 51, 52, 53, 54, 55, 56, 57, 59, 60, 61, 62, 63, 64, 65, 66,
    67, 68, 69, 70, 71, 72, 73, 76, 78, 79, 80, 81, 82, 83, 89, 90, 95, 103, 104, 105, 106, 107, 108, 109,
    109, 110, 200,
];
/// Those that change what the others see, asked more often.
const TELLING: &[u8] = &[
    3, 6, 9, 15, 33, 34, 35, 36, 37, 38, 48, 52, 53, 54, 71, 71, 71, 76, 78, 79, 82, 103, 104, 105, 107, 108,
    109,
];

/// Commands that no kind of device answers otherwise, nor by what it measures [DV-60].
const SHARED: &[u8] = &[
    6, 7, 12, 13, 16, 17, 18, 19, 20, 22, 34, 38, 39, 41, 42, 47, 48, 49, 59, 64, 69, 71, 72, 76, 89, 90, 95,
    103, 106,
];

const FLOATS: &[f32] = &[
    0.0,
    1.5,
    2.3,
    60.0,
    61.0,
    -1.0,
    50.0,
    55.0,
    80.0,
    100.0,
    105.0,
    106.0,
    -5.0,
    -6.0,
    0.1,
    f32::NAN,
    f32::INFINITY,
    f32::MAX,
    -3e37,
];
const PRESSURES: &[f32] = &[0.0, 0.25, 1.5, 2.0, 2.5, 4.25, 6.5, 9.75, 12.0, f32::NAN, -1.0];

/// Data that a command may take, or nearly.
fn data(dice: &mut Dice, model: &Model, command: u8, nested: bool) -> Vec<u8> {
    let variable = dice.of(&[0u8, 1, 2, 3, 3, 3, 4, 244, 246, 249, 250, 255]);
    let own = dice.of(&[0u8, 0, 1, 2, 3, 3, 3, 4]);
    let unit = dice.of(&[57u8, 57, 143, 144, 7, 7, 12, 6, 237, 8, 11, 14, 250, 39]);
    let float = dice.of(FLOATS).to_be_bytes();
    let other = dice.of(FLOATS).to_be_bytes();
    let mut out = match command {
        6 if model.revision == 5 => vec![dice.of(&[0u8, 0, 5, 15, 16])],
        6 => vec![dice.of(&[0u8, 0, 5, 63, 64]), dice.of(&[0u8, 1, 1, 2])],
        9 | 33 => (0..=dice.below(8))
            .map(|_| dice.of(&[0u8, 1, 2, 3, 4, 244, 245, 246, 247, 248, 249, 250]))
            .collect(),
        11 if dice.one_in(2) => model.tag.to_vec(),
        11 => dice.octets(6),
        17 => dice.octets(24),
        18 => [dice.octets(18), vec![dice.of(&[1u8, 29, 31]), dice.of(&[2u8, 4, 12]), dice.of(&[0u8, 124])]]
            .concat(),
        19 | 49 => dice.octets(3),
        21 if dice.one_in(2) => model.long_tag.to_vec(),
        // 00 at the end is filling, so no tag ends with it by chance.
        21 | 22 => (0..32).map(|_| dice.next() as u8 | 1).collect(),
        34 | 40 | 45 | 46 => float.to_vec(),
        35 => [&[dice.of(&[57u8, 57, 57, 57, 39])][..], &float, &other].concat(),
        38 if dice.one_in(4) => vec![],
        38 if dice.one_in(4) => dice.octets(2),
        38 => model.counter.to_be_bytes().to_vec(),
        39 | 72 => vec![dice.of(&[0u8, 1, 2, 3])],
        44 => vec![dice.of(&[57, 57, 57, unit])],
        47 => vec![dice.of(&[0u8, 0, 1, 250])],
        48 if dice.one_in(2) => model.additional(),
        48 if dice.one_in(2) => dice.octets(14),
        51 => {
            let n = dice.below(4);
            [vec![dice.of(&[0u8, 0, 0, 1])], (0..n).map(|_| dice.of(&[0u8, 1, 2, 3, 3, 4])).collect()]
                .concat()
        }
        52 | 80 | 81 | 83 => vec![own],
        53 => vec![own, unit],
        54 => vec![variable],
        55 => [&[dice.of(&[0u8, 0, 1, 246])][..], &float].concat(),
        56 => [vec![own], dice.octets(3)].concat(),
        59 => vec![dice.of(&[4u8, 5, 9, 20, 21, 255])],
        60 | 63 | 70 => vec![dice.of(&[0u8, 0, 1])],
        62 => (0..=dice.below(5)).map(|_| dice.of(&[0u8, 0, 1])).collect(),
        64 => [&[dice.of(&[0u8, 0, 0, 1])][..], &float].concat(),
        65 => [&[dice.of(&[0u8, 0, 0, 1]), dice.of(&[57u8, 57, 57, 39])][..], &float, &other].concat(),
        66..=68 => [&[0, 39][..], &float].concat(),
        69 => vec![dice.of(&[0u8, 0, 0, 1]), dice.of(&[0u8, 0, 1])],
        71 => vec![dice.of(&[0u8, 0, 0, 1, 1, 2, 3, 4])],
        78 if !nested => {
            // Now and then so many that the answers have no room.
            let (n, reads) = if dice.one_in(6) { (dice.of(&[12, 24]), true) } else { (dice.below(7), false) };
            let mut out = vec![n as u8];
            for _ in 0..n {
                let inner = if dice.one_in(2) { dice.of(COMMANDS) } else { dice.of(TELLING) };
                let inner = if reads { dice.of(&[0u8, 0, 3, 9, 12, 17, 19, 34]) } else { inner };
                let inner =
                    if matches!(inner, 11 | 21 | 42 | 73 | 78) && !dice.one_in(20) { 3 } else { inner };
                let own = data(dice, model, inner, true);
                if out.len() + 3 + own.len() > 250 {
                    out[0] -= 1;
                    continue;
                }
                out.extend([u8::from(dice.one_in(20)), inner, own.len() as u8]);
                out.extend(own);
            }
            out
        }
        79 => [
            &[own, dice.of(&[0u8, 1, 1, 1, 2]), unit][..],
            &float,
            &[dice.of(&[0u8, 0x80, 0xC0, 0xC4, 0xCF])],
        ]
        .concat(),
        82 => {
            let scaled = dice.one_in(4);
            // Near what the sensor says, or anything.
            let near = model.bar as f32 + dice.of(&[0.0, 0.25, -0.25]);
            let bar = if dice.one_in(2) { near } else { dice.of(PRESSURES) };
            let bar = bar * if scaled { 100.0 } else { 1.0 };
            let unit = if scaled { 12 } else { dice.of(&[7u8, 7, 7, 57]) };
            [&[dice.of(&[3u8, 3, 3, 0]), dice.of(&[1u8, 2, 0, 3]), unit][..], &bar.to_be_bytes()].concat()
        }
        89 => {
            // No time from which midnight is reached in one sequence.
            let time = dice.of(&[0u32, 32_000, 40_000_000, 86_400 * 32_000, u32::MAX]).to_be_bytes();
            let date = [dice.of(&[0u8, 1, 29, 30]), dice.of(&[2u8, 11, 13]), dice.of(&[123u8, 124])];
            [&[dice.of(&[0u8, 1, 1, 2])][..], &date, &time, &[0, 0]].concat()
        }
        103..=105 | 107..=109 => burst_data(dice, model, command),
        _ => vec![],
    };
    match dice.below(20) {
        0 => out.truncate(dice.below(out.len() + 1)),
        1 => out.extend(dice.octets(3)),
        2 if command != 78 => {
            let n = dice.below(40);
            // A time of day by chance might reach midnight.
            out = if command == 89 { vec![3; 10] } else { dice.octets(n) };
        }
        _ => {}
    }
    // Units by chance might be ones that the model's short table lacks.
    match (command, &mut out[..]) {
        (53, [_, u, ..]) | (79, [_, _, u, ..]) | (82, [_, _, u, ..]) if !KNOWN.contains(u) => *u = 250,
        (104, [_, _, _, u, ..]) if !KNOWN.contains(u) => *u = 250,
        (44, [u, ..]) if !KNOWN.contains(u) => *u = 250,
        _ => {}
    }
    out
}

/// The same for burst messages.
fn burst_data(dice: &mut Dice, model: &Model, command: u8) -> Vec<u8> {
    let newest = model.revision == 7;
    let mut number = dice.of(&[0u8, 0, 1, 2, 3]);
    // Where a level stands that may no longer fit.
    let level =
        model.burst.iter().position(|m| (1..=3).contains(&m.trigger[0]) && matches!(m.command, 9 | 33));
    if let Some(i) = level.filter(|_| command == 107) {
        number = i as u8;
    }
    let numbered = |mut data: Vec<u8>| {
        data.extend(newest.then_some(number));
        data
    };
    match command {
        103 => {
            let mut period = || {
                (dice.of(&[0u32, 250, 251, 500, 1000, 3000, 40_000, 61_000, 4_000_000]) * 32).to_be_bytes()
            };
            [&[number][..], &period(), &period()].concat()
        }
        104 => {
            let level = dice.of(FLOATS).to_be_bytes();
            // What fits the variables, or not.
            let (class, unit) =
                dice.of(&[(0u8, 57u8), (0, 57), (0, 250), (86, 143), (86, 144), (65, 7), (65, 12), (84, 39)]);
            [&[number, dice.of(&[0u8, 1, 2, 3, 4, 5]), class, unit][..], &level].concat()
        }
        105 => vec![number],
        107 => {
            let n = if newest { 8 } else { 4 };
            numbered((0..n).map(|_| dice.of(&[0u8, 1, 2, 3, 3, 244, 245, 246, 249, 250, 250])).collect())
        }
        108 => {
            let burst = dice.of(&[1u8, 2, 3, 9, 9, 33, 48, 48, 0, 12]);
            numbered(if newest && dice.one_in(2) { vec![0, burst] } else { vec![burst] })
        }
        _ => numbered(vec![dice.of(&[0u8, 1, 1, 2])]),
    }
}

/// Units that the model knows to be offered, or not to be.
const KNOWN: &[u8] = &[57, 143, 144, 7, 12, 6, 237, 8, 11, 14, 250, 39];

fn same(data: &[u8], want: &[Want]) -> bool {
    let mut rest = data;
    for w in want {
        match *w {
            Want::Octet(o) => {
                let Some((&first, tail)) = rest.split_first() else { return false };
                if first != o {
                    return false;
                }
                rest = tail;
            }
            Want::Float(x) => {
                let Some((four, tail)) = rest.split_first_chunk::<4>() else { return false };
                let (is, x) = (f32::from_be_bytes(*four), x as f32);
                if is != x && (is - x).abs() > 2e-5 * x.abs().max(1.0) {
                    return false;
                }
                rest = tail;
            }
        }
    }
    rest.is_empty()
}

/// Commands that may take their time in revision 7: lists with 33, lists from memory, and none [DV-41].
const SLOW_7: &[u8] = &[22, 34, 35, 36, 37, 41, 41, 44, 52, 55, 71, 71, 72, 78, 79, 82, 83, 89];
/// And before.
const SLOW_OLDER: &[u8] = &[6, 17, 19, 34, 35, 38, 41, 44, 53, 59];

struct Pair {
    kind: KindName,
    rig: Rig,
    model: Model,
    image: Option<Vec<u8>>,
    log: String,
    /// Revision, command and code of what was answered.
    met: Met,
    /// What was put off, to be asked for again.
    begun: Vec<(usize, u8, Vec<u8>)>,
    delay: Duration,
}

type Met = BTreeSet<(u8, u8, u8)>;

impl Pair {
    fn config(kind: KindName, revision: Revision, model: &Model, delay: Duration) -> DeviceConfig {
        let mut config = DeviceConfig::of_kind(kind, revision);
        config.response_delay = delay;
        (config.write_protected, config.busy) = (model.protected, model.busy);
        if kind == KindName::Positioner {
            // The valve is where its damped set point is: the model has no mechanics.
            config.positioner().time_constant_s = 0.0;
            (config.positioner().loop_current_ma, config.positioner().supply_pressure_bar) =
                (model.ma, model.bar);
        }
        let slow = |&(command, ns)| Slow { command, takes: Duration::from_nanos(ns) };
        config.slow = model.slow.iter().map(slow).collect();
        config
    }

    fn new(kind: KindName, revision: Revision, slow: Vec<(u8, u64)>, delay: Duration) -> Pair {
        let number = match revision {
            Revision::R5 => 5,
            Revision::R6 => 6,
            Revision::R7 => 7,
        };
        let mut model = Model::new(number, 0);
        model.slow = slow;
        let rig = Rig::with(Pair::config(kind, revision, &model, delay), None);
        model.now_ns = rig.now.as_nanos();
        model.start();
        Pair { kind, rig, model, image: None, log: String::new(), met: Met::new(), begun: Vec::new(), delay }
    }

    /// What happens around the device between two requests.
    fn happen(&mut self, dice: &mut Dice) {
        let (rig, model) = (&mut self.rig, &mut self.model);
        model.now_ns = rig.now.as_nanos();
        model.catch_up();
        let around = dice.below(30);
        // The current and the air are a positioner's; the rest happens to any device.
        if self.kind != KindName::Positioner && around < 7 {
            return;
        }
        match around {
            0..=3 => {
                model.ma = dice.of(&[3.5, 4.0, 4.8, 8.0, 12.0, 16.0, 20.0, 20.4, 21.0]);
                rig.device.set_loop_current_ma(rig.now, model.ma);
                model.aim();
                model.note();
            }
            4..=6 => {
                model.bar = dice.of(&[-0.75, 0.25, 0.25, 1.0, 1.75, 2.25, 4.0, 6.5, 9.75]);
                rig.device.set_supply_pressure_bar(model.bar);
                model.note();
            }
            7 | 8 => {
                rig.wait(Duration::from_millis(dice.below(20_000) as u64));
                self.bursts(None);
            }
            9 => {
                model.protected = dice.one_in(5);
                rig.device.set_write_protected(model.protected);
            }
            10 => {
                model.busy = dice.one_in(5);
                rig.device.set_busy(model.busy);
            }
            11 => {
                model.armed = dice.one_in(2);
                rig.device.set_armed(model.armed);
            }
            12 => {
                // The power goes and comes; what was written is there again.
                if let Some(image) = rig.device.take_image() {
                    self.image = Some(image);
                }
                if dice.one_in(2) {
                    rig.device.power_cycle(rig.now);
                } else {
                    let config = Pair::config(self.kind, rig.revision, model, self.delay);
                    *rig = Rig::at(rig.now, config, self.image.as_deref());
                }
                model.start();
                model.forget();
                // The first burst names the secondary.
                model.named = 0;
            }
            _ => return,
        }
        let _ = writeln!(
            self.log,
            "around: {:?}",
            (self.model.ma, self.model.bar, self.model.protected, self.model.busy, self.model.armed)
        );
    }

    /// One request and its answer.
    fn ask(&mut self, master: usize, command: u8, data: &[u8]) {
        let address = from_master(BOTH[master], self.rig.own);
        let octets = request(&address, command, data);
        // The request takes effect at its last octet.
        self.model.now_ns = self.rig.now.as_nanos() + 9_166_667 * octets.len() as u64;
        self.model.catch_up();
        self.model.requests = self.model.requests.wrapping_add(1);
        let _ = write!(self.log, "master {master}, command {command}, {data:02X?}: ");
        let (want, from_buffer) = self.model.asked(master, command, data);
        let status = self.model.status(master);
        let got = self.rig.send(&octets, None);
        let _ = writeln!(self.log, "{:02X?}", got.as_ref().map(|r| (r.status, &r.data)));
        match (&got, &want) {
            (None, None) => {}
            (Some(reply), Some((code, pieces))) => {
                let right = reply.status == [*code, status] && same(&reply.data, pieces);
                assert!(right, "wanted {:02X?} {pieces:02X?}\n{}", [*code, status], self.log);
                let mut own = address;
                // The burst bit [FR-16], as things are now.
                own[0] |= u8::from(!self.model.sent().is_empty()) * 0x40;
                assert_eq!((&reply.address[..], reply.command), (&own[..], command), "{}", self.log);
                self.met.insert((self.model.revision, command, *code));
                if *code == 33 {
                    self.begun.push((master, command, data.to_vec()));
                }
                // The answer is given out so long after the request.
                self.model.now_ns += self.delay.as_nanos() as u64;
                self.model.catch_up();
                if from_buffer {
                    self.model.given_out(master, command, data);
                }
                self.model.cold[master] = false;
                self.model.replies = self.model.replies.wrapping_add(1);
                if self.model.resets {
                    self.model.start();
                }
            }
            _ => panic!("wanted {want:02X?}\n{}", self.log),
        }
        self.bursts(got.is_some().then_some(master));
        if let Some(image) = self.rig.device.take_image() {
            self.image = Some(image);
        }
    }

    /// What came in bursts: each answer is followed by one, others come after 12 characters of silence at least, at
    /// the pace of their message; all say what the model says, and name the master whose turn it is.
    fn bursts(&mut self, mut answered: Option<usize>) {
        let bursts = std::mem::take(&mut self.rig.bursts);
        let sent = self.model.sent();
        let follows = answered.is_some() && !sent.is_empty();
        assert!(!follows || !bursts.is_empty(), "no burst behind the answer\n{}", self.log);
        if let Some(master) = answered {
            self.model.named = master;
        }
        for burst in bursts {
            let _ = writeln!(self.log, "{burst:02X?}");
            self.model.now_ns = burst.at.as_nanos();
            self.model.catch_up();
            let named = usize::from(burst.names == 0);
            assert_eq!(named, 1 - self.model.named, "{}", self.log);
            assert_eq!(burst.status, [0, self.model.status(named)], "{}", self.log);
            // Burst mode that comes on while the answer leaves, by work that is done then, may begin behind it or later.
            let behind = answered.take().is_some() && (follows || burst.after.is_zero());
            let silence = if behind { Duration::ZERO } else { Duration::from_nanos(12 * 9_166_666) };
            assert!(burst.after >= silence && (!behind || burst.after == silence), "{}", self.log);
            let mut could = self.model.sent();
            could.retain(|&i| {
                self.model.burst[i].command == burst.command && same(&burst.data, &self.model.said(i))
            });
            assert!(!could.is_empty(), "no message says that\n{}", self.log);
            if let [i] = could[..] {
                let at = burst.at.as_nanos();
                let due = self.model.burst[i].last_ns.map_or(0, |t| t + self.model.period_ns(i));
                assert!(behind || at + 2_000 >= due, "too early\n{}", self.log);
                self.model.burst[i].last_ns = Some(at);
            }
            self.model.named = named;
            self.model.bursts = self.model.bursts.wrapping_add(1);
        }
    }
}

fn sequence(seed: u64) -> Met {
    sequence_of(KindName::Positioner, seed)
}

fn sequence_of(kind: KindName, seed: u64) -> Met {
    // What the model knows of a positioner alone is not asked of another kind.
    let is_asked = |command: u8| {
        kind == KindName::Positioner || SHARED.contains(&command) || (5..=7).all(|r| !exists(r, command))
    };
    let mut dice = Dice::new(seed);
    let revision = dice.of(&[Revision::R5, Revision::R6, Revision::R7]);
    let mut slow: Vec<(u8, u64)> = Vec::new();
    for _ in 0..dice.of(&[0, 3, 8]) {
        let command = dice.of(if revision == Revision::R7 { SLOW_7 } else { SLOW_OLDER });
        if is_asked(command) && slow.iter().all(|s| s.0 != command) {
            slow.push((command, 1_000_000 * (1 + dice.below(8_000) as u64)));
        }
    }
    let delay = Duration::from_millis(dice.of(&[0, 10, 100, 200]));
    let mut pair = Pair::new(kind, revision, slow, delay);
    let _ = writeln!(pair.log, "seed {seed}, revision {revision}");
    for _ in 0..REQUESTS {
        pair.happen(&mut dice);
        let command = match dice.below(10) {
            0..=4 => dice.of(TELLING),
            5..=8 => dice.of(COMMANDS),
            _ => dice.next() as u8,
        };
        if !is_asked(command) {
            continue;
        }
        if !pair.begun.is_empty() && dice.one_in(2) {
            // One of the last is asked for again, now and then by the other master.
            let at = pair.begun.len() - 1 - dice.below(pair.begun.len().min(3));
            let (master, command, data) = pair.begun[at].clone();
            let master = if dice.one_in(10) { 1 - master } else { master };
            pair.ask(master, command, &data);
            continue;
        }
        let master = dice.below(2);
        let data = data(&mut dice, &pair.model, command, false);
        pair.ask(master, command, &data);
    }
    pair.met
}

/// How many sequences; `LOOPRIG_DEVICE_SEQUENCES` says another number.
fn sequences() -> u64 {
    let said = std::env::var("LOOPRIG_DEVICE_SEQUENCES").ok();
    let usual = if cfg!(debug_assertions) { 100 } else { 1000 };
    said.map_or(usual, |n| n.parse().expect("LOOPRIG_DEVICE_SEQUENCES is a number"))
}

#[test]
fn device_and_model_answer_alike() {
    let met: Met = (1..=sequences()).flat_map(sequence).collect();
    // The sequences were worth it: every command succeeded, but for those that an input refuses, and so many
    // sequences as a release build runs meet it in every revision, and refusals that take several steps.
    let many = sequences() >= 1000;
    for revision in 5..=7 {
        for command in (0..=255).filter(|&c| exists(revision, c)) {
            let code = if matches!(command, 40 | 45 | 46 | 66..=68) { 6 } else { 0 };
            let was_met = |r: u8| met.contains(&(r, command, code));
            let enough = if many { was_met(revision) } else { (5..=7).any(was_met) };
            assert!(enough, "revision {revision}, command {command}: {code}");
        }
    }
    if !many {
        return;
    }
    for (command, codes) in [
        (6, &[2, 5, 7, 12, 16, 32][..]),
        (35, &[7, 9, 10, 11, 12, 13, 14, 16, 18, 29]),
        (36, &[7, 10, 11, 16]),
        (38, &[5, 9, 16]),
        (48, &[5, 14]),
        (71, &[10, 11, 16]),
        (41, &[16, 32, 33, 34, 35]),
        (71, &[33, 34, 35, 36]),
        (78, &[2, 5, 9, 30, 33, 34, 36]),
        (106, &[8, 32]),
        (79, &[2, 5, 7, 8, 10, 16, 17, 18]),
        (82, &[3, 4, 6, 7, 16]),
        (103, &[5, 7, 8, 9, 16, 32]),
        (104, &[3, 4, 5, 7, 8, 9, 11, 12, 13, 16]),
        (105, &[2, 5, 32]),
        (107, &[2, 5, 7, 8, 9, 16]),
        (108, &[2, 5, 7, 8, 9, 16]),
        (109, &[2, 5, 7, 16, 32]),
    ] {
        for &code in codes {
            assert!(met.contains(&(7, command, code)), "command {command}: {code}");
        }
    }
}

/// [DV-60]: what the commands have in common, the model says of a temperature transmitter as well.
#[test]
fn another_kind_of_device_answers_alike_where_it_is_alike() {
    let met: Met = (1..=sequences()).flat_map(|seed| sequence_of(KindName::Temperature, seed)).collect();
    for &command in SHARED {
        assert!((5..=7).any(|r| met.contains(&(r, command, 0))), "command {command}");
    }
    for (command, code) in [(6, 2), (17, 7), (22, 16), (38, 9), (48, 14), (71, 11), (22, 33), (71, 36)] {
        assert!(met.contains(&(7, command, code)), "command {command}: {code}");
    }
}

/// The comparison itself: a wrong octet, a float that is off, octets too few and too many.
#[test]
fn the_comparison_bites() {
    let want = [Want::Octet(7), Want::Float(50.0)];
    assert!(same(&[7, 0x42, 0x48, 0, 0], &want));
    assert!(!same(&[8, 0x42, 0x48, 0, 0], &want));
    assert!(!same(&[7, 0x42, 0x49, 0, 0], &want));
    assert!(!same(&[7, 0x42, 0x48, 0], &want));
    assert!(!same(&[7, 0x42, 0x48, 0, 0, 0], &want));
}
