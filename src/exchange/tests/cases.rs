//! What packs bring, keep and replace.

use super::*;

#[test]
fn a_pack_brings_cases_whole_and_without_names() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let packed = packed_at(&from.library, false, 0, "");
    assert_eq!((packed.players, packed.leaving.cases.len(), packed.leaving.serves), (1, 2, 3));
    assert_eq!(packed.left_out, LeftOut { no_consent: 1, players: 1, received: 0 });
    let pack = opened(&packed.bytes).unwrap();
    let brought = take(&mut to.library, &pack);
    assert_eq!((brought.players, brought.cases, brought.recordings, brought.serves), (1, 2, 2, 3));
    let players = to.library.players().unwrap();
    let came = &players[0];
    assert!(came.code.starts_with("north-side-") && came.name.is_none(), "{came:?}");
    assert_eq!((came.hand, came.level), (made::player("x").hand, made::player("x").level));
    assert!(!came.consent.share && to.library.is_received(came.id).unwrap());
    let cases = to.library.cases(Some(came.id)).unwrap();
    let ours = from.library.cases(Some(PlayerId(1))).unwrap();
    assert_eq!((cases[0].grip, cases[0].ball), (ours[0].grip, ours[0].ball));
    assert_eq!(cases[0].labels.len(), 2);
    let drill = &cases[0].plans[0].drills[0];
    assert_eq!((drill.dose.as_str(), drill.place), ("", Some(Place::Baseline)));
    assert_eq!(cases[0].follow_ups[0].serves, cases[1].serves);
    for (theirs, own) in cases[0].serves.iter().zip(&ours[0].serves) {
        let (theirs, own) = (to.library.serve(*theirs).unwrap(), from.library.serve(*own).unwrap());
        assert_eq!(theirs.serve, own.serve);
    }
    sound(&mut to.library);
    assert!(to.library.curves(made::SET).unwrap().unwrap().curve(cases[0].serves[0]).is_some());
    let found = to.library.find_words("north").unwrap().cases;
    assert_eq!(found.map(|cases| cases.len()), Some(2));
    // Received cases are not sent on.
    let again = packed_at(&to.library, false, 1, "");
    assert_eq!((again.leaving.cases.len(), again.left_out.received), (0, 2));
}

#[test]
fn a_received_case_says_where_it_came_from_under_the_senders_own_words_and_by_age() {
    let (mut from, mut to) = (room(), room());
    let mut own = crate::catalogue::Catalogue::builtin().drill("land_inside").unwrap().clone();
    (own.id, own.name) = ("own_landing".to_owned(), "Our landing game".to_owned());
    let mut table = toml::Table::new();
    table.insert("drill".into(), toml::Value::Array(vec![toml::Value::try_from(own).unwrap()]));
    // Fourteen years old in the year of the serves.
    let who = from.library.add_player(&sharing("zebrafinch")).unwrap();
    let added = made::add(&mut from.library, who, 1, date(2026, 3, 4), 2).unwrap();
    from.library
        .write(|w| {
            let own = toml::to_string(&table).unwrap();
            w.set_catalogue_file("own.toml", Some(&own), None)?;
            let drill = PlannedDrill {
                drill: "own_landing".to_owned(),
                dose: "3 x 8".to_owned(),
                place: None,
            };
            w.add_plan(&Plan { drills: vec![drill], ..plan(added.case, date(2026, 3, 5)) })
        })
        .unwrap();
    take(&mut to.library, &opened(&packed_at(&from.library, false, 0, "").bytes).unwrap());
    let found = |terms: &str| to.library.select(&Filter::parse(terms).unwrap()).unwrap().serves;
    assert_eq!(found("age=u14").len(), 2);
    assert_eq!(found("age=12-15").len(), 2);
    assert!(found("age=u16").is_empty() && found("age>18").is_empty());
    assert!(found("age=14").is_empty(), "a band that only overlaps does not say 14");
    assert_eq!(found("age!=u16").len(), 2);
    let case = to.library.cases(None).unwrap().remove(0);
    let origin = to.library.origin(case.id).unwrap().unwrap();
    assert_eq!((origin.academy.as_deref(), origin.age), (Some("North Side"), Some((13, 14))));
    let today = jiff::Timestamp::now().to_string();
    assert_eq!(
        origin.describe(),
        format!("from the pack of North Side, received {}", &today[..10])
    );
    let catalogue = to.library.catalogue().unwrap();
    assert_eq!(catalogue.drill_name(&case.plans[0].drills[0].drill), "Our landing game");
    assert!(catalogue.drill("own_landing").is_none(), "a name only");
    assert_eq!(from.library.origin(added.case).unwrap(), None);
}

