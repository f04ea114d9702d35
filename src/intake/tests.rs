use tempfile::TempDir;

use super::*;
use crate::library::tests::made;
use crate::work::is_stop;

/// One serve of an invented left-hander.
const SAMPLE: &[u8] = include_bytes!("../../demo-data/new-serve.c3d");

fn desk() -> (TempDir, Library, Player, PathBuf) {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("library")).unwrap();
    let mut player = made::player("sanderling");
    player.id = library.add_player(&player).unwrap();
    let file = folder.path().join("serve.c3d");
    std::fs::write(&file, SAMPLE).unwrap();
    (folder, library, player, file)
}

fn take_in(library: &mut Library, player: &Player, file: &Path) -> Taken {
    let catalogue = Catalogue::builtin();
    take(library, catalogue, player, file, &Context::default(), &Watch::default()).unwrap()
}

#[test]
fn a_stored_file_is_taken_from_the_store_under_whatever_name() {
    let (folder, mut library, mut player, file) = desk();
    player.hand = None;
    let first = take_in(&mut library, &player, &file);
    assert!(first.added.new);
    let other = folder.path().join("renamed.bin");
    std::fs::copy(&file, &other).unwrap();
    let known = FindOptions::default();
    let see = |library: &Library, context: &Context, known: &FindOptions| {
        look(Some(library), &other, context, known, &Watch::default()).unwrap()
    };
    let looked = see(&library, &Context::default(), &known);
    assert!(looked.from_store && !looked.passed_over);
    assert_eq!(looked.stored.as_ref().unwrap().id, first.added.recording);
    let stored = library.serve(first.added.serves[0]).unwrap().serve;
    assert_eq!(looked.found.serves, std::slice::from_ref(&stored));
    // Without the library it is read, and gives the same serve to the rounding of what is kept.
    let fresh = look(None, &other, &Context::default(), &known, &Watch::default()).unwrap();
    assert!(!fresh.from_store);
    assert_eq!(fresh.found.serves[0].events, stored.events);

    let mut how = Context::default();
    how.read.rate_hz = Some(90.0);
    assert!(see(&library, &how, &known).passed_over);
    let right = FindOptions { hand: Some(Side::Right), ..known };
    let refused = see(&library, &Context::default(), &right).found;
    assert!(refused.serves.is_empty());
    assert_eq!(
        why_none(&refused),
        "r1 is stored as serving with the left hand, but the right hand was given"
    );

    let again = take_in(&mut library, &player, &other);
    assert!(!again.added.new);
    assert_eq!(again.added.serves, first.added.serves);
}

/// As programs before this form of the hash stored it.
#[test]
fn a_file_stored_under_an_earlier_name_is_recognised_and_keeps_it() {
    let (_folder, mut library, mut player, file) = desk();
    player.hand = None;
    let first = take_in(&mut library, &player, &file);
    let content = ContentId::of(&file, &Context::default(), &Watch::default()).unwrap();
    let renamed = library
        .connection
        .execute("UPDATE recordings SET content_hash = ?1", [&content.earlier])
        .unwrap();
    assert_eq!(renamed, 1);
    let again = take_in(&mut library, &player, &file);
    assert!(!again.added.new);
    assert_eq!(again.added.recording, first.added.recording);
    let row = library.recording(first.added.recording).unwrap();
    assert_eq!(row.content_hash, content.earlier);
    assert_eq!(library.counts().unwrap().recordings, 1);
}

#[test]
fn a_stopped_reading_and_a_stopped_storing_leave_nothing() {
    let (_folder, mut library, mut player, file) = desk();
    player.hand = None;
    let watch = Watch::default();
    let looked =
        look(Some(&library), &file, &Context::default(), &FindOptions::default(), &watch).unwrap();
    watch.stop();
    let error = look(Some(&library), &file, &Context::default(), &FindOptions::default(), &watch)
        .unwrap_err();
    assert!(is_stop(&error), "{error}");
    let (catalogue, context) = (Catalogue::builtin(), Context::default());
    let error = store(&mut library, catalogue, &player, looked, &context, &watch).unwrap_err();
    assert!(is_stop(&error), "{error}");
    assert_eq!(library.counts().unwrap().recordings, 0);
}
