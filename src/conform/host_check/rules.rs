//! What can be found about a host: one row a rule [HC-02] to [HC-05].

/// How much a finding weighs [HC-01].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Strength {
    /// It breaks a requirement that the notes have from one source or more.
    Must,
    /// It works somehow, or the requirement is from memory or ours: worth a look.
    Advice,
}

impl Strength {
    /// `must` or `advice`.
    pub const fn name(self) -> &'static str {
        match self {
            Strength::Must => "must",
            Strength::Advice => "advice",
        }
    }
}

/// What a line has to tell before a rule can be judged on it [HC-06].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Needs {
    /// Nothing but the octets.
    Octets,
    /// Times that are right to a part of so many characters.
    Stamps(u64),
    /// Every preamble that was sent.
    Preambles,
    /// Pauses between octets.
    Pauses,
    /// Parity, without which what the wires spoil looks like what the host said.
    Parity,
}

/// Something that a host may do wrong.
#[derive(Debug, PartialEq, Eq)]
pub struct Rule {
    /// Its name for programs: lower case with hyphens, never reused for something else.
    pub slug: &'static str,
    /// What the host does, as a sentence without a subject.
    pub title: &'static str,
    /// The id of the requirement that it is held against.
    pub requirement: &'static str,
    /// How much it weighs.
    pub strength: Strength,
    /// What the line has to tell.
    pub needs: Needs,
    /// It rests on single octets or moments, which wires can spoil: where something was spoilt it has to
    /// come out so several times, and in this share of the cases, percent [HC-07].
    pub share_percent: Option<u64>,
    /// Fewer times than this are told as not judged.
    pub least: u64,
    /// It has to come out in that share also where nothing was spoilt.
    pub always: bool,
}

const fn must(slug: &'static str, requirement: &'static str, needs: Needs, title: &'static str) -> Rule {
    Rule {
        slug,
        title,
        requirement,
        strength: Strength::Must,
        needs,
        share_percent: None,
        least: 1,
        always: false,
    }
}

const fn advice(slug: &'static str, requirement: &'static str, needs: Needs, title: &'static str) -> Rule {
    Rule { strength: Strength::Advice, ..must(slug, requirement, needs, title) }
}

const fn by_share(rule: Rule, least: u64) -> Rule {
    Rule { share_percent: Some(50), least, ..rule }
}

use Needs::{Octets, Parity, Pauses, Preambles, Stamps};

/// Slave time-out, characters [LL-02].
pub(super) const SLAVE_TIME_OUT: u64 = 28;
/// Link grant, characters [LL-04].
pub(super) const LINK_GRANT: u64 = 8;
/// Link quiet of the primary and of the secondary master, characters [LL-05].
pub(super) const LINK_QUIET: [u64; 2] = [33, 41];

/// Fewer preambles than any device may be given [FR-02].
pub static PREAMBLES_TOO_FEW: Rule = by_share(
    must("preambles-too-few", "FR-02", Preambles, "sends fewer than 5 preambles before a request"),
    1,
);
/// Fewer than the device has asked for in its answer to command 0 [LL-11].
pub static PREAMBLES_FEWER_THAN_WANTED: Rule = by_share(
    must(
        "preambles-fewer-than-wanted",
        "LL-11",
        Preambles,
        "sends fewer preambles than the device wants by its answer to command 0",
    ),
    1,
);
/// More than 20 [FR-02].
pub static PREAMBLES_TOO_MANY: Rule = by_share(
    must("preambles-too-many", "FR-02", Preambles, "sends more than 20 preambles before a request"),
    1,
);
/// A pause inside a request [LL-06].
pub static GAP_IN_REQUEST: Rule =
    by_share(must("gap-in-request", "LL-06", Pauses, "pauses for a character or more inside a request"), 2);
/// The byte count is not that of the octets that follow [FR-08].
pub static BYTE_COUNT_WRONG: Rule = by_share(
    must("byte-count-wrong", "FR-08", Octets, "sends another number of octets than its byte count says"),
    2,
);
/// [FR-09].
pub static CHECK_BYTE_WRONG: Rule =
    by_share(must("check-byte-wrong", "FR-09", Parity, "computes the check byte wrong"), 2);
