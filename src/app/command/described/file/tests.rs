use super::*;
use crate::app::command::described::{Element, PartKind};

/// What every description needs.
const HEAD: &str = "name = \"valve\"\n[[type]]\nexpanded_device_type = 0xFDB1\n";
const TABLES: &str = "[enumeration.mode]\n0 = \"off\"\n1 = \"on\"\n[bits.state]\n0x01 = \"open\"\n";
const READ: &str = "[[command]]\nnumber = 130\nname = \"read\"\neffect = \"reads\"\n";

/// A fault at the mark `«`.
#[track_caller]
fn faulty(marked: &str, wrong_has: &str, right_has: &str) {
    let (before, after) = marked.split_once('«').expect("a mark");
    let text = format!("{before}{after}");
    let e = check(&text, Path::new("d.toml")).expect_err("a fault");
    let line = before.matches('\n').count() + 1;
    let column = before.chars().rev().take_while(|&c| c != '\n').count() + 1;
    assert_eq!(e.location(), format!("d.toml:{line}:{column}"), "{e}");
    assert!(e.wrong.contains(wrong_has), "{e}");
    assert!(e.right.contains(right_has), "{e}");
}

/// The same in the command behind a good beginning.
#[track_caller]
fn in_command(marked: &str, wrong_has: &str, right_has: &str) {
    faulty(&format!("{HEAD}{TABLES}{READ}{marked}"), wrong_has, right_has);
}

/// In one value of the reply.
#[track_caller]
fn in_value(marked: &str, wrong_has: &str, right_has: &str) {
    in_command(&format!("[[command.reply]]\n{marked}"), wrong_has, right_has);
}

#[test]
fn the_least_that_is_one() {
    let d = check(&format!("{HEAD}{READ}"), Path::new("d.toml")).expect("a description");
    assert_eq!((d.name.as_str(), d.types.len(), d.commands.len()), ("valve", 1, 1));
    let c = &d.commands[0];
    assert_eq!((c.number, c.from, c.to), (130, Revision::R5, Revision::R7));
    assert!(c.request.is_empty() && c.reply.is_empty() && c.codes.is_empty());
}

#[test]
fn what_may_be_left_out() {
    let text = format!(
        "{HEAD}{TABLES}{READ}reply_as_request = true\n[[command.request]]\nname = \"set_point\"\ntype = \"u8\"\n\
         selects = true\n[[command.request]]\nname = \"mode\"\nenumeration = \"mode\"\noptional = true\n"
    );
    let d = check(&text, Path::new("d.toml")).unwrap_or_else(|e| panic!("{e}"));
    let c = &d.commands[0];
    let [Element::Value(set_point), Element::Value(mode)] = c.request.as_slice() else { panic!("{c:?}") };
    assert_eq!((set_point.label.as_str(), set_point.selects), ("set point", true));
    assert_eq!((&mode.kind, mode.optional), (&PartKind::Enumeration("mode".into()), true));
    // The reply is the same, and selects nothing.
    assert!(c.reply[0].parts().iter().all(|p| !p.selects && p.name == "set_point"));
    // Codes stand in the order of their numbers, masks from the highest on, however they are written.
    let text = format!(
        "{HEAD}{READ}[enumeration.x]\n10 = \"ten\"\n0x9 = \"nine\"\n[bits.x]\n0x01 = \"a\"\n0x80 = \"b\"\n"
    );
    let d = check(&text, Path::new("d.toml")).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(d.enumerations[0].rows, [(9, "nine".to_owned()), (10, "ten".to_owned())]);
    assert_eq!(d.bits[0].rows, [(0x80, "b".to_owned()), (1, "a".to_owned())]);
}

/// [CM-DESCRIBED]: octets of command 48, parted by revision.
#[test]
fn octets_of_the_status() {
    let five = "[[device_status]]\nto_revision = 5\ntables = [\"\", \"state\"]\n";
    let later = "[[device_status]]\nfrom_revision = 6\ntables = [\"state\"]\n";
    let d = check(&format!("{HEAD}{TABLES}{READ}{five}{later}"), Path::new("d.toml"))
        .unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(d.status[0].tables, ["", "state"]);
    assert_eq!((d.status[1].from, d.status[1].to), (Revision::R6, Revision::R7));
    let head = format!("{HEAD}{TABLES}{READ}");
    let twice = format!("{head}{five}«[[device_status]]\ntables = [\"state\"]\n");
    faulty(&twice, "twice", "from_revision");
    faulty(&format!("{head}[[device_status]]\ntables = [«\"stat\"]\n"), "no table", "did you mean \"state\"");
    faulty(&format!("{head}[[device_status]]\ntables = «[]\n"), "0 octets", "1 to 6");
}

