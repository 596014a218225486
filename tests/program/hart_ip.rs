//! HART-IP over the sockets of this machine: a bench as server, our client, and those that behave badly.

use looprig::bench::{self, Bench};
use looprig::frame::{Address, Frame, Master, PollingAddress, StampUnit, Target};
use looprig::host::{Host, To};
use looprig::ip::ClientNews;
use looprig::line::io::{InterruptHandle, PeerNews, PortLine};
use looprig::line::{Endpoint, Event, Fault, HartIpClient, Line};
use looprig::link::MasterConfig;
use std::io::{ErrorKind, Read, Write};
use std::net::{TcpStream, UdpSocket};
use std::path::Path;
use std::process::Command;
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

/// Far more than anything here takes; a test that gets there has failed.
const LONG: Duration = Duration::from_secs(20);
/// A session initiate as in the first capture of [ICS], and a keep-alive.
const INITIATE: [u8; 13] = [1, 0, 0, 0, 0, 2, 0, 13, 1, 0, 0, 0x75, 0x30];
const KEEP_ALIVE: [u8; 8] = [1, 0, 2, 0, 0, 12, 0, 8];

/// A bench with one device at a HART-IP server.
struct Server {
    port: u16,
    handle: InterruptHandle,
    thread: JoinHandle<()>,
}

impl Server {
    fn start(at: &str, more: &str) -> Server {
        Server::at_pace("fast", at, more)
    }

    fn at_pace(pace: &str, at: &str, more: &str) -> Server {
        let text = format!(
            "pace = \"{pace}\"\n[[device]]\ntag = \"FV-3104\"\nlong_tag = \"Brackenmoor filter 4\"\n\
             [[line]]\nat = \"{at}\"\n{more}"
        );
        let plan = bench::check(&text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
        let mut bench = Bench::open(plan).unwrap_or_else(|e| panic!("{e}"));
        let open = bench.places()[0].open.clone().expect("a LINE that reaches it");
        let port = open.rsplit(':').next().and_then(|p| p.parse().ok()).expect("a port");
        let handle = bench.interrupt_handle();
        let thread = std::thread::spawn(move || {
            let _ = bench.run(&mut drop);
        });
        Server { port, handle, thread }
    }

    fn end(self) {
        self.handle.interrupt();
        self.thread.join().unwrap();
    }

    fn host(&self, tcp: bool) -> Host<PortLine> {
        let to = HartIpClient::parse(tcp, &format!("127.0.0.1:{}", self.port), "").unwrap();
        let line = PortLine::open_hart_ip(&to).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(line.capabilities().unit, StampUnit::Frames);
        Host::new(line, MasterConfig::default())
    }

    fn tcp(&self) -> TcpStream {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(LONG)).unwrap();
        stream
    }
}

fn long_tag(host: &mut Host<PortLine>) -> String {
    let (_, device) = host.find(&To::Polling(PollingAddress::default())).unwrap();
    let device = device.expect("a device at polling address 0");
    let exchange = host.ask(&device, 20, &[]).unwrap();
    exchange.value("long_tag").expect("a long tag").cell()
}

/// Whether the other end has closed: what is sent and read until then does not matter.
fn closes(stream: &mut TcpStream) -> bool {
    let mut buffer = [0; 4096];
    loop {
        match stream.read(&mut buffer) {
            Ok(0) => return true,
            Ok(_) => {}
            Err(e) => return !matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut),
        }
    }
}

#[test]
fn hosts_read_devices_by_udp_and_by_tcp() {
    let server = Server::start("hart-ip::0", "");
    for tcp in [false, true] {
        let mut host = server.host(tcp);
        assert_eq!(long_tag(&mut host), "Brackenmoor filter 4");
        // Nobody is there: the server says so, and nothing is repeated.
        let begun = host.line_mut().now();
        let (exchange, device) = host.poll(PollingAddress::new(9).unwrap(), None).unwrap();
        assert!(device.is_none() && exchange.transaction.retries() == 0);
        assert!(
            host.line_mut().now().since(begun) < Duration::from_secs(9),
            "it waited for what cannot come"
        );
    }
    server.end();
}

