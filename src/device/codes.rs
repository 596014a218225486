//! Codes of tables that the mock uses.

/// Status of a device variable [TY-08].
pub(in crate::device) mod variable_status {
    pub const BAD: u8 = 0x00;
    pub const GOOD: u8 = 0xC0;
    /// The bits that tell bad from good.
    pub const QUALITY: u8 = 0xC0;
    pub const MANUAL_CONSTANT: u8 = 0xB0;
    pub const LIMITED_LOW: u8 = 0x10;
    pub const LIMITED_HIGH: u8 = 0x20;
    pub const UNSUPPORTED: u8 = 0x30;
    /// The bits whose meaning the device family gives; the mock has none.
    pub const FAMILY: u8 = 0x07;
}

/// Units that the mock uses [UN-01].
pub(in crate::device) mod unit {
    pub const BAR: u8 = 7;
    pub const DEGREE_CELSIUS: u8 = 32;
    pub const MILLIAMPERE: u8 = 39;
    pub const PERCENT: u8 = 57;
    pub const DEGREE: u8 = 143;
    pub const NOT_USED: u8 = 250;
}

/// Classifications that the mock uses [TB-08].
pub(in crate::device) mod class {
    pub const NONE: u8 = 0;
    pub const TEMPERATURE: u8 = 64;
    pub const PRESSURE: u8 = 65;
    pub const CURRENT: u8 = 84;
    pub const ANGLE: u8 = 86;
}

/// Families that the mock uses [TB-07].
pub(in crate::device) mod family {
    pub const TEMPERATURE: u8 = 4;
    pub const PRESSURE: u8 = 5;
    pub const VALVE: u8 = 6;
    pub const NOT_USED: u8 = 250;
}
