//! Faults and drills of one's own, the set-up of clips, papers: what used to need a terminal.

use precedent::catalogue::{EntryKind, catalogue_template};

use super::uploads::ended;
use super::*;

#[test]
fn faults_and_drills_of_ones_own_are_checked_kept_changed_and_taken_out() {
    let page = Page::entered(Desk::stocked());
    let at = "/catalogue/own";
    assert!(page.shown("/catalogue").contains(at));
    let shown = plain(&page.shown(at));
    assert!(
        shown.contains("own_stiff_wrist") && shown.contains("Nothing of your own yet."),
        "{shown}"
    );
    let template = catalogue_template();
    // A check keeps nothing; a wrong line is named with its field, and the text is still there.
    let sound = page.post(at, &[("name", "ours.toml"), ("text", template), ("do", "check")]);
    assert!(sound.status == 200 && sound.body.contains("1 fault and 1 drill"), "{}", sound.body);
    assert!(page.library().catalogue_files().unwrap().is_empty());
    let line = template.lines().position(|line| line.starts_with("name = \"Stiff")).unwrap() + 1;
    let wrong = template.replacen("name = \"Stiff wrist\"", "nahme = \"Stiff <b>wrist\"", 1);
    for act in ["check", "keep"] {
        let answer = page.post(at, &[("name", "ours.toml"), ("text", &wrong), ("do", act)]);
        let told = plain(&answer.body);
        assert_eq!(answer.status, 422, "{told}");
        assert!(told.contains(&format!("line {line}")) && told.contains("nahme"), "{told}");
        assert!(answer.body.contains("&#60;b&#62;wrist") && !answer.body.contains("<b>wrist"));
    }
    assert!(page.library().catalogue_files().unwrap().is_empty());
    page.changed(at, &[("name", "ours.toml"), ("text", template), ("do", "keep")]);
    let catalogue = page.library().catalogue().unwrap();
    assert!(catalogue.is_own(EntryKind::Fault, "own_stiff_wrist"));
    assert!(page.shown("/catalogue").contains("Stiff wrist"));
    assert!(page.shown("/catalogue/drill/own_shaken_hand").contains("Not with a sore wrist."));
    // Changed under the same name: a second version, by whom; the first can be had back.
    let other = template.replacen("Stiff wrist", "Locked wrist", 1);
    let known = page.post(at, &[("name", "ours.toml"), ("text", &other), ("do", "check")]);
    assert_eq!(known.status, 200, "{}", known.body);
    page.changed(at, &[("name", "ours.toml"), ("text", &other), ("do", "keep")]);
    let versions = page.library().catalogue_versions().unwrap();
    assert_eq!((versions.len(), versions[1].version), (2, 2));
    assert_eq!(versions[1].by.as_ref().unwrap().as_str(), "ash");
    let back = plain(&page.shown("/catalogue/own?file=ours.toml&version=1"));
    assert!(back.contains("name = \"Stiff wrist\""), "{back}");
    // What the program brings is changed by one's own version of it.
    let text = plain(&page.shown("/catalogue/own?entry=toss_low"));
    let text = text.split_once("<textarea").unwrap().1.split_once('>').unwrap().1;
    let text = text.split("</textarea>").next().unwrap().trim_start();
    assert!(text.contains("replaces = true"), "{text}");
    let renamed = text.replacen("name = \"", "name = \"Ours: ", 1);
    page.changed(at, &[("name", "toss_low.toml"), ("text", &renamed), ("do", "keep")]);
    assert!(page.shown("/catalogue/fault/toss_low").contains("Ours: "));
    // What a case names stays; what nobody names can go.
    let (case, _) = suspected(&page.library());
    page.changed(&format!("/case/{case}/judge"), &[("add", "own_stiff_wrist")]);
    let answer = page.post(at, &[("name", "ours.toml"), ("do", "drop")]);
    assert!(answer.status == 422 && answer.body.contains("own_stiff_wrist"), "{}", answer.body);
    page.changed(at, &[("name", "toss_low.toml"), ("do", "drop")]);
    assert!(!page.shown("/catalogue/fault/toss_low").contains("Ours: "));
    assert_eq!(page.get("/catalogue/own?file=none.toml").status, 404);
    assert_eq!(page.get("/catalogue/own?entry=none").status, 404);
    page.ended();
}

