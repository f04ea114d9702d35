//! A squad as JSON: one object for each thing found, the same for every interface.

use jiff::civil::Date;
use serde::Serialize;

use super::facts::{GroupFacts, Overdue, SeeNext, Slice, Squad, SquadFault};
use super::{SecondOpinion, Share, Tree};
use crate::evidence::WorkedListed;

/// One object: `about` says what it is about, the other fields are its own.
#[derive(Debug, Serialize)]
#[serde(tag = "about", rename_all = "snake_case")]
pub enum SquadObject<'a> {
    /// The squad in numbers.
    Squad(SquadHead<'a>),
    /// A group of similar serves.
    Group(&'a GroupFacts),
    /// A serve's place on the map.
    Serve(SquadServe<'a>),
    /// How another way of grouping agrees.
    SecondOpinion(&'a SecondOpinion),
    /// How the groups join.
    Tree(&'a Tree),
    /// How common a fault is.
    Fault(&'a SquadFault),
    /// A part of the squad.
    Part(&'a Slice),
    /// What worked for a fault here.
    Worked(WorkedListed<'a>),
    /// A plan that is overdue.
    Overdue(&'a Overdue),
    /// How many of a coach's plans were followed up.
    Coach(SquadCoach<'a>),
    /// Whom to see next.
    SeeNext(&'a SeeNext),
}

/// The squad in numbers.
#[derive(Debug, Serialize)]
pub struct SquadHead<'a> {
    squad: Option<&'a str>,
    from: Option<Date>,
    to: Option<Date>,
    today: Date,
    players: usize,
    looks: usize,
    serves: usize,
    compared: usize,
    compared_looks: usize,
    silhouette: Option<f64>,
    silhouettes_tried: &'a [(usize, f64)],
    map_keeps: Option<f64>,
    plans: usize,
    followed_up: usize,
    seen_again: usize,
    ended: usize,
    running: usize,
}

/// A serve's place on the map.
#[derive(Debug, Serialize)]
pub struct SquadServe<'a> {
    serve: String,
    player: &'a str,
    group: &'a str,
    place: [f64; 2],
    stands_for_look: bool,
}

/// A coach's follow-ups.
#[derive(Debug, Serialize)]
pub struct SquadCoach<'a> {
    coach: &'a str,
    followed_up: Share,
}

impl Squad {
    /// Everything found, in the order of the page.
    #[must_use]
    pub fn objects(&self) -> Vec<SquadObject<'_>> {
        let mut objects = vec![SquadObject::Squad(self.head())];
        if let Some(alike) = &self.alike {
            objects.extend(alike.groups.iter().map(SquadObject::Group));
            objects.extend(alike.serves.iter().map(|placed| {
                SquadObject::Serve(SquadServe {
                    serve: placed.serve.to_string(),
                    player: &alike.players[placed.player],
                    group: &alike.groups[placed.group].letter,
                    place: placed.place,
                    stands_for_look: placed.typical,
                })
            }));
            objects.extend(alike.second.as_ref().map(SquadObject::SecondOpinion));
            objects.push(SquadObject::Tree(&alike.tree));
        }
        objects.extend(self.faults.iter().map(SquadObject::Fault));
        objects.extend(self.slices.iter().map(SquadObject::Part));
        let worked = self.worked.iter().map(|worked| worked.listed(&self.cautions));
        objects.extend(worked.map(SquadObject::Worked));
        objects.extend(self.follow_up.overdue.iter().map(SquadObject::Overdue));
        let coaches = self.follow_up.by_coach.iter();
        objects.extend(
            coaches.map(|(coach, share)| {
                SquadObject::Coach(SquadCoach { coach, followed_up: *share })
            }),
        );
        objects.extend(self.see_next.iter().map(SquadObject::SeeNext));
        objects
    }

    fn head(&self) -> SquadHead<'_> {
        let alike = self.alike.as_ref();
        SquadHead {
            squad: self.name.as_deref(),
            from: self.from,
            to: self.to,
            today: self.today,
            players: self.players,
            looks: self.looks,
            serves: self.serves,
            compared: alike.map_or(0, |alike| alike.serves.len()),
            compared_looks: alike.map_or(0, |alike| alike.looks),
            silhouette: alike.and_then(|alike| alike.silhouette),
            silhouettes_tried: alike.map_or(&[], |alike| &alike.tried),
            map_keeps: alike.map(|alike| alike.kept),
            plans: self.follow_up.plans,
            followed_up: self.follow_up.followed,
            seen_again: self.follow_up.seen_again,
            ended: self.follow_up.ended,
            running: self.follow_up.running,
        }
    }
}
