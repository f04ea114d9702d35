use jiff::civil::Date;

use crate::coaching::{Cautions, Practised, ShownDrill, ShownTogether};
use crate::drawing::{Channel, DotRow, Likeness, MonthStrip};
use crate::drawing::{Pictures, Viewpoint};
use crate::library::{Level, ServeId, ServeType, Setting, Witness};
use crate::looks::Verdict;
use crate::matcher::WhyNone;
use crate::motion::Side;
use crate::serve::{Event, Figures, MeasureDef, Reading};
use crate::words::{Interface, is_moment};

/// For whom a review is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Audience {
    /// The player: two pages, no other player identifiable.
    Player,
    /// The coach: everything, with trust and identities, and what to do next as it is done there.
    Coach(Interface),
}

/// What was drawn on one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnFacts {
    /// Seconds from contact.
    pub after_s: f64,
    /// Sample of the serve, 0 to 100.
    pub sample: f64,
    /// What, and by whom: code of a coach.
    pub lines: Vec<(String, String)>,
    /// The picture with the drawing over it, as SVG; `None` where there is none.
    pub picture: Option<String>,
}

/// Everything a review shows. What is absent is said on the page, with what to do about it.
///
/// Texts are plain; the page escapes them. Nothing in here is looked up again.
#[derive(Debug, Clone, PartialEq)]
pub struct ReviewData {
    /// The serve.
    pub serve: ServeFacts,
    /// Its player.
    pub player: PlayerFacts,
    /// The body for drawing.
    pub figures: Option<Figures>,
    /// Events, in order of time.
    pub events: Vec<Event>,
    /// Who or what says when each event was; empty where the joints alone do.
    pub witnesses: Vec<Witness>,
    /// What the player's own clip shows; `None` where the serve was not read from a clip.
    pub pictures: Option<Pictures>,
    /// The same serve from elsewhere, at the same moments.
    pub views: Vec<OtherViewFacts>,
    /// What the coach drew on it, and wrote to its moments, in order of time.
    pub drawn: Vec<DrawnFacts>,
    /// The limiting fault.
    pub limiting: Option<ReviewFault>,
    /// A second fault, only where its plan goes with the first.
    pub second: Option<ReviewFault>,
    /// Other suspected or labelled faults, strongest first.
    pub other_faults: Vec<ReviewFault>,
    /// Faults that cannot be seen in this recording: (fault, why).
    pub unseen_faults: Vec<(String, String)>,
    /// Channels, the one that shows the limiting fault first.
    pub channels: Vec<Channel>,
    /// Measures, in the order to be shown.
    pub measures: Vec<MeasureRow>,
    /// The search for precedents.
    pub precedents: Precedents,
    /// What is planned.
    pub plan: Option<PlanFacts>,
    /// What happened to players like this one, best supported first.
    pub evidence: Vec<EvidenceRow>,
    /// What the reader must know about all of it, one sentence each.
    pub evidence_notes: Vec<String>,
    /// This player's earlier reviews.
    pub progress: Option<Progress>,
    /// What changes when the ball comes: this player's practice swings against serves.
    pub with_ball: Option<Comparison>,
    /// What a recording cannot tell and the coach asks.
    pub asked: Vec<Asked>,
    /// The library's general cautions and those of the case's faults; drills add their own as they
    /// are shown.
    pub cautions: Cautions,
}

/// The serve under review.
#[derive(Debug, Clone, PartialEq)]
pub struct ServeFacts {
    /// Its id ("s12").
    pub id: String,
    /// Day of the recording.
    pub date: Date,
    /// How it was recorded ("markers, 120 Hz").
    pub source: String,
    /// What it is.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
    /// What a careful reader must know ("gap of 0.1 s filled").
    pub notes: Vec<String>,
}

/// The player under review.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayerFacts {
    /// Pseudonym.
    pub code: String,
    /// Serving hand.
    pub hand: Side,
    /// Level.
    pub level: Option<Level>,
    /// Age band ("15 to 16").
    pub age_band: Option<String>,
    /// Standing height, m.
    pub stature_m: Option<f64>,
}

/// A fault as the review tells it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ReviewFault {
    /// Its name ("Shallow leg drive").
    pub name: String,
    /// One sentence to the player ("Your legs stay almost straight before you swing up.").
    pub to_player: String,
    /// Why it matters, two sentences a player understands.
    pub why: String,
    /// Score 0 to 1 by the program, where it could be detected.
    pub score: Option<f64>,
    /// What the coach decided ("confirmed by the coach").
    pub decided: Option<String>,
    /// Measures that show it, as indices into [`ReviewData::measures`].
    pub measures: Vec<usize>,
    /// Why it comes before (or after) the others, for the coach.
    pub order: Option<String>,
    /// Drills to choose from while there is no plan, for the coach.
    pub offers: Vec<ShownDrill>,
}

/// One measure, its reading and what it is compared with.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasureRow {
    /// Name for people.
    pub name: String,
    /// When it is read.
    pub moment: String,
    /// Exact definition.
    pub definition: String,
    /// Unit.
    pub unit: String,
    /// The reading.
    pub reading: Reading,
    /// Published reference band for the same definition: (low, high, source).
    pub reference: Option<(f64, f64, String)>,
    /// 10th and 90th percentile of the precedents.
    pub precedents: Option<(f64, f64)>,
    /// The other view that shows it best, where one does.
    pub from: Option<ViewOf>,
}

/// A view of the serve under review.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ViewOf {
    /// Its id ("s9").
    pub serve: String,
    /// Where it was filmed from ("seen from behind").
    pub seen: String,
}

