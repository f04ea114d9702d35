use super::data::ReviewData;
use crate::words::sentence;

/// Keeps codes and ids of other players out of free texts.
#[derive(Debug, Default)]
pub(super) struct Redactor {
    names: Vec<String>,
}

impl Redactor {
    /// Every code and id of the precedents of `data` that is not this player's own.
    pub(super) fn of(data: &ReviewData) -> Self {
        let mut names: Vec<String> = data
            .precedents
            .found
            .iter()
            .filter(|one| !one.own)
            .flat_map(|one| [&one.player, &one.serve, &one.case])
            .filter(|name| {
                !name.trim().is_empty() && **name != data.player.code && **name != data.serve.id
            })
            .cloned()
            .collect();
        // The longest first, so that "ALDER-12" goes before "ALDER".
        names.sort_by(|a, b| b.len().cmp(&a.len()).then(a.cmp(b)));
        names.dedup();
        Self { names }
    }

    /// These names, as they are written, in small and in large letters and at the start of a sentence.
    pub(super) fn naming(names: impl Iterator<Item = String>) -> Self {
        let mut names: Vec<String> = names
            .filter(|name| !name.trim().is_empty())
            .flat_map(|name| {
                let small = name.to_lowercase();
                [sentence(&small), small, name.to_uppercase(), name]
            })
            .collect();
        names.sort_by(|a, b| b.len().cmp(&a.len()).then(a.cmp(b)));
        names.dedup();
        Self { names }
    }

    /// `text` with each of them, where it stands as a word of its own, replaced.
    pub(super) fn clean(&self, text: &str) -> String {
        let mut out = text.to_owned();
        for name in &self.names {
            let mut from = 0;
            while let Some(found) = out[from..].find(name.as_str()).map(|at| from + at) {
                let end = found + name.len();
                let part = |c: Option<char>| c.is_some_and(|c| c.is_alphanumeric() || c == '_');
                if part(out[..found].chars().next_back()) || part(out[end..].chars().next()) {
                    from = end;
                } else {
                    out.replace_range(found..end, "another player");
                    from = found + "another player".len();
                }
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_go_and_words_stay() {
        let names = ["ALDER-12", "ALDER", "s7"].map(str::to_owned).to_vec();
        let redactor = Redactor { names };
        assert_eq!(
            redactor.clean("Like ALDER-12 (s7), not ALDERS or s71; ALDER too."),
            "Like another player (another player), not ALDERS or s71; another player too."
        );
        assert_eq!(Redactor::default().clean("ALDER"), "ALDER");
    }
}
