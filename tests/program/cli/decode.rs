//! `decode`: files of every kind, and what is damaged in them.

use super::{table, too_long};
use crate::process::{Ended, Process, looprig, run, scratch};
use crate::support::{fixtures, hex};
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Stdio;

const HEADER: &str = r#"{"looprig_log":1,"line":"serial:/dev/ttyUSB0, 1200 8O1","start_utc":"2026-11-25T08:30:00Z","version":"0.1.0","pace":"wire","stamp_error_ns":0,"stamps":"octets","parity_seen":true,"carrier_seen":false}"#;

/// Command 0 to polling address 0 and to 1 by the primary master: 02 ^ 80 = 82, 02 ^ 81 = 83.
const REQUESTS: [&str; 2] = ["FFFFFFFFFF0280000082", "FFFFFFFFFF0281000083"];

/// A record of `octets` that begins at `ms`, in the wire's time: 11 bits at 1200 bit/s an octet.
fn record(ms: u64, octets: &str) -> String {
    let end = ms * 1_000_000 + (octets.len() as u64 / 2 - 1) * 9_166_667;
    format!("{{\"t\":{},\"e\":{end},\"o\":\"{octets}\"}}\n", ms * 1_000_000)
}

fn decode(dir: &Path, arguments: &[&str]) -> Ended {
    run(dir, &[&["decode"], arguments].concat())
}

/// Every published frame, as hex text with a remark in front.
fn all_frames(dir: &Path) -> usize {
    let frames: Vec<String> = fixtures().iter().filter(|f| f.is_frame()).map(|f| hex(&f.octets)).collect();
    fs::write(dir.join("frames.hex"), format!("# every published frame: prüfen\n{}\n", frames.join("\n")))
        .unwrap();
    frames.len()
}

/// The frame with its check byte, the exclusive or of all before it [FR-09].
fn checked(text: &str) -> String {
    let octets: Vec<u8> = crate::support::octets(text);
    format!("{text} {:02X}", octets.iter().fold(0, |a, b| a ^ b))
}

