//! A set of ids as bits.

/// A set of ids; one that does not fit 32 bits is in none.
#[derive(Debug, Clone, Default)]
pub(crate) struct Ids(Vec<u64>);

impl Ids {
    pub(crate) fn holds(&self, id: u32) -> bool {
        self.0.get(id as usize / 64).is_some_and(|word| word >> (id % 64) & 1 == 1)
    }
}

impl FromIterator<i64> for Ids {
    fn from_iter<T: IntoIterator<Item = i64>>(ids: T) -> Self {
        let mut words = Vec::new();
        for id in ids.into_iter().filter_map(|id| u32::try_from(id).ok()) {
            let word = id as usize / 64;
            if word >= words.len() {
                words.resize(word + 1, 0);
            }
            words[word] |= 1 << (id % 64);
        }
        Self(words)
    }
}
