//! How much memory a mock device takes in a fleet of 10,000 loops behind one gateway, without physics, and whether each of
//! them answers: every device is asked command 0 at its own address over HART-IP, then what hosts read most (3, 13, 20, 48).
//!
//! Run with `cargo bench --bench fleet`; `--quick` changes nothing, for it takes seconds. Memory is what the system says this
//! process has resident (`/proc/self/statm`), so it runs on Linux alone. It ends with exit code 1 where a device gives no answer
//! or a wrong one.

use looprig::bench::{self, Fleet};
use looprig::frame::{Address, Frame, Master, Target, UniqueAddress};
use looprig::ip::{Content, Id, Initiate, Message, Type};
use std::net::UdpSocket;
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

/// Devices.
const COUNT: u32 = 10_000;
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

/// What the device with this id answers to a command without data; `None` where that is no good answer.
fn answer(socket: &UdpSocket, sequence: u16, id: u32, command: u8) -> Option<Vec<u8>> {
    let [_, own @ ..] = id.to_be_bytes();
    let to = Address::new(Master::Secondary, Target::Unique(UniqueAddress::new(TYPE, own)));
    let request = Frame::request(to, command, vec![]).expect("a short frame");
    let Content::Frame { octets, .. } = ask(socket, Id::TokenPdu, sequence, request.encode()).content()
    else {
        return None;
    };
    let frame = Frame::parse(&octets).ok()?;
    let is_good =
        frame.address().target == to.target && frame.command() == command && frame.status()?[0] == 0;
    is_good.then(|| frame.data().to_vec())
}

/// Whether the device with this id says that it is it [CM-000].
fn says_who(socket: &UdpSocket, sequence: u16, id: u32) -> bool {
    let data = answer(socket, sequence, id, 0).unwrap_or_default();
    data.get(9..12) == Some(&id.to_be_bytes()[1..])
}

/// Whether it answers what hosts read most, with the long tag of its number [CM-020].
fn tells_more(socket: &UdpSocket, sequence: u16, id: u32) -> bool {
    let long_tag = format!("Brackenmoor filter {id:05}");
    [3, 13, 20, 48].into_iter().all(|command| {
        let sequence = sequence.wrapping_add(command.into());
        answer(socket, sequence, id, command)
            .is_some_and(|d| command != 20 || d.starts_with(long_tag.as_bytes()))
    })
}

fn main() -> ExitCode {
    let text = format!(
        "pace = \"fast\"\n[fleet]\ncount = {COUNT}\n[gateway]\n[[device]]\ntag = \"FV-#####\"\nlong_tag = \"Brackenmoor filter #####\"\n\
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
    let silent = (1..=COUNT).filter(|&id| !says_who(&socket, id as u16, id)).count();
    let (after, asked) = (resident(), begun.elapsed());
    // Sequence numbers rise past those of command 0, which were used up to 10,000.
    let wrong = (1..=COUNT).filter(|&id| !tells_more(&socket, (20_000 + 64 * id) as u16, id)).count();
    let at_last = resident();
    handle.interrupt();
    let ended = runs.join().expect("a thread that ends");
    let kb = |octets: f64| octets / f64::from(COUNT) / 1000.0;
    println!("{COUNT} mock devices, each a loop of its own behind one gateway in this process:");
    println!("  {:.1} kB each when they are made (in {:.2} s)", kb(opened - before), took.as_secs_f64());
    println!(
        "  {:.1} kB each when each has answered command 0 (aim under {AIM_KB} kB); all asked one by one in {:.2} s, {silent} gave no \
         right answer",
        kb(after - before),
        asked.as_secs_f64()
    );
    println!(
        "  {:.1} kB each when each has answered commands 3, 13, 20 and 48 too; {wrong} gave no right answer",
        kb(at_last - before)
    );
    if silent + wrong > 0 || ended.is_err() { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}
