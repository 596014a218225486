//! Scenes of wrong octets, of what is heard and when it is answered.
//!
//! The secondary asks at 3D 71 00 31 04, the primary at BD .. (mask 80, [FR-16]); the answer is 86 with the address of the
//! request, command, count, two status octets, data [FR-01]. Command 16 answers 12 34 56, command 20 32 octets.

use super::Scene;

pub const SCENES: &[Scene] = &[
    // Octets of its answers.
    ("delimiter_of_a_burst", "s 16", "delim=86 check=ok", "delim=81 check=ok"),
    ("delimiter_of_a_request", "s 16", "delim=86 check=ok", "delim=82 check=ok"),
    ("physical_layer_bits_set", "s 16", "delim=86 check=ok", "delim=9E check=ok"),
    ("expansion_count_in_answer", "s 16", "delim=86", "delim=A6"),
    ("answers_short_to_long", "s 16", "delim=86 addr=3D71003104", "delim=06 addr=00 check=ok"),
    ("answers_long_to_short", "@0 0", "delim=06 addr=00", "delim=86 addr=3D71003104 check=ok"),
    ("polling_address_off_by_one", "address=5;@5 0", "delim=06 addr=05", "delim=06 addr=06 check=ok"),
    ("unique_address_top_cleared", "p 16", "addr=BD71003104", "addr=8071003104 check=ok"),
    ("master_bit_never_set", "p 16", "addr=BD71003104", "addr=3D71003104 check=ok"),
    ("master_bit_always_set", "s 16", "addr=3D71003104", "addr=BD71003104 check=ok"),
    ("burst_bit_always_set", "s 16", "addr=3D71003104", "addr=7D71003104 check=ok"),
    ("command_not_echoed", "s 16", "cmd=16", "cmd=0 check=ok"),
    ("check_byte_wrong", "s 16", "check=ok", "check=bad data=123456"),
    ("check_byte_without_delimiter", "s 16", "check=ok", "check=bad data=123456"),
    ("byte_count_one_more", "s 16", "count=5 tail=0", "count=6 tail=-1"),
    ("byte_count_one_less", "s 16", "count=5 tail=0", "count=4 tail=1"),
    ("byte_count_without_status", "s 16", "count=5 tail=0", "count=3 tail=2"),
    ("no_status_octets", "s 16", "count=5 data=123456", "count=3 tail=0 check=ok code=12"),
    ("octet_after_check_byte", "s 16", "tail=0 check=ok", "tail=1 check=ok"),
    // The second with its five preambles: 5 + 1 + 5 + 2 + 5 + 1.
    ("answer_sent_twice", "s 16", "tail=0", "tail=19 check=ok data=123456"),
    ("two_preambles", "s 16", "pre=5", "pre=2 check=ok"),
    ("too_many_preambles", "s 16", "pre=5", "pre=24 check=ok"),
    ("preambles_not_as_told", "s 59 0A", "pre=10 data=0A", "pre=11 data=0A check=ok"),
    ("preamble_spoilt", "s 16", "pre=5 delim=86", "pre=2 delim=FE"),
    ("parity_wrong", "s 16", "parity=good", "parity=bad check=ok"),
    ("pause_inside", "s 16", "pause=0", "pause=3 check=ok"),
    ("pause_before_delimiter", "s 16", "pause=0", "pause=3 check=ok"),
    // What it hears [FR-14] [FR-05] [FR-06] [FR-07] [FR-04] [DV-12].
    ("short_frames_answered", "@0 16", "silence", "delim=06 cmd=16 data=123456"),
    ("every_polling_address_answered", "@9 0", "silence", "delim=06 addr=09 cmd=0"),
    ("polling_address_unanswered", "@0 0", "delim=06 cmd=0", "silence"),
    ("other_device_id_answered", "raw 823D719999991000ww", "silence", "addr=3D71999999 data=123456"),
    (
        "other_device_id_answered",
        "revision=6;raw 823D619999991000ww",
        "silence",
        "addr=3D61999999 data=123456",
    ),
    (
        "other_device_id_answered",
        "revision=5;raw 823D519999991000ww",
        "silence",
        "addr=3D51999999 data=123456",
    ),
    ("other_type_answered", "raw 823E110031041000ww", "silence", "addr=3E11003104 data=123456"),
    ("broadcast_answered", "bs 16", "silence", "addr=3D71003104 data=123456"),
    ("broadcast_unanswered", "bs 11 196B73C70D20", "addr=3D71003104 cmd=11 code=00", "silence"),
    // One expansion octet: mask 20 in the delimiter.
    ("expansion_octets_ignored", "raw A23D71003104551000ww", "silence", "delim=86 data=123456"),
    ("expansion_octets_ignored", "revision=6;raw A23D61003104551000ww", "silence", "delim=86 data=123456"),
    ("expansion_octets_ignored", "revision=5;raw A23D51003104551000ww", "silence", "delim=86 data=123456"),
    ("answers_answers", "raw 863D7100310410020000ww", "silence", "delim=86 cmd=16 data=123456"),
    ("answers_answers", "revision=6;raw 863D6100310410020000ww", "silence", "delim=86 cmd=16 data=123456"),
    ("answers_answers", "revision=5;raw 863D5100310410020000ww", "silence", "delim=86 cmd=16 data=123456"),
    // A damaged request is answered with mask 80 and its error, and second octet 0 ([LL-08], from memory).
    ("wrong_check_byte_obeyed", "check s 16", "code=88 fds=00 len=0", "code=00 data=123456"),
    ("wrong_parity_obeyed", "parity s 19 0A0B0C", "code=C0 fds=00 len=0", "code=00 data=0A0B0C"),
    ("cut_request_obeyed", "cut s 9 0001", "silence", "code=00 len=13"),
    ("pause_in_request_ignored", "pause s 16", "silence", "code=00 data=123456"),
    ("needs_more_preambles", "s 16", "data=123456", "silence"),
    ("needs_more_preambles", "s 0", "d3=05", "silence"),
    ("deaf_to_the_primary", "p 16", "data=123456", "silence"),
    ("deaf_to_the_secondary", "s 16", "data=123456", "silence"),
    ("error_flag_missing", "check s 16", "code=88 fds=00", "code=08 fds=00 len=0"),
    ("error_without_cause", "check s 16", "code=88", "code=80 len=0"),
    ("parity_told_as_framing", "parity s 19 0A0B0C", "code=C0", "code=90 len=0"),
    ("error_with_data", "check s 16", "code=88 len=0", "code=88 data=0000"),
    ("error_names_the_primary", "check s 16", "addr=3D71003104", "addr=BD71003104 code=88"),
    ("damaged_answered_as_good", "check s 16", "code=88", "code=00 fds=00 len=0"),
    // 28 characters at most [LL-02].
    ("answers_late", "s 16", "within data=123456", "late data=123456"),
    ("answers_much_too_late", "s 16", "within data=123456", "late data=123456"),
    ("writes_answered_late", "s 19 0A0B0C", "within data=0A0B0C", "late data=0A0B0C"),
    ("status_answered_late", "s 48", "within code=00", "late code=00"),
    ("errors_answered_late", "check s 16", "within code=88", "late code=88"),
];
