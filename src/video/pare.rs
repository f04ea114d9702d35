//! A network without the steps that lead only to outputs nobody reads.
//!
//! The runtime works every step of a network through, whoever wants its end: in the `full` landmark
//! network the picture that cuts the figure out, which this program does not read, takes a third of the
//! time. What is left is computed by the same steps from the same weights, so it stays the same bit for
//! bit.
//!
//! A network's file is a table of tables, each field by its number (public schema of the .tflite format,
//! version 3; layout by the FlatBuffers format): the two lists of interest are shortened where they lie
//! and nothing else is touched.

use super::model::ModelError;

/// Numbers of the fields that are followed.
const MODEL_SUBGRAPHS: usize = 2;
const SUBGRAPH_OUTPUTS: usize = 2;
const SUBGRAPH_OPERATORS: usize = 3;
const OPERATOR_INPUTS: usize = 1;
const OPERATOR_OUTPUTS: usize = 2;

/// Takes the outputs that are not `wanted` out of a network, with every step that leads to none of the
/// others; the outputs left keep their order.
///
/// # Errors
/// If `file` is no network of one graph with so many outputs; it may be changed in part then.
pub(super) fn pare(file: &mut [u8], wanted: &[bool]) -> Result<(), ModelError> {
    let refused = |what: &str| ModelError { what: format!("not a network as expected: {what}") };
    let broken = || refused("it points outside itself");
    let model = follow(file, 0).ok_or_else(broken)?;
    let graphs = field(file, model, MODEL_SUBGRAPHS).ok_or_else(broken)?;
    if word(file, graphs) != Some(1) {
        return Err(refused("more than one graph, or none"));
    }
    let graph = follow(file, graphs + 4).ok_or_else(broken)?;
    let outputs = field(file, graph, SUBGRAPH_OUTPUTS).ok_or_else(broken)?;
    let operators = field(file, graph, SUBGRAPH_OPERATORS).ok_or_else(broken)?;

    let tensors = numbers(file, outputs).ok_or_else(broken)?;
    if tensors.len() != wanted.len() {
        let what = format!("{} outputs expected, found {}", wanted.len(), tensors.len());
        return Err(refused(&what));
    }
    let kept: Vec<u32> =
        tensors.iter().zip(wanted).filter(|(_, wanted)| **wanted).map(|(t, _)| *t).collect();
    let steps = steps(file, operators).ok_or_else(broken)?;
    let mut needed: Vec<u32> = kept.clone();
    let mut left = Vec::new();
    // Steps come in the order in which they are worked through.
    for step in steps.iter().rev() {
        let made = listed(file, *step, OPERATOR_OUTPUTS).ok_or_else(broken)?;
        if made.iter().any(|tensor| needed.contains(tensor)) {
            needed.extend(listed(file, *step, OPERATOR_INPUTS).ok_or_else(broken)?);
            left.push(*step);
        }
    }
    left.reverse();
    let place = |list: usize, k: usize| list + 4 + 4 * k;
    for (k, tensor) in kept.iter().enumerate() {
        put(file, place(outputs, k), *tensor as usize);
    }
    // What a list holds of a table is how far behind that place it lies.
    for (k, step) in left.iter().enumerate() {
        let place = place(operators, k);
        put(file, place, step.checked_sub(place).ok_or_else(broken)?);
    }
    put(file, outputs, kept.len());
    put(file, operators, left.len());
    Ok(())
}

fn word(file: &[u8], at: usize) -> Option<u32> {
    let bytes = file.get(at..at.checked_add(4)?)?;
    Some(u32::from_le_bytes(bytes.try_into().ok()?))
}

fn half(file: &[u8], at: usize) -> Option<usize> {
    let bytes = file.get(at..at.checked_add(2)?)?;
    Some(usize::from(u16::from_le_bytes(bytes.try_into().ok()?)))
}

/// Only where a word was read before.
fn put(file: &mut [u8], at: usize, value: usize) {
    if let (Some(place), Ok(value)) = (file.get_mut(at..at + 4), u32::try_from(value)) {
        place.copy_from_slice(&value.to_le_bytes());
    }
}

/// Where the distance at `at` leads.
fn follow(file: &[u8], at: usize) -> Option<usize> {
    at.checked_add(word(file, at)? as usize)
}

/// Where field `number` of the table at `table` leads; `None` of a table without it too.
fn field(file: &[u8], table: usize, number: usize) -> Option<usize> {
    let back = word(file, table)?.cast_signed();
    let fields = usize::try_from(i64::try_from(table).ok()? - i64::from(back)).ok()?;
    let entry = 4 + 2 * number;
    if entry >= half(file, fields)? {
        return None;
    }
    let offset = half(file, fields.checked_add(entry)?)?;
    if offset == 0 { None } else { follow(file, table + offset) }
}

/// The numbers of a list.
fn numbers(file: &[u8], list: usize) -> Option<Vec<u32>> {
    let count = word(file, list)? as usize;
    let bytes = file.get(list + 4..list.checked_add(count.checked_mul(4)?)?.checked_add(4)?)?;
    let (words, _) = bytes.as_chunks::<4>();
    Some(words.iter().map(|word| u32::from_le_bytes(*word)).collect())
}

/// The tables of a list.
fn steps(file: &[u8], list: usize) -> Option<Vec<usize>> {
    let apart = numbers(file, list)?;
    Some(apart.iter().enumerate().map(|(k, apart)| list + 4 + 4 * k + *apart as usize).collect())
}

/// The tensors a step takes or makes; one that takes none may lack the list.
fn listed(file: &[u8], step: usize, number: usize) -> Option<Vec<u32>> {
    word(file, step)?;
    field(file, step, number).map_or(Some(Vec::new()), |list| numbers(file, list))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_network_is_refused_not_a_panic() {
        for bytes in
            [&b""[..], b"\xff\xff\xff\xff", &[0; 64], &[4, 0, 0, 0, 0xf0, 0xff, 0xff, 0x7f]]
        {
            assert!(pare(&mut bytes.to_vec(), &[true]).is_err(), "{bytes:?}");
        }
    }
}
