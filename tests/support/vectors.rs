//! The table `fixtures/vectors/tshark.csv`: messages put together by hand, and what [TSHARK] shows of them.

use crate::support::octets;
use looprig::app::command::Revision;
use std::fs;
use std::path::Path;

/// One row of the table.
pub struct Row {
    pub number: u32,
    pub label: String,
    pub octets: Vec<u8>,
    /// Fields without `pt.`, with what they show.
    pub fields: Vec<(String, String)>,
}

/// All rows.
pub fn rows() -> Vec<Row> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/vectors/tshark.csv");
    let text = fs::read_to_string(path).unwrap();
    let row = |line: &str| {
        let cells: Vec<&str> = line.splitn(4, ',').collect();
        let field = |f: &str| {
            let (name, value) = f.split_once('=').unwrap_or_else(|| panic!("{f:?} in {line}"));
            let name = name.strip_prefix("pt.").unwrap_or_else(|| panic!("{f:?} in {line}"));
            (name.to_owned(), value.to_owned())
        };
        Row {
            number: cells[0].parse().unwrap(),
            label: cells[1].to_owned(),
            octets: octets(cells[2]),
            fields: cells[3].split(" ; ").map(field).collect(),
        }
    };
    text.lines().skip(1).map(row).collect()
}

impl Row {
    /// The label names revision 5 or 6; without one the messages were meant as revision 7.
    pub fn revision(&self) -> Revision {
        if ONE_OCTET.contains(&self.number) {
            return Revision::R5;
        }
        let words = || self.label.split(' ').map(|w| w.trim_matches(['(', ')']));
        if words().any(|w| w == "R5") {
            Revision::R5
        } else if words().any(|w| w == "R6") {
            Revision::R6
        } else {
            Revision::R7
        }
    }

    /// Whether [TSHARK] splits its data into fields.
    pub fn is_split(&self) -> bool {
        self.fields.iter().any(|(name, _)| name.starts_with("rsp."))
    }
}

/// Burst commands with a single octet, as revision 5 has them.
const ONE_OCTET: [u32; 2] = [130, 131];

const BY_REPLY: &str = "a request, which is read by the reply's layout";
const NO_ROW: &str = "looprig has no row for this command";

/// Row, field without `pt.`, and why ours differs.
pub const EXCEPTIONS: &[(u32, &str, &str)] = &[
    (61, "rsp.expansion_code", BY_REPLY),
    (61, "rsp.expanded_device_type", BY_REPLY),
    (61, "rsp.req_min_preambles", BY_REPLY),
    (61, "rsp.hart_univ_rev", BY_REPLY),
    (61, "rsp.device_rev", BY_REPLY),
    (61, "rsp.software_rev", BY_REPLY),
    (61, "rsp.hardrev_and_physical_signal", BY_REPLY),
    (61, "rsp.flags", BY_REPLY),
    (61, "rsp.device_id", BY_REPLY),
    (61, "rsp.rsp_min_preambles", BY_REPLY),
    (61, "rsp.device_variables", BY_REPLY),
    (61, "rsp.configure_change", BY_REPLY),
    (61, "rsp.ext_device_status", BY_REPLY),
    (61, "rsp.manufacturer_Id", BY_REPLY),
    (61, "rsp.private_label", BY_REPLY),
    (61, "rsp.device_profile", BY_REPLY),
    (154, "rsp.index_of_first_discrete_var", NO_ROW),
    (154, "rsp.number_of_discrete_vars", NO_ROW),
    (154, "rsp.ext_device_status", NO_ROW),
    (154, "rsp.timestamp_for_most_recent_discrete_change", NO_ROW),
    (154, "rsp.slot0_discrete_var_state", NO_ROW),
    (154, "rsp.slot0_discrete_var_status", NO_ROW),
    (154, "rsp.slot1_discrete_var_state", NO_ROW),
    (154, "rsp.slot1_discrete_var_status", NO_ROW),
    (158, "payload", "the expansion octet 99 is taken for the command, so all behind it shifts [FR-04]"),
    (161, "checksum", "the check byte is shown, not verified: it is wrong [FR-09]"),
];
