//! Real serves from two places: paired, read from the better view, counted once, reviewed with both.

use jiff::civil::date;
use precedent::catalogue::{Catalogue, Finding};
use precedent::intake::{ClipsRequest, Looked, say_of_clips};
use precedent::judgement::judge;
use precedent::library::{Author, CaseId, Library, RecordingId, ServeId, Setting};
use precedent::looks::{Relation, Snapshot, beside, clips_told};
use precedent::matcher::{Query, Subject, Unstored, like};
use precedent::motion::{Recording, resample};
use precedent::pages::{Audience, Interface, gather, review};
use precedent::serve::{EventKind, FindOptions, MEASURES, find};
use precedent::work::Watch;

use crate::pictured::{NET_OF_MARKERS, pictured};
use crate::planted::in_space;
use crate::{DAY, Desk, contact_s, cut, markers, reviewed, value, wanted};

/// The five real marker serves (practice swings) drawn from two places, one clip at their own 50 Hz from
/// the start, the other at 30 Hz, begun 1.3 s later on a clock of its own: paired exactly, nothing that a
/// view shows is lost, and nine readings in ten are the markers' own within give or take.
#[test]
fn real_serves_from_two_places_are_one_each_and_read_from_the_better_view() {
    let Some(markers) = markers() else { return };
    let own = find(&markers, &FindOptions::default()).serves;
    assert_eq!(own.len(), 5);
    let slow = resample(&markers, 30.0);
    let (mut within, mut compared) = (0, 0);
    for (one_deg, other_deg) in [(90.0, 0.0), (60.0, 180.0), (-15.0, 105.0), (0.0, -90.0)] {
        let mut desk = Desk::new(&["dunlin"]);
        let swing = Setting::PracticeSwing;
        let one = desk.add(0, pictured(&markers, one_deg, NET_OF_MARKERS), swing, DAY);
        let late = cut(&pictured(&slow, other_deg, NET_OF_MARKERS), 1.3, f64::INFINITY, 4000.0);
        let other = desk.add(0, late, swing, DAY);
        // Which of the markers' serves each is, by its time.
        let of = |serve: ServeId, delay_s: f64| {
            let at_s = contact_s(&desk.library.serve(serve).unwrap().serve) + delay_s;
            own.iter().position(|own| (contact_s(own) - at_s).abs() < 0.5).unwrap()
        };
        let views = desk.views();
        let mut pairs = 0;
        for &serve in &one {
            for seen in views.others(serve) {
                assert!(other.contains(&seen));
                assert_eq!(of(serve, 0.0), of(seen, 1.3 - 4000.0), "{one_deg} {other_deg}");
                pairs += 1;
            }
        }
        let both =
            one.iter().filter(|&&a| other.iter().any(|&b| of(a, 0.0) == of(b, 1.3 - 4000.0)));
        assert_eq!(pairs, both.count(), "{one_deg} {other_deg}: {:?}", views.same.clips);
        assert!(pairs >= 4, "{one_deg} {other_deg}: {pairs}");
        println!(
            "{one_deg} and {other_deg}: {} and {} serves, {pairs} pairs",
            one.len(),
            other.len()
        );
        for &serve in &one {
            let Some(&seen) = views.others(serve).first() else { continue };
            let truth = &own[of(serve, 0.0)];
            let readings = [serve, seen].map(|id| desk.library.readings(id).unwrap());
            let told = reviewed(&desk.library, serve);
            // Nothing that one of the views shows is lost.
            for def in MEASURES {
                let shown = readings.iter().any(|all| value(all, def.id).is_some());
                assert_eq!(shown, told.iter().any(|one| one.0 == def.id), "{}", def.id);
            }
            let angles = |shown: &dyn Fn(&str) -> bool| {
                let all = MEASURES.iter().filter(|def| def.unit == "deg" && shown(def.id));
                all.count()
            };
            let alone = readings.each_ref().map(|all| angles(&|id| value(all, id).is_some()));
            let together = angles(&|id| told.iter().any(|one| one.0 == id));
            if (one_deg, other_deg) == (90.0, 0.0) {
                assert!(together > alone[0].max(alone[1]), "{together} of {alone:?}");
            }
            for (measure, read) in told {
                let both = readings.each_ref().map(|all| value(all, measure));
                // Of two views the one is read that may be off less.
                let best = match both {
                    [Some(a), Some(b)] => {
                        if a.1 <= b.1 {
                            a
                        } else {
                            b
                        }
                    }
                    [a, b] => a.or(b).unwrap(),
                };
                assert_eq!(read, best.0, "{measure}");
                if let Some((in_space, _)) = value(&truth.readings, measure) {
                    compared += 1;
                    within += usize::from((read - in_space).abs() <= best.1);
                }
            }
        }
    }
    println!("{within} of {compared} readings within give or take of the markers' own");
    assert!(compared >= 100 && within * 10 >= compared * 9, "{within} of {compared}");
}

