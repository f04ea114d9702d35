//! A disk that is full, and a server that is killed while it changes something.

use precedent::work::Watch;

use super::uploads::{incoming, send};
use super::*;

/// The program with a most for any file it writes, as a disk that takes no more. With the signal of the
/// limit ignored a write past it is refused (setrlimit(2), RLIMIT_FSIZE: EFBIG).
fn on_a_small_disk(desk: &Desk, blocks: u32) -> Command {
    let inner = desk.command(&["page", "--no-open", "--coach", "ash"]);
    let mut shell = Command::new("sh");
    shell
        .args(["-c", &format!(r#"trap "" XFSZ; ulimit -f {blocks}; exec "$0" "$@""#)])
        .arg(inner.get_program())
        .args(inner.get_args())
        .current_dir(inner.get_current_dir().unwrap());
    for (name, value) in inner.get_envs() {
        shell.env(name, value.unwrap());
    }
    shell
}

#[test]
fn a_full_disk_is_said_in_words_and_nothing_half_written_stays() {
    let desk = Desk::stocked();
    let command = on_a_small_disk(&desk, 72);
    let page = Page::let_in(Page::run(desk, command));
    let (case, _) = suspected(&page.library());
    let before = page.library().counts().unwrap();
    let notes = page.library().case(case).unwrap().notes;
    let folder = page.desk.at("library").to_str().unwrap().to_owned();

    // 3 MB where a file may have 36 kB.
    let answer =
        send(&page, "recording", "clip.mp4", &vec![7; 3_000_000]).expect_err("it was taken");
    assert_eq!(answer.status, 507, "{}", answer.body);
    assert!(answer.body.contains("could not be written"), "{}", answer.body);
    assert!(!answer.body.contains(&folder) && !answer.body.contains("incoming"), "{}", answer.body);
    assert!(incoming(&page.desk).is_empty(), "{:?}", incoming(&page.desk));

    // A change larger than the disk takes.
    let words = "much to say of one serve. ".repeat(760);
    let answer = page.post(&format!("/case/{case}/judge"), &[("note", &*words)]);
    assert_eq!(answer.status, 507, "{}", answer.body);
    let told = plain(&answer.body);
    assert!(told.contains("nothing of it was kept") && !told.contains(&folder), "{told}");
    assert_eq!(page.library().case(case).unwrap().notes, notes);
    assert_eq!(page.library().counts().unwrap(), before);
    // Reading goes on meanwhile.
    page.shown("/");
    page.shown(&format!("/case/{case}"));
    // With room again the same change is taken, and the library is sound.
    let next = Page::entered(page.ended());
    next.changed(&format!("/case/{case}/judge"), &[("note", "short enough")]);
    assert_eq!(next.library().case(case).unwrap().notes.len(), notes.len() + 1);
    next.ended();
}

/// Killed at ten moments around a change: what was answered is stored, what was not is stored whole or
/// not at all, and nobody repairs anything.
#[test]
fn a_killed_server_loses_nothing_it_acknowledged() {
    let mut desk = Desk::stocked();
    let mut acknowledged = Vec::new();
    for round in 0..10_u64 {
        let mut page = Page::entered(desk);
        let (case, _) = suspected(&page.library());
        let note = format!("round {round}, {}", "said at length. ".repeat(200));
        let body = form_urlencoded::Serializer::new(String::new())
            .append_pair("note", &note)
            .append_pair("add", "toss_low")
            .append_pair("severity", "0.5")
            .finish();
        let mut stream = TcpStream::connect(&page.host).unwrap();
        let head = format!(
            "POST /case/{case}/judge HTTP/1.1\r\nHost: {0}\r\nCookie: {1}\r\nOrigin: http://{0}\r\n\
             Content-Type: {OWN_FORM}\r\nConnection: close\r\nContent-Length: {2}\r\n\r\n",
            page.host,
            page.cookie,
            body.len()
        );
        stream.write_all(head.as_bytes()).unwrap();
        stream.write_all(body.as_bytes()).unwrap();
        // The last round waits for the answer, so that at least one is acknowledged.
        if round < 9 {
            std::thread::sleep(Duration::from_millis(round * round * 2));
            page.child.kill().unwrap();
        }
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        let mut answer = Vec::new();
        // A connection that broke off has no answer.
        let _ = stream.read_to_end(&mut answer);
        if answer.starts_with(b"HTTP/1.1 303") {
            acknowledged.push(note.trim().to_owned());
        }
        page.child.kill().unwrap();
        page.child.wait().unwrap();
        desk = std::mem::replace(&mut page.desk, Desk::new());
        let mut library = Library::open(desk.at("library")).unwrap();
        let verified = library.verify(false, &Watch::default()).unwrap();
        assert!(verified.is_sound(), "round {round}: {:?}", verified.findings);
        let held = library.case(case).unwrap();
        let kept = |words: &str| held.notes.iter().any(|note| note.text == words);
        for words in &acknowledged {
            assert!(kept(words), "round {round}: an acknowledged note is gone");
        }
        // Note and fault are one change.
        let fault =
            held.labels.iter().any(|label| label.fault == "toss_low" && label.by.as_str() == "ash");
        assert!(!kept(note.trim()) || fault, "round {round}: half of the change is there");
    }
    assert!(!acknowledged.is_empty());
}