#[test]
fn heads() {
    faulty("«[[command]]\n", "no name", "name = ");
    faulty(&format!("name = «\"\"\n[[type]]\nexpanded_device_type = 1\n{READ}"), "empty", "1 to 60");
    faulty(&format!("name = \"x\"\n{READ}«"), "no device type", "[[type]]");
    faulty(&format!("{HEAD}«"), "no command", "[[command]]");
    faulty(&format!("name = \"x\"\n[[type]]\nexpanded_device_type = «70000\n{READ}"), "70000", "65535");
    faulty(
        &format!("name = \"x\"\n«[[type]]\nmanufacturer = 253\n{READ}"),
        "not given whole",
        "device_type for revisions",
    );
    faulty(
        &format!("name = \"x\"\n[[type]]\nmanufacturer = 253\ndevice_type = «0xFDB1\n{READ}"),
        "64945",
        "as expanded_device_type",
    );
    faulty(
        &format!("{HEAD}«[[type]]\nexpanded_device_type = 0xFDB1\n{READ}"),
        "expanded device type FDB1 is there twice",
        "once",
    );
    faulty(&format!("{HEAD}«nam = 1\n{READ}"), "no key `nam`", "manufacturer");
    faulty(&format!("«title = 1\n{HEAD}{READ}"), "no key `title`", "name");
    faulty(
        &format!("{HEAD}{READ}«[command.reply]\nname = \"x\"\n"),
        "cannot stand here",
        "double brackets, [[command.reply]]",
    );
    faulty(&format!("{HEAD}{READ}x = «\n"), "no TOML", "key = value");
}

#[test]
fn tables_of_words() {
    let table = |rows: &str| format!("{HEAD}{READ}{rows}");
    faulty(&table("[enumeration.mode]\n«256 = \"x\"\n"), "`256` is no code", "0 to 255");
    faulty(&table("[enumeration.mode]\n«one = \"x\"\n"), "`one` is no code", "0x07");
    faulty(&table("[enumeration.mode]\n«1 = \"x\"\n0x01 = \"y\"\n"), "code 1 is there twice", "once");
    faulty(
        &table("[enumeration.mode]\n1 = \"On\"\n2 = «\"on\"\n"),
        "what 1 means already",
        "words of its own",
    );
    faulty(&table("[enumeration.mode]\n1 = «\"0x11\"\n"), "is a number", "in words");
    faulty(
        &table("[enumeration.mode]\n1 = «1\n"),
        "`1` cannot stand here",
        "a string, text in double quotes",
    );
    faulty(&table("[enumeration.«Mode]\n1 = \"x\"\n"), "cannot be \"Mode\"", "such as \"mode\"");
    faulty(
        &table("[enumeration.mode«]\n").replace("mode«", "«mode").replace("[enumeration.«", "«[enumeration."),
        "is empty",
        "0x01",
    );
    faulty(&table("[bits.state]\n«0x03 = \"x\"\n"), "`0x03` is no mask", "0x40");
    faulty(&table("[command.codes]\n«0 = \"x\"\n"), "`0` is no response code", "1 to 127");
    faulty(&table("[command.codes]\n«128 = \"x\"\n"), "`128` is no response code", "1 to 127");
}

