//! The operations in plain Rust, for every processor.

use super::{LANES, LINE, Lanes};

/// Plain Rust.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Portable;

fn bytes(a: [u32; LANES], b: [u32; LANES], f: impl Fn(u8, u8) -> u8) -> [u32; LANES] {
    std::array::from_fn(|lane| {
        let (a, b) = (a[lane].to_le_bytes(), b[lane].to_le_bytes());
        u32::from_le_bytes(std::array::from_fn(|byte| f(a[byte], b[byte])))
    })
}

impl Lanes for Portable {
    type Reg = [u32; LANES];

    #[inline(always)]
    unsafe fn load(from: *const u8) -> Self::Reg {
        // SAFETY: the caller has 64 bytes there.
        let bytes = unsafe { from.cast::<[u8; LINE]>().read_unaligned() };
        bytemuck::cast(bytes)
    }

    #[inline(always)]
    unsafe fn store(reg: Self::Reg, to: *mut u8) {
        // SAFETY: the caller has 64 bytes there.
        unsafe { to.cast::<[u8; LINE]>().write_unaligned(bytemuck::cast(reg)) }
    }

    #[inline(always)]
    unsafe fn splat(bits: u32) -> Self::Reg {
        [bits; LANES]
    }

    #[inline(always)]
    unsafe fn or(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        std::array::from_fn(|lane| a[lane] | b[lane])
    }

    #[inline(always)]
    unsafe fn and(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        std::array::from_fn(|lane| a[lane] & b[lane])
    }

    #[inline(always)]
    unsafe fn transpose(rows: [Self::Reg; LANES]) -> [Self::Reg; LANES] {
        std::array::from_fn(|word| std::array::from_fn(|row| rows[row][word]))
    }

    #[inline(always)]
    unsafe fn widen(a: Self::Reg) -> [Self::Reg; 2] {
        std::array::from_fn(|odd| {
            std::array::from_fn(|lane| {
                let bytes = a[lane].to_le_bytes();
                let half = |byte: usize| u32::from((i16::from(bytes[byte]) - 128) as u16);
                half(odd) | half(odd + 2) << 16
            })
        })
    }

    #[inline(always)]
    unsafe fn mul_words(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        std::array::from_fn(|lane| {
            let half = |shift: u32| {
                let (a, b) = ((a[lane] >> shift) as u16, (b[lane] >> shift) as u16);
                u32::from(a.wrapping_mul(b)) << shift
            };
            half(0) | half(16)
        })
    }

    #[inline(always)]
    unsafe fn sub_bytes(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        bytes(a, b, u8::saturating_sub)
    }

    #[inline(always)]
    unsafe fn min_bytes(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        bytes(a, b, u8::min)
    }

    #[inline(always)]
    unsafe fn max_bytes(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        bytes(a, b, u8::max)
    }

    #[inline(always)]
    unsafe fn dot_bytes(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        std::array::from_fn(|lane| {
            let (a, b) = (a[lane].to_le_bytes(), b[lane].to_le_bytes());
            let product = |byte: usize| i32::from(a[byte]) * i32::from(b[byte] as i8);
            let word = |at: usize| (product(at) + product(at + 1)) as u16;
            u32::from(word(0)) | u32::from(word(2)) << 16
        })
    }

    #[inline(always)]
    unsafe fn add_dot_words(sum: Self::Reg, a: Self::Reg, b: Self::Reg) -> Self::Reg {
        std::array::from_fn(|lane| {
            let word = |bits: u32, half: u32| i32::from((bits >> (16 * half)) as u16 as i16);
            let dot = word(a[lane], 0) * word(b[lane], 0) + word(a[lane], 1) * word(b[lane], 1);
            sum[lane].wrapping_add(dot as u32)
        })
    }

    #[inline(always)]
    unsafe fn add_dot_bytes(sum: Self::Reg, a: Self::Reg, b: Self::Reg) -> Self::Reg {
        std::array::from_fn(|lane| {
            let (a, b) = (a[lane].to_le_bytes(), b[lane].to_le_bytes());
            let products = a.iter().zip(b).map(|(&a, b)| i32::from(a) * i32::from(b as i8));
            sum[lane].wrapping_add(products.sum::<i32>() as u32)
        })
    }

    #[inline(always)]
    unsafe fn add(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        std::array::from_fn(|lane| a[lane].wrapping_add(b[lane]))
    }

    #[inline(always)]
    unsafe fn sub(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        std::array::from_fn(|lane| a[lane].wrapping_sub(b[lane]))
    }

    #[inline(always)]
    unsafe fn min(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        std::array::from_fn(|lane| (a[lane] as i32).min(b[lane] as i32) as u32)
    }

    #[inline(always)]
    unsafe fn le(a: Self::Reg, b: Self::Reg) -> u32 {
        (0..LANES).fold(0, |mask, lane| mask | u32::from(a[lane] as i32 <= b[lane] as i32) << lane)
    }
}
