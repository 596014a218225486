//! What a device keeps over a power cycle, and the image that it is kept in [DV-03] [DV-04].
//!
//! The image, most significant octet first: the magic word `LRDM`, the format version in two octets,
//! the length of the payload in four, the payload (JSON), and a CRC-32 over all before it in four.

use super::config::DeviceConfig;
use super::kind::{KindName, OutputTrim};
use super::stored::{Stored, StoredBefore};
use crate::app::command::Revision;
use core::fmt;
use crc::{CRC_32_ISO_HDLC, Crc};
use serde_json::{Map, Value as Json};

const MAGIC: &[u8; 4] = b"LRDM";
/// What is written.
const FORMAT: u16 = 4;
/// What is read besides: before positioners had electronics, before burst mode, and before the commands of common practice.
const FORMAT_WITHOUT_ELECTRONICS: u16 = 3;
const FORMAT_WITHOUT_BURST: u16 = 2;
const FORMAT_BEFORE: u16 = 1;
/// Magic, format version, length.
const HEAD: usize = 4 + 2 + 4;
const CHECK: usize = 4;
const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Why an image is refused [DV-04].
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ImageError {
    /// It does not begin with the magic word.
    Magic,
    /// Its format version is not known.
    Version {
        /// The version it claims.
        found: u16,
    },
    /// It is not as long as it says.
    Length {
        /// Octets that it should have.
        expected: u64,
        /// Octets that it has.
        found: usize,
    },
    /// The check value is wrong.
    Check {
        /// What it should be.
        computed: u32,
        /// What it is.
        found: u32,
    },
    /// The payload is no JSON of the known shape.
    Payload {
        /// What the reader says, with line and column.
        why: String,
    },
    /// A value that no device holds.
    Range {
        /// Which.
        field: &'static str,
        /// What is wrong with it.
        why: String,
    },
}

impl fmt::Display for ImageError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("reading a device's memory image: ")?;
        match self {
            ImageError::Magic => f.write_str("it does not begin with LRDM, so it is no such image")?,
            ImageError::Version { found } => {
                write!(f, "format version {found} at octet 4 is not known, {FORMAT_BEFORE} to {FORMAT} are")?;
            }
            ImageError::Length { expected, found } => {
                write!(f, "it has {found} octets where its length field at octet 6 makes {expected}")?;
            }
            ImageError::Check { computed, found } => {
                write!(f, "its last four octets are {found:08X}, the CRC-32 of the rest is {computed:08X}")?;
            }
            ImageError::Payload { why } => write!(f, "its payload from octet {HEAD} on: {why}")?,
            ImageError::Range { field, why } => write!(f, "{field}: {why}")?,
        }
        f.write_str("; the device starts on its defaults, keep the image under another name")
    }
}

impl core::error::Error for ImageError {}

/// The image of `stored`.
pub fn encode(stored: &Stored) -> Vec<u8> {
    let payload = serde_json::to_vec(stored).unwrap_or_default();
    let mut out = Vec::with_capacity(HEAD + payload.len() + CHECK);
    out.extend_from_slice(MAGIC);
    out.extend_from_slice(&FORMAT.to_be_bytes());
    out.extend_from_slice(&(payload.len() as u32).to_be_bytes());
    out.extend_from_slice(&payload);
    let check = CRC.checksum(&out);
    out.extend_from_slice(&check.to_be_bytes());
    out
}

/// Reads an image and refuses what a device of its kind and revision 7 with the limits as delivered cannot hold. What an image
/// of an older format does not hold is as in such a device.
///
/// # Errors
/// What does not fit: magic, version, length, check value, payload, or a value in it.
pub fn decode(image: &[u8]) -> Result<Stored, ImageError> {
    let stored = read(image, &Stored::default())?;
    stored.check(&DeviceConfig::of_kind(stored.kind, Revision::R7))?;
    Ok(stored)
}

/// The same for the device of a set-up, which tells the limits and what an image of an older format does not hold.
///
/// # Errors
/// As [`decode`].
pub fn decode_over(image: &[u8], config: &DeviceConfig) -> Result<Stored, ImageError> {
    let stored = read(image, &config.factory)?;
    stored.check(config)?;
    Ok(stored)
}

