//! Scenes of faults that were made to tell checks apart. The hardware revision of the mock is 1 and its signalling 0: octet 7 of its
//! identity is 08 [CM-000].

use super::Scene;

pub const SCENES: &[Scene] = &[
    ("deaf_behind_many_preambles", "behind 20 s 16", "data=123456", "silence"),
    ("deaf_behind_two_preambles", "behind 2 s 16", "data=123456", "silence"),
    ("deaf_behind_four_preambles", "behind 4 s 16", "data=123456", "silence"),
    ("preambles_in_the_check", "behind 6 s 16", "data=123456", "silence"),
    ("one_preamble_is_enough", "behind 1 s 16", "silence", "data=123456"),
    ("spoilt_preamble_unseen", "spoilt s 16", "silence", "data=123456"),
    ("kinds_that_do_not_exist_answered", "as 83 s 16", "silence", "data=123456"),
    ("bursts_answered", "as 81 s 16 0000", "silence", "data=123456"),
    // 65 data octets, which command 16 does not have and ignores [DV-06].
    (
        "long_requests_unheard",
        "s 16 0000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000",
        "data=123456",
        "silence",
    ),
    ("short_pauses_unheard", "late s 16", "data=123456", "silence"),
    ("short_pause_inside", "s 16", "pause=0", "pause=1 check=ok"),
    ("header_damage_answered", "header s 16", "silence", "code=C0 fds=00 len=0"),
    ("short_byte_count_obeyed", "claims 03 s 16", "silence", "data=123456"),
    ("check_byte_by_seven_bits", "flip 80 s 16", "code=88", "code=00 data=123456"),
    ("polling_address_by_four_bits", "@16 0", "silence", "delim=06 code=00"),
    ("short_frames_refused", "@0 4", "silence", "delim=06 code=40 len=0"),
    // FV-3104, and FV-310U: the last character of each is another.
    ("tag_compared_in_part", "bs 11 196B73C70D21", "silence", "code=00"),
    ("surplus_of_the_identity_refused", "s 0 00", "code=00", "code=05 len=0"),
    ("short_frames_answered_late", "@0 0", "within", "late"),
    ("each_fourth_request_unanswered", "s 0;s 0;s 0;s 13", "code=00", "silence"),
    ("each_second_identity_differs", "s 0", "d7=08", "d7=00"),
    ("master_bit_clear_in_short_frames", "raw 02800000ww", "addr=80", "addr=00"),
    ("master_bit_clear_in_refusals", "p 4", "top+80", "top-80"),
    ("primary_told_the_identity_alone", "p 16", "data=123456", "silence"),
    ("primary_told_another_identity", "p 0", "d7=08", "d7=00"),
    ("short_frame_told_another_identity", "@0 0", "d7=08", "d7=00"),
    // The loop current, variable 245: 8 mA, and 16.
    ("value_in_9_doubled", "ma 8;wait 5000;s 9 F5", "d4=41000000", "d4=41800000"),
    ("mandatory_variables_missing", "s 9 F5", "d1=F5 d3=27", "d1=F500FA7FA0000030"),
    ("missing_variable_with_a_unit", "s 9 09", "d1=0900FA7FA0000030", "d1=0900397FA0000030"),
    ("write_protect_code_unknown", "s 15", "d15=00", "d15=07"),
    ("reserved_octet_zero", "s 15", "d16=FA", "d16=00"),
    // FILTER 4, and A, each behind the six octets of the tag.
    (
        "message_changes_the_descriptor",
        "s 17 3855E03454D3047160820820820820820820820820820820;s 13",
        "d6=189314152834820820820820",
        "d6=060820820820820820820820",
    ),
    ("extended_status_undefined_bit", "s 0", "d16=00", "d16=40"),
    ("extended_status_of_48_differs", "s 48", "d6=00", "d6=01"),
    ("reading_warned", "s 16", "code=00 data=123456", "code=1E data=123456"),
    (
        "delayed_stops_all_else",
        "slow=22:20000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000;s 0",
        "code=00",
        "code=20 len=0",
    ),
    (
        "delayed_conflict_of_both_masters",
        "slow=22:20000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000;p 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000",
        "code=21",
        "code=24 len=0",
    ),
    ("burst_every_two_seconds", "s 109 01;listen 20000", "n>40", "n<15 every>1.9"),
    ("highest_polling_address_not_taken", "s 6 3F01;s 7", "d0=3F", "d0=00"),
    ("error_with_the_reserved_mask", "check s 16", "code=88", "code=8C len=0"),
    ("error_of_every_kind", "check s 16", "code=88", "code=F8 len=0"),
    ("error_with_all_status_bits", "check s 16", "code=88 fds=00", "code=88 fds=FF"),
];