/// Something follows the check byte [FR-01].
pub static OCTETS_AFTER_CHECK: Rule = by_share(
    advice("octets-after-check", "FR-01", Preambles, "sends octets behind the check byte of a request"),
    2,
);
/// [FR-14].
pub static SHORT_FRAME: Rule = must(
    "short-frame",
    "FR-14",
    Octets,
    "asks another command than 0 in a short frame, although the device has told its unique address",
);
/// [FR-16], from memory.
pub static BURST_BIT_SET: Rule =
    advice("burst-bit-set", "FR-16", Octets, "sets the burst bit in a request; masters send it clear");
/// [FR-04].
pub static EXPANSION_OCTETS: Rule = advice(
    "expansion-octets",
    "FR-04",
    Octets,
    "sends expansion octets, for which no use is known: devices stay silent",
);
/// [FR-03]: only 00 is certain.
pub static PHYSICAL_BITS: Rule =
    advice("physical-layer-bits", "FR-03", Octets, "sets bits of another physical layer in the delimiter");
/// [DV-07], from memory.
pub static BROADCAST_MISUSED: Rule = advice(
    "broadcast-misused",
    "DV-07",
    Octets,
    "sends another command than 11, 21 and 73 to all devices, which nobody answers",
);
/// The device said so with response code 5 [DV-14].
pub static DATA_TOO_SHORT: Rule =
    must("data-too-short", "DV-14", Octets, "sends fewer data octets than the command needs");
/// [DV-06].
pub static DATA_TOO_LONG: Rule = advice(
    "data-too-long",
    "DV-06",
    Octets,
    "sends more data octets than the command has in the device's revision, which ignores them",
);
/// The row has no form for the device's revision [DV-11].
pub static WRONG_REVISION: Rule = advice(
    "wrong-revision",
    "DV-11",
    Octets,
    "asks again and again a command that the device's revision does not have",
);
/// [LL-02].
pub static SLAVE_TIME: Rule = by_share(
    must(
        "talks-in-slave-time",
        "LL-02",
        Stamps(SLAVE_TIME_OUT),
        "sends a request while a device may still begin its answer to its last one",
    ),
    1,
);
/// [LL-02]; that master may have heard the other's request damaged.
pub static OTHERS_TIME: Rule = Rule {
    share_percent: Some(90),
    ..must(
        "talks-in-the-others-time",
        "LL-02",
        Stamps(SLAVE_TIME_OUT),
        "sends a request while a device may still begin its answer to the other master",
    )
};
/// [LL-05]; that RT1 counts from the request's end is from memory.
pub static EARLY_RETRY: Rule = by_share(
    advice(
        "asks-again-too-early",
        "LL-05",
        Stamps(LINK_QUIET[0] - SLAVE_TIME_OUT),
        "asks again after silence before its link-quiet time is over, so that the other master gets no turn",
    ),
    1,
);
/// [LL-04]; its use is from memory.
pub static OTHERS_TURN: Rule = by_share(
    advice(
        "takes-the-others-turn",
        "LL-04",
        Stamps(LINK_GRANT),
        "asks again right after its own answer, when it is the other master's turn",
    ),
    1,
);
/// [FR-16]; only where one host alone is on the wires.
pub static BOTH_MASTER_BITS: Rule =
    must("both-master-bits", "FR-16", Octets, "speaks with the other master's bit too");
/// [LL-07].
pub static WITHOUT_END: Rule = advice(
    "repeats-without-end",
    "LL-07",
    Octets,
    "repeats an unanswered request again and again and asks nothing else meanwhile",
);
/// [LL-07].
pub static GIVES_UP_AT_ONCE: Rule = Rule {
    always: true,
    ..by_share(
        advice("gives-up-at-once", "LL-07", Octets, "does not repeat a request that was lost on the wires"),
        3,
    )
};
/// [ST-01].
pub static DAMAGE_IGNORED: Rule = advice(
    "damaged-request-ignored",
    "ST-01",
    Octets,
    "does not ask again what the device says arrived damaged, and so was not obeyed",
);
/// [DV-09].
pub static BUSY_IGNORED: Rule =
    advice("busy-ignored", "DV-09", Octets, "never asks again what a busy device (32) did not do");
