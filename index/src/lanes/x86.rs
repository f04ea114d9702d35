//! The operations on x86-64.

use std::arch::asm;
use std::arch::x86_64::*;

use super::{LANES, Lanes};

/// AVX2: a register of ours is two of the processor's.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Avx2(());

/// AVX-512 F, BW, VL and VNNI.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Avx512(());

macro_rules! avx2_pair {
    ($name:ident, $op:ident) => {
        #[inline(always)]
        unsafe fn $name(a: Self::Reg, b: Self::Reg) -> Self::Reg {
            // SAFETY: the caller vouches for the instructions.
            unsafe { ($op(a.0, b.0), $op(a.1, b.1)) }
        }
    };
}

macro_rules! avx512_pair {
    ($name:ident, $op:ident) => {
        #[inline(always)]
        unsafe fn $name(a: Self::Reg, b: Self::Reg) -> Self::Reg {
            // SAFETY: the caller vouches for the instructions.
            unsafe { $op(a, b) }
        }
    };
}

/// Eight rows of eight words turned.
///
/// # Safety
/// The processor has AVX2.
#[inline(always)]
unsafe fn transpose_8(rows: [__m256i; 8]) -> [__m256i; 8] {
    // SAFETY: the caller vouches for the instructions.
    unsafe {
        let mut words = rows;
        for at in [0, 4] {
            let [a, b, c, d] = [rows[at], rows[at + 1], rows[at + 2], rows[at + 3]];
            let (ab, ab_high) = (_mm256_unpacklo_epi32(a, b), _mm256_unpackhi_epi32(a, b));
            let (cd, cd_high) = (_mm256_unpacklo_epi32(c, d), _mm256_unpackhi_epi32(c, d));
            words[at] = _mm256_unpacklo_epi64(ab, cd);
            words[at + 1] = _mm256_unpackhi_epi64(ab, cd);
            words[at + 2] = _mm256_unpacklo_epi64(ab_high, cd_high);
            words[at + 3] = _mm256_unpackhi_epi64(ab_high, cd_high);
        }
        let mut columns = rows;
        for word in 0..4 {
            let (a, b) = (words[word], words[4 + word]);
            columns[word] = _mm256_permute2x128_si256::<0x20>(a, b);
            columns[4 + word] = _mm256_permute2x128_si256::<0x31>(a, b);
        }
        columns
    }
}

impl Lanes for Avx2 {
    type Reg = (__m256i, __m256i);

    #[inline(always)]
    unsafe fn assume() -> Self {
        Self(())
    }

    #[inline(always)]
    unsafe fn load(from: *const u8) -> Self::Reg {
        // SAFETY: the caller has 64 bytes there and vouches for the instructions.
        unsafe { (_mm256_loadu_si256(from.cast()), _mm256_loadu_si256(from.add(32).cast())) }
    }

    #[inline(always)]
    unsafe fn store(reg: Self::Reg, to: *mut u8) {
        // SAFETY: as for `load`.
        unsafe {
            _mm256_storeu_si256(to.cast(), reg.0);
            _mm256_storeu_si256(to.add(32).cast(), reg.1);
        }
    }

    #[inline(always)]
    unsafe fn splat(bits: u32) -> Self::Reg {
        // SAFETY: the caller vouches for the instructions.
        unsafe {
            let half = _mm256_set1_epi32(bits as i32);
            (half, half)
        }
    }

    #[inline(always)]
    unsafe fn transpose(rows: [Self::Reg; LANES]) -> [Self::Reg; LANES] {
        // SAFETY: the caller vouches for the instructions.
        unsafe {
            let mut out = rows;
            for row in [0, 8] {
                let mut halves = [[rows[row].0; 8]; 2];
                for at in 0..8 {
                    (halves[0][at], halves[1][at]) = (rows[row + at].0, rows[row + at].1);
                }
                let (low, high) = (transpose_8(halves[0]), transpose_8(halves[1]));
                for at in 0..8 {
                    if row == 0 {
                        (out[at].0, out[8 + at].0) = (low[at], high[at]);
                    } else {
                        (out[at].1, out[8 + at].1) = (low[at], high[at]);
                    }
                }
            }
            out
        }
    }

