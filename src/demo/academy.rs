//! The academy's year: who was seen when, with what, what was planned and what came of it.

use jiff::civil::Date;
use jiff::{Span, ToSpan};
use rand::Rng;

use super::scenario::{DrillTruth, Scenario, ScenarioCoach, ScenarioPlayer};
use crate::catalogue::Catalogue;
use crate::coaching::{Age, harms};
use crate::library::{
    Author, BallFlight, Case, CaseId, Consent, ConsentBy, FaultLabel, Grip, LabelState, Level,
    Misses, Plan, PlanId, PlannedDrill, Player, PlayerId, Setting,
};
use crate::motion::Recording;
use crate::simulator::Body;
use crate::simulator::Fault;
use crate::simulator::Take;
use crate::simulator::Truth;
use crate::simulator::chance::{Chance, chance, normal};
use crate::simulator::{Ask, Server};
use crate::simulator::{Sensor, SensorKind};

/// One review of one player: what was recorded, said, planned and reported that day.
///
/// Ids of players, cases and plans are 0 until a library gives them.
#[derive(Debug, Clone)]
pub struct DemoSession {
    /// The player.
    pub player: Player,
    /// The day.
    pub date: Date,
    /// What was recorded.
    pub setting: Setting,
    /// Name a file of this recording would have.
    pub file_name: String,
    /// The serves asked for, with the severities really shown.
    pub asks: Vec<Ask>,
    /// How it was recorded.
    pub sensor: Sensor,
    /// Lasting severity of each fault that day, before the day's form: the planted truth.
    pub lasting: Vec<(Fault, f64)>,
    /// What the coach named.
    pub labels: Vec<FaultLabel>,
    /// What the ball did.
    pub ball: BallFlight,
    /// Grip, where it was asked.
    pub grip: Option<Grip>,
    /// The coach's words.
    pub note: Option<String>,
    /// What was planned.
    pub plan: Option<DemoPlan>,
    /// What is recorded about the plan of the review before.
    pub answer: Option<DemoAnswer>,
    server: Server,
    seed: u64,
}

/// A plan and what it will truly do.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoPlan {
    /// The plan, ids 0.
    pub plan: Plan,
    /// Lasting severity of the limiting fault when it was made.
    pub severity: f64,
    /// What the practice takes off that severity until the next review; 0 where there is none.
    pub true_effect: f64,
}

/// A follow-up without ids; it answers the player's plan before.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoAnswer {
    /// The coach's rating, -2 to 2.
    pub rating: i8,
    /// Sessions done.
    pub sessions_done: u32,
    /// The coach's words.
    pub note: Option<String>,
}

impl DemoSession {
    /// The recording and the planted truth of each serve in it, in the recording's time.
    ///
    /// Same session, same recording. Cost: about 1 ms per serve and 5 microseconds per frame.
    #[must_use]
    pub fn record(&self) -> (Recording, Vec<Truth>) {
        let take = Take {
            serves: self.asks.iter().map(|ask| self.server.serve(ask)).collect(),
            walk_between: true,
            forehands: self.seed.is_multiple_of(5),
        };
        take.record(&self.sensor, self.seed)
    }
}

/// A player's state between reviews.
struct PlayerYear<'a> {
    player: &'a ScenarioPlayer,
    coach: &'a ScenarioCoach,
    lasting: Vec<(Fault, f64)>,
    plan: Option<DemoPlan>,
    practice: f64,
    chance: Chance,
}

