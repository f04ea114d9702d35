//! From a library to rows: who counts, for what, and how much. Players and numbers are invented.

use jiff::civil::{Date, date};
use tempfile::TempDir;

use crate::catalogue::Catalogue;
use crate::evidence::{Evidence, Followings, Row, Unseen};
use crate::library::tests::made;
use crate::library::{
    Author, BallFlight, CaseId, FaultLabel, FollowUp, FollowUpId, LabelState, Library,
    NewRecording, Plan, PlanId, PlannedDrill, PlayerId, ServeId,
};
use crate::looks::Snapshot;
use crate::matcher::Subject;
use crate::serve::{Reading, ServeReading};
use crate::work::Watch;

/// Followed by the bend of the front knee at trophy in degrees; more is better.
const FAULT: &str = "shallow_leg_drive";
const DRILL: &str = "land_inside";

struct Desk {
    _folder: TempDir,
    library: Library,
    hash: u32,
}

impl Desk {
    fn new() -> Self {
        let folder = TempDir::new().unwrap();
        let library = Library::create(folder.path().join("library")).unwrap();
        Self { _folder: folder, library, hash: 0 }
    }

    fn player(&mut self, code: &str) -> PlayerId {
        let player = made::player(code);
        self.library.write(|writer| writer.add_player(&player)).unwrap()
    }

    /// One serve with the curve of `style` and this bend of the knee.
    fn look(&mut self, player: PlayerId, day: Date, style: u32, bend: f64) -> (CaseId, ServeId) {
        self.hash += 1;
        let mut serve = made::serve(style);
        serve.readings = vec![ServeReading {
            measure: "front_knee_flexion_trophy".to_owned(),
            reading: Reading::Value { value: bend, trust: 0.9, give_or_take: 2.0 },
        }];
        let added = self
            .library
            .add_recording(&NewRecording {
                player,
                file_name: "x.csv",
                content_hash: &made::hash(self.hash),
                date: day,
                setting: None,
                serve_type: None,
                recording: &made::recording(1),
                serves: &[serve],
            })
            .unwrap();
        (added.case, added.serves[0])
    }

    fn label(&mut self, case: CaseId, by: &str, state: LabelState) {
        let label = FaultLabel {
            fault: FAULT.to_owned(),
            state,
            severity: 0.6,
            by: Author::from_text(by),
            note: None,
        };
        self.library.write(|writer| writer.set_label(case, &label)).unwrap();
    }

    fn plan(&mut self, case: CaseId, start: Date) -> PlanId {
        let plan = Plan {
            id: PlanId(0),
            case,
            limiting_fault: FAULT.to_owned(),
            drills: vec![PlannedDrill {
                drill: DRILL.to_owned(),
                dose: "3 x 8".to_owned(),
                place: None,
            }],
            start,
            review_on: None,
            coach: Some("ash".to_owned()),
            note: None,
            ended: None,
        };
        self.library.write(|writer| writer.add_plan(&plan)).unwrap()
    }

    fn follow_up(&mut self, plan: PlanId, day: Date, serve: ServeId) {
        let follow_up = FollowUp {
            id: FollowUpId(0),
            plan,
            date: day,
            serves: vec![serve],
            ball: BallFlight::default(),
            rating: Some(1),
            sessions_done: None,
            note: None,
        };
        self.library.write(|writer| writer.add_follow_up(&follow_up)).unwrap();
    }

    /// A player with a plan on 10 January, seen again on 9 February.
    fn planned(&mut self, code: &str, style: u32, from: f64, to: f64) -> PlayerId {
        let player = self.player(code);
        let (case, _) = self.look(player, date(2026, 1, 10), style, from);
        self.plan(case, date(2026, 1, 10));
        self.look(player, date(2026, 2, 9), style, to);
        player
    }

    /// A serve that asks, of a player of its own whose plan must not count.
    fn asking(&mut self) -> ServeId {
        let player = self.planned("asker", 1, 42.0, 90.0);
        self.look(player, date(2026, 3, 1), 1, 45.0).1
    }

    fn gather(&self, serve: ServeId) -> Evidence {
        let (snapshot, watch) = (Snapshot::new(&self.library), Watch::default());
        let subject = Subject::Stored(serve);
        let mut found = Evidence::gather(&snapshot, Catalogue::builtin(), subject, &watch).unwrap();
        found.weight_by_nearness(&self.library, FAULT, &watch).unwrap();
        found
    }
}