    #[inline(always)]
    unsafe fn widen(a: Self::Reg) -> [Self::Reg; 2] {
        // SAFETY: the caller vouches for the instructions.
        unsafe {
            let (low, middle) = (_mm256_set1_epi16(0xff), _mm256_set1_epi16(128));
            let even = (_mm256_and_si256(a.0, low), _mm256_and_si256(a.1, low));
            let odd = (_mm256_srli_epi16::<8>(a.0), _mm256_srli_epi16::<8>(a.1));
            [
                (_mm256_sub_epi16(even.0, middle), _mm256_sub_epi16(even.1, middle)),
                (_mm256_sub_epi16(odd.0, middle), _mm256_sub_epi16(odd.1, middle)),
            ]
        }
    }

    avx2_pair!(mul_words, _mm256_mullo_epi16);
    avx2_pair!(or, _mm256_or_si256);
    avx2_pair!(sub_bytes, _mm256_subs_epu8);
    avx2_pair!(min_bytes, _mm256_min_epu8);
    avx2_pair!(max_bytes, _mm256_max_epu8);
    avx2_pair!(dot_bytes, _mm256_maddubs_epi16);
    avx2_pair!(add, _mm256_add_epi32);
    avx2_pair!(min, _mm256_min_epi32);

    #[inline(always)]
    unsafe fn add_dot_words(sum: Self::Reg, a: Self::Reg, b: Self::Reg) -> Self::Reg {
        // SAFETY: the caller vouches for the instructions.
        unsafe {
            (
                _mm256_add_epi32(sum.0, _mm256_madd_epi16(a.0, b.0)),
                _mm256_add_epi32(sum.1, _mm256_madd_epi16(a.1, b.1)),
            )
        }
    }

    #[inline(always)]
    unsafe fn add_dot_bytes(sum: Self::Reg, a: Self::Reg, b: Self::Reg) -> Self::Reg {
        // SAFETY: the caller vouches for the instructions.
        unsafe {
            let ones = _mm256_set1_epi16(1);
            let dot = |a, b| _mm256_madd_epi16(_mm256_maddubs_epi16(a, b), ones);
            (_mm256_add_epi32(sum.0, dot(a.0, b.0)), _mm256_add_epi32(sum.1, dot(a.1, b.1)))
        }
    }

    #[inline(always)]
    unsafe fn le(a: Self::Reg, b: Self::Reg) -> u32 {
        // SAFETY: the caller vouches for the instructions.
        unsafe {
            let above = |a, b| _mm256_movemask_ps(_mm256_castsi256_ps(_mm256_cmpgt_epi32(a, b)));
            let mask = (above(a.0, b.0) as u32 & 0xff) | (above(a.1, b.1) as u32 & 0xff) << 8;
            !mask & 0xffff
        }
    }
}

impl Lanes for Avx512 {
    type Reg = __m512i;

    #[inline(always)]
    unsafe fn assume() -> Self {
        Self(())
    }

    #[inline(always)]
    unsafe fn load(from: *const u8) -> Self::Reg {
        // SAFETY: the caller has 64 bytes there and vouches for the instructions.
        unsafe { _mm512_loadu_si512(from.cast()) }
    }

    #[inline(always)]
    unsafe fn store(reg: Self::Reg, to: *mut u8) {
        // SAFETY: as for `load`.
        unsafe { _mm512_storeu_si512(to.cast(), reg) }
    }

    #[inline(always)]
    unsafe fn splat(bits: u32) -> Self::Reg {
        // SAFETY: the caller vouches for the instructions.
        unsafe { _mm512_set1_epi32(bits as i32) }
    }

