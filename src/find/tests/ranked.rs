//! Ranked search: texts whose order a person would agree with, excerpts as they were written.

use jiff::civil::date;
use tempfile::TempDir;

use crate::find::{Filter, Part, WordsFound, WordsHit, WordsOf, WordsQuery};
use crate::library::tests::made;
use crate::library::*;

struct Academy {
    _folder: TempDir,
    library: Library,
    cases: Vec<CaseId>,
}

/// One player and case for each note; the first half of the cases have a recording.
fn academy(notes: &[&str]) -> Academy {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("lib")).unwrap();
    let mut cases = Vec::new();
    for (n, note) in notes.iter().enumerate() {
        let player = library.add_player(&made::player(&format!("p{n:02}"))).unwrap();
        let day = date(2026, 3, 1 + n as i8);
        let case = if n < notes.len().div_ceil(2) {
            made::add(&mut library, player, n as u32, day, 1).unwrap().case
        } else {
            library.write(|w| w.case_of_day(player, day)).unwrap().0
        };
        library.write(|w| w.add_note(case, note, None)).unwrap();
        cases.push(case);
    }
    Academy { _folder: folder, library, cases }
}

fn find(library: &Library, text: &str, filter: &str, k: usize) -> WordsFound {
    let filter = Filter::parse(filter).unwrap();
    library.find(&WordsQuery { text, filter, k }).unwrap()
}

fn case_of(hit: &WordsHit) -> Option<CaseId> {
    match &hit.what {
        WordsOf::Case { case, .. } => Some(*case),
        _ => None,
    }
}

/// The cases among the hits, best first.
fn cases_of(found: &WordsFound) -> Vec<CaseId> {
    found.hits.iter().filter_map(case_of).collect()
}

fn id_of(hit: &WordsHit) -> String {
    match &hit.what {
        WordsOf::Case { case, .. } => case.to_string(),
        WordsOf::Fault { id, .. } | WordsOf::Drill { id, .. } => id.clone(),
    }
}

#[test]
fn more_words_rarer_words_and_shorter_notes_come_first() {
    let Academy { _folder, library, cases } = academy(&[
        "Toss drifts left; the toss is late and the toss arm drops",
        "Leg drive late; go back to the bench",
        "Leg drive is fine, leave it",
        "Sat on the bench with a sore back for most of spring, came back in June, hits short \
         balls from the baseline again, serves half speed, no pain, school exams next month",
        "Kangaroo hop after contact; toss fine",
        "Toss fine",
    ]);
    let found = find(&library, "leg drive bench", "", 50);
    assert_eq!(cases_of(&found)[..3], [cases[1], cases[2], cases[3]]);
    assert_eq!(cases_of(&found).len(), 3);
    // The catalogue answers too: a bench is what this drill needs.
    assert!(found.hits.iter().take(5).any(|hit| id_of(hit) == "bench_rise"));
    assert_eq!(found.searched, 6);
    assert_eq!(found.matched, found.hits.len());
    // A rare word beside a common one decides.
    assert_eq!(cases_of(&find(&library, "toss kangaroo", "", 50))[0], cases[4]);
    // The note that is about the toss before those that mention it.
    assert_eq!(cases_of(&find(&library, "late toss", "", 50))[0], cases[0]);
    // Ranks run from 1, scores fall.
    for (n, pair) in found.hits.windows(2).enumerate() {
        assert_eq!(pair[0].rank, n + 1);
        assert!(pair[0].score >= pair[1].score);
    }
}

#[test]
fn every_fault_and_drill_is_the_first_answer_to_its_own_name() {
    let Academy { _folder, library, .. } = academy(&["calm"]);
    let catalogue = library.catalogue().unwrap();
    let faults = catalogue.faults().map(|fault| (&fault.id, &fault.name));
    let entries: Vec<_> =
        faults.chain(catalogue.drills().map(|drill| (&drill.id, &drill.name))).collect();
    assert!(entries.len() > 40);
    for (id, name) in entries {
        let found = find(&library, name, "", 3);
        let first: Vec<String> = found.hits.iter().map(id_of).collect();
        assert_eq!(&first[0], id, "'{name}' gave {first:?}");
    }
}

#[test]
fn phrases_must_be_there_and_absent_words_must_not() {
    let Academy { _folder, library, cases } =
        academy(&["front foot lands first", "foot in front", "front foot, heavy grip", "grip"]);
    assert_eq!(cases_of(&find(&library, "\"front foot\" lands", "", 50)), [cases[0], cases[2]]);
    assert_eq!(cases_of(&find(&library, "front foot -grip", "", 50)).len(), 2);
    assert_eq!(cases_of(&find(&library, "foot -\"heavy grip\"", "", 50)), [cases[1], cases[0]]);
    // A word with a hyphen is best as it stands; its parts count too.
    let found = cases_of(&find(&library, "front-foot", "", 50));
    assert_eq!(found.len(), 3);
    assert_eq!(found[2], cases[1]);
    let none = find(&library, "-grip", "", 50);
    assert!(none.hits.is_empty() && none.matched == 0);
    assert!(none.ignored[0].why.contains("add a word to look for"), "{:?}", none.ignored);
}

