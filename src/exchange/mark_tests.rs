//! Moments set by hand travel with the serves that rest on them; what is drawn stays with its picture.

use super::tests::{dump, opened, packed_at, room, sound, stocked, take};
use super::{Arrived, Item};
use crate::library::tests::made;
use crate::library::{
    Author, Library, Marked, NewMark, RecordingId, SeenMoment, ServeId, Witness, WriteError,
};
use crate::serve::EventKind;

fn mark(library: &mut Library, what: Marked) {
    let serve = what.event().map(|_| ServeId(1));
    let mark = NewMark { recording: RecordingId(1), serve, what, time_s: 0.75, frame: 90 };
    let by = Author::coach("bettong").unwrap();
    library.write(|w| w.set_mark(&mark, &by)).unwrap();
}

/// A library whose first serve has a contact set by hand, a line and words on its picture.
fn marked() -> super::tests::Room {
    let mut from = room();
    stocked(&mut from.library);
    mark(&mut from.library, Marked::Moment { event: EventKind::Contact });
    mark(&mut from.library, Marked::Line { points: [[1.0, 2.0], [3.0, 4.0]] });
    mark(&mut from.library, Marked::Words { at: None, text: "potoroo words".to_owned() });
    let seen = SeenMoment {
        event: EventKind::Contact,
        witness: Witness::Joints,
        time_s: 1.0,
        frame: 120,
        error_s: 0.025,
        trust: 0.8,
    };
    from.library
        .write(|w| {
            w.set_moments_seen(ServeId(1), std::slice::from_ref(&seen))?;
            w.update_serve(ServeId(1), &made::serve(77))
        })
        .unwrap();
    from
}

fn sent(library: &Library, with_notes: bool) -> Arrived {
    opened(&packed_at(library, with_notes, 0, "").bytes).unwrap()
}

#[test]
fn moments_travel_and_words_go_as_notes_do() {
    let from = marked();
    let text = |arrived: &Arrived| format!("{:?}", arrived.items);
    assert!(!text(&sent(&from.library, false)).contains("potoroo"));
    let pack = sent(&from.library, true);
    assert!(text(&pack).contains("potoroo words"));
    assert!(!text(&pack).contains("bettong"), "coaches are voices");

    let mut to = room();
    take(&mut to.library, &pack);
    let shown = dump(&to.library);
    let mut received = Vec::new();
    to.library
        .each_serve(|serve| {
            received.push(serve);
            std::ops::ControlFlow::Continue(())
        })
        .unwrap();
    let serve = received.iter().find(|row| row.serve == made::serve(77)).unwrap();
    let contact = to.library.moments(serve).unwrap()[EventKind::Contact as usize].clone();
    let Witness::Person(Author::Coach(voice)) = &contact.witness else {
        panic!("{contact:?}");
    };
    assert!(voice.starts_with("away-"), "{voice}");
    assert_eq!((contact.set_at, contact.beside[0].frame), (None, 120));
    let marks = to.library.marks(serve.recording).unwrap();
    assert_eq!(marks.len(), 1, "drawings stay with their picture: {marks:?}");
    // Twice is once.
    take(&mut to.library, &pack);
    assert_eq!(dump(&to.library), shown);
    sound(&mut to.library);
    // It is for its sender to put right.
    let new = NewMark {
        recording: serve.recording,
        serve: Some(serve.id),
        what: Marked::Moment { event: EventKind::Release },
        time_s: 0.5,
        frame: 60,
    };
    let by = Author::coach("anna").unwrap();
    let error = to.library.write(|w| w.set_mark(&new, &by)).unwrap_err();
    assert!(matches!(error, WriteError::FromPack { .. }), "{error}");
}

#[test]
fn a_moment_that_cannot_be_is_refused() {
    let from = marked();
    let pack = sent(&from.library, true);
    let recording = |item: &&Item| matches!(item, Item::Recording(one) if !one.moments.is_empty());
    let Some(Item::Recording(good)) = pack.items.iter().find(recording) else {
        panic!("moments travel");
    };
    assert!(Item::Recording(good.clone()).check().is_ok());
    let person = good.moments.iter().position(|one| one.sure.is_none()).unwrap();
    type Spoil = fn(&mut super::MomentItem);
    let spoilt: [(Spoil, &str); 5] = [
        (|one| one.serve = 9, "the place of a serve in it"),
        (|one| one.time_s = f64::NAN, "a time, with its error and trust"),
        (|one| one.sure = Some((0.1, 0.5)), "a time, with its error and trust"),
        (|one| one.witness = Witness::Person(Author::Program), "a coach's voice"),
        (|one| one.witness = Witness::Person(Author::Coach("bo".to_owned())), "8 hex digits"),
    ];
    for (spoil, says) in spoilt {
        let mut bad = good.clone();
        spoil(&mut bad.moments[person]);
        let error = Item::Recording(bad).check().unwrap_err().to_string();
        assert!(error.contains(says), "{error}");
    }
    let mut twice = good.clone();
    twice.moments.push(twice.moments[person].clone());
    let error = Item::Recording(twice).check().unwrap_err().to_string();
    assert!(error.contains("one word of each witness"), "{error}");
}