    #[inline(always)]
    unsafe fn transpose(rows: [Self::Reg; LANES]) -> [Self::Reg; LANES] {
        // SAFETY: the caller vouches for the instructions.
        unsafe {
            let mut words = rows;
            // Within quarters of four words: pairs, then fours of rows.
            for four in 0..4 {
                let at = 4 * four;
                let [a, b, c, d] = [rows[at], rows[at + 1], rows[at + 2], rows[at + 3]];
                let (ab, ab_high) = (_mm512_unpacklo_epi32(a, b), _mm512_unpackhi_epi32(a, b));
                let (cd, cd_high) = (_mm512_unpacklo_epi32(c, d), _mm512_unpackhi_epi32(c, d));
                words[at] = _mm512_unpacklo_epi64(ab, cd);
                words[at + 1] = _mm512_unpackhi_epi64(ab, cd);
                words[at + 2] = _mm512_unpacklo_epi64(ab_high, cd_high);
                words[at + 3] = _mm512_unpackhi_epi64(ab_high, cd_high);
            }
            // Then the quarters themselves: words[4 r + w] holds word w of each quarter of rows 4 r ...
            let mut columns = rows;
            for word in 0..4 {
                let [a, b, c, d] =
                    [words[word], words[4 + word], words[8 + word], words[12 + word]];
                let low = _mm512_shuffle_i32x4::<0b01_00_01_00>(a, b);
                let high = _mm512_shuffle_i32x4::<0b11_10_11_10>(a, b);
                let low_2 = _mm512_shuffle_i32x4::<0b01_00_01_00>(c, d);
                let high_2 = _mm512_shuffle_i32x4::<0b11_10_11_10>(c, d);
                columns[word] = _mm512_shuffle_i32x4::<0b10_00_10_00>(low, low_2);
                columns[4 + word] = _mm512_shuffle_i32x4::<0b11_01_11_01>(low, low_2);
                columns[8 + word] = _mm512_shuffle_i32x4::<0b10_00_10_00>(high, high_2);
                columns[12 + word] = _mm512_shuffle_i32x4::<0b11_01_11_01>(high, high_2);
            }
            columns
        }
    }

    #[inline(always)]
    unsafe fn widen(a: Self::Reg) -> [Self::Reg; 2] {
        // SAFETY: the caller vouches for the instructions.
        unsafe {
            let (low, middle) = (_mm512_set1_epi16(0xff), _mm512_set1_epi16(128));
            [
                _mm512_sub_epi16(_mm512_and_si512(a, low), middle),
                _mm512_sub_epi16(_mm512_srli_epi16::<8>(a), middle),
            ]
        }
    }

    avx512_pair!(mul_words, _mm512_mullo_epi16);
    avx512_pair!(or, _mm512_or_si512);
    avx512_pair!(sub_bytes, _mm512_subs_epu8);
    avx512_pair!(min_bytes, _mm512_min_epu8);
    avx512_pair!(max_bytes, _mm512_max_epu8);
    avx512_pair!(dot_bytes, _mm512_maddubs_epi16);
    avx512_pair!(add, _mm512_add_epi32);
    avx512_pair!(min, _mm512_min_epi32);

    #[inline(always)]
    unsafe fn add_dot_words(sum: Self::Reg, a: Self::Reg, b: Self::Reg) -> Self::Reg {
        // SAFETY: the caller vouches for the instructions.
        unsafe { dot_words_512(sum, a, b) }
    }

    #[inline(always)]
    unsafe fn add_dot_bytes(sum: Self::Reg, a: Self::Reg, b: Self::Reg) -> Self::Reg {
        // SAFETY: the caller vouches for the instructions.
        unsafe { dot_bytes_512(sum, a, b) }
    }

    #[inline(always)]
    unsafe fn le(a: Self::Reg, b: Self::Reg) -> u32 {
        // SAFETY: the caller vouches for the instructions.
        unsafe { u32::from(_mm512_cmple_epi32_mask(a, b)) }
    }
}

/// `$instruction` (`$intrinsic`): the compiler would make two instructions of it, to shorten chains of sums; but
/// what is short here is room for instructions.
macro_rules! dot_512 {
    ($name:ident, $intrinsic:literal, $instruction:literal) => {
        #[doc = concat!("`", $intrinsic, "`, left whole: see the macro.")]
        #[inline]
        #[target_feature(enable = "avx512f,avx512bw,avx512vl,avx512vnni")]
        fn $name(mut sum: __m512i, a: __m512i, b: __m512i) -> __m512i {
            // SAFETY: the function has the instruction, which touches nothing but these registers.
            unsafe {
                asm!(
                    concat!($instruction, " {sum}, {a}, {b}"),
                    sum = inout(zmm_reg) sum,
                    a = in(zmm_reg) a,
                    b = in(zmm_reg) b,
                    options(pure, nomem, nostack, preserves_flags)
                );
            }
            sum
        }
    };
}
dot_512!(dot_words_512, "_mm512_dpwssd_epi32", "vpdpwssd");
dot_512!(dot_bytes_512, "_mm512_dpbusd_epi32", "vpdpbusd");