#[test]
fn what_was_left_out_is_said() {
    let Academy { _folder, library, cases } = academy(&["kangaroo hop"]);
    let found = find(&library, "the kangaroo ** zebrafinch", "", 5);
    assert_eq!(cases_of(&found), cases);
    let said: Vec<String> = found.ignored.iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        [
            "'**' (no letters or digits)",
            "'the' (too common or too long a word)",
            "'zebrafinch' (is nowhere in the library or its catalogue)"
        ]
    );
    let nothing = find(&library, "zebrafinch", "", 5);
    assert!(nothing.hits.is_empty() && nothing.cut.is_none());
}

#[test]
fn excerpts_show_the_words_as_they_were_written() {
    let long =
        format!("{} the tossing arm folds & drops {}", "before ".repeat(60), "after ".repeat(60));
    let Academy { _folder, library, cases } = academy(&[
        "Rücken locker <b>&amp; \"tosses\" it</b> late. Größe: 1,80 m; Toss!",
        &long,
        "calm",
    ]);
    let found = find(&library, "toss größe", "player=p00", 5);
    assert_eq!(cases_of(&found), cases[..1]);
    let [excerpt] = &found.hits[0].excerpts[..] else { panic!("{:?}", found.hits[0].excerpts) };
    assert_eq!(excerpt.part, Part::Note);
    assert_eq!(excerpt.text, "Rücken locker <b>&amp; \"tosses\" it</b> late. Größe: 1,80 m; Toss!");
    let words: Vec<String> = excerpt
        .matches
        .iter()
        .map(|range| excerpt.text.chars().skip(range.start).take(range.len()).collect())
        .collect();
    assert_eq!(words, ["tosses", "Größe", "Toss"]);

    let found = find(&library, "toss", "player=p01", 5);
    let [excerpt] = &found.hits[0].excerpts[..] else { panic!("{:?}", found.hits[0].excerpts) };
    assert!(excerpt.text.starts_with("… ") && excerpt.text.ends_with(" …"), "{}", excerpt.text);
    assert!(excerpt.text.contains("tossing") && excerpt.text.len() < 180, "{}", excerpt.text);
    let [range] = &excerpt.matches[..] else { panic!("{:?}", excerpt.matches) };
    let word: String = excerpt.text.chars().skip(range.start).take(range.len()).collect();
    assert_eq!(word, "tossing");
}

#[test]
fn plans_and_follow_ups_are_found_where_they_stand_and_drills_bring_their_cautions() {
    let Academy { _folder, mut library, cases } = academy(&["calm", "calm too"]);
    let plan = Plan {
        id: PlanId(0),
        case: cases[0],
        limiting_fault: "shallow_leg_drive".to_owned(),
        drills: vec![PlannedDrill {
            drill: "land_inside".to_owned(),
            dose: "numbat daily".to_owned(),
            place: None,
        }],
        start: date(2026, 3, 5),
        review_on: None,
        coach: None,
        note: Some("keep the wombat".to_owned()),
        ended: None,
    };
    let plan = library.add_plan(&plan).unwrap();
    let follow_up = FollowUp {
        id: FollowUpId(0),
        plan,
        date: date(2026, 4, 1),
        serves: Vec::new(),
        ball: BallFlight::default(),
        rating: None,
        sessions_done: None,
        note: Some("kakapo gone".to_owned()),
    };
    let follow_up = library.add_follow_up(&follow_up).unwrap();
    let catalogue = library.catalogue().unwrap();
    let drill = catalogue.drill("land_inside").unwrap();
    for (word, part, text) in [
        ("numbat", Part::Plan(plan), format!("{}, numbat daily", drill.name)),
        ("wombat", Part::PlanNote(plan), "keep the wombat".to_owned()),
        ("kakapo", Part::FollowUp(follow_up), "kakapo gone".to_owned()),
    ] {
        let found = find(&library, word, "", 5);
        assert_eq!(cases_of(&found), cases[..1], "{word}");
        let excerpt = &found.hits[0].excerpts[0];
        assert_eq!((excerpt.part, &excerpt.text), (part, &text));
        let general: Vec<&str> = catalogue.general_cautions().collect();
        let cautions = &found.hits[0].cautions;
        if word == "numbat" {
            // The drill is named: its own caution, then those for all.
            let own = format!("{}: {}", drill.name, drill.cautions[0]);
            assert!(cautions[0].starts_with(&own), "{cautions:?}");
            assert_eq!(cautions[cautions.len() - general.len()..], general[..]);
        } else {
            assert!(cautions.is_empty(), "{word}: {cautions:?}");
        }
    }
    // An entry of the catalogue brings them as well.
    let found = find(&library, &drill.name, "", 1);
    assert_eq!(id_of(&found.hits[0]), "land_inside");
    assert!(found.hits[0].cautions.len() > drill.cautions.len());
}

