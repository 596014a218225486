//! Scenes of single commands of several that are alike. Floats: 12 is 41 40 00 00, 100 42 C8 00 00, 101 42 CA 00 00 [TY-02].

use super::Scene;

pub const SCENES: &[Scene] = &[
    ("damping_zero_refused", "s 34 00000000", "code=00 data=00000000", "code=04 len=0"),
    ("range_of_unknown_channel_taken", "s 65 013942C8000000000000", "code=0F", "code=00 len=10"),
    ("fixing_unknown_channel_taken", "kind=temperature;s 66 012741400000", "code=0F", "code=00 len=6"),
    ("fixing_unit_unknown_taken", "kind=temperature;s 66 00FA41400000", "code=0C", "code=00 len=6"),
    ("applied_process_moves_both_ends", "kind=temperature;s 37;s 15", "d3=42C80000", "d3=42CA0000"),
    ("applied_process_not_taken", "kind=temperature;s 37;s 15", "d7=41A00000", "d7=00000000"),
    ("unit_of_pv_not_kept", "kind=temperature;s 44 21;s 1", "d0=21", "d0=20"),
    ("serial_number_of_variable_not_kept", "s 56 000A0B0C;s 14", "d0=0A0B0C", "d0=000C20"),
    ("eeprom_control_echo_missing", "s 39 00", "code=00 data=00", "code=00 len=0"),
    ("squawk_echo_missing", "s 72 00", "code=00 data=00", "code=00 len=0"),
    ("communication_counters_cut", "s 95", "len=6", "len=4"),
    ("simulation_code_unknown_taken", "s 79 03070740800000C0", "code=0A", "code=00 len=8"),
    ("lock_against_all_untold", "p 71 03;s 76", "data=0F", "data=07"),
    ("lock_against_all_opened_by_owner", "p 71 03;s 71 00", "code=00 data=00", "code=10 len=0"),
    ("permanent_lock_lost_by_reset", "p 71 02;p 42;wait 5000;s 76", "data=07", "data=00"),
];
