//! Types that share numbers, names or the 14 bits of an address, and files that say what cannot be.

use super::golden::plan as bench_plan;
use looprig::app::command::described::check;
use looprig::app::command::value::ValueError;
use looprig::app::command::{Catalogue, Described, Direction, Kind, Revision, Value};
use looprig::app::status::Status;
use looprig::app::types::BitTable;
use looprig::bench::{self, BenchPlan, check_with, read_description};
use looprig::commission::settings::{Allowed, Plan, Turn, from_text_by, plan};
use looprig::frame::PollingAddress;
use looprig::host::{Ask, Device, Host, encode_by};
use looprig::line::InProcess;
use looprig::link::MasterConfig;
use looprig::sim::Participant;
use std::path::Path;

/// A type that reads with 140 and writes with 141.
fn zones(of: u16, effect: &str, name: &str, kind: &str) -> &'static Described {
    let value = |side: &str| format!("[[command.{side}]]\nname = \"{name}\"\ntype = \"{kind}\"\n");
    load(&format!(
        "name = \"zones\"\n[[type]]\nexpanded_device_type = {of}\n\
         [[command]]\nnumber = 140\nname = \"read zone\"\neffect = \"reads\"\n{}\
         [[command]]\nnumber = 141\nname = \"write zone\"\neffect = \"{effect}\"\n{}\
         [[setting]]\nheading = \"zone\"\nread = 140\nwrite = 141\nvalues = [\"{name}\"]\n",
        value("reply"),
        value("request")
    ))
}

fn load(text: &str) -> &'static Described {
    Described::load(check(text, Path::new("d.toml")).unwrap_or_else(|e| panic!("{e}")), "d.toml")
}

/// What is planned where the file is of type FDC7 and the device of FDC8.
fn planned(file: &'static Described, device: &'static Described, name: &str, allowed: Allowed) -> Plan {
    let mut catalogue = Catalogue::default();
    catalogue.add(file).expect("the first");
    catalogue.add(device).expect("of another type");
    let settings = |of: u16, value: u8| {
        let text = format!(
            "looprig_settings = 1\nrevision = 7\n[identity]\nexpanded_device_type = {of}\n[described_zone]\n{name} = {value}\n"
        );
        from_text_by(&text, &catalogue).unwrap_or_else(|e| panic!("{e}"))
    };
    plan(&settings(0xFDC7, 7), &settings(0xFDC8, 1), allowed)
}

/// [HO-05]: what a command does is what the description of the device says, not that of the file.
#[test]
fn a_file_of_another_type_lifts_no_guard() {
    let all = Allowed { moves: true, polling_address: true };
    let file = zones(0xFDC7, "writes", "mode", "u8");
    for (effect, kind) in [("moves", "u8"), ("writes", "u16")] {
        for allowed in [Allowed::default(), all] {
            let plan = planned(file, zones(0xFDC8, effect, "mode", kind), "mode", allowed);
            assert_eq!(plan.changes, [], "{effect} {kind}");
            let [left] = plan.left_out.as_slice() else { panic!("{plan:?}") };
            assert!(left.why.contains("description of this device") && !left.expected, "{left:?}");
        }
    }
    // The same command in both is written.
    let plan = planned(file, zones(0xFDC8, "writes", "mode", "u8"), "mode", Allowed::default());
    assert_eq!((plan.changes.len(), plan.left_out.len()), (1, 0), "{plan:?}");
}

/// Names of shared commands mean nothing in described ones.
#[test]
fn names_of_shared_commands() {
    for name in ["polling_address", "burst_control", "loop_current_mode"] {
        let of = |t| zones(t, "writes", name, "u8");
        let plan = planned(of(0xFDC7), of(0xFDC8), name, Allowed::default());
        let [change] = plan.changes.as_slice() else { panic!("{plan:?}") };
        assert_eq!(change.turn, Turn::Middle, "{name}");
    }
}

fn on_bench(text: &str, catalogue: Catalogue) -> (Host<InProcess<Participant>>, Device) {
    let plan = bench::check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let mut host = Host::new(bench::in_process(&plan), MasterConfig::default()).with_catalogue(catalogue);
    let (_, device) = host.poll(PollingAddress::default(), None).expect("the line works");
    (host, device.expect("it answers"))
}

