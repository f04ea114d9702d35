//! The operations on x86-64.

use std::arch::x86_64::*;

use super::Lanes;

/// AVX2: a register of ours is two of the processor's.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Avx2;

/// AVX-512 F, BW, VL and VNNI.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Avx512;

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

impl Lanes for Avx2 {
    type Reg = (__m256i, __m256i);

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
        unsafe { _mm512_dpwssd_epi32(sum, a, b) }
    }

    #[inline(always)]
    unsafe fn le(a: Self::Reg, b: Self::Reg) -> u32 {
        // SAFETY: the caller vouches for the instructions.
        unsafe { u32::from(_mm512_cmple_epi32_mask(a, b)) }
    }
}
