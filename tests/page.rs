//! The coach's page from outside: the program as a process, a small HTTP client, the library read
//! apart from what is shown.
#![cfg(unix)]

#[path = "page/against_harm.rs"]
mod against_harm;
#[path = "support/browser.rs"]
mod browser;
#[path = "support/desk.rs"]
mod desk;
#[path = "support/film.rs"]
mod film;
#[path = "page/first_steps.rs"]
mod first_steps;
#[path = "page/for_everyone.rs"]
mod for_everyone;
#[path = "page/month.rs"]
mod month;
#[path = "page/own.rs"]
mod own;
#[path = "support/render.rs"]
mod render;
#[path = "support/skip.rs"]
mod skip;
#[path = "page/two_views.rs"]
mod two_views;
#[path = "page/uploads.rs"]
mod uploads;
#[path = "page/whole_month.rs"]
mod whole_month;

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use desk::Desk;
use jiff::civil::date;
use precedent::catalogue::Catalogue;
use precedent::coaching::{FollowUpRequest, PlanRequest, Today};
use precedent::library::{Author, CaseId, LabelState, Library, Note, Player, PlayerId};

const OWN_FORM: &str = "application/x-www-form-urlencoded";

/// What was answered.
struct Answer {
    status: u16,
    /// Lines of the head, in small letters.
    head: Vec<String>,
    body: String,
}

impl Answer {
    fn header(&self, name: &str) -> Option<&str> {
        let line = self.head.iter().find(|line| line.starts_with(&format!("{name}:")))?;
        Some(line.split_once(':').unwrap().1.trim())
    }

    /// Every answer keeps the browser from running, keeping or sending anything else.
    #[track_caller]
    fn sealed(self) -> Self {
        let policy = self.header("content-security-policy").unwrap_or_default();
        assert!(policy.starts_with("default-src 'none'"), "{policy:?}: {:?}", self.head);
        let script = policy.split(';').find(|rule| rule.trim().starts_with("script-src"));
        assert!(script.is_none_or(|rule| rule.trim() == "script-src 'self'"), "{policy}");
        assert_eq!(self.header("x-content-type-options"), Some("nosniff"), "{:?}", self.head);
        assert_eq!(self.header("cache-control"), Some("no-store"), "{:?}", self.head);
        let may = self.header("permissions-policy").unwrap_or_default();
        assert!(may.contains("microphone=(self)") && may.contains("camera=()"), "{may:?}");
        assert_eq!(self.header("referrer-policy"), Some("same-origin"), "{:?}", self.head);
        self
    }
}

/// The program as it serves one library, and a browser that was let in.
struct Page {
    desk: Desk,
    child: Child,
    first: String,
    host: String,
    cookie: String,
    agent: ureq::Agent,
}

impl Page {
    fn of(desk: Desk) -> Self {
        let command = desk.command(&["page", "--no-open", "--coach", "ash"]);
        Self::run(desk, command)
    }

