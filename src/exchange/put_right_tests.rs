//! What was moved or removed at the sender reaches those who have an earlier pack.

use jiff::civil::{Date, date};

use super::tests::{dump, forged, opened, packed_at, parts, room, sample, sound, stocked, take};
use super::{Arrived, ItemKey};
use crate::library::{
    Author, CaseId, FaultLabel, ItemId, LabelState, Library, MoveTo, Player, PlayerId, RecordingId,
    Removal,
};

fn anna() -> Author {
    Author::coach("anna").unwrap()
}

/// The first pack, and the sender's library behind it: recording 1 is of case 1 in March, 2 of
/// case 2 in April, both of the same player.
fn sent() -> (super::tests::Room, Arrived) {
    let mut from = room();
    stocked(&mut from.library);
    let first = leave(&mut from.library);
    (from, first)
}

/// A pack of everything that leaves and is remembered, as `share` does it.
fn leave(library: &mut Library) -> Arrived {
    let packed = packed_at(library, true, 0, "");
    library.write(|w| w.add_leaving(&packed.leaving)).unwrap();
    opened(&packed.bytes).unwrap()
}

fn moved(library: &mut Library, recording: i64, day: Date) {
    let player = library.player_by_code("zebrafinch").unwrap().id;
    let to = MoveTo { player, date: day, labels_left: &[], labels_joined: &[] };
    library.write(|w| w.move_recording(RecordingId(recording), &to, &anna())).unwrap();
}

/// A receiver of these packs, in this order, shows what one of the last alone shows.
fn as_if_only_the_last_came(packs: &[&Arrived]) {
    let mut fresh = room();
    take(&mut fresh.library, packs.last().unwrap());
    let expected = dump(&fresh.library);
    let mut to = room();
    for pack in packs {
        take(&mut to.library, pack);
    }
    assert_eq!(dump(&to.library), expected, "in the order they were made");
    sound(&mut to.library);
    let mut late = room();
    for pack in packs.iter().rev() {
        take(&mut late.library, pack);
    }
    assert_eq!(dump(&late.library), expected, "the other way round");
    sound(&mut late.library);
}

#[test]
fn a_recording_moved_to_another_day_moves_at_the_receiver() {
    let (mut from, first) = sent();
    moved(&mut from.library, 2, date(2026, 4, 11));
    let second = opened(&packed_at(&from.library, true, 5, "").bytes).unwrap();
    let april = second.withdrawn_items.iter().find(|key| key.kind == "case").unwrap();
    assert_eq!(april.uid, "2026-04-04", "the case of that day is empty and gone");
    as_if_only_the_last_came(&[&first, &second]);
}

#[test]
fn what_was_removed_is_gone_at_the_receiver_and_comes_back_when_that_is_undone() {
    let (mut from, first) = sent();
    let removal = Removal::Recording(RecordingId(2));
    from.library.write(|w| w.remove(&removal, &[], &anna())).unwrap();
    let second = opened(&packed_at(&from.library, true, 5, "").bytes).unwrap();
    assert_eq!(second.withdrawn_items.len(), 2, "{:?}", second.withdrawn_items);
    as_if_only_the_last_came(&[&first, &second]);

    let removed = from.library.last_change(ItemId::Recording(RecordingId(2))).unwrap().unwrap();
    from.library.write(|w| w.undo(removed, &anna())).unwrap();
    let third = opened(&packed_at(&from.library, true, 9, "").bytes).unwrap();
    assert_eq!(third.withdrawn_items, []);
    as_if_only_the_last_came(&[&first, &second, &third]);
}

#[test]
fn a_recording_of_another_player_after_all_changes_hands_at_the_receiver() {
    let (mut from, first) = sent();
    let right = Player { code: "rightful".to_owned(), ..from.library.player(PlayerId(1)).unwrap() };
    let right = from.library.add_player(&right).unwrap();
    let to = MoveTo { player: right, date: date(2026, 4, 4), labels_left: &[], labels_joined: &[] };
    from.library.write(|w| w.move_recording(RecordingId(2), &to, &anna())).unwrap();
    let second = opened(&packed_at(&from.library, true, 5, "").bytes).unwrap();
    as_if_only_the_last_came(&[&first, &second]);
}

#[test]
fn what_a_coach_wrote_onto_a_withdrawn_case_keeps_it() {
    let (mut from, first) = sent();
    let mut to = room();
    take(&mut to.library, &first);
    let april = to.library.cases(None).unwrap().into_iter().find(|c| c.date == date(2026, 4, 4));
    let april: CaseId = april.unwrap().id;
    let own = FaultLabel {
        fault: "late_toss".to_owned(),
        state: LabelState::Added,
        severity: 0.5,
        by: Author::coach("carl").unwrap(),
        note: None,
    };
    to.library.write(|w| w.set_label(april, &own)).unwrap();
    from.library.write(|w| w.remove(&Removal::Recording(RecordingId(2)), &[], &anna())).unwrap();
    let second = opened(&packed_at(&from.library, true, 5, "").bytes).unwrap();
    take(&mut to.library, &second);
    let kept = to.library.case(april).unwrap();
    assert_eq!((kept.labels, kept.serves), (vec![own], Vec::new()));
    sound(&mut to.library);
}

#[test]
fn what_never_left_is_not_taken_back_and_a_forgotten_player_takes_all_back() {
    let mut from = room();
    stocked(&mut from.library);
    moved(&mut from.library, 2, date(2026, 4, 11));
    let first = leave(&mut from.library);
    assert_eq!(first.withdrawn_items, []);
    moved(&mut from.library, 2, date(2026, 4, 12));
    from.library.forget(PlayerId(1), date(2026, 5, 1)).unwrap();
    let second = opened(&packed_at(&from.library, true, 5, "").bytes).unwrap();
    assert_eq!((second.withdrawn.len(), second.withdrawn_items.len()), (1, 0));
    let mut to = room();
    take(&mut to.library, &first);
    take(&mut to.library, &second);
    assert_eq!(to.library.cases(None).unwrap(), []);
}

#[test]
fn a_pack_that_takes_back_what_it_brings_is_refused() {
    let key = |kind: &str, uid: &str| ItemKey {
        player: "0".repeat(64),
        kind: kind.to_owned(),
        uid: uid.to_owned(),
    };
    let (manifest, lines) = parts(&sample());
    let owner = opened(&forged(&manifest, &lines)).unwrap().items[0].owner().to_owned();
    for (keys, refused) in [
        (vec![key("case", "2026-03-04")], false),
        (vec![key("case", "yesterday")], true),
        (vec![key("serve", "2026-03-04")], true),
        (vec![key("case", "2026-03-05"), key("case", "2026-03-04")], true),
        (vec![ItemKey { player: owner, ..key("case", "2026-03-04") }], true),
    ] {
        let mut changed = manifest.clone();
        changed["withdrawn_items"] = serde_json::to_value(&keys).unwrap();
        let came = opened(&forged(&changed, &lines));
        assert_eq!(came.is_err(), refused, "{keys:?}: {:?}", came.err());
    }
}
