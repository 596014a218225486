//! `looprig mock` as a process: reached through its pseudo-terminal, ended by a signal, started anew.

use looprig::exchange::Exchange;
use looprig::frame::PollingAddress;
use looprig::host::{Device, Host};
use looprig::line::io::PortLine;
use looprig::link::MasterConfig;
use looprig::time::Pace;
use serde_json::Value as Json;
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};

const BENCH: &str = r#"
pace = "wire"
[loop]
current_ma = 12
[[device]]
tag = "FV-3104"
memory = "fv-3104.memory"
[[line]]
at = "pty:link"
[[line]]
at = "pty:"
"#;

fn scratch(name: &str) -> PathBuf {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("mock-{name}-{}", std::process::id()));
    let _ = fs::remove_dir_all(&dir);
    fs::create_dir_all(&dir).unwrap();
    fs::write(dir.join("bench.toml"), BENCH).unwrap();
    dir
}

fn looprig(dir: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_looprig"));
    command.current_dir(dir).args(arguments).stdin(Stdio::null());
    command
}

/// A mock that runs; it is killed if a test fails before it is ended.
struct Mock {
    child: Child,
    out: Option<BufReader<ChildStdout>>,
    ready: Json,
}

impl Mock {
    fn start(dir: &Path, pace: &str) -> Mock {
        let mut child = looprig(dir, &["mock", "bench.toml", "--format", "json", "--pace", pace])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let mut mock = Mock { child, out: Some(out), ready: Json::Null };
        mock.ready = mock.line();
        assert_eq!(mock.ready["ready"], true);
        assert_eq!(mock.ready["pace"], pace);
        mock
    }

    fn line(&mut self) -> Json {
        let mut line = String::new();
        self.out.as_mut().unwrap().read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap_or_else(|e| panic!("{line:?}: {e}"))
    }

    /// The next notice of this name.
    fn notice(&mut self, name: &str) -> Json {
        loop {
            let line = self.line();
            if line["notice"] == name {
                return line;
            }
        }
    }

    fn host(&self, line: usize, pace: &str) -> Host<PortLine> {
        let open = self.ready["lines"][line]["open"].as_str().unwrap();
        let path = open.strip_prefix("serial:").unwrap().split('?').next().unwrap();
        let line = PortLine::open_serial(path, Pace::parse(pace).unwrap()).unwrap();
        Host::new(line, MasterConfig::default())
    }

    /// Asks it to end, and waits until it has.
    fn end(mut self) {
        // SAFETY: a plain call; the child is ours and has not been waited for, so the id is its own.
        let sent = unsafe { libc::kill(self.child.id().cast_signed(), libc::SIGTERM) };
        assert_eq!(sent, 0);
        let mut rest = String::new();
        if let Some(mut out) = self.out.take() {
            out.read_to_string(&mut rest).unwrap();
        }
        assert_eq!(self.child.wait().unwrap().code(), Some(0), "{rest}");
    }
}