/// However long the wires were quiet before, what a client asks goes out on them when it comes, and takes its time there:
/// the request of command 20 has 5 + 9 characters and its answer 5 + 9 + 2 + 32, each of 11 bits at 1200 bit/s, 568 ms.
#[test]
fn a_request_after_a_quiet_while_takes_its_time_on_the_wires() {
    let server = Server::at_pace("wire", "hart-ip::0", "");
    let mut host = server.host(false);
    let (_, device) = host.find(&To::Polling(PollingAddress::default())).unwrap();
    let device = device.expect("a device at polling address 0");
    let until = host.line_mut().now() + Duration::from_millis(1200);
    while host.line_mut().wait(Some(until)).unwrap() != Event::TimeOut {}
    let begun = host.line_mut().now();
    let exchange = host.ask(&device, 20, &[]).unwrap();
    assert_eq!(exchange.value("long_tag").expect("a long tag").cell(), "Brackenmoor filter 4");
    let took = host.line_mut().now().since(begun);
    assert!(took >= Duration::from_millis(568), "{took:?}");
    server.end();
}

/// A client goes on with a server that was ended and started again, by UDP and by TCP.
#[test]
fn a_session_outlives_its_server() {
    let mut server = Server::start("hart-ip::0", "");
    let mut hosts = [server.host(false), server.host(true)];
    for _ in 0..2 {
        for host in &mut hosts {
            assert_eq!(long_tag(host), "Brackenmoor filter 4");
        }
        let port = server.port;
        server.end();
        server = Server::start(&format!("hart-ip::{port}"), "");
    }
    for host in &mut hosts {
        assert_eq!(long_tag(host), "Brackenmoor filter 4");
    }
    server.end();
}

#[test]
fn what_cannot_be_opened_says_why() {
    let to = |tcp, text: &str| PortLine::open_hart_ip(&HartIpClient::parse(tcp, text, "").unwrap());
    // Port 9 is discard, which nobody has here; by UDP nobody answers.
    assert_eq!(to(true, "127.0.0.1:9").err().map(|e| e.fault), Some(Fault::ConnectionRefused));
    assert_eq!(to(false, "127.0.0.1:9").err().map(|e| e.fault), Some(Fault::NoAnswer));
    assert_eq!(to(false, "nobody.invalid").err().map(|e| e.fault), Some(Fault::HostUnknown));
    let server = Server::start("hart-ip::0", "session_masters = \"primary\"\nsessions = 1\n");
    let at = format!("127.0.0.1:{}", server.port);
    assert_eq!(to(false, &at).err().map(|e| e.fault), Some(Fault::SessionRefused));
    let primary = HartIpClient::parse(false, &at, "session=primary").unwrap();
    let first = PortLine::open_hart_ip(&primary).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(PortLine::open_hart_ip(&primary).err().map(|e| e.fault), Some(Fault::SessionRefused));
    // Leaving says so: the session is free at once.
    drop(first);
    drop(PortLine::open_hart_ip(&primary).unwrap_or_else(|e| panic!("{e}")));
    // Another server at the same place.
    let plan = format!("[[device]]\n[[line]]\nat = \"hart-ip::{}\"\n", server.port);
    let plan = bench::check(&plan, Path::new("b.toml")).unwrap();
    let taken = Bench::open(plan).err().map(|e| e.to_string()).unwrap_or_default();
    assert!(taken.contains("somebody listens there already"), "{taken}");
    server.end();
    assert!(Endpoint::parse_listen(&at).is_ok());
}

