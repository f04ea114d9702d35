//! Numbers of the three processors a C3D file can come from.

/// The processor a file was written on: byte order and float format.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Processor {
    /// Little-endian, IEEE floats.
    Intel,
    /// Little-endian integers, VAX F floats.
    Dec,
    /// Big-endian, IEEE floats.
    Sgi,
}

impl Processor {
    /// The byte that stands for it in the parameter section.
    pub(crate) fn code(self) -> u8 {
        match self {
            Self::Intel => 84,
            Self::Dec => 85,
            Self::Sgi => 86,
        }
    }

    pub(crate) fn from_code(code: u8) -> Option<Self> {
        [Self::Intel, Self::Dec, Self::Sgi].into_iter().find(|processor| processor.code() == code)
    }

    pub(crate) fn u16(self, bytes: [u8; 2]) -> u16 {
        match self {
            Self::Intel | Self::Dec => u16::from_le_bytes(bytes),
            Self::Sgi => u16::from_be_bytes(bytes),
        }
    }

    pub(crate) fn i16(self, bytes: [u8; 2]) -> i16 {
        self.u16(bytes) as i16
    }

    pub(crate) fn u16_bytes(self, value: u16) -> [u8; 2] {
        match self {
            Self::Intel | Self::Dec => value.to_le_bytes(),
            Self::Sgi => value.to_be_bytes(),
        }
    }

    /// VAX F: sign, 8 exponent bits biased by 128 with the fraction in [0.5, 1), the 16-bit
    /// halves exchanged. The bits read as IEEE mean four times the value. Exponent 0 is zero
    /// (with the sign set: a reserved operand, read as NaN).
    pub(crate) fn f32(self, bytes: [u8; 4]) -> f32 {
        match self {
            Self::Intel => f32::from_le_bytes(bytes),
            Self::Sgi => f32::from_be_bytes(bytes),
            Self::Dec => {
                let [b0, b1, b2, b3] = bytes;
                let bits = u32::from_le_bytes([b2, b3, b0, b1]);
                let sign = if bits >> 31 == 1 { -1.0 } else { 1.0 };
                let fraction = f64::from((bits & 0x007f_ffff) | 0x0080_0000);
                match (bits >> 23 & 0xff) as i32 {
                    0 if bits >> 31 == 1 => f32::NAN,
                    0 => 0.0,
                    exponent => (sign * fraction * f64::from(exponent - 152).exp2()) as f32,
                }
            }
        }
    }

    /// The bytes of `value`; for DEC values beyond its range become the largest, tiny ones 0.
    pub(crate) fn f32_bytes(self, value: f32) -> [u8; 4] {
        match self {
            Self::Intel => value.to_le_bytes(),
            Self::Sgi => value.to_be_bytes(),
            Self::Dec => {
                let bits = value.to_bits();
                let exponent = bits >> 23 & 0xff;
                let bits = match exponent {
                    0 => 0,
                    253..=255 => bits | 0x7fff_ffff,
                    _ => bits + (2 << 23),
                };
                let [b2, b3, b0, b1] = bits.to_le_bytes();
                [b0, b1, b2, b3]
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// VAX F examples as the VAX Architecture Reference Manual writes them (from memory):
    /// 1.0 = 0x00004080, -1.0 = 0x0000C080, 3.5 = 0x00004160 as little-endian longwords.
    #[test]
    fn vax_floats() {
        for (longword, value) in
            [(0x0000_4080_u32, 1.0_f32), (0x0000_c080, -1.0), (0x0000_4160, 3.5), (0, 0.0)]
        {
            assert_eq!(Processor::Dec.f32(longword.to_le_bytes()), value);
            assert_eq!(Processor::Dec.f32_bytes(value), longword.to_le_bytes());
        }
        assert!(Processor::Dec.f32([0, 0x80, 0, 0]).is_nan());
    }

    #[test]
    fn numbers_come_back() {
        for processor in [Processor::Intel, Processor::Dec, Processor::Sgi] {
            for value in [0.0_f32, 1.5, -0.001_234, 50.0, 1234.567, -9.9e6, 1e-20] {
                assert_eq!(processor.f32(processor.f32_bytes(value)), value, "{processor:?}");
            }
            assert_eq!(processor.i16(processor.u16_bytes(0xfff0)), -16);
        }
    }
}
