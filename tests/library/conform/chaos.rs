//! A device that answers anything at all: the suite ends, in bounded time, with a verdict for every case.

use super::rig::*;
use looprig::app::command::Revision;
use looprig::conform::{End, Suite};
use looprig::frame::RawFrame;
use looprig::line::Dice;
use looprig::time::Instant;
use std::time::Duration;

/// What a bad device makes of its answer.
fn spoil(dice: &mut Dice, octets: &[u8]) -> RawFrame {
    let (preambles, mut frame) = split(octets);
    let header = if frame[0] & 0x80 == 0 { 4 } else { 8 };
    match dice.below(10) {
        // As it should be, so that a case gets somewhere.
        0..=4 => raw(octets),
        // Fewer data, or more, in a frame that is right.
        5 => {
            let keep = dice.below((frame.len() - header) as u32 + 1) as usize;
            frame.truncate(header + keep);
            frame[header - 1] = keep as u8;
            join(preambles, &frame)
        }
        6 => {
            let more = dice.below(60) as usize;
            frame.extend((0..more).map(|_| dice.octet()));
            frame[header - 1] = (frame.len() - header) as u8;
            join(preambles, &frame)
        }
        // An octet of it is any other, with a check byte that fits.
        7 => {
            let at = dice.below(frame.len() as u32) as usize;
            frame[at] = dice.octet();
            join(preambles, &frame)
        }
        // Any octets, with wrong parity and pauses.
        8 => {
            let n = dice.below(80) as usize;
            let mut said = raw(&(0..n).map(|_| dice.octet()).collect::<Vec<_>>());
            for o in &mut said.octets {
                o.bad_parity = dice.below(8) == 0;
                o.gap_before = CHARACTER * dice.below(3);
            }
            said
        }
        _ => RawFrame::default(),
    }
}

#[test]
fn whatever_a_device_says_the_run_ends_with_verdicts() {
    let seeds: u64 = if cfg!(debug_assertions) { 12 } else { 100 };
    for seed in 0..seeds {
        println!("seed {seed}");
        let revision = REVISIONS[(seed % 3) as usize];
        let mut dice = Dice::new(seed, 0);
        // It is found by short frames, which are not spoilt.
        let device = Bent::new(config(revision)).saying(move |octets| match octets.contains(&0x86) {
            true => spoil(&mut dice, &octets),
            false => raw(&octets),
        });
        let suite = Suite::new().writing(true).moving(true);
        let mut line = device.line();
        let results = suite.run(&mut line, &to()).unwrap_or_else(|e| panic!("seed {seed}: {e}"));
        assert_eq!(results.end, End::Complete, "seed {seed}");
        assert_eq!(results.cases.len(), looprig::conform::all().len());
        assert_eq!(results.exit_code(), 1, "seed {seed}: {results}");
        assert!(results.lasted < Duration::from_secs(40_000), "seed {seed}: {:?}", results.lasted);
        assert!(results.cases.iter().all(|c| c.span.0 <= c.span.1 && c.span.1 > Instant::ZERO));
    }
}

#[test]
fn one_that_only_makes_noise_is_not_found() {
    let mut dice = Dice::new(1, 0);
    let device = Bent::new(config(Revision::R7)).saying(move |_| raw(&[dice.octet(); 5]));
    assert!(Suite::new().run(&mut device.line(), &to()).is_err());
}
