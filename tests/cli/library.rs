//! The library as a whole: its export, its indexes, forgetting, several processes at once.

use crate::desk::{Desk, sample};

#[test]
fn export_gives_arrays_and_tables_that_agree() {
    let desk = Desk::stocked();
    let out = desk.at("study");
    desk.expect(0, &["export", "-o", out.to_str().unwrap()]);
    let array = std::fs::read(out.join("curves-core-1.npy")).unwrap();
    let header = String::from_utf8_lossy(&array[..128]).into_owned();
    assert!(header.contains("'<f4'") && header.contains("(4, 101, 12)"), "{header}");
    let table = std::fs::read_to_string(out.join("curves-core-1.csv")).unwrap();
    assert_eq!(table.lines().count(), 1 + 4 * 101);
    assert!(table.starts_with("serve,percent,front_knee_flexion,"));
    let first: f32 = table.lines().nth(1).unwrap().split(',').nth(2).unwrap().parse().unwrap();
    let values = &array[array.len() - 4 * 101 * 12 * 4..];
    assert_eq!(first, f32::from_le_bytes(values[..4].try_into().unwrap()));
    let measures = std::fs::read_to_string(out.join("measures.csv")).unwrap();
    assert!(measures.lines().next().unwrap().contains("unit"));
    let (_, err) = desk.expect(2, &["export", "-o", out.to_str().unwrap()]);
    assert!(err.contains("exists already"), "{err}");
}

#[test]
fn derived_indexes_are_rebuilt_from_the_store() {
    let desk = Desk::stocked();
    let before = desk.precedents(&["like", "s1", "--json"]);
    for derived in ["curves", "words"] {
        std::fs::remove_dir_all(desk.at("library").join(derived)).ok();
    }
    desk.expect(0, &["verify", "--rebuild"]);
    assert_eq!(desk.precedents(&["like", "s1", "--json"]), before);
}

#[test]
fn a_player_is_forgotten_only_when_that_is_confirmed() {
    let desk = Desk::stocked();
    let (_, err) = desk.expect(2, &["forget", "dunlin"]);
    assert!(err.contains("cannot be undone; add --yes"), "{err}");
    let (_, err) = desk.expect(2, &["forget", "dunlin", "--yes", "--read-only"]);
    assert!(err.contains("--read-only: this command changes the library"), "{err}");
    desk.expect(0, &["like", "s1", "--where", "player=dunlin"]);
    let (_, err) = desk.expect(0, &["forget", "dunlin", "--yes"]);
    assert!(err.contains("removed dunlin with 1 recording"), "{err}");
    let (_, err) = desk.expect(2, &["forget", "dunlin", "--yes"]);
    assert!(err.contains("player 'dunlin': not in this library"), "{err}");
    let (_, err) = desk.expect(0, &["verify"]);
    assert!(err.contains("checked 2 players") && err.contains("sound"), "{err}");
}

/// Another process has the library open for writing: nobody minds. It is in the middle of a change:
/// reading goes on, a change waits for its turn and in the end names who has it.
#[test]
fn while_one_writes_others_read_and_wait_for_their_turn() {
    let desk = Desk::stocked();
    let open = precedent::library::Library::open(desk.at("library")).unwrap();
    desk.expect(0, &["label", "c1", "--heel-pad", "2"]);
    let lock = std::fs::File::create(desk.at("library").join("library.lock")).unwrap();
    lock.lock().unwrap();
    std::io::Write::write_all(&mut &lock, b"4711\ncourt-side\n2026-11-30T06:00:00Z\n").unwrap();
    desk.expect(0, &["like", "s1"]);
    let (_, err) = desk.expect(0, &["verify", "--read-only"]);
    assert!(err.contains("the library is sound"), "{err}");
    let (_, err) = desk.expect(2, &["verify", "--rebuild", "--read-only"]);
    assert!(err.contains("read-only"), "{err}");
    let (_, err) = desk.expect(2, &["label", "c1", "--heel-pad", "3"]);
    let holder = "process 4711 on court-side since 2026-11-30 06:00:00 UTC is changing the library";
    assert!(err.contains(holder) && err.contains("let it finish, or end it"), "{err}");
    drop(lock);
    desk.expect(0, &["label", "c1", "--heel-pad", "3"]);
    drop(open);
}

/// Two processes add at the same time, a new player's recordings both, to a library that neither
/// finds there: both succeed, and nothing is lost.
#[test]
fn two_processes_add_at_the_same_time() {
    let desk = Desk::new();
    let runs: Vec<_> = ["new-serve.c3d", "practice-swings.c3d"]
        .map(|name| {
            let mut command = desk.command(&["add", &sample(name), "--player", "knot", "--json"]);
            command.stdout(std::process::Stdio::piped()).stderr(std::process::Stdio::piped());
            command.spawn().unwrap()
        })
        .into_iter()
        .map(|child| child.wait_with_output().unwrap())
        .collect();
    for run in &runs {
        let said = String::from_utf8_lossy(&run.stderr);
        assert!(run.status.success(), "{said}");
    }
    let library = precedent::library::Library::open_read_only(desk.at("library")).unwrap();
    let counts = library.counts().unwrap();
    assert_eq!((counts.players, counts.recordings), (1, 2));
    drop(library);
    let (_, err) = desk.expect(0, &["verify", "--read-only"]);
    assert!(err.contains("the library is sound"), "{err}");
}