impl Scenario {
    /// Every review of the year, players in the scenario's order, each player's in order of time.
    ///
    /// How it goes, so that what an estimate should find is known:
    /// - Each fault has a lasting severity. A review shows it with the day's form added, and each
    ///   serve with a little more; the coach sees the day's severity with an eye of his own.
    /// - A fault is named from `rules.named_from` on and the strongest one named gets a plan
    ///   from `rules.plan_from` on. So plans start on bad days more often than on good ones
    ///   and the next review looks better even if nothing changed (regression to the mean).
    /// - One drill, three times in ten a second one, is drawn with weights that depend on the
    ///   severity seen (confounding by where the player started).
    /// - Until the next review the lasting severity falls by the drill's true effect, drawn per
    ///   plan, times the share of the dose done, times the severity over 0.6 where it is smaller
    ///   (little is left to gain); two drills share the time and each does 0.6 of its effect.
    /// - Follow-ups go missing, more often where nothing got better.
    #[must_use]
    pub fn sessions(&self) -> Vec<DemoSession> {
        let mut all = Vec::new();
        for (number, player) in self.players.iter().enumerate() {
            let Some(coach) = self.coaches.iter().find(|coach| coach.code == player.coach) else {
                continue;
            };
            let mut course = PlayerYear {
                player,
                coach,
                lasting: player
                    .faults
                    .iter()
                    .filter_map(|(id, &severity)| Some((Fault::from_id(id)?, severity)))
                    .collect(),
                plan: None,
                practice: 0.0,
                chance: chance(self.seed, number as u64),
            };
            let server = self.server(number, player, &mut course.chance);
            for review in 0..player.review_days.len() {
                all.push(self.review(number, review, &server, &mut course));
            }
        }
        all
    }

    fn server(&self, number: usize, player: &ScenarioPlayer, chance: &mut Chance) -> Server {
        let (arms, legs) = (1.0 + 0.02 * normal(chance), 1.0 + 0.015 * normal(chance));
        let body = Body::new(player.stature_m, arms, legs);
        let seed = self.seed.wrapping_add(1000 + number as u64);
        Server::drawn(body, player.hand, player.level, seed)
    }

    fn review(
        &self,
        number: usize,
        review: usize,
        server: &Server,
        course: &mut PlayerYear<'_>,
    ) -> DemoSession {
        let rules = &self.rules;
        let player = course.player;
        let date = self.day(player.review_days[review]);
        let answer = if review > 0 { self.month(course) } else { None };
        let chance = &mut course.chance;

        let day: Vec<(Fault, f64)> = course
            .lasting
            .iter()
            .map(|&(fault, lasting)| {
                let form = rules.day_spread * normal(chance);
                (fault, (lasting + form).clamp(0.0, 1.0))
            })
            .collect();
        let asks: Vec<Ask> = (0..player.serves)
            .map(|serve| Ask {
                faults: day
                    .iter()
                    .map(|&(fault, shown)| {
                        let now = shown + rules.serve_spread * normal(chance);
                        (fault, now.clamp(0.0, 1.0))
                    })
                    .filter(|each| each.1 > 0.02)
                    .collect(),
                serve_type: player.serve_type,
                session: review as u64,
                serve: serve as u64,
                variation: 1.0,
            })
            .collect();
        let mut labels: Vec<FaultLabel> = day
            .iter()
            .filter_map(|&(fault, shown)| {
                let seen = shown + course.coach.leaning + course.coach.spread * normal(chance);
                (seen >= rules.named_from).then(|| FaultLabel {
                    fault: fault.id().to_owned(),
                    state: LabelState::Added,
                    severity: (seen.clamp(0.0, 1.0) * 20.0).round() / 20.0,
                    by: Author::Coach(course.coach.code.clone()),
                    note: None,
                })
            })
            .collect();
        labels.sort_by(|a, b| b.severity.total_cmp(&a.severity));
        let last = review + 1 == player.review_days.len();
        let plan =
            labels.first().filter(|label| label.severity >= rules.plan_from).and_then(|label| {
                let held =
                    Case { labels: labels.clone(), ..Case::new(CaseId(0), PlayerId(0), date) };
                self.prescribe(label, &held, course.coach, &course.lasting, chance)
            });
        let ball = ball_flight(player, &day, chance);
        let grip = (review == 0)
            .then(|| Grip { index_knuckle: Some(2), heel_pad: Some(chance.gen_range(1..=2)) });
        let note = note(&labels, &day, player, chance);
        let mut sensor = Sensor {
            rate_hz: player.sensor.rate_hz,
            net_heading_deg: 20.0 * normal(chance),
            origin_m: [0.5 * normal(chance), 0.5 * normal(chance)],
            ..Sensor::usual(player.sensor.kind)
        };
        if player.sensor.kind == SensorKind::Depth {
            sensor.net_heading_deg += 180.0;
        }
        course.plan = if last { None } else { plan.clone() };
        course.practice = chance.gen_range(rules.least_practice..=rules.most_practice);
        if let Some(plan) = &mut course.plan {
            plan.true_effect *= course.practice;
        }
        DemoSession {
            player: self.library_player(player),
            date,
            // The same at every review of a player, or before and after could not be compared.
            setting: if number % 5 == 4 { Setting::BallNoTarget } else { Setting::Target },
            file_name: format!("{}-{date}", player.code),
            asks,
            sensor,
            lasting: course.lasting.clone(),
            labels,
            ball,
            grip,
            note,
            plan: match (&course.plan, plan) {
                (Some(practised), _) => Some(practised.clone()),
                (None, Some(unanswered)) => Some(DemoPlan { true_effect: 0.0, ..unanswered }),
                (None, None) => None,
            },
            answer,
            server: server.clone(),
            seed: self.seed ^ ((number as u64) << 16) ^ review as u64,
        }
    }

