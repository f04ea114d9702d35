//! Random changes of every kind, for tests that hold what is derived against the store.

use jiff::civil::date;
use rand::Rng;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::made;
use crate::library::{
    Author, BallFlight, CaseId, Ending, FaultLabel, FollowUp, FollowUpId, ItemId, LabelState,
    Level, Library, MoveTo, NewRecording, Plan, PlanEnd, PlanId, PlannedDrill, RecordingFacts,
    RecordingId, Removal, SaidClips, ServeId, ServeType, Setting, WriteError,
};
use crate::motion::{Capture, Side, View};
use crate::serve::Reading;

const FAULTS: [&str; 3] = ["shallow_leg_drive", "toss_low", "wild_toss"];
const DRILLS: [&str; 2] = ["land_inside", "jump_and_reach"];

fn one<T: Copy>(rng: &mut Xoshiro256PlusPlus, all: &[T]) -> Option<T> {
    (!all.is_empty()).then(|| all[rng.gen_range(0..all.len())])
}

fn ids(library: &Library, sql: &str) -> Vec<i64> {
    library.list("listing", sql, [], |row| row.get(0)).unwrap()
}

/// One change; what the store refuses changes nothing. `seed` grows from call to call.
pub(crate) fn change(
    library: &mut Library,
    rng: &mut Xoshiro256PlusPlus,
    seed: u32,
) -> &'static str {
    let cases: Vec<CaseId> =
        ids(library, "SELECT id FROM cases ORDER BY id").into_iter().map(CaseId).collect();
    let plans: Vec<PlanId> =
        ids(library, "SELECT id FROM plans ORDER BY id").into_iter().map(PlanId).collect();
    let recordings: Vec<RecordingId> = ids(library, "SELECT id FROM recordings ORDER BY id")
        .into_iter()
        .map(RecordingId)
        .collect();
    let serves: Vec<ServeId> =
        ids(library, "SELECT id FROM serves ORDER BY id").into_iter().map(ServeId).collect();
    let players: Vec<_> = library.players().unwrap();
    let by = Author::Coach("ash".to_owned());
    let fault = FAULTS[rng.gen_range(0..FAULTS.len())].to_owned();
    let day = date(2026, rng.gen_range(1..13), rng.gen_range(1..28));
    let mut serve = made::serve(seed);
    serve.readings[0].reading =
        Reading::Value { value: rng.gen_range(20.0..90.0), trust: 0.9, give_or_take: 2.0 };
    let kind = rng.gen_range(0..15);
    let (what, done): (&str, Result<(), WriteError>) = match kind {
        0 => ("label", {
            let states = [LabelState::Added, LabelState::Rejected, LabelState::Limiting];
            let label = FaultLabel {
                fault,
                state: one(rng, &states).unwrap(),
                severity: 0.5,
                by,
                note: None,
            };
            let case = one(rng, &cases);
            case.map_or(Ok(()), |case| library.write(|w| w.set_label(case, &label)))
        }),
        1 | 2 => ("plan", {
            let Some(case) = one(rng, &cases) else { return "nothing" };
            let plan = Plan {
                id: PlanId(0),
                case,
                limiting_fault: fault,
                drills: one(rng, &DRILLS)
                    .map(|drill| PlannedDrill {
                        drill: drill.to_owned(),
                        dose: "3 x 8".to_owned(),
                        place: None,
                    })
                    .into_iter()
                    .collect(),
                start: library.case(case).unwrap().date,
                review_on: None,
                coach: None,
                note: None,
                ended: None,
            };
            library.write(|w| w.add_plan(&plan)).map(|_| ())
        }),
        3 => ("follow-up", {
            let Some(plan) = one(rng, &plans) else { return "nothing" };
            let follow_up = FollowUp {
                id: FollowUpId(0),
                plan,
                date: day,
                serves: one(rng, &serves).filter(|_| rng.gen_bool(0.5)).into_iter().collect(),
                ball: BallFlight::default(),
                rating: Some(1),
                sessions_done: None,
                note: None,
            };
            library.write(|w| w.add_follow_up(&follow_up)).map(|_| ())
        }),
        4 | 5 => ("recording", {
            let Some(player) = players.get(rng.gen_range(0..players.len().max(1))) else {
                return "nothing";
            };
            let mut recording = made::recording(seed);
            if rng.gen_bool(0.3) {
                recording.capture = Capture::OneCameraLifted;
                recording.view = one(rng, &[View::Side, View::Behind]);
            }
            let new = NewRecording {
                player: player.id,
                file_name: "x.csv",
                content_hash: &made::hash(100_000 + seed),
                date: day,
                setting: one(rng, &[Setting::Match, Setting::PracticeSwing]),
                serve_type: one(rng, &[ServeType::Kick, ServeType::Flat]),
                recording: &recording,
                serves: &[serve.clone(), serve],
            };
            library.write(|w| w.add_recording(&new)).map(|_| ())
        }),
        6 => ("removal of a recording", {
            let removal = one(rng, &recordings).map(Removal::Recording);
            removal.map_or(Ok(()), |removal| library.write(|w| w.remove(&removal, &[], &by)))
        }),
        7 => ("serve read again", {
            let id = one(rng, &serves);
            id.map_or(Ok(()), |id| library.write(|w| w.update_serve(id, &serve)))
        }),
        8 => ("move", {
            let (id, to) =
                (one(rng, &recordings), players.get(rng.gen_range(0..players.len().max(1))));
            let Some((id, to)) = id.zip(to) else { return "nothing" };
            let to = MoveTo { player: to.id, date: day, labels_left: &[], labels_joined: &[] };
            library.write(|w| w.move_recording(id, &to, &by)).map(|_| ())
        }),
        9 => ("amendment", {
            let facts = RecordingFacts {
                setting: one(rng, &[Setting::Match, Setting::Target]),
                serve_type: None,
                read_again: None,
            };
            let id = one(rng, &recordings);
            id.map_or(Ok(()), |id| library.write(|w| w.amend_recording(id, &facts, &by)))
        }),
        10 => ("player", {
            let Some(player) = players.get(rng.gen_range(0..players.len().max(1))) else {
                return "nothing";
            };
            let mut player = player.clone();
            player.level = one(rng, &[Level::Club, Level::National]);
            player.hand = rng.gen_bool(0.5).then_some(Side::Right);
            player.born = rng.gen_bool(0.7).then_some(date(rng.gen_range(2000..2014), 3, 4));
            library.write(|w| w.update_player(&player))
        }),
        11 => ("end of a plan", {
            let Some(plan) = one(rng, &plans) else { return "nothing" };
            let how = if rng.gen_bool(0.5) { Ending::Withdrawn } else { Ending::Ended };
            let day = library.plan(plan).unwrap().start;
            library.write(|w| w.end_plan(plan, &PlanEnd { day, how, by, reason: None }))
        }),
        12 => ("taking back", {
            let case = one(rng, &cases).map(ItemId::Case);
            let last = case.and_then(|case| library.last_change(case).unwrap());
            last.map_or(Ok(()), |change| library.write(|w| w.undo(change, &by)))
        }),
        13 => ("what is said of clips", {
            let said = one(rng, &cases).and_then(|case| {
                let serves = library.case(case).unwrap().serves;
                let (a, b) = (*serves.first()?, *serves.last()?);
                let clip = |serve| library.serve_head(serve).unwrap().recording;
                let (one, other) = (clip(a), clip(b));
                (one != other).then(|| SaidClips {
                    one,
                    other,
                    same: rng.gen_bool(0.7).then_some((a, b)),
                    by: by.clone(),
                })
            });
            said.map_or(Ok(()), |said| library.write(|w| w.say_of_clips(&said)))
        }),
        _ => ("forgetting or a new player", {
            if players.len() > 20 && rng.gen_bool(0.3) {
                let gone = players[rng.gen_range(0..players.len())].id;
                library.forget(gone, date(2027, 1, 1)).map(|_| ())
            } else {
                let player = made::player(&format!("new{seed}"));
                library.write(|w| w.add_player(&player)).map(|_| ())
            }
        }),
    };
    match done {
        Ok(())
        | Err(
            WriteError::Invalid { .. }
            | WriteError::OtherPlayer { .. }
            | WriteError::AlreadyEnded { .. }
            | WriteError::TooManyPlans { .. }
            | WriteError::NoConsent { .. }
            | WriteError::ChangedSince { .. }
            | WriteError::AlreadyUndone { .. },
        ) => what,
        Err(other) => panic!("{what}: {other}"),
    }
}
