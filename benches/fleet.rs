//! How much memory a mock device takes in a fleet of 10,000 loops behind one gateway, without physics, and whether each of
//! them answers: every device is asked command 0 at its own address over HART-IP.
//!
//! Run with `cargo bench --bench fleet`; with `--quick` there are 1000. Memory is what the system says this process has resident
//! (`/proc/self/statm`), so it runs on Linux alone. It ends with exit code 1 where a device gives no answer or a wrong one.

use looprig::bench::{self, Fleet};
use looprig::frame::{Address, Frame, Master, Target, UniqueAddress};
use looprig::ip::{Content, Id, Initiate, Message, Type};
use std::net::UdpSocket;
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

/// Most kB (1000 octets) of a device.
const AIM_KB: f64 = 20.0;
/// The expanded device type of a mock positioner of revision 7; its low 14 bits begin the address [FR-06].
const TYPE: [u8; 2] = [0xFD, 0x71];

/// Octets resident.
fn resident() -> f64 {
    let statm = std::fs::read_to_string("/proc/self/statm").expect("Linux");
    let pages: f64 = statm.split(' ').nth(1).and_then(|n| n.parse().ok()).expect("a number of pages");
    // 4096 octets a page on the machines that this runs on.
    pages * 4096.0
}

#[allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
fn now() -> std::time::Instant {
    std::time::Instant::now()
}

fn ask(socket: &UdpSocket, id: Id, sequence: u16, body: impl Into<bytes::Bytes>) -> Message {
    let request = Message::new(Type::Request, id, sequence, body).expect("a short body").encode();
    socket.send(&request).expect("a socket");
    let mut buffer = [0; 2048];
    let n = socket.recv(&mut buffer).expect("an answer");
    Message::parse(&buffer[..n].to_vec().into()).expect("a message").0
}

/// Asks the device with this id who it is: whether it says so.
fn answers(socket: &UdpSocket, sequence: u16, id: u32) -> bool {
    let [_, own @ ..] = id.to_be_bytes();
    let to = Address::new(Master::Secondary, Target::Unique(UniqueAddress::new(TYPE, own)));
    let who = Frame::request(to, 0, vec![]).expect("a short frame");
    let Content::Frame { octets, .. } = ask(socket, Id::TokenPdu, sequence, who.encode()).content() else {
        return false;
    };
    let Ok(frame) = Frame::parse(&octets) else { return false };
    frame.command() == 0
        && frame.status().is_some_and(|[code, _]| code == 0)
        && frame.data().get(9..12) == Some(&own[..])
}

fn main() -> ExitCode {
    let count: u32 = if std::env::args().any(|a| a == "--quick") { 1000 } else { 10_000 };
    let text = format!(
        "pace = \"fast\"\n[fleet]\ncount = {count}\n[gateway]\n[[device]]\ntag = \"FV-#####\"\nlong_tag = \"Brackenmoor filter #####\"\n\
         device_id = 0\n[[line]]\nat = \"hart-ip::0\"\n"
    );
    let plan = bench::check(&text, Path::new("fleet.toml")).unwrap_or_else(|e| panic!("{e}"));
    let before = resident();
    let begun = now();
    let mut fleet = Fleet::open(plan).unwrap_or_else(|e| panic!("{e}"));
    let (opened, took) = (resident(), begun.elapsed());
    let open = fleet.places()[0].open.clone().expect("a LINE that reaches it");
    let handle = fleet.interrupt_handle();
    let runs = std::thread::spawn(move || fleet.run(&mut |_, _| {}));
    let socket = UdpSocket::bind("127.0.0.1:0").expect("a port");
    socket.connect(open.trim_start_matches("hart-ip:")).expect("an address");
    socket.set_read_timeout(Some(Duration::from_secs(10))).expect("a socket");
    let initiate = Initiate { master_type: 0, inactivity_ms: 60_000 };
    ask(&socket, Id::SessionInitiate, 1, initiate.encode());
    let begun = now();
    let silent = (1..=count).filter(|&id| !answers(&socket, id as u16, id)).count();
    let (after, asked) = (resident(), begun.elapsed());
    handle.interrupt();
    let ended = runs.join().expect("a thread that ends");
    let kb = |octets: f64| octets / f64::from(count) / 1000.0;
    println!("{count} mock devices, each a loop of its own behind one gateway in this process:");
    println!("  {:.1} kB each when they are made (in {:.2} s)", kb(opened - before), took.as_secs_f64());
    println!(
        "  {:.1} kB each when each has answered command 0 (aim under {AIM_KB} kB); all asked one by one in {:.2} s, {silent} gave no \
         right answer",
        kb(after - before),
        asked.as_secs_f64()
    );
    if silent > 0 || ended.is_err() { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}
