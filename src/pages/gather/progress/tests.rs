//! Planted truth: invented serves in which a fault was made weaker, or was left alone.

use jiff::civil::{Date, date};
use tempfile::TempDir;

use super::course;
use crate::catalogue::Catalogue;
use crate::library::{
    BallFlight, FollowUp, FollowUpId, Level, Library, Misses, NewRecording, Plan, PlanId,
    PlannedDrill, Player, PlayerId, ServeId, Setting,
};
use crate::looks::describe_change;
use crate::motion::Side;
use crate::pages::{CourseStep, PlayerCourse, progress_page};
use crate::serve::{FindOptions, find};
use crate::simulator::{Ask, Body, Fault, Sensor, SensorKind, Server, record_serve};
use crate::words::Interface;
use crate::work::Watch;

struct Academy {
    _folder: TempDir,
    library: Library,
    player: PlayerId,
    taken: u64,
}

impl Academy {
    fn new() -> Self {
        let folder = TempDir::new().unwrap();
        let mut library = Library::create(folder.path().join("lib")).unwrap();
        let player = library.add_player(&Player::new("dunlin")).unwrap();
        Self { _folder: folder, library, player, taken: 0 }
    }

    /// `count` serves of a day with straight legs of this severity.
    fn day(&mut self, day: Date, severity: f64, setting: Setting, count: u64) -> Vec<ServeId> {
        self.film(day, severity, setting, SensorKind::Markers, count)
    }

    fn film(
        &mut self,
        day: Date,
        severity: f64,
        setting: Setting,
        sensor: SensorKind,
        count: u64,
    ) -> Vec<ServeId> {
        let server = Server::drawn(Body::new(1.68, 1.0, 1.0), Side::Right, Level::Club, 3);
        let mut stored = Vec::new();
        for _ in 0..count {
            self.taken += 1;
            let ask = Ask {
                faults: vec![(Fault::ShallowLegDrive, severity)],
                serve: self.taken,
                ..Ask::default()
            };
            let (recording, _) =
                record_serve(&server.serve(&ask), &Sensor::usual(sensor), self.taken);
            let found = find(&recording, &FindOptions::default());
            assert_eq!(found.serves.len(), 1, "serve {}: {:?}", self.taken, found.refused);
            let added = self
                .library
                .add_recording(&NewRecording {
                    player: self.player,
                    file_name: "x.c3d",
                    content_hash: &format!("{}", self.taken),
                    date: day,
                    setting: Some(setting),
                    serve_type: None,
                    recording: &recording,
                    serves: &found.serves,
                })
                .unwrap();
            stored.extend(added.serves);
        }
        stored
    }

    fn plan(&mut self, day: Date) -> PlanId {
        let case = self.library.cases(Some(self.player)).unwrap();
        let case = case.into_iter().find(|case| case.date == day).unwrap();
        let ball = BallFlight {
            speed_kmh: Some(131.0),
            misses: Some(Misses { net: 7, long: 2, wide: 1 }),
            ..BallFlight::default()
        };
        self.library.write(|w| w.set_ball(case.id, &ball)).unwrap();
        let drill = Catalogue::builtin().drills_for("shallow_leg_drive")[0].id.clone();
        self.library
            .add_plan(&Plan {
                id: PlanId(0),
                case: case.id,
                limiting_fault: "shallow_leg_drive".to_owned(),
                drills: vec![PlannedDrill { drill, dose: "3 x 8".to_owned(), place: None }],
                start: day,
                review_on: None,
                coach: None,
                note: None,
                ended: None,
            })
            .unwrap()
    }

    fn follow_up(&mut self, plan: PlanId, day: Date, serves: Vec<ServeId>) {
        let ball = BallFlight {
            speed_kmh: Some(137.0),
            misses: Some(Misses { net: 4, long: 2, wide: 1 }),
            ..BallFlight::default()
        };
        self.library
            .add_follow_up(&FollowUp {
                id: FollowUpId(0),
                plan,
                date: day,
                serves,
                ball,
                rating: Some(1),
                sessions_done: Some(12),
                note: None,
            })
            .unwrap();
    }

    fn course(&self) -> PlayerCourse {
        course(&self.library, Catalogue::builtin(), self.player, &Watch::default()).unwrap()
    }

    fn steps(&self) -> Vec<CourseStep> {
        self.course().steps
    }
}

const MARCH: Date = date(2026, 3, 2);
const APRIL: Date = date(2026, 4, 6);

