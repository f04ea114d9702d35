//! Signatures, locks and who is taken back, against published vectors and other people's code.

use jiff::civil::date;
use zeroize::Zeroizing;

use super::key_file::hex;
use super::seal::{Cost, PART, lock, unlock};
use super::sign::{CONTEXT, check};
use super::tests::{dump, moment, opened, packed_at, parts, room, sound, stocked, take};
use super::*;
use crate::exchange::Arrived;
use crate::find::Filter;
use crate::library::{Consent, Library, Player, PlayerId};
use crate::work::Watch;

/// As cheap as the method allows, for tests that lock often.
const CHEAP: Cost = Cost { memory_kib: 8, passes: 1, lanes: 1 };

fn phrase(text: &str) -> Passphrase {
    Passphrase::new(&Zeroizing::new(text.to_owned())).unwrap()
}

fn signed(library: &Library, key: Option<&PackKey>, minute: i64) -> Packed {
    let filter = Filter::default();
    let request = Request {
        filter: &filter,
        academy: Some("North Side"),
        with_notes: false,
        made: moment(minute),
        key,
        protection: Protection::Open,
    };
    pack(library, &request, &Watch::default()).unwrap()
}

/// RFC 8032, section 7.1, tests 1 and 3: our hex and the key's public half; and that a signature
/// made without our context does not pass for a pack's.
#[test]
fn keys_are_those_of_the_standard() {
    for (seed, public) in [
        (
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
            "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        ),
        (
            "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
            "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        ),
    ] {
        let mut bytes = [0; 32];
        for (at, byte) in bytes.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&seed[2 * at..2 * at + 2], 16).unwrap();
        }
        let key = PackKey::from_seed(bytes);
        assert_eq!(key.public(), public);
        let signature = key.sign(b"{}");
        check(public, b"{}", &signature).unwrap();
        assert!(check(public, &[CONTEXT, b"{}"].concat(), &signature).is_err());
        assert!(check(public, b"{ }", &signature).is_err());
    }
    assert_eq!(hex(&[0, 171]), "00ab");
}

/// Both parts of a lock as other people's libraries read them, after `FORMAT.md` alone.
#[test]
fn a_signed_and_locked_pack_opens_in_python() {
    let Some(python) = std::env::var_os("PRECEDENT_ORACLE") else {
        crate::skip::skipped("PRECEDENT_ORACLE names no Python; tests/run sets it");
        return;
    };
    let mut from = room();
    stocked(&mut from.library);
    let key = PackKey::from_seed([7; 32]);
    let words = phrase("four words drawn by lot");
    let packed = signed(&from.library, Some(&key), 0);
    let folder = tempfile::TempDir::new().unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/src/exchange/golden/open_pack.py");
    let locked = lock(&packed.bytes, &words, Cost::USUAL, &Watch::default()).unwrap();
    for (bytes, is_locked) in [(&packed.bytes, false), (&locked, true)] {
        let file = folder.path().join("x.pack");
        std::fs::write(&file, bytes).unwrap();
        let output = std::process::Command::new(&python)
            .args([script.as_ref(), file.as_os_str(), "four words drawn by lot".as_ref()])
            .output()
            .unwrap();
        let err = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{err}");
        let said: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(said["locked"], is_locked);
        assert_eq!(said["id"], packed.id.as_str());
        assert_eq!(said["signer"], key.public().as_str());
        assert_eq!(said["cases"], 2);
    }
}

