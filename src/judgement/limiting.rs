use std::collections::BTreeMap;

use serde::Serialize;

use super::Sight;
use crate::catalogue::{Catalogue, Fault, Miss, describe_chance};
use crate::coaching::Age;
use crate::evidence::Improvement;
use crate::library::{FaultLabel, Grip, LabelState, Misses};
use crate::words::{count, lower_first};

/// A fault this weak does not stand before what commonly follows from it.
const PRESENT: f64 = 0.35;
/// From this severity on a second fault is worth a plan of its own; a coach's word is always.
const SECOND: f64 = 0.5;
/// Share of what follows from a fault that fixing it may take along.
const TAKES_ALONG: f64 = 0.5;
/// Players without news: a share seen among few is pulled towards one half by this many.
const DOUBT: f64 = 4.0;
/// Of fewer players no share is told.
const FEW: usize = 3;
/// Fewer misses than this tell nothing.
const LEAST_MISSES: u32 = 4;

/// A fault that stands in the case, with what is known about it.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenFault {
    /// The label that counts: a coach's before the program's.
    pub label: FaultLabel,
    /// How many players with it improved under a plan for it; `None` where nobody can be counted.
    pub improvement: Option<Improvement>,
    /// With or without the ball.
    pub sight: Sight,
    /// How likely it has begun, by what the day's serves show; `None` where nothing shows it.
    pub chance: Option<f64>,
}

/// What else weighs, beside the faults themselves.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Circumstances<'a> {
    /// How old the player was on the day; unknown counts as a junior's, and says so.
    pub age: Age,
    /// Grip as answered.
    pub grip: Option<Grip>,
    /// Where misses went, as reported.
    pub misses: Option<Misses>,
    /// Fault of the coach's plan, if there is one.
    pub planned: Option<&'a str>,
}

/// Who settled on the limiting fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Chosen {
    /// The program, by the order it explains.
    Program,
    /// The coach said where to begin.
    Coach,
    /// The coach's plan works on it.
    Plan,
}

/// One fault in the order, with its reasons.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// Catalogue id.
    pub fault: String,
    /// Its name.
    pub name: String,
    /// Two sentences to the player: what it costs, and why it comes where it comes.
    pub why: String,
    /// For the coach, one short sentence for each thing that weighed.
    pub reasons: Vec<String>,
    /// What it weighs, for the order alone; comparable within one judgement only.
    pub weight: f64,
    /// With or without the ball.
    pub sight: Sight,
}

/// The limiting fault and everything after it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judgement {
    /// All faults that stand, the limiting one first; empty if none does.
    pub order: Vec<Judged>,
    /// Place in `order` of a second fault whose plan goes with the first.
    pub second: Option<usize>,
    /// Who settled on the first.
    pub chosen: Chosen,
    /// Name of the fault the program would have begun with, where the coach chose another.
    pub program_first: Option<String>,
}