/// 3DC7 and FDC7 share 14 bits, and so do FDC7 and manufacturer FD with type C7: frames are read by them, but nothing
/// is known of what a command does [HO-05].
#[test]
fn fourteen_bits_allow_nothing() {
    let type_of = |lines: &str| format!("[[device]]\n{lines}\n[[line]]\nat = \"pty:\"\n");
    let rev_7 = type_of("device_type = 0xFDC7");
    let rev_5 = type_of("revision = 5\ndevice_type = 0xC7");
    for (of, bench, own) in [(0x3DC7, &rev_7, false), (0xFDC7, &rev_5, false), (0xFDC7, &rev_7, true)] {
        let mut catalogue = Catalogue::default();
        catalogue.add(zones(of, "writes", "mode", "u8")).expect("the first");
        let (mut host, device) = on_bench(bench, catalogue);
        assert_eq!(host.spec(&device, 140).is_some(), own, "{of:04X} {device:?}");
        assert_eq!(Ask::described(&host, &device).is_some(), own, "{of:04X} {device:?}");
        assert!(host.spec(&device, 13).is_some());
        let e = host.ask_octets(&device, 140, Vec::new()).expect("asked");
        assert_eq!(e.command_name(), "read zone");
    }
}

/// [CM-078]: what is carried is read by the description too.
#[test]
fn described_commands_inside_78() {
    let plan = bench_plan();
    let mut host =
        Host::new(bench::in_process(&plan), MasterConfig::default()).with_catalogue(plan.catalogue.clone());
    let (_, device) = host.poll(PollingAddress::default(), None).expect("the line works");
    let device = device.expect("it answers");
    // One command: number 00 80 (128), no data.
    let e = host.ask_octets(&device, 78, vec![1, 0, 128, 0]).expect("asked");
    let inside = e.inside(Direction::Request);
    assert_eq!(inside.iter().map(|i| i.command_name()).collect::<Vec<_>>(), ["read flushing"]);
}

const TAIL: &str = "[[command.request]]\nname = \"a\"\ntype = \"u8\"\n\
                    [[command.request]]\nname = \"b\"\ntype = \"u8\"\noptional = true\n\
                    [[command.request]]\nname = \"c\"\ntype = \"u8\"\noptional = true\n";

/// A value behind one that is left out is told, not dropped.
#[test]
fn a_gap_before_a_value() {
    let head = "name = \"x\"\n[[type]]\nexpanded_device_type = 0xFDC7\n\
                [[command]]\nnumber = 141\nname = \"write\"\neffect = \"writes\"\n";
    let row = load(&format!("{head}{TAIL}")).spec(141);
    let given = |names: &[&str]| -> Result<Vec<u8>, String> {
        let values: Vec<(String, String)> = names.iter().map(|n| ((*n).to_owned(), "7".to_owned())).collect();
        encode_by(row, Revision::R7, &values).map_err(|e| e.to_string())
    };
    assert_eq!(given(&["a", "b", "c"]), Ok(vec![7; 3]));
    assert_eq!(given(&["a", "c"]), Err("c is given without b, which stands before it".into()));
    assert!(given(&["a", "d"]).is_err_and(|e| e.contains("no value called \"d\"")));
}

/// A bench with one device of two selectors, a table and slots, and these lines.
fn two_selectors(lines: &str) -> Result<BenchPlan, String> {
    let select = |names: &[&str]| -> String {
        names
            .iter()
            .map(|n| {
                format!(
                    "[[command.request]]\nname = \"{n}\"\n{}selects = true\n",
                    match *n {
                        "a" => "enumeration = \"zone\"\n",
                        _ => "type = \"u8\"\n",
                    }
                )
            })
            .collect()
    };
    let text = format!(
        "name = \"x\"\n[[type]]\nexpanded_device_type = 0xFDC7\n[enumeration.zone]\n0 = \"north\"\n1 = \"south\"\n\
         [[command]]\nnumber = 140\nname = \"read\"\neffect = \"reads\"\n{}\
         [[command.reply]]\nname = \"v\"\ntype = \"u8\"\n[[command.reply]]\nname = \"z\"\nenumeration = \"zone\"\n\
         [[command]]\nnumber = 141\nname = \"write\"\neffect = \"writes\"\n{}\
         [[command.request]]\nname = \"v\"\ntype = \"u8\"\n\
         [[command]]\nnumber = 142\nname = \"list\"\neffect = \"reads\"\n\
         [[command.reply]]\nleast = 1\nmost = 4\n[[command.reply.slot]]\nname = \"t\"\ntype = \"u8\"\n",
        select(&["a", "b"]),
        select(&["a"])
    );
    let described = load(&text);
    let bench = format!(
        "[[device]]\ndevice_type = 0xFDC7\ndescription = \"d.toml\"\n\
         [[device.command]]\nnumber = 140\nanswer = \"stored\"\n[[device.command]]\nnumber = 141\nanswer = \"stored\"\n\
         {lines}[[line]]\nat = \"pty:\"\n"
    );
    check_with(&bench, Path::new("b.toml"), &mut |_| Ok(described)).map_err(|e| e.to_string())
}

