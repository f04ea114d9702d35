//! The operations in plain Rust, for every processor.

use super::{LANES, LINE, Lanes};

/// Plain Rust.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Portable(());

/// Byte by byte, in a loop that compilers turn into vector instructions.
#[inline(always)]
fn bytes(a: [u32; LANES], b: [u32; LANES], f: impl Fn(u8, u8) -> u8) -> [u32; LANES] {
    let (mut a, b): ([u8; LINE], [u8; LINE]) = (bytemuck::cast(a), bytemuck::cast(b));
    for (a, b) in a.iter_mut().zip(b) {
        *a = f(*a, b);
    }
    bytemuck::cast(a)
}

/// 16 bits by 16 bits, likewise. The order of halves in a word does not matter.
#[inline(always)]
fn halves(a: [u32; LANES], b: [u32; LANES], f: impl Fn(u16, u16) -> u16) -> [u32; LANES] {
    let (mut a, b): ([u16; LINE / 2], [u16; LINE / 2]) = (bytemuck::cast(a), bytemuck::cast(b));
    for (a, b) in a.iter_mut().zip(b) {
        *a = f(*a, b);
    }
    bytemuck::cast(a)
}

impl Lanes for Portable {
    type Reg = [u32; LANES];

    #[inline(always)]
    unsafe fn assume() -> Self {
        Self(())
    }

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
    unsafe fn transpose(rows: [Self::Reg; LANES]) -> [Self::Reg; LANES] {
        std::array::from_fn(|word| std::array::from_fn(|row| rows[row][word]))
    }

    #[inline(always)]
    unsafe fn widen(a: Self::Reg) -> [Self::Reg; 2] {
        [
            halves(a, a, |a, _| (a & 0xff).wrapping_sub(128)),
            halves(a, a, |a, _| (a >> 8).wrapping_sub(128)),
        ]
    }

    #[inline(always)]
    unsafe fn mul_words(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        halves(a, b, u16::wrapping_mul)
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
        halves(a, b, |a, b| {
            // Each byte widened in place; b's keep their sign.
            let (a_low, a_high) = (a & 0xff, a >> 8);
            let (b_low, b_high) = ((b << 8) as i16 >> 8, b as i16 >> 8);
            a_low.wrapping_mul(b_low as u16).wrapping_add(a_high.wrapping_mul(b_high as u16))
        })
    }

    #[inline(always)]
    unsafe fn add_dot_words(sum: Self::Reg, a: Self::Reg, b: Self::Reg) -> Self::Reg {
        let mut sum = sum;
        for ((sum, a), b) in sum.iter_mut().zip(a).zip(b) {
            let (a_low, a_high) = (i32::from(a as i16), a as i32 >> 16);
            let (b_low, b_high) = (i32::from(b as i16), b as i32 >> 16);
            *sum = sum.wrapping_add((a_low * b_low).wrapping_add(a_high * b_high) as u32);
        }
        sum
    }

    #[inline(always)]
    unsafe fn add_dot_bytes(sum: Self::Reg, a: Self::Reg, b: Self::Reg) -> Self::Reg {
        // SAFETY: plain Rust needs nothing of the processor.
        unsafe { Self::add_dot_words(sum, Self::dot_bytes(a, b), [0x0001_0001; LANES]) }
    }

    #[inline(always)]
    unsafe fn add(a: Self::Reg, b: Self::Reg) -> Self::Reg {
        std::array::from_fn(|lane| a[lane].wrapping_add(b[lane]))
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