/// Orders the faults of one case; the first is the limiting fault.
///
/// A coach's choice (label or, without one, the plan) comes first whatever the rest says. The
/// others are ordered by what they weigh: severity (a coach's word counts one and a half times a
/// suspicion, and a suspicion by its chance) times cost (speed, consistency and load, load one and a half times for a junior and
/// where the age is not known), up
/// to a quarter more or less by how many players improved with a plan for it (few players say
/// little, one or two nothing), a quarter more where most misses go where it sends them, a little more where the
/// practice swing has it too, and half of what commonly follows from it. Then nothing stands
/// before a fault that commonly causes it, if that is clearly there. Equal weights: catalogue ids.
///
/// A second fault is named only if the catalogue says that its plan goes with the first's, its cure
/// does not pull the other way, and neither causes the other. Cost: square in the number of faults.
#[must_use]
pub fn weigh(catalogue: &Catalogue, seen: &[OpenFault], setting: &Circumstances<'_>) -> Judgement {
    let mut all: Vec<Weighed<'_>> =
        seen.iter().map(|seen| Weighed::of(catalogue, seen, setting)).collect();
    let own: BTreeMap<&str, f64> =
        all.iter().map(|one| (one.seen.label.fault.as_str(), one.weight)).collect();
    for one in &mut all {
        let id = one.seen.label.fault.as_str();
        let follow: Vec<&OpenFault> =
            seen.iter().filter(|other| causes(catalogue, id, &other.label.fault)).collect();
        one.weight += TAKES_ALONG * follow.iter().map(|o| own[o.label.fault.as_str()]).sum::<f64>();
        one.follow = follow.iter().map(|other| catalogue.fault_name(&other.label.fault)).collect();
    }
    all.sort_by(|a, b| {
        b.weight.total_cmp(&a.weight).then(a.seen.label.fault.cmp(&b.seen.label.fault))
    });
    let mut order: Vec<Weighed<'_>> = Vec::new();
    while !all.is_empty() {
        let at = root(catalogue, &all);
        order.push(all.remove(at));
    }
    let program = order.first().map(|one| one.seen.label.fault.clone());
    let chosen = chosen(&order, setting);
    if let Some((at, _)) = chosen {
        order[..=at].rotate_right(1);
    }
    let second = second(catalogue, &order);
    let first = order.first().map(|one| one.seen.label.fault.clone());
    let alone = order.len() == 1;
    Judgement {
        program_first: program
            .filter(|program| first.as_ref() != Some(program))
            .map(|program| catalogue.fault_name(&program)),
        chosen: chosen.map_or(Chosen::Program, |(_, by)| by),
        second,
        order: order
            .iter()
            .enumerate()
            .map(|(at, one)| one.judged(catalogue, setting, at == 0, alone))
            .collect(),
    }
}