/// Reads what an image holds, and what it does not hold from the factory.
fn read(image: &[u8], factory: &Stored) -> Result<Stored, ImageError> {
    let Some((head, rest)) = image.split_first_chunk::<HEAD>() else {
        return Err(match image.starts_with(MAGIC) {
            true => ImageError::Length { expected: (HEAD + CHECK) as u64, found: image.len() },
            false => ImageError::Magic,
        });
    };
    let [m0, m1, m2, m3, v0, v1, l0, l1, l2, l3] = *head;
    if [m0, m1, m2, m3] != *MAGIC {
        return Err(ImageError::Magic);
    }
    let version = u16::from_be_bytes([v0, v1]);
    if !(FORMAT_BEFORE..=FORMAT).contains(&version) {
        return Err(ImageError::Version { found: version });
    }
    let payload_len = u32::from_be_bytes([l0, l1, l2, l3]);
    let expected = u64::from(payload_len) + (HEAD + CHECK) as u64;
    let Some((payload, check)) = rest.split_last_chunk::<CHECK>().filter(|_| expected == image.len() as u64)
    else {
        return Err(ImageError::Length { expected, found: image.len() });
    };
    let computed = CRC.checksum(&image[..image.len() - CHECK]);
    let found = u32::from_be_bytes(*check);
    if computed != found {
        return Err(ImageError::Check { computed, found });
    }
    let read = match version {
        FORMAT_BEFORE => serde_json::from_slice::<StoredBefore>(payload).map(|before| before.over(factory)),
        FORMAT_WITHOUT_BURST => format_2(payload, factory),
        FORMAT_WITHOUT_ELECTRONICS => format_3(payload),
        _ => serde_json::from_slice::<Stored>(payload),
    };
    read.map_err(|e| ImageError::Payload { why: e.to_string() })
}

/// Reads format 3, which knew no electronics of positioners.
fn format_3(payload: &[u8]) -> serde_json::Result<Stored> {
    use serde::de::Error;
    let stored: Stored = serde_json::from_slice(payload)?;
    match stored.positioner {
        Some(_) => Err(Error::custom("format 3 has no positioner")),
        None => Ok(stored),
    }
}

