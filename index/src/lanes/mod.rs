//! Sixteen curves side by side: the vector operations the bounds are made of.
//!
//! Everything here is integer arithmetic, so the portable, AVX2 and AVX-512 versions agree bit by
//! bit by construction. A register holds 16 lanes of 32 bits; a lane is seen as four bytes, two
//! 16-bit numbers or one 32-bit number as the operation asks.

mod portable;
#[cfg(target_arch = "x86_64")]
mod x86;

pub(crate) use portable::Portable;
#[cfg(target_arch = "x86_64")]
pub(crate) use x86::{Avx2, Avx512};

/// Lanes in a register.
pub(crate) const LANES: usize = 16;
/// Bytes in a register.
pub(crate) const LINE: usize = 64;

/// The operations; see the module's head.
///
/// A value of an implementation is the proof that the processor has its instructions: who takes one by value
/// is safe to call. Elsewhere the compiler would not hinder anybody from asking for them in vain.
///
/// # Safety
/// Every method may be called only on a processor that has the instructions of the implementation,
/// and is meant to be inlined into a function compiled for them. `load` and `store` need 64 bytes.
pub(crate) trait Lanes: Copy {
    /// One register.
    type Reg: Copy;
    /// The proof, from whoever knows: [`at_level`].
    unsafe fn assume() -> Self;
    unsafe fn load(from: *const u8) -> Self::Reg;
    unsafe fn store(reg: Self::Reg, to: *mut u8);
    /// The same 32 bits in every lane.
    unsafe fn splat(bits: u32) -> Self::Reg;
    unsafe fn or(a: Self::Reg, b: Self::Reg) -> Self::Reg;
    /// 16 rows of 16 words become 16 columns: word r of register w is word w of row r.
    unsafe fn transpose(rows: [Self::Reg; LANES]) -> [Self::Reg; LANES];
    /// Even (0 and 2) and odd (1 and 3) bytes as 16-bit numbers, 128 taken off.
    unsafe fn widen(a: Self::Reg) -> [Self::Reg; 2];
    /// 16 bits: the low half of the product.
    unsafe fn mul_words(a: Self::Reg, b: Self::Reg) -> Self::Reg;
    /// Bytes, unsigned: a - b, at least 0.
    unsafe fn sub_bytes(a: Self::Reg, b: Self::Reg) -> Self::Reg;
    /// Bytes, unsigned: the smaller.
    unsafe fn min_bytes(a: Self::Reg, b: Self::Reg) -> Self::Reg;
    /// Bytes, unsigned: the larger.
    unsafe fn max_bytes(a: Self::Reg, b: Self::Reg) -> Self::Reg;
    /// Neighbouring bytes: a0 * b0 + a1 * b1 as 16 bits, a unsigned, b signed, no overflow by the
    /// caller's care.
    unsafe fn dot_bytes(a: Self::Reg, b: Self::Reg) -> Self::Reg;
    /// sum + neighbouring 16-bit numbers a0 * b0 + a1 * b1, signed, no overflow by the caller's care.
    unsafe fn add_dot_words(sum: Self::Reg, a: Self::Reg, b: Self::Reg) -> Self::Reg;
    /// sum + four neighbouring bytes a0 * b0 + .. + a3 * b3, a unsigned, b signed; neighbours' sums fit 16
    /// bits by the caller's care.
    unsafe fn add_dot_bytes(sum: Self::Reg, a: Self::Reg, b: Self::Reg) -> Self::Reg;
    unsafe fn add(a: Self::Reg, b: Self::Reg) -> Self::Reg;
    /// 32 bits, signed: the smaller.
    unsafe fn min(a: Self::Reg, b: Self::Reg) -> Self::Reg;
    /// Bit l is set where lane l of a (signed) is <= that of b.
    unsafe fn le(a: Self::Reg, b: Self::Reg) -> u32;
}

/// Instructions that this processor has; made here alone, where that was found out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Level(Kind);

/// Names of instructions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Portable,
    #[cfg(target_arch = "x86_64")]
    Avx2,
    #[cfg(target_arch = "x86_64")]
    Avx512,
}

impl Level {
    /// What every processor has.
    #[cfg(test)]
    pub(crate) const PORTABLE: Self = Self(Kind::Portable);

    pub(crate) fn kind(self) -> Kind {
        self.0
    }

    /// The best this processor has. The environment variable `CURVE_INDEX_LANES` (`portable`,
    /// `avx2`) lowers it, to compare.
    pub(crate) fn best() -> Self {
        static BEST: std::sync::OnceLock<Level> = std::sync::OnceLock::new();
        *BEST.get_or_init(|| {
            let wish = std::env::var("CURVE_INDEX_LANES").unwrap_or_default();
            let all = Self::all();
            let most = match wish.as_str() {
                "portable" => 0,
                "avx2" => 1,
                _ => 2,
            };
            all[most.min(all.len() - 1)]
        })
    }

    /// Every level this processor has, lowest first.
    pub(crate) fn all() -> Vec<Self> {
        #[allow(unused_mut)]
        let mut all = vec![Self(Kind::Portable)];
        #[cfg(target_arch = "x86_64")]
        if std::arch::is_x86_feature_detected!("avx2") {
            all.push(Self(Kind::Avx2));
            if std::arch::is_x86_feature_detected!("avx512f")
                && std::arch::is_x86_feature_detected!("avx512bw")
                && std::arch::is_x86_feature_detected!("avx512vl")
                && std::arch::is_x86_feature_detected!("avx512vnni")
            {
                all.push(Self(Kind::Avx512));
            }
        }
        all
    }
}

