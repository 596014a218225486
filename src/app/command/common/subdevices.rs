//! I/O systems and the devices behind them: 74, 75, 84 to 88.

use crate::app::command::CommandSpec;
use crate::app::command::Effect::{Reads, Writes};
use crate::app::command::Grade::Medium;
use crate::app::command::layout::{Item, Kind, Layout};
use crate::app::command::universal::{DEVICE_ID, DEVICE_REV, IDENTITY_7, TYPE_16, UNIVERSAL};
use crate::app::command::words::{NOTHING, f, id, newest, row};
use crate::app::types::tables as t;

const CARD: Item = f("io_card", "I/O card", Kind::U8);
const CHANNEL: Item = f("channel", "channel", Kind::U8);
const INDEX: Item = f("index", "index of the sub-device", Kind::U16);
const MASTER: Item = f("master_mode", "master that the I/O system is", Kind::Enum(&t::MASTER_MODE));
const RETRIES: Item = f("retries", "retries", Kind::U8);

const CAPABILITIES: Layout = &[
    f("max_cards", "most I/O cards", Kind::U8),
    f("max_channels", "most channels on a card", Kind::U8),
    f("max_sub_devices", "most sub-devices on a channel", Kind::U8),
    f("devices_detected", "devices detected", Kind::U16),
    f("max_delayed_responses", "most delayed responses", Kind::U8),
    MASTER,
    RETRIES,
];
const SUB_DEVICE: Layout = &[
    INDEX,
    CARD,
    CHANNEL,
    id("manufacturer_id", "manufacturer code", Kind::U16),
    TYPE_16,
    DEVICE_ID,
    UNIVERSAL,
    f("long_tag", "long tag", Kind::Latin1(32)),
    DEVICE_REV,
    f("device_profile", "device profile", Kind::Enum(&t::DEVICE_PROFILE)),
    id("private_label", "private label code", Kind::U16),
];
const CHANNEL_COUNTS: Layout = &[
    CARD,
    CHANNEL,
    f("requests", "requests sent (STX)", Kind::U16),
    f("replies", "replies heard (ACK)", Kind::U16),
    f("other_requests", "requests of the other master (OSTX)", Kind::U16),
    f("other_replies", "replies to the other master (OACK)", Kind::U16),
    f("bursts", "burst frames heard (BACK)", Kind::U16),
];
const DEVICE_COUNTS: Layout = &[
    INDEX,
    f("requests", "requests sent (STX)", Kind::U16),
    f("replies", "replies heard (ACK)", Kind::U16),
    f("bursts", "burst frames heard (BACK)", Kind::U16),
];

/// The rows, by number.
pub(super) static ROWS: &[CommandSpec] = &[
    row(74, "read I/O system capabilities", "CM-074", Reads, Medium, &newest(NOTHING, CAPABILITIES)),
    row(
        75,
        "poll a sub-device",
        "CM-075",
        Reads,
        Medium,
        &newest(&[CARD, CHANNEL, f("polling_address", "polling address", Kind::U8)], IDENTITY_7),
    ),
    row(84, "read identity of a sub-device", "CM-084", Reads, Medium, &newest(&[INDEX], SUB_DEVICE)),
    row(
        85,
        "read statistics of a channel",
        "CM-085",
        Reads,
        Medium,
        &newest(&[CARD, CHANNEL], CHANNEL_COUNTS),
    ),
    row(86, "read statistics of a sub-device", "CM-086", Reads, Medium, &newest(&[INDEX], DEVICE_COUNTS)),
    row(87, "write master mode of the I/O system", "CM-087", Writes, Medium, &newest(&[MASTER], &[MASTER])),
    row(88, "write retries of the I/O system", "CM-088", Writes, Medium, &newest(&[RETRIES], &[RETRIES])),
];