/// Another view of the serve under review, at the moments of the latter.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherViewFacts {
    /// Which.
    pub of: ViewOf,
    /// What its clip shows; `None` where it was not read from a clip.
    pub pictures: Option<Pictures>,
    /// Events of the serve under review on this view's clock.
    pub events: Vec<Event>,
    /// The body for drawing.
    pub figures: Figures,
    /// Where it is best drawn from.
    pub drawn_from: Viewpoint,
}

impl MeasureRow {
    /// A row for a measure's definition and its reading.
    #[must_use]
    pub fn new(def: &MeasureDef, reading: Reading) -> Self {
        Self {
            name: def.name.to_owned(),
            moment: def.moment.to_owned(),
            definition: def.definition.to_owned(),
            unit: def.unit.to_owned(),
            reading,
            reference: None,
            precedents: None,
            from: None,
        }
    }

    /// Whether the value is a moment, in seconds from contact, and not a duration.
    #[must_use]
    pub fn is_moment(&self) -> bool {
        is_moment(&self.name, &self.unit)
    }
}

/// The search and what it found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Precedents {
    /// Serves searched, after the filter.
    pub searched: usize,
    /// How many of them compare well with this serve by source and view.
    pub comparable: usize,
    /// What those are, where one camera saw the serve ("filmed by one camera from the side").
    pub searched_first: Option<String>,
    /// The filter in words, where one was set.
    pub filter: Option<String>,
    /// Why nothing could be searched.
    pub none: Option<WhyNone>,
    /// Those of comparable source and view first, then the closest.
    pub found: Vec<ShownPrecedent>,
}

/// One past serve close to this one.
#[derive(Debug, Clone, PartialEq)]
pub struct ShownPrecedent {
    /// Player's code; never in a player's copy.
    pub player: String,
    /// Serve id; never in a player's copy.
    pub serve: String,
    /// Case id; never in a player's copy.
    pub case: String,
    /// Day of the recording; never in a player's copy unless `own`.
    pub date: Date,
    /// The same player's own serve.
    pub own: bool,
    /// Own, recorded in the same way from the same place: the strongest comparison.
    pub same_set_up: bool,
    /// Why it compares poorly by source or view; `None` where it compares well.
    pub poor_because: Option<String>,
    /// Level.
    pub level: Option<Level>,
    /// Serving hand.
    pub hand: Option<Side>,
    /// More context for the coach ("15 to 16, 1.71 m, kick").
    pub context: String,
    /// Distance of the search.
    pub distance: f64,
    /// Where the two differ.
    pub likeness: Likeness,
    /// Names of the case's faults.
    pub faults: Vec<String>,
    /// Whether the limiting fault of this review is among them.
    pub same_fault: bool,
    /// What was planned.
    pub drills: Vec<ShownDrill>,
    /// What came of it, plan by plan; empty where nothing was planned.
    pub outcomes: Vec<OutcomeFacts>,
    /// The body for drawing.
    pub figures: Option<Figures>,
}

/// What came of one plan of a precedent.
#[derive(Debug, Clone, PartialEq)]
pub struct OutcomeFacts {
    /// Name of the fault it worked on.
    pub fault: String,
    /// What came of it.
    pub verdict: Verdict,
    /// What was practised until then, if anybody knows.
    pub practised: Option<Practised>,
}

/// What is planned.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanFacts {
    /// First day.
    pub start: Option<Date>,
    /// Day of the next review.
    pub review_on: Option<Date>,
    /// Drills, the main one first.
    pub drills: Vec<ShownDrill>,
    /// Coach's words.
    pub note: Option<String>,
}

/// What happened to players who did one drill or plan.
#[derive(Debug, Clone, PartialEq)]
pub struct EvidenceRow {
    /// What they did.
    pub done: ShownTogether,
    /// The dots, estimate and interval; its label is written where it is shown.
    pub row: DotRow,
    /// Effective sample size behind the estimate.
    pub effective_players: Option<f64>,
    /// Typical time to change, days.
    pub typical_days: Option<f64>,
    /// How far to trust it, one sentence.
    pub trust: String,
}

/// A number before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangeFacts {
    /// The measure.
    pub measure: String,
    /// Unit.
    pub unit: String,
    /// Earlier value.
    pub before: f64,
    /// Later value.
    pub after: f64,
    /// Minimal detectable change for those serves.
    pub detectable: f64,
    /// Whether it is more than chance and measuring give.
    pub beyond: bool,
    /// Whether it is for the better; `None` within chance or where nothing is better.
    pub better: Option<bool>,
}

/// One player over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// One sentence ("Your knee bend went from 38 to 53 deg; that is beyond chance.").
    pub sentence: String,
    /// The limiting fault's measure over the reviews.
    pub months: Option<MonthStrip>,
    /// The earlier serve for drawing, and its name ("you, 4 May").
    pub earlier: Option<(Figures, String)>,
    /// The earlier serve itself.
    pub earlier_serve: Option<ServeId>,
    /// What else changed, worse ones first.
    pub elsewhere: Vec<ChangeFacts>,
    /// Reported results ("serve speed 142 to 149 km/h, as reported") and what is not alike.
    pub ball: Vec<String>,
    /// What the whole curves say; for the coach.
    pub curves: Option<String>,
}

/// Two settings of one player and day held side by side.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// One sentence.
    pub sentence: String,
    /// Practice swing as `before`, ball as `after`.
    pub changes: Vec<ChangeFacts>,
}

/// Something asked because no recording shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// What ("grip: bevel under the index knuckle").
    pub what: String,
    /// The answer; `None` = still to be asked.
    pub answer: Option<String>,
}