/// [LL-19]: two requests with one bit, 8 characters apart where one master would wait 28 (256.7 ms); both are shown. The
/// first begins at 1 s less its first character and ends 9 characters after 1 s: 1082.5 ms; the second begins at 1165 ms less
/// a character: 155.8 - 82.5 = 73.3 ms after it.
#[test]
fn two_masters_with_one_bit_are_told_with_both_requests() {
    let dir = scratch("twomasters");
    let log = [HEADER, "\n", &record(1_000, REQUESTS[0]), &record(1_165, REQUESTS[1])].concat();
    fs::write(dir.join("two.log"), log).unwrap();
    let said = decode(&dir, &["two.log"]).out.replace("\n  ", " ");
    for part in [
        "Against the rules of the link [LL-09], 1 x, first: two requests with the bit of the primary master, 73.3 ms apart",
        "first request: 02 80 00 00 82 (command 0 to polling address 0",
        "second request: 02 81 00 00 83 (command 0 to polling address 1",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
    let ended = decode(&dir, &["--summary", "--format", "csv", "two.log"]);
    assert!(ended.out.contains("against,LL-09,1"), "{}", ended.out);
    // 300 ms apart nobody is to blame.
    let log = [HEADER, "\n", &record(1_000, REQUESTS[0]), &record(1_400, REQUESTS[1])].concat();
    fs::write(dir.join("one.log"), log).unwrap();
    assert!(!decode(&dir, &["one.log"]).out.contains("Against"));
}

#[test]
fn text_fits_the_page_at_every_verbosity() {
    let dir = scratch("width");
    let n = all_frames(&dir);
    // Worst cases: every status bit with every communication error, with a refusal, and with data
    // that nobody knows.
    let mut text = fs::read_to_string(dir.join("frames.hex")).unwrap();
    for status in ["FE FF", "07 FF", "00 FF"] {
        for command in ["01", "03", "06", "C8"] {
            let data = " AA".repeat(60);
            text += &(checked(&format!("86 BD 71 00 31 04 {command} 02 {status}")) + "\n");
            text += &(checked(&format!("86 BD 71 00 31 04 {command} 3E {status}{data}")) + "\n");
        }
    }
    // A damaged frame and noise, too.
    text += "86 BD 71 00 31 04 01 02 00 00 00\n12 34 56 78\n";
    fs::write(dir.join("worst.hex"), text).unwrap();
    for options in [&[][..], &["-v"], &["-vv"], &["-vv", "--revision", "5"], &["-vv", "--revision", "7"]] {
        for file in ["frames.hex", "worst.hex"] {
            let ended = decode(&dir, &[&[file], options].concat());
            assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{options:?}");
            assert_eq!(too_long(&ended.out), [""; 0], "{options:?} {file}");
            assert!(
                file == "worst.hex" || ended.out.contains(&format!("Summary: {n} frames good, 0 damaged"))
            );
        }
    }
    let one_line = decode(&dir, &["-q", "frames.hex"]).out;
    assert_eq!(one_line.lines().count(), n, "a frame is one line");
}

#[test]
fn programs_can_read_it() {
    let dir = scratch("formats");
    let n = all_frames(&dir);
    let json = decode(&dir, &["--format", "json", "frames.hex"]);
    assert_eq!((json.code, json.err.as_str()), (0, ""));
    let frames: usize = json
        .json()
        .iter()
        .map(|e| e["tries"].as_u64().unwrap_or(0) as usize + usize::from(e.get("reply").is_some()))
        .sum();
    assert_eq!(frames, n);
    let csv = decode(&dir, &["--format", "csv", "frames.hex"]);
    assert_eq!((csv.code, csv.err.as_str()), (0, ""));
    let rows = table(&csv.out);
    assert!(rows.len() >= n);
    // [1770] table 4.S: 72.612 degC.
    assert!(rows.iter().any(|r| r[8] == "pv" && r[9] == "72.612" && r[10] == "degC"));
}

/// Data without known meaning are in the CSV, too.
#[test]
fn csv_keeps_what_nobody_knows() {
    let dir = scratch("surplus");
    fs::write(dir.join("x.hex"), checked("86 BD 71 00 31 04 C8 05 00 00 AB CD EF") + "\n").unwrap();
    let rows = table(&decode(&dir, &["--format", "csv", "x.hex"]).out);
    assert!(rows.iter().any(|r| r[8] == "data" && r[9] == "ABCDEF"), "{rows:?}");
}

/// A text stands in a cell as it is: quotes and backslashes are letters of packed ASCII [TY-04]. 04 08 9C in
/// sixes is 01 00 22 1C: `A`, `@`, `"`, `\`.
#[test]
fn csv_cells_hold_the_text_itself() {
    let dir = scratch("quotes");
    let frame = checked("82 BD 71 00 31 04 0B 06 04 08 9C 82 08 20");
    fs::write(dir.join("x.hex"), frame + "\n").unwrap();
    let rows = table(&decode(&dir, &["--format", "csv", "x.hex"]).out);
    assert!(rows.iter().any(|r| r[8] == "tag" && r[9] == "A@\"\\"), "{rows:?}");
}

/// [FR-14]: `-v` names what is odd about a request that nobody answered, too.
#[test]
fn a_short_frame_is_named_without_an_answer() {
    let dir = scratch("short");
    fs::write(dir.join("x.hex"), checked("02 80 03 00") + "\n").unwrap();
    let odd = "odd: short address for a command other than 0";
    assert!(decode(&dir, &["-v", "x.hex"]).out.contains(odd));
    assert!(!decode(&dir, &["x.hex"]).out.contains(odd));
}

/// A reply to command 0 of a device that claims revision 7 has an expanded device type [CM-000];
/// read as revision 5 it has a manufacturer and a device type in the same octets.
#[test]
fn another_revision() {
    let dir = scratch("revision");
    let frame = fixtures().into_iter().find(|f| f.name == "ics-cmd0-reply-01").unwrap();
    fs::write(dir.join("x.hex"), hex(&frame.octets)).unwrap();
    for (revision, with, without) in
        [("7", "expanded_device_type", "manufacturer "), ("5", "device_type", "expanded_device_type")]
    {
        let ended = decode(&dir, &["-vv", "--revision", revision, "x.hex"]);
        assert!(ended.out.contains(with) && !ended.out.contains(without), "{}", ended.out);
        let json = decode(&dir, &["--format", "json", "--revision", revision, "x.hex"]).json();
        assert_eq!(json[0]["revision"].to_string(), revision);
    }
}

#[test]
fn the_summary_in_every_format() {
    let dir = scratch("summary");
    let n = all_frames(&dir);
    let text = decode(&dir, &["--summary", "frames.hex"]);
    assert!(text.out.starts_with(&format!("Summary: {n} frames good")), "{}", text.out);
    assert_eq!(too_long(&text.out), [""; 0]);
    let json = decode(&dir, &["--summary", "--format", "json", "frames.hex"]).json();
    let value = |what: &str| {
        let row = json.iter().find(|o| o["count"] == what).unwrap_or_else(|| panic!("no {what}"));
        row["value"].as_str().unwrap().to_owned()
    };
    assert_eq!(value("frames_good"), n.to_string());
    let parts = ["answered", "unanswered", "polled_in_vain", "answered_damaged", "unfinished"]
        .map(|w| value(w).parse::<u32>().unwrap());
    assert_eq!(parts.iter().sum::<u32>().to_string(), value("requests"));
    let csv = table(&decode(&dir, &["--summary", "--format", "csv", "frames.hex"]).out);
    assert_eq!(csv.len(), json.len());
    // Quiet leaves the summary out, except where it is all that is asked for.
    assert!(!decode(&dir, &["-q", "frames.hex"]).out.contains("Summary"));
    assert!(decode(&dir, &["-q", "--summary", "frames.hex"]).out.contains("Summary"));
}

#[test]
fn one_of_several_files_is_missing() {
    let dir = scratch("several");
    fs::write(dir.join("a.hex"), "02 80 00 00 82\n").unwrap();
    fs::write(dir.join("b.hex"), "02 81 00 00 83\n").unwrap();
    for format in ["text", "json", "csv"] {
        let ended = decode(&dir, &["--format", format, "a.hex", "none", "b.hex"]);
        assert_eq!(ended.code, 2, "{}", ended.err);
        assert!(ended.err.contains("opening none") && ended.err.contains("\n  next: "), "{}", ended.err);
        // Both others are there.
        let frames = match format {
            "json" => ended.json().len(),
            "csv" => table(&ended.out).len(),
            _ => ended.out.matches("read unique identifier").count(),
        };
        assert_eq!(frames, 2, "{}", ended.out);
    }
}

#[test]
fn standard_input() {
    let dir = scratch("stdin");
    for (input, count) in [(&b"02 80 00 00 82\n"[..], 1), (&[0xFF, 0xFF, 0xFF, 2, 0x80, 0, 0, 0x82], 1)] {
        let mut command = looprig(&dir, &["decode", "-", "--format", "json"]);
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        child.stdin.take().unwrap().write_all(input).unwrap();
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0));
        assert_eq!(String::from_utf8(output.stdout).unwrap().lines().count(), count);
    }
}