impl Drop for Mock {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn find(host: &mut Host<PortLine>) -> (Exchange, Device) {
    let (exchange, device) = host.poll(PollingAddress::default(), None).unwrap();
    (exchange, device.expect("an answer"))
}

/// The first status octet of the answer: its response code [ST-03].
fn code(exchange: &Exchange) -> u8 {
    exchange.transaction.reply_frame().expect("an answer").status().expect("status octets")[0]
}

fn long_tag(host: &mut Host<PortLine>) -> String {
    let (_, device) = find(host);
    let exchange = host.ask(&device, 20, &[]).unwrap();
    exchange.value("long_tag").expect("a long tag").text().trim_matches('"').to_owned()
}

fn write_long_tag(host: &mut Host<PortLine>, text: &str) {
    let (_, device) = find(host);
    let exchange = host.ask(&device, 22, &[("long_tag".to_owned(), text.to_owned())]).unwrap();
    assert_eq!(code(&exchange), 0);
}

/// What is written is there after the mock was ended and started anew [DV-03], from either access
/// point [LI-05], without time and at twenty times the wire.
#[test]
fn what_is_written_outlives_the_mock() {
    for pace in ["fast", "20"] {
        let dir = scratch(pace);
        let mock = Mock::start(&dir, pace);
        assert_eq!(mock.ready["devices"][0]["tag"], "FV-3104");
        assert_eq!(mock.ready["devices"][0]["unique_address"].as_str().map(str::len), Some(10));
        assert_eq!(mock.ready["lines"][0]["path"], dir.join("link").to_str().unwrap());
        {
            let mut host = mock.host(0, pace);
            assert_eq!(long_tag(&mut host), "");
            write_long_tag(&mut host, "Brackenmoor inlet");
            // The answer has come, so the file is there.
            assert!(dir.join("fv-3104.memory").exists());
        }
        // The LINE that it names is what another command takes.
        let open = mock.ready["lines"][0]["open"].as_str().unwrap().to_owned();
        let asked = looprig(&dir, &["ask", &open, "0", "0", "--format", "json"]).output().unwrap();
        let answer = String::from_utf8(asked.stdout).unwrap();
        assert!(asked.status.success() && answer.contains("expanded_device_type"), "{open}: {answer}");
        mock.end();
        assert!(!dir.join("link").exists(), "the link went with the mock");
        let mock = Mock::start(&dir, pace);
        assert_eq!(mock.ready["devices"][0]["long_tag"], "Brackenmoor inlet");
        assert_eq!(long_tag(&mut mock.host(1, pace)), "Brackenmoor inlet");
        mock.end();
        fs::remove_dir_all(dir).unwrap();
    }
}

/// [DV-04]: defaults, malfunction and more status available (80 and 10 hexadecimal in the second
/// status octet [ST-02]), and the bad image is kept.
#[test]
fn a_corrupt_memory_is_told_and_kept() {
    let dir = scratch("corrupt");
    let file = dir.join("fv-3104.memory");
    for n in 1..=2 {
        let bad = format!("no image at all, number {n}");
        fs::write(&file, &bad).unwrap();
        let mut mock = Mock::start(&dir, "fast");
        let told = mock.notice("memory_corrupt");
        let aside = dir.join(format!("fv-3104.memory.bad-{n}"));
        assert_eq!(told["device"], 0);
        assert_eq!(dir.join(told["kept"].as_str().unwrap()), aside);
        {
            let mut host = mock.host(0, "fast");
            let (exchange, _) = find(&mut host);
            assert_eq!(exchange.device_status().unwrap() & 0x90, 0x90);
            write_long_tag(&mut host, "new");
        }
        mock.notice("memory_saved");
        mock.end();
        assert_eq!(fs::read_to_string(&aside).unwrap(), bad);
    }
    // The image that was written since is sound.
    let mock = Mock::start(&dir, "fast");
    let (exchange, _) = find(&mut mock.host(0, "fast"));
    assert_eq!(exchange.device_status().unwrap() & 0x80, 0);
    mock.end();
    assert!(!dir.join("fv-3104.memory.bad-3").exists());
    fs::remove_dir_all(dir).unwrap();
}

/// The real TCP port is in the readiness line; `scan` reaches it, and a `listen` on the same port hears
/// both sides of the conversation [LI-12].
#[test]
fn tcp_lines_are_reached_and_overheard() {
    let dir = scratch("tcp");
    fs::write(dir.join("bench.toml"), BENCH.replace("pty:link", "tcp-listen:127.0.0.1:0")).unwrap();
    let mut mock = Mock::start(&dir, "20");
    let open = mock.ready["lines"][0]["open"].as_str().unwrap().to_owned();
    assert!(open.starts_with("tcp:127.0.0.1:") && open.ends_with("?pace=20"), "{open}");
    assert!(!open.contains(":0?"), "{open} is not where it really is");
    let mut listener = looprig(&dir, &["listen", &open, "--format", "json", "--log", "tcp.log"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut heard = BufReader::new(listener.stdout.take().unwrap());
    assert_eq!(mock.notice("tcp_peer_came")["at"], "tcp-listen:127.0.0.1:0");
    let asked = looprig(&dir, &["ask", &open, "0", "13"]).output().unwrap();
    let answer = String::from_utf8(asked.stdout).unwrap();
    assert!(asked.status.success() && answer.contains("FV-3104"), "{open}: {answer}");
    // One line an exchange; a test that hangs here has failed.
    let mut line = String::new();
    while !line.contains("FV-3104") {
        line.clear();
        assert_ne!(heard.read_line(&mut line).unwrap(), 0, "the listener ended");
    }
    // The mock goes: the listener says so and ends as one who could not go on.
    mock.end();
    let mut rest = String::new();
    heard.read_to_string(&mut rest).unwrap();
    assert_eq!(listener.wait().unwrap().code(), Some(2));
    let log = fs::read_to_string(dir.join("tcp.log")).unwrap();
    assert!(log.lines().next().unwrap().contains("tcp:127.0.0.1:"), "{log}");
    // The head, then a record each for request and answer at least.
    assert!(log.lines().count() >= 3, "{log}");
    let address = open.split('?').next().unwrap();
    fails(&dir, &["listen", address], &[address, "nobody listens there", "next: "]);
    fs::remove_dir_all(dir).unwrap();
}

/// Whoever has read the readiness line may close the pipe: the devices go on.
#[test]
fn a_closed_pipe_does_not_end_it() {
    let dir = scratch("pipe");
    let mut mock = Mock::start(&dir, "fast");
    mock.out = None;
    let mut host = mock.host(0, "fast");
    write_long_tag(&mut host, "a");
    write_long_tag(&mut host, "b");
    assert_eq!(long_tag(&mut host), "b");
    drop(host);
    mock.end();
    fs::remove_dir_all(dir).unwrap();
}

/// Two mocks on one memory file would undo each other's writes [DV-03]. The second is refused before it
/// takes the first one's link over.
#[test]
fn a_memory_file_serves_one_mock() {
    let dir = scratch("claimed");
    let mock = Mock::start(&dir, "fast");
    let link = fs::read_link(dir.join("link")).unwrap();
    fails(
        &dir,
        &["mock", "bench.toml"],
        &["fv-3104.memory is in use by another mock", "next: end that mock"],
    );
    assert_eq!(fs::read_link(dir.join("link")).unwrap(), link);
    write_long_tag(&mut mock.host(0, "fast"), "Brackenmoor inlet");
    fails(&dir, &["mock", "bench.toml"], &["in use"]);
    mock.end();
    // One that is killed claims nothing any more.
    let mut mock = Mock::start(&dir, "fast");
    mock.child.kill().unwrap();
    mock.child.wait().unwrap();
    let mock = Mock::start(&dir, "fast");
    assert_eq!(mock.ready["devices"][0]["long_tag"], "Brackenmoor inlet");
    mock.end();
    assert!(!dir.join("fv-3104.memory.lock").exists());
    fs::remove_dir_all(dir).unwrap();
}

/// The same where the pipe stays open and nobody empties it.
#[test]
fn a_pipe_that_is_full_does_not_stop_it() {
    let dir = scratch("full-pipe");
    fs::write(dir.join("bench.toml"), BENCH.replace("pty:link", "tcp-listen:127.0.0.1:0")).unwrap();
    let mock = Mock::start(&dir, "fast");
    let open = mock.ready["lines"][0]["open"].as_str().unwrap();
    let place = open.strip_prefix("tcp:").unwrap().split('?').next().unwrap();
    // Two notices of more than 80 octets each: twice what a pipe holds, 65,536 on Linux.
    for _ in 0..1_000 {
        drop(TcpStream::connect(place).unwrap());
    }
    assert_eq!(long_tag(&mut mock.host(1, "fast")), "");
    mock.end();
    fs::remove_dir_all(dir).unwrap();
}

fn fails(dir: &Path, arguments: &[&str], parts: &[&str]) {
    let output = looprig(dir, arguments).output().unwrap();
    let told = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{told}");
    for part in parts {
        assert!(told.contains(part), "{part:?} is missing in:\n{told}");
    }
}

#[test]
fn what_cannot_run_is_told_with_the_next_step() {
    let dir = scratch("refused");
    fails(&dir, &["mock", "none.toml"], &["none.toml", "no such file", "next: ", "--schema"]);
    fails(&dir, &["mock", "."], &["it is a directory"]);
    fs::write(dir.join("bad.toml"), BENCH.replace("tag = \"FV", "tga = \"FV")).unwrap();
    fails(&dir, &["mock", "bad.toml"], &["bad.toml:6:1", "`tga`", "did you mean `tag`?"]);
    fs::write(dir.join("port.toml"), BENCH.replace("pty:link", "serial:/dev/none")).unwrap();
    fails(&dir, &["mock", "port.toml"], &["running port.toml", "serial:/dev/none", "no such port"]);
    fs::write(dir.join("memory.toml"), BENCH.replace("fv-3104.memory", "bench.toml/m")).unwrap();
    fails(&dir, &["mock", "memory.toml"], &["memory file", "next: "]);
    fails(&dir, &["mock", "bench.toml", "--format", "csv"], &["--format json"]);
    fails(&dir, &["mock", "bench.toml", "--pace", "never"], &["no pace"]);
    fails(&dir, &["mock"], &["BENCH.toml"]);
    fs::remove_dir_all(dir).unwrap();
}

#[test]
fn the_schema_is_json() {
    let dir = scratch("schema");
    let output = looprig(&dir, &["mock", "--schema"]).output().unwrap();
    let schema: Json = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(schema["$schema"].as_str().unwrap().contains("json-schema.org"));
    fs::remove_dir_all(dir).unwrap();
}

/// [DV-60]: which kind each device is, for programs and for people.
#[test]
fn the_kinds_of_its_devices_are_told() {
    let dir = scratch("kinds");
    let two = BENCH.replace(
        "[[line]]\nat = \"pty:\"\n",
        "[[device]]\nkind = \"temperature\"\npolling_address = 5\n[[line]]\nat = \"pty:\"\n",
    );
    fs::write(dir.join("bench.toml"), two).unwrap();
    let mock = Mock::start(&dir, "fast");
    let kinds: Vec<&Json> = (0..2).map(|i| &mock.ready["devices"][i]["kind"]).collect();
    assert_eq!(kinds, ["positioner", "temperature"]);
    drop(mock);
    let mut child = looprig(&dir, &["mock", "bench.toml"]).stdout(Stdio::piped()).spawn().unwrap();
    let mut text = String::new();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    while !text.contains("Ctrl-C") && out.read_line(&mut text).unwrap() > 0 {}
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(text.contains("temperature transmitter  -"), "{text}");
}

/// [WI-14] [DV-51]: 12.5 V, 9 V and 50 ohm, 52.851 ohm of cable; with 1000 ohm more 3.5/1102.851 = 3.17 mA of 20, dark.
#[test]
fn what_the_loop_gives_is_told() {
    let dir = scratch("loop");
    let on_a_card = BENCH.replace(
        "[loop]\ncurrent_ma = 12\n",
        "[loop]\ncurrent_ma = 20\n[loop.card]\ncompliance_v = 12.5\nimpedance_ohm = 20000\n\
         [[loop.cable]]\nlength_m = 100\nresistance_ohm_per_km = 528.51\n\
         [[loop.device]]\ntag = \"FV-3104\"\nmin_voltage_v = 9\nresistance_ohm = 50\nimpedance_ohm = 400\n\
         [[event]]\nat_s = 0.05\nloop_extra_ohm = 100\n[[event]]\nat_s = 0.1\nloop_extra_ohm = 1000\n",
    );
    fs::write(dir.join("bench.toml"), on_a_card).unwrap();
    let mut mock = Mock::start(&dir, "fast");
    let near = |is: &Json, right: f64| (is.as_f64().expect("a number") - right).abs() < 1e-3;
    let of_loop = mock.ready["loop"].clone();
    assert!(
        of_loop["source"]["kind"] == "card" && near(&of_loop["source"]["compliance_v"], 12.5),
        "{of_loop}"
    );
    assert!(near(&of_loop["wanted_ma"], 20.0), "{of_loop}");
    assert!(
        of_loop["remarks"][0].as_str().expect("a remark").starts_with("the sheet has no master"),
        "{of_loop}"
    );
    let first = of_loop["devices"][0].clone();
    assert!(near(&first["current_ma"], 20.0) && near(&first["volts_v"], 10.0), "{first}");
    assert!(first["power"] == "on" && first["requests"]["heard"] == true, "{first}");
    // 3.5/202.851 = 17.254 mA.
    let given = mock.notice("supplied");
    assert!(near(&given["current_ma"], 17.254) && given["margin_v"].as_f64() < Some(0.0), "{given}");
    assert!(near(&given["card"]["drives_ma"], 17.254) && given["at_s"] == 0.05, "{given}");
    assert!(given["answers"]["heard"] == true, "{given}");
    let power = mock.notice("power");
    assert!(power["power"] == "off" && power["at_s"] == 0.1 && near(&power["current_ma"], 3.174), "{power}");
    // 9 V and 20 mA over 1102.851 ohm are 31.06 V.
    let why =
        "3.17 mA, it needs 3.6 mA; the card's 12.5 V carry 3.17 of 20 mA; this loop needs 31.06 V at 20 mA";
    assert_eq!(power["why"], why);
    assert_eq!(power["starts_again"], "it starts again from 3.8 mA");
    mock.end();

    let mut child = looprig(&dir, &["mock", "bench.toml"]).stdout(Stdio::piped()).spawn().unwrap();
    let mut text = String::new();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    while !text.contains("without power") && out.read_line(&mut text).unwrap() > 0 {}
    child.kill().unwrap();
    child.wait().unwrap();
    for line in [
        "Loop, a card that is told to drive 20 mA and has 12.5 V",
        "event at 0.05 s: 100 ohm in all have come into the wires",
        &format!("at 0.1 s: FV-3104 is without power: {why}; it starts again from 3.8 mA"),
        // 9 V and 20 mA over 202.851 ohm are 13.06 V.
        "  FV-3104: 9.86 V at 17.25 mA, the card drives 17.25 of 20 mA: 0.56 V short",
    ] {
        assert!(text.lines().any(|l| l == line), "{line:?} is missing in\n{text}");
    }
    for part in [
        "  FV-3104: 10 V at 20 mA, 1.",
        " V to spare",
        "  note: the sheet has no master; a usual one of 500 mV",
    ] {
        assert!(text.contains(part), "{part:?} is missing in\n{text}");
    }
}
