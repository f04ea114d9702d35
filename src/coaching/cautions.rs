//! What must be said beside a drill, and the only way a drill is shown.

use jiff::civil::Date;
use serde::ser::{Serialize, SerializeSeq, SerializeStruct, Serializer};

use super::sore::Sore;
use crate::catalogue::{Catalogue, Drill, Place, SaysCautions, Step};
use crate::library::{Named, Plan, PlannedDrill};
use crate::words;

/// Whether somebody counts as a junior, as far as care goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Age {
    /// Under eighteen.
    Junior,
    /// Eighteen or older.
    Adult,
    /// No birth date is recorded: treated as a junior's, and said.
    #[default]
    Unknown,
}

impl Age {
    /// On a day, from the birth date.
    #[must_use]
    pub fn on(day: Date, born: Option<Date>) -> Self {
        match years_on(day, born) {
            Some(years) if years < 18 => Self::Junior,
            Some(_) => Self::Adult,
            None => Self::Unknown,
        }
    }

    /// What holds for several people at once: unknown if one of them is, else the youngest's.
    #[must_use]
    pub fn of_all(ages: impl IntoIterator<Item = Self>) -> Self {
        let mut all = Self::Adult;
        let mut nobody = true;
        for age in ages {
            nobody = false;
            all = match (all, age) {
                (Self::Unknown, _) | (_, Self::Unknown) => Self::Unknown,
                (Self::Junior, _) | (_, Self::Junior) => Self::Junior,
                _ => Self::Adult,
            };
        }
        if nobody { Self::Unknown } else { all }
    }

    /// Whether what holds for juniors holds here: for juniors, and where nobody knows.
    #[must_use]
    pub fn counts_as_junior(self) -> bool {
        self != Self::Adult
    }

    fn caution(self) -> Option<&'static str> {
        (self == Self::Unknown)
            .then_some("No birth date is recorded, so every caution for juniors applies here.")
    }
}

/// Full years on a day, from the birth date; none before birth.
pub(super) fn years_on(day: Date, born: Option<Date>) -> Option<u32> {
    let lived = born?.until((jiff::Unit::Year, day)).ok()?;
    Some(u32::try_from(lived.get_years()).unwrap_or(0))
}

/// Everything that must be said about the drills of one page or answer, each thing once.
///
/// A name or a step of a drill is handed out by this only ([`Self::name`], [`Self::in_full`]), which
/// notes what belongs beside it; whoever shows drills ends with [`Self::lines`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cautions {
    /// Id, name and own cautions of drills that were named.
    drills: Vec<(String, String, Vec<String>)>,
    /// Name and health note of faults.
    faults: Vec<(String, String)>,
    age: Age,
    /// What hurts too much, and what to do.
    sore: Vec<String>,
    general: Vec<String>,
    /// What is said besides where a plan is shown to somebody who counts as a junior.
    juniors: Vec<String>,
    /// Whether a drill was handed out or something hurts.
    shown: bool,
    /// Whether one of them stands in a plan.
    planned: bool,
}

impl Cautions {
    /// The general ones of a library's catalogue, for people of this age; of no drill yet.
    #[must_use]
    pub fn of(catalogue: &Catalogue, age: Age) -> Self {
        let juniors = age.counts_as_junior().then(|| catalogue.junior_cautions());
        Self {
            drills: Vec::new(),
            faults: Vec::new(),
            age,
            sore: Vec::new(),
            general: catalogue.general_cautions().map(str::to_owned).collect(),
            juniors: juniors.into_iter().flatten().map(str::to_owned).collect(),
            shown: false,
            planned: false,
        }
    }

    /// The same for a player who hurts: that is said before everything else, whether or not a drill
    /// is shown.
    #[must_use]
    pub fn hurting(mut self, sore: &[Sore]) -> Self {
        self.sore = sore.iter().map(|one| format!("{one}.")).collect();
        self.shown |= !sore.is_empty();
        self
    }

    /// What hurts too much and what to do, a sentence each.
    #[must_use]
    pub fn sore(&self) -> &[String] {
        &self.sore
    }