/// Rows of the fault, (player, start, change, has a plan, days), in order.
fn told(found: &Evidence) -> Vec<(i64, f64, f64, bool, f64)> {
    let fault = found.number(FAULT).unwrap();
    let mut rows: Vec<_> = found
        .rows
        .iter()
        .filter(|row| row.fault == fault)
        .map(|row| {
            (row.player.cast_signed(), row.start, row.change, !row.drills.is_empty(), row.days)
        })
        .collect();
    rows.sort_by(|a, b| a.partial_cmp(b).unwrap());
    rows
}

#[test]
fn rows_are_the_looks_that_count_and_no_others() {
    let mut desk = Desk::new();
    let asks = desk.asking();
    // Followed up with a serve: the follow-up counts, not the next case.
    let answered = desk.player("answered");
    let (case, _) = desk.look(answered, date(2026, 1, 10), 2, 40.0);
    let plan = desk.plan(case, date(2026, 1, 12));
    desk.look(answered, date(2026, 2, 1), 2, 99.0);
    let (_, serve) = desk.look(answered, date(2026, 2, 21), 2, 58.0);
    desk.follow_up(plan, date(2026, 2, 21), serve);
    let again = desk.planned("again", 3, 44.0, 50.0);
    // Never seen again; seen again only after too long.
    let missing = desk.player("missing");
    let (case, _) = desk.look(missing, date(2026, 1, 10), 4, 41.0);
    desk.plan(case, date(2026, 1, 10));
    let late = desk.player("late");
    let (case, _) = desk.look(late, date(2025, 1, 10), 4, 41.0);
    desk.plan(case, date(2025, 1, 10));
    desk.look(late, date(2025, 12, 10), 4, 70.0);
    // By itself: the fault stands and nobody planned anything.
    let itself = desk.player("itself");
    let (case, _) = desk.look(itself, date(2026, 1, 10), 5, 43.0);
    desk.label(case, "ash", LabelState::Added);
    desk.look(itself, date(2026, 2, 9), 5, 47.0);
    // A suspicion the coach rejected is no fault.
    let rejected = desk.player("rejected");
    let (case, _) = desk.look(rejected, date(2026, 1, 10), 6, 43.0);
    desk.label(case, "program", LabelState::Suspected);
    desk.label(case, "ash", LabelState::Rejected);
    desk.look(rejected, date(2026, 2, 9), 6, 47.0);
    // A month after a plan its drill still works: not by itself.
    let lasting = desk.planned("lasting", 7, 40.0, 46.0);
    let (_, serve) = desk.look(lasting, date(2026, 3, 9), 7, 52.0);
    let case = desk.library.serve_head(serve).unwrap().case;
    desk.label(case, "ash", LabelState::Added);
    desk.look(lasting, date(2026, 4, 9), 7, 60.0);

    let found = desk.gather(asks);
    let mut wanted = vec![
        (answered.0, 40.0, 18.0, true, 40.0),
        (again.0, 44.0, 6.0, true, 30.0),
        (itself.0, 43.0, 4.0, false, 30.0),
        (lasting.0, 40.0, 6.0, true, 30.0),
    ];
    wanted.sort_by(|a, b| a.partial_cmp(b).unwrap());
    assert_eq!(told(&found), wanted);
    assert_eq!(
        found.followings(FAULT),
        Followings { plans: 5, followed_up: 1, seen_again: 2, missing: 2, not_comparable: 0 }
    );
    let fault = found.number(FAULT).unwrap();
    assert_eq!(found.starts[&fault], 45.0);
    // The last recording is of 9 April: there was time to see one of the two missing again.
    let drills = vec![0];
    assert_eq!(found.drills[0], DRILL);
    assert_eq!(found.unseen, [Unseen { player: late.0.cast_unsigned(), fault, drills }]);
    assert!(found.rows.iter().all(|row| row.style.is_none()), "too few players to tell styles");
}

