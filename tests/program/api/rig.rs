//! A bench with its API in threads of this process, and a client that is a socket.

use looprig::bench::api::{Gate, Place, Token};
use looprig::bench::{self, Bench, Error, Notice};
use looprig::line::io::InterruptHandle;
use serde_json::Value as Json;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::sync::mpsc::{Receiver, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// Far more than anything here takes; a test that gets there has failed.
pub const LONG: Duration = Duration::from_secs(60);

pub struct Running {
    pub at: SocketAddr,
    line: SocketAddr,
    notices: Receiver<Notice>,
    handle: InterruptHandle,
    thread: JoinHandle<Result<(), Error>>,
    gate: Gate,
}

/// An answer.
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Answer {
    /// The JSON of an answer that is no refusal.
    pub fn json(&self) -> Json {
        assert_eq!(self.status, 200, "{}{}", self.head, self.body);
        self.any_json()
    }

    pub fn any_json(&self) -> Json {
        serde_json::from_str(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.body))
    }

    pub fn text(self) -> String {
        assert_eq!(self.status, 200, "{}{}", self.head, self.body);
        self.body
    }

    /// Reads one from a connection that is closed behind it; `None` where nothing came.
    pub fn from(stream: &mut TcpStream) -> Option<Answer> {
        let mut octets = Vec::new();
        // Whoever is refused while he still sends may be cut off behind the answer.
        let _ = stream.read_to_end(&mut octets);
        let text = String::from_utf8_lossy(&octets).into_owned();
        let (head, body) = text.split_once("\r\n\r\n")?;
        let status = head.split(' ').nth(1)?.parse().ok()?;
        Some(Answer { status, head: head.to_owned(), body: body.to_owned() })
    }
}

impl Running {
    pub fn start(text: &str) -> Running {
        Running::start_with(text, None)
    }

    pub fn start_with(text: &str, token: Option<&str>) -> Running {
        let plan = bench::check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
        let token = token.map(|t| Token::new(t).expect("a token"));
        let place = Place::take("127.0.0.1:0".parse().expect("an address"), token).expect("a place");
        let at = place.at();
        let mut bench = Bench::open(plan).unwrap_or_else(|e| panic!("{e}"));
        let handle = bench.interrupt_handle();
        let line = bench.places()[0].path.to_str().and_then(|p| p.strip_prefix("tcp:")?.parse().ok());
        let gate = place.serve(bench.plan().clone(), bench.take_orders()).expect("a thread");
        let (tell, notices) = channel();
        let thread = std::thread::spawn(move || bench.run(&mut |n| drop(tell.send(n))));
        let line = line.expect("a line over TCP");
        Running { at, line, notices, handle, thread, gate }
    }

    pub fn notice(&self, mut wanted: impl FnMut(&Notice) -> bool) {
        while !wanted(&self.notices.recv_timeout(LONG).expect("a notice")) {}
    }

    /// A program on the first line.
    pub fn peer(&self) -> TcpStream {
        let stream = TcpStream::connect(self.line).expect("a connection");
        stream.set_read_timeout(Some(LONG)).expect("a time-out");
        stream
    }

    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(self.at).expect("a connection");
        stream.set_read_timeout(Some(LONG)).expect("a time-out");
        stream
    }

    /// Sends octets as they are, and reads what comes until the connection is closed.
    pub fn raw(&self, octets: &[u8]) -> Option<Answer> {
        let mut stream = self.connect();
        // Whoever is refused may be cut off while he still sends.
        let _ = stream.write_all(octets);
        Answer::from(&mut stream)
    }

    pub fn ask(&self, method: &str, path: &str, body: Option<Json>) -> Answer {
        let (kind, body) = match body {
            Some(json) => ("Content-Type: application/json\r\n", json.to_string()),
            None => ("", String::new()),
        };
        let host = self.at;
        let length = body.len();
        let request = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n{kind}Content-Length: {length}\r\n\r\n{body}"
        );
        self.raw(request.as_bytes()).unwrap_or_else(|| panic!("no answer to {method} {path}"))
    }

    pub fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, None)
    }

    pub fn post(&self, path: &str, body: Option<Json>) -> Answer {
        self.ask("POST", path, body)
    }

    pub fn put(&self, path: &str, body: Option<Json>) -> Answer {
        self.ask("PUT", path, body)
    }

    pub fn end(self) {
        self.handle.interrupt();
        assert_eq!(self.thread.join().expect("no panic"), Ok(()));
        drop(self.gate);
    }
}

/// A stream that is read event by event.
pub struct Stream(BufReader<TcpStream>);

impl Stream {
    pub fn open(bench: &Running, path: &str) -> Stream {
        let mut stream = bench.connect();
        write!(stream, "GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n").expect("sent");
        let mut reader = BufReader::new(stream);
        let mut head = String::new();
        while !head.ends_with("\r\n\r\n") {
            assert_ne!(reader.read_line(&mut head).expect("a line"), 0, "{head}");
        }
        assert!(head.starts_with("HTTP/1.1 200") && head.contains("text/event-stream"), "{head}");
        Stream(reader)
    }

    /// The name and the data of the next event; sizes of chunks and comments are passed over.
    pub fn event(&mut self) -> (String, Json) {
        let mut name = String::new();
        loop {
            let mut line = String::new();
            assert_ne!(self.0.read_line(&mut line).expect("a line"), 0, "the stream has ended");
            if let Some(of) = line.strip_prefix("event: ") {
                name = of.trim_end().to_owned();
            } else if let Some(data) = line.strip_prefix("data: ") {
                return (name, serde_json::from_str(data).expect("JSON"));
            }
        }
    }
}