/// Where the walk from the heaviest fault to what commonly causes it ends.
fn root(catalogue: &Catalogue, all: &[Weighed<'_>]) -> usize {
    let mut at = 0;
    let mut met = vec![false; all.len()];
    loop {
        met[at] = true;
        let here = &all[at].seen.label;
        let cause = all.iter().enumerate().position(|(other, one)| {
            let label = &one.seen.label;
            !met[other]
                && label.severity >= PRESENT.max(0.5 * here.severity)
                && one.seen.sight != Sight::OnlySwing
                && causes(catalogue, &label.fault, &here.fault)
        });
        match cause {
            Some(cause) => at = cause,
            None => return at,
        }
    }
}

/// The coach's choice: a label that says so, or else the plan's fault.
fn chosen(order: &[Weighed<'_>], setting: &Circumstances<'_>) -> Option<(usize, Chosen)> {
    let said = order.iter().position(|one| one.seen.label.state == LabelState::Limiting);
    let planned = || {
        let plan = setting.planned?;
        order.iter().position(|one| one.seen.label.fault == plan)
    };
    said.map(|at| (at, Chosen::Coach)).or_else(|| planned().map(|at| (at, Chosen::Plan)))
}

fn second(catalogue: &Catalogue, order: &[Weighed<'_>]) -> Option<usize> {
    let first = &order.first()?.seen.label.fault;
    order.iter().enumerate().skip(1).find_map(|(at, one)| {
        let label = &one.seen.label;
        let other = &label.fault;
        let fits = catalogue.go_together(first, other) == Some(true)
            && catalogue.opposed(first, other) == Some(false)
            && !causes(catalogue, first, other)
            && !causes(catalogue, other, first)
            && one.seen.sight != Sight::OnlySwing
            && (label.severity >= SECOND || label.state != LabelState::Suspected);
        fits.then_some(at)
    })
}

/// Whether `cause` is among what the catalogue says commonly causes `fault`.
fn causes(catalogue: &Catalogue, cause: &str, fault: &str) -> bool {
    catalogue.fault(fault).is_some_and(|fault| fault.upstream.iter().any(|known| known == cause))
}

struct Weighed<'a> {
    seen: &'a OpenFault,
    fault: Option<&'a Fault>,
    weight: f64,
    /// Most misses go where this sends them: (where, of them, of how many).
    misses: Option<(Miss, u32, u32)>,
    /// Names of faults that stand too and commonly follow from it.
    follow: Vec<String>,
}

impl<'a> Weighed<'a> {
    fn of(catalogue: &'a Catalogue, seen: &'a OpenFault, setting: &Circumstances<'_>) -> Self {
        let fault = catalogue.fault(&seen.label.fault);
        let load = if setting.age.counts_as_junior() { 1.5 } else { 1.0 };
        let cost = fault.map_or(1.0, |fault| {
            1.0 + f64::from(fault.cost.speed + fault.cost.consistency)
                + load * f64::from(fault.cost.load)
        });
        let word = match seen.label.state {
            LabelState::Suspected => seen.chance.unwrap_or(1.0),
            _ => 1.5,
        };
        let misses = fault.and_then(|fault| sent(fault, setting.misses?));
        let mut weight = seen.label.severity * word * cost;
        if let Some(improvement) = seen.improvement.as_ref().filter(|one| one.players >= FEW) {
            weight *= 0.75 + 0.5 * doubted(improvement);
        }
        if misses.is_some() {
            weight *= 1.25;
        }
        match seen.sight {
            Sight::Both => weight *= 1.1,
            Sight::OnlySwing => weight *= 0.5,
            Sight::OnlyBall | Sight::Unknown => {}
        }
        Self { seen, fault, weight, misses, follow: Vec::new() }
    }

    fn judged(
        &self,
        catalogue: &Catalogue,
        setting: &Circumstances<'_>,
        first: bool,
        alone: bool,
    ) -> Judged {
        let because = self.because(alone);
        let cost = self.fault.map_or("", |fault| fault.cost.text.as_str());
        Judged {
            fault: self.seen.label.fault.clone(),
            name: catalogue.fault_name(&self.seen.label.fault),
            why: if first {
                format!("{cost} {because}").trim().to_owned()
            } else {
                cost.to_owned()
            },
            reasons: self.reasons(catalogue, setting),
            weight: self.weight,
            sight: self.seen.sight,
        }
    }

    /// Why it comes first, to the player.
    fn because(&self, alone: bool) -> String {
        if let Some(follows) = self.follow.first() {
            return format!(
                "It comes first because it commonly leads to something else we saw: {}.",
                lower_first(follows)
            );
        }
        if let Some((side, count, all)) = self.misses {
            return format!(
                "{count} of {all} misses went {}, which is where it sends the ball.",
                side.label()
            );
        }
        match self.seen.sight {
            Sight::OnlyBall => {
                return "Your swing without the ball does not show it, so you can already make \
                        the movement."
                    .to_owned();
            }
            Sight::Both => {
                return "It shows in your practice swings too, so it can be learned without a \
                        ball."
                    .to_owned();
            }
            Sight::Unknown | Sight::OnlySwing => {}
        }
        if let Some(improvement) = &self.seen.improvement
            && improvement.low > 0.5
        {
            return format!(
                "Of {} players who worked on it, most got clearly better.",
                improvement.players
            );
        }
        if alone {
            "Nothing else stood out.".to_owned()
        } else {
            "Of everything that stood out, fixing this should lift your serve most.".to_owned()
        }
    }

    fn reasons(&self, catalogue: &Catalogue, setting: &Circumstances<'_>) -> Vec<String> {
        let label = &self.seen.label;
        let mut reasons = Vec::new();
        reasons.push(match label.state {
            LabelState::Suspected => match self.seen.chance {
                Some(chance) => format!(
                    "Strength {:.2} of 1, as the program sees it; chance that it is there at all: \
                     {}.",
                    label.severity,
                    describe_chance(chance)
                ),
                None => format!("Strength {:.2} of 1, as the program sees it.", label.severity),
            },
            LabelState::Confirmed => {
                format!("Strength {:.2} of 1, confirmed by {}.", label.severity, label.by)
            }
            LabelState::Limiting => {
                format!("{} would start with it; strength {:.2} of 1.", label.by, label.severity)
            }
            LabelState::Added | LabelState::Rejected if label.severity > 0.0 => {
                format!("Strength {:.2} of 1, seen by {}.", label.severity, label.by)
            }
            LabelState::Added | LabelState::Rejected => "The plan works on it.".to_owned(),
        });
        if let Some(fault) = self.fault {
            let cost = &fault.cost;
            let mut text = format!(
                "Cost in speed: {}; in consistency: {}; load on the body: {}",
                much(cost.speed),
                much(cost.consistency),
                much(cost.load)
            );
            if cost.load > 0 {
                text.push_str(match setting.age {
                    Age::Junior => "; load counts for more in a junior",
                    Age::Unknown => "; the age is not known, so load counts as in a junior",
                    Age::Adult => "",
                });
            }
            reasons.push(format!("{text}."));
        }
        if !self.follow.is_empty() {
            reasons.push(format!("It often leads to: {}.", self.follow.join(", ")));
        }
        if let Some((side, count, all)) = self.misses {
            reasons.push(format!(
                "{count} of {all} misses went {}, where it sends them.",
                side.label()
            ));
        }
        reasons.push(match &self.seen.improvement {
            None => "No player with a plan for it has been seen again yet.".to_owned(),
            Some(improvement) if improvement.players < FEW => {
                format!("{} with a plan for it: too few to say.", count(improvement.players, "player"))
            }
            Some(improvement) => format!(
                "{} with a plan for it: {:.0} % improved beyond chance (90 % interval {:.0} to {:.0}).",
                count(improvement.players, "player"),
                100.0 * improvement.improved,
                100.0 * improvement.low,
                100.0 * improvement.high
            ),
        });
        reasons.extend(self.seen.sight.advice().map(str::to_owned));
        if let Some(question) = self.open_question(catalogue, setting) {
            reasons.push(format!("Not asked yet, and it may be the cause: {question}"));
        }
        reasons
    }

    /// The question about the grip that lies upstream and is still open.
    fn open_question<'c>(
        &self,
        catalogue: &'c Catalogue,
        setting: &Circumstances<'_>,
    ) -> Option<&'c str> {
        self.fault?.upstream.iter().filter_map(|id| catalogue.fault(id)).find_map(|cause| {
            let answers = cause.answers.as_ref()?;
            let grip = setting.grip;
            let open = (!answers.index_knuckle.is_empty()
                && grip.and_then(|grip| grip.index_knuckle).is_none())
                || (!answers.heel_pad.is_empty() && grip.and_then(|grip| grip.heel_pad).is_none());
            open.then_some(cause.ask.as_deref()).flatten()
        })
    }
}

/// Where more than half of the misses went, if the fault sends them there.
fn sent(fault: &Fault, misses: Misses) -> Option<(Miss, u32, u32)> {
    let all = misses.net + misses.long + misses.wide;
    let count = |side: Miss| match side {
        Miss::Net => misses.net,
        Miss::Long => misses.long,
        Miss::Wide => misses.wide,
    };
    let side = fault.misses.iter().copied().find(|&side| 2 * count(side) > all)?;
    (all >= LEAST_MISSES).then_some((side, count(side), all))
}

/// The share that improved, pulled towards one half the fewer there were.
fn doubted(improvement: &Improvement) -> f64 {
    let n = improvement.effective;
    (improvement.improved * n + 0.5 * DOUBT) / (n + DOUBT)
}

fn much(cost: u8) -> &'static str {
    ["none", "low", "medium", "high"][usize::from(cost.min(3))]
}
