//! What a described mock refuses, keeps and forgets, beside devices that are not described.

use super::golden::{fixture, hex, plan};
use looprig::app::command::{Described, Revision};
use looprig::bench::{self, check_with, read_description};
use looprig::device::{Device as Mock, Restored, decode_image};
use looprig::exchange::{Exchange, Interpreter, read_alone};
use looprig::frame::{
    Address, Frame, Good, Master, Octet, PollingAddress, Receiver, ReceiverConfig, Reception, Target,
};
use looprig::host::{Device, Host};
use looprig::line::{InProcess, Line};
use looprig::link::MasterConfig;
use looprig::sim::Participant;
use looprig::time::{Instant, Pace};
use std::time::Duration;

type OnBench = Host<InProcess<Participant>>;

fn host(text: &str) -> OnBench {
    let plan = check_with(text, &fixture("bench.toml"), &mut |path| {
        read_description(path).map(|d| Described::load(d, &path.display().to_string()))
    })
    .unwrap_or_else(|e| panic!("{e}"));
    Host::new(bench::in_process(&plan), MasterConfig::default()).with_catalogue(plan.catalogue)
}

fn find<L: Line>(host: &mut Host<L>, address: u8) -> Device {
    let address = PollingAddress::new(address).expect("a polling address");
    host.poll(address, None).expect("the line works").1.expect("it answers")
}

fn code(e: &Exchange) -> u8 {
    e.transaction.reply_frame().and_then(Frame::status).expect("a reply")[0]
}

/// A bench with one valve and these keys more.
fn one(keys: &str, commands: &[(u8, &str)]) -> String {
    let mut text = format!("[[device]]\ndescription = \"flushing-valve.toml\"\n{keys}\n");
    for (number, answer) in commands {
        text += &format!("[[device.command]]\nnumber = {number}\n{answer}\n");
    }
    text + "[[line]]\nat = \"pty:\"\n"
}

const R7: &str = "device_type = 0xFDB1";
const STORED: &str = "answer = \"stored\"";

/// The positioner beside it is of another type: its frames show hex, also where numbers are the same.
#[test]
fn another_type_shows_hex() {
    let plan = plan();
    let mut host =
        Host::new(bench::in_process(&plan), MasterConfig::default()).with_catalogue(plan.catalogue.clone());
    let valve = find(&mut host, 0);
    let positioner = find(&mut host, 1);
    let of_valve = host.ask_octets(&valve, 128, Vec::new()).expect("asked");
    let of_positioner = host.ask_octets(&positioner, 128, vec![1, 2]).expect("asked");
    assert_eq!(
        (of_valve.command_name(), of_positioner.command_name()),
        ("read flushing", "command without a row")
    );
    assert_eq!((code(&of_positioner), of_positioner.spec.is_none()), (64, true));
    // Common rows are the same for both.
    assert_eq!(
        host.ask(&valve, 13, &[]).expect("asked").value("tag").map(|v| v.cell()),
        Some("FV-3110".into())
    );
    // Without descriptions nothing of it has a name.
    let mut host = Host::new(bench::in_process(&plan), MasterConfig::default());
    let e = host.ask_octets(&valve, 128, Vec::new()).expect("asked");
    assert_eq!((e.spec.is_none(), e.fields_of_reply().count(), code(&e)), (true, 0, 0));
}

