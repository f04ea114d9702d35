//! Compound values on disk: magic, format number, length, checksum, then bincode.
//!
//! `magic[4] | format u16 | length u32 | checksum u64 | payload`, little-endian. The checksum is
//! the first eight bytes of the payload's blake3. The payload is bincode 2 (standard config) of
//! one frozen struct per format; decoding is limited and must consume every byte.

use serde::Serialize;
use serde::de::DeserializeOwned;

use super::Damage;
use crate::files::decode;

const HEAD: usize = 4 + 2 + 4 + 8;
/// No compound value comes near this; hostile lengths stop here.
const LIMIT: usize = 16 << 20;

/// First eight bytes of the blake3 of `bytes`.
pub(crate) fn checksum(bytes: &[u8]) -> u64 {
    let hash = blake3::hash(bytes);
    let mut first = [0; 8];
    first.copy_from_slice(&hash.as_bytes()[..8]);
    u64::from_le_bytes(first)
}

pub(crate) fn seal<T: Serialize>(
    magic: [u8; 4],
    format: u16,
    value: &T,
) -> Result<Vec<u8>, Damage> {
    seal_within(magic, format, value, LIMIT)
}

/// As [`seal`], with another limit.
pub(super) fn seal_within<T: Serialize>(
    magic: [u8; 4],
    format: u16,
    value: &T,
    limit: usize,
) -> Result<Vec<u8>, Damage> {
    let payload = bincode::serde::encode_to_vec(value, bincode::config::standard())
        .map_err(|error| Damage::Payload(error.to_string()))?;
    if payload.len() > limit {
        return Err(Damage::Length { found: payload.len(), expected: limit });
    }
    let mut bytes = Vec::with_capacity(HEAD + payload.len());
    bytes.extend_from_slice(&magic);
    bytes.extend_from_slice(&format.to_le_bytes());
    // Below the limit, so it fits.
    bytes.extend_from_slice(&(payload.len() as u32).to_le_bytes());
    bytes.extend_from_slice(&checksum(&payload).to_le_bytes());
    bytes.extend_from_slice(&payload);
    Ok(bytes)
}

/// The format number and payload of a sealed value whose format is at most `known`.
fn open(magic: [u8; 4], known: u16, bytes: &[u8], limit: usize) -> Result<(u16, &[u8]), Damage> {
    let Some((head, payload)) = bytes.split_first_chunk::<HEAD>() else {
        return Err(Damage::Short { found: bytes.len(), least: HEAD });
    };
    let found = [head[0], head[1], head[2], head[3]];
    if found != magic {
        return Err(Damage::Magic { found, expected: magic });
    }
    let format = u16::from_le_bytes([head[4], head[5]]);
    if format == 0 || format > known {
        return Err(Damage::Format { found: format, known });
    }
    let length = u32::from_le_bytes([head[6], head[7], head[8], head[9]]) as usize;
    if payload.len() != length || length > limit {
        return Err(Damage::Length { found: payload.len(), expected: length.min(LIMIT) });
    }
    let mut sum = [0; 8];
    sum.copy_from_slice(&head[10..]);
    let (expected, found) = (u64::from_le_bytes(sum), checksum(payload));
    if found != expected {
        return Err(Damage::Checksum { found, expected });
    }
    Ok((format, payload))
}

/// Decodes a value sealed with exactly `format`, the only one there is so far.
pub(crate) fn unseal<T: DeserializeOwned>(
    magic: [u8; 4],
    format: u16,
    bytes: &[u8],
) -> Result<T, Damage> {
    unseal_within::<T, LIMIT>(magic, format, bytes)
}

/// As [`unseal`], with another limit.
pub(super) fn unseal_within<T: DeserializeOwned, const WITHIN: usize>(
    magic: [u8; 4],
    format: u16,
    bytes: &[u8],
) -> Result<T, Damage> {
    let (found, payload) = open(magic, format, bytes, WITHIN)?;
    if found != format {
        return Err(Damage::Format { found, known: format });
    }
    let (value, used) =
        decode::<T, WITHIN>(payload).map_err(|error| Damage::Payload(error.to_string()))?;
    if used != payload.len() {
        return Err(Damage::Length { found: payload.len(), expected: used });
    }
    Ok(value)
}

/// Raw little-endian bytes of `values`.
pub(crate) fn raw_f32(values: &[f32]) -> Vec<u8> {
    values.iter().flat_map(|value| value.to_le_bytes()).collect()
}

/// Raw little-endian bytes of `values`.
pub(crate) fn raw_f64(values: &[f64]) -> Vec<u8> {
    values.iter().flat_map(|value| value.to_le_bytes()).collect()
}

