//! How much the players behind an estimate practised.

use serde::Serialize;

use super::pool::Claim;
use super::worked::people;

/// Of how many players it is known how much they practised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct KnownPractice {
    /// Players of whom it is known.
    pub players: usize,
    /// Of those, how many did less than half of what their plan asked.
    pub too_little: usize,
}

/// Over players: whether too little was practised, where that is known.
pub(super) fn practice(players: impl Iterator<Item = Option<bool>>) -> KnownPractice {
    players.flatten().fold(KnownPractice::default(), |known, little| KnownPractice {
        players: known.players + 1,
        too_little: known.too_little + usize::from(little),
    })
}

impl KnownPractice {
    /// What is said before a drill that shows nothing is called useless: a sentence with a space in
    /// front, or nothing.
    pub(super) fn said(self, claim: Claim) -> String {
        let Self { players, too_little } = self;
        if !self.is_too_little_for(claim) {
            return String::new();
        }
        format!(
            " Of {} whose practice is known, {too_little} did less than half of what was planned: \
             too little practice to write it off.",
            people(players)
        )
    }

    /// The same in a few words, without a full stop.
    #[must_use]
    pub fn in_short(self, claim: Claim) -> Option<String> {
        let Self { players, too_little } = self;
        self.is_too_little_for(claim)
            .then(|| format!("{too_little} of {players} practised too little to tell"))
    }

    fn is_too_little_for(self, claim: Claim) -> bool {
        self.too_little > 0 && claim != Claim::BeyondChance
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drill_that_hardly_anybody_did_is_not_called_useless() {
        let known = practice([Some(true), None, Some(false), Some(true)].into_iter());
        assert_eq!(known, KnownPractice { players: 3, too_little: 2 });
        assert_eq!(
            known.said(Claim::NotBeyondChance),
            " Of 3 players whose practice is known, 2 did less than half of what was planned: too \
             little practice to write it off."
        );
        assert_eq!(known.said(Claim::BeyondChance), "");
        assert_eq!(practice([Some(false), None].into_iter()).said(Claim::TooFew), "");
    }
}