#[test]
fn commands() {
    faulty(&format!("{HEAD}«[[command]]\nname = \"x\"\neffect = \"reads\"\n"), "no number", "number = 130");
    faulty(&format!("{HEAD}«[[command]]\nnumber = 130\neffect = \"reads\"\n"), "no name", "name = ");
    faulty(&format!("{HEAD}«[[command]]\nnumber = 130\nname = \"x\"\n"), "no effect", "\"moves\"");
    faulty(&format!("{HEAD}{READ}«effect = \"reads\"\n"), "there already", "once");
    faulty(
        &format!("{HEAD}{}", READ.replace("\"reads\"", "«\"write\"")),
        "\"write\"",
        "did you mean \"writes\"?",
    );
    faulty(&format!("{HEAD}{}", READ.replace("130", "«12")), "number is 12", "128 to 253");
    faulty(&format!("{HEAD}{}", READ.replace("130", "«254")), "number is 254", "128 to 253");
    faulty(&format!("{HEAD}{READ}{}", READ.replace("130", "«130")), "described twice", "number of its own");
    in_command("from_revision = «8\n", "from_revision is 8", "5, 6 or 7");
    in_command("from_revision = 7\nto_revision = «6\n", "7 to 6", "the older one");
    in_command(
        "reply_as_request = «true\n[[command.reply]]\nname = \"x\"\ntype = \"u8\"\n",
        "two ways",
        "reply_as_request",
    );
}

#[test]
fn values() {
    let long = "z".repeat(41);
    in_command("«[[command.reply]]\ntype = \"u8\"\n", "no name", "name = ");
    in_value("name = «\"Travel\"\ntype = \"u8\"\n", "cannot be \"Travel\"", "such as \"travel\"");
    in_value(&format!("name = «\"{long}\"\ntype = \"u8\"\n"), "cannot be", "at most 40");
    in_value("name = «\"data\"\ntype = \"u8\"\n", "cannot be \"data\"", "data=");
    in_value("name = «\"slot0_x\"\ntype = \"u8\"\n", "cannot be \"slot0_x\"", "slot0_");
    in_value("name = «\"range_unit\"\ntype = \"u8\"\n", "looks like a unit code", "type = \"unit\"");
    in_value("name = «\"range\"\ntype = \"unit\"\n", "does not look like one", "end its name in unit");
    in_value("name = \"x\"\nlabel = «\" x\"\ntype = \"u8\"\n", "begins or ends with a space", "one line");
    in_command("«[[command.reply]]\nname = \"x\"\n", "no type", "float");
    in_command("«[[command.reply]]\nname = \"x\"\ntype = \"u8\"\nbits = \"state\"\n", "two types", "one of");
    in_value("name = \"x\"\ntype = «\"flaot\"\n", "\"flaot\"", "did you mean \"float\"?");
    in_value(
        "name = \"x\"\nenumeration = «\"mod\"\n",
        "no table [enumeration.mod]",
        "did you mean \"mode\"?",
    );
    in_value("name = \"x\"\nbits = «\"mode\"\n", "no table [bits.mode]", "write a table");
    in_value("name = \"x\"\ntype = «\"packed\"\n", "not said", "octets = N");
    in_value("name = \"x\"\ntype = \"packed\"\noctets = «8\n", "octets is 8", "multiple of 3");
    in_value("name = \"x\"\ntype = \"u8\"\noctets = «1\n", "says already", "leave octets out");
    in_value("name = \"x\"\ntype = \"date\"\nunit = «\"s\"\n", "only numbers have a unit", "float");
    in_value(
        "name = \"x\"\ntype = \"u8\"\nunit = «\"s\"\nunit_from = \"y_unit\"\n",
        "given twice",
        "unit_from",
    );
    in_value(
        "name = «\"x\"\ntype = \"u8\"\nunit_from = \"y_unit\"\n",
        "no unit called \"y_unit\"",
        "before it",
    );
    in_value("name = \"x\"\ntype = \"float\"\nhex = «true\n", "hex is for", "leave hex out");
    in_value("name = \"x\"\ntype = \"u8\"\nselects = «true\n", "in a request", "leave selects out");
    in_value("name = \"x\"\ntype = \"rest\"\noptional = «true\n", "optional", "may be nothing");
    in_value("name = \"x\"\ntype = \"u8\"\nleast = «1\n", "what is no slots", ".slot]]");
    let two = |a: &str, b: &str| format!("[[command.reply]]\n{a}[[command.reply]]\n{b}");
    in_command(
        &two("name = \"x\"\ntype = \"u8\"\n", "name = «\"x\"\ntype = \"u16\"\n"),
        "two values called \"x\"",
        "of its own",
    );
    in_command(
        &two("name = «\"x\"\ntype = \"rest\"\n", "name = \"y\"\ntype = \"u8\"\n"),
        "takes all that is left",
        "put it last",
    );
    in_command(
        &two(
            "name = \"a_unit\"\ntype = \"unit\"\nto_revision = 6\n",
            "name = «\"x\"\ntype = \"u8\"\nunit_from = \"a_unit\"\n",
        ),
        "in revision 7",
        "before it",
    );
    in_command(
        "from_revision = 6\n[[command.reply]]\nname = \"x\"\ntype = \"u8\"\nfrom_revision = «5\n",
        "revisions 6 to 7 alone",
        "stay within",
    );
}