/// Of a bad server's rubbish all is told or counted, when the line ends at the latest [IP-13].
#[test]
fn what_was_left_out_is_told_at_the_end() {
    let server = UdpSocket::bind("127.0.0.1:0").unwrap();
    server.set_read_timeout(Some(LONG)).unwrap();
    let at = server.local_addr().unwrap().to_string();
    let thread = std::thread::spawn(move || {
        let mut buffer = [0; 64];
        let (n, client) = server.recv_from(&mut buffer).unwrap();
        // The session initiate as it came is what answers it, but for the message's kind [IP-02].
        buffer[1] = 1;
        server.send_to(&buffer[..n], client).unwrap();
        // Requests, which no server sends; 64 of a datagram are looked at.
        let rubbish = [1, 0, 2, 0, 0, 12, 0, 8].repeat(64);
        (0..40).for_each(|_| _ = server.send_to(&rubbish, client).unwrap());
        // A burst, so that its end is seen: command 1 with its status and data [FR-03], published [IP-02].
        let to = Address::new(Master::Primary, Target::Polling(PollingAddress::default()));
        let burst = Frame::reply(true, to, 1, [0, 0], vec![57, 0, 0, 0, 0]).unwrap().encode();
        let count = (8 + burst.len()) as u8;
        server.send_to(&[&[1, 2, 3, 0, 0, 1, 0, count][..], &burst].concat(), client).unwrap();
    });
    let mut line = PortLine::open_hart_ip(&HartIpClient::parse(false, &at, "").unwrap()).unwrap();
    let heard = Arc::new(Mutex::new(Vec::new()));
    let news = Arc::clone(&heard);
    line.on_peer_news(move |_, n| news.lock().unwrap().push(n.clone()));
    let until = line.now() + LONG;
    let event = line.wait(Some(until)).unwrap();
    assert!(matches!(event, Event::Octets(_)), "{event:?}");
    drop(line);
    thread.join().unwrap();
    let heard = heard.lock().unwrap();
    let told = heard.iter().filter(|n| matches!(n, PeerNews::Server(ClientNews::Odd(_)))).count() as u64;
    let left_out =
        heard.iter().map(|n| if let PeerNews::Server(ClientNews::LeftOut(n)) = n { *n } else { 0 });
    assert_eq!(told + left_out.sum::<u64>(), 40 * 64, "{heard:?}");
    assert!(told < 2000, "{told} lines of rubbish");
}

/// One that asks and never reads is disconnected; others are served all the time [IP-13].
#[test]
fn who_does_not_read_is_disconnected() {
    let server = Server::start("hart-ip::0", "");
    let mut slow = server.tcp();
    slow.write_all(&INITIATE).unwrap();
    slow.set_write_timeout(Some(LONG)).unwrap();
    let mut wrote = 0_usize;
    let keep_alives = KEEP_ALIVE.repeat(1000);
    // Twice what the buffers of both systems could hold, at the most.
    let cut = (0..4000).any(|_| match slow.write_all(&keep_alives) {
        Ok(()) => {
            wrote += keep_alives.len();
            false
        }
        Err(_) => true,
    });
    assert!(cut, "{wrote} octets were asked for and never read");
    assert_eq!(long_tag(&mut server.host(false)), "Brackenmoor filter 4");
    server.end();
}

#[test]
fn streams_that_lie_or_are_too_many_are_closed() {
    let server = Server::start("hart-ip+tcp::0", "sessions = 2\n");
    // Nobody listens by UDP there.
    let udp = UdpSocket::bind("127.0.0.1:0").unwrap();
    udp.connect(("127.0.0.1", server.port)).unwrap();
    udp.set_read_timeout(Some(LONG)).unwrap();
    udp.send(&INITIATE).unwrap();
    assert!(udp.recv(&mut [0; 64]).is_err());
    // A byte count of seven: where the next message begins nobody knows.
    let mut liar = server.tcp();
    liar.write_all(&[1, 0, 2, 0, 0, 1, 0, 7]).unwrap();
    assert!(closes(&mut liar));
    // 2 sessions and 8 more; the eleventh is closed at once.
    let mut all: Vec<TcpStream> = (0..11).map(|_| server.tcp()).collect();
    assert!(closes(&mut all[10]));
    server.end();
}

