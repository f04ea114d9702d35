use jiff::ZonedDateTime;
use jiff::civil::Date;
use thiserror::Error;

use crate::library::{
    Consent, Level, Library, Player, PlayerId, StoreError, WriteError, check_born,
};
use crate::motion::Side;

/// What the player (or guardian) agrees to today.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ConsentGiven {
    /// Recordings and cases may be kept here.
    Keep,
    /// And pseudonymous cases may leave in packs.
    KeepAndShare,
}

/// Facts about a player; what is left out stays as it was known.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayerRequest {
    /// Pseudonym: who it is about.
    pub code: String,
    /// Serving hand.
    pub hand: Option<Side>,
    /// Level.
    pub level: Option<Level>,
    /// Birth date.
    pub born: Option<Date>,
    /// Standing height, m.
    pub stature_m: Option<f64>,
    /// Squads the player belongs to now too.
    pub squads: Vec<String>,
    /// Coach (a code).
    pub coach: Option<String>,
    /// Consent given.
    pub consent: Option<ConsentGiven>,
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
            hand: None,
            level: None,
            born: None,
            stature_m: None,
            squads: Vec::new(),
            coach: None,
            consent: None,
        }
    }

    /// The player this means over what is known; `today` is when consent is given, `first` the
    /// player's first recorded day.
    ///
    /// # Errors
    /// [`PlayerRefusal::Write`] for a birth date that cannot be.
    pub fn check(
        &self,
        known: Option<&Player>,
        first: Option<Date>,
        today: Date,
    ) -> Result<Player, PlayerRefusal> {
        if let Some(born) = self.born {
            check_born("born", born, first)?;
        }
        let mut player = known.cloned().unwrap_or_else(|| Player::new(&self.code));
        player.hand = self.hand.or(player.hand);
        player.level = self.level.or(player.level);
        player.born = self.born.or(player.born);
        player.stature_m = self.stature_m.or(player.stature_m);
        player.coach = self.coach.clone().or(player.coach);
        for squad in &self.squads {
            if !player.squads.contains(squad) {
                player.squads.push(squad.clone());
            }
        }
        if let Some(consent) = self.consent {
            let share = consent == ConsentGiven::KeepAndShare;
            player.consent = Consent { keep: true, share, date: Some(today) };
        }
        Ok(player)
    }

    /// Checks and stores it as one change; a player about whom nothing new is said is not touched.
    ///
    /// # Errors
    /// [`PlayerRefusal`]; nothing is stored then.
    pub fn record(&self, library: &mut Library) -> Result<PlayerRecorded, PlayerRefusal> {
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
        let mut player = self.check(known.as_ref(), first, ZonedDateTime::now().date())?;
        let new = known.is_none();
        if known.as_ref() == Some(&player) {
            return Ok(PlayerRecorded { player, new });
        }
        let stored = library.write(|writer| -> Result<PlayerId, WriteError> {
            if new {
                writer.add_player(&player)
            } else {
                writer.update_player(&player)?;
                Ok(player.id)
            }
        });
        player.id = match stored {
            // Another process was quicker with the same new player: this one is known now.
            Err(WriteError::CodeTaken { .. }) if new => return self.record(library),
            stored => stored?,
        };
        Ok(PlayerRecorded { player, new })
    }
}
