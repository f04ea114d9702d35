//! A coach sets a serve's moments from the command line.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use desk::Desk;
use serde_json::Value;

fn moment(moments: &Value, kind: &str) -> Value {
    let all = moments["moments"].as_array().unwrap();
    all.iter().find(|one| one["kind"] == kind).unwrap().clone()
}

#[test]
fn moments_are_shown_set_by_time_or_frame_and_taken_back() {
    let desk = Desk::stocked();
    let plain = desk.objects(0, &["mark", "s1", "--json"]).remove(0);
    let before = moment(&plain, "contact");
    assert_eq!(before["witness"], "joints");
    let frame = before["frame"].as_u64().unwrap() + 4;
    let release = moment(&plain, "release")["time_s"].as_f64().unwrap() + 0.02;

    let (at, release_at) = (format!("frame:{frame}"), format!("{release:.3}"));
    let mark = ["mark", "s1", "--contact", &at, "--release", &release_at, "--coach", "ash"];
    let (table, said) = desk.expect(0, &mark);
    assert!(said.contains("s1: read again with these moments"), "{said}");
    assert!(table.contains("set by ash on "), "{table}");
    assert!(table.contains("beside it: from the joints, give or take "), "{table}");
    let marked = desk.objects(0, &["mark", "s1", "--json"]).remove(0);
    let contact = moment(&marked, "contact");
    assert_eq!(contact["witness"]["person"], "ash");
    assert_eq!(
        (&contact["frame"], &contact["beside"][0]["frame"]),
        (&frame.into(), &before["frame"])
    );
    assert_eq!(moment(&marked, "trophy")["witness"], "joints");

    let (_, err) = desk.expect(2, &["mark", "s1", "--release", &at]);
    assert!(err.contains(": must come before contact at "), "{err}");
    let (_, err) = desk.expect(2, &["mark", "s1", "--contact", "frame:999999"]);
    assert!(err.contains("frame 999999: outside the recording, which goes from "), "{err}");
    let (_, err) = desk.expect(2, &["mark", "s1", "--contact", "soon"]);
    assert!(err.contains("a time in seconds (2.31) or a frame (frame:104)"), "{err}");
    let (_, err) = desk.expect(2, &["--read-only", "mark", "s1", "--clear", "contact"]);
    assert!(err.contains("--read-only"), "{err}");
    desk.expect(0, &["--read-only", "mark", "s1"]);

    desk.expect(0, &["mark", "s1", "--clear", "contact", "--coach", "bo"]);
    let cleared = desk.objects(0, &["mark", "s1", "--json"]).remove(0);
    assert_eq!(moment(&cleared, "contact")["witness"], "joints");
    assert_eq!(moment(&cleared, "release")["witness"]["person"], "ash");
    let (_, err) = desk.expect(2, &["mark", "s1", "--clear", "contact"]);
    assert!(err.contains("s1: nobody set its contact"), "{err}");

    // Taken back in turn, as any change.
    desk.expect(0, &["history", "s1", "--undo", "--coach", "ash"]);
    let again = desk.objects(0, &["mark", "s1", "--json"]).remove(0);
    assert_eq!(moment(&again, "contact"), contact);
    // The review says who set it.
    desk.expect(0, &["review", "s1", "-o", "coach.html", "--for", "coach"]);
    let page = std::fs::read_to_string(desk.at("coach.html")).unwrap();
    assert!(page.contains("Contact, set by ash"));
    desk.expect(0, &["verify"]);
}