/// What a reader of `conform` and `scan` on such a line gets: the suite ends soon, judges the device and not the server, at a
/// plain server and behind a gateway; a gateway's devices are listed with who they are.
#[test]
fn a_device_is_judged_and_found_through_a_server() {
    let looprig = |words: &[&str]| {
        let done = Command::new(env!("CARGO_BIN_EXE_looprig")).args(words).output().unwrap();
        (
            done.status.code(),
            [done.stdout, done.stderr].map(|o| String::from_utf8_lossy(&o).into_owned()).concat(),
        )
    };
    let server = Server::start("hart-ip::0", "");
    let at = format!("hart-ip:127.0.0.1:{}", server.port);
    let (code, said) = looprig(&["conform", &at, "--only", "universal", "--only", "link/timing"]);
    // The mock is healthy; nothing is asked again and again until a time is over.
    let requests: u32 =
        said.split(" requests").next().and_then(|s| s.rsplit(' ').next()?.parse().ok()).unwrap();
    assert!(code == Some(0) && said.contains(" 0 failed, "), "{said}");
    let words = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("the server at its other end answers for the link"), "{said}");
    assert!((50..400).contains(&requests), "{said}");
    server.end();

    let gateway = "[gateway]\ntag = \"GW-3100\"\n[[device]]\ntag = \"TT-3107\"\nkind = \"temperature\"\n\
                   long_tag = \"Brackenmoor filter 4 inlet\"\npolling_address = 2\ndevice_id = 0x3107\n";
    let server = Server::start("hart-ip::0", gateway);
    let at = format!("hart-ip+tcp:127.0.0.1:{}", server.port);
    let (code, said) = looprig(&["scan", &at, "--range", "0-2", "--format", "csv"]);
    let rows: Vec<Vec<&str>> = said.lines().skip(1).map(|l| l.split(',').collect()).collect();
    let places: Vec<&[&str]> = rows.iter().map(|r| &r[..]).collect();
    assert_eq!((code, rows.len()), (Some(0), 3), "{said}");
    // The unique address ends with the device id [FR-06].
    assert_eq!((places[0][0], places[0][2]), ("0", "GW-3100"), "{said}");
    assert_eq!(
        (places[1][0], places[1][2], places[1][3]),
        ("behind 0", "FV-3104", "Brackenmoor filter 4"),
        "{said}"
    );
    let last = (places[2][0], &places[2][1][4..], places[2][2], places[2][3]);
    assert_eq!(last, ("behind 0", "003107", "TT-3107", "Brackenmoor filter 4 inlet"), "{said}");
    // A sub-device by its tag, and by the address that the scan has told.
    for to in ["tag:TT-3107", places[2][1]] {
        let (code, said) = looprig(&["conform", &at, to, "--only", "universal"]);
        let words = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(code == Some(0) && said.contains(" 0 failed, "), "{said}");
        assert!(words.contains("polling addresses reach the server or gateway alone"), "{said}");
    }
    server.end();
}

/// The client in Python knows nothing of our code.
#[test]
fn an_independent_client_is_served() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/hart_ip_client.py");
    if Command::new("python3").arg("--version").output().is_err() {
        // `.ci/run` has it.
        return;
    }
    let done = Command::new("python3")
        .arg(script)
        .arg("2000")
        .env("LOOPRIG", env!("CARGO_BIN_EXE_looprig"))
        .output()
        .unwrap();
    let said = [done.stdout, done.stderr].map(|o| String::from_utf8_lossy(&o).into_owned()).concat();
    // 77: the captures are not there; all else was done.
    assert!(matches!(done.status.code(), Some(0 | 77)), "{said}");
    assert!(said.contains("malformed datagrams, then a good client was served"), "{said}");
}