#[test]
fn reading_clips_is_set_up_from_the_page() {
    // Nothing there, and no client to fetch it with.
    let desk = Desk::stocked();
    let mut command = desk.command(&["page", "--no-open", "--coach", "ash"]);
    command.env("PRECEDENT_CACHE", desk.at("cache")).env("PATH", desk.at("nothing"));
    let page = Page::let_in(Page::run(desk, command));
    assert!(page.shown("/add").contains("Clips cannot be read yet."));
    let answer = ended(&page, &page.changed("/add/set-up", &[]));
    let told = plain(&answer.body);
    assert!(answer.status == 422 && told.contains("'npm' is not installed"), "{told}");
    assert!(!told.contains(page.desk.at("cache").to_str().unwrap()), "{told}");
    let clip = std::fs::read(film_bytes(&page.desk)).unwrap();
    let file = super::uploads::send(&page, "recording", "clip.mp4", &clip).ok().unwrap();
    let said = [("file", &*file), ("player", "knot"), ("date", "2026-04-02")];
    let told = plain(&ended(&page, &page.changed("/add", &said)).body);
    assert!(told.contains("has to be set up once") || told.contains("ffmpeg"), "{told}");
    let desk = page.ended();

    // A client that hangs is stopped from the page.
    let bin = desk.at("bin");
    std::fs::create_dir_all(&bin).unwrap();
    std::fs::write(bin.join("npm"), "#!/bin/sh\nexec sleep 100\n").unwrap();
    let runs = std::os::unix::fs::PermissionsExt::from_mode(0o755);
    std::fs::set_permissions(bin.join("npm"), runs).unwrap();
    let mut command = desk.command(&["page", "--no-open", "--coach", "ash"]);
    let path = format!("{}:/usr/bin:/bin", bin.display());
    command.env("PRECEDENT_CACHE", desk.at("cache")).env("PATH", path);
    let page = Page::let_in(Page::run(desk, command));
    let work = page.changed("/add/set-up", &[]);
    std::thread::sleep(Duration::from_millis(500));
    assert!(page.shown(&work).contains("Setting up the reading of clips"));
    page.changed(&format!("{work}/stop"), &[]);
    let begun = Instant::now();
    assert_eq!(ended(&page, &work).status, 503);
    assert!(begun.elapsed() < Duration::from_secs(20), "{:?}", begun.elapsed());
    let desk = page.ended();
    let left = std::fs::read_dir(desk.at("cache").join("pose")).unwrap().count();
    assert_eq!(left, 0, "something half fetched stays");

    // With everything there it says so, and asks no network.
    if !film::ready() {
        return;
    }
    let page = Page::entered(desk);
    assert!(!page.shown("/add").contains("Clips cannot be read yet."));
    let told = ended(&page, &page.changed("/add/set-up", &[])).body;
    assert!(told.contains("Clips can be read now."), "{told}");
    page.ended();
}

/// A file that is no clip, under a clip's name.
fn film_bytes(desk: &Desk) -> PathBuf {
    let file = desk.at("clip.mp4");
    std::fs::write(&file, b"\0\0\0\x18ftypmp42 and no more").unwrap();
    file
}

#[test]
fn papers_are_printed_or_one_sentence_says_why_not() {
    let page = Page::entered(Desk::stocked());
    let (case, fault) = suspected(&page.library());
    let library = page.library();
    let case = library.case(case).unwrap();
    drop(library);
    let plan = [("fault", &*fault), ("drill", "over_the_rope"), ("start", "2026-03-16")];
    let answer = page.post(&format!("/case/{}/plan", case.id), &plan);
    if answer.status == 200 {
        let sure: Vec<_> = answer.body.match_indices("name=\"sure\"").collect();
        let yes = field(&answer.body, "sure").unwrap();
        assert_eq!(sure.len(), 1, "{}", answer.body);
        page.changed(&format!("/case/{}/plan", case.id), &[&plan[..], &[("sure", &*yes)]].concat());
    }
    let made = page.library().case(case.id).unwrap().plans[0].id;
    let card = page.get(&format!("/plan/{made}/card"));
    assert!(
        card.header("content-disposition").unwrap().contains("practice-card"),
        "{:?}",
        card.head
    );
    assert!(card.body.contains("Practice card"), "{}", card.body);
    let squad = page.changed("/squads", &[]);
    assert!(ended(&page, &squad).body.contains("Make a PDF"));
    let papers = [
        format!("/serve/{}/review/player/paper", case.serves[0]),
        format!("/serve/{}/review/coach/paper", case.serves[0]),
        format!("/player/{}/progress/paper", case.player),
        format!("{squad}/paper"),
    ];
    if browser::here().is_some() {
        for paper in &papers {
            let work = page.changed(paper, &[]);
            let shown = ended(&page, &work);
            assert!(shown.body.contains(": printed."), "{paper}: {}", shown.body);
            let request = page.agent.get(format!("http://{}{work}/file", page.host));
            let file = request.header("cookie", &page.cookie).call().unwrap();
            let bytes = file.into_body().read_to_vec().unwrap();
            // ISO 32000-1, 7.5.2.
            assert!(bytes.starts_with(b"%PDF-"), "{paper}");
        }
    } else {
        skip::skipped("no Chromium is here; tests/run installs one on Debian");
    }
    let desk = page.ended();
    // Without one there is one clear sentence, and the rest of the bundle.
    let mut command = desk.command(&["page", "--no-open", "--coach", "ash"]);
    command.env("PRECEDENT_BROWSER", desk.at("no-such-browser"));
    let page = Page::let_in(Page::run(desk, command));
    let answer = ended(&page, &page.changed(&papers[0], &[]));
    let told = plain(&answer.body);
    assert!(answer.status == 422 && told.contains("Chromium family"), "{told}");
    assert!(!told.contains("no-such-browser"), "{told}");
    let bundle =
        ended(&page, &page.changed(&format!("/serve/{}/bundle", case.serves[0]), &[])).body;
    let told = plain(&bundle);
    assert!(told.contains("review.html") && told.contains("no review.pdf"), "{told}");
    assert!(!told.contains("no-such-browser"), "{told}");
    page.ended();
}