/// Write protect 7, a lock 16 and before revision 7 busy 32, busy 32; reads pass but when busy [DV-05] [DV-17].
#[test]
fn refusals_as_for_other_writes() {
    let commands = [(128, STORED), (129, STORED), (130, "answer = \"echo\""), (140, "code = 8")];
    let full = hex("02 0168 2D 07 40900000");
    let ask = |host: &mut OnBench, device: &Device, number, data: &[u8]| {
        code(&host.ask_octets(device, number, data.to_vec()).expect("asked"))
    };
    let mut protected = host(&one(&format!("{R7}\nwrite_protect = true"), &commands));
    let device = find(&mut protected, 0);
    let codes = [(128, &[][..]), (129, &full), (130, &[8]), (140, &[])];
    let got = codes.map(|(n, data)| ask(&mut protected, &device, n, data));
    assert_eq!(got, [0, 7, 7, 7]);
    // Too short is told first.
    assert_eq!(ask(&mut protected, &device, 129, &full[..8]), 5);

    let mut busy = host(&one(&format!("{R7}\nbusy = true"), &commands));
    let device = find(&mut busy, 0);
    assert_eq!(codes.map(|(n, data)| ask(&mut busy, &device, n, data)), [32, 32, 32, 32]);

    for (keys, locked) in [(R7, 16), ("revision = 6\ndevice_type = 0x5B", 32)] {
        let text = one(keys, &commands);
        let plan = check_with(&text, &fixture("bench.toml"), &mut |path| {
            read_description(path).map(|d| Described::load(d, "flushing-valve.toml"))
        })
        .unwrap_or_else(|e| panic!("{e}"));
        let mut mock = mock(&plan, None);
        // The primary master locks; the secondary is shut out [CM-071].
        assert_eq!(mock.ask(Master::Primary, 71, &[1]).0, 0);
        assert_eq!(mock.ask(Master::Secondary, 129, &full).0, locked);
        assert_eq!(mock.ask(Master::Secondary, 128, &[]).0, 0);
        assert_eq!(mock.ask(Master::Primary, 129, &full).0, 0);
    }
}

/// A mock without a line: requests in, answers out.
struct Alone {
    device: Mock,
    now: Instant,
}

fn mock(plan: &looprig::bench::BenchPlan, image: Option<&[u8]>) -> Alone {
    let config = plan.devices[0].config.clone();
    let (device, restored) = Mock::new(config, image, Pace::Fast, Duration::ZERO, Instant::ZERO);
    assert_eq!(restored, if image.is_some() { Restored::Kept } else { Restored::Fresh });
    Alone { device, now: Instant::ZERO }
}

impl Alone {
    fn ask(&mut self, master: Master, command: u8, data: &[u8]) -> (u8, Vec<u8>) {
        let address = Address::new(master, Target::Unique(self.device.unique_address()));
        let request = Frame::request(address, command, data.to_vec()).expect("fits");
        self.now += Duration::from_secs(1);
        let octets: Vec<Octet> = request.encode_after(5).iter().map(|&o| Octet::clean(self.now, o)).collect();
        self.device.handle(self.now, &octets);
        self.now += Duration::from_secs(1);
        let answer = self.device.poll_transmit(self.now).expect("an answer");
        let octets: Vec<Octet> = answer.iter().map(|&o| Octet::clean(self.now, o)).collect();
        let mut receiver = Receiver::new(ReceiverConfig::UNTIMED);
        receiver.push(&octets);
        receiver.finish();
        match receiver.next() {
            Some(Reception::Good(good)) => {
                (good.frame.status().expect("a status")[0], good.frame.data().to_vec())
            }
            other => panic!("{other:?}"),
        }
    }
}

fn plan_of(text: &str) -> looprig::bench::BenchPlan {
    check_with(text, &fixture("bench.toml"), &mut |path| {
        read_description(path).map(|d| Described::load(d, "flushing-valve.toml"))
    })
    .unwrap_or_else(|e| panic!("{e}"))
}

