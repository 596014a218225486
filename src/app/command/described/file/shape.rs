//! The description file as it is written: every key, none of it judged yet.
//!
//! The comments here are the descriptions in the JSON Schema that editors show.

use crate::app::written::Whole;
use schemars::JsonSchema;
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

/// Numbers as keys, words as values.
pub type WordTable = BTreeMap<Spanned<String>, Spanned<String>>;

/// A device type and its own commands, 128 to 253, as its maker's documentation has them.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "looprig description")]
pub struct DescriptionFile {
    /// What people call the device type, 1 to 60 characters.
    #[schemars(with = "String", length(min = 1, max = 60))]
    pub name: Option<Spanned<String>>,
    /// What is to be known of the commands as a whole, up to 4000 characters. Default nothing.
    #[schemars(with = "Option<String>", length(max = 4000))]
    pub text: Option<Spanned<String>>,
    /// A device type that has these commands; at least one, at most 8. Frames carry 14 bits of it: two types that
    /// share those cannot be told apart.
    #[serde(rename = "type")]
    #[schemars(with = "Vec<TypeTable>", length(min = 1, max = 8))]
    pub types: Option<Vec<Spanned<TypeTable>>>,
    /// Tables of codes, each with a name: code = "what it means". Codes are 0 to 255, such as 7 or 0x07.
    #[serde(default)]
    #[schemars(with = "BTreeMap<String, BTreeMap<String, String>>")]
    pub enumeration: BTreeMap<Spanned<String>, Spanned<WordTable>>,
    /// Tables of the bits of one octet, each with a name: mask = "what it means". A mask is one bit: 0x01, 0x02, 0x04,
    /// 0x08, 0x10, 0x20, 0x40 or 0x80.
    #[serde(default)]
    #[schemars(with = "BTreeMap<String, BTreeMap<String, String>>")]
    pub bits: BTreeMap<Spanned<String>, Spanned<WordTable>>,
    /// What the octets of command 48 mean that are the device's own; a heading for each range of revisions in which that
    /// differs. Default nothing.
    #[serde(default)]
    #[schemars(with = "Vec<StatusTable>")]
    pub device_status: Vec<Spanned<StatusTable>>,
    /// A command; at least one.
    #[schemars(with = "Vec<CommandTable>", length(min = 1))]
    pub command: Option<Vec<Spanned<CommandTable>>>,
    /// What of a device is a setting, so that `looprig settings` saves, compares and restores it; in the order in which
    /// it is to be written.
    #[serde(default)]
    #[schemars(with = "Vec<SettingTable>")]
    pub setting: Vec<Spanned<SettingTable>>,
}

/// A device type: either expanded_device_type alone, or manufacturer and device_type.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TypeTable {
    /// Of devices of revision 7: the expanded device type, 0 to 65535, such as 0xFD71.
    #[schemars(with = "Option<u16>")]
    pub expanded_device_type: Option<Spanned<Whole>>,
    /// Of devices of revision 5 and 6: the manufacturer code, 0 to 255.
    #[schemars(with = "Option<u8>")]
    pub manufacturer: Option<Spanned<Whole>>,
    /// Of devices of revision 5 and 6: the device type, 0 to 255.
    #[schemars(with = "Option<u8>")]
    pub device_type: Option<Spanned<Whole>>,
}

/// The octets of command 48 that are the device's own.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StatusTable {
    /// The tables below [bits] that say what their bits mean: the first octet's first, "" for an octet that has none.
    #[schemars(with = "Vec<String>", length(min = 1, max = 6))]
    pub tables: Spanned<Vec<Spanned<String>>>,
    /// First revision of the protocol in which they do. Default 5.
    #[schemars(with = "Option<u8>", range(min = 5, max = 7))]
    pub from_revision: Option<Spanned<Whole>>,
    /// Last one. Default 7.
    #[schemars(with = "Option<u8>", range(min = 5, max = 7))]
    pub to_revision: Option<Spanned<Whole>>,
}

/// What a command does, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum EffectWord {
    /// It only reads.
    Reads,
    /// It ends what the device does by itself, such as a calibration: `ask` wants no leave, and says that the valve may move.
    Stops,
    /// It changes what the device stores: `ask` wants --write.
    Writes,
    /// It may move the valve: `ask` wants --move.
    Moves,
}

/// One command.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CommandTable {
    /// Its number, 128 to 253.
    #[schemars(with = "u8", range(min = 128, max = 253))]
    pub number: Option<Spanned<Whole>>,
    /// What it does, in a few words, 1 to 60 characters.
    #[schemars(with = "String", length(min = 1, max = 60))]
    pub name: Option<Spanned<String>>,
    /// What it is for, up to 4000 characters. Default nothing.
    #[schemars(with = "Option<String>", length(max = 4000))]
    pub text: Option<Spanned<String>>,
    /// What it does to the device. When in doubt "moves": leave is then asked for.
    #[schemars(with = "EffectWord")]
    pub effect: Option<Spanned<String>>,
    /// The first revision of the protocol in which devices have it: 5, 6 or 7. Default 5.
    #[schemars(with = "Option<u8>", range(min = 5, max = 7))]
    pub from_revision: Option<Spanned<Whole>>,
    /// The last one. Default 7.
    #[schemars(with = "Option<u8>", range(min = 5, max = 7))]
    pub to_revision: Option<Spanned<Whole>>,
    /// A value in the data of the request, or slots, in the order on the wire. Default no data.
    #[serde(default)]
    #[schemars(with = "Vec<ElementTable>")]
    pub request: Vec<Spanned<ElementTable>>,
    /// A value in the data of the reply, behind the two status octets, or slots. Default no data.
    #[serde(default)]
    #[schemars(with = "Vec<ElementTable>")]
    pub reply: Vec<Spanned<ElementTable>>,
    /// Whether the reply has the data of the request, as most commands that write have it. Default false.
    #[schemars(with = "Option<bool>")]
    pub reply_as_request: Option<Spanned<bool>>,
    /// Response codes, 1 to 127, and what they mean here. Those that are not given have their general meaning.
    #[serde(default)]
    #[schemars(with = "BTreeMap<String, String>")]
    pub codes: WordTable,
}