#[test]
fn a_nearer_player_weighs_more() {
    let mut desk = Desk::new();
    let asks = desk.asking();
    let near = desk.planned("near", 1, 40.0, 60.0);
    let far: Vec<PlayerId> =
        (3..7).map(|style| desk.planned(&format!("far{style}"), style, 40.0, 41.0)).collect();
    let found = desk.gather(asks);
    let fault = found.number(FAULT).unwrap();
    let weight = |player: PlayerId| {
        let own = |row: &&Row| row.fault == fault && row.player == player.0.cast_unsigned();
        found.rows.iter().find(own).unwrap().weight
    };
    // The same curve and the same kind of player: full weight.
    assert!((weight(near) - 1.0).abs() < 1e-6, "{}", weight(near));
    let least = far.iter().map(|&player| weight(player)).fold(1.0, f64::min);
    assert!(far.iter().all(|&player| weight(player) < weight(near)));
    // With fewer than 15 cases the kernel is as wide as the farthest: exp(-1/2) of a vote.
    assert!((least - (-0.5_f64).exp()).abs() < 1e-6, "{least}");
    // One of five improved; seen from this serve it is more than that.
    let share = found.improvement(FAULT);
    let (overall, near) = (share.overall.unwrap(), share.near.unwrap());
    assert!((overall.improved - 1.5 / 6.0).abs() < 1e-9, "{overall:?}");
    assert!(near.improved > overall.improved && near.effective < 5.0, "{near:?}");
}

#[test]
fn players_lie_where_their_serves_differ() {
    let mut desk = Desk::new();
    let asks = desk.asking();
    let same: Vec<PlayerId> =
        (0..6).map(|n| desk.planned(&format!("same{n}"), 1, 40.0, 60.0)).collect();
    for n in 0..6 {
        desk.planned(&format!("other{n}"), 5, 40.0, 41.0);
    }
    let found = desk.gather(asks);
    let fault = found.number(FAULT).unwrap();
    for row in found.rows.iter().filter(|row| row.fault == fault) {
        let [first, second] = row.style.unwrap();
        let alike = same.iter().any(|player| player.0.cast_unsigned() == row.player);
        // Two kinds of serve, evenly many: they lie 2 root(11 / 12) standard deviations apart.
        let wanted = if alike { 0.0 } else { 2.0 * (11.0_f64 / 12.0).sqrt() };
        assert!((first.abs() - wanted).abs() < 1e-6, "{first}: {row:?}");
        assert!(second.abs() < 1e-6, "{second}: {row:?}");
    }
}

#[test]
fn a_player_has_one_vote_however_many_plans() {
    let mut desk = Desk::new();
    let asks = desk.asking();
    for number in 0..3 {
        desk.planned(&format!("once{number}"), 1, 40.0, 41.0);
    }
    // One player improves with each of three plans.
    let often = desk.player("often");
    let days = [date(2026, 1, 10), date(2026, 2, 9), date(2026, 3, 11), date(2026, 4, 10)];
    for (place, day) in days.into_iter().enumerate() {
        let (case, _) = desk.look(often, day, 1, 30.0 + 20.0 * place as f64);
        if place < 3 {
            desk.plan(case, day);
        }
    }
    let found = desk.gather(asks);
    let fault = found.number(FAULT).unwrap();
    assert_eq!(found.rows.iter().filter(|row| row.fault == fault).count(), 6);
    // Jeffreys' mean of one improved player of four, not of three of six.
    let overall = found.improvement(FAULT).overall.unwrap();
    assert_eq!(overall.players, 4);
    assert!((overall.effective - 4.0).abs() < 1e-9, "{overall:?}");
    assert!((overall.improved - 1.5 / 5.0).abs() < 1e-9, "{overall:?}");

    let worked = found.worked(Catalogue::builtin(), FAULT).unwrap();
    let [drill] = &worked.drills[..] else { panic!("{:?}", worked.drills) };
    assert_eq!((drill.done.drills()[0].id(), drill.players, drill.improved), (DRILL, 4, 1));
    assert_eq!(drill.changes, [1.0, 1.0, 1.0, 20.0], "one change for each player");
    assert_eq!(worked.followings.plans, 6);
    // Nobody is without a plan: what came by itself is unknown, and so is the gain.
    assert_eq!((drill.gain, worked.by_itself), (None, None));
    assert!(
        drill.trust.contains("how much would have come anyway is not known"),
        "{}",
        drill.trust
    );
    let written = serde_json::to_string(&worked).unwrap();
    for code in ["asker", "once0", "often", "ash"] {
        assert!(!written.contains(code), "{code} is named in {written}");
    }
}