/// [DV-70]: what nothing is kept for is an invalid selection, also where more selectors have something.
#[test]
fn a_write_that_nothing_keeps() {
    let code_of = |lines: &str, command: u8, data: &[u8]| {
        let plan = two_selectors(lines).unwrap_or_else(|e| panic!("{e}"));
        let mut host = Host::new(bench::in_process(&plan), MasterConfig::default());
        let (_, device) = host.poll(PollingAddress::default(), None).expect("the line works");
        let e = host.ask_octets(&device.expect("it answers"), command, data.to_vec()).expect("asked");
        e.status()
    };
    let one = "[[device.stored]]\na = 0\nb = 0\nv = 4\n";
    assert_eq!(code_of(one, 140, &[0, 0]), Some(Status::Response(0)));
    // 141 selects by a alone, and nothing is kept there; 2 is an invalid selection.
    assert_eq!(code_of(one, 141, &[0, 5]), Some(Status::Response(2)));
    // Tables of fewer selectors beside those of more are no second ones.
    let both = "[[device.stored]]\na = 0\nb = 0\nv = 4\n[[device.stored]]\na = 0\nv = 5\n";
    assert_eq!(code_of(both, 141, &[0, 6]), Some(Status::Response(0)));
}

#[test]
fn codes_that_the_table_lacks() {
    for lines in ["a = 5\nb = 0\nv = 4\n", "a = 0\nb = 0\nz = 5\n"] {
        let e = two_selectors(&format!("[[device.stored]]\n{lines}")).expect_err("no such code");
        assert!(e.contains("5 is no code of zone") && e.contains("0 north, 1 south"), "{e}");
    }
}

#[test]
fn slots_behind_a_gap() {
    let canned = |values: &str| {
        two_selectors(&format!("[[device.command]]\nnumber = 142\n[device.command.values]\n{values}"))
    };
    assert!(canned("slot0_t = 1\nslot1_t = 2\n").is_ok());
    let e = canned("slot0_t = 1\nslot2_t = 2\n").expect_err("slot 1 is not there");
    assert!(e.contains("slot2_t is given without slot1_t"), "{e}");
}

/// A device file stands for the pipes, which would wait for ever where this fails.
#[test]
fn only_files_are_read() {
    let e = read_description(Path::new("/dev/null")).expect_err("no file");
    assert!(e.wrong.contains("no file") && e.right.contains("to a file"), "{e}");
    let e = bench::read(Path::new("/dev/null")).expect_err("no file");
    assert!(e.wrong.contains("no file"), "{e}");
}

#[test]
fn bits_by_name() {
    static BITS: BitTable =
        BitTable { id: "x", name: "x", rows: &[(0x80, "hot"), (0x02, "open, far"), (0x01, "open")] };
    let of = |text: &str| Value::from_text(Kind::Bits(&BITS), text);
    for (text, bits) in [
        ("none", 0),
        ("hot", 0x80),
        ("HOT, open", 0x81),
        ("hot,open, far", 0x82),
        ("open, open, far", 0x03),
        ("bit 0x04, open", 0x05),
        ("0x81", 0x81),
    ] {
        assert_eq!(of(text), Ok(Value::Number(bits)), "{text}");
    }
    for text in ["", "hot, cold", "hot,", ","] {
        assert!(matches!(of(text), Err(ValueError::Kind { wanted, .. }) if wanted.contains("hot")), "{text}");
    }
}