/// What the day says counts a serve once, however many cameras saw it, and follows the coach's word.
#[test]
fn a_serve_seen_twice_counts_once_everywhere_and_the_coach_may_say_otherwise() {
    let Some(markers) = markers() else { return };
    let mut desk = Desk::new(&["dunlin", "knot"]);
    let swing = Setting::PracticeSwing;
    let one = desk.add(0, pictured(&markers, 0.0, NET_OF_MARKERS), swing, DAY);
    // From beside there, at the same rate: for a judgement one source, so that nothing else keeps the two
    // from counting twice.
    let late = cut(&pictured(&markers, 15.0, NET_OF_MARKERS), 1.0, f64::INFINITY, 0.0);
    let other = desk.add(0, late, swing, DAY);
    assert_eq!((one.len(), other.len()), (5, 5));
    let catalogue = Catalogue::builtin();
    let most = |library: &Library| {
        let case = library.case(CaseId(1)).unwrap();
        let judging = judge(library, catalogue, &case, DAY, &Watch::default()).unwrap();
        let serves = judging.suspicions.iter().filter_map(|one| match &one.finding {
            Finding::Scored { evidence, .. } => evidence.iter().map(|read| read.serves).max(),
            _ => None,
        });
        let session = Snapshot::new(library).session(DAY, &case.serves).unwrap();
        let looks = session.looks();
        let means = MEASURES.iter().filter_map(|def| looks[0].mean(def));
        let in_looks = means.map(|mean| mean.serves).max().unwrap();
        (serves.max().unwrap(), in_looks, session.strokes(), judging.views.count_of(&case.serves))
    };
    assert_eq!(most(&desk.library), (5, 5, 5, 5));
    let beside_it = beside(&desk.library, one[2]).unwrap();
    assert_eq!((beside_it[0].relation, beside_it[0].head.id), (Relation::SameServe, other[2]));

    // Another player's question: nobody is met twice, and all five come.
    let of_knot = desk.add(1, pictured(&markers, 5.0, NET_OF_MARKERS), swing, date(2026, 3, 20));
    let query = Query::new(Subject::Stored(of_knot[0]), 8);
    let met = |library: &Library| like(library, &query, &Watch::default()).unwrap().precedents;
    let strokes = |library: &Library| {
        let views = library.views_of_day(CaseId(1)).unwrap();
        let ids: Vec<ServeId> = met(library).iter().map(|one| one.serve).collect();
        (ids.len(), views.count_of(&ids))
    };
    assert_eq!(strokes(&desk.library), (5, 5));
    // Nor is the other view a precedent of its own serve.
    let own = like(&desk.library, &Query::new(Subject::Stored(one[0]), 20), &Watch::default());
    let own = own.unwrap().precedents;
    assert!(own.iter().all(|one| one.player == "knot"), "{own:?}");

    let ash = Author::coach("ash").unwrap();
    let clips = (RecordingId(1), RecordingId(2));
    let apart = ClipsRequest::Apart(clips.0, clips.1);
    say_of_clips(&mut desk.library, catalogue, apart, &ash).unwrap();
    assert_eq!(most(&desk.library), (10, 10, 10, 10));
    assert_eq!(strokes(&desk.library), (8, 8));
    let told = clips_told(&desk.library, CaseId(1)).unwrap();
    assert_eq!(
        told[0].sentence,
        "r1 (from behind) and r2 (from behind) show different serves, as ash said."
    );
    // The second clip a serve later, as the coach has it.
    let later = ClipsRequest::Same(one[1], other[0]);
    say_of_clips(&mut desk.library, catalogue, later, &ash).unwrap();
    let views = desk.views();
    assert_eq!(views.others(one[1]), [other[0]]);
    assert_eq!((views.others(one[0]), views.others(other[4])), (Vec::new(), Vec::new()));
    let unsaid = ClipsRequest::Unsaid(clips.1, clips.0);
    say_of_clips(&mut desk.library, catalogue, unsaid, &ash).unwrap();
    assert_eq!(most(&desk.library), (5, 5, 5, 5));
    let none = say_of_clips(&mut desk.library, catalogue, unsaid, &ash).unwrap_err();
    assert_eq!(none.to_string(), "anything said of r2 and r1: not in this library");
    let history = desk.library.history("r2".parse().unwrap()).unwrap();
    assert_eq!(history.iter().filter(|change| change.by == Some(ash.clone())).count(), 3);
}