#[test]
fn slots_and_room() {
    let slot = "[[command.reply.slot]]\nname = \"x\"\ntype = \"u8\"\n";
    in_command(&format!("«[[command.reply]]\nleast = 1\n{slot}"), "no most", "1 to 64");
    in_value(&format!("least = 0«\nmost = 2\n{slot}").replace("0«", "«0"), "least is 0", "1 to 64");
    in_value(&format!("least = 3\nmost = «2\n{slot}"), "most is 2", "as much as least");
    in_command(
        &format!("«[[command.reply]]\nname = \"x\"\nleast = 1\nmost = 2\n{slot}"),
        "slots have no name",
        "in the slot",
    );
    let behind = "[[command.reply]]\nname = \"y\"\ntype = \"u8\"\n";
    in_command(
        &format!("«[[command.reply]]\nleast = 1\nmost = 2\n{slot}{behind}"),
        "follows the slots",
        "put the slots last",
    );
    // 64 times 4 octets are 256; a reply has room for 255 less its two status octets.
    let float = slot.replace("u8", "float");
    in_command(&format!("«[[command.reply]]\nleast = 1\nmost = 64\n{float}"), "256 octets", "253");
    in_command("«[[command.reply]]\nname = \"x\"\ntype = \"latin1\"\noctets = 252\n[[command.reply]]\nname = \"y\"\ntype = \"u16\"\n".replace("«", "").replacen("[[command.reply]]\nname = \"y\"", "«[[command.reply]]\nname = \"y\"", 1).as_str(), "254 octets", "253");
}

#[test]
fn settings_that_fit() {
    let value = |side: &str, name: &str, more: &str| {
        format!("[[command.{side}]]\nname = \"{name}\"\ntype = \"u8\"\n{more}")
    };
    let write = READ.replace("130", "131").replace("\"reads\"", "\"writes\"");
    let commands = format!("{HEAD}{READ}{}{write}{}", value("reply", "a", ""), value("request", "a", ""));
    let setting = |keys: &str| format!("{commands}[[setting]]\n{keys}");
    let good = "heading = \"x\"\nread = 130\nwrite = 131\nvalues = [\"a\"]\n";
    let d = check(&setting(good), Path::new("d.toml")).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(
        (d.settings[0].heading.as_str(), d.settings[0].values.as_slice()),
        ("x", &["a".to_owned()][..])
    );
    faulty(&setting("«").replace("[[setting]]\n«", "«[[setting]]\n"), "no heading", "values");
    faulty(&setting(&good.replace("130", "«131")), "does more than read", "\"reads\"");
    faulty(&setting(&good.replace("131", "«130")), "writes nothing", "\"writes\"");
    faulty(&setting(&good.replace("130", "«132")), "132 is not described", "described here");
    faulty(&setting(&good.replace("\"a\"", "«\"b\"")), "the reply of command 130 has no \"b\"", "it has a");
    faulty(&setting(&good.replace("\"a\"", "\"a\", «\"a\"")), "there twice", "once");
    faulty(&setting(&good.replace("[\"a\"]", "«[]")), "no values", "at least one");
    faulty(&setting(&format!("{good}each = «\"a\"\n")), "no last", "last = ");
    faulty(&setting(&format!("{good}last = «3\n")), "no each", "each = ");
    let two = setting(&format!("{good}[[setting]]\n{}", good.replace("\"x\"", "«\"x\"")));
    faulty(&two, "the heading \"x\"", "of its own");
    // A request that wants more than the setting has cannot be made.
    let more = format!(
        "{commands}{}[[setting]]\n{}",
        value("request", "b", ""),
        good.replace("[\"a\"]", "«[\"a\"]")
    );
    faulty(&more, "also wants b", "in values");
    let fewer = format!("{commands}{}[[setting]]\n{good}", value("request", "b", "optional = true\n"));
    assert!(check(&fewer, Path::new("d.toml")).is_ok());
}