    /// A month passes: drift, practice, and what is recorded about it.
    fn month(&self, course: &mut PlayerYear<'_>) -> Option<DemoAnswer> {
        let rules = &self.rules;
        let chance = &mut course.chance;
        for (_, severity) in &mut course.lasting {
            *severity = (*severity + rules.drift_spread * normal(chance)).clamp(0.0, 1.0);
        }
        let plan = course.plan.take()?;
        let fault = Fault::from_id(&plan.plan.limiting_fault)?;
        let worked = course.lasting.iter_mut().find(|each| each.0 == fault)?;
        worked.1 = (worked.1 - plan.true_effect).max(0.0);
        let better = plan.true_effect;
        let missing = rules.missing_follow_up
            + if better < 0.05 { rules.missing_when_no_better } else { 0.0 };
        if chance.gen_bool(missing.clamp(0.0, 1.0)) {
            return None;
        }
        let felt = better + 0.08 * normal(chance);
        let rating = if felt > 0.25 {
            2
        } else if felt > 0.08 {
            1
        } else if felt > -0.10 {
            0
        } else {
            -1
        };
        let words = ["worse than before", "no change seen", "a little better", "clearly better"];
        Some(DemoAnswer {
            rating,
            sessions_done: (course.practice * 16.0).round() as u32,
            note: Some(words[(rating + 1) as usize].to_owned()),
        })
    }

    fn prescribe(
        &self,
        label: &FaultLabel,
        held: &Case,
        coach: &ScenarioCoach,
        lasting: &[(Fault, f64)],
        chance: &mut Chance,
    ) -> Option<DemoPlan> {
        let fault = Fault::from_id(&label.fault)?;
        let severity = lasting.iter().find(|each| each.0 == fault)?.1;
        // Nobody here prescribes what makes another fault of the player's worse.
        let safe = |truth: &&DrillTruth| {
            let drill = Catalogue::builtin().drill(&truth.drill);
            drill.is_some_and(|drill| harms(drill, held, &label.fault).is_none())
        };
        let of_fault = self.drills.iter().filter(|drill| drill.fault == label.fault);
        let mut open: Vec<&DrillTruth> = of_fault.filter(safe).collect();
        let count = if chance.gen_bool(0.3) { 2 } else { 1 };
        let share = if count == 2 { 0.6 } else { 1.0 };
        let room = (severity / 0.6).min(1.0);
        let strong = ((label.severity - 0.35) / 0.40).clamp(0.0, 1.0);
        let (mut drills, mut effect) = (Vec::new(), 0.0);
        for _ in 0..count {
            let weight = |drill: &DrillTruth| drill.mild + strong * (drill.severe - drill.mild);
            let total: f64 = open.iter().map(|drill| weight(drill)).sum();
            if total <= 0.0 {
                break;
            }
            let mut at = chance.gen_range(0.0..total);
            let chosen = open
                .iter()
                .position(|drill| {
                    at -= weight(drill);
                    at < 0.0
                })
                .unwrap_or(open.len() - 1);
            let drill = open.remove(chosen);
            effect += share * room * (drill.effect + drill.spread * normal(chance)).max(0.0);
            drills.push(PlannedDrill {
                drill: drill.drill.clone(),
                dose: ["3 x 10, four days a week", "2 x 15, three days a week"]
                    [chance.gen_range(0..2)]
                .to_owned(),
                place: None,
            });
        }
        if drills.is_empty() {
            return None;
        }
        Some(DemoPlan {
            plan: Plan {
                id: PlanId(0),
                case: CaseId(0),
                limiting_fault: label.fault.clone(),
                drills,
                start: held.date,
                review_on: held.date.checked_add(30.days()).ok(),
                coach: Some(coach.code.clone()),
                note: None,
                ended: None,
            },
            severity,
            true_effect: effect,
        })
    }

