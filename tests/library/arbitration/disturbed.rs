//! Whatever disturbs them, two busy masters do not begin together: each disturbance leaves them with different waits.

use super::speech::*;
use super::stage::*;
use super::timeline::*;
use looprig::frame::RawFrame;
use looprig::line::Dice;

/// Something that no legal station would say, or not then.
fn disturbance(dice: &mut Dice) -> RawFrame {
    let master = if dice.chance(0.5) { PRIMARY } else { SECONDARY };
    let some = 1 + dice.below(20) as usize;
    match dice.below(6) {
        0 => noise(some),
        1 => carrier(2.0 + 4.0 * some as f64),
        2 => burst(master, 7),
        3 => answer(master, poll(9)),
        4 => cut(answer(master, poll(4)), some),
        _ => answer(master, poll(4)).flip(8, 0x40),
    }
}

/// [LL-05] [LL-13]: the two have something to ask all the time, one asks now and then where nobody is, and somebody speaks
/// into it every 40 to 140 characters.
#[test]
fn masters_do_not_collide() {
    for seed in 0..12 {
        let mut dice = Dice::new(seed, 1);
        let mut s = stage_with_seed(seed);
        s.device(4);
        s.device(5);
        s.primary();
        s.secondary();
        let dead = [poll(4), read(3, 5), poll(9)];
        s.always_wants(PRIMARY, &dead[..2 + usize::from(dice.chance(0.5))]);
        s.always_wants(SECONDARY, &dead[..2 + usize::from(dice.chance(0.5))]);
        let mut at = 0.0;
        for _ in 0..30 {
            at += 40.0 + f64::from(dice.below(10_000)) / 100.0;
            s.at(at).says("somebody", disturbance(&mut dice));
        }
        s.play_to(at + 500.0);
        let masters: Vec<&Sent> =
            s.timeline.sent.iter().filter(|t| [PRIMARY, SECONDARY].contains(&t.who)).collect();
        for two in masters.windows(2) {
            assert!(
                two[1].begins >= two[0].ends,
                "seed {seed}, {}\n{}",
                in_characters(two[1].begins),
                s.timeline
            );
        }
        for who in [PRIMARY, SECONDARY] {
            let turns = masters.iter().filter(|t| t.who == who).count();
            assert!(turns >= 5, "seed {seed}: the {who} had {turns} turns\n{}", s.timeline);
        }
    }
}
