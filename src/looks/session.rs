//! What one day showed of one player.

use std::rc::Rc;

use jiff::civil::Date;

use super::{Mean, SetUp};
use crate::library::{ServeHead, ServeId, Setting};
use crate::serve::{MeasureDef, Reading, ServeReading, best_view};
use crate::words;

/// One serve of a day, as far as measures go.
#[derive(Debug, Clone)]
pub struct SessionServe {
    /// The serve.
    pub id: ServeId,
    /// In which set-up it was recorded.
    pub set_up: SetUp,
    /// What the recording shows.
    pub setting: Option<Setting>,
    /// Every measure we know, measured or not.
    pub readings: Rc<[ServeReading]>,
    /// The stroke it shows, by its first view: of several views of one stroke one counts.
    pub stroke: ServeId,
}

impl SessionServe {
    /// A stored serve with its readings, a view of this stroke.
    #[must_use]
    pub fn new(head: &ServeHead, readings: Rc<[ServeReading]>, stroke: ServeId) -> Self {
        Self { id: head.id, set_up: SetUp::of(head), setting: head.setting, readings, stroke }
    }
}

/// All recordings of one player on one day, several views of the same serves included.
#[derive(Debug, Clone)]
pub struct Session {
    /// The day.
    pub date: Date,
    /// Its serves.
    pub serves: Vec<SessionServe>,
}

impl Session {
    /// Strokes it shows: a serve seen from two places is one.
    #[must_use]
    pub fn strokes(&self) -> usize {
        strokes(&self.serves).count()
    }

    /// The looks of the day, one per set-up, in the order of their first serves.
    #[must_use]
    pub fn looks(&self) -> Vec<Look<'_>> {
        let mut looks: Vec<Look<'_>> = Vec::new();
        for serve in &self.serves {
            match looks.iter_mut().find(|look| look.set_up == serve.set_up) {
                Some(look) => look.serves.push(serve),
                None => looks.push(Look { set_up: serve.set_up, serves: vec![serve] }),
            }
        }
        looks
    }

    /// The look that shows a measure best and its mean there: of the looks that have it and compare
    /// with `alike` (all, where that is `None`), those with a ball before practice swings, the one
    /// with the smallest standard error; `None` if none has it.
    #[must_use]
    pub fn best(&self, def: &MeasureDef, alike: Option<SetUp>) -> Option<(Look<'_>, Mean)> {
        let by_error = |a: &Mean, b: &Mean| a.standard_error(def).total_cmp(&b.standard_error(def));
        self.looks()
            .into_iter()
            .filter(|look| alike.is_none_or(|set_up| look.set_up.unlike(set_up).is_none()))
            .filter_map(|look| look.mean(def).map(|mean| (look, mean)))
            .min_by(|a, b| {
                a.0.set_up.swing.cmp(&b.0.set_up.swing).then_with(|| by_error(&a.1, &b.1))
            })
    }
}

/// What one day showed of one player in one set-up: the unit that is compared.
#[derive(Debug, Clone)]
pub struct Look<'a> {
    /// The set-up.
    pub set_up: SetUp,
    /// The serves; at least one.
    pub serves: Vec<&'a SessionServe>,
}