    /// Notes what is to be said first about a fault that is shown.
    pub fn fault(&mut self, catalogue: &Catalogue, id: &str) {
        let fault = catalogue.fault(id);
        if let Some((fault, note)) = fault.and_then(|f| Some((f, f.health_note.as_ref()?))) {
            self.note(&fault.name, note);
        }
    }

    /// The same about a fault that loads the body, where somebody is to be asked first in any case.
    pub fn loading(&mut self, catalogue: &Catalogue, id: &str) {
        if let Some(fault) = catalogue.fault(id) {
            let ask = "Ask about pain first: pain is for a licensed clinician.";
            self.note(&fault.name, fault.health_note.as_deref().unwrap_or(ask));
            self.shown = true;
        }
    }

    fn note(&mut self, fault: &str, note: &str) {
        if self.faults.iter().all(|(known, _)| known != fault) {
            self.faults.push((fault.to_owned(), note.to_owned()));
        }
    }

    /// The name of a drill; its own cautions and its fault's will be among [`Self::lines`].
    pub fn name<'d>(&mut self, drill: &'d ShownDrill) -> &'d str {
        self.of_fault(drill);
        let known = self.drills.iter().any(|(id, ..)| *id == drill.id);
        if !known && !drill.own.is_empty() {
            self.drills.push((drill.id.clone(), drill.name.clone(), drill.own.clone()));
        }
        &drill.name
    }

    /// All of a drill with its own cautions, which belong right beside it; its fault's will be
    /// among [`Self::lines`].
    pub fn in_full<'d>(&mut self, drill: &'d ShownDrill) -> DrillText<'d> {
        self.of_fault(drill);
        let entry = drill.entry.as_ref();
        let body = entry.map(|entry| entry.body(self));
        DrillText {
            name: &drill.name,
            cue: body.map_or("", |body| body.cue),
            steps: body.map_or(&[], |body| body.steps),
            dose: &drill.dose,
            place: drill.place,
            step_up: body.map_or("", |body| body.step_up),
            equipment: body.map_or(&[], |body| body.equipment),
            for_whom: body.map_or("", |body| body.for_whom),
            stop: body.map_or("", |body| body.stop),
            support: entry.map_or("", |entry| &entry.support),
            cautions: &drill.own,
        }
    }

    /// The name of one drill, or of several done together, and their own cautions, which belong
    /// right beside it; their fault's will be among [`Self::lines`].
    pub fn together<'d>(&mut self, drills: &'d ShownTogether) -> (String, Vec<&'d str>) {
        drills.0.iter().for_each(|drill| self.of_fault(drill));
        (drills.joined(), drills.own())
    }

    /// How many drills have cautions of their own among [`Self::lines`] so far.
    #[must_use]
    pub fn drills_with_cautions(&self) -> usize {
        self.drills.len()
    }

    /// Whether a drill was handed out or something hurts, so that the lines must follow.
    #[must_use]
    pub fn are_due(&self) -> bool {
        self.shown
    }

    fn of_fault(&mut self, drill: &ShownDrill) {
        self.shown = true;
        self.planned |= drill.planned;
        if let Some((fault, note)) = &drill.fault {
            self.note(fault, note);
        }
    }

    /// The same with the names of these drills handed out too.
    #[must_use]
    pub fn with<'d>(&self, drills: impl IntoIterator<Item = &'d ShownDrill>) -> Self {
        let mut more = self.clone();
        for drill in drills {
            more.name(drill);
        }
        more
    }

    /// What to say: what hurts, drills named, faults, age, what is said to juniors where a plan is shown, the
    /// library's general cautions, in this order.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        self.with_juniors(self.juniors.iter().filter(|_| self.planned))
    }

    /// The same for a page with room for two sheets: of what is said to juniors only what the
    /// general cautions hold of it. The coach has the rest, wherever the plan is shown to the coach.
    #[must_use]
    pub fn in_short(&self) -> Vec<String> {
        self.with_juniors([])
    }

    /// What drills have of their own, each thing once: where several share one, their names stand before it
    /// together.
    fn of_drills(&self) -> Vec<String> {
        let mut said: Vec<(Vec<&str>, Vec<&str>)> = Vec::new();
        let mut known: Vec<&str> = Vec::new();
        for caution in self.drills.iter().flat_map(|(.., own)| own) {
            if known.contains(&caution.as_str()) {
                continue;
            }
            known.push(caution);
            let whose = self.drills.iter().filter(|(.., own)| own.contains(caution));
            let names: Vec<&str> = whose.map(|(_, name, _)| name.as_str()).collect();
            match said.iter_mut().find(|(all, _)| *all == names) {
                Some((_, cautions)) => cautions.push(caution),
                None => said.push((names, vec![caution])),
            }
        }
        let line = |(names, cautions): &(Vec<&str>, Vec<&str>)| {
            format!("{}: {}", words::list(names), cautions.join(" "))
        };
        said.iter().map(line).collect()
    }

    fn with_juniors<'s>(&'s self, juniors: impl IntoIterator<Item = &'s String>) -> Vec<String> {
        let drills = self.of_drills();
        let faults = self.faults.iter().map(|(fault, note)| format!("{fault}: {note}"));
        let sore = self.sore.iter().cloned();
        sore.chain(drills)
            .chain(faults)
            .chain(self.age.caution().map(str::to_owned))
            .chain(juniors.into_iter().cloned())
            .chain(self.general.iter().cloned())
            .collect()
    }
}

