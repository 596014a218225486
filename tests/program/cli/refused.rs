//! What cannot be used is told: what was being done, what is wrong, what to do next.

use crate::process::{run, scratch};
use std::fs;
use std::path::Path;

/// Each line: arguments, then words of the message.
fn all_refused(dir: &Path, cases: &[(&[&str], &[&str])]) {
    for (arguments, words) in cases {
        println!("{arguments:?}");
        run(dir, arguments).refused(words);
    }
}

#[test]
fn unknown_commands_and_options() {
    let dir = scratch("options");
    all_refused(
        &dir,
        &[
            (&["nosuch"], &["nosuch", "next: `looprig --help`"]),
            (&["decod", "x"], &["similar", "decode"]),
            (&["decode", "x", "--format", "xml"], &["xml", "text, json, csv", "`looprig decode --help`"]),
            (&["decode", "x", "--color", "blue"], &["blue", "auto, always, never"]),
            (&["decode", "x", "--revision", "4"], &["reading --revision", "\"4\"", "5, 6 or 7"]),
            (&["scan", "pty:", "--range", "5-3"], &["reading --range", "5-3", "such as 0-15"]),
            (&["scan", "pty:", "--range", "0-64"], &["0-64", "from 0 to 63"]),
            (&["scan", "pty:", "--range", "all"], &["all", "such as 0-15"]),
            (&["scan", "pty:", "--retries", "11"], &["reading --retries", "11"]),
            (&["scan", "pty:", "--master", "third"], &["third", "primary, secondary"]),
            (&["listen", "pty:", "--for", "soon"], &["reading --for", "soon", "number of seconds"]),
            (&["listen", "pty:", "--for", "-1"], &["-1", "number of seconds"]),
            (&["listen", "pty:", "--for", "nan"], &["nan", "number of seconds"]),
            (&["demo", "--pace", "fast"], &["reading --pace", "judges times", "wire"]),
            (&["demo", "--pace", "0"], &["\"0\" is no pace", "0.01 to 1000"]),
            (&["demo", "--tag", "TOO-LONG-9"], &["reading --tag", "10 characters", "shorten it to 8"]),
            (&["demo", "--tag", " "], &["the tag is empty", "FV-3104"]),
            (&["mock", "--schema", "--seed", "1"], &["--schema", "--seed", "`looprig mock --help`"]),
            (&["mock", "x", "--seed", "-1"], &["--seed", "`looprig mock --help`"]),
            (&["mock", "x", "--seed", "1e3"], &["\"1e3\" is no seed", "0 to 9223372036854775807"]),
            (&["mock", "--schema", "--pace", "wire"], &["--schema", "--pace", "`looprig mock --help`"]),
        ],
    );
    for command in super::COMMANDS {
        run(&dir, &[command, "--nosuch"]).refused(&["--nosuch", &format!("`looprig {command} --help`")]);
        // Without a word about what to do, `settings` and `wave` get their help, as looprig itself does, and `triage` asks.
        if !["demo", "settings", "triage", "wave"].contains(&command) {
            run(&dir, &[command]).refused(&["required", &format!("`looprig {command} --help`")]);
        }
    }
    // A mistyped option's neighbour is named.
    run(&dir, &["decode", "x", "--formt", "json"]).refused(&["--formt", "--format"]);
}

#[test]
fn lines() {
    let dir = scratch("lines");
    fs::write(dir.join("file"), "").unwrap();
    all_refused(
        &dir,
        &[
            (&["scan", "ttyUSB0"], &["reading LINE", "ttyUSB0", "serial:PATH"]),
            (&["scan", "/dev/ttyUSB0"], &["did you mean serial:/dev/ttyUSB0?"]),
            (&["scan", "com3"], &["did you mean serial:com3?"]),
            (&["scan", "usb:0"], &["\"usb:\"", "serial:PATH"]),
            (&["scan", ""], &["names no line", "serial:PATH"]),
            (&["scan", "serial:"], &["needs the port's path", "serial:/dev/ttyUSB0"]),
            (&["scan", "hart-ip:"], &["hart-ip:", "names no server"]),
            (&["scan", "hart-ip:localhost?pace=4"], &["pace=4", "session=primary"]),
            (&["scan", "log:old.log"], &["log:", "not in this version"]),
            (&["scan", "tcp:localhost"], &["\"localhost\" is no port", "tcp:127.0.0.1:5500"]),
            (&["scan", "tcp:127.0.0.1:0"], &["port 0"]),
            (&["scan", "serial:/dev/ttyUSB0?pace=0"], &["\"0\" is no pace", "0.01 to 1000"]),
            (&["scan", "serial:/dev/ttyUSB0?speed=9600"], &["speed=9600", "pace="]),
            (&["scan", "serial:/dev/none"], &["opening serial:/dev/none", "no such port", "/dev/tty"]),
            (&["listen", "serial:/dev/none"], &["opening serial:/dev/none", "no such port"]),
            (&["ask", "serial:/dev/none", "0"], &["opening serial:/dev/none", "no such port"]),
            (&["listen", "serial:file"], &["opening serial:file", "no serial port"]),
            (&["listen", "serial:."], &["opening serial:.", "no serial port"]),
            (&["listen", "serial:/dev/null"], &["opening serial:/dev/null", "no serial port"]),
            (&["listen", "pty:file"], &["pty:file", "it is a file", "another name"]),
            (&["listen", "pty:."], &["pty:.", "it is a directory", "another name"]),
        ],
    );
    assert!(fs::read(dir.join("file")).unwrap().is_empty());
}

