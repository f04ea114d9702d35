//! Health first: wherever a drill is shown, its own cautions and the library's general ones are
//! shown with it. Walks commands and pages over the invented academy; which drills and cautions
//! there are is the catalogue's word, read from the library apart from what is printed.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use std::collections::BTreeSet;

use desk::Desk;
use precedent::catalogue::Catalogue;
use precedent::library::Library;
use serde_json::Value;

/// What this library says beside what every library says.
const OWN: &str = "Not on a wet court.";
/// Rows and columns of a terminal as a laptop shows it, rather small: common practice, no source.
const SCREEN: (usize, usize) = (48, 100);

struct Academy {
    desk: Desk,
    catalogue: Catalogue,
}

impl Academy {
    fn built() -> Self {
        let desk = Desk::new();
        desk.expect(0, &["demo", "--into", "demo"]);
        let mut library = Library::open(desk.at("demo/library")).unwrap();
        let text = format!("[cautions]\nalways = [\"{OWN}\"]\n");
        library.write(|writer| writer.set_catalogue_file("own.toml", Some(&text), None)).unwrap();
        let catalogue = library.catalogue().unwrap();
        drop(library);
        Self { desk, catalogue }
    }

    fn run(&self, args: &[&str]) -> (String, String) {
        let library = self.desk.at("demo/library");
        let library = ["--library", library.to_str().unwrap()];
        self.desk.expect(0, &[&library[..], args].concat())
    }

    /// Both streams of a command, as a coach sees them.
    fn text(&self, args: &[&str]) -> String {
        let (out, err) = self.run(args);
        format!("{out}{err}")
    }