/// Checks length and checksum, then reads little-endian `f32`s.
pub(crate) fn read_f32(bytes: &[u8], count: usize, sum: i64) -> Result<Vec<f32>, Damage> {
    let chunks = checked::<4>(bytes, count, sum)?;
    Ok(chunks.iter().map(|chunk| f32::from_le_bytes(*chunk)).collect())
}

/// Checks length and checksum, then reads little-endian `f64`s.
pub(crate) fn read_f64(bytes: &[u8], count: usize, sum: i64) -> Result<Vec<f64>, Damage> {
    let chunks = checked::<8>(bytes, count, sum)?;
    Ok(chunks.iter().map(|chunk| f64::from_le_bytes(*chunk)).collect())
}

fn checked<const WIDTH: usize>(
    bytes: &[u8],
    count: usize,
    sum: i64,
) -> Result<&[[u8; WIDTH]], Damage> {
    let expected = count.saturating_mul(WIDTH);
    if bytes.len() != expected {
        return Err(Damage::Length { found: bytes.len(), expected });
    }
    let (found, expected) = (checksum(bytes), sum.cast_unsigned());
    if found != expected {
        return Err(Damage::Checksum { found, expected });
    }
    Ok(bytes.as_chunks().0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MAGIC: [u8; 4] = *b"Test";

    #[test]
    fn a_sealed_value_comes_back_and_every_flipped_bit_is_noticed() {
        let value = (7u32, "late toss".to_owned(), vec![1.5f64, -2.0]);
        let bytes = seal(MAGIC, 1, &value).unwrap();
        assert_eq!(unseal::<(u32, String, Vec<f64>)>(MAGIC, 1, &bytes).unwrap(), value);
        for at in 0..bytes.len() {
            for bit in 0..8 {
                let mut bad = bytes.clone();
                bad[at] ^= 1 << bit;
                assert!(
                    unseal::<(u32, String, Vec<f64>)>(MAGIC, 1, &bad).is_err(),
                    "byte {at} bit {bit}"
                );
            }
        }
        for length in 0..bytes.len() {
            assert!(unseal::<(u32, String, Vec<f64>)>(MAGIC, 1, &bytes[..length]).is_err());
        }
    }

    #[test]
    fn a_newer_format_names_both_numbers() {
        let bytes = seal(MAGIC, 3, &1u8).unwrap();
        let error = unseal::<u8>(MAGIC, 2, &bytes).unwrap_err();
        assert_eq!(error.to_string(), "format 3, this program reads formats up to 2");
    }

    #[test]
    fn a_hostile_length_inside_the_payload_is_an_error_and_no_abort() {
        // bincode standard: 253 = u64 follows; a vector of 2^60 elements.
        let mut payload = vec![253];
        payload.extend_from_slice(&(1u64 << 60).to_le_bytes());
        let mut bytes = MAGIC.to_vec();
        bytes.extend_from_slice(&1u16.to_le_bytes());
        bytes.extend_from_slice(&(payload.len() as u32).to_le_bytes());
        bytes.extend_from_slice(&checksum(&payload).to_le_bytes());
        bytes.extend_from_slice(&payload);
        assert!(matches!(unseal::<Vec<u64>>(MAGIC, 1, &bytes), Err(Damage::Payload(_))));
        assert!(matches!(unseal::<String>(MAGIC, 1, &bytes), Err(Damage::Payload(_))));
    }

    #[test]
    fn bytes_left_over_are_an_error() {
        let bytes = seal(MAGIC, 1, &(1u8, 2u8)).unwrap();
        assert_eq!(
            unseal::<u8>(MAGIC, 1, &bytes).unwrap_err(),
            Damage::Length { found: 2, expected: 1 }
        );
    }

    #[test]
    fn raw_floats_round_trip_and_are_little_endian() {
        let bytes = raw_f32(&[1.0, -0.5]);
        assert_eq!(bytes, [0, 0, 0x80, 0x3f, 0, 0, 0, 0xbf]);
        let sum = checksum(&bytes).cast_signed();
        assert_eq!(read_f32(&bytes, 2, sum).unwrap(), [1.0, -0.5]);
        assert!(matches!(read_f32(&bytes, 3, sum), Err(Damage::Length { .. })));
        assert!(matches!(read_f32(&bytes, 2, sum + 1), Err(Damage::Checksum { .. })));
        let bytes = raw_f64(&[1.0]);
        let sum = checksum(&bytes).cast_signed();
        assert_eq!(read_f64(&bytes, 1, sum).unwrap(), [1.0]);
    }
}