#[test]
fn whom_and_what_to_ask() {
    let dir = scratch("to");
    // The port does not exist: what is wrong with the words is told first.
    let ask = |words: &[&str], told: &[&str]| {
        println!("{words:?}");
        run(&dir, &[&["ask", "serial:/dev/none"], words].concat()).refused(told);
    };
    ask(&["64", "3"], &["64 is no polling address", "0 to 63"]);
    ask(&["FV-3104", "3"], &["FV-3104", "tag:FV-3104"]);
    ask(&["tag:", "3"], &["the tag is empty"]);
    ask(&["tag:TOO-LONG-9", "3"], &["TOO-LONG-9", "shorten it to 8"]);
    ask(&["tag:Ä", "3"], &["'Ä'", "capital letters"]);
    ask(&["longtag:", "3"], &["long tag is empty"]);
    ask(&["longtag:123456789012345678901234567890123", "3"], &["33 characters", "32"]);
    ask(&["longtag:€", "3"], &["'€'", "Latin-1"]);
    ask(&["260D0015", "3"], &["ten hex digits", "here are 8"]);
    ask(&["260D00151G", "3"], &["'G'"]);
    ask(&["256"], &["256", "0 to 255"]);
    ask(&["0", "256"], &["256", "0 to 255"]);
    ask(&["-1"], &["-1", "0 to 255"]);
    ask(&["three"], &["three", "0 to 255"]);
    ask(&["0", "3", "rubbish"], &["rubbish", "name=value", "the order is"]);
    ask(&["18", "tag=A", "tag=B"], &["tag is given twice"]);
    // [HO-05]: told before anything is opened, so nothing can have been sent.
    ask(&["18", "tag=A"], &["write tag, descriptor, date", "--write"]);
    ask(&["6", "polling_address=1", "--write"], &["write polling address", "--move"]);
    ask(&["200"], &["200", "not known", "--move", "people clear"]);
    ask(&["18", "tagg=A", "--write"], &["\"tagg\"", "tag, descriptor, date", "`looprig explain 18`"]);
    ask(&["3", "x=1"], &["\"x\"", "no values", "leave it out"]);
}

