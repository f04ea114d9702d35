//! The serve's place in a real browser: a drawn clip of 1080 x 1920 beside another, looked at frame by
//! frame, dragged, drawn on and put right. What is checked is what the library holds afterwards, and
//! what the browser itself says of frames and processor time.
#![cfg(unix)]
#![expect(clippy::print_stdout, reason = "what was measured is told")]

#[path = "support/browser.rs"]
mod browser;
#[path = "support/desk.rs"]
mod desk;
#[path = "support/film.rs"]
mod film;
#[path = "support/render.rs"]
mod render;
#[path = "support/skip.rs"]
mod skip;

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use browser::Browser;
use desk::Desk;
use film::{Shot, film, plain, ready, serve};
use precedent::library::{Author, Library, Marked, ServeId, Witness};
use precedent::serve::EventKind;
use precedent::simulator::{Ask, Fault};

/// Films one serve small and blows it up to a phone's size: drawing large pictures takes minutes.
fn clip(desk: &Desk, name: &str, legs: f64, session: u64) {
    let ask = Ask { faults: vec![(Fault::ShallowLegDrive, legs)], session, ..Ask::default() };
    let shot = Shot::small(90.0);
    let small = desk.at("small.mp4");
    film(&shot, &serve(&plain(), &ask, shot.rate_hz).0, &small);
    let grown = Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-i"])
        .arg(&small)
        .args(["-vf", "scale=1080:1920", "-c:v", "libx264", "-preset", "ultrafast"])
        .arg(desk.at(name))
        .status();
    assert!(grown.unwrap().success());
}

fn add(desk: &Desk, file: &str, day: &str) -> ServeId {
    let all = ["add", file, "--player", "dunlin", "--date", day, "--view", "side"];
    let (out, _) = desk.expect(0, &[&all[..], &["--consent", "keep"]].concat());
    out.split(": ").last().unwrap().trim().parse().unwrap()
}

/// The program serving a page.
struct Served(Child);