/// Reads format 2, which knew positioners alone and no burst messages.
fn format_2(payload: &[u8], factory: &Stored) -> serde_json::Result<Stored> {
    use serde::de::Error;
    let before: Map<String, Json> = serde_json::from_slice(payload)?;
    let mut all = Map::new();
    for (name, value) in before {
        let name = match name.as_str() {
            "upper_range_value_percent" => "upper_range_value",
            "lower_range_value_percent" => "lower_range_value",
            "pressure_trim_bar" => "trim",
            "kind" | "upper_range_value" | "lower_range_value" | "trim" | "output_trim_ma" | "burst"
            | "described" | "positioner" => {
                return Err(Error::custom(format!("format 2 has no {name}")));
            }
            same => same,
        };
        all.insert(name.to_owned(), value);
    }
    all.insert("kind".into(), serde_json::to_value(KindName::Positioner)?);
    all.insert("output_trim_ma".into(), serde_json::to_value(OutputTrim::default())?);
    all.insert("burst".into(), serde_json::to_value(factory.burst)?);
    serde_json::from_value(Json::Object(all))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::device::ElectronicsConfig;
    use crate::device::burst::{BurstMessage, BurstTrigger, nearest_period};
    use crate::device::kind::{KindName, OutputTrim};
    use crate::device::positioner::{FaultEntry, StoredPositioner};
    use crate::device::stored::{StoredLock, TwoPointTrim};
    use proptest::prelude::*;

    prop_compose! {
        fn any_stored()(
            polling_address in 0u8..=63,
            modes in any::<[bool; 3]>(),
            tag in "[ -_]{0,8}",
            descriptor in "[ -_]{0,16}",
            message in "[ -_]{0,32}",
            long_tag in "[\u{0}-\u{FF}]{0,32}",
            day in 1u8..=28,
            month in 1u8..=12,
            year in any::<u8>(),
            final_assembly_number in 0u32..=0xFF_FFFF,
            configuration_change_counter in any::<u16>(),
            range in (-5f32..104.0, 0.001f32..1.0),
            damping in 0u32..=480,
            units in (143u8..=144, prop::sample::select(vec![6u8, 7, 8, 10, 12, 14, 237])),
            serials in prop::array::uniform4(0u32..=0xFF_FFFF),
            assignments in prop::array::uniform3(0u8..=3),
            preambles in prop::option::of(5u8..=20),
            lock in prop::option::of(any::<[bool; 2]>()),
            trim in prop::array::uniform3(-0.4f32..0.4),
            burst in prop::array::uniform3(any_message()),
            described in prop::collection::btree_map("[a-z]{1,6}(=[0-9]/[a-z]{1,3})?", "([0-9A-F]{2}){0,4}", 0..3),
        ) -> Stored {
            Stored {
                kind: KindName::Positioner,
                polling_address,
                loop_current_mode_enabled: modes[0],
                tag, descriptor, message, long_tag,
                date: [day, month, year],
                final_assembly_number,
                configuration_change_counter,
                configuration_changed: [modes[1], modes[2]],
                lower_range_value: range.0,
                upper_range_value: range.0 + range.1,
                damping_s: damping as f32 / 8.0,
                units: [57, 57, units.0, units.1],
                transducer_serial_numbers: serials,
                assignments: [0, assignments[0], assignments[1], assignments[2]],
                preambles_reply: preambles,
                lock: lock.map(|[against_all, by_primary]| StoredLock { against_all, by_primary }),
                trim: TwoPointTrim {
                    lower: [trim[0].abs() + 0.4, trim[0].abs() + 0.4 + trim[1]],
                    upper: [5.0, 5.0 + trim[2]],
                },
                output_trim_ma: OutputTrim::default(),
                burst,
                described,
                positioner: None,
            }
        }
    }

    prop_compose! {
        fn any_message()(
            on in any::<bool>(),
            command in prop::sample::select(vec![1u8, 2, 3, 9, 33, 48]),
            first in prop::sample::select(vec![0u8, 1, 2, 3, 244, 245, 246, 247, 248, 249]),
            others in prop::array::uniform7(prop::sample::select(vec![0u8, 1, 2, 3, 244, 245, 246, 249, 250])),
            periods in any::<[u32; 2]>(),
            mode in 0u8..=4,
            level in 0f32..1e30,
        ) -> BurstMessage {
            let [a, b] = periods.map(nearest_period);
            let [s1, s2, s3, s4, s5, s6, s7] = others;
            // What 104 stores; in 48 nothing is compared.
            let trigger = match mode {
                1..=3 if command != 48 => BurstTrigger { mode, class: 65, unit: 7, level: Some(level) },
                4 => BurstTrigger::ON_CHANGE,
                _ => BurstTrigger::CONTINUOUS,
            };
            BurstMessage {
                on,
                command,
                variables: [first, s1, s2, s3, s4, s5, s6, s7],
                update_period: a.min(b),
                maximum_update_period: a.max(b),
                trigger,
            }
        }
    }

    /// The image around a payload, put together here by the words of [DV-03], with a CRC worked out
    /// bit by bit: polynomial 04C11DB7 reflected is EDB88320.
    fn image(payload: &str) -> Vec<u8> {
        image_of(4, payload)
    }

    fn image_of(version: u8, payload: &str) -> Vec<u8> {
        let head = [b'L', b'R', b'D', b'M', 0, version];
        let mut out = [head.as_slice(), &(payload.len() as u32).to_be_bytes(), payload.as_bytes()].concat();
        let check = crc_by_hand(&out);
        out.extend(check.to_be_bytes());
        out
    }

    fn crc_by_hand(octets: &[u8]) -> u32 {
        !octets.iter().fold(u32::MAX, |crc, &o| {
            (0..8).fold(crc ^ u32::from(o), |c, _| if c & 1 == 1 { c >> 1 ^ 0xEDB8_8320 } else { c >> 1 })
        })
    }

    const BEFORE: &str = r#"{"polling_address":5,"loop_current_mode_enabled":false,"tag":"FV-3104","descriptor":"INLET","date":[15,1,111],"message":"","long_tag":"Brackenmoor","final_assembly_number":7,"configuration_change_counter":65535,"configuration_changed":[true,false]}"#;

    const PAYLOAD_2: &str = r#"{"polling_address":5,"loop_current_mode_enabled":false,"tag":"FV-3104","descriptor":"INLET","date":[15,1,111],"message":"","long_tag":"Brackenmoor","final_assembly_number":7,"configuration_change_counter":65535,"configuration_changed":[true,false],"upper_range_value_percent":100.0,"lower_range_value_percent":0.0,"damping_s":2.5,"units":[57,57,143,7],"transducer_serial_numbers":[3104,0,0,7],"assignments":[0,1,2,3],"preambles_reply":9,"lock":{"against_all":false,"by_primary":true},"pressure_trim_bar":{"lower":[0.0,0.0],"upper":[10.0,10.0]}}"#;

    const PAYLOAD: &str = r#"{"kind":"positioner","polling_address":5,"loop_current_mode_enabled":false,"tag":"FV-3104","descriptor":"INLET","date":[15,1,111],"message":"","long_tag":"Brackenmoor","final_assembly_number":7,"configuration_change_counter":65535,"configuration_changed":[true,false],"upper_range_value":100.0,"lower_range_value":0.0,"damping_s":2.5,"units":[57,57,143,7],"transducer_serial_numbers":[3104,0,0,7],"assignments":[0,1,2,3],"preambles_reply":9,"lock":{"against_all":false,"by_primary":true},"trim":{"lower":[0.0,0.0],"upper":[10.0,10.0]},"output_trim_ma":{"at_4_ma":0.0,"at_20_ma":0.0},"burst":[{"on":true,"command":9,"variables":[3,1,250,250,250,250,250,0],"update_period":8000,"maximum_update_period":16000,"trigger":{"mode":2,"class":65,"unit":7,"level":3.5}},{"on":false,"command":1,"variables":[0,1,2,3,250,250,250,250],"update_period":32000,"maximum_update_period":1920000,"trigger":{"mode":0,"class":0,"unit":250,"level":null}},{"on":false,"command":1,"variables":[0,1,2,3,250,250,250,250],"update_period":32000,"maximum_update_period":1920000,"trigger":{"mode":0,"class":0,"unit":250,"level":null}}]}"#;

    /// [DV-03]: the check value of "123456789" is CBF43926 (a figure of the trade, from memory).
    #[test]
    fn check_value() {
        assert_eq!(CRC.checksum(b"123456789"), 0xCBF4_3926);
        assert_eq!(crc_by_hand(b"123456789"), 0xCBF4_3926);
    }

    #[test]
    fn an_image_made_by_hand() {
        let stored = decode(&image(PAYLOAD)).unwrap();
        assert_eq!((stored.polling_address, stored.configuration_change_counter), (5, 65535));
        assert_eq!((stored.tag.as_str(), stored.date), ("FV-3104", [15, 1, 111]));
        assert_eq!(stored.configuration_changed, [true, false]);
        assert_eq!((stored.damping_s, stored.preambles_reply), (2.5, Some(9)));
        assert_eq!(stored.transducer_serial_numbers, [3104, 0, 0, 7]);
        let [first, second, _] = stored.burst;
        assert_eq!(
            (first.on, first.command, first.update_period, first.trigger.level),
            (true, 9, 8000, Some(3.5))
        );
        assert_eq!(second, BurstMessage::default());
        assert_eq!(encode(&stored), image(PAYLOAD));
    }

    /// [DV-03]: format 1 is read, what it lacks comes from the factory; and its payload does not pass as format 2,
    /// nor the other way round.
    #[test]
    fn an_image_of_the_format_before() {
        let factory = Stored { upper_range_value: 80.0, tag: "OTHER".into(), ..Stored::default() };
        let config = DeviceConfig { factory, ..DeviceConfig::default() };
        let stored = decode_over(&image_of(1, BEFORE), &config).unwrap();
        assert_eq!((stored.polling_address, stored.tag.as_str()), (5, "FV-3104"));
        assert_eq!(stored.configuration_changed, [true, false]);
        assert_eq!((stored.upper_range_value, stored.lock), (80.0, None));
        assert_eq!(decode(&encode(&stored)), Ok(stored));
        assert!(matches!(decode(&image_of(2, BEFORE)), Err(ImageError::Payload { .. })));
        assert!(matches!(decode(&image_of(1, PAYLOAD)), Err(ImageError::Payload { .. })));
        let bad = BEFORE.replace("\"polling_address\":5", "\"polling_address\":64");
        assert!(matches!(decode(&image_of(1, &bad)), Err(ImageError::Range { .. })));
    }

    /// [DV-03]: format 2 is read, its burst messages are the factory's; no format passes as another one.
    #[test]
    fn an_image_without_burst_messages() {
        let bursting = BurstMessage { on: true, command: 3, ..BurstMessage::default() };
        let factory = Stored { burst: [bursting; 3], tag: "OTHER".into(), ..Stored::default() };
        let config = DeviceConfig { factory, ..DeviceConfig::default() };
        let stored = decode_over(&image_of(2, PAYLOAD_2), &config).unwrap();
        assert_eq!(
            (stored.tag.as_str(), stored.damping_s, stored.preambles_reply),
            ("FV-3104", 2.5, Some(9))
        );
        assert_eq!(stored.burst, [bursting; 3]);
        assert_eq!(decode(&encode(&stored)), Ok(stored));
        let with_kind = PAYLOAD_2.replacen('{', r#"{"kind":"positioner","#, 1);
        let with_described = PAYLOAD_2.replacen('{', r#"{"described":{},"#, 1);
        for (version, payload) in [
            (2, PAYLOAD),
            (2, &*with_kind),
            (2, &*with_described),
            (3, PAYLOAD_2),
            (3, BEFORE),
            (2, "[]"),
            (2, "{}"),
        ] {
            let refused = decode(&image_of(version, payload));
            assert!(matches!(refused, Err(ImageError::Payload { .. })), "{version}: {payload}");
        }
    }

    /// [DV-04], and values out of range in an image whose check value is right.
    /// [DV-03]: format 3 is format 4 without electronics, and what has some is none.
    #[test]
    fn an_image_of_format_3() {
        assert_eq!(decode(&image_of(3, PAYLOAD)), decode(&image(PAYLOAD)));
        let mut stored = decode(&image(PAYLOAD)).unwrap();
        stored.positioner = Some(StoredPositioner::default());
        let with = serde_json::to_string(&stored).unwrap();
        assert_eq!(decode(&image(&with)).unwrap(), stored);
        assert!(matches!(decode(&image_of(3, &with)), Err(ImageError::Payload { .. })));
    }

    /// [DV-04]: what the electronics would refuse to have written they cannot have.
    #[test]
    fn electronics_that_cannot_be() {
        let mut config = DeviceConfig::default();
        config.positioner().electronics = Some(ElectronicsConfig::default());
        let spoilt: [(&str, fn(&mut StoredPositioner)); 6] = [
            ("rangeability", |s| s.rangeability = 1.0),
            ("points", |s| s.points[3] = (30.0, 101.0)),
            ("upper_limit_percent", |s| s.upper_limit_percent = -1.0),
            ("deviation_limit_percent", |s| s.deviation.limit_percent = 0.0),
            ("counters", |s| s.counters.travel_strokes = -1.0),
            ("faults", |s| {
                let fault = FaultEntry { fault: 1, date: [1, 1, 126], time: 0, travel_percent: None };
                s.faults = vec![fault; 17];
            }),
        ];
        for (field, spoil) in spoilt {
            let mut own = StoredPositioner::default();
            spoil(&mut own);
            let image = encode(&Stored { positioner: Some(own), ..Stored::default() });
            let e = decode_over(&image, &config).expect_err(field);
            assert!(matches!(e, ImageError::Range { field: f, .. } if f == field), "{field}: {e}");
        }
    }

    #[test]
    fn refusals() {
        let good = image(PAYLOAD);
        assert_eq!(decode(b""), Err(ImageError::Magic));
        assert_eq!(decode(b"LRDM"), Err(ImageError::Length { expected: 14, found: 4 }));
        assert_eq!(decode(b"something else altogether"), Err(ImageError::Magic));
        assert!(matches!(decode(&good[..good.len() - 1]), Err(ImageError::Length { .. })));
        assert!(matches!(decode(&[good.clone(), vec![0]].concat()), Err(ImageError::Length { .. })));
        let mut newer = good.clone();
        newer[5] = 5;
        assert_eq!(decode(&newer), Err(ImageError::Version { found: 5 }));
        assert!(matches!(decode(&image("{}")), Err(ImageError::Payload { .. })));
        for (was, is, field) in [
            (r#""polling_address":5"#, r#""polling_address":64"#, "polling_address"),
            (r#""tag":"FV-3104""#, r#""tag":"fv-3104""#, "tag"),
            (r#""tag":"FV-3104""#, r#""tag":"FV-310499""#, "tag"),
            (r#""descriptor":"INLET""#, r#""descriptor":"12345678901234567""#, "descriptor"),
            (r#""message":"""#, r#""message":"é""#, "message"),
            (r#""long_tag":"Brackenmoor""#, r#""long_tag":"€""#, "long_tag"),
            (r#""date":[15,1,111]"#, r#""date":[31,4,111]"#, "date"),
            (r#""final_assembly_number":7"#, r#""final_assembly_number":16777216"#, "final_assembly_number"),
            (r#""lower_range_value":0.0"#, r#""lower_range_value":100.0"#, "upper_range_value"),
            (r#""damping_s":2.5"#, r#""damping_s":60.125"#, "damping_s"),
            (r#""damping_s":2.5"#, r#""damping_s":2.3"#, "damping_s"),
            (r#""damping_s":2.5"#, r#""damping_s":-0.125"#, "damping_s"),
            (r#"range_value":100.0"#, r#"range_value":105.5"#, "upper_range_value"),
            (r#"range_value":0.0"#, r#"range_value":-5.5"#, "lower_range_value"),
            // [DV-22]: told outside 0 to 2 and 2 to 10 bar, and corrected by more than 0.5 bar.
            (r#""lower":[0.0,0.0]"#, r#""lower":[0.0,-0.25]"#, "trim"),
            (r#""lower":[0.0,0.0]"#, r#""lower":[2.0,2.25]"#, "trim"),
            (r#""lower":[0.0,0.0]"#, r#""lower":[1.0,1.75]"#, "trim"),
            (r#""upper":[10.0,10.0]"#, r#""upper":[10.0,10.25]"#, "trim"),
            (r#""upper":[10.0,10.0]"#, r#""upper":[2.0,1.75]"#, "trim"),
            (r#""upper":[10.0,10.0]"#, r#""upper":[8.0,7.25]"#, "trim"),
            (r#""units":[57,57,143,7]"#, r#""units":[57,57,57,7]"#, "units"),
            (r#"[3104,0,0,7]"#, r#"[3104,0,0,16777216]"#, "transducer_serial_numbers"),
            (r#""assignments":[0,"#, r#""assignments":[1,"#, "assignments"),
            (r#""assignments":[0,1,2,3]"#, r#""assignments":[0,1,2,4]"#, "assignments"),
            (r#""preambles_reply":9"#, r#""preambles_reply":4"#, "preambles_reply"),
            (r#""upper":[10.0,10.0]"#, r#""upper":[10.0,0.5]"#, "trim"),
            (r#""command":9"#, r#""command":8"#, "burst"),
            (r#""variables":[3,1"#, r#""variables":[250,1"#, "burst"),
            (r#""variables":[3,1"#, r#""variables":[3,251"#, "burst"),
            // [DV-04]: what 107 and 104 refuse: variables 4 and 243, a level in command 48, a classification and a unit
            // that none of its variables has, and modes 0 and 4 with either.
            (r#""variables":[3,1"#, r#""variables":[3,4"#, "burst"),
            (r#""variables":[3,1"#, r#""variables":[243,1"#, "burst"),
            (r#""command":9"#, r#""command":48"#, "burst"),
            (r#""mode":2,"class":65"#, r#""mode":2,"class":66"#, "burst"),
            (r#""mode":2,"class":65,"unit":7"#, r#""mode":2,"class":65,"unit":57"#, "burst"),
            (r#""mode":0,"class":0"#, r#""mode":0,"class":65"#, "burst"),
            (r#""mode":0,"class":0,"unit":250"#, r#""mode":4,"class":0,"unit":57"#, "burst"),
            (r#""update_period":8000"#, r#""update_period":8001"#, "burst"),
            (
                r#""update_period":8000,"maximum_update_period":16000"#,
                r#""update_period":16000,"maximum_update_period":8000"#,
                "burst",
            ),
            (r#""mode":2"#, r#""mode":5"#, "burst"),
            (r#""mode":2"#, r#""mode":4"#, "burst"),
            (r#""level":3.5"#, r#""level":null"#, "burst"),
            (
                r#""mode":2,"class":65,"unit":7,"level":3.5"#,
                r#""mode":1,"class":65,"unit":7,"level":-3.5"#,
                "burst",
            ),
        ] {
            let text = PAYLOAD.replace(was, is);
            assert_ne!(text, PAYLOAD, "{was}");
            match decode(&image(&text)) {
                Err(ImageError::Range { field: f, .. }) => assert_eq!(f, field),
                other => panic!("{is}: {other:?}"),
            }
        }
        for (was, is) in [
            (r#""configuration_change_counter":65535"#, r#""configuration_change_counter":65536"#),
            (r#""polling_address":5"#, r#""polling_address":5,"more":1"#),
            (r#""date":[15,1,111]"#, r#""date":[15,1]"#),
        ] {
            assert!(matches!(decode(&image(&PAYLOAD.replace(was, is))), Err(ImageError::Payload { .. })));
        }
    }

    /// Revision 5 has no polling address above 15 [FR-05].
    #[test]
    fn an_image_of_another_revision() {
        let stored = Stored { polling_address: 16, ..Stored::default() };
        assert_eq!(stored.check(&DeviceConfig::new(Revision::R7)), Ok(()));
        assert!(stored.check(&DeviceConfig::new(Revision::R5)).is_err());
    }

    #[test]
    fn messages_say_what_where_and_what_next() {
        let text = decode(&image("[")).unwrap_err().to_string();
        assert!(text.starts_with("reading a device's memory image: its payload from octet 10 on"), "{text}");
        assert!(text.ends_with("keep the image under another name"), "{text}");
    }

    proptest! {
        #[test]
        fn what_is_kept_comes_back(stored in any_stored()) {
            prop_assert_eq!(decode(&encode(&stored)), Ok(stored));
        }

        #[test]
        fn no_octets_panic(octets in prop::collection::vec(any::<u8>(), 0..400)) {
            prop_assert!(decode(&octets).is_err());
            // And the same behind a head that is right as far as it goes.
            let _ = decode(&[b"LRDM\x00\x03\x00\x00".as_slice(), &octets].concat());
        }

        #[test]
        fn any_flipped_bit_is_refused(stored in any_stored(), at in any::<prop::sample::Index>(), bit in 0u8..8) {
            let mut image = encode(&stored);
            let at = at.index(image.len());
            image[at] ^= 1 << bit;
            prop_assert!(decode(&image).is_err());
        }
    }

    /// The same for every bit of one image, without chance.
    #[test]
    fn every_flipped_bit_is_refused() {
        let good = image(PAYLOAD);
        for at in 0..good.len() * 8 {
            let mut bad = good.clone();
            bad[at / 8] ^= 1 << (at % 8);
            assert!(decode(&bad).is_err(), "bit {at}");
        }
    }
}