impl SaysCautions for Cautions {
    fn shows(&mut self, _: &Drill) {
        self.shown = true;
    }
}

/// As JSON: the list of its lines.
impl Serialize for Cautions {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let lines = self.lines();
        let mut list = to.serialize_seq(Some(lines.len()))?;
        for line in &lines {
            list.serialize_element(line)?;
        }
        list.end()
    }
}

/// All of a drill that a reader sees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrillText<'a> {
    /// Name.
    pub name: &'a str,
    /// Cue, a picture outside the body where possible; empty for a drill of another academy.
    pub cue: &'a str,
    /// From easy to full; none for a drill of another academy.
    pub steps: &'a [Step],
    /// How many, how often.
    pub dose: &'a str,
    /// Where the plan has it done.
    pub place: Option<Place>,
    /// When to go up a step.
    pub step_up: &'a str,
    /// What is needed.
    pub equipment: &'a [String],
    /// For whom; empty where nobody said.
    pub for_whom: &'a str,
    /// When to stop, for the day or for good; empty where nobody said.
    pub stop: &'a str,
    /// Published support, or "none found".
    pub support: &'a str,
    /// Cautions of this drill, to stand beside it.
    pub cautions: &'a [String],
}

impl DrillText<'_> {
    /// Dose and place as one text, "3 x 10; wall".
    #[must_use]
    pub fn dose_and_place(&self) -> String {
        let place = self.place.map(Place::label);
        let parts = [Some(self.dose).filter(|dose| !dose.is_empty()), place];
        parts.into_iter().flatten().collect::<Vec<_>>().join("; ")
    }
}

/// A drill as it may be shown: with its own cautions and those of the fault it is shown for.
///
/// Its parts are handed out by [`Cautions`] only.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownDrill {
    id: String,
    name: String,
    /// `None`: a drill of another academy, of which this library has a name at most.
    entry: Option<Drill>,
    dose: String,
    place: Option<Place>,
    own: Vec<String>,
    /// Name and health note of the fault it is shown for.
    fault: Option<(String, String)>,
    /// Whether it stands in a plan.
    planned: bool,
}

/// What is said of the faults a drill makes worse; their names stand last, where any name reads well.
fn makes_worse(faults: &[String]) -> Option<String> {
    match faults {
        [] => None,
        [one] => Some(format!("Leave it out for this fault, which it makes worse: {one}.")),
        some => Some(format!(
            "Leave it out for these faults, which it makes worse: {}.",
            words::list(some)
        )),
    }
}

