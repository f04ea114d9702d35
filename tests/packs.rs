//! Cases go from one library to another as one file, and back out again.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use desk::{Desk, sample};

#[test]
fn a_pack_goes_from_desk_to_desk_and_back() {
    let ours = Desk::stocked();
    let (_, err) = ours.expect(1, &["share", "-o", "pack.zip", "--unlocked"]);
    assert!(err.contains("left out: 3 cases of 3 players with no dated consent"), "{err}");
    assert!(!ours.at("pack.zip").exists());
    let file = sample("new-serve.c3d");
    let day = ["--date", "2026-03-14", "--consent", "share"];
    ours.expect(0, &[&["add", &file, "--player", "sanderling"], &day[..]].concat());
    ours.expect(0, &["label", "c1", "--note", "long quoll"]);
    let (_, err) =
        ours.expect(0, &["share", "-o", "pack.zip", "--academy", "North Side", "--unlocked"]);
    assert!(err.contains("1 case of 1 player with") && err.contains("left out: 2 cases"), "{err}");
    let pack = ours.at("pack.zip");
    let pack = pack.to_str().unwrap();

    let theirs = Desk::new();
    let (out, err) = theirs.expect(0, &["receive", pack, "--dry-run"]);
    assert!(out.contains("would bring: 1 player, 1 case, 1 recording"), "{out}");
    assert!(err.contains("nothing was stored") && !theirs.at("library").exists(), "{err}");
    let told = &theirs.objects(0, &["receive", pack, "--json"])[0];
    assert_eq!((&told["cases"], &told["known"]), (&1.into(), &false.into()));
    let id = told["pack"].as_str().unwrap().to_owned();
    let (_, err) = theirs.expect(0, &["receive", pack]);
    assert!(err.contains("this pack has been received before"), "{err}");
    let (out, _) = theirs.expect(0, &["receive"]);
    assert!(out.contains(&id[..12]) && out.contains("North Side"), "{out}");

    // The received serve takes part in a search.
    let day = ["--date", "2026-03-14", "--consent", "keep"];
    theirs.expect(0, &[&["add", &sample("basket.trc"), "--player", "dunlin"], &day[..]].concat());
    let (out, _) = theirs.expect(0, &["like", &sample("new-serve.c3d")]);
    assert!(out.contains("north-side-"), "{out}");
    let (_, err) = theirs.expect(0, &["verify"]);
    assert!(err.contains("sound"), "{err}");

    let (_, err) = theirs.expect(2, &["receive", "--undo", "000000"]);
    assert!(err.contains("no such pack here"), "{err}");
    let (_, err) = theirs.expect(0, &["receive", "--undo", &id[..12]]);
    assert!(err.contains("1 player, 1 case, 1 recording gone"), "{err}");
    let (out, _) = theirs.expect(0, &["like", &sample("new-serve.c3d")]);
    assert!(!out.contains("north-side-"), "{out}");
    theirs.expect(1, &["receive"]);

    // Cut off: refused in one line, nothing stored.
    let whole = std::fs::read(pack).unwrap();
    std::fs::write(theirs.at("cut.zip"), &whole[..whole.len() / 2]).unwrap();
    let (_, err) = theirs.expect(2, &["receive", "cut.zip"]);
    assert!(err.contains("cut.zip: not a whole pack") && err.lines().count() == 1, "{err}");
    theirs.expect(1, &["receive"]);
    let (_, err) = ours.expect(2, &["receive", pack]);
    assert!(err.contains("made by this very library"), "{err}");
}

/// Signed and locked, from desk to desk; then another key in the same name.
#[test]
fn a_pack_is_signed_locked_and_a_changed_key_is_refused() {
    let ours = Desk::new();
    let day = ["--date", "2026-03-14", "--consent", "share"];
    let file = sample("new-serve.c3d");
    let add = [&["add", &file, "--player", "sanderling"], &day[..]].concat();
    ours.expect(0, &add);
    std::fs::write(ours.at("words.txt"), "four words drawn by lot\n").unwrap();
    std::fs::write(ours.at("short.txt"), "short\n").unwrap();
    let share = |desk: &Desk, more: &[&str], status| {
        desk.expect(status, &[&["share", "-o", "p.zip", "--academy", "North Side"], more].concat())
    };
    let (_, err) = share(&ours, &["--lock", "--passphrase-file", "short.txt"], 2);
    assert!(err.contains("at least 12 characters") && !ours.at("p.zip").exists(), "{err}");
    let (_, err) = share(&ours, &["--sign", "--lock", "--passphrase-file", "words.txt"], 0);
    assert!(err.contains("signed; read the receiver this fingerprint over the phone: "), "{err}");
    let pack = ours.at("p.zip");
    let pack = pack.to_str().unwrap();

    let theirs = Desk::new();
    let (_, err) = theirs.expect(2, &["receive", pack]);
    assert!(err.contains("no passphrase") && !theirs.at("library").exists(), "{err}");
    std::fs::write(theirs.at("wrong.txt"), "four words drawn by luck").unwrap();
    let (_, err) = theirs.expect(2, &["receive", pack, "--passphrase-file", "wrong.txt"]);
    assert!(err.contains("does not open this pack") && err.lines().count() == 1, "{err}");
    let words = ours.at("words.txt");
    let words = ["--passphrase-file", words.to_str().unwrap()];
    let (out, _) = theirs.expect(0, &[&["receive", pack], &words[..]].concat());
    assert!(out.contains("signed with a key new here: ") && out.contains("1 case"), "{out}");

    // Somebody else in the same name: refused, and taken only when told to.
    let other = Desk::new();
    other.expect(0, &add);
    share(&other, &["--unlocked"], 0);
    let guise = other.at("p.zip");
    let guise = guise.to_str().unwrap();
    let (_, err) = theirs.expect(2, &["receive", guise]);
    assert!(err.contains("NOT SIGNED, though earlier") && err.contains("--new-key"), "{err}");
    assert_eq!(theirs.objects(0, &["receive", "--json"]).len(), 1);
    let (out, _) = theirs.expect(0, &["receive", guise, "--new-key"]);
    assert!(out.contains("NOT SIGNED"), "{out}");

    // Forgotten at home, taken back there by a pack without cases.
    ours.expect(0, &["forget", "sanderling", "--yes"]);
    let (_, err) = share(&ours, &["--sign", "--unlocked"], 0);
    assert!(err.contains("it takes back 1 player"), "{err}");
    let (out, _) = theirs.expect(0, &["receive", pack]);
    assert!(out.contains("1 player: taken back by the sender"), "{out}");
    assert!(out.contains("signed with the key of earlier packs"), "{out}");
}