    /// The program as it is started by `command`.
    fn run(desk: Desk, mut command: Command) -> Self {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let mut first = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut first).unwrap();
        let first = first.trim().to_owned();
        let host = first.strip_prefix("http://").unwrap().split('/').next().unwrap().to_owned();
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .proxy(None)
            .timeout_global(Some(Duration::from_secs(60)));
        let agent = config.build().into();
        Self { desk, child, first, host, cookie: String::new(), agent }
    }

    /// As [`Self::of`], with the first address visited.
    fn entered(desk: Desk) -> Self {
        Self::let_in(Self::of(desk))
    }

    fn let_in(mut page: Self) -> Self {
        let path = page.first.split_once(&page.host).unwrap().1.to_owned();
        let answer = page.get(&path);
        assert_eq!((answer.status, answer.header("location")), (303, Some("/")));
        let cookie = answer.header("set-cookie").unwrap();
        let (value, rules) = cookie.split_once("; ").unwrap();
        assert_eq!(rules, "path=/; httponly; samesite=strict");
        page.cookie = value.to_owned();
        page
    }

    fn library(&self) -> Library {
        Library::open_read_only(self.desk.at("library")).unwrap()
    }

    fn answer(response: ureq::http::Response<ureq::Body>) -> Answer {
        let head = response.headers().iter().map(|(name, value)| {
            format!("{name}: {}", value.to_str().unwrap()).to_ascii_lowercase()
        });
        let (status, head) = (response.status().as_u16(), head.collect());
        let body = response.into_body().into_with_config().limit(1 << 26).read_to_string().unwrap();
        Answer { status, head, body }.sealed()
    }

    fn get(&self, path: &str) -> Answer {
        let request = self.agent.get(format!("http://{}{path}", self.host));
        Self::answer(request.header("cookie", &self.cookie).call().unwrap())
    }

    /// A place as a reader gets it.
    #[track_caller]
    fn shown(&self, path: &str) -> String {
        let answer = self.get(path);
        assert_eq!(answer.status, 200, "{path}: {}", answer.body);
        answer.body
    }

    fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let body = form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish();
        let request = self
            .agent
            .post(format!("http://{}{path}", self.host))
            .header("cookie", &self.cookie)
            .header("origin", format!("http://{}", self.host))
            .header("content-type", OWN_FORM);
        Self::answer(request.send(body).unwrap())
    }

    /// A change that is accepted, and where it leads.
    #[track_caller]
    fn changed(&self, path: &str, fields: &[(&str, &str)]) -> String {
        let answer = self.post(path, fields);
        assert_eq!(answer.status, 303, "{path}: {}", answer.body);
        answer.header("location").unwrap().to_owned()
    }

    /// Bytes as no browser would send them.
    fn raw(&self, text: &str) -> Answer {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        stream.write_all(text.as_bytes()).unwrap();
        // Who sent too much is answered and cut off; what came until then counts.
        let mut all = Vec::new();
        let mut part = [0; 4096];
        while let Ok(read @ 1..) = stream.read(&mut part) {
            all.extend_from_slice(&part[..read]);
        }
        let all = String::from_utf8(all).unwrap();
        let (head, body) = all.split_once("\r\n\r\n").unwrap();
        let mut lines = head.lines();
        let status = lines.next().unwrap().split(' ').nth(1).unwrap().parse().unwrap();
        let head = lines.map(str::to_ascii_lowercase).collect();
        Answer { status, head, body: body.to_owned() }.sealed()
    }

    fn ended(mut self) -> Desk {
        let told = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        assert!(told.unwrap().success());
        let begun = Instant::now();
        let status = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status;
            }
            assert!(begun.elapsed() < Duration::from_secs(15), "the page does not end");
            std::thread::sleep(Duration::from_millis(20));
        };
        assert_eq!(status.code(), Some(0));
        let desk = std::mem::replace(&mut self.desk, Desk::new());
        desk.expect(0, &["verify"]);
        desk
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The value of the first field of this name, as a browser would send it.
fn field<'a>(page: &'a str, name: &str) -> Option<std::borrow::Cow<'a, str>> {
    let rest = page.split_once(&format!(r#"name="{name}" value=""#))?.1;
    Some(plain(rest.split('"').next().unwrap()).into())
}

/// Text as it stands between marks.
fn plain(html: &str) -> String {
    let signs = [("&#60;", "<"), ("&#62;", ">"), ("&#34;", "\""), ("&#39;", "'"), ("&#38;", "&")];
    signs.iter().fold(html.to_owned(), |text, (from, to)| text.replace(from, to))
}

/// A case with a fault the program suspects.
fn suspected(library: &Library) -> (CaseId, String) {
    let cases = library.cases(None).unwrap();
    let found = cases.iter().find_map(|case| Some((case.id, case.labels.first()?.fault.clone())));
    found.expect("no sample file shows a fault")
}

#[test]
fn a_month_in_small() {
    let page = Page::entered(Desk::stocked());
    let start = page.shown("/");
    for player in ["sanderling", "dunlin", "knot"] {
        assert!(start.contains(player), "{player}: {start}");
    }
    assert!(start.contains("No review is due."), "{start}");

    // The case: its fault, confirmed in the coach's name.
    let (case, fault) = suspected(&page.library());
    let at = format!("/case/{case}");
    let catalogue = Catalogue::builtin();
    let name = catalogue.fault_name(&fault);
    let shown = plain(&page.shown(&at));
    assert!(shown.contains("Limiting fault") && shown.contains(&name), "{shown}");
    assert!(shown.contains("suspected by the program"), "{shown}");
    page.changed(&format!("{at}/judge"), &[("confirm", &fault)]);
    let held = page.library().case(case).unwrap();
    let label = held.labels.iter().find(|label| label.by.is_coach()).unwrap();
    assert_eq!((label.state, label.by.as_str()), (LabelState::Confirmed, "ash"));
    assert!(page.shown(&at).contains("confirmed by ash"));

    // What no clip shows, and words.
    let said =
        [("index_knuckle", "3"), ("speed", "142,5"), ("net", "7"), ("note", "late bus\r\nx")];
    page.changed(&format!("{at}/judge"), &said);
    let held = page.library().case(case).unwrap();
    assert_eq!(held.grip.unwrap().index_knuckle, Some(3));
    assert_eq!(held.ball.speed_kmh, Some(142.5));
    assert_eq!(held.ball.misses.unwrap().net, 7);
    assert_eq!(held.notes[0].text, "late bus\nx");
    let refused = page.post(&format!("{at}/judge"), &[("speed", "fast")]);
    assert!(refused.status == 422 && refused.body.contains("Serve speed"), "{}", refused.body);

    // The plan: a drill made for it, shown with its cautions.
    let place = format!("{at}/plan?fault=low_contact");
    let shown = plain(&page.shown(&place));
    let drill = catalogue.drill("over_the_rope").unwrap();
    for caution in drill.cautions.iter().map(String::as_str).chain(catalogue.general_cautions()) {
        assert!(shown.contains(caution), "{caution}: {shown}");
    }
    // 80 serves on one day are more than a junior's day holds, as the tests of practice say too.
    let plan = [
        ("fault", "low_contact"),
        ("drill", "over_the_rope"),
        ("dose-over_the_rope", "80 serves, two days a week"),
        ("where-over_the_rope", "baseline"),
        ("start", "2026-03-16"),
        ("review_on", "2026-04-13"),
    ];
    let to = format!("{at}/plan");
    let asked = page.post(&to, &plan);
    assert_eq!(asked.status, 200);
    assert!(asked.body.contains("64 at most here"), "{}", asked.body);
    assert!(page.library().case(case).unwrap().plans.is_empty());
    // Another yes is none.
    let wrong = [&plan[..], &[("sure", "whatever")]].concat();
    assert_eq!(page.post(&to, &wrong).status, 200);
    assert!(page.library().case(case).unwrap().plans.is_empty());
    let yes = field(&asked.body, "sure").unwrap();
    let sure = [&plan[..], &[("sure", &*yes)]].concat();
    assert_eq!(page.changed(&to, &sure), format!("{at}#plans"));
    let held = page.library().case(case).unwrap();
    let [made] = held.plans.as_slice() else { panic!("{:?}", held.plans) };
    assert_eq!((made.drills[0].dose.as_str(), made.coach.as_deref()), (plan[2].1, Some("ash")));
    assert_eq!(made.review_on.unwrap().to_string(), "2026-04-13");

    // Its review is due since April, until it is followed up.
    let start = page.shown("/");
    assert!(start.contains("One review is due.") && start.contains("due 13 Apr 2026"), "{start}");
    let after = [("date", "2026-04-14"), ("rating", "1"), ("speed", "148"), ("sessions", "9")];
    let to = format!("/plan/{}/follow-up", made.id);
    assert_eq!(page.changed(&to, &after), format!("{at}#plan-{}", made.id));
    let held = page.library().case(case).unwrap();
    let [answer] = held.follow_ups.as_slice() else { panic!("{:?}", held.follow_ups) };
    assert_eq!((answer.rating, answer.ball.speed_kmh), (Some(1), Some(148.0)));
    assert!(page.shown("/").contains("No review is due."));
    let nothing = page.post(&to, &[("date", "2026-04-15")]);
    assert!(nothing.status == 422 && nothing.body.contains("only a date"), "{}", nothing.body);

    // The last change, and only that, is taken back.
    let shown = page.shown(&at);
    assert!(shown.contains("148 km/h"), "{shown}");
    let change = field(&shown, "change").unwrap().into_owned();
    assert_eq!(page.post(&format!("{at}/undo"), &[("change", "h1")]).status, 422);
    page.changed(&format!("{at}/undo"), &[("change", &change)]);
    let held = page.library().case(case).unwrap();
    assert!(held.follow_ups.is_empty() && held.plans.len() == 1);
    assert_eq!(page.post(&format!("{at}/undo"), &[("change", &change)]).status, 422);

    // Every other place opens.
    let player = held.player;
    let serve = held.serves[0];
    let found = page.shown("/find?words=bus");
    assert!(found.contains(&format!(r#"href="{at}""#)) && found.contains("<mark>bus</mark>"));
    for place in [format!("/player/{player}"), format!("/serve/{serve}"), "/catalogue".to_owned()] {
        page.shown(&place);
    }
    for topic in precedent::guide::TOPICS {
        assert!(page.shown(&format!("/guide/{}", topic.name)).contains(topic.title()));
    }
    assert!(page.shown("/guide/search").contains("<svg"));
    let drill = plain(&page.shown("/catalogue/drill/over_the_rope"));
    assert!(catalogue.general_cautions().all(|caution| drill.contains(caution)), "{drill}");
    assert!(page.shown("/catalogue/fault/low_contact").contains("over_the_rope"));
    for document in ["review/player", "review/coach"].map(|name| format!("/serve/{serve}/{name}")) {
        let answer = page.get(&document);
        let policy = answer.header("content-security-policy").unwrap();
        assert!(answer.status == 200 && policy.ends_with("sandbox"), "{document}: {policy}");
    }
    assert_eq!(page.get(&format!("/player/{player}/progress")).status, 200);
    page.ended();
}

#[test]
fn nobody_else_comes_in() {
    let page = Page::entered(Desk::stocked());
    let (host, cookie) = (page.host.clone(), page.cookie.clone());
    let (case, fault) = suspected(&page.library());
    let before = page.library().case(case).unwrap();
    let good = format!("Host: {host}\r\nCookie: {cookie}\r\n");
    let origin = format!("Origin: http://{host}\r\n");
    let get = |path: &str, head: &str| {
        page.raw(&format!("GET {path} HTTP/1.1\r\n{head}Connection: close\r\n\r\n"))
    };
    let judge = |head: &str| {
        let body = format!("confirm={fault}");
        let form = format!("Content-Type: {OWN_FORM}\r\nContent-Length: {}\r\n", body.len());
        let line = format!("POST /case/{case}/judge HTTP/1.1\r\n");
        page.raw(&format!("{line}{head}{form}Connection: close\r\n\r\n{body}"))
    };
    assert_eq!(get("/", &good).status, 200);

    // The first address is spent, and only its own browser goes on.
    let first = page.first.split_once(&host).unwrap().1;
    assert_eq!(get(first, &format!("Host: {host}\r\n")).status, 403);
    assert_eq!(get(first, &good).status, 303);
    assert_eq!(get("/?key=0000", &format!("Host: {host}\r\n")).status, 403);

    let port = host.split_once(':').unwrap().1;
    let (name, secret) = cookie.split_once('=').unwrap();
    let wrong = [
        format!("Host: {host}\r\n"),
        format!("Host: {host}\r\nCookie: {name}={}\r\n", "0".repeat(secret.len())),
        format!("Host: {host}\r\nCookie: {name}=\r\n"),
        format!("Host: {host}\r\nCookie: other={secret}\r\n"),
        // Another name for this machine, as by a name server turned round.
        format!("Host: rebound.example:{port}\r\nCookie: {cookie}\r\n"),
        format!("Host: localhost:{port}\r\nCookie: {cookie}\r\n"),
        format!("Host: 127.0.0.1\r\nCookie: {cookie}\r\n"),
        format!("{good}Host: rebound.example\r\n"),
        format!("{good}Origin: http://rebound.example\r\n"),
        format!("{good}Origin: null\r\n"),
        format!("{good}Origin: http://127.0.0.1:1\r\n"),
        format!("{good}{origin}Origin: http://rebound.example\r\n"),
        format!("{good}Sec-Fetch-Site: cross-site\r\n"),
        format!("{good}Sec-Fetch-Site: same-site\r\n"),
    ];
    for head in &wrong {
        for path in ["/", "/player/p1", "/assets/desk.css", "/nowhere", "/serve/s1/review/coach"] {
            let answer = get(path, head);
            assert_eq!(answer.status, 403, "{path} {head}");
            assert!(!answer.body.contains("sanderling"), "{path} {head}");
        }
        assert_eq!(judge(head).status, 403, "{head}");
    }
    // A change that no page of ours asked for.
    assert_eq!(judge(&good).status, 403);
    assert_eq!(page.library().case(case).unwrap(), before);
    assert_eq!(judge(&format!("{good}{origin}")).status, 303);

    // Forged ids, and ways out of the folder.
    for path in [
        "/player/p99999",
        "/player/1",
        "/player/p1%20or%201",
        "/player/p99999/progress",
        "/case/c99999",
        "/case/s1",
        "/case/-1",
        "/case/c1/nothing",
        "/case/c1/plan?fault=nothing",
        "/case/c99999/plan?fault=low_contact",
        "/serve/s99999",
        "/serve/s99999/review/player",
        "/serve/s1/review/everybody",
        "/catalogue/fault/nothing",
        "/catalogue/drill/..%2f..%2fx",
        "/assets/..%2f..%2fserver.rs",
        "/assets/../../Cargo.toml",
        "/..%2f..%2flibrary.db",
        "/.",
        "/library.db",
    ] {
        let answer = get(path, &good);
        assert_eq!(answer.status, 404, "{path}: {}", answer.body);
        let folder = page.desk.at("library");
        assert!(!answer.body.contains(folder.to_str().unwrap()), "{path}");
    }
    for (path, fields) in [
        ("/case/c99999/judge", &[("note", "x")][..]),
        ("/case/c99999/undo", &[("change", "h1")]),
        ("/case/c99999/plan", &[("fault", "low_contact")]),
        ("/plan/n99999/follow-up", &[("rating", "1"), ("date", "2026-04-14")]),
        ("/plan/c1/follow-up", &[("rating", "1"), ("date", "2026-04-14")]),
    ] {
        assert_eq!(page.post(path, fields).status, 404, "{path}");
    }

    // Too much, said and sent, and said in pieces.
    let head =
        format!("POST /case/{case}/judge HTTP/1.1\r\n{good}{origin}Content-Type: {OWN_FORM}");
    let long = "x".repeat(300 * 1024);
    let length = long.len();
    let answer =
        page.raw(&format!("{head}\r\nConnection: close\r\nContent-Length: {length}\r\n\r\n{long}"));
    assert_eq!(answer.status, 413);
    let answer = page.raw(&format!(
        "{head}\r\nConnection: close\r\nTransfer-Encoding: chunked\r\n\r\n{length:x}\r\n{long}\r\n"
    ));
    assert_eq!(answer.status, 413);
    // A form of another kind.
    let other = head.replace(OWN_FORM, "text/plain");
    let answer =
        page.raw(&format!("{other}\r\nConnection: close\r\nContent-Length: 6\r\n\r\nnote=x"));
    assert_eq!(answer.status, 422);
    assert!(page.library().case(case).unwrap().notes.is_empty());
    page.ended();
}

#[test]
fn names_and_notes_are_only_ever_text() {
    const CODE: &str = "<script>alert(1)</script>";
    const NAME: &str = "\" onmouseover=\"alert(2)";
    const NOTE: &str = "</textarea></p><img src=x onerror=alert(3)>&lt; 'a' \"b\"";
    let desk = Desk::stocked();
    let mut library = Library::open(desk.at("library")).unwrap();
    let mut player = library.player(PlayerId(1)).unwrap();
    player.code = CODE.to_owned();
    player.name = Some(NAME.to_owned());
    player.squads = vec!["<b>juniors</b>".to_owned()];
    library.update_player(&player).unwrap();
    let other = Player { name: Some(NAME.to_owned()), ..Player::new("a<i>b") };
    library.add_player(&other).unwrap();
    let case = library.case_ids(Some(player.id)).unwrap()[0];
    let serve = library.case(case).unwrap().serves[0];
    drop(library);
    let page = Page::entered(desk);
    let (at, coach) = (format!("/case/{case}"), Author::Coach("ash".to_owned()));
    page.changed(&format!("{at}/judge"), &[("note", NOTE)]);
    let held = page.library().case(case).unwrap();
    assert_eq!((held.notes[0].text.as_str(), &held.notes[0].by), (NOTE, &Some(coach)));

    let query = |words: &str| {
        let text: String = form_urlencoded::byte_serialize(words.as_bytes()).collect();
        format!("/find?words={text}")
    };
    let mut places = vec![
        "/".to_owned(),
        format!("/player/{}", player.id),
        format!("/player/{}/progress", player.id),
        at.clone(),
        format!("{at}/plan?fault=low_contact"),
        format!("/serve/{serve}"),
        format!("/serve/{serve}/review/coach"),
        format!("/serve/{serve}/review/player"),
        query(CODE),
        query(NAME),
        query("onerror"),
    ];
    let escaped = |text: &str| text.replace('<', "%3C").replace('>', "%3E").replace('"', "%22");
    places.push(format!("/player/{}", escaped(NAME).replace(' ', "%20")));
    places.push(format!("/catalogue/fault/{}", escaped("<script>alert(1)")));
    let mut seen = [false; 2];
    for place in &places {
        let body = page.get(place).body;
        for live in ["<script>alert", "\" onmouseover=\"", "<img src=x", "<b>juniors", "a<i>b"] {
            assert!(!body.contains(live), "{place} holds {live}: {body}");
        }
        seen[0] |= plain(&body).contains(CODE);
        seen[1] |= plain(&body).contains(NOTE);
    }
    assert_eq!(seen, [true, true], "shown as text somewhere");
    // A question asked again carries what was written, as text too.
    let plan = [
        ("fault", "low_contact"),
        ("drill", "over_the_rope"),
        ("dose-over_the_rope", "80 serves, two days a week"),
        ("start", "2026-03-16"),
        ("note", NOTE),
    ];
    let asked = page.post(&format!("{at}/plan"), &plan);
    assert!(asked.status == 200 && !asked.body.contains("<img src=x"), "{}", asked.body);
    assert_eq!(field(&asked.body, "note").as_deref(), Some(NOTE));
    page.ended();
}

#[test]
fn readers_and_changes_go_side_by_side() {
    let page = Page::entered(Desk::stocked());
    let (case, _) = suspected(&page.library());
    let judge = format!("/case/{case}/judge");
    std::thread::scope(|scope| {
        let writers: Vec<_> = (0..6)
            .map(|at| {
                let (page, judge) = (&page, &judge);
                scope.spawn(move || page.post(judge, &[("note", &format!("note {at}"))]).status)
            })
            .collect();
        let readers: Vec<_> = (0..12)
            .map(|at| {
                let page = &page;
                let place = if at % 2 == 0 { "/".to_owned() } else { format!("/case/{case}") };
                scope.spawn(move || page.get(&place).status)
            })
            .collect();
        assert!(writers.into_iter().all(|writer| writer.join().unwrap() == 303));
        assert!(readers.into_iter().all(|reader| reader.join().unwrap() == 200));
    });
    let mut notes: Vec<Note> = page.library().case(case).unwrap().notes;
    notes.sort_by(|a, b| a.text.cmp(&b.text));
    let texts: Vec<&str> = notes.iter().map(|note| note.text.as_str()).collect();
    assert_eq!(texts, ["note 0", "note 1", "note 2", "note 3", "note 4", "note 5"]);

    // While somebody else changes the library, reading goes on, and a change says who holds it.
    let mut other = Library::open(page.desk.at("library")).unwrap();
    let (held, wait) = (std::sync::mpsc::channel::<()>(), std::sync::mpsc::channel::<()>());
    let busy = std::thread::spawn(move || {
        other.write(|_| {
            held.0.send(()).unwrap();
            wait.1.recv().unwrap();
            Ok(())
        })
    });
    held.1.recv().unwrap();
    let begun = Instant::now();
    page.shown("/");
    page.shown(&format!("/case/{case}"));
    assert!(begun.elapsed() < Duration::from_secs(8), "{:?}", begun.elapsed());
    let answer = page.post(&judge, &[("note", "too late")]);
    wait.0.send(()).unwrap();
    busy.join().unwrap().unwrap();
    assert_eq!(answer.status, 503);
    assert!(answer.body.contains(&format!("Process {}", std::process::id())), "{}", answer.body);
    assert!(!answer.body.contains("library.lock"), "{}", answer.body);
    assert_eq!(page.library().case(case).unwrap().notes.len(), 6);
    page.changed(&judge, &[("note", "in time")]);
    page.ended();
}

/// A follow-up a week before the day of the review counts as the review, one before that does not.
#[test]
fn a_review_is_due_from_its_day_until_somebody_looks() {
    let desk = Desk::stocked();
    let mut library = Library::open(desk.at("library")).unwrap();
    let case = library.case_ids(None).unwrap()[0];
    let request = PlanRequest {
        start: Some(date(2026, 3, 16)),
        review_on: Some(date(2026, 4, 13)),
        ..PlanRequest::new(case, "low_contact")
    };
    let plan = request.record(&mut library).unwrap().plan;
    let due = |library: &Library, month, day| {
        let today = Today::on(date(2026, month, day), library).unwrap();
        assert_eq!(today.players.len(), 3);
        today.due.iter().map(|(at, one)| (today.players[*at].player.id, one.id)).collect::<Vec<_>>()
    };
    let whose = library.case(case).unwrap().player;
    assert_eq!(due(&library, 4, 12), []);
    assert_eq!(due(&library, 4, 13), [(whose, plan)]);
    assert_eq!(due(&library, 9, 1), [(whose, plan)]);
    for (day, waits) in [(5, true), (6, false)] {
        let seen =
            FollowUpRequest { rating: Some(1), ..FollowUpRequest::new(plan, date(2026, 4, day)) };
        seen.record(&mut library).unwrap();
        assert_eq!(!due(&library, 9, 1).is_empty(), waits, "seen on 2026-04-{day:02}");
    }
}

/// Whoever is connected and says nothing keeps nobody from ending.
#[test]
fn an_interrupt_ends_it_and_loses_nothing() {
    let page = Page::entered(Desk::stocked());
    let (case, _) = suspected(&page.library());
    page.changed(&format!("/case/{case}/judge"), &[("note", "kept")]);
    let silent = TcpStream::connect(&page.host).unwrap();
    let mut half = TcpStream::connect(&page.host).unwrap();
    half.write_all(b"GET / HTTP/1.1\r\nHo").unwrap();
    let desk = page.ended();
    drop((silent, half));
    let library = Library::open_read_only(desk.at("library")).unwrap();
    assert_eq!(library.case(case).unwrap().notes[0].text, "kept");
    // Without a library there is nothing to serve.
    let (out, err) = Desk::new().expect(2, &["page", "--no-open"]);
    assert!(out.is_empty() && err.contains("no library here"), "{err}");
    let (_, err) = desk.expect(2, &["page", "--no-open", "--coach", "Program"]);
    assert!(err.contains("program's own name"), "{err}");
    let (_, err) = desk.expect(2, &["page", "--no-open", "--read-only"]);
    assert!(err.contains("--read-only"), "{err}");
}

#[test]
fn a_browser_opens_it() {
    let Some(browser) = browser::here() else {
        skip::skipped("no Chromium is here; tests/run installs one on Debian");
        return;
    };
    let page = Page::of(Desk::stocked());
    let profile = tempfile::tempdir().unwrap();
    let output = Command::new(browser)
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"])
        .args(["--disable-background-networking", "--disable-component-update", "--disable-sync"])
        .arg(format!("--user-data-dir={}", profile.path().display()))
        .args(["--dump-dom", &page.first])
        .output()
        .unwrap();
    let shown = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(shown.contains(">sanderling</a>") && !shown.contains("not open to you"), "{shown}");
    page.ended();
}