#[test]
fn a_place_sent_behind_the_dose_is_told_apart() {
    let (mut from, mut to) = (room(), room());
    let who = from.library.add_player(&sharing("zebrafinch")).unwrap();
    let added = made::add(&mut from.library, who, 1, date(2026, 3, 4), 2).unwrap();
    let drills: Vec<PlannedDrill> = ["2 x 10; service line", "wall", "a basket off the wall"]
        .map(|dose| PlannedDrill {
            drill: "land_inside".to_owned(),
            dose: dose.to_owned(),
            place: None,
        })
        .into();
    let old = Plan { drills, ..plan(added.case, date(2026, 3, 5)) };
    from.library.write(|w| w.add_plan(&old)).unwrap();
    take(&mut to.library, &opened(&packed_at(&from.library, true, 0, "").bytes).unwrap());
    let case = to.library.cases(None).unwrap().remove(0);
    let told: Vec<_> =
        case.plans[0].drills.iter().map(|drill| (drill.dose.as_str(), drill.place)).collect();
    assert_eq!(
        told,
        [
            ("2 x 10", Some(Place::ServiceLine)),
            ("", Some(Place::Wall)),
            ("a basket off the wall", None)
        ]
    );
}

#[test]
fn nothing_that_names_a_person_is_in_a_pack() {
    let mut from = room();
    stocked(&mut from.library);
    let inflated = |with_notes| {
        let bytes = packed_at(&from.library, with_notes, 0, "").bytes;
        let mut all = bytes.clone();
        let mut archive = zip::ZipArchive::new(std::io::Cursor::new(&bytes)).unwrap();
        for at in 0..archive.len() {
            std::io::Read::read_to_end(&mut archive.by_index(at).unwrap(), &mut all).unwrap();
        }
        String::from_utf8_lossy(&all).to_lowercase()
    };
    let hash = made::hash(1);
    let never =
        ["zebrafinch", "dotterel", "name of", "2012-05-03", "file-1", "anna", "monday", &hash];
    let words = ["quoll", "numbat"];
    let (bare, wordy) = (inflated(false), inflated(true));
    for word in never {
        assert!(!bare.contains(word) && !wordy.contains(word), "{word}");
    }
    for word in words {
        assert!(!bare.contains(word) && wordy.contains(word), "{word}");
    }
    assert!(!bare.contains("bettong") && !wordy.contains("bettong"));
    // What is looked for would be found: the day is in it, and so is a fault.
    assert!(bare.contains("2026-03-04") && bare.contains("late_toss"));
}

#[test]
fn a_newer_version_replaces_and_what_was_added_here_stays() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let old = opened(&packed_at(&from.library, true, 0, "").bytes).unwrap();
    from.library
        .write(|w| {
            w.add_note(CaseId(1), "newer quoll", None)?;
            w.remove_label(CaseId(1), "late_toss", &Author::Program)
        })
        .unwrap();
    let new = opened(&packed_at(&from.library, true, 5, "").bytes).unwrap();
    take(&mut to.library, &old);
    let own = label("shallow_leg_drive", "carl", "seen here");
    to.library.write(|w| w.set_label(CaseId(1), &own)).unwrap();
    let own_plan =
        Plan { limiting_fault: "own_plan".to_owned(), ..plan(CaseId(1), date(2026, 3, 6)) };
    let own_plan = to.library.add_plan(&own_plan).unwrap();
    let brought = take(&mut to.library, &new);
    assert_eq!((brought.replaced, brought.recordings, brought.cases), (1, 0, 0));
    let case = to.library.case(CaseId(1)).unwrap();
    assert_eq!(case.words().as_deref(), Some("casewords quoll\nnewer quoll"));
    assert!(case.labels.contains(&own) && case.labels.len() == 2, "{:?}", case.labels);
    assert_eq!(case.plans.len(), 2);
    // Both packs back: what was added here keeps its case, the rest is gone.
    to.library.write(|w| w.undo_pack(&new.id)).unwrap();
    assert_eq!(to.library.case(CaseId(1)).unwrap().words().as_deref(), Some("casewords quoll"));
    let gone = to.library.write(|w| w.undo_pack(&old.id)).unwrap();
    assert_eq!((gone.cases_gone, gone.recordings_gone), (2, 2));
    let case = to.library.case(CaseId(1)).unwrap();
    assert_eq!((case.words(), case.grip, case.serves.len()), (None, None, 0));
    assert_eq!((case.labels, case.plans.len(), case.plans[0].id), (vec![own], 1, own_plan));
    assert!(to.library.packs().unwrap().is_empty());
    sound(&mut to.library);
}

