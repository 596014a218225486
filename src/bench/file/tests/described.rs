//! Devices that answer described commands.

use super::*;
use crate::app::command::described;
use crate::device::DescribedAnswer;

const DESCRIPTION: &str = r#"
name = "valve"
[[type]]
expanded_device_type = 0xFDB1
[enumeration.mode]
3 = "off"
9 = "on"
[[command]]
number = 128
name = "read"
effect = "reads"
[[command.reply]]
name = "mode"
enumeration = "mode"
[[command.reply]]
name = "note"
type = "packed"
octets = 3
[[command]]
number = 129
name = "write"
effect = "writes"
reply_as_request = true
[[command.request]]
name = "mode"
enumeration = "mode"
[[command]]
number = 130
name = "read a step"
effect = "reads"
[[command.request]]
name = "step"
type = "u8"
selects = true
[[command.reply]]
name = "opening"
type = "float"
[[command]]
number = 131
name = "read the rest"
effect = "reads"
[[command.reply]]
name = "remainder"
type = "rest"
[[command]]
number = 132
name = "of revision 5"
effect = "reads"
to_revision = 5
[[command]]
number = 133
name = "mode in two octets"
effect = "reads"
[[command.reply]]
name = "mode"
type = "u16"
"#;

fn load(text: &str) -> Result<BenchPlan, FileError> {
    check_with(text, Path::new("b.toml"), &mut |path| {
        if path != Path::new("d.toml") {
            panic!("{} was asked for", path.display());
        }
        described::check(DESCRIPTION, path).map(|d| Described::load(d, "d.toml"))
    })
}

/// A device with a description and these lines, the fault at the mark.
#[track_caller]
fn faulty(marked: &str, wrong_has: &str, right_has: &str) {
    let head = "[[device]]\ndevice_type = 0xFDB1\ndescription = \"d.toml\"\n";
    faulty_whole(&format!("{head}{marked}[[line]]\nat = \"pty:\"\n"), wrong_has, right_has);
}

#[track_caller]
fn faulty_whole(marked: &str, wrong_has: &str, right_has: &str) {
    let (before, after) = marked.split_once('«').expect("a mark");
    let e = load(&format!("{before}{after}")).expect_err("a fault");
    let line = before.matches('\n').count() + 1;
    let column = before.chars().rev().take_while(|&c| c != '\n').count() + 1;
    assert_eq!(e.location(), format!("b.toml:{line}:{column}"), "{e}");
    assert!(e.wrong.contains(wrong_has), "{e}");
    assert!(e.right.contains(right_has), "{e}");
}

fn command(number: u8, keys: &str) -> String {
    format!("[[device.command]]\nnumber = {number}\n{keys}\n")
}