    fn objects(&self, args: &[&str]) -> Vec<Value> {
        let (out, _) = self.run(&[args, &["--json"]].concat());
        out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    fn page(&self, args: &[&str]) -> String {
        let file = self.desk.at("page.html");
        self.run(&[args, &["-o", file.to_str().unwrap()]].concat());
        words(&std::fs::read_to_string(file).unwrap())
    }

    /// Drills whose names stand in `text`, checked: their own cautions and the general ones stand
    /// there too.
    fn check(&self, what: &str, text: &str) -> BTreeSet<String> {
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let shown: BTreeSet<String> = self
            .catalogue
            .drills()
            .filter(|drill| stands(&text, &drill.name))
            .map(|drill| drill.id.clone())
            .collect();
        let general: Vec<&str> = self.catalogue.general_cautions().collect();
        assert!(general.contains(&OWN), "the library's own caution is one of the general ones");
        for id in &shown {
            let drill = self.catalogue.drill(id).unwrap();
            for caution in drill.cautions.iter().map(String::as_str).chain(general.clone()) {
                assert!(text.contains(caution), "{what} shows '{id}' without '{caution}':\n{text}");
            }
            let worse = drill.not_for.iter().map(|id| self.catalogue.fault_name(id).to_lowercase());
            let worse: Vec<String> = worse.collect();
            let said = text.split("which it makes worse: ").skip(1);
            let mut said = said.map(|rest| rest.split('.').next().unwrap_or_default());
            assert!(
                worse.is_empty() || said.any(|said| worse.iter().all(|one| said.contains(one))),
                "{what} shows '{id}' without saying that it makes worse: {worse:?}"
            );
        }
        shown
    }

    /// The same for every object by itself: whoever takes one line has its cautions.
    fn check_objects(&self, what: &str, objects: &[Value]) -> BTreeSet<String> {
        let mut all = BTreeSet::new();
        for object in objects {
            let mut said = Vec::new();
            strings(object, &mut said);
            let text = said.join(" \n");
            let mut shown = self.check(what, &text);
            for id in said.iter().filter(|said| self.catalogue.drill(said).is_some()) {
                let drill = self.catalogue.drill(id).unwrap();
                let general = self.catalogue.general_cautions();
                for caution in drill.cautions.iter().map(String::as_str).chain(general) {
                    assert!(text.contains(caution), "{what} has '{id}' without '{caution}'");
                }
                shown.insert(id.clone());
            }
            // What is to be said first about the fault a plan is for.
            for plan in object["plans"].as_array().into_iter().flatten() {
                let fault = plan["limiting_fault"].as_str().unwrap_or_default();
                let note = self.catalogue.fault(fault).and_then(|f| f.health_note.as_ref());
                assert!(note.is_none_or(|note| text.contains(note)), "{what}: {fault}: {text}");
            }
            all.append(&mut shown);
        }
        all
    }
}

/// Whether a name stands in a text as words of its own.
fn stands(text: &str, name: &str) -> bool {
    text.match_indices(name).any(|(at, _)| {
        let before = text[..at].chars().next_back();
        let after = text[at + name.len()..].chars().next();
        !before.is_some_and(char::is_alphanumeric) && !after.is_some_and(char::is_alphanumeric)
    })
}

/// The words of a page, without its tags.
fn words(page: &str) -> String {
    let body = page.split("</style>").nth(1).unwrap();
    let text = body.split('<').filter_map(|piece| piece.split_once('>')).map(|(_, text)| text);
    let text = text.collect::<Vec<_>>().join(" ");
    let mut plain = text;
    for (escaped, c) in [("&#39;", "'"), ("&quot;", "\""), ("&lt;", "<"), ("&gt;", ">")] {
        plain = plain.replace(escaped, c);
    }
    plain.replace("&amp;", "&")
}

fn strings(value: &Value, into: &mut Vec<String>) {
    match value {
        Value::String(text) => into.push(text.clone()),
        Value::Array(list) => list.iter().for_each(|one| strings(one, into)),
        Value::Object(fields) => fields.values().for_each(|one| strings(one, into)),
        _ => {}
    }
}

#[test]
fn no_drill_is_shown_without_its_cautions() {
    let academy = Academy::built();
    let library = Library::open_read_only(academy.desk.at("demo/library")).unwrap();
    // A player whose plan was followed up, and a case nobody has planned for yet.
    let cases = library.cases(None).unwrap();
    let followed = cases.iter().rfind(|case| !case.follow_ups.is_empty()).unwrap();
    let player = library.player(followed.player).unwrap().code;
    let open = cases.iter().find(|case| {
        case.plans.is_empty() && !precedent::coaching::standing(&case.labels).is_empty()
    });
    let open = open.unwrap().id.to_string();
    let serves = [followed.serves[0].to_string(), "s397".to_owned()];
    drop(library);

    let mut seen: Vec<(String, BTreeSet<String>)> = Vec::new();
    let mut note = |what: &str, shown: BTreeSet<String>| seen.push((what.to_owned(), shown));
    for serve in &serves {
        let like = ["like", serve, "-k", "12"];
        note("like", academy.check("like", &academy.text(&like)));
        let full = [&like[..], &["--full"]].concat();
        note("like --full", academy.check("like --full", &academy.text(&full)));
        note("like --json", academy.check_objects("like --json", &academy.objects(&like)));
        for reader in ["player", "coach"] {
            let page = academy.page(&["review", serve, "--for", reader]);
            note("review", academy.check(&format!("review of {serve} for {reader}"), &page));
        }
    }
    // One answer fits a screen, whoever asks; the long one does not.
    let rows = |text: &str| -> usize {
        let rows = text.lines().map(|line| line.chars().count().div_ceil(SCREEN.1).max(1));
        rows.sum()
    };
    for serve in (1..397).step_by(12).map(|id| format!("s{id}")) {
        let short = academy.text(&["like", &serve]);
        academy.check("like", &short);
        assert!(rows(&short) <= SCREEN.0, "{} rows:\n{short}", rows(&short));
    }
    assert!(rows(&academy.text(&["like", &serves[0], "--full"])) > SCREEN.0);
    note("label", academy.check("label", &academy.text(&["label", &open])));
    academy.check_objects("label --json", &academy.objects(&["label", &open]));
    let progress = ["progress", &player];
    note("progress", academy.check("progress", &academy.text(&progress)));
    note("progress --json", academy.check_objects("progress --json", &academy.objects(&progress)));
    note("progress page", academy.check("progress page", &academy.page(&progress)));
    note("squad", academy.check("squad", &academy.text(&["squad"])));
    note("squad --json", academy.check_objects("squad --json", &academy.objects(&["squad"])));
    note("squad page", academy.check("squad page", &academy.page(&["squad"])));
    let fault = "shallow_leg_drive";
    let plan = ["plan", &open, "--fault", fault, "--drill", "land_inside"];
    let planned = academy.objects(&plan);
    let listed = planned[0]["cautions"].to_string();
    for caution in academy.catalogue.general_cautions() {
        assert!(listed.contains(caution), "plan: {caution}: {listed}");
    }
    // Every kind of output showed drills, or the walk has proved nothing.
    for (what, shown) in &seen {
        assert!(!shown.is_empty(), "{what} showed no drill");
    }
}

/// The check itself finds what is missing.
#[test]
fn a_name_without_its_cautions_is_found() {
    let catalogue = Catalogue::builtin().clone();
    let text = format!("[cautions]\nalways = [\"{OWN}\"]\n");
    let catalogue = catalogue.with_extra("own.toml", &text).unwrap();
    let plain = |drill: &&precedent::catalogue::Drill| {
        !drill.cautions.is_empty() && drill.not_for.is_empty()
    };
    let drill = catalogue.drills().find(plain).unwrap().clone();
    let general = catalogue.general_cautions().collect::<Vec<_>>().join(" ");
    let academy = Academy { desk: Desk::new(), catalogue: catalogue.clone() };
    let whole = format!("{}. {} {general}", drill.name, drill.cautions.join(" "));
    let fails = |text: &str| {
        std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| academy.check("a text", text)))
            .is_err()
    };
    assert!(!fails(&whole), "nothing is missing");
    assert!(fails(&whole.replace(&drill.cautions[0], "")), "its own");
    assert!(fails(&whole.replace(OWN, "")), "the library's");
    assert!(!fails(&general), "no drill, nothing asked");
}
