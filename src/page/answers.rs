//! What the coach says about files before they are read: whose they are, the day, and what a file
//! cannot say itself.

use jiff::civil::Date;

use super::desk::today;
use super::fields::Fields;
use super::input::giver;
use super::refusal::Refusal;
use crate::coaching::{ConsentGiven, ConsentRequest, PlayerRequest, SquadsRequest};
use crate::intake::{ClipWay, Context};
use crate::library::{ConsentBy, Level, Library, Named, Player, ServeType, Setting, StoreError};
use crate::motion::{Layout, ReadOptions, Side, SourceUnit, Up, View};
use crate::video::Person;
use crate::words::{level, setting};

/// The answers as they were typed, and what they mean.
#[derive(Debug, Clone)]
pub(super) struct Answers {
    pub(super) said: Fields,
    pub(super) player: PlayerRequest,
    /// Whether the code is meant as a new one.
    is_new: bool,
    pub(super) context: Context,
}

/// Words a form gives for consent.
pub(super) fn consent(said: &str) -> Option<ConsentGiven> {
    match said {
        "keep" => Some(ConsentGiven::Keep),
        "share" => Some(ConsentGiven::KeepAndShare),
        _ => None,
    }
}

/// Names between commas.
pub(super) fn squads(said: &Fields) -> Vec<String> {
    let names = said.text("squads").unwrap_or_default().split([',', ';']).map(str::trim);
    names.filter(|name| !name.is_empty()).map(str::to_owned).collect()
}

impl Answers {
    pub(super) fn of(said: Fields) -> Result<Self, Refusal> {
        let known = said.words("player");
        let is_new = known.is_none();
        let Some(code) = known.or_else(|| said.words("new_code")) else {
            return Err(Refusal::Said(
                "Say whose serves these are: choose a player, or give a new one a code".to_owned(),
            ));
        };
        let given = said.text("consent").and_then(consent);
        let consent_by = said.named("consent_by", "Who agreed")?;
        let player = PlayerRequest {
            name: said.words("name"),
            hand: said.named("hand", "Hand")?,
            level: said.named("level", "Level")?,
            born: said.value("born", "Born")?,
            stature_m: said.value("stature", "Height")?,
            squads: SquadsRequest::Too(squads(&said)),
            consent: given.map_or_else(ConsentRequest::default, |given| {
                ConsentRequest::given(given, today(), consent_by)
            }),
            ..PlayerRequest::new(&code)
        };
        let person: Option<usize> = said.value("person", "Which person")?;
        if person == Some(0) {
            return Err(Refusal::Said("Which person: people are counted from 1".to_owned()));
        }
        let read = ReadOptions {
            layout: said.value::<Layout>("layout", "How the file is laid out")?,
            rate_hz: said.value("rate", "Frames a second in the file")?,
            up: said.value::<Up>("up", "Axis that points up")?,
            unit: said.value::<SourceUnit>("unit", "Unit of length")?,
            subject: said.words("subject"),
            person: person.map(|number| number - 1),
            view: said.named::<View>("view", "Filmed from")?,
            mirror: said.text("mirror").is_some(),
            trim: said.text("trim").is_some(),
            ..ReadOptions::default()
        };
        let context = Context {
            read,
            clip: ClipWay {
                person: person.map_or(Person::Only, Person::FromLeft),
                capture_rate_hz: said.value("capture_rate", "Frames a second while filming")?,
                ..ClipWay::default()
            },
            // What comes in here lies nowhere else.
            keep_clip: true,
            date: said.value::<Date>("date", "Day")?,
            setting: said.named::<Setting>("setting", "What they show")?,
            serve_type: said.named::<ServeType>("type", "Type of serve")?,
        };
        Ok(Self { said, player, is_new, context })
    }

    /// The player as the library will know them; refused before anything is read.
    pub(super) fn check(&self, library: &Library) -> Result<Player, Refusal> {
        let known = match library.player_by_code(&self.player.code) {
            Ok(player) => Some(player),
            Err(StoreError::NoSuch { .. }) => None,
            Err(error) => return Err(error.into()),
        };
        match &known {
            Some(player) if self.is_new => {
                return Err(Refusal::Said(format!(
                    "There is a player with the code '{}' already: choose them from the list, or \
                     give the new one another code",
                    player.code
                )));
            }
            None if !self.is_new => return Err(Refusal::no_such("player", &self.player.code)),
            _ => {}
        }
        if let Some(day) = self.context.date {
            crate::library::check_past("date", day)?;
        }
        Ok(self.player.check(known.as_ref(), self.context.date)?)
    }
}

/// The questions with what was answered before, for a form.
#[derive(Debug)]
pub(super) struct Ask {
    pub(super) said: Fields,
    /// Code, and code with name.
    pub(super) players: Vec<(String, String)>,
}

impl Ask {
    pub(super) fn of(library: &Library, said: Fields) -> Result<Self, Refusal> {
        let players = library.players()?.into_iter().map(|player| {
            let label = match &player.name {
                Some(name) => format!("{}, {name}", player.code),
                None => player.code.clone(),
            };
            (player.code, label)
        });
        Ok(Self { said, players: players.collect() })
    }

    /// What was answered.
    pub(super) fn value<'a>(&'a self, name: &'a str) -> &'a str {
        self.said.text(name).unwrap_or_default()
    }

    pub(super) fn is(&self, name: &str, value: &str) -> bool {
        self.value(name) == value
    }

    pub(super) fn levels(&self) -> Vec<(&'static str, &'static str)> {
        Level::NAMES.iter().map(|(value, name)| (*name, level(*value))).collect()
    }

    pub(super) fn settings(&self) -> Vec<(&'static str, &'static str)> {
        Setting::NAMES.iter().map(|(value, name)| (*name, setting(*value))).collect()
    }

    pub(super) fn views(&self) -> Vec<(&'static str, &'static str)> {
        View::NAMES.iter().map(|(value, name)| (*name, value.seen())).collect()
    }

    pub(super) fn hands(&self) -> Vec<(&'static str, &'static str)> {
        Side::NAMES.iter().map(|(_, name)| (*name, *name)).collect()
    }

    pub(super) fn givers(&self) -> Vec<(&'static str, &'static str)> {
        ConsentBy::NAMES.iter().map(|&(by, name)| (name, giver(by))).collect()
    }

    pub(super) fn types(&self) -> Vec<(&'static str, &'static str)> {
        ServeType::NAMES.iter().map(|(_, name)| (*name, *name)).collect()
    }

    pub(super) fn layouts(&self) -> Vec<&'static str> {
        Layout::ALL.iter().map(|layout| layout.name()).collect()
    }
}
