//! `settings` on a device that cuts an answer short: the mock, asked by a test that passes its answers on.

use super::settings::bench_file;
use crate::process::{run, scratch};
use looprig::bench;
use looprig::frame::{Frame, PollingAddress};
use looprig::host::Host;
use looprig::link::MasterConfig;
use std::fs;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::thread;

/// Answers requests on `stream` as the mock would; those to command 15 end after nine octets of data, in the
/// middle of the lower range value [CM-015].
fn answer(mut stream: TcpStream) {
    let plan = bench::check(&bench_file(), Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let mut mock = Host::new(bench::in_process(&plan), MasterConfig::default());
    let (hello, device) = mock.poll(PollingAddress::default(), None).unwrap();
    let (mut heard, mut octets) = (Vec::new(), [0; 64]);
    while let Ok(n @ 1..) = stream.read(&mut octets) {
        heard.extend(&octets[..n]);
        let start = heard.iter().position(|o| *o != 0xFF).unwrap_or(heard.len());
        let request = &heard[start..];
        // [FR-01] [FR-03]: delimiter, address of one octet or five, command, byte count, data, check.
        let command_at = if request.first().is_some_and(|d| d & 0x80 != 0) { 6 } else { 2 };
        let Some(&count) = request.get(command_at + 1) else { continue };
        let (command, data_at) = (request[command_at], command_at + 2);
        let data_end = data_at + usize::from(count);
        if request.len() <= data_end {
            continue;
        }
        let exchange = match command_at {
            2 => hello.clone(),
            _ => mock.ask_octets(&device.unwrap(), command, request[data_at..data_end].to_vec()).unwrap(),
        };
        let reply = exchange.transaction.reply_frame().expect("the mock answers");
        let mut data = reply.data().to_vec();
        if command == 15 {
            data.truncate(9);
        }
        let reply = Frame::reply(false, reply.address(), command, reply.status().unwrap(), data).unwrap();
        heard.clear();
        if stream.write_all(&reply.encode_after(5)).is_err() {
            break;
        }
    }
}

#[test]
fn an_answer_cut_short_is_saved_as_that() {
    let dir = scratch("settings-cut");
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let line = format!("tcp:{}?pace=20", listener.local_addr().unwrap());
    thread::spawn(move || listener.incoming().for_each(|stream| answer(stream.unwrap())));
    let saved = run(&dir, &["settings", "save", &line, "FV.toml"]);
    assert_eq!(saved.code, 1, "{}", saved.err);
    for words in ["the device's answer about output was cut short", "next: try again"] {
        assert!(saved.err.contains(words), "{}", saved.err);
    }
    let text = fs::read_to_string(dir.join("FV.toml")).unwrap();
    let output = text.split_once("\n[output]\n").unwrap().1.split_once("\n\n").unwrap().0;
    assert!(
        output.contains("\ncut_short = true #") && output.contains("\nupper_range_value = 100.0"),
        "{output}"
    );
    assert!(!output.contains("lower_range_value"), "{output}");
    // Nobody can say that nothing differs.
    let ended = run(&dir, &["settings", "compare", "FV.toml", "FV.toml"]);
    assert!(ended.code == 2 && ended.out.contains("not compared whole: output"), "{}", ended.out);
}