#[test]
fn what_decode_cannot_read() {
    let dir = scratch("unreadable");
    let file = |name: &str, octets: &[u8]| fs::write(dir.join(name), octets).unwrap();
    file("empty", b"");
    file("remark", b"# nothing but a remark\n");
    file("text", b"hello\n");
    file("odd", b"02 80 0\n");
    // The first octets of the four kinds of capture file, from memory of their formats.
    file("a.pcap", &[0xD4, 0xC3, 0xB2, 0xA1, 2, 0, 4, 0]);
    file("b.pcap", &[0xA1, 0xB2, 0xC3, 0xD4, 0, 2, 0, 4]);
    file("c.pcap", &[0x4D, 0x3C, 0xB2, 0xA1, 2, 0, 4, 0]);
    file("d.pcapng", &[0x0A, 0x0D, 0x0D, 0x0A, 28, 0, 0, 0]);
    file(
        "none.pcap",
        &[&[0xD4, 0xC3, 0xB2, 0xA1, 2, 0, 4, 0][..], &[0; 8], &[0xFF, 0xFF, 0, 0, 1, 0, 0, 0]].concat(),
    );
    let section = [0x0A, 0x0D, 0x0D, 0x0A, 28, 0, 0, 0, 0x4D, 0x3C, 0x2B, 0x1A, 1, 0, 0, 0];
    file("odd.pcapng", &[&section[..], &[0xFF; 8], &[28, 0, 0, 0, 6, 0, 0, 0, 9, 0, 0, 0], &[0; 9]].concat());
    file("s.wav", b"RIFF\x24\0\0\0WAVEfmt ");
    file("newer", b"{\"looprig_log\":2,\"where\":\"x\"}\n{\"t\":1,\"o\":\"0280000082\"}\n");
    all_refused(
        &dir,
        &[
            (&["decode", "none"], &["opening none", "no such file", "check the name"]),
            (&["decode", "empty/x"], &["opening empty/x"]),
            (&["decode", "."], &["opening .", "it is a directory", "name a file in it"]),
            (&["decode", "empty"], &["reading empty", "holds no octets", "hex text"]),
            (&["decode", "-"], &["reading standard input", "holds no octets"]),
            (&["decode", "remark"], &["holds no octets"]),
            (&["decode", "text"], &["line 1", "'h' at column 1", "nothing in it could be read"]),
            (&["decode", "odd"], &["line 1", "column 7 has only one digit"]),
            (
                &["decode", "a.pcap"],
                &["ends within the block at octet 0", "nothing in it could be read", "capture"],
            ),
            (&["decode", "b.pcap"], &["ends within the block at octet 0"]),
            (&["decode", "c.pcap"], &["ends within the block at octet 0"]),
            (&["decode", "d.pcapng"], &["ends within the block at octet 0"]),
            (&["decode", "none.pcap"], &["no packet of it holds HART-IP", "port 5094"]),
            (
                &["decode", "odd.pcapng"],
                &["from octet 28 on", "a length that cannot be, 9", "a part of it could not be read"],
            ),
            (&["host-check", "odd.pcapng"], &["from octet 28 on", "a part of it could not be read"]),
            (&["decode", "--format", "pcapng", "text"], &["needs a file to write", "--out"]),
            (&["decode", "--out", "x.pcapng", "text"], &["--out is for --format pcapng"]),
            (
                &["decode", "--format", "pcapng", "--out", "text", "odd"],
                &["writing text", "exists", "--force"],
            ),
            (
                &["decode", "--format", "pcapng", "--out", "x.pcapng", "s.wav"],
                &["recording of the tones", "listen wav:s.wav"],
            ),
            (
                &["scan", "--format", "pcapng", "tcp:127.0.0.1:1"],
                &["pcapng is a format of `looprig decode` alone"],
            ),
            (&["decode", "s.wav"], &["reading s.wav", "ends before its header", "record as WAV"]),
            (&["decode", "newer"], &["line 1", "format 2", "a newer one"]),
        ],
    );
}

#[test]
fn what_explain_cannot_explain() {
    let dir = scratch("unexplained");
    all_refused(
        &dir,
        &[
            (&["explain", "nonsense"], &["explaining", "'n' at column 1", "--help"]),
            (&["explain", "86 A6 0"], &["column 7 has only one digit"]),
            (&["explain", "86", "A6", "0D"], &["3 octets", "five"]),
            (&["explain", "FF FF"], &["0 octets", "five"]),
            // 02 ^ 80 ^ 00 ^ 00 = 82.
            (&["explain", "02 80 00 00 83"], &["check byte", "83", "82", "looprig decode"]),
            (&["explain", "status"], &["takes one octet", "explain status 0x48"]),
            (&["explain", "command", "1", "2"], &["takes one number", "explain command 15"]),
            (&["explain", "code", "6"], &["both are needed", "explain code 6 2"]),
            (&["explain", "unit"], &["a symbol or a code", "explain unit bar"]),
            (&["explain", "status", "256"], &["256", "0 to 255"]),
            (&["explain", "status", "x"], &["\"x\" is no status octet"]),
            (&["explain", "command", "65536"], &["65536", "0 to 65535"]),
            (&["explain", "code", "6", "128"], &["128", "0 to 127"]),
            (&["explain", "unit", "furlong"], &["furlong", "bar"]),
            (&["explain", "timer", "T9"], &["T9", "STO"]),
            (&["explain", "--revision", "4", "0"], &["\"4\"", "5, 6 or 7"]),
        ],
    );
}

#[test]
fn files_that_no_log_can_be_written_to() {
    let dir = scratch("log");
    let foreign = b"valve,travel\nFV-3104,50\n";
    fs::write(dir.join("table.csv"), foreign).unwrap();
    for (log, words) in [
        ("table.csv", &["opening the log table.csv", "no looprig log", "left alone", "another file"][..]),
        (".", &["opening the log .", "another file"]),
        ("none/x.log", &["opening the log none/x.log", "another file"]),
    ] {
        run(&dir, &["listen", "pty:", "--for", "0", "--log", log]).refused(words);
        run(&dir, &["ask", "pty:", "0", "--log", log]).refused(words);
        run(&dir, &["scan", "pty:", "--log", log]).refused(words);
    }
    assert_eq!(fs::read(dir.join("table.csv")).unwrap(), foreign);
}