/// Who writes octets to it while it reads is shown each frame at once, not at the end.
#[test]
fn a_stream_is_decoded_as_it_comes() {
    let dir = scratch("stream");
    let log =
        |i: usize| [format!("{HEADER}\n") + &record(0, REQUESTS[0]), record(900, REQUESTS[1])][i].clone();
    let hex = |i: usize| REQUESTS[i].to_owned() + "\n";
    for text in [&log as &dyn Fn(usize) -> String, &hex] {
        let mut decode = Process::fed(&dir, &["decode", "-", "--format", "json"]);
        decode.feed(text(0).as_bytes());
        // The second request shows that nobody answers the first.
        decode.feed(text(1).as_bytes());
        assert!(decode.line().contains("\"polling_address\":0"));
        assert_eq!(decode.end().json().len(), 1);
    }
}

/// [LG-02]: the torn end is told and skipped, and everything before it is read.
#[test]
fn a_torn_log() {
    let dir = scratch("torn");
    let whole = format!("{HEADER}\n{}{}", record(0, REQUESTS[0]), record(900, REQUESTS[1]));
    let second = whole.trim_end().rfind('\n').unwrap() + 1;
    for cut in [second + 1, second + 20, whole.len() - 2] {
        fs::write(dir.join("x.log"), &whole[..cut]).unwrap();
        let ended = decode(&dir, &["x.log", "--format", "json"]);
        assert_eq!(ended.code, 0, "{}", ended.err);
        assert!(ended.err.contains("line 3, the last, is torn"), "{}", ended.err);
        assert_eq!(ended.json().len(), 1);
    }
    // A line that lacks nothing but its end is whole.
    fs::write(dir.join("x.log"), &whole[..whole.len() - 1]).unwrap();
    let ended = decode(&dir, &["x.log", "--format", "json"]);
    assert_eq!((ended.code, ended.err.as_str(), ended.json().len()), (0, "", 2));
    // Torn in its first line, it holds nothing.
    fs::write(dir.join("x.log"), &HEADER[..30]).unwrap();
    decode(&dir, &["x.log"]).refused(&["line 1, the last, is torn", "nothing in it could be read"]);
}

