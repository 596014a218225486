//! The demo's traffic as a wave: read back equal, and through a bad loop with the damage counted.

use super::demo::Stage;
use super::output::Failure;
use super::wave_loop::Path as LoopPath;
use super::wave_make::Mixer;
use super::wave_said::{LONGEST_PAUSE, Source, Who, counted, ends};
use crate::bench::check_sheet;
use crate::capture::{Captured, Reader};
use crate::frame::{Receiver, ReceiverConfig, Reception};
use crate::line::io::SampledLine;
use crate::report::text::plural;
use crate::time::{BitTimes, Instant, Pace};
use crate::wave::{Demodulator, DemodulatorConfig, Heard, Talker, Transmission};
use crate::wiring::Noise;
use core::time::Duration;
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

/// Samples a second.
const RATE_HZ: f64 = 16_000.0;
/// Level of every talker of the good loop, half of peak to peak: the 500 mV of a nominal signal [WI-06].
const AMPLITUDE_V: f64 = 0.25;
/// A loop with too much cable, beside a drive. All numbers are invented.
const SHEET: &str = r#"title = "FV-3104 beside the drive of a pump, Brackenmoor water works"

[card]
compliance_v = 24
impedance_ohm = 800

[[cable]]
length_m = 1500
cross_section_mm2 = 1.0
insulation = "pe_screened"

[[device]]
tag = "FV-3104"
min_voltage_v = 9.0
impedance_ohm = 400
transmit_mv_pp = 400
transmit_impedance_ohm = 400

[master]
at = "source"
transmit_mv_pp = 500
"#;
/// Noise at the master there, V rms from 500 Hz to 10 kHz.
const NOISE_V: f64 = 0.075;

/// How much better and worse than theory the receiver may be, dB [WV-07].
const BETTER_DB: f64 = 1.5;
const WORSE_DB: f64 = 0.5;

/// How far the beginning of a transmission may be from where the log has it, s: the error of a stamp [WV-05].
const STAMP_ERROR_S: f64 = 1e-4;

/// How far a pause that was shortened may be from the longest, for times are whole nanoseconds.
const SLACK: Duration = Duration::from_millis(1);

/// The time of every octet of a log as it is on the wire, s.
fn times(log: &Path) -> Result<Vec<f64>, Failure> {
    let failed = |e| Failure::new(format!("reading {}", log.display()), crate::capture::io_words(&e), "");
    let mut reader = Reader::new(BufReader::new(File::open(log).map_err(failed)?)).map_err(failed)?;
    let (mut times, mut factor) = (Vec::new(), 1.0);
    while let Some(captured) = reader.next().map_err(failed)? {
        match captured {
            Captured::Start(h) => {
                factor = if let Pace::Scaled(f) = h.pace() { f } else { 1.0 };
            }
            Captured::Octets(octets) => times.extend(octets.iter().map(|o| o.at.as_secs_f64() * factor)),
            _ => {}
        }
    }
    Ok(times)
}

/// The times of first characters in a wave whose long pauses were shortened, s: those of the log less what was cut. `made` is when each transmission's carrier
/// begins, its first character ends, and its carrier does, in the wave. How many pauses were shortened comes with them.
fn shortened(logged_s: &[f64], made: &[[Instant; 3]]) -> (Vec<f64>, usize) {
    let (mut cut_s, mut pauses, mut out) = (0.0, 0, Vec::new());
    for (k, at) in logged_s.iter().enumerate() {
        let over = k.checked_sub(1).and_then(|k| made.get(k)).map(|m| m[2]);
        if let (Some([carrier, first, _]), Some(over)) = (made.get(k), over)
            && carrier.since(over) + SLACK >= LONGEST_PAUSE
        {
            // Against the first of all, for the one before may have begun later than the log says. A pause of just that length is none that was cut.
            let all_s = at - logged_s[0] - first.since(made[0][1]).as_secs_f64();
            if all_s > cut_s + SLACK.as_secs_f64() {
                cut_s = all_s;
                pauses += 1;
            }
        }
        out.push(at - cut_s);
    }
    (out, pauses)
}

/// Octets with their times, and frames, that are read from a wave.
fn hear(mut mixer: Mixer<'_>) -> Result<(Vec<(u8, Instant)>, usize), Failure> {
    let config = DemodulatorConfig::full_scale(RATE_HZ);
    let mut d = Demodulator::new(config).map_err(|e| Failure::new("reading the wave", e.to_string(), ""))?;
    let mut receiver =
        Receiver::new(ReceiverConfig::for_line(Pace::Wire, SampledLine::CAPABILITIES.stamp_error));
    let (mut octets, mut part, mut some) = (Vec::new(), Vec::new(), [Heard::default(); 64]);
    let mut take = |heard: &[Heard]| {
        for h in heard {
            if let Heard::Character(c) = h {
                octets.push((c.octet.value, c.octet.at));
                receiver.handle_timeout(c.octet.at);
                receiver.push(&[c.octet]);
            }
        }
    };
    while mixer.next(&mut part)? {
        let mut rest = &part[..];
        while !rest.is_empty() {
            let p = d.run(rest, &mut some);
            take(&some[..p.produced]);
            rest = &rest[p.consumed..];
        }
    }
    loop {
        let n = d.finish(&mut some);
        if n == 0 {
            break;
        }
        take(&some[..n]);
    }
    receiver.finish();
    let good = core::iter::from_fn(|| receiver.next()).filter(|r| matches!(r, Reception::Good(_))).count();
    Ok((octets, good))
}

