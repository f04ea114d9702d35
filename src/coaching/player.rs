use jiff::civil::Date;
use thiserror::Error;

use super::consent::is_junior_alone;
use crate::library::write::checks::check_player;
use crate::library::{
    Consent, ConsentBy, Level, Library, Player, PlayerId, StoreError, WriteError, check_born,
    check_past,
};
use crate::motion::Side;

/// What the player (or guardian) agrees to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ConsentGiven {
    /// Recordings and cases may be kept here.
    Keep,
    /// And pseudonymous cases may leave in packs.
    KeepAndShare,
}

/// What is said about consent; what is left out stays as it was known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ConsentRequest {
    /// Whether recordings and cases may be kept here.
    pub keep: Option<bool>,
    /// Whether pseudonymous cases may leave in packs.
    pub share: Option<bool>,
    /// When it was said.
    pub date: Option<Date>,
    /// Who said it.
    pub by: Option<ConsentBy>,
}

impl ConsentRequest {
    /// Consent as given on a day; `by`: who gave it, where that is known.
    #[must_use]
    pub fn given(consent: ConsentGiven, day: Date, by: Option<ConsentBy>) -> Self {
        let share = consent == ConsentGiven::KeepAndShare;
        Self { keep: Some(true), share: Some(share), date: Some(day), by }
    }

    fn over(self, known: Consent) -> Consent {
        let said = Consent {
            keep: self.keep.unwrap_or(known.keep),
            share: self.share.unwrap_or(known.share),
            date: self.date.or(known.date),
            by: known.by,
        };
        // Who agreed to something else, or on another day, need not be who agrees now.
        Consent { by: self.by.or(known.by.filter(|_| said == known)), ..said }
    }
}

/// Squads somebody names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SquadsRequest {
    /// The player belongs to these now too.
    Too(Vec<String>),
    /// The player belongs to these and to no other.
    Only(Vec<String>),
}

/// Facts about a player; what is left out stays as it was known.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayerRequest {
    /// Pseudonym: who it is about.
    pub code: String,
    /// Real name, which never leaves the library.
    pub name: Option<String>,
    /// Serving hand.
    pub hand: Option<Side>,
    /// Level.
    pub level: Option<Level>,
    /// Birth date.
    pub born: Option<Date>,
    /// Standing height, m.
    pub stature_m: Option<f64>,
    /// Squads.
    pub squads: SquadsRequest,
    /// Coach (a code).
    pub coach: Option<String>,
    /// Consent.
    pub consent: ConsentRequest,
}

/// A player as recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayerRecorded {
    /// The player.
    pub player: Player,
    /// Whether the library did not know the code before.
    pub new: bool,
}

/// Why facts about a player were refused; nothing of them is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PlayerRefusal {
    /// Cases may leave, and may not be kept.
    #[error(
        "player '{code}': cases may be shared but not kept; only what is kept here can go out, so \
         record that they may be kept, or that they may not be shared"
    )]
    SharedNotKept {
        /// The player's code.
        code: String,
    },
    /// A junior agreed alone.
    #[error(
        "player '{code}': under eighteen on that day; the player's own word is not enough, a parent or \
         guardian has to agree: ask one, and record that a guardian said so"
    )]
    JuniorAlone {
        /// The player's code.
        code: String,
    },
    /// The store would not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StoreError> for PlayerRefusal {
    fn from(error: StoreError) -> Self {
        Self::Write(error.into())
    }
}

impl PlayerRequest {
    /// A request about the player with this code that says nothing yet.
    #[must_use]
    pub fn new(code: &str) -> Self {
        Self {
            code: code.to_owned(),
            name: None,
            hand: None,
            level: None,
            born: None,
            stature_m: None,
            squads: SquadsRequest::Too(Vec::new()),
            coach: None,
            consent: ConsentRequest::default(),
        }
    }

    /// The player this means over what is known; `first`: the player's first recorded day.
    ///
    /// # Errors
    /// [`PlayerRefusal::SharedNotKept`], [`PlayerRefusal::JuniorAlone`]; [`PlayerRefusal::Write`] for a day that cannot be.
    pub fn check(
        &self,
        known: Option<&Player>,
        first: Option<Date>,
    ) -> Result<Player, PlayerRefusal> {
        if let Some(born) = self.born {
            check_born("born", born, first)?;
        }
        if let Some(date) = self.consent.date {
            check_past("consent_date", date)?;
        }
        let mut player = known.cloned().unwrap_or_else(|| Player::new(&self.code));
        player.name = self.name.clone().or(player.name);
        player.hand = self.hand.or(player.hand);
        player.level = self.level.or(player.level);
        player.born = self.born.or(player.born);
        player.stature_m = self.stature_m.or(player.stature_m);
        player.coach = self.coach.clone().or(player.coach);
        let squads = match &self.squads {
            SquadsRequest::Too(squads) => squads,
            SquadsRequest::Only(squads) => {
                player.squads.clear();
                squads
            }
        };
        for squad in squads {
            if !player.squads.contains(squad) {
                player.squads.push(squad.clone());
            }
        }
        let consent = self.consent.over(player.consent);
        // Only what is said now is held against the rule, not what stands from before.
        if consent != player.consent && consent.share && !consent.keep {
            return Err(PlayerRefusal::SharedNotKept { code: player.code });
        }
        let is_new = consent != player.consent;
        player.consent = consent;
        if is_new && is_junior_alone(consent, player.born) {
            return Err(PlayerRefusal::JuniorAlone { code: player.code });
        }
        check_player(&player)?;
        Ok(player)
    }

    /// Checks and stores it as one change; a player about whom nothing new is said is not touched.
    ///
    /// # Errors
    /// [`PlayerRefusal`]; nothing is stored then.
    pub fn record(&self, library: &mut Library) -> Result<PlayerRecorded, PlayerRefusal> {
        // Read within the turn: of two who bring the same new player the second joins.
        let turn = library.take_turn()?;
        let known = match library.player_by_code(&self.code) {
            Ok(player) => Some(player),
            Err(StoreError::NoSuch { .. }) => None,
            Err(error) => return Err(error.into()),
        };
        let first = match &known {
            Some(known) if self.born.is_some() => {
                library.cases(Some(known.id))?.into_iter().map(|case| case.date).min()
            }
            _ => None,
        };
        let mut player = self.check(known.as_ref(), first)?;
        let new = known.is_none();
        if known.as_ref() != Some(&player) {
            player.id = library.write_in(&turn, |writer| -> Result<PlayerId, WriteError> {
                if new {
                    writer.add_player(&player)
                } else {
                    writer.update_player(&player)?;
                    Ok(player.id)
                }
            })?;
        }
        Ok(PlayerRecorded { player, new })
    }
}
