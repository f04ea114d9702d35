//! What is searched: the words of a case and of a catalogue entry, piece by piece.

use std::fmt::Display;

use serde::{Serialize, Serializer};

use crate::catalogue::{Catalogue, Drill, Fault};
use crate::coaching::{Cautions, ShownDrill};
use crate::library::{Case, CaseId, FollowUpId, LabelState, Library, PlanId, StoreError};

/// Where in a case or an entry of the catalogue some words stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case", tag = "part", content = "of")]
pub enum Part {
    /// The player's code.
    Player,
    /// The note of the case.
    Note,
    /// The name of a fault that was seen or is suspected.
    Fault,
    /// What was noted about a fault.
    FaultNote,
    /// The fault a plan is for, a drill, its dose and place.
    Plan(#[serde(serialize_with = "spelled")] PlanId),
    /// What was noted about a plan.
    PlanNote(#[serde(serialize_with = "spelled")] PlanId),
    /// Why a plan was ended.
    PlanEnd(#[serde(serialize_with = "spelled")] PlanId),
    /// What was noted at a follow-up.
    FollowUp(#[serde(serialize_with = "spelled")] FollowUpId),
    /// The name of a fault or drill of the catalogue.
    Name,
    /// What the coach sees.
    Sees,
    /// What it costs.
    Cost,
    /// What the player is told.
    ToPlayer,
    /// What is asked where a recording cannot show it.
    Question,
    /// A step of a drill, from 1.
    Step(usize),
    /// What a drill needs.
    Equipment,
    /// The cue of a drill.
    Cue,
}

/// As people write an id: n3.
pub(super) fn spelled<S: Serializer>(id: &impl Display, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(id)
}

impl Part {
    /// Name for people.
    #[must_use]
    pub fn label(self) -> String {
        match self {
            Self::Player => "player".to_owned(),
            Self::Note => "note".to_owned(),
            Self::Fault => "fault".to_owned(),
            Self::FaultNote => "note on a fault".to_owned(),
            Self::Plan(id) => format!("plan {id}"),
            Self::PlanNote(id) => format!("note on plan {id}"),
            Self::PlanEnd(id) => format!("end of plan {id}"),
            Self::FollowUp(id) => format!("follow-up {id}"),
            Self::Name => "name".to_owned(),
            Self::Sees => "what you see".to_owned(),
            Self::Cost => "what it costs".to_owned(),
            Self::ToPlayer => "to the player".to_owned(),
            Self::Question => "to ask".to_owned(),
            Self::Step(number) => format!("step {number}"),
            Self::Equipment => "equipment".to_owned(),
            Self::Cue => "cue".to_owned(),
        }
    }
}

/// Words that stand together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Piece {
    pub(super) part: Part,
    /// As people read it; `None` for an id, whose name is read instead.
    pub(super) shown: Option<String>,
    /// What is searched, value by value: no phrase runs from one into the next.
    pub(super) searched: Vec<String>,
    /// The drill it names, and the fault it is for.
    pub(super) drill: Option<[String; 2]>,
}

impl Piece {
    fn new(part: Part, text: &str) -> Self {
        let text = text.to_owned();
        Self { part, shown: Some(text.clone()), searched: vec![text], drill: None }
    }

    fn id(part: Part, id: &str) -> Self {
        Self { part, shown: None, searched: vec![id.replace('_', " ")], drill: None }
    }

    fn of_drill(self, drill: &str, fault: &str) -> Self {
        Self { drill: Some([drill, fault].map(str::to_owned)), ..self }
    }
}

/// An entry of the catalogue.
#[derive(Debug, Clone, Copy)]
pub(super) enum Entry<'c> {
    Fault(&'c Fault),
    Drill(&'c Drill),
}

/// Every entry of a catalogue, faults first; the place in this list is the entry's number in an
/// index, which is built anew when the catalogue changes.
pub(super) fn entries(catalogue: &Catalogue) -> Vec<Entry<'_>> {
    let faults = catalogue.faults().map(Entry::Fault);
    faults.chain(catalogue.drills().map(Entry::Drill)).collect()
}

/// The words of an entry; whoever shows them says `cautions` too.
pub(super) fn of_entry(
    catalogue: &Catalogue,
    entry: Entry<'_>,
    cautions: &mut Cautions,
) -> Vec<Piece> {
    match entry {
        Entry::Fault(fault) => {
            let mut pieces = vec![
                Piece::id(Part::Name, &fault.id),
                Piece::new(Part::Name, &fault.name),
                Piece::new(Part::Sees, &fault.coach_sees),
                Piece::new(Part::Cost, &fault.cost.text),
                Piece::new(Part::ToPlayer, &fault.to_player),
            ];
            pieces.extend(fault.ask.iter().map(|ask| Piece::new(Part::Question, ask)));
            pieces
        }
        Entry::Drill(drill) => {
            let main = drill.faults.first().map_or("", String::as_str);
            let shown = ShownDrill::of(catalogue, &drill.id, main);
            let text = cautions.in_full(&shown);
            let steps = (1..).zip(text.steps);
            let mut pieces =
                vec![Piece::id(Part::Name, &drill.id), Piece::new(Part::Name, &drill.name)];
            pieces.extend(steps.map(|(n, step)| Piece::new(Part::Step(n), &step.text)));
            pieces.push(Piece::new(Part::Equipment, &text.equipment.join(", ")));
            pieces.push(Piece::new(Part::Cue, text.cue));
            pieces.into_iter().map(|piece| piece.of_drill(&drill.id, main)).collect()
        }
    }
}

impl Library {
    /// The words of a case.
    pub(super) fn words_of_case(
        &self,
        catalogue: &Catalogue,
        id: CaseId,
    ) -> Result<(Case, Vec<Piece>), StoreError> {
        let case = self.case(id)?;
        let player = self.player(case.player)?;
        let mut pieces = vec![Piece::new(Part::Player, &player.code)];
        pieces.extend(case.notes.iter().map(|note| Piece::new(Part::Note, &note.text)));
        let drawn = self.words_on_pictures(id)?;
        pieces.extend(drawn.iter().map(|text| Piece::new(Part::Note, text)));
        for label in &case.labels {
            if label.state != LabelState::Rejected {
                pieces.extend(of_fault(catalogue, Part::Fault, &label.fault));
            }
            // What the program notes of its own suspicion is no word to search by.
            if label.by.is_coach() {
                pieces.extend(label.note.iter().map(|note| Piece::new(Part::FaultNote, note)));
            }
        }
        for plan in &case.plans {
            let part = Part::Plan(plan.id);
            pieces.extend(of_fault(catalogue, part, &plan.limiting_fault));
            pieces.extend(plan.note.iter().map(|note| Piece::new(Part::PlanNote(plan.id), note)));
            let reason = plan.ended.iter().flat_map(|end| &end.reason);
            pieces.extend(reason.map(|why| Piece::new(Part::PlanEnd(plan.id), why)));
            for planned in &plan.drills {
                let mut parts = vec![catalogue.drill_name(&planned.drill)];
                parts.extend(Some(planned.dose.clone()).filter(|dose| !dose.is_empty()));
                parts.extend(planned.place.map(|place| place.label().to_owned()));
                let shown = Some(parts.join(", "));
                let drill = Piece { part, shown, searched: parts, drill: None };
                pieces.extend(
                    [Piece::id(part, &planned.drill), drill]
                        .map(|p| p.of_drill(&planned.drill, &plan.limiting_fault)),
                );
            }
        }
        for follow_up in &case.follow_ups {
            let part = Part::FollowUp(follow_up.id);
            pieces.extend(follow_up.note.iter().map(|note| Piece::new(part, note)));
        }
        Ok((case, pieces))
    }
}

fn of_fault(catalogue: &Catalogue, part: Part, id: &str) -> [Piece; 2] {
    [Piece::id(part, id), Piece::new(part, &catalogue.fault_name(id))]
}