/// How octets are read, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum TypeWord {
    /// Unsigned, one octet.
    U8,
    /// Unsigned, two octets, most significant first, as all that follow.
    U16,
    /// Unsigned, three octets.
    U24,
    /// Unsigned, four octets.
    U32,
    /// IEEE 754 single, four octets.
    Float,
    /// Packed ASCII: octets, a multiple of 3, for 4 characters in each 3.
    Packed,
    /// Latin-1 text: octets.
    Latin1,
    /// Day, month, year less 1900.
    Date,
    /// A time in 1/32 ms, four octets.
    Time,
    /// Engineering unit code, one octet; its name ends in `unit`.
    Unit,
    /// Device variable code, one octet.
    Variable,
    /// Device variable status, one octet.
    VariableStatus,
    /// Octets without known meaning, shown in hex: octets.
    Octets,
    /// All octets that are left, in hex.
    Rest,
}

/// A value, or slots: the same values several times.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ElementTable {
    /// The name for programs and for `ask`: small letters, digits and _, such as travel_percent.
    #[schemars(with = "Option<String>", regex(pattern = "^[a-z][a-z0-9_]*$"), length(max = 40))]
    pub name: Option<Spanned<String>>,
    /// What people call it, 1 to 60 characters. Default the name with spaces.
    #[schemars(with = "Option<String>", length(min = 1, max = 60))]
    pub label: Option<Spanned<String>>,
    /// How its octets are read; not together with enumeration or bits.
    #[serde(rename = "type")]
    #[schemars(with = "Option<TypeWord>")]
    pub kind: Option<Spanned<String>>,
    /// Of packed, latin1 and octets: how many octets.
    #[schemars(with = "Option<u8>", range(min = 1))]
    pub octets: Option<Spanned<Whole>>,
    /// It is a code, one octet: the name of a table [enumeration.NAME].
    #[schemars(with = "Option<String>")]
    pub enumeration: Option<Spanned<String>>,
    /// It is eight bits: the name of a table [bits.NAME].
    #[schemars(with = "Option<String>")]
    pub bits: Option<Spanned<String>>,
    /// Of numbers: the unit that the command fixes, such as "%", 1 to 16 characters.
    #[schemars(with = "Option<String>", length(min = 1, max = 16))]
    pub unit: Option<Spanned<String>>,
    /// Of numbers: the name of a value of type "unit" before it, in a slot of the same slot.
    #[schemars(with = "Option<String>")]
    pub unit_from: Option<Spanned<String>>,
    /// Whether people read the number in hex, as codes and ids. Default false.
    #[schemars(with = "Option<bool>")]
    pub hex: Option<Spanned<bool>>,
    /// Whether the data may end before it. Default false.
    #[schemars(with = "Option<bool>")]
    pub optional: Option<Spanned<bool>>,
    /// In a request: whether it says which of several things the command is about. Default false.
    #[schemars(with = "Option<bool>")]
    pub selects: Option<Spanned<bool>>,
    /// The first revision of the protocol that has it: 5, 6 or 7. Default that of the command.
    #[schemars(with = "Option<u8>", range(min = 5, max = 7))]
    pub from_revision: Option<Spanned<Whole>>,
    /// The last one. Default that of the command.
    #[schemars(with = "Option<u8>", range(min = 5, max = 7))]
    pub to_revision: Option<Spanned<Whole>>,
    /// Of slots: the fewest, 1 to 64.
    #[schemars(with = "Option<u8>", range(min = 1, max = 64))]
    pub least: Option<Spanned<Whole>>,
    /// Of slots: the most, up to 64.
    #[schemars(with = "Option<u8>", range(min = 1, max = 64))]
    pub most: Option<Spanned<Whole>>,
    /// Of slots: a value in each of them. They are called slot0_NAME, slot1_NAME and so on.
    #[serde(default)]
    #[schemars(with = "Vec<ElementTable>")]
    pub slot: Vec<Spanned<ElementTable>>,
}

/// Values that one command reads and another one writes.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SettingTable {
    /// Its heading in a settings file: small letters, digits and _.
    #[schemars(with = "String", regex(pattern = "^[a-z][a-z0-9_]*$"), length(max = 40))]
    pub heading: Option<Spanned<String>>,
    /// The command that reads it.
    #[schemars(with = "u8", range(min = 128, max = 253))]
    pub read: Option<Spanned<Whole>>,
    /// The command that writes it.
    #[schemars(with = "u8", range(min = 128, max = 253))]
    pub write: Option<Spanned<Whole>>,
    /// The names of its values: the same in the reply of the one and in the request of the other.
    #[schemars(with = "Vec<String>", length(min = 1))]
    pub values: Option<Spanned<Vec<Spanned<String>>>>,
    /// The value of both requests that selects, where the setting is there several times. Default it is there once.
    #[schemars(with = "Option<String>")]
    pub each: Option<Spanned<String>>,
    /// With each: its last value, 0 to 255; the first is 0.
    #[schemars(with = "Option<u8>")]
    pub last: Option<Spanned<Whole>>,
}
