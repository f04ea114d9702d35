//! Packs for named receivers, against other people's code.

use super::receiver::{lock_for, unlock_with};
use super::seal::PART;
use super::tests::{moment, room, stocked};
use super::*;
use crate::find::Filter;
use crate::work::Watch;

fn keys() -> [ReceivingKey; 3] {
    [3, 5, 9].map(|seed| ReceivingKey::from_secret([seed; 32]))
}

fn locked(pack: &[u8], keys: &[&ReceivingKey]) -> Vec<u8> {
    let receivers: Vec<ReceiverKey> = keys.iter().map(|key| key.public()).collect();
    lock_for(pack, &receivers, &Watch::default()).unwrap()
}

/// RFC 7748, section 6.1: Bob's private and public key.
#[test]
fn a_public_key_is_that_of_the_standard() {
    let secret = "5dab087e624a8a4b79e17f8b83800ee66f3bb1292618b6fd1c2f8b27ff88e0eb";
    let public = "de9edb7d7b7dc1b4d35b61c2ece435373f8343c85b78674dadfc7e146f882b4f";
    let key = ReceivingKey::from_secret(key_file::unhex(secret).unwrap());
    let text = key.public().to_string();
    assert_eq!(text.split('-').nth(2), Some(public));
    assert_eq!(text.parse::<ReceiverKey>().unwrap().to_string(), text);
}

#[test]
fn a_pack_opens_for_each_of_its_receivers_and_for_nobody_else() {
    let [first, second, other] = keys();
    for long in [0, 1, PART, PART + 1, 2 * PART + 9] {
        let pack = vec![7; long.max(1)];
        let file = locked(&pack, &[&first, &second]);
        assert!(is_for_keys(&file) && !is_locked(&file));
        for own in [&first, &second] {
            assert!(unlock_with(&file, own).unwrap() == pack, "{long}");
        }
        let said = unlock_with(&file, &other).unwrap_err().to_string();
        assert!(said.contains("locked for another library"), "{said}");
        assert!(file != locked(&pack, &[&first, &second]), "keys are new each time");
    }
    assert!(lock_for(b"x", &[], &Watch::default()).is_err());
    let many = vec![first.public(); 65];
    let said = lock_for(b"x", &many, &Watch::default()).unwrap_err().to_string();
    assert!(said.contains("65 receivers, expected 1 to 64"), "{said}");
}

#[test]
fn every_changed_byte_and_every_cut_is_refused() {
    let [first, second, _] = keys();
    let file = locked(b"a small pack", &[&first, &second]);
    for at in 0..file.len() {
        let mut bad = file.clone();
        bad[at] ^= 1;
        // Also the other receiver's stanza: it is bound to every part.
        assert!(unlock_with(&bad, &first).is_err() || at < 12, "byte {at}");
        assert!(
            open_with(&bad, Keys { passphrase: None, own: Some(&first) }).is_err(),
            "byte {at}"
        );
        assert!(unlock_with(&file[..at], &first).is_err(), "cut at {at}");
    }
    let mut greedy = file;
    greedy[12..16].copy_from_slice(&u32::MAX.to_le_bytes());
    let said = unlock_with(&greedy, &first).unwrap_err().to_string();
    assert!(said.contains("receivers") && said.contains("at most 64"), "{said}");
}

#[test]
fn a_slip_in_copying_a_key_is_told() {
    let [first, ..] = keys();
    let text = first.public().to_string();
    let named: ReceiverKey = format!("North Side={text}").parse().unwrap();
    assert_eq!(named.name.as_deref(), Some("North Side"));
    assert!(named.describe().starts_with("North Side (key "));
    let slip = text.replacen(char::from(text.as_bytes()[20]), "0", 64);
    for (bad, told) in [
        ("", "does not begin with"),
        (&text[..text.len() - 12], "64 small hex digits"),
        (&text[..text.len() - 9], "a slip in copying"),
        (&slip, "a slip in copying"),
        (&text.to_uppercase(), "does not begin with"),
    ] {
        let said = bad.parse::<ReceiverKey>().unwrap_err().to_string();
        assert!(said.contains(told), "{bad}: {said}");
    }
}

/// Read after `FORMAT.md` alone with the HPKE of the `cryptography` package (50.0.2).
#[test]
fn a_pack_for_a_key_opens_in_python() {
    let Some(python) = std::env::var_os("PRECEDENT_ORACLE") else {
        crate::skip::skipped("PRECEDENT_ORACLE names no Python; tests/run sets it");
        return;
    };
    let mut from = room();
    stocked(&mut from.library);
    let key = PackKey::from_seed([7; 32]);
    let [first, second, _] = keys();
    let receivers = [first.public(), second.public()];
    let request = Request {
        filter: &Filter::default(),
        academy: None,
        with_notes: false,
        made: moment(0),
        key: Some(&key),
        protection: Protection::For(&receivers),
    };
    let packed = pack(&from.library, &request, &Watch::default()).unwrap();
    assert!(packed.leaving.recipient.as_ref().unwrap().contains("key "));
    assert_eq!(packed.consents.len(), 1);
    assert_eq!(packed.consents[0].code, "zebrafinch");
    let own = open_with(&packed.bytes, Keys { passphrase: None, own: Some(&second) }).unwrap();
    assert_eq!(own.id, packed.id);
    let folder = tempfile::TempDir::new().unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/src/exchange/golden/open_pack.py");
    let file = folder.path().join("x.pack");
    std::fs::write(&file, &packed.bytes).unwrap();
    for seed in ["03", "05"] {
        let output = std::process::Command::new(&python)
            .args([script.as_ref(), file.as_os_str(), seed.repeat(32).as_ref()])
            .output()
            .unwrap();
        let err = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{err}");
        let said: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(said["locked"], true);
        assert_eq!(said["id"], packed.id.as_str());
        assert_eq!(said["cases"], 2);
    }
}

#[test]
fn a_player_whose_day_of_consent_is_unknown_stays_here() {
    let mut from = room();
    let who = stocked(&mut from.library);
    let player = from.library.player(who).unwrap();
    let consent = crate::library::Consent { date: None, ..player.consent };
    from.library.update_player(&crate::library::Player { consent, ..player }).unwrap();
    let packed = super::tests::packed_at(&from.library, false, 0, "");
    assert_eq!((packed.players, packed.left_out.no_consent, packed.left_out.players), (0, 3, 2));
    assert!(packed.consents.is_empty());
}
