//! What somebody says of clips: checked, taken back, moved along, asked and answered as typed.

use jiff::civil::date;
use precedent::catalogue::Catalogue;
use precedent::intake::{ClipsRequest, Movable, move_to, say_of_clips};
use precedent::library::{Author, CaseId, RecordingId, ServeId, Setting};
use precedent::looks::clips_told;

use crate::desk;
use crate::pictured::pictured;
use crate::planted::in_space;
use crate::{DAY, Desk};

/// What somebody said of clips that are not there, not of one day or not two is found by the check, each
/// with what to do about it; done, the library is sound.
#[test]
fn what_was_said_of_clips_is_checked_and_can_be_taken_back() {
    let mut desk = Desk::new(&["sanderling", "knot"]);
    let (one, two) = (in_space(0), in_space(7));
    desk.add(0, pictured(&one, 90.0, 1.0), Setting::Target, DAY);
    desk.add(0, pictured(&one, 0.0, 1.0), Setting::Target, DAY);
    desk.add(1, pictured(&two, 90.0, 1.0), Setting::Target, DAY);
    desk.add(0, pictured(&two, 0.0, 1.0), Setting::Target, date(2026, 3, 15));
    let ash = Author::coach("ash").unwrap();
    let catalogue = Catalogue::builtin();
    let same = ClipsRequest::Same(ServeId(1), ServeId(4));
    say_of_clips(&mut desk.library, catalogue, same, &ash).unwrap();
    assert_eq!(desk.amiss(), [""; 0]);
    let file = desk.library.folder().join("library.db");
    for (damage, clips, found) in [
        ("other = 99, one_serve = NULL, other_serve = NULL", [1, 99], "r99 is not in this library"),
        ("other = 3, one_serve = NULL, other_serve = NULL", [1, 3], "they are of two players"),
        ("other = 4, one_serve = NULL, other_serve = NULL", [1, 4], "they are of two sessions"),
        ("other = 1", [1, 1], "that is one clip twice"),
        ("one = 2, other = 1", [2, 1], "the clip that was stored first does not come first"),
        ("one_serve = 5", [1, 2], "s5 is not in r1"),
        ("other_serve = 777", [1, 2], "s777 is not in this library"),
        ("other_serve = NULL", [1, 2], "a serve of one clip is named, and none of the other"),
        ("said_by = 'program'", [1, 2], "nobody is named who said it"),
        ("at = 'then'", [1, 2], "'then' is no instant at which it was said"),
    ] {
        let raw = rusqlite::Connection::open(&file).unwrap();
        raw.execute_batch(&format!(
            "PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON;
             UPDATE clip_pairs SET {damage};"
        ))
        .unwrap();
        drop(raw);
        let by = if damage.contains("program") { "program" } else { "ash" };
        let [one, other] = clips;
        let told = format!(
            "library.db: what {by} said of r{one} and r{other}: {found}; take back what was said of r{one} \
             and r{other}"
        );
        assert_eq!(desk.amiss(), [told], "{damage}");
        let unsaid = ClipsRequest::Unsaid(RecordingId(one), RecordingId(other));
        say_of_clips(&mut desk.library, catalogue, unsaid, &ash).unwrap();
        assert_eq!(desk.amiss(), [""; 0], "{damage}");
        say_of_clips(&mut desk.library, catalogue, same, &ash).unwrap();
    }
    // Of two that are stored, the damaged one goes and the other stays.
    let raw = rusqlite::Connection::open(&file).unwrap();
    raw.execute_batch(
        "PRAGMA ignore_check_constraints = ON;
         INSERT INTO clip_pairs SELECT other, one, other_serve, one_serve, said_by, at FROM clip_pairs;",
    )
    .unwrap();
    drop(raw);
    let found = desk.amiss();
    assert!(found.len() == 1 && found[0].contains("r2 and r1: they are named twice"), "{found:?}");
    let unsaid = ClipsRequest::Unsaid(RecordingId(2), RecordingId(1));
    say_of_clips(&mut desk.library, catalogue, unsaid, &ash).unwrap();
    assert_eq!(desk.amiss(), [""; 0]);
    assert!(clips_told(&desk.library, CaseId(1)).unwrap()[0].said);
}