#[test]
fn lines_in_the_middle_that_are_no_records() {
    let dir = scratch("middle");
    let log = |between: &str| {
        let text = format!("{HEADER}\n{}{between}\n{}", record(0, REQUESTS[0]), record(900, REQUESTS[1]));
        fs::write(dir.join("x.log"), text).unwrap();
        let ended = decode(&dir, &["x.log", "--format", "json"]);
        assert_eq!((ended.code, ended.json().len()), (0, 2), "{}", ended.err);
        ended.err
    };
    assert!(log("rubbish").contains("reading x.log: line 3 was skipped: it is no record of a log"));
    assert!(log("{\"t\":1,\"o\":\"0G\"}").contains("line 3 was skipped: \"o\" must hold"));
    assert!(log("{\"t\":1,\"o\":\"00\",\"m\":[[1,\"p\"]]}").contains("line 3 was skipped: \"m\" names"));
    assert_eq!(log(""), "");
    // The parser counts lines from 1 for each; only ours is told.
    assert!(!log("{\"t\":}").contains("at line 1"));
    // More than twenty are not told one by one.
    let err = log(&"x\n".repeat(25));
    assert_eq!(err.lines().count(), 21, "{err}");
    assert!(err.ends_with("skipped 5 more lines that could not be read\n"), "{err}");
    assert!(log(&"x\n".repeat(21)).ends_with("skipped 1 more line that could not be read\n"));
}

/// A part of a newer format is not guessed at; the parts that are known are read.
#[test]
fn a_newer_format_in_the_middle() {
    let dir = scratch("newer");
    let newer = "{\"looprig_log\":7,\"what\":1}\n";
    let (a, b) = (record(0, REQUESTS[0]), record(0, REQUESTS[1]));
    fs::write(dir.join("x.log"), format!("{HEADER}\n{a}{newer}{b}{b}{HEADER}\n{b}")).unwrap();
    let ended = decode(&dir, &["x.log", "--format", "json"]);
    assert_eq!((ended.code, ended.json().len()), (2, 2), "{}", ended.err);
    assert!(ended.err.contains("line 3") && ended.err.contains("format 7"), "{}", ended.err);
    assert!(ended.err.contains("\n  next: "), "{}", ended.err);
}

/// A log in which nothing was heard is a log, and is not called something else.
#[test]
fn a_log_of_silence() {
    let dir = scratch("silence");
    fs::write(dir.join("x.log"), format!("{HEADER}\n")).unwrap();
    decode(&dir, &["-q", "x.log"]).refused(&["reading x.log", "nothing was heard", "modem"]);
}

/// A log's first words are where and when it was captured; times are those of the records.
#[test]
fn times_of_a_log() {
    let dir = scratch("times");
    fs::write(dir.join("x.log"), format!("{HEADER}\n{}", record(1500, REQUESTS[0]))).unwrap();
    let ended = decode(&dir, &["x.log"]);
    for part in ["serial:/dev/ttyUSB0", "2026-11-25T08:30:00Z", " 1.500000 primary > 0"] {
        assert!(ended.out.contains(part), "{part:?} is missing in {}", ended.out);
    }
}

/// [IP-08]: 84 00 is a server's word that nobody answers, so no device is made of it.
/// Short frame to address 2: 02 ^ 02 = 00; answer: 06 ^ 02 ^ 02 ^ 84 = 82.
#[test]
fn a_server_that_says_nobody_is_no_device() {
    let dir = scratch("decode-nobody");
    let messages = "01 00 03 00 00 02 00 0d 02 02 00 00 00\n01 01 03 00 00 02 00 0f 06 02 00 02 84 00 82\n";
    fs::write(dir.join("m.hex"), messages).unwrap();
    let ended = decode(&dir, &["m.hex"]);
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(ended.out.contains("Nobody was there the one time"), "{}", ended.out);
    assert!(!ended.out.contains("Device 2"), "{}", ended.out);
}