/// [DV-09].
pub static BUSY_HAMMERED: Rule = advice(
    "busy-hammered",
    "DV-09",
    Stamps(LINK_GRANT),
    "asks a busy device (32) again and again without a pause",
);
/// [DV-40], from memory.
pub static DELAYED_IGNORED: Rule = advice(
    "delayed-ignored",
    "DV-40",
    Octets,
    "never fetches the result of a delayed response (33, 34), which takes the identical request",
);
/// [DV-40], from memory.
pub static DELAYED_HAMMERED: Rule = advice(
    "delayed-hammered",
    "DV-40",
    Stamps(LINK_GRANT),
    "asks for a delayed response that is not done (34) again and again without a pause",
);
/// [DV-40], from memory.
pub static DELAYED_CONFLICT: Rule = advice(
    "delayed-conflict",
    "DV-40",
    Octets,
    "begins anew, with other data, what still runs as a delayed response, and is refused (36)",
);
/// [DV-11].
pub static UNKNOWN_AGAIN: Rule = advice(
    "unknown-command-again",
    "DV-11",
    Octets,
    "asks again and again a command that the device has said it does not have (64)",
);
/// [ST-03].
pub static REFUSED_AGAIN: Rule = advice(
    "refused-again",
    "ST-03",
    Octets,
    "sends the same request again and again although it is refused each time with the same code",
);
/// [ST-07].
pub static MORE_STATUS_IGNORED: Rule = advice(
    "more-status-ignored",
    "ST-07",
    Octets,
    "never sends command 48 although the device says that there is more status",
);
/// [ST-09].
pub static CHANGE_IGNORED: Rule = advice(
    "configuration-changed-ignored",
    "ST-09",
    Octets,
    "neither reads the configuration again nor sends command 38 although the device says that it has changed",
);
/// [ST-09].
pub static STALE_COUNTER: Rule = advice(
    "stale-counter",
    "ST-09",
    Octets,
    "sends command 38 again with the counter that the device has just refused",
);
/// [ST-08].
pub static COLD_START_IGNORED: Rule = advice(
    "cold-start-ignored",
    "ST-08",
    Octets,
    "goes on as before after the device has started anew, and reads nothing of it again",
);
/// [HO-06] has it so for looprig's own host.
pub static NOT_READ_BACK: Rule = advice(
    "write-not-read-back",
    "HO-06",
    Octets,
    "writes and does not read back what the device made of it",
);
/// [HC-05].
pub static BURST_CHANGED: Rule = advice(
    "burst-changed-while-on",
    "HC-05",
    Octets,
    "changes what is sent in bursts while the device is in burst mode",
);
/// [HC-05].
pub static LEFT_SET: Rule = advice(
    "left-set",
    "HC-05",
    Octets,
    "has fixed the current, simulated a variable or locked the device, and not undone it when the record ends",
);

/// Every rule, in the order of the notes.
pub static RULES: [&Rule; 37] = [
    &PREAMBLES_TOO_FEW,
    &PREAMBLES_FEWER_THAN_WANTED,
    &PREAMBLES_TOO_MANY,
    &GAP_IN_REQUEST,
    &BYTE_COUNT_WRONG,
    &CHECK_BYTE_WRONG,
    &OCTETS_AFTER_CHECK,
    &SHORT_FRAME,
    &BURST_BIT_SET,
    &EXPANSION_OCTETS,
    &PHYSICAL_BITS,
    &BROADCAST_MISUSED,
    &DATA_TOO_SHORT,
    &DATA_TOO_LONG,
    &WRONG_REVISION,
    &SLAVE_TIME,
    &OTHERS_TIME,
    &EARLY_RETRY,
    &OTHERS_TURN,
    &BOTH_MASTER_BITS,
    &WITHOUT_END,
    &GIVES_UP_AT_ONCE,
    &DAMAGE_IGNORED,
    &BUSY_IGNORED,
    &BUSY_HAMMERED,
    &DELAYED_IGNORED,
    &DELAYED_HAMMERED,
    &DELAYED_CONFLICT,
    &UNKNOWN_AGAIN,
    &REFUSED_AGAIN,
    &MORE_STATUS_IGNORED,
    &CHANGE_IGNORED,
    &STALE_COUNTER,
    &COLD_START_IGNORED,
    &NOT_READ_BACK,
    &BURST_CHANGED,
    &LEFT_SET,
];

impl Rule {
    /// Its place among [`RULES`].
    pub(super) fn index(&self) -> usize {
        RULES.iter().position(|r| r.slug == self.slug).unwrap_or(RULES.len())
    }
}