/// What was said of clips of one day does not outlive the day: it goes with the clip that moves, and the
/// move says so.
#[test]
fn a_clip_that_moves_to_another_day_takes_what_was_said_of_it_along() {
    let mut desk = Desk::new(&["sanderling"]);
    let space = in_space(0);
    desk.add(0, pictured(&space, 90.0, 1.0), Setting::Target, DAY);
    desk.add(0, pictured(&space, 0.0, 1.0), Setting::Target, DAY);
    let ash = Author::coach("ash").unwrap();
    let catalogue = Catalogue::builtin();
    let apart = ClipsRequest::Apart(RecordingId(1), RecordingId(2));
    say_of_clips(&mut desk.library, catalogue, apart, &ash).unwrap();
    let other_day = Some(date(2026, 3, 15));
    let clip = Movable::Recording(RecordingId(2));
    let moved = move_to(&mut desk.library, catalogue, clip, None, other_day, &ash).unwrap();
    assert_eq!(moved.unsaid_of, [RecordingId(1)]);
    assert_eq!(desk.amiss(), [""; 0]);
    let back = move_to(&mut desk.library, catalogue, clip, None, Some(DAY), &ash).unwrap();
    assert!(back.unsaid_of.is_empty());
    assert_eq!(desk.views().others(ServeId(1)), [ServeId(4)], "by their times again");
    // One serve alone takes along what was said by it, and nothing else.
    let same = ClipsRequest::Same(ServeId(1), ServeId(4));
    say_of_clips(&mut desk.library, catalogue, same, &ash).unwrap();
    let other = Movable::Serve(ServeId(5));
    let moved = move_to(&mut desk.library, catalogue, other, None, other_day, &ash).unwrap();
    assert!(moved.unsaid_of.is_empty());
    let named = Movable::Serve(ServeId(4));
    let moved = move_to(&mut desk.library, catalogue, named, None, other_day, &ash).unwrap();
    assert_eq!(moved.unsaid_of, [RecordingId(1)]);
    assert_eq!(desk.amiss(), [""; 0]);
}

/// At the command line: asked, answered, refused with reasons, taken back.
#[test]
fn the_command_line_asks_and_is_answered() {
    let files = ["serve_2164.csv", "serve_2251.csv"];
    let files = files.map(|name| desk::real(&format!("one-camera/flat/{name}")));
    let [Some(side), Some(behind)] = &files else { return };
    let desk = desk::Desk::new();
    let day = ["--player", "dunlin", "--date", "2026-03-14", "--consent", "keep"];
    for (file, view) in [(side, "side"), (behind, "behind")] {
        desk.expect(0, &[&["add", file, "--view", view, "--hand", "right"], &day[..]].concat());
    }
    let (out, _) = desk.expect(0, &["views", "c1"]);
    assert!(out.contains("c1: 2 serves, filmed 2 times in all"), "{out}");
    assert!(out.contains("precedent views s1 s2 --same"), "{out}");
    assert!(out.contains("precedent views r1 r2 --apart"), "{out}");
    let (out, _) = desk.expect(0, &["list", "--questions"]);
    assert!(out.contains("c1: r1 (from the side) and r2 (from behind) may show"), "{out}");
    desk.expect(2, &["--read-only", "views", "s1", "s2", "--same"]);
    let (_, err) = desk.expect(2, &["views", "s1", "--same"]);
    assert!(err.contains("two clips or two serves are needed, found 's1'"), "{err}");
    let (_, err) = desk.expect(2, &["views", "s1", "s1", "--same"]);
    assert!(err.contains("clip: 'r1'; another than the first"), "{err}");
    let (_, err) = desk.expect(2, &["views", "n1"]);
    assert!(
        err.contains("the id of a session (c1), clip (r3) or serve (s12), found 'n1'"),
        "{err}"
    );
    let (out, _) = desk.expect(0, &["views", "s1", "s2", "--same", "--coach", "ash"]);
    assert!(out.contains("c1: 1 serve, filmed 2 times in all"), "{out}");
    assert!(out.contains("show the same serves, as ash said: s1 is s2."), "{out}");
    desk.expect(1, &["list", "--questions"]);
    let told = desk.objects(0, &["views", "c1", "--json"]).remove(0);
    assert_eq!((told["one"].as_str(), told["same"][0][1].as_str()), (Some("r1"), Some("s2")));
    let (out, _) = desk.expect(0, &["label", "c1"]);
    assert!(out.contains(", 1 serve\n"), "{out}");
    desk.expect(0, &["views", "r1", "r2", "--clear"]);
    let (out, _) = desk.expect(0, &["label", "c1"]);
    assert!(out.contains(", 2 serves\n"), "{out}");
    // Said of a clip that is gone: found, and what to type is said and does it.
    desk.expect(0, &["views", "r1", "r2", "--apart"]);
    let raw = rusqlite::Connection::open(desk.at("library").join("library.db")).unwrap();
    raw.execute_batch("PRAGMA foreign_keys = OFF; UPDATE clip_pairs SET other = 99;").unwrap();
    drop(raw);
    let (out, _) = desk.expect(2, &["verify"]);
    assert!(
        out.contains(
            "r99 is not in this library; take it back with `precedent views r1 r99 --clear`"
        ),
        "{out}"
    );
    desk.expect(0, &["views", "r1", "r99", "--clear"]);
    desk.expect(0, &["verify"]);
}
