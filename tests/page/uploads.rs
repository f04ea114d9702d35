//! Recordings through the page: sent, read, stored; what is hostile or cut off leaves nothing.

use precedent::library::{ConsentBy, Library, Setting};
use precedent::motion::Side;

use super::*;
use crate::desk::sample;

/// What the program keeps of a file on its way in.
pub(super) fn incoming(desk: &Desk) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![desk.at("library").join("incoming")];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).into_iter().flatten() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_none_or(|ending| ending != "held") {
                found.push(path);
            }
        }
    }
    found
}

/// Sends a file as the page's own script does; its id, or the refusal.
pub(super) fn send(page: &Page, kind: &str, name: &str, bytes: &[u8]) -> Result<String, Answer> {
    let name: String = form_urlencoded::byte_serialize(name.as_bytes()).collect();
    let request = page
        .agent
        .post(format!("http://{}/upload/{kind}?name={name}", page.host))
        .header("cookie", &page.cookie)
        .header("origin", format!("http://{}", page.host));
    let answer = Page::answer(request.send(bytes).unwrap());
    if answer.status != 201 {
        return Err(answer);
    }
    let said: serde_json::Value = serde_json::from_str(&answer.body).unwrap();
    Ok(said["id"].as_str().unwrap().to_owned())
}

