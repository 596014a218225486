//! The demo's traffic as a wave: read back equal, and through a bad loop with the damage counted.

use super::demo::Stage;
use super::output::Failure;
use super::wave_loop::Path as LoopPath;
use super::wave_make::Mixer;
use super::wave_said::{LONGEST_PAUSE, Source, Who, ends};
use crate::bench::check_sheet;
use crate::frame::{Receiver, ReceiverConfig, Reception};
use crate::line::io::SampledLine;
use crate::report::text::plural;
use crate::time::Pace;
use crate::wave::{Demodulator, DemodulatorConfig, Heard, Talker, Transmission};
use crate::wiring::Noise;
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

/// Octets and frames that are read from a wave.
fn hear(mut mixer: Mixer<'_>) -> Result<(Vec<u8>, usize), Failure> {
    let config = DemodulatorConfig::full_scale(RATE_HZ);
    let mut d = Demodulator::new(config).map_err(|e| Failure::new("reading the wave", e.to_string(), ""))?;
    let mut receiver =
        Receiver::new(ReceiverConfig::for_line(Pace::Wire, SampledLine::CAPABILITIES.stamp_error));
    let (mut octets, mut part, mut some) = (Vec::new(), Vec::new(), [Heard::default(); 64]);
    let mut take = |heard: &[Heard]| {
        for h in heard {
            if let Heard::Character(c) = h {
                octets.push(c.octet.value);
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
    let said: Vec<(Who, Transmission)> =
        Source::open(log)?.said(usual, Some(LONGEST_PAUSE))?.collect::<Result<_, _>>()?;
    let end = said.iter().map(|(_, t)| ends(t)).max().unwrap_or_default();
    let again = || Box::new(said.iter().cloned().map(Ok));
    let sent: Vec<u8> = said.iter().flat_map(|(_, t)| t.frame.values()).collect();
    let (octets, good) = hear(Mixer::new(again(), end, usual, None, None, RATE_HZ, seed)?)?;
    stage.step(
        &format!(
            "the same traffic as tones of 1200 and 2200 Hz: {} made, {} read back {}",
            plural(sent.len(), "character"),
            plural(octets.len(), "character"),
            if octets == sent { "equal" } else { "and not equal" }
        ),
        octets == sent && good > 0,
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
            reception.damaged_share(t.frame.octets.len() as u32)
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