impl ShownDrill {
    /// The drill of this id, shown for a fault; dose as the catalogue has it.
    #[must_use]
    pub fn of(catalogue: &Catalogue, drill: &str, fault: &str) -> Self {
        let entry = catalogue.drill(drill).cloned();
        let own = match &entry {
            Some(entry) => {
                let worse = entry.not_for.iter().map(|id| catalogue.fault_name(id).to_lowercase());
                entry
                    .cautions
                    .iter()
                    .cloned()
                    .chain(makes_worse(&worse.collect::<Vec<_>>()))
                    .collect()
            }
            None => vec![
                "Not in this library's catalogue, so its own cautions are not known here: ask \
                 whoever planned it."
                    .to_owned(),
            ],
        };
        let fault = catalogue
            .fault(fault)
            .and_then(|fault| Some((fault.name.clone(), fault.health_note.clone()?)));
        Self {
            id: drill.to_owned(),
            name: catalogue.drill_name(drill),
            dose: entry.as_ref().map(|entry| entry.dose.clone()).unwrap_or_default(),
            place: None,
            entry,
            own,
            fault,
            planned: false,
        }
    }

    /// A drill as a plan for this fault asks for it.
    #[must_use]
    pub fn planned(catalogue: &Catalogue, planned: &PlannedDrill, fault: &str) -> Self {
        Self {
            dose: planned.dose.clone(),
            place: planned.place,
            planned: true,
            ..Self::of(catalogue, &planned.drill, fault)
        }
    }

    /// Every drill of a plan.
    #[must_use]
    pub fn of_plan(catalogue: &Catalogue, plan: &Plan) -> Vec<Self> {
        let drills = plan.drills.iter();
        drills.map(|planned| Self::planned(catalogue, planned, &plan.limiting_fault)).collect()
    }

    /// Its catalogue id.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Its own cautions, and first what is to be said about its fault.
    pub fn cautions(&self) -> impl Iterator<Item = &str> {
        let fault = self.fault.as_ref().map(|(_, note)| note.as_str());
        fault.into_iter().chain(self.own.iter().map(String::as_str))
    }
}

/// As JSON: `drill` (id), `name`, `dose`, `place` and `cautions`.
impl Serialize for ShownDrill {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut object = to.serialize_struct("ShownDrill", 5)?;
        object.serialize_field("drill", &self.id)?;
        object.serialize_field("name", &self.name)?;
        object.serialize_field("dose", &self.dose)?;
        object.serialize_field("place", &self.place.map(Named::name))?;
        object.serialize_field("cautions", &self.cautions().collect::<Vec<_>>())?;
        object.end()
    }
}

/// One drill, or several that were done together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownTogether(Vec<ShownDrill>);

impl ShownTogether {
    /// These drills, done together.
    #[must_use]
    pub fn of(drills: Vec<ShownDrill>) -> Self {
        Self(drills)
    }

    /// The drills.
    #[must_use]
    pub fn drills(&self) -> &[ShownDrill] {
        &self.0
    }

    /// The name, for a sentence that stands under the drills' own rows and their cautions.
    pub(crate) fn mentioned(&self) -> String {
        self.joined()
    }

    fn joined(&self) -> String {
        let names: Vec<&str> = self.0.iter().map(|drill| drill.name.as_str()).collect();
        names.join(" with ")
    }

    /// Their own cautions, each once.
    fn own(&self) -> Vec<&str> {
        let mut own: Vec<&str> = Vec::new();
        for caution in self.0.iter().flat_map(|drill| &drill.own) {
            if !own.contains(&caution.as_str()) {
                own.push(caution);
            }
        }
        own
    }
}

/// As JSON: `drills` (ids), `name` and `cautions`, their own and their fault's.
impl Serialize for ShownTogether {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut cautions: Vec<&str> = Vec::new();
        for caution in self.0.iter().flat_map(ShownDrill::cautions) {
            if !cautions.contains(&caution) {
                cautions.push(caution);
            }
        }
        let mut object = to.serialize_struct("ShownTogether", 3)?;
        object.serialize_field("drills", &self.0.iter().map(ShownDrill::id).collect::<Vec<_>>())?;
        object.serialize_field("name", &self.joined())?;
        object.serialize_field("cautions", &cautions)?;
        object.end()
    }
}

/// Drills as a list of names in JSON; whoever writes it writes the [`Cautions`] with them.
pub(crate) fn names<S: Serializer>(drills: &[ShownDrill], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(drills.iter().map(|drill| &drill.name))
}