#[test]
fn what_breaks_a_rule_of_coaching_is_told_kept_and_never_in_force() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let arched = label("lumbar_arch", "bettong", "arched");
    from.library.write(|w| w.set_label(CaseId(1), &arched)).unwrap();
    let mut pack = opened(&packed_at(&from.library, true, 0, "").bytes).unwrap();
    let cases = pack.items.iter_mut().filter_map(|item| match item {
        Item::Case(case) => Some(case),
        _ => None,
    });
    let case = cases.into_iter().find(|case| !case.plans.is_empty()).unwrap();
    let first = case.plans[0].clone();
    let more = |day: i8, fault: &str, drill: &str| PlanItem {
        uid: day.to_string().repeat(64),
        limiting_fault: fault.to_owned(),
        drills: vec![PlannedDrill { drill: drill.to_owned(), dose: String::new(), place: None }],
        start: date(2026, 3, day),
        follow_ups: Vec::new(),
        ..first.clone()
    };
    case.plans.extend([
        // It makes a lumbar arch worse, by the catalogue's own word.
        more(6, "shallow_leg_drive", "ball_throw_up"),
        more(7, "toss_low", "tape_on_frame"),
        more(8, "lazy_serve", "window_toss"),
        more(9, "toss_low", "window_toss"),
    ]);
    let third = PlanItem { uid: "a".repeat(64), ..more(5, "low_contact", "over_the_rope") };
    case.plans.push(PlanItem { start: date(2026, 3, 10), ..third });

    let told: Vec<String> =
        pack.notices(&to.library.catalogue().unwrap()).iter().map(ToString::to_string).collect();
    let expected = [
        "no fault 'late_toss'; its label is kept",
        "the plan of 2026-03-06 is kept and not counted as in force: 'ball_throw_up' makes \
         'lumbar_arch' worse",
        "2026-03-07 is kept and not counted as in force: this library's catalogue has no drill \
         'tape_on_frame'",
        "2026-03-08 is kept and not counted as in force: this library's catalogue has no fault \
         'lazy_serve'",
        "2026-03-10 is kept and not counted as in force: two plans are in force already",
    ];
    assert_eq!(told.len(), expected.len(), "{told:?}");
    for (told, expected) in told.iter().zip(expected) {
        assert!(told.contains(expected), "{expected}: {told}");
    }
    take(&mut to.library, &pack);
    let case = to.library.cases(None).unwrap().remove(0);
    assert_eq!(case.plans.len(), 6, "nothing is lost");
    assert_eq!(case.follow_ups.len(), 1);
    let in_force = case.plans_in_force(date(2026, 6, 1));
    let starts: Vec<Date> = in_force.iter().map(|plan| plan.start).collect();
    assert_eq!(starts, [date(2026, 3, 5), date(2026, 3, 9)]);
    let aside = case.plans.iter().find(|plan| plan.start == date(2026, 3, 6)).unwrap();
    let end = aside.ended.as_ref().unwrap();
    assert_eq!((end.day, end.how, &end.by), (aside.start, Ending::Ended, &Author::Program));
    assert!(end.reason.as_ref().unwrap().contains("'lumbar_arch' worse"), "{end:?}");
    assert!(case.was_tried(aside), "what came of it still counts");
    sound(&mut to.library);
}

#[test]
fn a_case_of_ones_own_is_never_touched() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let late = opened(&packed_at(&from.library, true, 0, "date=2026-04").bytes).unwrap();
    take(&mut to.library, &late);
    let came = to.library.players().unwrap()[0].id;
    made::add(&mut to.library, came, 50, date(2026, 3, 4), 1).unwrap();
    let own = to.library.case(CaseId(2)).unwrap();
    let brought =
        take(&mut to.library, &opened(&packed_at(&from.library, true, 1, "").bytes).unwrap());
    assert_eq!((brought.in_the_way, brought.cases), (1, 0));
    assert_eq!(to.library.case(CaseId(2)).unwrap(), own);
    sound(&mut to.library);
}

#[test]
fn a_player_forgotten_here_does_not_come_back() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    take(&mut to.library, &opened(&packed_at(&from.library, true, 0, "").bytes).unwrap());
    let came = to.library.players().unwrap()[0].id;
    to.library.forget(came, date(2026, 6, 1)).unwrap();
    let file = std::fs::read(to.library.folder().join("library.db")).unwrap();
    assert!(!file.windows(5).any(|word| word == b"quoll"));
    let brought =
        take(&mut to.library, &opened(&packed_at(&from.library, true, 9, "").bytes).unwrap());
    assert_eq!((brought.forgotten, brought.players, brought.cases), (1, 0, 0));
    assert!(dump(&to.library).is_empty());
    // Who was shared is told when forgotten at home.
    let home = PlayerId(1);
    let packed = packed_at(&from.library, false, 10, "");
    from.library.write(|w| w.add_leaving(&packed.leaving)).unwrap();
    let (_, sent) = from.library.before_forgetting(home).unwrap();
    assert_eq!((sent.len(), sent[0].cases), (1, 2));
    assert_eq!(sent[0].file_hash, blake3::hash(&packed.bytes).to_hex().to_string());
}

