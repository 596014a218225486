//! A scene as text: what is set up and done, and what the last thing done is answered.
//!
//! Steps stand behind each other with `;`. Those that send:
//!
//! | step | what |
//! |---|---|
//! | `s 17 0102`, `p 17 0102` | the secondary, the primary asks command 17 with these data at the unique address |
//! | `bs 11 ..` | the same to the broadcast address |
//! | `@5 0` | the secondary asks command 0 in a short frame to polling address 5 |
//! | `raw ..` | these octets from the delimiter on, behind five preambles; `ww` at the end is the right check byte |
//! | `parity`, `framing`, `check`, `pause`, `cut` before one of these | its last data octet, check byte, .. is spoilt so; a pause before the command; cut by the last two octets |
//! | `behind 7`, `spoilt`, `header`, `late` before one of these | so many preambles; wrong parity in the last of them; in the delimiter; 0.4 characters of pause before the command |
//! | `as 83`, `claims 03`, `flip 80` before one of these | its delimiter; its byte count, both with a check byte that fits; these bits of its check byte |
//!
//! Else `wait MS`, `power`, `ma X`, `degc X`, `protect`, `break`, `listen MS`: whatever was said in that time.
//! Set-up: `kind=temperature`, `revision=6`, `slow=22:500`, `busy`.
//!
//! What is expected of the answer are words of which all have to hold; [`holds`] has them.

use super::stage::{Said, Stage, config};
use looprig::app::command::Revision;
use looprig::device::{KindName, ProtocolFault};
use looprig::frame::Marks;
use std::time::Duration;

/// What came of the last step.
#[derive(Debug)]
pub struct Outcome {
    /// The first thing that was said after it.
    pub answer: Option<Said>,
    /// All that was said while it went on.
    pub all: Vec<Said>,
}

pub fn octets(hex: &str) -> Vec<u8> {
    assert!(hex.len().is_multiple_of(2), "{hex}");
    (0..hex.len()).step_by(2).map(|i| u8::from_str_radix(&hex[i..i + 2], 16).expect(hex)).collect()
}

/// [FR-06]: FD without its two upper bits is 3D; types as in [DV-60].
fn unique(kind: KindName, revision: Revision) -> [u8; 5] {
    let of_kind = u8::from(kind == KindName::Temperature);
    match revision {
        Revision::R5 => [0x3D, 0x51 + of_kind, 0x00, 0x31, 0x04],
        Revision::R6 => [0x3D, 0x61 + of_kind, 0x00, 0x31, 0x04],
        Revision::R7 => [0x3D, 0x71 + of_kind, 0x00, 0x31, 0x04],
    }
}

fn checked(mut frame: Vec<u8>) -> Vec<u8> {
    frame.push(frame.iter().fold(0, |x, o| x ^ o));
    frame
}

fn request(address: &[u8], command: u8, data: &[u8]) -> Vec<u8> {
    let mut frame = vec![if address.len() == 1 { 0x02 } else { 0x82 }];
    frame.extend_from_slice(address);
    frame.extend_from_slice(&[command, data.len() as u8]);
    frame.extend_from_slice(data);
    checked(frame)
}

