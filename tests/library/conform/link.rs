//! Every case of the data link passes on a healthy mock and fails on one that is bad in one thing.

use super::rig::*;
use looprig::app::command::Revision;
use looprig::app::types::packed;
use looprig::conform::{Verdict, all};
use looprig::device::DeviceConfig;
use looprig::frame::{Marks, Octet, RawFrame};
use std::collections::BTreeSet;
use std::time::Duration;

const R7: Revision = Revision::R7;
/// The mock's unique address [FR-06].
const OWN: [u8; 5] = [0x3D, 0x71, 0x00, 0x31, 0x04];
/// 257 ms: 28 characters are 256.667 ms [LL-02].
const LATE: Duration = Duration::from_millis(257);

/// An answer of it to command 0 that nobody asked for: two status octets. The check byte is made by hand: 86 ^ 3D = BB, ^ 71 =
/// CA, ^ 31 = FB, ^ 04 = FF, ^ 02 = FD [FR-09].
const UNASKED: [u8; 16] =
    [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x86, 0x3D, 0x71, 0x00, 0x31, 0x04, 0x00, 0x02, 0x00, 0x00, 0xFD];

fn device() -> DeviceConfig {
    let mut config = config(R7);
    config.factory.long_tag = "Brackenmoor FV-3104".into();
    config
}

fn healthy() -> Bent {
    Bent::new(device())
}

/// A bent answer: behind the preambles, the check byte is made anew.
fn says(bend: impl FnMut(&mut Vec<u8>) + 'static) -> Bent {
    healthy().saying(framed(bend))
}

/// What a device hears: preambles, then the rest of what passed, check byte included.
fn hears(mut bend: impl FnMut(&mut Vec<u8>, &[Octet]) + 'static) -> Bent {
    healthy().hearing(move |octets| {
        let mut values: Vec<u8> = octets.iter().map(|o| o.value).collect();
        bend(&mut values, octets);
        values
    })
}

/// The same with the frame behind its preambles taken apart, its check byte left out; afterwards both are made anew.
fn hears_frames(mut bend: impl FnMut(&mut Vec<u8>) + 'static) -> Bent {
    hears(move |values, _| {
        let preambles = values.iter().take_while(|&&o| o == 0xFF).count();
        if values.len() < preambles + 5 {
            return;
        }
        let check = values[preambles..].iter().fold(0, |x, o| x ^ o);
        let mut frame = values[preambles..values.len() - 1].to_vec();
        bend(&mut frame);
        if frame.is_empty() {
            return values.clear();
        }
        let mended = frame.iter().fold(0, |x, o| x ^ o);
        // A check byte that was wrong stays wrong.
        *values = [&vec![0xFF; preambles], &frame[..], &[mended ^ check]].concat();
    })
}

/// Deaf to what this says yes to, by what passed without its preambles, their number in front.
fn deaf_to(mut which: impl FnMut(usize, &[u8], &[Octet]) -> bool + 'static) -> Bent {
    hears(move |values, octets| {
        let preambles = values.iter().take_while(|&&o| o == 0xFF).count();
        let rest = values[preambles..].to_vec();
        if which(preambles, &rest, octets) {
            values.clear();
        }
    })
}

fn is_long(frame: &[u8]) -> bool {
    frame[0] & 0x80 != 0
}

/// The header's length: delimiter, address, command, byte count.
fn header(frame: &[u8]) -> usize {
    if is_long(frame) { 8 } else { 4 }
}

fn command(frame: &[u8]) -> u8 {
    frame[header(frame) - 2]
}

/// To all devices [FR-07].
fn is_broadcast(frame: &[u8]) -> bool {
    is_long(frame) && frame.len() >= 6 && frame[1] & 0x3F == 0 && frame[2..6] == [0; 4]
}

/// A short frame becomes a long one with the device's address.
fn lengthen(frame: &mut Vec<u8>) {
    let master = frame[1] & 0x80;
    frame[0] |= 0x80;
    frame.splice(1..2, [OWN[0] | master, OWN[1], OWN[2], OWN[3], OWN[4]]);
}

/// With a pause of so many characters before the tenth octet of each answer.
fn pausing(characters: f64) -> Bent {
    healthy().saying(move |octets| {
        let mut said = raw(&octets);
        // A long answer: by a short one the device is found.
        if is_long(&split(&octets).1) {
            said.octets[9].gap_before = CHARACTER.mul_f64(characters);
        }
        said
    })
}

/// Octets in front of and behind each answer.
fn between(before: &'static [u8], behind: &'static [u8]) -> Bent {
    healthy().saying(move |octets| raw(&[before, &octets, behind].concat()))
}

