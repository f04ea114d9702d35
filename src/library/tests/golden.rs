//! A library of format 1 as it was first written, kept with the tests: later programs must read it
//! and must write the same bytes under the same format numbers.
//!
//! `golden/format-1.db` was made by `make_the_golden_library` below, by this program at 0.1.0 with
//! SQLite 3.54.1 (bundled by rusqlite 0.43) and bincode 2.0.1, from the invented data of `made.rs`.

use std::fs;
use std::path::PathBuf;

use jiff::civil::date;
use tempfile::TempDir;

use super::made;
use crate::library::stored::{RecordingBytes, ServeBytes};
use crate::library::*;

fn golden() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("src/library/tests/golden/format-1.db")
}

#[test]
#[ignore = "writes the golden library; run once per format"]
fn make_the_golden_library() {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path()).unwrap();
    let player = library.add_player(&made::player("p07")).unwrap();
    let added = made::add(&mut library, player, 1, date(2026, 3, 4), 2).unwrap();
    library.write(|w| w.set_note(added.case, Some("arm folds early"))).unwrap();
    library.connection.execute_batch("VACUUM").unwrap();
    drop(library);
    fs::copy(folder.path().join("library.db"), golden()).unwrap();
}

#[test]
fn a_library_of_format_1_is_read_and_checked() {
    let folder = TempDir::new().unwrap();
    fs::copy(golden(), folder.path().join("library.db")).unwrap();
    let mut library = Library::open(folder.path()).unwrap();
    let mut player = made::player("p07");
    player.id = PlayerId(1);
    assert_eq!(library.players().unwrap(), [player]);
    let case = library.case(CaseId(1)).unwrap();
    assert_eq!((case.date, case.note.as_deref()), (date(2026, 3, 4), Some("arm folds early")));
    let joints = library.joints(RecordingId(1)).unwrap();
    assert_eq!(format!("{joints:?}"), format!("{:?}", made::recording(1)));
    for (id, seed) in [(ServeId(1), 10), (ServeId(2), 11)] {
        let mut stored = library.serve(id).unwrap().serve;
        let made = made::serve(seed);
        // The sine behind these samples may differ by a last bit between systems.
        for (at, (stored, made)) in stored.curve.values.iter().zip(&made.curve.values).enumerate() {
            assert!((stored - made).abs() < 1e-5, "{id}, sample {at}: {stored} and {made}");
        }
        stored.curve.values.clone_from(&made.curve.values);
        assert_eq!(stored, made);
    }
    assert_eq!(library.find_words("folds").unwrap().cases, Some(vec![CaseId(1)]));
    let verified = library.verify(true, |_, _| {}).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
}

#[test]
fn the_same_values_are_sealed_to_the_same_bytes() {
    // A write-ahead database makes files beside it even to be read: a copy.
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("library.db");
    fs::copy(golden(), &file).unwrap();
    let db = rusqlite::Connection::open(&file).unwrap();
    let blob = |sql: &str| db.query_row(sql, [], |row| row.get::<_, Vec<u8>>(0)).unwrap();

    let serve = ServeBytes::of(&made::serve(10)).unwrap();
    let details = blob("SELECT details FROM serve_data WHERE serve = 1");
    assert_eq!(serve.details, details);
    // Read by hand: magic, format 1, and the first field, hand_trust = 0.95.
    assert_eq!(&details[..6], b"PSrv\x01\x00");
    assert_eq!(&details[18..26], 0.95f64.to_le_bytes());
    assert_eq!(serve.figures, blob("SELECT figures FROM serve_data WHERE serve = 1"));

    let recording = RecordingBytes::of(&made::recording(1)).unwrap();
    let head = blob("SELECT head FROM recording_joints");
    assert_eq!(recording.head, head);
    assert_eq!(&head[..6], b"PRec\x01\x00");
    // Two joints, the first name 13 bytes long.
    assert_eq!(&head[18..33], b"\x02\x0dleft_shoulder");
    assert_eq!(recording.times, blob("SELECT times FROM recording_joints"));
    assert_eq!(recording.confidence.unwrap(), blob("SELECT confidence FROM recording_joints"));
    let positions = blob("SELECT positions FROM recording_joints");
    // The first position is (0.5, 0, 1).
    assert_eq!(&positions[8..12], 1f32.to_le_bytes());
    assert_eq!(recording.positions, positions);
}