impl Drop for Served {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn served(desk: &Desk) -> (Served, String) {
    let mut child = desk
        .command(&["page", "--no-open", "--coach", "ash"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut first = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut first).unwrap();
    (Served(child), first.trim().to_owned())
}

const SHOWN: &str = "JSON.stringify(document.querySelector('#viewer').shown())";
const STATUS: &str = "document.querySelector('p.said').textContent";

#[test]
fn a_coach_looks_draws_and_puts_right() {
    if !ready() {
        return;
    }
    let Some(mut browser) = Browser::start() else { return };
    let desk = Desk::new();
    clip(&desk, "march.mp4", 0.9, 1);
    clip(&desk, "april.mp4", 0.1, 2);
    let march = add(&desk, "march.mp4", "2026-03-14");
    let april = add(&desk, "april.mp4", "2026-04-15");
    let library = || Library::open_read_only(desk.at("library")).unwrap();
    let (_page, first) = served(&desk);
    let host = first.split("/?").next().unwrap().to_owned();
    browser.size(1400, 1100);
    browser.go(&first);
    browser.go(&format!("{host}/serve/{april}"));
    browser.wait("document.querySelector('#viewer').dataset.ready");
    // The earlier serve stands beside it unasked, and both films are made.
    assert_eq!(browser.text("document.querySelector('.choose select').value"), march.to_string());
    browser.wait("[...document.querySelectorAll('.view')].every((v) => v.matches('.pictured'))");
    browser.wait(&format!("JSON.parse({SHOWN}).every((v) => v && v[0] === v[1])"));

    frames_follow_one_another(&mut browser);
    both_pictures_follow_the_hand(&mut browser);
    the_hand_leaves_its_marks(&mut browser, &library, april, &host);
    parts_are_handed_out_by_id_only(&mut browser, april);
    // From the earlier serve the later one, the only other in the library, can be held beside it.
    browser.go(&format!("{host}/serve/{march}"));
    browser.wait("document.querySelector('#viewer').dataset.ready");
    assert_eq!(
        browser.text("document.querySelector('.choose select').selectedOptions[0].textContent"),
        format!("Later serve, 15 Apr 2026 ({april})")
    );
    let size = browser.number(
        "Promise.all(['desk', 'viewer', 'tracks', 'figure', 'reel', 'hand', 'voice', 'files', 'work', 'own'].map((name) => \
         fetch(`/assets/${name}.js`).then((r) => r.text()).then((t) => t.length)))\
         .then((all) => all.reduce((a, b) => a + b))",
    );
    assert!(size < 150_000.0, "{size} bytes of script");
    assert!(browser.complaints.is_empty(), "{:?}", browser.complaints);
}

/// The clip was drawn at 30 frames a second, so a frame on is 1/30 s on.
fn frames_follow_one_another(browser: &mut Browser) {
    const FORGET: &str = "delete document.querySelector('#viewer').dataset.t";
    // The time is told once the picture rests.
    let at = |browser: &mut Browser| {
        browser.wait("document.querySelector('#viewer').dataset.t !== undefined");
        let shown = browser.number("document.querySelector('#viewer').shown()[0][0]");
        (shown, browser.text("document.querySelector('#viewer').dataset.t").parse().unwrap())
    };
    browser.js("document.querySelector('[data-moment=\"trophy\"]').click()");
    browser.wait(&format!("JSON.parse({SHOWN}).every((v) => v && v[0] === v[1])"));
    std::thread::sleep(Duration::from_secs(1));
    let (mut frame, mut t): (f64, f64) = at(browser);
    for (key, way) in [("ArrowRight", 1.0), ("ArrowRight", 1.0), ("ArrowLeft", -1.0)] {
        browser.js(FORGET);
        browser.key(key);
        let (next, then) = at(browser);
        assert_eq!(next, frame + way, "after {key}");
        assert!((then - t - way / 30.0).abs() < 0.0021, "{then} after {t}, {key}");
        browser.wait(&format!("JSON.parse({SHOWN}).every((v) => v && v[0] === v[1])"));
        (frame, t) = (next, then);
    }
}

/// Dragged for three seconds over the whole serve: how often the browser draws, and what processor
/// time a frame costs. A machine with two free processors has 33 ms of it in a sixtieth of a second;
/// that holds however busy the machine is, which the rate does not.
fn both_pictures_follow_the_hand(browser: &mut Browser) {
    browser.js("document.querySelector('.face').scrollIntoView({ block: 'end' })");
    let [left, top, width, _] = browser.place(".ruler");
    browser.js("(() => { const count = window.count = { frames: 0, moved: new Set() }; \
         (function next() { count.frames += 1; \
         count.moved.add(JSON.stringify(document.querySelector('#viewer').shown())); \
         requestAnimationFrame(next); })(); })()");
    let at = |part: f64| [left + width * part, top + 20.0];
    browser.mouse("mousePressed", at(0.1));
    let (begun, before) = (Instant::now(), browser.processor_ms());
    let counted = browser.number("window.count.frames");
    while begun.elapsed() < Duration::from_secs(3) {
        let part = 0.5 - 0.4 * (begun.elapsed().as_secs_f64() * 2.0).cos();
        browser.mouse("mouseMoved", at(part));
    }
    let frames = browser.number("window.count.frames") - counted;
    let (seconds, after) = (begun.elapsed().as_secs_f64(), browser.processor_ms());
    browser.mouse("mouseReleased", at(0.5));
    let moved = browser.number("window.count.moved.size");
    assert!(moved > 10.0, "only {moved} pairs of pictures were seen");
    let told = format!("{:.0} frames a second, {moved} pairs of pictures", frames / seconds);
    if let (Some(before), Some(after)) = (before, after) {
        let each_ms = (after - before) / frames;
        assert!(each_ms < 33.0, "{each_ms:.1} ms of processor a frame; {told}");
        println!("{told}, {each_ms:.1} ms of processor a frame");
    }
    browser.wait(&format!("JSON.parse({SHOWN}).every((v) => v && v[0] === v[1])"));
}

fn the_hand_leaves_its_marks(
    browser: &mut Browser,
    library: &impl Fn() -> Library,
    serve: ServeId,
    host: &str,
) {
    let row = library().serve(serve).unwrap();
    let recording = row.recording;
    let marks = || library().marks(recording).unwrap();
    let recorded =
        "(() => { const v = document.querySelector('#viewer'); return v.shown()[0][0]; })()";
    browser.js("document.querySelector('[data-moment=\"trophy\"]').click()");
    browser.js("document.querySelector('.pictures').scrollIntoView({ block: 'start' })");
    std::thread::sleep(Duration::from_millis(400));
    let trophy = row.serve.events[EventKind::Trophy as usize];
    let shown = browser.number(recorded);

    // An angle by the keyboard alone: the middle, 80 px to the right, 80 px down from there.
    browser.key("a");
    browser.key("ArrowUp");
    browser.key("Enter");
    for _ in 0..10 {
        browser.key("ArrowRight");
    }
    browser.key("Enter");
    for _ in 0..10 {
        browser.key("ArrowDown");
    }
    browser.key("Enter");
    browser.wait(&format!("/^Kept/.test({STATUS})"));
    let [mark] = <[_; 1]>::try_from(marks()).unwrap();
    assert_eq!(mark.by, Author::Coach("ash".to_owned()));
    assert!(mark.frame.abs_diff(trophy.frame) <= 1, "{} for {trophy:?}", mark.frame);
    let Marked::Angle { points: [a, vertex, b] } = mark.what else { panic!("{mark:?}") };
    assert_eq!([vertex[0] - a[0], vertex[1] - a[1]].map(f64::round), [80.0, 0.0]);
    assert_eq!([b[0] - vertex[0], b[1] - vertex[1]].map(f64::round), [0.0, 80.0]);
    let told = browser.text("document.querySelector('ul.drawn').innerText");
    assert!(told.contains("angle of 90 deg in the picture, by ash"), "{told}");

    // An arrow in one pull of the mouse, and words that would like to be more than words.
    let [left, top, width, height] = browser.place(".view.this canvas");
    let at = |x: f64, y: f64| [left + width * x, top + height * y];
    browser.key("w");
    browser.mouse("mousePressed", at(0.45, 0.3));
    browser.mouse("mouseMoved", at(0.55, 0.4));
    browser.mouse("mouseReleased", at(0.55, 0.4));
    browser.wait("document.querySelectorAll('ul.drawn li').length === 2");
    browser.key("x");
    browser.mouse("mousePressed", at(0.5, 0.6));
    browser.mouse("mouseReleased", at(0.5, 0.6));
    browser.wait("!document.querySelector('form.words').hidden");
    browser.js("(() => { const form = document.querySelector('form.words'); \
         form.text.value = '<img src=x onerror=alert(1)> arm up'; form.requestSubmit(); })()");
    browser.wait("document.querySelectorAll('ul.drawn li').length === 3");
    assert_eq!(browser.number("document.querySelectorAll('img').length"), 0.0);
    assert_eq!(marks().len(), 3);
    let review = browser
        .text(&format!("fetch('/serve/{serve}/review/player').then((answer) => answer.text())"));
    assert!(review.contains("What your coach drew"), "the review does not show it");
    assert!(review.contains("Angle of 90 deg in the picture"), "{}", review.len());
    assert!(review.contains("&lt;img src=x") && !review.contains("<img src=x"));

    // The last is taken back, and only that.
    browser.key("u");
    browser.wait("document.querySelectorAll('ul.drawn li').length === 2");
    assert!(marks().iter().all(|mark| mark.what.text().is_none()));

    // A moment put two frames later; what the program saw stays beside it.
    browser.key("ArrowRight");
    browser.key("ArrowRight");
    browser.wait(&format!("document.querySelector('#viewer').shown()[0][0] === {}", shown + 2.0));
    browser.js("document.querySelector('select.put').value = 'trophy'");
    browser.key("p");
    browser.wait(&format!("/^Marked here: trophy/.test({STATUS})"));
    let moment = library().moments(&library().serve(serve).unwrap()).unwrap();
    let moment = &moment[EventKind::Trophy as usize];
    assert_eq!(moment.witness, Witness::Person(Author::Coach("ash".to_owned())));
    assert_eq!(moment.event.frame, mark.frame + 2);
    assert_eq!(moment.beside[0].frame, trophy.frame);
    browser.wait("document.querySelector('[data-moment=\"trophy\"]').matches('.byhand')");
    browser.wait("document.querySelector('#read').innerText.includes('Set by ash')");
    browser.go(&format!("{host}/serve/{serve}"));
    browser.wait("document.querySelector('#viewer').dataset.ready");
    assert_eq!(browser.number("document.querySelectorAll('ul.drawn li').length"), 2.0);
}

/// Chromium's own false microphone beeps; what is shown is planted. Two parts, a third taken back.
#[test]
fn a_voice_is_recorded_over_the_serve_and_made_into_a_clip() {
    if !ready() {
        return;
    }
    let false_microphone = [
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        "--autoplay-policy=no-user-gesture-required",
    ];
    let Some(mut browser) = Browser::start_with(&false_microphone) else { return };
    let desk = Desk::new();
    let shot = Shot::small(90.0);
    let ask = Ask::default();
    film(&shot, &serve(&plain(), &ask, shot.rate_hz).0, &desk.at("march.mp4"));
    let id = add(&desk, "march.mp4", "2026-03-14");
    let (_page, first) = served(&desk);
    let host = first.split("/?").next().unwrap().to_owned();
    browser.size(1400, 1100);
    browser.go(&first);
    browser.go(&format!("{host}/serve/{id}"));
    browser.wait("document.querySelector('#viewer').dataset.ready");
    browser.wait("document.querySelector('.view.this').matches('.pictured')");
    browser.wait("!document.querySelector('[data-voice]').hidden");
    let spoke =
        |browser: &mut Browser| browser.text("document.querySelector('.spoke').textContent");
    let began = Instant::now();
    // The first part: from the trophy on at a quarter, stopped, a ring, the hand pointing.
    browser.js("document.querySelector('[data-moment=\"trophy\"]').click()");
    browser.key("s");
    browser.wait("document.querySelector('[data-say=\"record\"]').matches('[aria-pressed=true]')");
    browser.key("4");
    browser.key(" ");
    std::thread::sleep(Duration::from_millis(900));
    browser.key(" ");
    browser.js("document.querySelector('[data-moment=\"contact\"]').click()");
    let [left, top, width, height] = browser.place(".view.this canvas");
    let at = |x: f64, y: f64| [left + width * x, top + height * y];
    browser.key("o");
    browser.mouse("mousePressed", at(0.5, 0.5));
    browser.mouse("mouseMoved", at(0.5, 0.6));
    browser.mouse("mouseReleased", at(0.5, 0.6));
    browser.wait("document.querySelectorAll('ul.drawn li').length === 1");
    for step in 0..8 {
        let to = at(0.4 + 0.02 * f64::from(step), 0.4);
        let moved = serde_json::json!({ "type": "mouseMoved", "x": to[0], "y": to[1] });
        browser.tell("Input.dispatchMouseEvent", moved);
        std::thread::sleep(Duration::from_millis(80));
    }
    browser.key("s");
    browser.wait("/^1 part/.test(document.querySelector('.spoke').textContent)");
    // The second and a third, frame by frame; the third goes again.
    for part in [2, 3] {
        browser.key("s");
        let on = "document.querySelector('[data-say=\"record\"]').matches('[aria-pressed=true]')";
        browser.wait(on);
        browser.key("ArrowLeft");
        std::thread::sleep(Duration::from_millis(700));
        browser.key("ArrowLeft");
        browser.key("s");
        browser
            .wait(&format!("/^{part} parts/.test(document.querySelector('.spoke').textContent)"));
    }
    let spent_s = began.elapsed().as_secs_f64();
    browser.js("document.querySelector('[data-say=\"back\"]').click()");
    browser.wait("/^2 parts/.test(document.querySelector('.spoke').textContent)");

    // What is kept: steps at their times, as they were done.
    let kept = |browser: &mut Browser, part: usize| {
        browser
            .text(&format!("fetch('/serve/{id}/spoken/{part}/steps').then((said) => said.text())"))
    };
    let steps = precedent::send::Step::parse(&kept(&mut browser, 0)).unwrap();
    let done: Vec<&precedent::send::Act> = steps.iter().map(|step| &step.act).collect();
    use precedent::send::Act;
    let row = Library::open_read_only(desk.at("library")).unwrap().serve(id).unwrap();
    let contact = row.serve.events[EventKind::Contact as usize].frame;
    assert!(done.contains(&&Act::Play { speed: 0.25 }), "{done:?}");
    let near = |act: &&Act| matches!(act, Act::Frame(frame) if frame.abs_diff(contact) <= 2);
    assert!(done.iter().any(near), "contact at {contact}: {done:?}");
    let drawn = done.iter().position(|act| matches!(act, Act::Draw(Marked::Ring { .. })));
    let pointed = done.iter().filter(|act| matches!(act, Act::Point(Some(_)))).count();
    assert!(drawn.is_some() && pointed >= 3, "{done:?}");
    let second = precedent::send::Step::parse(&kept(&mut browser, 1)).unwrap();
    assert!(matches!(second[0].act, Act::Frame(_)), "{second:?}");

    // Heard again: what was shown is shown.
    browser.key("h");
    browser.wait("document.querySelector('[data-say=\"hear\"] span').textContent === 'Stop'");
    browser.wait("document.querySelector('[data-say=\"hear\"] span').textContent === 'Hear it'");

    // Made into a clip in the background, and saved.
    let long_s = browser.number(&format!(
        "fetch('/serve/{id}/spoken').then((said) => said.json()).then(({{ parts }}) => \
         parts.reduce((sum, s) => sum + s))"
    ));
    assert!(long_s > 2.0 && long_s < spent_s, "{long_s} s of {spent_s} s; {}", spoke(&mut browser));
    browser.press("[data-make] button");
    browser.worked();
    let said = browser.text("document.querySelector('main').innerText");
    assert!(said.contains("The spoken review is made."), "{said}");
    let encoded = browser.text(
        "fetch(document.querySelector('a[download]').href).then((said) => said.blob()).then((blob) => \
         new Promise((done) => { const reader = new FileReader(); \
         reader.onload = () => done(reader.result.split(',')[1]); reader.readAsDataURL(blob); }))",
    );
    let made = desk.at("spoken.mp4");
    std::fs::write(&made, base64(&encoded)).unwrap();
    let entries = "stream=codec_name,width,height,pix_fmt:format=duration,size";
    let output = Command::new("ffprobe")
        .args(["-v", "error", "-show_entries", entries, "-of", "csv=p=0"])
        .arg(&made)
        .output()
        .unwrap();
    let probed = String::from_utf8(output.stdout).unwrap();
    assert!(probed.contains("h264,720,1280,yuv420p") && probed.contains("aac"), "{probed}");
    let (seconds, size) = probed.lines().last().unwrap().split_once(',').unwrap();
    let seconds: f64 = seconds.parse().unwrap();
    assert!((seconds - long_s).abs() < 0.15, "{probed} for {long_s} s");
    // 25 MB for three minutes.
    let bytes: f64 = size.parse().unwrap();
    assert!(bytes < 25e6 * seconds / 180.0 + 50_000.0, "{probed}");
    println!("{seconds:.1} s, {bytes} bytes");
    // The beeps are in it.
    let heard = Command::new("ffmpeg")
        .arg("-i")
        .arg(&made)
        .args(["-af", "volumedetect", "-vn", "-f", "null", "-"])
        .output()
        .unwrap();
    let heard = String::from_utf8_lossy(&heard.stderr).into_owned();
    let (_, loudest) = heard.split_once("max_volume: ").unwrap_or_else(|| panic!("{heard}"));
    let loudest: f64 = loudest.split(' ').next().unwrap().parse().unwrap();
    assert!(loudest > -40.0, "{loudest} dB");
    // It goes into the bundle.
    browser.go(&format!("{host}/serve/{id}"));
    browser.press_words("Everything for the player, in one file");
    browser.worked();
    let said = browser.text("document.querySelector('main').innerText");
    for name in ["review.html", "review.pdf", "spoken-review.mp4", "serve.mp4"] {
        assert!(said.contains(name), "no {name}: {said}");
    }
    assert!(browser.complaints.is_empty(), "{:?}", browser.complaints);
}

/// Bytes of a base64 text (RFC 4648, section 4).
fn base64(text: &str) -> Vec<u8> {
    let value = |letter: u8| match letter {
        b'A'..=b'Z' => letter - b'A',
        b'a'..=b'z' => letter - b'a' + 26,
        b'0'..=b'9' => letter - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let letters: Vec<u8> = text.bytes().filter(|letter| *letter != b'=').map(value).collect();
    let join = |four: &[u8]| {
        let bits = four
            .iter()
            .enumerate()
            .fold(0_u32, |bits, (at, letter)| bits | u32::from(*letter) << (18 - 6 * at));
        let bytes = [bits >> 16, bits >> 8, bits].map(|byte| byte as u8);
        bytes[..four.len() - 1].to_vec()
    };
    letters.chunks(4).flat_map(join).collect()
}

fn parts_are_handed_out_by_id_only(browser: &mut Browser, serve: ServeId) {
    let part = browser.js(&format!(
        "fetch('/serve/{serve}/film/quick', {{ headers: {{ range: 'bytes=0-1' }} }}).then(async (r) => \
         [r.status, r.headers.get('content-range'), [...new Uint8Array(await r.arrayBuffer())]])"
    ));
    assert_eq!(part[0], 206);
    // A JPEG begins with ff d8 (ITU-T T.81, table B.1).
    assert_eq!(part[2], serde_json::json!([0xff, 0xd8]), "{part}");
    assert!(part[1].as_str().unwrap().starts_with("bytes 0-1/"), "{part}");
    for path in [
        format!("/serve/{serve}/film/index.json"),
        format!("/serve/{serve}/film/..%2f..%2flibrary.db"),
        "/serve/s99/film".to_owned(),
        "/serve/s99/film/quick".to_owned(),
        "/serve/s99/moving".to_owned(),
        format!("/serve/{serve}/moving/s99"),
        format!("/serve/{serve}/ribbon/nothing"),
        format!("/serve/{serve}/ribbon/front_knee_flexion?beside=s99"),
    ] {
        let status = browser.number(&format!("fetch('{path}').then((answer) => answer.status)"));
        assert_eq!(status, 404.0, "{path}");
    }
    // The browser logs what it is refused; that was asked for.
    browser.complaints.retain(|said| !said.contains("404"));
}