/// The review shows both views at each moment, and names the one a measure is read from.
#[test]
fn a_review_shows_both_views_at_the_same_moments() {
    let Some(markers) = markers() else { return };
    let mut desk = Desk::new(&["dunlin"]);
    let swing = Setting::PracticeSwing;
    let one = desk.add(0, pictured(&markers, 90.0, NET_OF_MARKERS), swing, DAY);
    let late = cut(&pictured(&markers, 0.0, NET_OF_MARKERS), 1.0, f64::INFINITY, 0.0);
    let other = desk.add(0, late, swing, DAY);
    let data = gather(&desk.library, Catalogue::builtin(), &wanted(one[0]), &Watch::default());
    let data = data.unwrap();
    let [view] = &data.views[..] else { panic!("{:?}", data.views) };
    assert_eq!((view.of.serve.as_str(), view.of.seen.as_str()), ("s6", "seen from behind"));
    assert_eq!(view.of.serve, other[0].to_string());
    let contact = data.events[EventKind::Contact as usize].time_s;
    let there = view.events[EventKind::Contact as usize].time_s;
    for (event, seen) in data.events.iter().zip(&view.events) {
        let apart = (event.time_s - contact) - (seen.time_s - there);
        assert!(event.time_s.is_nan() || apart.abs() < 1e-9, "{event:?} {seen:?}");
    }
    let tilt = MEASURES.iter().find(|def| def.id == "trunk_side_tilt_contact").unwrap();
    let row = data.measures.iter().find(|row| row.name == tilt.name).unwrap();
    assert_eq!(row.from.as_ref().map(|from| from.serve.as_str()), Some("s6"), "{row:?}");
    let page = review(&data, Audience::Coach(Interface::Terminal));
    assert!(page.contains("The same serve (s6), seen from behind, at the same moments."));
    assert!(page.contains("Read from s6, which shows it best."));
    let page = review(&data, Audience::Player);
    let (own, seen) =
        page.split_once("The same serve, seen from behind, at the same moments.").unwrap();
    // The player's own comes first, each as its camera saw it, the other directly below.
    assert!(own.find(">you</text>") < own.find(">seen from behind</text>"), "{own}");
    assert_eq!(own.matches("<figcaption>").count(), 2, "{own}");
    assert!(!seen.contains("<figcaption>The same serve"));
    assert!(own.matches(">as the camera saw it</text>").count() >= 2, "{own}");
    assert!(
        !page.contains(", seen from behind, left to right"),
        "no flat body is said to be seen from there"
    );
}