/// Makes and reads both waves.
pub fn wave(stage: &mut Stage<'_>, log: &Path, seed: u64) -> Result<(), Failure> {
    stage.say("\n15. All of that as a wave, as a recorder on the loop would have it; then over a loop that is too long and noisy.")?;
    let usual = Talker::of(AMPLITUDE_V);
    let mut source = Source::open(log)?.said(usual, Some(LONGEST_PAUSE))?;
    let said: Vec<(Who, Transmission)> = source.by_ref().collect::<Result<_, _>>()?;
    let end = said.iter().map(|(_, t)| ends(t)).max().unwrap_or_default();
    let again = || Box::new(said.iter().cloned().map(Ok));
    let sent: Vec<u8> = said.iter().flat_map(|(_, t)| t.frame.values()).collect();
    let (heard, good) = hear(Mixer::new(again(), end, usual, None, None, RATE_HZ, seed)?)?;
    let equal = heard.iter().map(|h| h.0).eq(sent.iter().copied());
    stage.step(
        &format!(
            "the same traffic as tones of 1200 and 2200 Hz: {} made, {} read back {}",
            plural(sent.len(), "character"),
            plural(heard.len(), "character"),
            if equal { "equal" } else { "and not equal" }
        ),
        equal && good > 0,
    )?;
    // The first character of every transmission, against the first of all.
    let logged = times(log)?;
    let mut firsts = Vec::new();
    for (_, t) in &said {
        let at = firsts.last().map_or(0, |(at, n)| at + n);
        firsts.push((at, t.frame.octets.len()));
    }
    let logged_firsts: Vec<f64> = firsts.iter().filter_map(|&(k, _)| logged.get(k).copied()).collect();
    let made: Vec<[Instant; 3]> = said
        .iter()
        .map(|(_, t)| {
            let character = BitTimes::characters(1).duration().div_f64(t.talker.rate);
            [t.begin, t.begin + t.talker.lead + character, ends(t)]
        })
        .collect();
    let (logged_firsts, cut) = shortened(&logged_firsts, &made);
    let off = firsts.iter().zip(&logged_firsts).filter_map(|(&(k, _), at)| {
        let wave = heard.get(k)?.1.since(heard[0].1).as_secs_f64();
        Some((wave - (at - logged_firsts[0])).abs())
    });
    let at_their_time = off.filter(|s| *s <= STAMP_ERROR_S).count();
    let pushed = source.pushed() as usize;
    stage.step(
        &format!(
            "at the times of the log, within 0.1 ms: {at_their_time} of {}; later, for by the log's stamps the one before was not over: {pushed}{}",
            plural(said.len(), "transmission"),
            match cut {
                0 => String::new(),
                n => format!("; {} of more than {} s shortened to that", plural(n, "pause"), LONGEST_PAUSE.as_secs()),
            }
        ),
        logged.len() == sent.len() && at_their_time > 0 && at_their_time + pushed >= said.len(),
    )?;
    let sheet = check_sheet(SHEET, Path::new("bad loop")).map_err(|e| Failure::told(e.to_string()))?;
    let path = LoopPath::of(sheet.circuit, None, "master")?;
    let noise = Noise::in_usual_band(NOISE_V);
    let (_, got) = hear(Mixer::new(again(), end, usual, Some(&path), Some(noise), RATE_HZ, seed)?)?;
    // Theory with noise that is weaker or stronger by so many dB: how many are damaged, and three standard deviations of that.
    let theory = |db: f64| {
        let noise = Some(Noise::in_usual_band(NOISE_V * 10f64.powf(db / 20.0)));
        let shares = said.iter().map(|(who, t)| {
            let reception = crate::wiring::Reception { noise, ..path.reception(*who) };
            reception.damaged_share(counted(t))
        });
        let (sum, variance) = shares.fold((0.0, 0.0), |(a, b), p| (a + p, b + p * (1.0 - p)));
        (sum, 3.0 * variance.sqrt())
    };
    let expected = theory(0.0).0;
    // Within what [WV-07] says of the receiver: 1.5 dB better than theory at best, 0.5 dB worse at worst.
    let (best, worst) = (theory(-BETTER_DB), theory(WORSE_DB));
    let lost = good.saturating_sub(got);
    stage.step(
        &format!(
            "the same at the master of a bad loop (1500 m, a drive's noise): {lost} of {} lost; theory expects about {expected:.0}, a receiver that \
             is {BETTER_DB} dB better or {WORSE_DB} worse {:.0} to {:.0}",
            plural(good, "frame"),
            best.0,
            worst.0
        ),
        (best.0 - best.1..=worst.0 + worst.1).contains(&(lost as f64)),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pauses of 160 s and of 60: the first was made 60 s long, so 100 s were cut from it, and what follows comes 100 s earlier; nothing was cut from the second.
    /// That the one before was made 20 ms late, and its carrier ended so much later, takes 20 ms less away.
    #[test]
    fn what_was_cut_is_known() {
        let at = |s: f64| Instant::from_nanos((s * 1e9) as u64);
        let logged = [0.0, 1.0, 161.1, 221.2];
        let made = [[0.09, 0.1, 0.2], [1.11, 1.12, 1.22], [61.22, 61.23, 61.32], [121.32, 121.33, 121.42]];
        let made = made.map(|t| t.map(at));
        let (times, cut) = shortened(&logged, &made);
        assert_eq!(cut, 1);
        for (time, right) in times.iter().zip([0.0, 1.0, 61.13, 121.23]) {
            assert!((time - right).abs() < 1e-6, "{times:?}");
        }
    }
}