/// Answers with other preambles.
fn preambles(n: usize) -> Bent {
    healthy().saying(move |octets| {
        let (_, frame) = split(&octets);
        join(n, &frame)
    })
}

/// A byte count that is made to fit what came, and the check byte too.
fn counts_for_itself() -> Bent {
    hears_frames(|frame| {
        if is_long(frame) {
            frame[7] = (frame.len() - 8) as u8;
        }
    })
    .hearing(|octets| {
        let values: Vec<u8> = octets.iter().map(|o| o.value).collect();
        let preambles = values.iter().take_while(|&&o| o == 0xFF).count();
        let mut frame = values[preambles..values.len() - 1].to_vec();
        if frame.len() >= 8 && is_long(&frame) {
            frame[7] = (frame.len() - 8) as u8;
        }
        join(preambles, &frame).values()
    })
}

/// A communication error with other octets; `bend` has the frame from the delimiter on.
fn errs(mut bend: impl FnMut(&mut Vec<u8>) + 'static) -> Bent {
    says(move |frame| {
        if frame[header(frame)] & 0x80 != 0 {
            bend(frame);
        }
    })
}

/// A device for each case that fails on it.
fn bad_devices() -> Vec<(&'static str, Bent)> {
    let mut rows: Vec<(&'static str, Bent)> = Vec::new();
    let mut row = |id, device| rows.push((id, device));
    framing(&mut row);
    requests(&mut row);
    addressing(&mut row);
    preamble_rows(&mut row);
    check(&mut row);
    timing(&mut row);
    masters(&mut row);
    rows
}

type Row<'a> = &'a mut dyn FnMut(&'static str, Bent);

fn framing(row: Row<'_>) {
    let to_short = |frame: &mut Vec<u8>| {
        if is_long(frame) {
            frame[0] = 0x06;
            frame.splice(1..6, [POLLING]);
        }
    };
    row("link/framing/delimiter-of-a-long-answer", says(to_short));
    row(
        "link/framing/delimiter-of-a-short-answer",
        says(|f| {
            if !is_long(f) {
                lengthen(f)
            }
        }),
    );
    row("link/framing/physical-layer-bits-are-clear", says(|f| f[0] |= 0x08));
    row(
        "link/framing/no-expansion-octets-in-answers",
        says(|f| {
            f[0] |= 0x20;
            f.insert(header(f) - 2, 0x00);
        }),
    );
    row(
        "link/framing/byte-count-of-answers",
        says(|f| {
            if is_long(f) {
                f[7] += 1
            }
        }),
    );
    row(
        "link/framing/two-status-octets",
        says(|f| {
            if is_long(f) && command(f) == 4 {
                f.truncate(8);
                f[7] = 0;
            }
        }),
    );
    row("link/framing/nothing-before-the-preambles", between(&[0x00], &[]));
    row("link/framing/nothing-behind-the-check-byte", between(&[], &[0x00]));
    row(
        "link/framing/answers-name-the-command",
        says(|f| {
            if is_long(f) {
                f[6] ^= 0x20
            }
        }),
    );
    row("link/framing/no-pause-inside-answers", pausing(1.1));
    row("link/framing/octets-follow-at-once", pausing(0.7));
    row(
        "link/framing/parity-of-answers-is-odd",
        healthy().saying(|octets| {
            let mut said = raw(&octets);
            // A preamble: the rest is read all the same.
            said.octets[0].bad_parity = true;
            said
        }),
    );
}

fn requests(row: Row<'_>) {
    let has_surplus = |f: &[u8]| is_long(f) && f.len() > 9 && f[6] == 0;
    row("link/requests/surplus-data-are-ignored", deaf_to(move |_, f, _| has_surplus(f)));
    row("link/requests/longest-request", deaf_to(|_, f, _| f.len() > 100));
    row(
        "link/requests/expansion-octets",
        hears_frames(|f| {
            let n = usize::from(f[0] >> 5 & 3);
            f[0] &= 0x9F;
            let at = header(f) - 2;
            f.drain(at..at + n);
        }),
    );
    row(
        "link/requests/short-frame-is-for-command-0",
        hears_frames(|f| {
            if f[2] != 0 && !is_long(f) {
                lengthen(f)
            }
        }),
    );
    row(
        "link/requests/silence-after-other-short-frames",
        hears_frames(|f| {
            if f[2] != 0 && !is_long(f) {
                lengthen(f);
                // A command that no device has.
                f[6] = 4;
            }
        }),
    );
    row(
        "link/requests/kinds-that-do-not-exist",
        hears_frames(|f| {
            if !matches!(f[0] & 7, 1 | 6) {
                f[0] = f[0] & 0xF8 | 2
            }
        }),
    );
    row(
        "link/requests/answers-are-not-answered",
        hears_frames(|f| {
            if f[0] & 7 == 6 {
                f[0] = 0x82
            }
        }),
    );
    row(
        "link/requests/bursts-are-not-answered",
        hears_frames(|f| {
            if f[0] & 7 == 1 {
                f[0] = 0x82
            }
        }),
    );
    row("link/requests/byte-count-beyond-the-data", counts_for_itself());
    row("link/requests/byte-count-below-the-data", counts_for_itself());
    row(
        "link/requests/broken-off",
        hears(|values, _| {
            let rest: Vec<u8> = values.iter().copied().skip_while(|&o| o == 0xFF).collect();
            let check = rest.iter().fold(0, |x, o| x ^ o);
            if check != 0 {
                values.push(check);
            }
        }),
    );
    let mut broken = false;
    row(
        "link/requests/right-one-behind-a-broken-one",
        deaf_to(move |_, f, _| {
            let was_broken = broken;
            broken = f.iter().fold(0, |x, o| x ^ o) != 0;
            was_broken
        }),
    );
    row(
        "link/requests/octets-behind-the-check-byte",
        deaf_to(|_, f, _| is_long(f) && f.len() > 9 + usize::from(f[7])),
    );
    // What the rig hands over has no pauses.
    row("link/requests/pause-inside", hears(|_, _| {}));
    row(
        "link/requests/short-pauses-inside",
        deaf_to(|_, _, octets| octets.windows(2).any(|w| w[1].at.since(w[0].at) > CHARACTER.mul_f64(1.2))),
    );
}

fn addressing(row: Row<'_>) {
    row(
        "link/addressing/identity-makes-the-address",
        // Octet 11 of the data, the last of the device id.
        says(|f| {
            if is_long(f) && f[6] == 0 {
                f[10 + 11] ^= 0x01
            }
        }),
    );
    row(
        "link/addressing/long-answer-has-the-address",
        says(|f| {
            if is_long(f) {
                f[5] ^= 0x01
            }
        }),
    );
    let mut short = 0;
    row(
        "link/addressing/answers-at-the-polling-address",
        deaf_to(move |_, f, _| {
            short += usize::from(!is_long(f));
            // It was found by the first one.
            !is_long(f) && short > 1
        }),
    );
    row(
        "link/addressing/short-answer-has-the-address",
        says(|f| {
            if !is_long(f) {
                f[1] ^= 0x01
            }
        }),
    );
    row(
        "link/addressing/other-device-id",
        hears_frames(|f| {
            if is_long(f) && !is_broadcast(f) {
                f[3..6].copy_from_slice(&OWN[2..])
            }
        }),
    );
    row(
        "link/addressing/other-device-type",
        hears_frames(|f| {
            if is_long(f) && !is_broadcast(f) {
                f[1] = f[1] & 0xC0 | OWN[0];
                f[2] = OWN[1];
            }
        }),
    );
    row(
        "link/addressing/other-polling-address",
        hears_frames(|f| {
            if !is_long(f) {
                f[1] = f[1] & 0xF0 | POLLING
            }
        }),
    );
    row(
        "link/addressing/upper-bits-of-a-polling-address",
        hears_frames(|f| {
            if !is_long(f) {
                f[1] &= 0xCF
            }
        }),
    );
    row("link/addressing/broadcast-of-its-tag", deaf_to(|_, f, _| is_broadcast(f) && f[6] == 11));
    row("link/addressing/broadcast-of-its-long-tag", deaf_to(|_, f, _| is_broadcast(f) && f[6] == 21));
    let zeros = |f: &mut Vec<u8>| {
        if f[6] == 11 {
            f[1] &= 0xC0;
            f[2..6].fill(0);
        }
    };
    row("link/addressing/broadcast-answer-has-its-own-address", says(zeros));
    let tag = packed::pack("FV-3104", 6).expect("a tag");
    row(
        "link/addressing/broadcast-of-another-tag",
        hears_frames(move |f| {
            if is_broadcast(f) && f[6] == 11 {
                f[8..14].copy_from_slice(&tag);
            }
        }),
    );
    row(
        "link/addressing/broadcast-of-another-long-tag",
        hears_frames(|f| {
            if is_broadcast(f) && f[6] == 21 {
                f[8..40].fill(0);
                f[8..27].copy_from_slice(b"Brackenmoor FV-3104");
            }
        }),
    );
    row(
        "link/addressing/broadcast-of-other-commands",
        hears_frames(|f| {
            if is_broadcast(f) && !matches!(f[6], 11 | 21) {
                f[1] |= OWN[0];
                f[2..6].copy_from_slice(&OWN[1..]);
            }
        }),
    );
}

fn preamble_rows(row: Row<'_>) {
    row("link/preambles/as-many-as-it-wants", deaf_to(|n, _, _| n < 9));
    // Octet 3 of the data of command 0.
    row(
        "link/preambles/wants-5-to-20",
        says(|f| {
            if command(f) == 0 {
                let at = header(f) + 2 + 3;
                f[at] = 3;
            }
        }),
    );
    row("link/preambles/twenty", deaf_to(|n, _, _| n > 15));
    row("link/preambles/five-find-it", deaf_to(|n, f, _| !is_long(f) && n < 9));
    row("link/preambles/two-are-a-start", deaf_to(|n, _, _| n < 4));
    row("link/preambles/one-is-no-start", hears(|values, _| values.insert(0, 0xFF)));
    let spoilt = |octets: &[Octet]| octets.iter().any(|o| o.value == 0xFF && o.marks.contains(Marks::PARITY));
    row("link/preambles/first-ones-spoilt", deaf_to(move |_, _, octets| spoilt(octets)));
    // What the rig hands over has neither wrong parity nor pauses.
    row("link/preambles/last-one-spoilt", hears(|_, _| {}));
    row("link/preambles/pause-before-the-delimiter", hears(|_, _| {}));
    row("link/preambles/octets-before-them", deaf_to(|n, _, _| n == 0));
    row("link/preambles/of-answers", preambles(4));
    row("link/preambles/of-answers-as-told", preambles(6));
}

fn check(row: Row<'_>) {
    let wrong_in_3 = |octets: Vec<u8>| -> RawFrame {
        let mut said = raw(&octets);
        let (_, frame) = split(&octets);
        if command(&frame) == 3
            && let Some(last) = said.octets.last_mut()
        {
            last.value ^= 0x01;
        }
        said
    };
    row("link/check/of-answers", healthy().saying(wrong_in_3));
    row(
        "link/check/wrong-check-byte",
        hears(|values, _| {
            let rest: Vec<u8> = values.iter().copied().skip_while(|&o| o == 0xFF).collect();
            let check = rest.iter().fold(0, |x, o| x ^ o);
            if let Some(last) = values.last_mut() {
                *last ^= check;
            }
        }),
    );
    row(
        "link/check/every-octet-counts",
        hears(|values, _| {
            let rest: Vec<u8> = values.iter().copied().skip_while(|&o| o == 0xFF).collect();
            // It leaves out bit 04 of every octet.
            if rest.iter().fold(0, |x, o| x ^ o) == 0x04
                && let Some(last) = values.last_mut()
            {
                *last ^= 0x04;
            }
        }),
    );
    row(
        "link/check/preambles-do-not-count",
        hears(|values, _| {
            let preambles = values.iter().take_while(|&&o| o == 0xFF).count();
            if preambles % 2 == 1
                && let Some(last) = values.last_mut()
            {
                *last ^= 0xFF;
            }
        }),
    );
    row("link/check/wrong-parity", hears(|_, _| {}));
    row("link/check/wrong-parity-in-the-header", hears(|_, _| {}));
    let mut silent = device();
    silent.answers_damaged = false;
    row("link/check/damage-is-told", Bent::new(silent));
    row("link/check/error-of-the-check-byte", errs(|f| f[8] = 0x80));
    row("link/check/error-of-parity", errs(|f| f[8] &= 0xBF));
    row("link/check/reserved-error-bit", errs(|f| f[8] |= 0x04));
    row("link/check/error-names-its-own-kind", errs(|f| f[8] |= 0x40));
    row(
        "link/check/error-without-data",
        errs(|f| {
            f.push(0x00);
            f[7] += 1;
        }),
    );
    row("link/check/second-octet-of-an-error", errs(|f| f[9] = 0x55));
}

fn timing(row: Row<'_>) {
    row("link/timing/answers-within-limit", healthy().late(LATE));
    row("link/timing/status-within-limit", healthy().late(LATE));
    row("link/timing/writes-within-limit", healthy().late(LATE));
    row("link/timing/short-frame-answered-within-limit", healthy().late(LATE));
    row("link/timing/refusals-within-limit", healthy().late(LATE));
    row("link/timing/errors-within-limit", healthy().late(LATE));
    let mut n = 0;
    row(
        "link/timing/every-request-is-answered",
        deaf_to(move |_, f, _| {
            n += usize::from(is_long(f));
            is_long(f) && n % 25 == 0
        }),
    );
    row(
        "link/timing/one-answer-to-a-request",
        healthy().saying(|octets| {
            let mut said = raw(&octets);
            let mut again = raw(&octets);
            again.octets[0].gap_before = CHARACTER * 30;
            said.octets.append(&mut again.octets);
            said
        }),
    );
    row("link/timing/silent-unasked", healthy().chattering(Duration::from_millis(3100), &UNASKED));
    row("link/timing/request-after-link-grant", healthy().deaf_after_answers(CHARACTER * 20));
    let mut last: Vec<u8> = Vec::new();
    row(
        "link/timing/repeat-gets-the-same",
        deaf_to(move |_, f, _| {
            let same = last == f;
            last = f.to_vec();
            same
        }),
    );
    let mut at = None;
    row(
        "link/timing/alive-after-silence",
        deaf_to(move |_, _, octets| {
            let before = at.replace(octets[octets.len() - 1].at);
            before.is_some_and(|at| octets[0].at.since(at) > CHARACTER * 800)
        }),
    );
}

fn masters(row: Row<'_>) {
    row("link/masters/secondary-is-named", says(|f| f[1] |= 0x80));
    row("link/masters/primary-is-named", says(|f| f[1] &= 0x7F));
    row(
        "link/masters/named-in-short-frames",
        says(|f| {
            if !is_long(f) {
                f[1] |= 0x80
            }
        }),
    );
    row(
        "link/masters/named-in-refusals",
        says(|f| {
            if f[header(f)] == 64 {
                f[1] |= 0x80
            }
        }),
    );
    row("link/masters/named-in-errors", errs(|f| f[1] |= 0x80));
    row(
        "link/masters/named-in-answers-to-all",
        says(|f| {
            if command(f) == 11 {
                f[1] |= 0x80
            }
        }),
    );
    row("link/masters/both-are-answered", deaf_to(|_, f, _| f[1] & 0x80 != 0));
    let mut last = 0;
    row(
        "link/masters/in-turn",
        deaf_to(move |_, f, _| {
            let before = std::mem::replace(&mut last, f[1] & 0x80);
            before != last
        }),
    );
    row("link/masters/other-one-after-hold", healthy().deaf_after_answers(CHARACTER * 10));
    row("link/masters/burst-bit-clear", says(|f| f[1] |= 0x40));
}

#[test]
fn each_case_fails_on_a_device_that_is_bad() {
    let mut wrong = Vec::new();
    let mut shown = BTreeSet::new();
    for (id, device) in bad_devices() {
        let verdict = one(device, id).verdict;
        shown.insert(id);
        if !matches!(verdict, Verdict::Fail { .. }) {
            wrong.push(format!("{id}: {verdict:?}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    let open: Vec<&str> =
        all().iter().map(|c| c.id).filter(|id| id.starts_with("link/") && !shown.contains(id)).collect();
    assert!(open.is_empty(), "no bad device for {open:#?}");
}

/// The rig changes nothing by itself: with it, but unbent, a device passes what is not about pauses and parity.
#[test]
fn the_rig_alone_spoils_nothing() {
    let results = judge(hears(|_, _| {}), "link");
    let failed: Vec<&str> =
        results.cases.iter().filter(|c| c.verdict != Verdict::Pass).map(|c| c.case.id).collect();
    let about = ["pause", "spoilt", "parity"];
    assert!(failed.iter().all(|id| about.iter().any(|w| id.contains(w))), "{failed:#?}");
    assert_eq!(failed.len(), 6, "{failed:#?}");
}

#[test]
fn what_is_not_for_it_is_noticed() {
    let said = fails("link/addressing/broadcast-of-its-tag", deaf_to(|_, f, _| is_broadcast(f)));
    assert!(said.contains("command 11") && said.contains("silence"), "{said}");
}

/// What a fail says and keeps.
#[test]
fn a_fail_tells_what_a_developer_needs() {
    let result = one(healthy().late(LATE), "link/timing/answers-within-limit");
    let Verdict::Fail { expected, observed } = &result.verdict else { panic!("{:?}", result.verdict) };
    assert!(expected.contains("256.7 ms") && expected.contains("command 0"), "{expected}");
    // 257 ms, and the 10 ms that the mock takes.
    assert_eq!(observed, "267.0 ms");
    assert!(result.span.0 < result.span.1);
    // One request and one answer, with the octets that passed.
    assert_eq!(result.words.len(), 2);
    assert!(result.words[0].hex().starts_with("5 x FF 82 3D 71 00 31 04 00 00"), "{}", result.words[0].hex());
    assert!(result.words[1].hex().starts_with("5 x FF 86 3D 71 00 31 04 00 18"), "{}", result.words[1].hex());
}
