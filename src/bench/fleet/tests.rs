//! Fleets with real ports of this machine [IP-17].

use super::*;
use crate::bench::{Error, Notice, check};
use crate::frame::{Address, Frame, Master, Target, UniqueAddress};
use crate::ip::{Content, Id, Initiate, Message, Type};
use std::net::UdpSocket;
use std::path::{Path, PathBuf};
use std::time::Duration;

fn fleet(text: &str) -> Fleet {
    let plan = check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    Fleet::open(plan).unwrap_or_else(|e| panic!("{e}"))
}

/// A client in a session with the server that a LINE reaches.
struct Client {
    socket: UdpSocket,
    sequence: u16,
}

impl Client {
    fn of(open: &str) -> Client {
        let socket = UdpSocket::bind("127.0.0.1:0").expect("a port");
        socket.connect(open.trim_start_matches("hart-ip:")).expect("an address");
        socket.set_read_timeout(Some(Duration::from_secs(30))).expect("a socket");
        let mut client = Client { socket, sequence: 0 };
        client.say(Id::SessionInitiate, Initiate { master_type: 0, inactivity_ms: 60_000 }.encode());
        client
    }

    fn say(&mut self, id: Id, body: impl Into<bytes::Bytes>) -> Message {
        self.sequence += 1;
        let request = Message::new(Type::Request, id, self.sequence, body).expect("a short body");
        self.socket.send(&request.encode()).expect("a socket");
        let mut buffer = [0; 2048];
        let n = self.socket.recv(&mut buffer).expect("an answer");
        Message::parse(&buffer[..n].to_vec().into()).expect("a message").0
    }

    /// Response code and data of the answer.
    fn ask(&mut self, to: UniqueAddress, command: u8, data: &[u8]) -> (u8, Vec<u8>) {
        let to = Address::new(Master::Secondary, Target::Unique(to));
        let request = Frame::request(to, command, data.to_vec()).expect("a short frame");
        let Content::Frame { octets, .. } = self.say(Id::TokenPdu, request.encode()).content() else {
            panic!("no frame")
        };
        let frame = Frame::parse(&octets).unwrap_or_else(|e| panic!("{e}"));
        (frame.status().expect("a reply")[0], frame.data().to_vec())
    }
}

/// A mock positioner of revision 7: type FD71, of which an address has the low 14 bits [FR-06].
fn device(id: u32) -> UniqueAddress {
    let [_, id @ ..] = id.to_be_bytes();
    UniqueAddress::new([0xFD, 0x71], id)
}

/// The long tag that the data of command 20 or 22 are.
fn padded(text: &str) -> Vec<u8> {
    let mut octets = text.as_bytes().to_vec();
    octets.resize(32, 0);
    octets
}

/// Runs a fleet while `during` speaks to it; gives what was told.
fn while_it_runs(fleet: &mut Fleet, during: impl FnOnce()) -> Vec<(Option<usize>, Notice)> {
    let handle = fleet.interrupt_handle();
    let mut told = Vec::new();
    std::thread::scope(|scope| {
        let runs = scope.spawn(|| fleet.run(&mut |of, notice| told.push((of, notice))));
        // However it goes, the fleet ends.
        let gone = std::panic::catch_unwind(std::panic::AssertUnwindSafe(during));
        handle.interrupt();
        assert_eq!(runs.join().expect("a thread that ends"), Ok(()));
        if let Err(e) = gone {
            std::panic::resume_unwind(e);
        }
    });
    told
}

const BEHIND: &str = r##"
pace = "fast"
[fleet]
count = 130
[gateway]
device_id = 5
[[device]]
tag = "FV-####"
long_tag = "filter ####"
device_id = 1000
[[device]]
polling_address = 1
device_id = 1001
long_tag = "bypass ####"
[[line]]
at = "hart-ip::0"
"##;

