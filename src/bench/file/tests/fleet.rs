//! `[fleet]` [IP-17]: what the loops are, and what is refused.

use super::*;
use crate::bench::BenchPlan;
use std::collections::BTreeSet;
use std::path::PathBuf;

/// A fleet of these keys, with a device and a line of these.
fn fleet(keys: &str, device: &str, line: &str) -> String {
    format!("[fleet]\n{keys}\n[[device]]\n{device}\n[[line]]\nat = {line}\n")
}

fn plan(text: &str) -> BenchPlan {
    check(text, Path::new("dir/b.toml")).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn loops_are_numbered() {
    let text = format!(
        "seed = 7\n{}[[line]]\nat = \"tcp-listen:5501\"\n[[line]]\nat = \"pty:p-###\"\n",
        fleet(
            "count = 500\nfirst = 100",
            "tag = \"FV-####\"\nlong_tag = \"filter ###\"\nmessage = \"LOOP ###\"\ndescriptor = \"ALL\"\nmemory = \"m-###\"\n\
             device_id = 1000\n[[device]]\npolling_address = 1\ndevice_id = 1001",
            "\"hart-ip::6000\""
        )
    );
    let plan = plan(&text);
    assert_eq!(plan.loops(), 500);
    // The 43rd: number 142; two devices and two ports a loop.
    let own = plan.loop_plan(42);
    let device = &own.devices[0];
    let stored = &device.config.factory;
    assert_eq!(
        [&stored.tag, &stored.long_tag, &stored.message, &stored.descriptor].map(String::as_str),
        ["FV-0142", "filter 142", "LOOP 142", "ALL"]
    );
    assert_eq!(device.memory, Some(PathBuf::from("dir/m-142")));
    let ids = [0, 1].map(|i: usize| own.devices[i].config.identity.device_id);
    assert_eq!(ids, [1000 + 284, 1001 + 284]);
    assert_eq!(own.devices[1].config.factory.tag, "");
    let at: Vec<&str> = own.lines.iter().map(|l| l.at.as_str()).collect();
    assert_eq!(at, ["hart-ip:127.0.0.1:6084", "tcp-listen:127.0.0.1:5585", "pty:p-142"]);
    assert!(matches!(&own.lines[2].kind, LineKind::Pty(Some(link)) if link == Path::new("dir/p-142")));
    // 7 + 142 * 4294967296.
    assert_eq!((own.seed, own.fleet), (Some(609_885_356_039), None));
    assert_eq!(plan.loop_plan(42), own);
    // Every device has an address of its own.
    let all = (0..500).flat_map(|i| plan.loop_plan(i).devices);
    let addresses: BTreeSet<_> = all.map(|d| d.config.identity.unique_address().octets()).collect();
    assert_eq!(addresses.len(), 1000);
}

/// A gateway is there once: its line keeps its port, and its loops have none.
#[test]
fn a_gateway_is_in_front_of_all() {
    let text = format!("[gateway]\n{}", fleet("count = 10000", "tag = \"FV-#####\"", "\"hart-ip:\""));
    let plan = plan(&text);
    let last = plan.loop_plan(9999);
    assert_eq!((&last.gateway, last.lines[0].at.as_str()), (&None, "hart-ip:"));
    assert_eq!(last.devices[0].config.factory.tag, "FV-10000");
    assert!(plan.gateway.is_some());
}

#[test]
fn what_cannot_be_a_fleet() {
    let hart = "\"hart-ip:\"";
    let keys = |k: &str, wrong: &str, right: &str| faulty(&fleet(k, "", hart), wrong, right);
    keys("count = «0", "count is 0", "1 to 10000");
    keys("count = «10001", "count is 10001", "1 to 10000");
    keys("count = «1001", "more than 1000", "[gateway]");
    keys("count = 2\nfirst = «100000000", "first is 100000000", "0 to 99999999");
    keys("«cuont = 2", "no key `cuont`", "did you mean `count`?");
    faulty(&format!("«{}", fleet("first = 1", "", hart)), "how many loops", "count = 500");
    let device = |d: &str, wrong: &str, right: &str| faulty(&fleet("count = 500", d, hart), wrong, right);
    device("tag = «\"FV-1\"", "all 500 loops would have the tag \"FV-1\"", "tag = \"FV-####\"");
    device("tag = «\"FV-##\"", "number 500 of the last loop has more digits", "write ###");
    device("long_tag = «\"filter\"", "all 500 loops would have the long_tag", "Brackenmoor filter ####");
    device("message = «\"LOOP #\"", "message \"LOOP #\"", "write ###");
    device("memory = «\"m\"", "the memory file \"m\"", "fv-####.memory");
    device("memory = «\"m-#\"", "more digits", "write ###");
    device("device_id = «16777000", "that of loop 500 would be 16777500", "up to 16776715");
    device(
        "device_id = «1\n[[device]]\npolling_address = 1\ndevice_id = 5",
        "device 1 of loop 3 would have the unique address 3D71000007 of device 2 of loop 1",
        "ids in a row",
    );
    // 10 before a 1, and 1 behind one.
    let tags = "tag = «\"FV-##1\"\n[[device]]\npolling_address = 1\ndevice_id = 0x3105\ntag = \"FV-1##\"";
    faulty(
        &fleet("count = 10", tags, hart),
        "device 1 of loop 10 would have the tag \"FV-101\" of device 2 of loop 1",
        "no number",
    );
    let line = |l: &str, wrong: &str, right: &str| faulty(&fleet("count = 500", "", l), wrong, right);
    line("«\"hart-ip::65100\"", "at port 65599, above 65535", "up to 65036");
    line("«\"serial:/dev/ttyUSB0\"", "one place", "hart-ip:");
    line("«\"tcp:localhost:1\"", "one place", "tcp-listen");
    line("«\"pty:loop\"", "the same link", "pty:loop-####");
    line("«\"pty:loop-##\"", "more digits", "as many #");
    line(
        "«\"hart-ip::6000\"\n[[line]]\nat = \"tcp-listen:6002\"",
        "line 1 of loop 2 would be at port 6002, and so is line 2 of loop 1",
        "ports in a row",
    );
    faulty(
        &format!("[gateway]\n{}[[line]]\nat = «\"pty:\"\n", fleet("count = 5", "", hart)),
        "by HART-IP alone",
        "leave [gateway] out",
    );
    faulty(
        &format!("[api]\nat = «\"127.0.0.1:0\"\n{}", fleet("count = 5", "", hart)),
        "not driven over HTTP",
        "--list",
    );
    let two = "device_id = 1\n[[device]]\npolling_address = 1\ndevice_id = 2";
    faulty(
        &format!("[gateway]\n{}", fleet("count = «5001", two, hart)),
        "5001 loops of 2 devices are 10002 devices",
        "at most 5000",
    );
}

/// Text of characters and rows of `#`.
fn numberable(of: &'static str, longest: usize) -> impl Strategy<Value = String> {
    let piece = prop_oneof![3 => of, 2 => "#{1,6}"];
    prop::collection::vec(piece, 0..longest).prop_map(|pieces| pieces.concat())
}

/// Each row of `#` as the number, read from its end; `None` where a row is too short for it.
fn by_hand(text: &str, number: u64) -> Option<String> {
    let (mut out, mut left): (Vec<char>, Option<u64>) = (Vec::new(), None);
    for c in text.chars().rev() {
        if c == '#' {
            let n = left.unwrap_or(number);
            out.push(char::from(b'0' + (n % 10) as u8));
            left = Some(n / 10);
        } else {
            if left.take().is_some_and(|n| n > 0) {
                return None;
            }
            out.push(c);
        }
    }
    (left.unwrap_or(0) == 0).then(|| out.into_iter().rev().collect())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    /// Whatever counts, numbers and patterns are: every loop has its own numbers, and a tag that the tag field takes (8
    /// characters of packed text [TY-04], 32 of a long tag [TY-05]); or the file is refused with its place, and for a reason.
    #[test]
    fn any_template_makes_loops_of_their_own_or_is_refused(
        count in prop_oneof![3 => 1..40_u64, 1 => 990..1010_u64],
        first in prop_oneof![0..20_u64, 80..101_u64, 9_990..10_001_u64, 99_999_900..100_000_002_u64],
        tag in numberable("[A-Z0-9-]{1,3}", 5),
        long_tag in numberable("[A-Za-zäöü ]{1,8}", 7),
        id in prop_oneof![0..10_u64, 0xFF_0000..0xFF_FFFF_u64],
        port in prop_oneof![1..6000_u64, 64_000..65_536_u64],
        gateway in any::<bool>(),
    ) {
        let keys = format!("count = {count}\nfirst = {first}");
        let device = format!("tag = \"{tag}\"\nlong_tag = \"{long_tag}\"\ndevice_id = {id}");
        let front = if gateway { "[gateway]\n" } else { "" };
        let text = format!("{front}{}", fleet(&keys, &device, &format!("\"hart-ip::{port}\"")));
        let last = first + count - 1;
        let fits = |text: &str, most: usize| {
            text.chars().count() <= most
                && by_hand(text, last).is_some()
                && (count == 1 || text.is_empty() || text.contains('#'))
        };
        let good = first <= 99_999_999
            && fits(&tag, 8)
            && fits(&long_tag, 32)
            && id + last <= 0xFF_FFFF
            && (gateway || count <= 1000 && port + count - 1 <= 65_535);
        match check(&text, Path::new("b.toml")) {
            Err(e) => {
                place_is_in(&text, &e);
                prop_assert!(!good, "{text}\n{e}");
            }
            Ok(plan) => {
                prop_assert!(good, "{}", text);
                let (mut tags, mut addresses, mut ports) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
                for index in 0..plan.loops() {
                    let own = plan.loop_plan(index);
                    let config = &own.devices[0].config;
                    prop_assert_eq!(config.check(), Ok(()));
                    let number = first + index as u64;
                    prop_assert_eq!(Some(config.factory.tag.clone()), by_hand(&tag, number));
                    prop_assert_eq!(Some(config.factory.long_tag.clone()), by_hand(&long_tag, number));
                    tags.insert(config.factory.tag.clone());
                    addresses.insert(config.identity.unique_address().octets());
                    ports.extend(own.lines[0].kind.listens_at());
                }
                let count = count as usize;
                prop_assert_eq!(plan.loops(), count);
                prop_assert!(tag.is_empty() || tags.len() == count);
                prop_assert_eq!(addresses.len(), count);
                prop_assert_eq!(ports.len(), if gateway { 1 } else { count });
            }
        }
    }
}