#[test]
fn a_filter_comes_before_the_ranking_and_keeps_cases_without_a_recording() {
    let notes: Vec<String> = (0..12).map(|n| format!("toss {}", "toss ".repeat(n))).collect();
    let notes: Vec<&str> = notes.iter().map(String::as_str).collect();
    let Academy { _folder, library, cases } = academy(&notes);
    // Those of the first days, whatever stands in the others.
    let found = find(&library, "toss", "date<=2026-03-03", 3);
    let mut kept = cases_of(&found);
    kept.sort();
    assert_eq!((kept, found.searched, found.matched), (cases[..3].to_vec(), 3, 3));
    // The last ones came without a recording.
    let found = find(&library, "toss", "player=p11", 3);
    assert_eq!(cases_of(&found), [cases[11]]);
    let found = find(&library, "toss", "date>=2026-03-11", 3);
    assert_eq!(found.hits.len(), 2);
    let found = find(&library, "toss", "player=p11 date<=2026-03-03", 3);
    assert!(found.hits.is_empty());
    let why = found.cut.unwrap();
    assert!(why.contains("12 cases searched") && why.contains("without it"), "{why}");
}

#[test]
fn readers_answer_as_the_writer_does_whatever_the_state_of_the_index() {
    let Academy { _folder, mut library, cases } =
        academy(&["early toss, late toss", "late", "toss", "grip"]);
    let answer = |library: &Library| -> Vec<(String, usize)> {
        let found = find(library, "late toss bench", "", 50);
        found.hits.iter().map(|hit| (id_of(hit), hit.excerpts.len())).collect()
    };
    let reader = Library::open_read_only(library.folder()).unwrap();
    let absent = answer(&reader);
    assert!(absent.len() > 3);
    assert_eq!(answer(&library), absent);
    assert_eq!(answer(&reader), absent, "from the index");
    library.write(|w| w.add_note(cases[3], "late toss, late toss from the bench", None)).unwrap();
    let gone = library.case(cases[0]).unwrap().player;
    library.write(|w| w.remove_player(gone)).unwrap();
    let behind = answer(&reader);
    assert!(behind.iter().any(|(id, _)| *id == cases[3].to_string()));
    assert!(!behind.iter().any(|(id, _)| *id == cases[0].to_string()));
    library.sync().unwrap();
    let ids = |answer: &[(String, usize)]| {
        let mut ids: Vec<String> = answer.iter().map(|(id, _)| id.clone()).collect();
        ids.sort();
        ids
    };
    assert_eq!(ids(&answer(&library)), ids(&behind));
    assert_eq!(answer(&library), answer(&reader));
}

/// An index as an earlier program left it: other fields, another format number.
#[test]
fn an_index_of_another_format_is_built_anew() {
    let Academy { _folder, library, cases } = academy(&["kangaroo"]);
    let words = library.folder().join("words");
    std::fs::create_dir_all(&words).unwrap();
    let mut schema = tantivy::schema::Schema::builder();
    let case = schema.add_u64_field("case", tantivy::schema::INDEXED | tantivy::schema::FAST);
    let index = tantivy::Index::create_in_dir(&words, schema.build()).unwrap();
    let mut writer: tantivy::IndexWriter = index.writer_with_num_threads(1, 15_000_000).unwrap();
    let mut document = tantivy::TantivyDocument::default();
    document.add_u64(case, 77);
    writer.add_document(document).unwrap();
    let mut commit = writer.prepare_commit().unwrap();
    commit.set_payload(&format!("{} 1 0123456789abcdef 99", library.uid()));
    commit.commit().unwrap();
    drop(writer);
    let reader = Library::open_read_only(library.folder()).unwrap();
    assert_eq!(cases_of(&find(&reader, "kangaroo", "", 5)), cases);
    assert_eq!(cases_of(&find(&library, "kangaroo", "", 5)), cases);
    library.sync().unwrap();
    assert_eq!(library.check_words().unwrap(), Ok(()));
    assert_eq!(cases_of(&find(&reader, "kangaroo", "", 5)), cases);
}