/// The other view of the very same serve is no precedent of a file that is not stored: left out where the
/// session is known, told where it is likely.
#[test]
fn a_file_that_is_not_stored_is_not_offered_its_own_serves() {
    let mut desk = Desk::new(&["dunlin", "knot"]);
    let (one, two) = (in_space(0), in_space(7));
    let own = desk.add(0, pictured(&one, 90.0, 1.0), Setting::Target, DAY);
    let earlier = desk.add(0, pictured(&two, 90.0, 1.0), Setting::Target, date(2026, 2, 1));
    desk.add(1, pictured(&in_space(3), 90.0, 1.0), Setting::Target, DAY);
    let late = cut(&pictured(&one, 80.0, 1.0), 0.4, f64::INFINITY, 50.0);
    let file = desk.looked(late, date(2026, 4, 1));
    assert_eq!(file.found.serves.len(), 3);
    let dunlin = Some(desk.players[0].id);
    let ask = |desk: &Desk, file: &Looked, nth, player, day| {
        let subject = Subject::Unstored(Unstored::of(file, nth, player).on(day));
        let answer = like(&desk.library, &Query::new(subject, 20), &Watch::default()).unwrap();
        let met: Vec<ServeId> = answer.precedents.iter().map(|one| one.serve).collect();
        // What is said of sources is not the point here.
        let of_sessions = |note: &String| note.contains("left out");
        let told: Vec<String> = answer.notes.into_iter().filter(of_sessions).collect();
        (met, told)
    };
    // Nobody says whose it is: the closest is the other view, and that is said.
    let (met, told) = ask(&desk, &file, 1, None, None);
    assert!(own.contains(&met[0]), "{met:?}");
    assert_eq!(
        told,
        [
            "s2 in c1 of 2026-03-14 may be this very serve, filmed from another place; if it is, say whose it is, \
          and that session is left out"
        ]
    );
    // The player is known, and the times between the serves say which session it is.
    let (met, told) = ask(&desk, &file, 1, dunlin, None);
    assert!(own.iter().all(|serve| !met.contains(serve)), "{met:?}");
    assert!(earlier.iter().all(|serve| met.contains(serve)), "{met:?}");
    assert_eq!(
        told,
        [
            "c1 of 2026-03-14 is left out: by the times between them it shows the same serves, this one as s2"
        ]
    );
    // Told the day, nothing is guessed: that day is left out, whatever the times are.
    let (met, told) = ask(&desk, &file, 1, dunlin, Some(date(2026, 2, 1)));
    assert!(earlier.iter().all(|serve| !met.contains(serve)), "{met:?}");
    assert!(own.contains(&met[0]));
    assert_eq!(
        told,
        ["c2 of 2026-02-01 is left out: what was done on the same day is no past serve"]
    );
    // One serve has no rhythm. Written on the day of a session that holds one, too, it may be that one.
    let first = |recording: &Recording| {
        let serves = find(recording, &FindOptions::default()).serves;
        cut(recording, 0.0, contact_s(&serves[0]) + 1.2, 0.0)
    };
    let knot = Some(desk.players[1].id);
    let day = date(2026, 3, 20);
    let single = desk.add(1, first(&pictured(&two, 90.0, 1.0)), Setting::Target, day);
    let file = desk.looked(first(&pictured(&two, 0.0, 1.0)), day);
    let (met, told) = ask(&desk, &file, 0, knot, None);
    assert!(met.contains(&single[0]));
    assert_eq!(
        told,
        [format!(
            "{} in c4 of 2026-03-20 may be this very serve, filmed from another place; if it is, say its day, \
             and that session is left out",
            single[0]
        )]
    );
    let elsewhen = Looked { file_date: date(2026, 4, 1), ..file };
    assert_eq!(ask(&desk, &elsewhen, 0, knot, None).1, [""; 0]);
}