/// What long work came to, once it is over.
#[track_caller]
pub(super) fn ended(page: &Page, work: &str) -> Answer {
    let begun = Instant::now();
    loop {
        let answer = page.get(work);
        if !answer.body.contains("data-events") {
            return answer;
        }
        assert!(begun.elapsed() < Duration::from_secs(120), "{work} does not end");
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(sample(name)).unwrap()
}

#[test]
fn a_recording_comes_in_is_looked_at_and_stored() {
    let page = Page::entered(Desk::stocked());
    // Two practice swings of a left-hander, as the generator made them.
    let file = send(&page, "recording", "../a clip/swings.c3d", &bytes("practice-swings.c3d"));
    let file = file.unwrap_or_else(|answer| panic!("{}", answer.body));
    assert!(page.shown("/add").contains("swings.c3d"));
    let said = [
        ("file", &*file),
        ("new_code", "wren"),
        ("hand", "right"),
        ("born", "2011-05-06"),
        ("squads", "juniors, monday"),
        ("consent", "keep"),
        ("consent_by", "guardian"),
        ("date", "2026-04-02"),
        ("setting", "practice_swing"),
    ];
    // Whose they are has to be said, and a player that is there is no new one.
    let nobody: Vec<_> = said.iter().copied().filter(|(name, _)| *name != "new_code").collect();
    assert_eq!(page.post("/add", &nobody).status, 422);
    let taken = [&nobody[..], &[("new_code", "sanderling")]].concat();
    let answer = page.post("/add", &taken);
    assert!(answer.status == 422 && answer.body.contains("already"), "{}", answer.body);

    // With the wrong hand no serve is found, and nothing is stored.
    let work = page.changed("/add", &said);
    let shown = ended(&page, &work);
    assert!(shown.body.contains("No serve was found."), "{}", shown.body);
    let mut right = said.to_vec();
    right.retain(|(name, _)| *name != "file");
    right.iter_mut().find(|(name, _)| *name == "hand").unwrap().1 = "left";
    let work = page.changed(&format!("{work}/again"), &right);
    let shown = plain(&ended(&page, &work).body);
    assert!(shown.contains("2 serves found.") && shown.contains("swings.c3d"), "{shown}");
    assert!(!shown.contains("incoming") && !shown.contains("/a clip"), "{shown}");
    assert!(page.shown("/").contains(&format!(r#"href="{work}""#)));
    assert_eq!(page.library().counts().unwrap().players, 3);

    let stored = ended(&page, &page.changed(&format!("{work}/store"), &[])).body;
    let library = page.library();
    let player = library.player_by_code("wren").unwrap();
    assert_eq!(
        (player.hand, player.consent.keep, player.consent.share),
        (Some(Side::Left), true, false)
    );
    assert_eq!(player.consent.by, Some(ConsentBy::Guardian));
    assert!(page.shown(&format!("/player/{}", player.id)).contains("by a parent or guardian"));
    assert_eq!(player.squads, ["juniors", "monday"]);
    let [case] = library.cases(Some(player.id)).unwrap().try_into().unwrap();
    assert!(stored.contains(&format!(r#"href="/case/{}""#, case.id)), "{stored}");
    assert_eq!((case.serves.len(), case.date), (2, date(2026, 4, 2)));
    let head = library.serve_head(case.serves[0]).unwrap();
    assert_eq!(head.setting, Some(Setting::PracticeSwing));
    assert_eq!(library.recording(head.recording).unwrap().file_name, "swings.c3d");
    // Stored once, and not read again.
    assert_eq!(page.post(&format!("{work}/store"), &[]).status, 404);
    let file = send(&page, "recording", "again.c3d", &bytes("practice-swings.c3d")).ok().unwrap();
    let work = page.changed("/add", &[("file", &file), ("player", "wren"), ("date", "2026-04-02")]);
    let shown = ended(&page, &work).body;
    assert!(shown.contains("Already here: wren"), "{shown}");
    page.changed(&format!("{work}/leave"), &[]);
    let desk = page.ended();
    assert!(!desk.at("library").join("incoming").exists());
}

#[test]
fn what_is_no_recording_is_refused_in_words_and_leaves_nothing() {
    let page = Page::entered(Desk::stocked());
    for (kind, name, bytes, status) in [
        ("recording", "run.exe", &b"MZ"[..], 422),
        ("recording", "clip.mp4", b"", 422),
        ("table", "clip.mp4", b"x", 422),
        ("elsewhere", "clip.mp4", b"x", 404),
    ] {
        let answer = send(&page, kind, name, bytes).expect_err(name);
        assert_eq!(answer.status, status, "{kind} {name}: {}", answer.body);
    }
    let good = format!(
        "Host: {0}\r\nCookie: {1}\r\nOrigin: http://{0}\r\nConnection: close\r\n",
        page.host, page.cookie
    );
    let post = |name: &str, rest: &str| {
        page.raw(&format!("POST /upload/recording?name={name} HTTP/1.1\r\n{rest}"))
    };
    // Larger than is taken is refused before it comes; what does not say its size, too.
    let large = post("clip.mp4", &format!("{good}Content-Length: 2147483649\r\n\r\n"));
    assert_eq!(large.status, 413);
    let large = post("joints.csv", &format!("{good}Content-Length: 300000000\r\n\r\n"));
    assert_eq!(large.status, 413);
    let endless = format!("{good}Transfer-Encoding: chunked\r\n\r\n1\r\nx\r\n0\r\n\r\n");
    assert_eq!(post("clip.mp4", &endless).status, 422);
    // Nobody else sends anything.
    let foreign = good.replace("Origin: http://127", "Origin: http://128");
    let foreign = format!("{foreign}Content-Length: 1\r\n\r\nx");
    assert_eq!(post("clip.mp4", &foreign).status, 403);
    assert!(incoming(&page.desk).is_empty());

    // Broken off on its way: gone as soon as that is seen.
    let mut half = TcpStream::connect(&page.host).unwrap();
    let head = format!("POST /upload/recording?name=clip.mp4 HTTP/1.1\r\n{good}");
    half.write_all(format!("{head}Content-Length: 9000000\r\n\r\n").as_bytes()).unwrap();
    half.write_all(&vec![7; 3_000_000]).unwrap();
    let waits = |there: bool| {
        let begun = Instant::now();
        while incoming(&page.desk).is_empty() == there {
            assert!(begun.elapsed() < Duration::from_secs(20), "{:?}", incoming(&page.desk));
            std::thread::sleep(Duration::from_millis(20));
        }
    };
    waits(true);
    drop(half);
    waits(false);

    // What is in a file decides, and no answer says where it lies.
    let files = [
        ("clip.mp4", &b"\0\0\0\x18ftypmp42 and no more"[..], "clip.mp4"),
        ("joints.csv", b"time,left_wrist_x\n0,<b>\n", "joints.csv"),
        ("page.json", b"{\"<script>\": 1}", "page.json"),
    ];
    let sent = files.map(|(name, bytes, _)| send(&page, "recording", name, bytes).ok().unwrap());
    let mut said = vec![("player", "knot"), ("date", "2026-04-02")];
    said.extend(sent.iter().map(|id| ("file", &**id)));
    let shown = ended(&page, &page.changed("/add", &said)).body;
    for (name, ..) in files {
        assert!(shown.contains(name), "{name}: {shown}");
    }
    assert!(shown.contains("No serve was found."), "{shown}");
    let library = page.desk.at("library");
    assert!(!shown.contains(library.to_str().unwrap()) && !shown.contains("incoming"), "{shown}");
    assert!(!shown.contains("<script>\"") && !shown.contains("<b>\""), "{shown}");
    // Forged names of files and work.
    let fields = [("file", "u1"), ("player", "knot")];
    assert_eq!(page.post("/add", &fields).status, 422);
    for path in ["/work/w1", "/work/w1/events", "/work/w1/file", "/work/..%2f..%2fx"] {
        assert_eq!(page.get(path).status, 404, "{path}");
    }
    // No more wait than are taken.
    let one = || send(&page, "recording", "joints.csv", b"time\n0\n");
    let taken = (0..40).take_while(|_| one().is_ok()).count();
    assert_eq!(taken, 24);
    let desk = page.ended();
    assert!(!desk.at("library").join("incoming").exists());
    assert_eq!(Library::open_read_only(desk.at("library")).unwrap().counts().unwrap().players, 3);
}

#[test]
fn a_killed_server_leaves_nothing_to_the_next() {
    let mut page = Page::entered(Desk::stocked());
    send(&page, "recording", "swings.c3d", &bytes("practice-swings.c3d")).ok().unwrap();
    let mut half = TcpStream::connect(&page.host).unwrap();
    let head = format!(
        "POST /upload/recording?name=clip.mp4 HTTP/1.1\r\nHost: {0}\r\nCookie: {1}\r\n\
         Origin: http://{0}\r\nContent-Length: 9000000\r\n\r\n",
        page.host, page.cookie
    );
    half.write_all(head.as_bytes()).unwrap();
    half.write_all(&vec![7; 2_000_000]).unwrap();
    let begun = Instant::now();
    while incoming(&page.desk).len() < 2 && begun.elapsed() < Duration::from_secs(20) {
        std::thread::sleep(Duration::from_millis(20));
    }
    assert_eq!(incoming(&page.desk).len(), 2);
    page.child.kill().unwrap();
    page.child.wait().unwrap();
    let desk = std::mem::replace(&mut page.desk, Desk::new());
    assert_eq!(incoming(&desk).len(), 2, "killed, it could not clean up");
    let next = Page::entered(desk);
    assert!(incoming(&next.desk).is_empty());
    next.ended();
}

/// A clip is read beside everything else, says how far it is, and is stopped from the page.
#[test]
fn a_clip_is_read_in_the_background_and_stopped() {
    if !film::ready() {
        return;
    }
    let desk = Desk::stocked();
    let shot = film::Shot::small(90.0);
    let body = film::serve(&film::plain(), &precedent::simulator::Ask::default(), shot.rate_hz).0;
    film::film(&shot, &body, &desk.at("clip.mp4"));
    let clip = std::fs::read(desk.at("clip.mp4")).unwrap();
    let page = Page::entered(desk);
    let before = page.library().counts().unwrap();
    let begin = || {
        let file = send(&page, "recording", "clip.mp4", &clip).ok().unwrap();
        let said = [("file", &*file), ("player", "knot"), ("date", "2026-04-02"), ("view", "side")];
        page.changed("/add", &said)
    };
    let (first, second) = (begin(), begin());
    // Its reading takes seconds; nobody waits for it.
    let (case, _) = suspected(&page.library());
    let begun = Instant::now();
    for _ in 0..20 {
        page.shown("/");
    }
    page.changed(&format!("/case/{case}/judge"), &[("note", "meanwhile")]);
    assert!(begun.elapsed() < Duration::from_secs(30), "{:?}", begun.elapsed());
    page.changed(&format!("{second}/stop"), &[]);
    // One after the other: the second one waits, and is stopped before it begins.
    let head =
        format!("Host: {}\r\nCookie: {}\r\nConnection: close\r\n\r\n", page.host, page.cookie);
    let told = page.raw(&format!("GET {first}/events HTTP/1.1\r\n{head}"));
    assert_eq!(told.header("content-type"), Some("text/event-stream"));
    assert!(told.body.contains(r#""ended":true"#), "{}", told.body);
    assert!(told.body.contains("frames"), "{}", told.body);
    let answer = ended(&page, &second);
    assert!(answer.status == 503 && answer.body.contains("Stopped"), "{}", answer.body);
    let shown = ended(&page, &first).body;
    assert!(shown.contains("1 serve found."), "{shown}");
    assert_eq!(page.library().counts().unwrap().serves, before.serves);
    // The clip is kept with its recording: it lies nowhere else.
    ended(&page, &page.changed(&format!("{first}/store"), &[]));
    let library = page.library();
    let row = library.recordings(None).unwrap().into_iter().find(|row| row.file_name == "clip.mp4");
    let kept = library.clip(row.unwrap().id).unwrap().unwrap();
    assert!(kept.kept);
    assert_eq!(std::fs::read(library.clip_copy(&kept.hash)).unwrap(), clip);
    page.ended();
}