impl Look<'_> {
    /// The look in words: "serve at a target, kick serve, one camera, seen from the side".
    #[must_use]
    pub fn describe(&self) -> String {
        let mut parts: Vec<String> = Vec::new();
        let mut settings: Vec<&str> =
            self.serves.iter().filter_map(|serve| serve.setting.map(words::setting)).collect();
        settings.dedup();
        match settings[..] {
            [] => {}
            [one] => parts.push(one.to_owned()),
            _ => parts.push("with a ball".to_owned()),
        }
        parts.extend(self.set_up.serve_type.map(|kind| words::serve_type(kind).to_owned()));
        parts.push(self.set_up.capture.describe().to_owned());
        parts.extend(self.set_up.view.map(|view| format!("seen {}", view.seen())));
        parts.join(", ")
    }

    /// Strokes it shows.
    #[must_use]
    pub fn strokes(&self) -> usize {
        strokes(self.serves.iter().copied()).count()
    }

    /// Mean of a measure over its strokes that have it, each by the view that shows it best; `None` if
    /// none has.
    #[must_use]
    pub fn mean(&self, def: &MeasureDef) -> Option<Mean> {
        let read = |serve: &'_ &SessionServe| {
            serve
                .readings
                .iter()
                .find(|entry| entry.measure == def.id)
                .map(|one| one.reading.clone())
        };
        let best = |stroke: ServeId| {
            let views = self.serves.iter().filter(|serve| serve.stroke == stroke);
            let all: Vec<Reading> = views.filter_map(read).collect();
            best_view(&all).map(|at| all[at].clone())
        };
        Mean::of_readings(strokes(self.serves.iter().copied()).filter_map(best))
    }

    /// Ids of its serves.
    #[must_use]
    pub fn ids(&self) -> Vec<ServeId> {
        self.serves.iter().map(|serve| serve.id).collect()
    }
}

/// The strokes of some serves, each once, in their order.
fn strokes<'a>(
    serves: impl IntoIterator<Item = &'a SessionServe>,
) -> impl Iterator<Item = ServeId> {
    let mut known: Vec<ServeId> = Vec::new();
    let new = move |stroke: &ServeId| {
        let new = !known.contains(stroke);
        known.push(*stroke);
        new
    };
    serves.into_iter().map(|serve| serve.stroke).filter(new)
}

/// Two looks that compare.
#[derive(Debug, Clone)]
pub struct Pair<'a> {
    /// The earlier.
    pub before: Look<'a>,
    /// The later.
    pub after: Look<'a>,
}

/// The looks of two days that compare, those with a ball first, a practice swing on either side
/// last; among equals in the order of the days' looks.
///
/// A practice swing shows what the player can do, not what the serve does: common practice, no
/// source.
///
/// # Errors
/// Why nothing compares.
pub fn pairs<'a>(before: &'a Session, after: &'a Session) -> Result<Vec<Pair<'a>>, Unlike> {
    for (session, later) in [(before, false), (after, true)] {
        if session.serves.is_empty() {
            return Err(Unlike::NoServe { date: session.date, later });
        }
    }
    let (mut found, mut unlike) = (Vec::new(), Vec::new());
    for earlier in before.looks() {
        for later in after.looks() {
            match earlier.set_up.unlike(later.set_up) {
                None => found.push(Pair { before: earlier.clone(), after: later }),
                Some(why) if unlike.contains(&why) => {}
                Some(why) => unlike.push(why),
            }
        }
    }
    if found.is_empty() {
        return Err(Unlike::SetUp { why: unlike });
    }
    found.sort_by_key(|pair| pair.before.set_up.swing.max(pair.after.set_up.swing));
    Ok(found)
}

/// Why two days are not compared.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Unlike {
    /// No serve is recorded on one of the days.
    #[error("no serve is recorded {} ({})", if *later { "after" } else { "before" }, words::day(*date))]
    NoServe {
        /// Which day.
        date: Date,
        /// Whether it is the later one.
        later: bool,
    },
    /// They were recorded in different set-ups.
    #[error("recorded differently: {}", why.join(", or "))]
    SetUp {
        /// What differs, once for each pair of looks.
        why: Vec<String>,
    },
    /// No look of one of the days shows the measure.
    #[error("{measure} could not be measured on both days{}", why.as_ref().map_or_else(String::new, |why| format!(" ({why})")))]
    NotMeasurable {
        /// Name of the measure.
        measure: &'static str,
        /// Why not, as a recording says it.
        why: Option<String>,
    },
    /// No measure shows the fault.
    #[error("no measure shows it: only your eye and the reported results can tell")]
    NoMeasure,
}
