//! Integers, most significant octet first [TY-01].
//!
//! A reader takes the octets at the start of a slice and gives `None` when there are too few; a
//! writer of a 24-bit number gives `None` when the number does not fit. The other widths have
//! `to_be_bytes` in the language itself.

/// The first octet, unsigned [TY-01].
pub fn read_u8(bytes: &[u8]) -> Option<u8> {
    bytes.first().copied()
}

/// The first two octets, unsigned [TY-01].
pub fn read_u16(bytes: &[u8]) -> Option<u16> {
    bytes.first_chunk().map(|b| u16::from_be_bytes(*b))
}

/// The first three octets, unsigned: 0 to 16 777 215 [TY-01].
pub fn read_u24(bytes: &[u8]) -> Option<u32> {
    bytes.first_chunk().map(|&[a, b, c]| u32::from_be_bytes([0, a, b, c]))
}

/// The first four octets, unsigned [TY-01].
pub fn read_u32(bytes: &[u8]) -> Option<u32> {
    bytes.first_chunk().map(|b| u32::from_be_bytes(*b))
}

/// The first octet, two's complement [TY-01].
pub fn read_i8(bytes: &[u8]) -> Option<i8> {
    bytes.first_chunk().map(|b| i8::from_be_bytes(*b))
}

/// The first two octets, two's complement [TY-01].
pub fn read_i16(bytes: &[u8]) -> Option<i16> {
    bytes.first_chunk().map(|b| i16::from_be_bytes(*b))
}

/// The first three octets, two's complement: -8 388 608 to 8 388 607 [TY-01].
pub fn read_i24(bytes: &[u8]) -> Option<i32> {
    // The number is read into the upper three octets; the shift back carries its sign down.
    bytes.first_chunk().map(|&[a, b, c]| i32::from_be_bytes([a, b, c, 0]) >> 8)
}

/// The first four octets, two's complement [TY-01].
pub fn read_i32(bytes: &[u8]) -> Option<i32> {
    bytes.first_chunk().map(|b| i32::from_be_bytes(*b))
}

/// The three octets of an unsigned number; `None` above 16 777 215 [TY-01].
pub const fn u24_to_bytes(value: u32) -> Option<[u8; 3]> {
    match value.to_be_bytes() {
        [0, a, b, c] => Some([a, b, c]),
        _ => None,
    }
}

/// The three octets of a two's complement number; `None` outside -8 388 608 to 8 388 607 [TY-01].
pub const fn i24_to_bytes(value: i32) -> Option<[u8; 3]> {
    if value < -0x80_0000 || value > 0x7F_FFFF {
        return None;
    }
    let [_, a, b, c] = value.to_be_bytes();
    Some([a, b, c])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn published_numbers() {
        // [1770] identity reply 00 15 11: device id, most significant first: 0x001511 = 5393.
        assert_eq!(read_u24(&[0x00, 0x15, 0x11]), Some(5393));
        // Protocol-2 F, next burst: two time stamps apart by 0x1F46 = 8006.
        assert_eq!(read_u16(&[0x1F, 0x46]), Some(8006));
        // tshark: session timer 00 00 75 30 is 30000 ms.
        assert_eq!(read_u32(&[0x00, 0x00, 0x75, 0x30]), Some(30_000));
    }

    #[test]
    fn twos_complement() {
        // All ones are -1 in every width; the sign bit alone is the least number.
        assert_eq!(read_i8(&[0xFF]), Some(-1));
        assert_eq!(read_i16(&[0xFF, 0xFE]), Some(-2));
        assert_eq!(read_i24(&[0xFF, 0xFF, 0xFF]), Some(-1));
        assert_eq!(read_i24(&[0x80, 0, 0]), Some(-8_388_608));
        assert_eq!(read_i24(&[0x7F, 0xFF, 0xFF]), Some(8_388_607));
        assert_eq!(read_i32(&[0xFF, 0xFF, 0xFF, 0xFD]), Some(-3));
    }

    #[test]
    fn too_few_octets_and_too_large_numbers() {
        assert_eq!(read_u8(&[]), None);
        assert_eq!(read_u16(&[1]), None);
        assert_eq!(read_u24(&[1, 2]), None);
        assert_eq!(read_u32(&[1, 2, 3]), None);
        assert_eq!(read_i8(&[]), None);
        assert_eq!(read_i16(&[1]), None);
        assert_eq!(read_i24(&[1, 2]), None);
        assert_eq!(read_i32(&[1, 2, 3]), None);
        assert_eq!(u24_to_bytes(0x0100_0000), None);
        assert_eq!(i24_to_bytes(0x80_0000), None);
        assert_eq!(i24_to_bytes(-0x80_0001), None);
    }

    proptest! {
        #[test]
        fn three_octets_survive(bytes in any::<[u8; 3]>()) {
            prop_assert_eq!(u24_to_bytes(read_u24(&bytes).unwrap()), Some(bytes));
            prop_assert_eq!(i24_to_bytes(read_i24(&bytes).unwrap()), Some(bytes));
        }
    }
}
