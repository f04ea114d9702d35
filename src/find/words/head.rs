//! What stands above the sums of the word index, to be read without opening it: how far it came, and which
//! cases it holds.

use super::Mark;

/// The line above the sums.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Head {
    pub(super) mark: Mark,
    pub(super) held: Held,
}

impl Head {
    pub(super) fn read(line: &str) -> Option<Self> {
        let (mark, held) = line.rsplit_once(' ')?;
        Some(Self { mark: Mark::read(mark)?, held: Held::read(held)? })
    }

    pub(super) fn text(&self) -> String {
        format!("{} {}", self.mark.text(), self.held.text())
    }
}

/// Ids of cases, as ranges: they are given in order and seldom taken back.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Held(Vec<(i64, i64)>);

impl Held {
    /// `cases`: ascending.
    pub(super) fn of(cases: &[i64]) -> Self {
        let mut ranges: Vec<(i64, i64)> = Vec::new();
        for &case in cases {
            match ranges.last_mut() {
                Some((_, last)) if case <= *last + 1 => *last = case,
                _ => ranges.push((case, case)),
            }
        }
        Self(ranges)
    }

    pub(super) fn holds(&self, case: i64) -> bool {
        let behind = self.0.partition_point(|(first, _)| *first <= case);
        behind > 0 && case <= self.0[behind - 1].1
    }

    pub(super) fn count(&self) -> usize {
        self.0.iter().map(|(first, last)| (last - first + 1) as usize).sum()
    }

    /// `1-50,52,60-71`; `none` for no case.
    fn text(&self) -> String {
        if self.0.is_empty() {
            return "none".to_owned();
        }
        let range = |&(first, last): &(i64, i64)| match first == last {
            true => first.to_string(),
            false => format!("{first}-{last}"),
        };
        self.0.iter().map(range).collect::<Vec<_>>().join(",")
    }

    fn read(text: &str) -> Option<Self> {
        if text == "none" {
            return Some(Self::default());
        }
        let range = |text: &str| {
            let (first, last) = text.split_once('-').unwrap_or((text, text));
            let range: (i64, i64) = (first.parse().ok()?, last.parse().ok()?);
            (0 <= range.0 && range.0 <= range.1 && range.1 < i64::MAX).then_some(range)
        };
        text.split(',').map(range).collect::<Option<Vec<_>>>().map(Self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_come_back_from_their_ranges() {
        for (ids, text) in [
            (vec![], "none"),
            (vec![7], "7"),
            (vec![1, 2, 3, 5, 9, 10], "1-3,5,9-10"),
            (vec![1, 2, 2, 3], "1-3"),
        ] {
            let held = Held::of(&ids);
            assert_eq!(held.text(), text);
            assert_eq!(Held::read(text), Some(held.clone()));
            let alone: std::collections::BTreeSet<i64> = ids.iter().copied().collect();
            assert_eq!(held.count(), alone.len());
            for id in -1..12 {
                assert_eq!(held.holds(id), alone.contains(&id), "{id} in {text}");
            }
        }
        for bad in ["", "1-", "3-1", "a", "1,,2", "-4", "1-9223372036854775807"] {
            assert_eq!(Held::read(bad), None, "{bad}");
        }
    }
}