/// Plays a scene with these faults and gives what came of the last step.
pub fn play(script: &str, revision: Revision, faults: &[&'static ProtocolFault]) -> Outcome {
    let steps: Vec<&str> = script.split(';').map(str::trim).collect();
    let (mut kind, mut revision) = (KindName::Positioner, revision);
    for step in &steps {
        match *step {
            "kind=temperature" => kind = KindName::Temperature,
            "revision=6" => revision = Revision::R6,
            "revision=5" => revision = Revision::R5,
            "revision=7" => revision = Revision::R7,
            _ => {}
        }
    }
    let mut set_up = config(kind, revision);
    for step in &steps {
        if let Some((command, ms)) = step.strip_prefix("slow=").and_then(|s| s.split_once(':')) {
            set_up = Stage::slow(set_up, command.parse().expect("number"), ms.parse().expect("ms"));
        }
        if let Some(at) = step.strip_prefix("address=") {
            set_up.factory.polling_address = at.parse().expect("address");
        }
        set_up.busy |= *step == "busy";
    }
    let own = unique(kind, revision);
    let mut stage = Stage::new(set_up, faults);
    let mut outcome = Outcome { answer: None, all: Vec::new() };
    for step in steps.iter().filter(|s| !s.is_empty() && !s.contains('=') && **s != "busy") {
        let from = stage.said.len();
        outcome.answer = act(&mut stage, step, own);
        outcome.all = stage.said[from..].to_vec();
    }
    outcome
}

fn act(stage: &mut Stage, step: &str, own: [u8; 5]) -> Option<Said> {
    let words: Vec<&str> = step.split_whitespace().collect();
    let number = |i: usize| words[i].parse::<f64>().unwrap_or_else(|_| panic!("{step}"));
    let now = stage.now;
    match words[0] {
        "wait" | "listen" => stage.wait(Duration::from_secs_f64(number(1) / 1e3)),
        "power" => stage.device.power_cycle(now),
        "ma" => stage.device.set_loop_current_ma(now, number(1)),
        "degc" => stage.device.set_process_temperature_degc(now, number(1)),
        "bar" => stage.device.set_supply_pressure_bar(number(1)),
        "protect" => stage.device.set_write_protected(true),
        "break" => stage.device.set_malfunction(true),
        "parity" | "framing" | "check" | "pause" | "cut" => {
            let mut octets = [vec![0xFF; 5], sent(&words[1..], own)].concat();
            let last = octets.len() - 1;
            let (mut marked, mut pause) = (None, None);
            match words[0] {
                "parity" => marked = Some((last - 1, Marks::PARITY)),
                "framing" => marked = Some((last - 1, Marks::FRAMING)),
                "check" => octets[last] ^= 0x01,
                "pause" => pause = Some((11, 6.0)),
                _ => octets.truncate(last - 1),
            }
            return stage.send(&octets, marked, pause);
        }
        "behind" => {
            let preambles = vec![0xFF; number(1) as usize];
            return stage.send(&[preambles, sent(&words[2..], own)].concat(), None, None);
        }
        "spoilt" | "header" | "late" => {
            let octets = [vec![0xFF; 5], sent(&words[1..], own)].concat();
            let (marked, pause) = match words[0] {
                "spoilt" => (Some((4, Marks::PARITY)), None),
                "header" => (Some((5, Marks::PARITY)), None),
                _ => (None, Some((11, 1.4))),
            };
            return stage.send(&octets, marked, pause);
        }
        "as" | "claims" | "flip" => {
            let mut frame = sent(&words[2..], own);
            let (value, last) = (octets(words[1])[0], frame.len() - 1);
            match words[0] {
                "as" => frame[0] = value,
                "claims" => frame[7] = value,
                _ => frame[last] ^= value,
            }
            if words[0] != "flip" {
                frame.truncate(last);
                frame = checked(frame);
            }
            return stage.send(&[vec![0xFF; 5], frame].concat(), None, None);
        }
        "eight" => return stage.send(&[vec![0xFF; 8], sent(&words[1..], own)].concat(), None, None),
        _ => return stage.send(&[vec![0xFF; 5], sent(&words, own)].concat(), None, None),
    }
    None
}

/// A request from its delimiter on.
fn sent(words: &[&str], own: [u8; 5]) -> Vec<u8> {
    let data = |i: usize| words.get(i).map_or(Vec::new(), |hex| octets(hex));
    if words[0] == "raw" {
        return match words[1].strip_suffix("ww") {
            Some(rest) => checked(octets(rest)),
            None => octets(words[1]),
        };
    }
    let command = words[1].parse().unwrap_or_else(|_| panic!("{words:?}"));
    if let Some(address) = words[0].strip_prefix('@') {
        return request(&[address.parse().expect("address")], command, &data(2));
    }
    let (master, mut address) = match words[0] {
        "s" => (0x00, own),
        "p" => (0x80, own),
        "bs" => (0x00, [0; 5]),
        "bp" => (0x80, [0; 5]),
        other => panic!("no step {other}"),
    };
    address[0] |= master;
    request(&address, command, &data(2))
}

/// Whether words hold of an outcome.
///
/// | word | what |
/// |---|---|
/// | `silence` | nothing was said |
/// | `code=02` | first status octet |
/// | `fds=20`, `fds+20`, `fds-20` | second status octet; these bits set, clear |
/// | `data=..`, `d3=..`, `len=4` | all data, those from octet 3 on, how many |
/// | `pre=5`, `delim=86`, `addr=..`, `cmd=0`, `count=4` | parts of the frame |
/// | `check=ok`, `check=bad` | whether the octets up to the byte count make an exclusive or of 0 |
/// | `tail=1` | octets behind the frame by its byte count; below 0 so many are missing |
/// | `within`, `late` | begins within 28 characters, or not [LL-02] |
/// | `parity=bad`, `pause=3` | an octet with wrong parity, a pause of so many characters |
/// | `n=3`, `n>2`, `n<5` | how much was said |
/// | `every<0.4`, `every>0.9` | time from beginning to beginning of the last two, s |
/// | `follows=yes` | something was said right behind something else |
/// | `named=both`, `named=primary` | whom all of it names |
/// | `top+40`, `top-40`, `low=3D` | bits of the first address octet; its low six |
pub fn holds(outcome: &Outcome, words: &str) -> bool {
    words.split_whitespace().all(|word| one_holds(outcome, word))
}

fn one_holds(outcome: &Outcome, word: &str) -> bool {
    let all = &outcome.all;
    if let Some(n) = word.strip_prefix("n=") {
        return all.len() == n.parse::<usize>().expect(word);
    }
    if let Some(n) = word.strip_prefix("n>") {
        return all.len() > n.parse::<usize>().expect(word);
    }
    if let Some(n) = word.strip_prefix("n<") {
        return all.len() < n.parse::<usize>().expect(word);
    }
    if let Some(rest) = word.strip_prefix("every") {
        let [.., a, b] = &all[..] else { return false };
        let s = b.at.since(a.at).as_secs_f64();
        let wanted: f64 = rest[1..].parse().expect(word);
        return if rest.starts_with('<') { s < wanted } else { s > wanted };
    }
    if let Some(wanted) = word.strip_prefix("named=") {
        let primary = all.iter().filter(|s| s.frame()[1] & 0x80 != 0).count();
        return match wanted {
            "both" => primary > 0 && primary < all.len(),
            _ => !all.is_empty() && primary == all.len(),
        };
    }
    if let Some(wanted) = word.strip_prefix("follows=") {
        let lasts = |s: &Said| Duration::from_nanos(9_166_667) * s.values().len() as u32;
        let follows =
            all.windows(2).any(|two| two[1].at.since(two[0].at + lasts(&two[0])) < lasts(&two[0]) / 10);
        return follows == (wanted == "yes");
    }
    if word == "silence" {
        return all.is_empty();
    }
    let Some(said) = outcome.answer.as_ref().or(all.last()) else { return false };
    let frame = said.frame();
    let at = if frame[0] & 0x80 == 0 { 2 } else { 6 };
    let count = usize::from(frame[at + 1]);
    let end = (at + 2 + count).min(frame.len());
    let hex = |octets: &[u8]| octets.iter().map(|o| format!("{o:02X}")).collect::<String>();
    let data = frame.get(at + 4..end).unwrap_or_default();
    let (key, value) = word.split_at(word.find(['=', '+', '-']).unwrap_or(word.len()));
    let value = value.get(1..).unwrap_or("");
    match key {
        "code" => hex(&frame[at + 2..at + 3]) == value,
        "fds" => {
            let (octet, wanted) = (frame[at + 3], u8::from_str_radix(value, 16).expect(word));
            match word.as_bytes()[3] {
                b'=' => octet == wanted,
                b'+' => octet & wanted == wanted,
                _ => octet & wanted == 0,
            }
        }
        "top" => {
            let wanted = u8::from_str_radix(value, 16).expect(word);
            frame[1] & wanted == if word.contains('+') { wanted } else { 0 }
        }
        "low" => hex(&[frame[1] & 0x3F]) == value,
        "data" => hex(data) == value,
        "len" => data.len().to_string() == value,
        "pre" => said.values().iter().take_while(|&&o| o == 0xFF).count().to_string() == value,
        "delim" => hex(&frame[..1]) == value,
        "addr" => hex(&frame[1..at]) == value,
        "cmd" => frame[at].to_string() == value,
        "count" => count.to_string() == value,
        "check" => {
            let is_right = frame.get(..=end).is_some_and(|f| f.iter().fold(0, |x, o| x ^ o) == 0);
            is_right == (value == "ok")
        }
        "tail" => (frame.len() as i64 - (at + 3 + count) as i64).to_string() == value,
        "within" => said.after <= Duration::from_nanos(28 * 9_166_667),
        "late" => said.after > Duration::from_nanos(28 * 9_166_667),
        "parity" => said.raw.octets.iter().any(|o| o.bad_parity) == (value == "bad"),
        "pause" => {
            let pauses: Duration = said.raw.octets.iter().map(|o| o.gap_before).sum();
            (pauses.as_nanos() as f64 / 9_166_667.0).round().to_string() == value
        }
        _ => {
            let from: usize = key.strip_prefix('d').and_then(|n| n.parse().ok()).expect(word);
            let wanted = octets(value);
            data.get(from..from + wanted.len()) == Some(&wanted[..])
        }
    }
}