/// A setting is one only if it can be read and written with what it has, and kept in a file.
#[test]
fn settings_that_can_never_be() {
    let value = |side: &str, name: &str, more: &str| {
        format!("[[command.{side}]]\nname = \"{name}\"\ntype = \"u8\"\n{more}")
    };
    let whole = |request: &str, names: &[&str], last: &str, setting: &str| {
        let values = |side: &str| names.iter().map(|n| value(side, n, "")).collect::<String>();
        let write = READ.replace("130", "131").replace("\"reads\"", "\"writes\"");
        format!(
            "{HEAD}{READ}{request}{}{write}{}{last}[[setting]]\nheading = \"x\"\n{setting}",
            values("reply"),
            values("request")
        )
    };
    let both = "read = 130\nwrite = 131\n";
    for name in ["refused", "unread", "cut_short"] {
        faulty(
            &whole("", &[name], "", &format!("{both}values = [«\"{name}\"]\n")),
            "became of a section",
            "another name",
        );
    }
    // A request that wants more than the value that selects.
    let more = value("request", "day", "");
    faulty(
        &whole(&more, &["a"], "", "write = 131\nvalues = [\"a\"]\nread = «130\n"),
        "also wants day",
        "selects alone",
    );
    let optional = value("request", "day", "optional = true\n");
    assert!(
        check(&whole(&optional, &["a"], "", &format!("{both}values = [\"a\"]\n")), Path::new("d.toml"))
            .is_ok()
    );
    // A value that is written stands behind one that is not.
    let tail = value("request", "b", "optional = true\n") + &value("request", "c", "optional = true\n");
    let reply = value("reply", "c", "");
    let text = format!(
        "{HEAD}{READ}{}{reply}{}{}{tail}",
        value("reply", "a", ""),
        READ.replace("130", "131").replace("\"reads\"", "\"writes\""),
        value("request", "a", "")
    );
    let setting = format!("{text}[[setting]]\nheading = \"x\"\n{both}");
    faulty(&format!("{setting}values = «[\"a\", \"c\"]\n"), "behind \"b\"", "add \"b\"");
}

#[test]
fn days_that_do_not_exist() {
    faulty(&format!("x = «2026-13-45\n{HEAD}{READ}"), "no such day", "2026-11-25");
}

/// A text with control characters, and a kind that no file makes, are printed without harm.
#[test]
fn printing_what_no_file_says() {
    let mut d =
        check(&format!("{HEAD}{READ}[[command.reply]]\nname = \"x\"\ntype = \"u8\"\n"), Path::new("d.toml"))
            .unwrap_or_else(|e| panic!("{e}"));
    d.text = "one\u{1b}two".into();
    assert!(d.to_toml().contains("one\\u001Btwo"), "{}", d.to_toml());
    let Element::Value(part) = &mut d.commands[0].reply[0] else { panic!("a value") };
    part.kind = PartKind::Unsigned(0);
    assert!(d.to_toml().contains("type = \"u8\""));
}

/// Editors offer what the reader takes: every key of the schema is one that the file may have, and no other is.
#[test]
fn the_schema_has_every_key() {
    let schema: serde_json::Value = serde_json::from_str(&schema()).expect("JSON");
    assert_eq!(schema["title"], "looprig description");
    let keys = |table: &serde_json::Value| -> Vec<String> {
        table["properties"].as_object().expect("keys").keys().cloned().collect()
    };
    let value_keys = keys(&schema["$defs"]["ElementTable"]);
    assert!(value_keys.len() == 16, "{value_keys:?}");
    for key in value_keys {
        let text = format!("{HEAD}{READ}[[command.reply]]\n{key} = []\n");
        let e = check(&text, Path::new("d.toml")).expect_err("a fault in what the key holds");
        assert!(!e.wrong.contains("there is no key"), "{e}");
    }
    assert!(check(&format!("{HEAD}{READ}[[command.reply]]\nnosuch = 1\n"), Path::new("d.toml")).is_err());
}