    fn day(&self, days: i64) -> Date {
        self.first_day.saturating_add(Span::new().days(days))
    }

    fn library_player(&self, player: &ScenarioPlayer) -> Player {
        Player {
            id: PlayerId(0),
            code: player.code.clone(),
            name: None,
            hand: Some(player.hand),
            level: Some(player.level),
            born: Some(player.born),
            stature_m: Some(player.stature_m),
            squads: player.squads.clone(),
            coach: Some(player.coach.clone()),
            consent: Consent {
                keep: true,
                share: true,
                date: Some(self.first_day),
                by: Some(match Age::on(self.first_day, Some(player.born)) {
                    Age::Adult => ConsentBy::Player,
                    Age::Junior | Age::Unknown => ConsentBy::Guardian,
                }),
            },
        }
    }
}

/// Speed in km/h, first serves in and misses. Speeds by level follow the published medians of
/// juniors and professionals (R098 to R104) downwards; what faults cost is ours.
fn ball_flight(player: &ScenarioPlayer, day: &[(Fault, f64)], chance: &mut Chance) -> BallFlight {
    let (speed, certain) = match player.level {
        Level::Beginner => (92.0, 44.0),
        Level::Club => (122.0, 52.0),
        Level::Competition => (146.0, 57.0),
        Level::National => (165.0, 60.0),
        Level::Professional => (180.0, 62.0),
    };
    let mut speed = speed * (0.6 + 0.4 * player.stature_m / 1.75);
    let (mut certain, mut net, mut long, mut wide) = (certain, 3.0, 3.0, 3.0);
    for &(fault, shown) in day {
        let (slower, fewer) = match fault {
            Fault::ShallowLegDrive | Fault::NoTurnAfterContact => (14.0, 3.0),
            Fault::LowContact | Fault::TossBehind | Fault::TossLow => (9.0, 10.0),
            Fault::TrunkOpensEarly | Fault::LowHittingElbow | Fault::LateLegDrive => (10.0, 6.0),
            Fault::WaitersTray | Fault::LumbarArch => (1.0, 3.0),
            _ => (5.0, 7.0),
        };
        speed -= slower * shown;
        certain -= fewer * shown;
        match fault {
            Fault::LowContact | Fault::TossLow | Fault::CollapsedFrontKnee => net += 5.0 * shown,
            Fault::TossBehind | Fault::LumbarArch | Fault::WaitersTray => long += 5.0 * shown,
            _ => wide += 2.0 * shown,
        }
    }
    let count = |mean: f64, chance: &mut Chance| (mean + normal(chance)).round().max(0.0) as u32;
    BallFlight {
        speed_kmh: Some((speed + 3.0 * normal(chance)).round()),
        first_serve_pct: Some((certain + 4.0 * normal(chance)).clamp(10.0, 90.0).round()),
        misses: Some(Misses {
            net: count(net, chance),
            long: count(long, chance),
            wide: count(wide, chance),
        }),
    }
}

fn note(
    labels: &[FaultLabel],
    day: &[(Fault, f64)],
    player: &ScenarioPlayer,
    chance: &mut Chance,
) -> Option<String> {
    const CALM: [&str; 3] = [
        "Looks settled; keep the rhythm.",
        "Nothing that needs a plan today.",
        "Good day, easy swing.",
    ];
    const BUSY: [&str; 4] = [
        "Works hard, wants speed first.",
        "Tired after a tournament week, ask about the shoulder.",
        "Understands the cue, loses it under pressure.",
        "First balls fine, second serves fall back.",
    ];
    if labels.is_empty() && day.iter().all(|each| each.1 < 0.3) {
        return Some(CALM[chance.gen_range(0..CALM.len())].to_owned());
    }
    let about = BUSY[chance.gen_range(0..BUSY.len())];
    chance.gen_bool(0.6).then(|| format!("{about} {} serves filmed.", player.serves))
}