/// What is written outlives a power cycle, counts as a write of configuration, and gives way where the bench file no
/// longer has it [DV-03] [DV-08].
#[test]
fn what_is_stored_is_kept() {
    let commands = [(128, STORED), (129, STORED), (131, STORED), (132, STORED)];
    let steps = "[[device.stored]]\nstep = 0\nopening = 25\n[[device.stored]]\nstep = 3\n";
    let text = one(R7, &commands).replace("[[line]]", &format!("{steps}[[line]]"));
    let plan = plan_of(&text);
    let mut before = mock(&plan, None);
    let counter = |m: &Alone| m.device.stored().configuration_change_counter;
    assert_eq!(before.ask(Master::Primary, 129, &hex("02 0168 2D 07 40900000 01 03 7E")).0, 0);
    assert_eq!(before.ask(Master::Primary, 132, &hex("03 427A0000 012C")).0, 0);
    assert_eq!(counter(&before), 2);
    // A refusal and a read change nothing.
    assert_eq!(before.ask(Master::Primary, 132, &hex("02 427A0000 012C")).0, 2);
    before.ask(Master::Primary, 128, &[]);
    assert_eq!(counter(&before), 2);
    let image = before.device.take_image().expect("something was written");
    // By name, what selects in front: 0168 hex min, step 3 at 62.5 % (427A0000).
    let stored = decode_image(&image).expect("an image");
    let kept = |name: &str| stored.described.get(name).map(String::as_str);
    assert_eq!(
        (kept("interval"), kept("step=3/opening"), kept("step=0/opening")),
        (Some("0168"), Some("427A0000"), Some("41C80000"))
    );
    let mut after = mock(&plan, Some(&image));
    assert_eq!(after.ask(Master::Secondary, 128, &[]), (0, hex("02 0168 2D 07 40900000 01 03 7E")));
    assert_eq!(after.ask(Master::Secondary, 131, &[3]), (0, hex("03 427A0000 012C")));

    // Without step 3 in the bench file there is none, whatever the image holds; without a description nothing is kept.
    let fewer = plan_of(&text.replace("[[device.stored]]\nstep = 3\n", ""));
    assert_eq!(mock(&fewer, Some(&image)).ask(Master::Primary, 131, &[3]).0, 2);
    assert_eq!(mock(&fewer, Some(&image)).ask(Master::Primary, 131, &[0]).0, 0);
    let none = plan_of("[[device]]\ndevice_type = 0xFDB1\n[[line]]\nat = \"pty:\"\n");
    let mut none = mock(&none, Some(&image));
    assert!(none.device.stored().described.is_empty());
    assert_eq!(none.ask(Master::Primary, 128, &[]).0, 64);
}

/// In revision 5 the data are shorter: no date [flushing-valve.toml], and command 140 is not there at all.
#[test]
fn a_revision_without_a_field() {
    let commands = [(128, STORED), (129, STORED)];
    let mut host = host(&one("revision = 5\ndevice_type = 0x5B", &commands));
    let device = find(&mut host, 0);
    assert_eq!(device.revision, Revision::R5);
    let words =
        [("mode", "off"), ("interval", "1"), ("duration", "2"), ("pressure_unit", "7"), ("pressure", "4.5")];
    let values = words.map(|(n, v)| (n.to_owned(), v.to_owned()));
    let e = host.ask(&device, 129, &values).expect("asked");
    assert_eq!(e.transaction.request().map(|f| f.data().to_vec()), Some(hex("00 0001 02 07 40900000")));
    let e = host.ask(&device, 128, &[]).expect("asked");
    assert_eq!(e.transaction.reply_frame().map(|f| f.data().to_vec()), Some(hex("00 0001 02 07 40900000")));
    let date = [("set_on".to_owned(), "2026-03-01".to_owned())];
    let e =
        host.ask(&device, 129, &[&values[..], &date[..]].concat()).expect_err("no such value in revision 5");
    assert!(e.to_string().contains("set_on"), "{e}");
}

/// Inside command 78 as alone [DV-27]: a described write, what it reads, and one that is not answered.
#[test]
fn several_in_one() {
    let plan = plan_of(&one(R7, &[(128, STORED), (129, STORED)]));
    let mut mock = mock(&plan, None);
    // 3 commands: 0081 hex = 129 with 9 octets, 0080 = 128 with none, 008C = 140 with none.
    let request = hex("03 0081 09 02 0168 2D 07 40900000 0080 00 008C 00");
    // Each with its number, octets and code: 1 + 12 = 0D hex octets twice, the date being 00 00 00; 64 = 40 hex alone.
    let told = "02 0168 2D 07 40900000 000000";
    let want = format!("00 03 0081 0D 00 {told} 0080 0D 00 {told} 008C 01 40");
    assert_eq!(mock.ask(Master::Primary, 78, &request), (0, hex(&want)));
}