#[test]
fn every_changed_byte_of_a_signed_pack_is_noticed_or_changes_nothing() {
    let mut from = room();
    stocked(&mut from.library);
    let key = PackKey::from_seed([7; 32]);
    let bytes = signed(&from.library, Some(&key), 0).bytes;
    let whole = opened(&bytes).unwrap();
    assert_eq!(whole.signer.as_deref(), Some(key.public().as_str()));
    for at in (0..bytes.len()).step_by(bytes.len() / 300 + 1) {
        let mut bad = bytes.clone();
        bad[at] ^= 0x20;
        // Bytes of the ZIP's own that nothing reads may change.
        if let Ok(pack) = opened(&bad) {
            assert!(pack == whole, "byte {at}");
        }
    }
    // A forger may make the manifest right again, but not sign it.
    let (manifest, lines) = parts(&bytes);
    let mut manifest: Manifest = serde_json::from_value(manifest).unwrap();
    manifest.academy = Some("South Side".to_owned());
    manifest.id = manifest.right_id().unwrap();
    let head = serde_json::to_vec(&manifest).unwrap();
    let zip = |entries: &[(&str, &[u8])]| crate::files::zipped(entries).unwrap();
    let other = PackKey::from_seed([8; 32]).sign(&head);
    for (bad, why) in [
        (zip(&[(MANIFEST, &head), (CASES, &lines)]), "there is no signature"),
        (zip(&[(MANIFEST, &head), (CASES, &lines), (SIGNATURE, &other)]), "does not belong"),
        (zip(&[(MANIFEST, &head), (CASES, &lines), (SIGNATURE, &other[..63])]), "not 64 bytes"),
    ] {
        let said = opened(&bad).unwrap_err().to_string();
        assert!(said.contains("the signature is wrong") && said.contains(why), "{said}");
    }
    manifest.signer = None;
    manifest.id = manifest.right_id().unwrap();
    let head = serde_json::to_vec(&manifest).unwrap();
    let bad = zip(&[(MANIFEST, &head), (CASES, &lines), (SIGNATURE, &other)]);
    assert!(opened(&bad).unwrap_err().to_string().contains("names no key"));
}

#[test]
fn a_lock_opens_with_its_passphrase_alone_and_whole() {
    let words = phrase("four words drawn by lot");
    for length in [1, PART - 1, PART, PART + 1, 3 * PART] {
        let pack: Vec<u8> = (0..length).map(|at| (at * 7 % 251) as u8).collect();
        let locked = lock(&pack, &words, CHEAP, &Watch::default()).unwrap();
        assert!(is_locked(&locked) && !is_locked(&pack));
        assert!(unlock(&locked, &words).unwrap() == pack, "{length}");
        let wrong = unlock(&locked, &phrase("four words drawn by luck")).unwrap_err();
        assert!(matches!(wrong, PackError::WrongPassphrase), "{wrong}");
        assert!(
            lock(&pack, &words, CHEAP, &Watch::default()).unwrap() != locked,
            "salt and nonces are new each time"
        );
    }
    let pack = vec![5; 2 * PART + 9];
    let locked = lock(&pack, &words, CHEAP, &Watch::default()).unwrap();
    let at = |part: usize| 80 + part * (PART + 16);
    let mut swapped = locked.clone();
    swapped[at(0)..at(1)].copy_from_slice(&locked[at(1)..at(2)]);
    swapped[at(1)..at(2)].copy_from_slice(&locked[at(0)..at(1)]);
    for bad in [&swapped[..], &locked[..at(2)], &locked[..at(1)], &locked[..locked.len() - 1]] {
        let said = unlock(bad, &words).unwrap_err().to_string();
        assert!(said.contains("changed, moved or cut off"), "{said}");
    }
}

#[test]
fn every_changed_byte_and_every_cut_of_a_locked_pack_is_refused() {
    let words = phrase("four words drawn by lot");
    let locked = lock(b"a small pack", &words, CHEAP, &Watch::default()).unwrap();
    for at in 0..locked.len() {
        let mut bad = locked.clone();
        bad[at] ^= 1;
        assert!(open(&bad, Some(&words)).is_err() || at < 8, "byte {at}");
        assert!(unlock(&bad, &words).is_err() || at < 8, "byte {at}");
        assert!(unlock(&locked[..at], &words).is_err(), "cut at {at}");
    }
}

/// What a pack asks for is looked at before it is given.
#[test]
fn a_lock_that_asks_for_too_much_is_refused_before_any_is_taken() {
    let words = phrase("four words drawn by lot");
    let locked = lock(b"a small pack", &words, CHEAP, &Watch::default()).unwrap();
    for (at, what) in [(12, "memory"), (16, "passes"), (20, "lanes")] {
        let mut greedy = locked.clone();
        greedy[at..at + 4].copy_from_slice(&u32::MAX.to_le_bytes());
        let said = unlock(&greedy, &words).unwrap_err().to_string();
        assert!(said.contains(what) && said.contains("at most"), "{said}");
    }
    let said = open(&locked, None).unwrap_err().to_string();
    assert!(said.contains("give its passphrase"), "{said}");
    let weak = phrase("short").check_strong().unwrap_err().to_string();
    assert!(weak.contains("5 characters") && weak.contains("at least 12"), "{weak}");
    assert!(Passphrase::new(&Zeroizing::new("\nx".to_owned())).is_err());
    assert_eq!(format!("{words:?}"), "Passphrase(..)");
}