/// Has bytes that will be needed soon brought near the processor; a hint, which changes nothing else.
#[inline(always)]
pub(crate) fn prefetch(bytes: &[u8]) {
    #[cfg(target_arch = "x86_64")]
    for line in bytes.chunks(LINE) {
        use std::arch::x86_64::{_MM_HINT_T1, _mm_prefetch};
        // SAFETY: every x86-64 has it, and it may be given any address.
        unsafe { _mm_prefetch::<_MM_HINT_T1>(line.as_ptr().cast()) };
    }
    #[cfg(not(target_arch = "x86_64"))]
    let _ = bytes;
}

/// [`prefetch`] of the cache line at an address, which may be any.
#[inline(always)]
pub(crate) fn prefetch_line(at: *const u8) {
    #[cfg(target_arch = "x86_64")]
    // SAFETY: as in `prefetch`.
    unsafe {
        use std::arch::x86_64::{_MM_HINT_T1, _mm_prefetch};
        _mm_prefetch::<_MM_HINT_T1>(at.cast());
    }
    #[cfg(not(target_arch = "x86_64"))]
    let _ = at;
}

/// Makes `$name`, which runs the generic `$body` compiled for the level asked for.
macro_rules! at_level {
    ($(#[$doc:meta])* fn $name:ident = $body:ident($($arg:ident: $type:ty),* $(,)?) $(-> $out:ty)?) => {
        $(#[$doc])*
        #[allow(clippy::too_many_arguments)]
        pub(crate) fn $name(level: $crate::lanes::Level, $($arg: $type),*) $(-> $out)? {
            // Kept apart, so that each has the registers to itself.
            #[cfg(target_arch = "x86_64")]
            #[target_feature(enable = "avx2")]
            #[inline(never)]
            fn avx2($($arg: $type),*) $(-> $out)? {
                // SAFETY: called where `level` says so.
                let lanes = unsafe { <$crate::lanes::Avx2 as $crate::lanes::Lanes>::assume() };
                $body(lanes, $($arg),*)
            }
            #[cfg(target_arch = "x86_64")]
            #[target_feature(enable = "avx512f,avx512bw,avx512vl,avx512vnni")]
            #[inline(never)]
            fn avx512($($arg: $type),*) $(-> $out)? {
                // SAFETY: called where `level` says so.
                let lanes = unsafe { <$crate::lanes::Avx512 as $crate::lanes::Lanes>::assume() };
                $body(lanes, $($arg),*)
            }
            match level.kind() {
                $crate::lanes::Kind::Portable => {
                    // SAFETY: it needs no instructions that are not everywhere.
                    let lanes =
                        unsafe { <$crate::lanes::Portable as $crate::lanes::Lanes>::assume() };
                    $body(lanes, $($arg),*)
                }
                // SAFETY: a level is only ever made where the processor has its instructions.
                #[cfg(target_arch = "x86_64")]
                $crate::lanes::Kind::Avx2 => unsafe { avx2($($arg),*) },
                // SAFETY: as above.
                #[cfg(target_arch = "x86_64")]
                $crate::lanes::Kind::Avx512 => unsafe { avx512($($arg),*) },
            }
        }
    };
}
pub(crate) use at_level;

#[cfg(test)]
mod tests {
    use super::*;

    type Bytes = [u8; LINE];

    #[inline(always)]
    fn each_body<L: Lanes>(_: L, a: &Bytes, b: &Bytes, c: &Bytes, out: &mut Vec<Bytes>) {
        // SAFETY: registers are 64 bytes; `L` is what `at_level` compiled for.
        unsafe {
            let [a, b, c] = [L::load(a.as_ptr()), L::load(b.as_ptr()), L::load(c.as_ptr())];
            // Small enough for what callers take care of.
            let small = L::sub_bytes(b, L::splat(0xc0c0_c0c0));
            let [even, odd] = L::widen(a);
            let made = [
                L::or(a, b),
                even,
                odd,
                L::mul_words(a, b),
                L::sub_bytes(a, b),
                L::min_bytes(a, b),
                L::max_bytes(a, b),
                L::dot_bytes(a, L::sub_bytes(small, L::splat(0x2020_2020))),
                L::dot_bytes(small, a),
                L::add_dot_words(c, even, odd),
                L::add_dot_bytes(c, small, a),
                L::add(a, b),
                L::min(a, b),
                L::splat(L::le(a, b)),
                L::splat(L::le(a, a)),
            ];
            let rows = std::array::from_fn(|row| made[row % made.len()]);
            for reg in made.into_iter().chain(L::transpose(rows)) {
                let mut bytes = [0; LINE];
                L::store(reg, bytes.as_mut_ptr());
                out.push(bytes);
            }
        }
    }

    at_level! {
        /// Every operation once.
        fn each = each_body(a: &Bytes, b: &Bytes, c: &Bytes, out: &mut Vec<Bytes>)
    }

    #[test]
    fn all_levels_agree_on_every_operation() {
        use rand::{Rng, SeedableRng};
        let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(9);
        let edges = [0, 1, 0x7f, 0x80, 0xfe, 0xff];
        let mut bytes = || -> Bytes {
            std::array::from_fn(|_| match rng.r#gen::<bool>() {
                true => edges[rng.gen_range(0..edges.len())],
                false => rng.r#gen(),
            })
        };
        for round in 0..2000 {
            let [a, b, c] = [bytes(), bytes(), bytes()];
            let mut want = Vec::new();
            each(Level::PORTABLE, &a, &b, &c, &mut want);
            for level in Level::all() {
                let mut got = Vec::new();
                each(level, &a, &b, &c, &mut got);
                let differs = want.iter().zip(&got).position(|(want, got)| want != got);
                assert_eq!(differs, None, "round {round}, {level:?}: {a:?} {b:?} {c:?}");
            }
        }
    }
}