/// A broadcast is not for it: silence, as for other commands.
#[test]
fn broadcast_is_not_answered() {
    let plan = plan_of(&one(R7, &[(130, "answer = \"echo\"")]));
    let mut mock = mock(&plan, None);
    let all = Target::Unique(looprig::frame::UniqueAddress::BROADCAST);
    let request = Frame::request(Address::new(Master::Primary, all), 130, vec![8]).expect("fits");
    let octets: Vec<Octet> =
        request.encode_after(5).iter().map(|&o| Octet::clean(Instant::ZERO, o)).collect();
    mock.device.handle(Instant::ZERO, &octets);
    assert!(mock.device.poll_transmit(Instant::ZERO + Duration::from_secs(1)).is_none());
}

/// A polling address says nothing of the type: who was heard to say there what it is is read by its description.
#[test]
fn at_a_polling_address() {
    let plan = plan();
    let mut host = Host::new(bench::in_process(&plan), MasterConfig::default());
    let mut reader = Interpreter::new(None).with_catalogue(plan.catalogue.clone());
    let request = |n: u8| {
        let to = Target::Polling(PollingAddress::new(n).expect("a polling address"));
        let frame = Frame::request(Address::new(Master::Primary, to), 130, vec![8]).expect("fits");
        let octets = frame.encode_after(0).iter().map(|&o| Octet::clean(Instant::ZERO, o)).collect();
        Good { frame, preambles: 0, octets }
    };
    assert!(read_alone(&mut reader, request(0)).spec.is_none());
    for address in [0, 1] {
        let address = PollingAddress::new(address).expect("a polling address");
        reader.read(host.poll(address, None).expect("the line works").0.transaction);
    }
    // The valve at 0 has the command; the positioner at 1 is not described.
    let known = read_alone(&mut reader, request(0));
    assert_eq!((known.command_name(), known.request.fields.len()), ("flush now", 1));
    assert!(read_alone(&mut reader, request(1)).spec.is_none());
}

/// Slots that are stored: a write keeps as many as it has and tells those, a read tells all.
#[test]
fn slots_are_stored_one_by_one() {
    let slot = |side: &str| {
        format!(
            "[[command.{side}]]\nleast = 1\nmost = 3\n[[command.{side}.slot]]\nname = \"x\"\ntype = \"u8\"\n"
        )
    };
    let command =
        |n: u8, effect: &str| format!("[[command]]\nnumber = {n}\nname = \"c\"\neffect = \"{effect}\"\n");
    let description = format!(
        "name = \"d\"\n[[type]]\nexpanded_device_type = 0xFDB1\n{}{}{}{}{}",
        command(150, "reads"),
        slot("reply"),
        command(151, "writes"),
        slot("request"),
        slot("reply"),
    );
    let text = one(R7, &[(150, STORED), (151, STORED)])
        .replace("[[line]]", "[[device.stored]]\nslot0_x = 1\nslot2_x = 3\n[[line]]");
    let plan = check_with(&text, &fixture("bench.toml"), &mut |path| {
        looprig::app::command::described::check(&description, path).map(|d| Described::load(d, "d.toml"))
    })
    .unwrap_or_else(|e| panic!("{e}"));
    let mut mock = mock(&plan, None);
    assert_eq!(mock.ask(Master::Primary, 150, &[]), (0, vec![1, 0, 3]));
    assert_eq!(mock.ask(Master::Primary, 151, &[7, 8]), (0, vec![7, 8]));
    assert_eq!(mock.ask(Master::Primary, 150, &[]), (0, vec![7, 8, 3]));
    assert_eq!(mock.ask(Master::Primary, 151, &[]).0, 5);
}
