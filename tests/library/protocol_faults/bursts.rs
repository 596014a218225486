//! Scenes of bursts and delayed responses. Message 0 sends command 1 every second [DV-30]; turned on at once [DV-31].
//!
//! How delayed responses go is from memory or our choice [DV-40]; the numbers 33 to 36 (21 to 24) are those of [ST-03]. 3 s are 00 01 77 00
//! in 1/32 ms and become 4 s, 00 01 F4 00 [CM-103].

use super::Scene;

pub const SCENES: &[Scene] = &[
    ("burst_as_answer", "s 109 0100;listen 3000", "delim=81 cmd=1", "delim=86 cmd=1 check=ok"),
    ("burst_bit_clear_in_bursts", "s 109 0100;listen 3000", "delim=81 top+40", "delim=81 top-40"),
    ("burst_bit_clear_in_answers", "s 109 0100;s 16", "delim=86 top+40", "delim=86 top-40"),
    ("burst_address_cleared", "s 109 0100;listen 3000", "delim=81 low=3D", "delim=81 low=00 check=ok"),
    ("burst_names_the_primary", "s 109 0100;listen 4500", "named=both", "named=primary"),
    ("burst_without_status", "s 109 0100;listen 3000", "count=7 d0=39", "count=5 code=39 check=ok"),
    ("burst_check_byte_wrong", "s 109 0100;listen 3000", "check=ok", "check=bad d0=39"),
    ("burst_with_two_preambles", "s 109 0100;listen 3000", "pre=5", "pre=2 check=ok"),
    ("burst_does_not_follow_answers", "s 109 0100;s 16", "follows=yes", "follows=no"),
    ("burst_every_250_ms", "s 109 0100;listen 6000", "every>0.9", "every<0.6"),
    ("burst_leaves_no_turn", "s 103 0000001F4000001F40;s 109 0100;listen 6000", "every>0.30", "every<0.27"),
    ("burst_four_times_too_slow", "s 109 0100;listen 20000", "every>0.9 every<1.2", "every>3.9"),
    ("burst_trigger_ignored", "s 104 0002003942A00000;s 109 0100;listen 5000", "n=0", "n>3"),
    ("burst_command_one", "s 108 000200;s 109 0100;listen 3000", "cmd=2", "cmd=1"),
    (
        "burst_variables_not_taken",
        "s 107 02FAFAFAFAFAFAFA00;s 108 000900;s 109 0100;listen 3000",
        "cmd=9 d1=02 len=13",
        "cmd=9 d1=00",
    ),
    ("burst_command_one", "revision=6;s 108 02;s 109 01;listen 3000", "cmd=2", "cmd=1"),
    ("burst_command_one", "revision=5;s 108 02;s 109 01;listen 3000", "cmd=2", "cmd=1"),
    (
        "burst_variables_not_taken",
        "revision=6;s 107 02FAFAFA;s 108 21;s 109 01;listen 3000",
        "cmd=33 d0=02",
        "cmd=33 d0=00",
    ),
    (
        "burst_variables_not_taken",
        "revision=5;s 107 02FAFAFA;s 108 21;s 109 01;listen 3000",
        "cmd=33 d0=02",
        "cmd=33 d0=00",
    ),
    ("burst_never_on", "s 109 0100;listen 3000", "n>1", "silence"),
    ("burst_never_off", "s 109 0100;s 109 0000;wait 500;listen 3000", "silence", "n>1"),
    ("burst_control_unknown_taken", "s 109 0700", "code=02", "code=00 data=0700"),
    ("burst_command_unknown_taken", "s 108 001400", "code=02", "code=00 data=001400"),
    ("burst_variable_unknown_taken", "s 107 09FAFAFAFAFAFAFA00", "code=02", "code=00 d0=09"),
    ("burst_message_unknown_taken", "s 108 000107", "code=09", "code=00 data=000107"),
    ("burst_trigger_unknown_taken", "s 104 000900FA7FA00000", "code=0D", "code=00 d1=09"),
    ("burst_period_echo_as_asked", "s 103 0000017700001D4C00", "code=08 d1=0001F400", "code=00 d1=00017700"),
    ("burst_configuration_cut", "s 105 00", "len=29", "len=28"),
    ("burst_told_off", "s 109 0100;s 105 00", "d0=01", "d0=00"),
    ("burst_status_of_an_answer", "s 109 0100;listen 3000", "code=00", "code=08"),
    (
        "delayed_never_ready",
        "slow=22:500;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000",
        "code=00 len=32",
        "code=22 len=0",
    ),
    (
        "delayed_told_as_begun",
        "slow=22:20000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000",
        "code=22 len=0",
        "code=21 len=0",
    ),
    (
        "delayed_told_as_busy",
        "slow=22:20000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000",
        "code=22 len=0",
        "code=20 len=0",
    ),
    (
        "delayed_result_without_data",
        "slow=22:500;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000",
        "code=00 len=32",
        "code=00 len=0",
    ),
    (
        "delayed_begun_with_data",
        "slow=22:20000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000",
        "code=21 len=0",
        "code=21 data=427261636B656E6D6F6F722070756D702074776F000000000000000000000000",
    ),
    (
        "delayed_conflict_untold",
        "slow=22:20000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000;s 22 425241434B454E4D4F4F522046494C5445522034000000000000000000000000",
        "code=24 len=0",
        "code=21 len=0",
    ),
    (
        "delayed_lost",
        "slow=22:500;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000",
        "code=00",
        "code=21",
    ),
    (
        "delayed_not_flushed",
        "slow=22:500;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000;s 106;s 22 427261636B656E6D6F6F722070756D702074776F000000000000000000000000",
        "code=21",
        "code=00 len=32",
    ),
    ("delayed_flush_refused", "s 106", "code=00", "code=40 len=0"),
    (
        "busy_for_ever",
        "slow=17:500;s 17 3855E03454D3047160820820820820820820820820820820;wait 3000;s 17 3855E03454D3047160820820820820820820820820820820",
        "code=00",
        "code=20 len=0",
    ),
];