#[test]
fn a_cured_fault_is_beyond_chance_and_an_uncured_one_within() {
    let mut academy = Academy::new();
    academy.day(MARCH, 1.0, Setting::Target, 3);
    let plan = academy.plan(MARCH);
    let later = academy.day(APRIL, 0.0, Setting::Target, 3);
    academy.follow_up(plan, APRIL, later);
    let steps = academy.steps();
    let [step] = steps.as_slice() else { panic!("{} steps", steps.len()) };
    let main = step.main.as_ref().unwrap();
    assert_eq!((main.before.serves, main.after.serves), (3, 3));
    assert_eq!(main.better(), Some(true), "{}", describe_change(main));
    assert!(describe_change(main).contains("beyond what chance and measuring error would give"));
    let curves = step.curves.as_ref().unwrap();
    let within = curves.within_before.unwrap().max(curves.within_after.unwrap());
    assert!(curves.between > within, "{curves:?}");
    let knee = curves.moved.iter().find(|one| one.name == "front_knee_flexion");
    assert!(knee.is_some_and(|one| one.by > 0.0 && one.direction == "more bent"), "{curves:?}");
    let result = |name| step.results.iter().find(|one| one.name == name).unwrap();
    assert_eq!((result("speed_kmh").before, result("speed_kmh").after), (Some(131.0), Some(137.0)));
    assert_eq!((result("net").before, result("net").after), (Some(7.0), Some(4.0)));
    assert_eq!((result("rating").after, result("sessions").after), (Some(1.0), Some(12.0)));

    let page = progress_page(&academy.course(), Interface::Terminal);
    for said in
        ["better by", "Solid: the later serve", "3 earlier", "12 sessions done", "clinician"]
    {
        assert!(page.contains(said), "{said}");
    }
    for outside in ["src=\"http", "href=\"http", "url(http", "@import", "<script"] {
        assert!(!page.contains(outside), "{outside}");
    }

    // Left alone: the same fault a month later.
    let mut academy = Academy::new();
    academy.day(MARCH, 0.8, Setting::Target, 3);
    academy.plan(MARCH);
    academy.day(APRIL, 0.8, Setting::Target, 3);
    let steps = academy.steps();
    let main = steps[0].main.as_ref().unwrap();
    assert!(!main.beyond(), "{}", describe_change(main));
    assert!(describe_change(main).contains("within what chance and measuring error would give"));
    assert!(steps[0].notes[0].contains("No follow-up is recorded"), "{:?}", steps[0].notes);
}

#[test]
fn like_is_held_against_like_only() {
    // A practice swing with straight legs and serves that kept the fault: pooled, the swings of
    // the later day would look like a cure.
    let mut academy = Academy::new();
    academy.day(MARCH, 0.9, Setting::Target, 2);
    academy.plan(MARCH);
    academy.day(APRIL, 0.9, Setting::Target, 2);
    academy.day(APRIL, 0.0, Setting::PracticeSwing, 3);
    let steps = academy.steps();
    let step = &steps[0];
    let after = step.after.as_ref().unwrap();
    assert_eq!((after.serves.len(), after.of), (2, 5));
    assert!(!step.main.as_ref().unwrap().beyond(), "{:?}", step.main);
    let said = step.notes.iter().any(|note| note.contains("2 of 5 serves after"));
    assert!(said, "{:?}", step.notes);

    // Nothing alike: said, and no measure is compared.
    for (setting, sensor, why) in [
        (Setting::PracticeSwing, SensorKind::Markers, "practice swing after"),
        (Setting::Target, SensorKind::Depth, "depth sensor after"),
    ] {
        let mut academy = Academy::new();
        academy.day(MARCH, 0.9, Setting::Target, 2);
        academy.plan(MARCH);
        academy.film(APRIL, 0.0, setting, sensor, 2);
        let steps = academy.steps();
        assert!(steps[0].main.is_none() && steps[0].others.is_empty() && steps[0].curves.is_none());
        assert!(steps[0].notes.iter().any(|note| note.contains(why)), "{:?}", steps[0].notes);
    }
}

#[test]
fn what_is_not_followed_up_is_said_and_so_is_a_first_review() {
    let mut academy = Academy::new();
    academy.day(MARCH, 0.9, Setting::Target, 1);
    assert!(academy.steps().is_empty());
    academy.plan(MARCH);
    let steps = academy.steps();
    assert!(steps.len() == 1 && steps[0].after.is_none());
    let page = progress_page(&academy.course(), Interface::Terminal);
    assert!(page.contains("Not followed up yet"));
    // One serve a day shows no spread, so no channel is said to have moved.
    academy.day(APRIL, 0.0, Setting::Target, 1);
    let curves = academy.steps()[0].curves.clone().unwrap();
    assert_eq!((curves.channels, curves.moved.len(), curves.within_before), (0, 0, None));
}

/// The claim behind "once in twenty": with nothing changed, few of all the measures of many
/// players are called changed.
#[test]
fn nothing_planted_little_claimed() {
    let (mut claimed, mut compared) = (0, 0);
    let mut academy = Academy::new();
    for month in 1..=5 {
        academy.day(date(2025, month, 3), 0.4, Setting::Target, 3);
        academy.plan(date(2025, month, 3));
    }
    for step in academy.steps() {
        claimed += step.others.iter().filter(|moved| moved.beyond()).count();
        compared += step.others.len();
    }
    assert!(compared > 100, "{compared}");
    assert!(claimed * 10 <= compared, "{claimed} of {compared} with nothing planted");
}