#[test]
fn a_dry_run_stores_nothing_and_ones_own_pack_is_refused() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let pack = opened(&packed_at(&from.library, false, 0, "").bytes).unwrap();
    let before = dump(&to.library);
    assert_eq!(to.library.try_receive(&pack).unwrap().cases, 2);
    assert!(dump(&to.library) == before && to.library.packs().unwrap().is_empty());
    let refused = from.library.write(|w| w.receive(&pack)).unwrap_err().to_string();
    assert!(refused.contains("made by this very library"), "{refused}");
}

/// A library grows at random and packs of parts of it are made on the way; two more libraries
/// receive all of them in another order each, some twice, and take some back.
#[test]
fn order_and_repetition_do_not_matter() {
    let mut shown = 0;
    for seed in 0..6 {
        let mut chance = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut packs = Vec::new();
        for sender in 0..2u32 {
            let mut from = room();
            let players: Vec<PlayerId> = (0..2)
                .map(|n| from.library.add_player(&sharing(&format!("p{n}"))).unwrap())
                .collect();
            for step in 0..4u32 {
                let who = *players.choose(&mut chance).unwrap();
                let day = date(2026, 3, 1 + chance.gen_range(0..5));
                let number = sender * 100 + step;
                let added = made::add(&mut from.library, who, number, day, 1 + step % 2).unwrap();
                let note = format!("note {}", chance.gen_range(0..9));
                let follows = chance.gen_bool(0.6);
                let later = from.library.cases(Some(who)).unwrap();
                let later = later.into_iter().rfind(|case| case.date > day);
                from.library
                    .write(|w| {
                        w.add_note(added.case, &note, None)?;
                        w.set_label(added.case, &label("late_toss", "bettong", &note))?;
                        if let (true, Some(later)) = (follows, later)
                            && let Ok(plan) = w.add_plan(&plan(added.case, day))
                        {
                            w.add_follow_up(&FollowUp {
                                id: FollowUpId(0),
                                plan,
                                date: later.date,
                                serves: later.serves,
                                ball: BallFlight::default(),
                                rating: None,
                                sessions_done: None,
                                note: None,
                            })?;
                        }
                        Ok(())
                    })
                    .unwrap();
                let all = ["", "date>=2026-03-03", "date<=2026-03-03"];
                let filter = all.choose(&mut chance).unwrap();
                // Some in the same moment: then the print decides.
                let minute = i64::from(step / 2);
                let packed = packed_at(&from.library, true, minute, filter);
                from.library.write(|w| w.add_leaving(&packed.leaving)).unwrap();
                let pack = opened(&packed.bytes).unwrap();
                if chance.gen_bool(0.2) {
                    let player = from.library.player(who).unwrap();
                    let consent = Consent { share: !player.consent.share, ..player.consent };
                    let changed = Player { consent, ..player };
                    from.library.write(|w| w.update_player(&changed)).unwrap();
                }
                if packs.iter().all(|other: &Arrived| other.id != pack.id) {
                    packs.push(pack);
                }
            }
        }
        // Whom a pack takes back stays away when that pack is taken back itself.
        let undone: BTreeSet<usize> = (0..packs.len())
            .filter(|at| chance.gen_bool(0.25) && packs[*at].withdrawn.is_empty())
            .collect();
        let mut outcomes = Vec::new();
        for _ in 0..2 {
            let mut to = room();
            let mut order: Vec<usize> = (0..packs.len()).collect();
            order.extend((0..packs.len()).filter(|_| chance.gen_bool(0.3)));
            order.shuffle(&mut chance);
            for &at in &order {
                take(&mut to.library, &packs[at]);
            }
            let full = dump(&to.library);
            for &at in &undone {
                to.library.write(|w| w.undo_pack(&packs[at].id)).unwrap();
            }
            let fewer = dump(&to.library);
            sound(&mut to.library);
            outcomes.push((full, fewer));
        }
        // A third one that never saw the packs taken back.
        let mut never = room();
        for (at, pack) in packs.iter().enumerate() {
            if !undone.contains(&at) {
                take(&mut never.library, pack);
            }
        }
        shown += outcomes[0].0.len();
        assert!(outcomes[0].0 == outcomes[1].0, "seed {seed}: order changed what is shown");
        assert!(outcomes[0].1 == outcomes[1].1, "seed {seed}: order changed what stays");
        assert!(
            outcomes[0].1 == dump(&never.library),
            "seed {seed}: taking back left or took more"
        );
    }
    assert!(shown > 48, "{shown} lines in six rounds prove little");
}