#[test]
fn a_key_is_made_once_for_its_owner_alone_and_a_changed_one_is_noticed() {
    let folder = tempfile::TempDir::new().unwrap();
    let key = PackKey::of(folder.path()).unwrap();
    assert_eq!(PackKey::of(folder.path()).unwrap().public(), key.public());
    let file = folder.path().join("signing.key");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = |mode| std::fs::Permissions::from_mode(mode);
        assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
        std::fs::set_permissions(&file, mode(0o644)).unwrap();
        let said = PackKey::of(folder.path()).unwrap_err().to_string();
        assert!(said.contains("others may read it (mode 644)"), "{said}");
        std::fs::set_permissions(&file, mode(0o600)).unwrap();
    }
    std::fs::write(&file, "precedent signing key 1\nabc\n").unwrap();
    assert!(PackKey::of(folder.path()).unwrap_err().to_string().contains("64 hex digits"));

    let mut from = room();
    stocked(&mut from.library);
    let other = PackKey::from_seed([9; 32]);
    let pack =
        |key: Option<&PackKey>, minute| opened(&signed(&from.library, key, minute).bytes).unwrap();
    let mut to = room();
    let seen = |library: &Library, pack: &Arrived| Signing::of(pack, &library.packs().unwrap());
    assert_eq!(seen(&to.library, &pack(None, 0)), Signing::None);
    assert_eq!(seen(&to.library, &pack(Some(&key), 0)), Signing::New);
    take(&mut to.library, &pack(Some(&key), 0));
    assert_eq!(seen(&to.library, &pack(Some(&key), 1)), Signing::Same);
    for (pack, expected) in
        [(pack(None, 1), Signing::NoLonger), (pack(Some(&other), 1), Signing::Other)]
    {
        let signing = seen(&to.library, &pack);
        assert_eq!(signing, expected);
        assert!(signing.is_suspect());
        // Another library under the same name is as suspect.
        let guise = Arrived { sender: "someone".to_owned(), ..pack };
        assert!(seen(&to.library, &guise).is_suspect());
        let stranger = Arrived { academy: Some("West".to_owned()), ..guise };
        assert!(!seen(&to.library, &stranger).is_suspect());
    }
    assert_eq!(fingerprint(&key.public()).split(' ').count(), 8);
}

#[test]
fn who_is_forgotten_or_agrees_no_more_is_taken_back_by_the_next_pack() {
    for forget in [true, false] {
        let (mut from, mut to) = (room(), room());
        let who = stocked(&mut from.library);
        let first = packed_at(&from.library, false, 0, "");
        from.library.write(|w| w.add_leaving(&first.leaving)).unwrap();
        assert!(from.library.withdrawals().unwrap().is_empty());
        take(&mut to.library, &opened(&first.bytes).unwrap());
        assert!(!dump(&to.library).is_empty());
        if forget {
            from.library.forget(who, date(2026, 5, 2)).unwrap();
        } else {
            let player = from.library.player(who).unwrap();
            let consent = Consent { share: false, ..player.consent };
            from.library.write(|w| w.update_player(&Player { consent, ..player.clone() })).unwrap();
        }
        let next = packed_at(&from.library, false, 5, "");
        assert_eq!((next.withdrawn, next.leaving.cases.len()), (1, 0));
        let next = opened(&next.bytes).unwrap();
        let brought = take(&mut to.library, &next);
        assert_eq!((brought.taken_back, brought.players_gone, brought.cases_gone), (1, 1, 2));
        assert!(dump(&to.library).is_empty());
        sound(&mut to.library);
        // The old pack does not bring the player back, in whatever order.
        take(&mut to.library, &opened(&first.bytes).unwrap());
        assert!(dump(&to.library).is_empty());
        let mut late = room();
        take(&mut late.library, &next);
        take(&mut late.library, &opened(&first.bytes).unwrap());
        assert!(dump(&late.library).is_empty());
        if !forget {
            // Agreeing again, the player comes with a later pack.
            let player = from.library.player(PlayerId(1)).unwrap();
            let consent = Consent { share: true, ..player.consent };
            from.library.write(|w| w.update_player(&Player { consent, ..player.clone() })).unwrap();
            let again = packed_at(&from.library, false, 9, "");
            assert_eq!(again.withdrawn, 0);
            take(&mut to.library, &opened(&again.bytes).unwrap());
            assert!(!dump(&to.library).is_empty());
        }
    }
}