#[test]
fn what_makes_no_answer() {
    let line = "[[line]]\nat = \"pty:\"\n";
    let whole = |keys: &str| format!("[[device]]\n{keys}{line}");
    faulty_whole(&whole("description = «\"d.toml\"\n"), "describes other devices", "device_type");
    faulty_whole(&whole("«[[device.command]]\nnumber = 128\n"), "no description", "description = ");
    faulty_whole(&whole("«[[device.stored]]\nmode = 3\n"), "no description", "description = ");
    faulty("«[[device.command]]\nanswer = \"echo\"\n", "no number", "number = ");
    faulty("[[device.command]]\nnumber = «5\n", "number is 5", "128 to 253");
    faulty(
        "[[device.command]]\nnumber = «200\nanswer = \"echo\"\n",
        "200 is not described in d.toml",
        "describe it",
    );
    faulty("[[device.command]]\nnumber = «132\nanswer = \"echo\"\n", "not of revision 7", "revisions");
    faulty("«[[device.command]]\nnumber = 128\n", "is not said", "\"stored\" or \"echo\"");
    faulty(&command(128, "answer = «\"store\""), "\"store\"", "did you mean \"stored\"?");
    faulty(&command(128, "answer = \"echo\"\ncode = «8"), "both given", "answer, or code");
    faulty(&command(128, "code = «128"), "code is 128", "0 to 127");
    faulty(&command(128, "data = «\"0\""), "no data", "pairs of hex digits");
    faulty(&command(128, "code = 9\ndata = «\"00\""), "a refusal has no data", "8, 14, 30");
    faulty(&command(128, "data = «\"00\"\nvalues = { mode = 3 }"), "both given", "one of them");
    faulty(&command(128, "values = { «mod = 3 }"), "no value called mod", "did you mean mode?");
    faulty(&command(128, "values = «{ mode = 3 }"), "note (note) is not given", "explain 128");
    faulty(&command(128, "values = { mode = «\"maybe\", note = \"\" }"), "maybe", "explain 128");
    faulty(&command(129, "values = { mode = «256 }"), "too large", "explain 129");
    faulty(
        &format!("{}{}", command(128, "code = 8"), command(128, "code = 8").replace("128", "«128")),
        "twice",
        "one answer",
    );
    let stored = "answer = \"stored\"";
    faulty(&command(131, stored).replace("131", "«131"), "no length of its own", "\"echo\"");
    faulty(
        &format!("{}{}", command(128, stored), command(133, stored).replace("133", "«133")),
        "another type",
        "\"echo\"",
    );
    let with =
        |table: &str| format!("{}{}[[device.stored]]\n{table}\n", command(128, stored), command(130, stored));
    faulty(&with("mode = «4.5"), "4.5", "of that kind");
    faulty(&with("«mod = 3"), "no stored command keeps mod", "did you mean mode?");
    faulty(&with("«opening = 3"), "no stored command keeps opening", "mode");
    faulty(&with("step = «256"), "too large", "can be selected");
    let twice = with("step = 1").replace("step = 1\n", "step = 1\n«[[device.stored]]\nstep = 1\n");
    faulty(&twice, "two tables are of step = 1", "one table");
    assert!(load("[[device]]\ndescription = \"d.toml\"\n").is_err());
}

/// [DV-70]: what is not given is 0, empty, or the first code of its table.
#[test]
fn what_is_held_when_new() {
    let text = format!(
        "[[device]]\ndevice_type = 0xFDB1\ndescription = \"d.toml\"\n{}{}{}[[device.stored]]\nstep = 7\n\
         [[line]]\nat = \"pty:\"\n",
        command(128, "answer = \"stored\""),
        command(130, "answer = \"stored\""),
        command(129, "values = { mode = \"on\" }")
    );
    let plan = load(&text).unwrap_or_else(|e| panic!("{e}"));
    let config = &plan.devices[0].config;
    // Three octets of packed spaces, 100000 four times: 82 08 20 [TY-04].
    let held: Vec<(&str, &str)> =
        config.factory.described.iter().map(|(n, o)| (n.as_str(), o.as_str())).collect();
    assert_eq!(held, [("mode", "03"), ("note", "820820"), ("step=7/opening", "00000000")]);
    let mut wanted = crate::device::DescribedAnswers::new(config.described.as_ref().unwrap().described());
    wanted.answer(128, DescribedAnswer::Stored);
    wanted.answer(130, DescribedAnswer::Stored);
    wanted.answer(129, DescribedAnswer::Canned { code: 0, data: vec![9] });
    assert_eq!(config.described.as_ref(), Some(&wanted));
    assert_eq!(plan.catalogue.all().len(), 1);
}

/// A description is asked for once, however many devices name it; without a way to read one it is refused.
#[test]
fn a_description_is_loaded_once() {
    let device = |n: u8| {
        format!(
            "[[device]]\ndevice_type = 0xFDB1\npolling_address = {n}\ndevice_id = {n}\ndescription = \"d.toml\"\n"
        )
    };
    let text = format!("{}{}[[line]]\nat = \"pty:\"\n", device(1), device(2));
    let mut loaded = 0;
    let plan = check_with(&text, Path::new("b.toml"), &mut |path| {
        loaded += 1;
        described::check(DESCRIPTION, path).map(|d| Described::load(d, "d.toml"))
    });
    assert_eq!((loaded, plan.map(|p| p.catalogue.all().len())), (1, Ok(1)));
    let e = check(&text, Path::new("b.toml")).unwrap_err();
    assert!(e.wrong.contains("d.toml: only the text of the bench file"), "{e}");
    // A fault in the description is told there.
    let e = check_with(&text, Path::new("b.toml"), &mut |path| {
        described::check("name = 1\n", path).map(|d| Described::load(d, "d.toml"))
    });
    let e = e.unwrap_err();
    assert_eq!((e.location().as_str(), e.what), ("d.toml:1:8", FileKind::Description));
}