#[test]
fn every_loop_is_a_channel_of_the_gateway() {
    let mut fleet = fleet(BEHIND);
    let open = fleet.places()[0].open.clone().expect("a LINE");
    while_it_runs(&mut fleet, || {
        let mut client = Client::of(&open);
        let gateway = UniqueAddress::new([0xFD, 0x84], [0, 0, 5]);
        // [CM-074]: 130 channels are two cards of 64 and a third; 260 devices and the gateway are 261 = 0105.
        assert_eq!(client.ask(gateway, 74, &[]), (0, vec![3, 64, 64, 1, 5, 0, 1, 3]));
        // [CM-084]: sub-device 260 is the second of loop 130, which is channel 129: card 2, channel 1. Its id is 1001 + 260.
        let (code, data) = client.ask(gateway, 84, &[1, 4]);
        assert_eq!((code, &data[..4], &data[8..11]), (0, &[1, 4, 2, 1][..], &[0, 4, 0xED][..]));
        assert_eq!(data[12..44], padded("bypass 0130"));
        assert_eq!(client.ask(gateway, 84, &[1, 5]).0, 2);
        // 75: polling address 1 on card 1, channel 0: loop 65, whose second device has the id 1001 + 130.
        let (code, data) = client.ask(gateway, 75, &[1, 0, 1]);
        assert_eq!((code, &data[9..12]), (0, &[0, 4, 0x6B][..]));
        // No such channel; and nobody at 7.
        assert_eq!(client.ask(gateway, 75, &[2, 2, 0]).0, 2);
        assert_eq!(client.ask(gateway, 75, &[0, 64, 0]).0, 2);
        assert_eq!(client.ask(gateway, 75, &[2, 1, 7]).0, 9);
        // 77: command 20 of the first device of loop 3, on its channel and on another one.
        let [a, b, c, d, e] = device(1006).octets();
        let (code, data) = client.ask(gateway, 77, &[0, 2, 5, 0x82, a, b, c, d, e, 20, 0]);
        assert_eq!((code, &data[..2], &data[12..]), (0, &[0, 2][..], &padded("filter 0003")[..]));
        assert_eq!(client.ask(gateway, 77, &[0, 3, 5, 0x82, a, b, c, d, e, 20, 0]).0, 9);
        // Each device at its own address, and by its tag; what is written to one is not in another.
        for n in 1..=130 {
            assert_eq!(client.ask(device(1000 + 2 * n), 20, &[]), (0, padded(&format!("filter {n:04}"))));
        }
        assert_eq!(client.ask(device(1004), 22, &padded("another")).0, 0);
        assert_eq!(client.ask(device(1004), 20, &[]).1, padded("another"));
        assert_eq!(client.ask(device(1006), 20, &[]).1, padded("filter 0003"));
        let (code, data) = client.ask(UniqueAddress::BROADCAST, 21, &padded("another"));
        assert_eq!((code, &data[9..12]), (0, &[0, 3, 0xEC][..]));
        // Nobody has it any more, and nobody this address: a communication error, 84 [IP-08].
        assert_eq!(client.ask(UniqueAddress::BROADCAST, 21, &padded("filter 0002")).0, 0x84);
        assert_eq!(client.ask(device(999), 0, &[]).0, 0x84);
        assert_eq!(client.ask(UniqueAddress::BROADCAST, 3, &[]).0, 0x84);
    });
}

fn scratch(name: &str) -> PathBuf {
    let dir = std::env::temp_dir().join(format!("looprig-fleet-{name}-{}", std::process::id()));
    let _ = std::fs::remove_dir_all(&dir);
    std::fs::create_dir_all(&dir).unwrap();
    dir
}

/// Ports of their own, memory files of their own; an event happens in each; what is in use is told with the loop.
#[test]
fn loops_apart() {
    let dir = scratch("apart");
    let text = format!(
        "pace = \"fast\"\n[fleet]\ncount = 20\nfirst = 90\n[[device]]\ntag = \"FV-###\"\nlong_tag = \"filter ###\"\ndevice_id = 0\n\
         memory = \"{}/m-###\"\n[[line]]\nat = \"hart-ip::0\"\n[[event]]\nat_s = 0\nloop_current_ma = 12\n",
        dir.display()
    );
    let mut fleet = fleet(&text);
    let open: Vec<String> =
        fleet.loops().iter().map(|l| l.places()[0].open.clone().expect("a LINE")).collect();
    let told = while_it_runs(&mut fleet, || {
        for (number, open) in (90..).zip(&open) {
            let mut client = Client::of(open);
            assert_eq!(client.ask(device(number), 20, &[]), (0, padded(&format!("filter {number:03}"))));
            if number == 100 {
                assert_eq!(client.ask(device(number), 22, &padded("kept")).0, 0);
            }
        }
    });
    let saved: Vec<_> = told.iter().filter(|t| matches!(t.1, Notice::MemorySaved { .. })).collect();
    assert_eq!(saved, [&(Some(10), Notice::MemorySaved { device: 0 })]);
    let events = told.iter().filter(|t| matches!(t.1, Notice::EventDone { .. })).count();
    assert_eq!(events, 20);
    let images = std::fs::read_dir(&dir).unwrap().filter_map(|e| e.ok()?.file_name().into_string().ok());
    assert_eq!(images.filter(|n| !n.ends_with(".lock")).collect::<Vec<_>>(), ["m-100"]);
    // Loop 109 of another fleet would have the same memory file; and a port that somebody else has.
    let again = |text: &str| {
        let plan = check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
        Fleet::open(plan).err().expect("it is in use")
    };
    let other = text.replace("first = 90", "first = 109");
    let e = again(&other);
    assert_eq!(
        (e.whose.as_deref(), e.error),
        (Some("loop 109 (FV-109)"), Error::MemoryInUse(dir.join("m-109")))
    );
    let busy = UdpSocket::bind("127.0.0.1:0").expect("a port");
    let taken = busy.local_addr().expect("an address").port();
    let other = text.replace("hart-ip::0", &format!("hart-ip::{}", taken)).replace("memory", "#memory");
    let e = again(&other);
    assert_eq!(e.whose.as_deref(), Some("loop 90 (FV-090)"));
    assert!(e.to_string().starts_with("loop 90 (FV-090): opening hart-ip:127.0.0.1:"), "{e}");
    drop(fleet);
    std::fs::remove_dir_all(dir).unwrap();
}
