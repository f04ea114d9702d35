use jiff::civil::date;
use tempfile::TempDir;

use super::*;
use crate::catalogue::{Catalogue, Place};
use crate::library::tests::made;
use crate::library::*;

/// Rows, and what was new: players, cases, plans, follow-ups; nothing to ask about.
fn new([rows, players, cases, plans, follow_ups]: [usize; 5]) -> TableAdded {
    TableAdded { rows, players, cases, plans, follow_ups, notes: Vec::new() }
}

fn library() -> (TempDir, Library) {
    let folder = TempDir::new().unwrap();
    let library = Library::create(folder.path().join("lib")).unwrap();
    (folder, library)
}

#[test]
fn the_template_is_a_table_itself() {
    let (_folder, mut library) = library();
    let added = library.add_table(table_template().as_bytes()).unwrap();
    assert_eq!(added, new([2, 1, 2, 1, 1]));
    let player = library.player_by_code("p01").unwrap();
    assert_eq!(player.squads, ["girls", "monday"]);
    assert_eq!((player.level, player.stature_m), (Some(Level::Club), Some(1.58)));
    assert!(player.consent.keep && !player.consent.share);
    let cases = library.cases(Some(player.id)).unwrap();
    assert_eq!(cases[0].labels[0].fault, "toss_behind");
    assert_eq!((cases[0].labels[0].by.as_str(), cases[0].labels[0].severity), ("anna", 0.7));
    assert_eq!(cases[0].ball.misses, Some(Misses { net: 7, long: 2, wide: 1 }));
    assert_eq!(cases[0].grip, Some(Grip { index_knuckle: Some(2), heel_pad: Some(2) }));
    assert_eq!(
        cases[0].plans[0].drills,
        [PlannedDrill {
            drill: "window_toss".to_owned(),
            dose: "3 x 10 daily".to_owned(),
            place: Some(Place::OffCourt)
        }]
    );
    assert_eq!(cases[0].follow_ups[0].date, date(2026, 3, 3));
    assert_eq!(cases[0].follow_ups[0].rating, Some(1));
    assert_eq!(cases[0].follow_ups[0].ball.misses, Some(Misses { net: 4, long: 2, wide: 1 }));
    assert_eq!(cases[1].words().as_deref(), Some("second review"));
    assert_eq!(library.find_words("calmer").unwrap().cases, Some(vec![cases[0].id]));
    // No column is left unshown, and the same table again adds nothing.
    let shown = table_template();
    let (header, rows) = shown.split_once('\n').unwrap();
    let cells = rows.lines().next().unwrap().split(',').zip(header.split(','));
    let empty: Vec<&str> = cells.filter(|(c, _)| c.is_empty()).map(|(_, column)| column).collect();
    assert_eq!(empty, ["name"], "a real name is nothing to invite");
    let again = library.add_table(shown.as_bytes()).unwrap();
    assert_eq!(again, TableAdded { rows: 2, ..TableAdded::default() });
    assert_eq!(library.cases(Some(player.id)).unwrap(), cases);
}

#[test]
fn what_is_only_tried_is_told_and_leaves_nothing() {
    let (_folder, mut library) = library();
    let before = library.counts().unwrap();
    let tried = library.try_table(table_template().as_bytes()).unwrap();
    assert_eq!(tried, new([2, 1, 2, 1, 1]));
    assert_eq!(library.counts().unwrap(), before);
    let broken = table_template().replacen("p01", "p,01", 1);
    assert!(library.try_table(broken.as_bytes()).is_err());
    assert_eq!(library.add_table(table_template().as_bytes()).unwrap(), tried);
}

#[test]
fn a_second_follow_up_joins_its_plan() {
    let (_folder, mut library) = library();
    let header = "player,case_date,limiting_fault,follow_up_date,rating\n";
    let table = format!(
        "{header}p1,2026-02-01,toss_low,2026-03-01,1\np1,2026-02-01,toss_low,2026-04-01,2\n"
    );
    let added = library.add_table(table.as_bytes()).unwrap();
    assert_eq!(added, new([2, 1, 1, 1, 2]));
    let other = format!("{header}p1,2026-02-01,toss_low,2026-04-01,-1\n");
    let error = library.add_table(other.as_bytes()).unwrap_err().to_string();
    assert_eq!(
        error,
        "table, row 2, column follow_up_date: '2026-04-01'; the plan already has a follow-up \
         on that day, f2; keep one"
    );
}

#[test]
fn known_players_are_joined_and_only_stated_cells_replace() {
    let (_folder, mut library) = library();
    let id = library.add_player(&made::player("p07")).unwrap();
    let table = "\u{feff}player,level,case_date\nP07, national ,2026-03-04\n";
    let added = library.add_table(table.as_bytes()).unwrap();
    assert_eq!((added.players, added.cases), (0, 1));
    let player = library.player(id).unwrap();
    assert_eq!(player, Player { id, level: Some(Level::National), ..made::player("p07") });
}

#[test]
fn a_bad_row_is_named_and_nothing_stays() {
    let (_folder, mut library) = library();
    let mut refused = |table: &str| {
        let error = library.add_table(table.as_bytes()).unwrap_err().to_string();
        assert_eq!(library.counts().unwrap(), Counts::default(), "{table}");
        error
    };
    assert_eq!(
        refused("player,level\np1,club\np2,clubb\n"),
        "table, row 3, column level: 'clubb'; one of beginner, club, competition, national, \
         professional"
    );
    assert_eq!(
        refused("player,case_date\np1,2026-03-04\np2,4.3.2026\n"),
        "table, row 3, column case_date: '4.3.2026'; a day like 2026-03-04"
    );
    assert_eq!(
        refused("player,level\n,\n\n"),
        "table: no rows below the header; write one row for each session, then bring it again"
    );
    assert_eq!(
        refused("player,stature_m\np1,162\n"),
        "table, row 2, column stature_m: '162'; 0.5 to 2.6"
    );
    assert_eq!(
        refused("player,faults\np1,toss_low\n"),
        "table, row 2, column faults: 'toss_low'; a case needs its day in case_date"
    );
    assert_eq!(
        refused("player,case_date,drills\np1,2026-03-04,window_toss\n"),
        "table, row 2, column drills: 'window_toss'; a plan needs its limiting_fault"
    );
    assert_eq!(
        refused("player,hand\np1,left\n,right\n"),
        "table, row 3, column player: ''; every row needs a player"
    );
    assert!(refused("spieler\np1\n").starts_with("table, header: unknown column 'spieler'; "));
    assert!(refused("hand\nleft\n").starts_with("table, header: column 'player' is missing"));
    assert_eq!(
        refused("player,hand\np1\n"),
        "table, row 2: 1 cells, the header has 2; put cells that hold a comma in quotes"
    );
    for (table, place) in [
        ("player,case_date,faults\np1,2026-03-04,bad_luck\n", "row 2, column faults: 'bad_luck'"),
        (
            "player,case_date,faults\np1,2026-03-04,toss_low=7\n",
            "row 2, column faults: 'toss_low=7'",
        ),
        (
            "player,case_date,limiting_fault,drills\np1,2026-03-04,toss_low,juggling: 3 x 3\n",
            "row 2, column drills: 'juggling: 3 x 3'",
        ),
        ("player,born,case_date\np1,2027-01-01,2026-03-04\n", "row 2, column born: '2027-01-01'"),
        ("player,born,case_date\np1,2026-03-04,2026-03-04\n", "row 2, column born: '2026-03-04'"),
        ("player,case_date\np1,2999-01-01\n", "row 2, column case_date: '2999-01-01'"),
        ("player,case_date,speed_kmh\np1,2026-03-04,900\n", "row 2, column speed_kmh: '900'"),
        ("player,case_date,heel_pad\np1,2026-03-04,9\n", "row 2, column heel_pad: '9'"),
        (
            "player,case_date,limiting_fault,follow_up_date,follow_up_speed_kmh\n\
             p1,2026-03-04,toss_low,2026-04-04,900\n",
            "row 2, column follow_up_speed_kmh: '900'",
        ),
        (
            "player,case_date,limiting_fault,follow_up_date\np1,2026-03-04,toss_low,2026-04-04\n",
            "row 2, column follow_up_date: '2026-04-04'; follow-up of n1: only a date",
        ),
        (
            "player,case_date,limiting_fault,follow_up_date,rating\n\
             p1,2026-03-04,toss_low,2026-03-01,1\n",
            "row 2, column follow_up_date: '2026-03-01'; a follow-up is not before",
        ),
        ("player,case_date,rating\np1,2026-03-04,1\n", "row 2, column rating: '1'"),
    ] {
        let told = refused(table);
        assert!(told.starts_with(&format!("table, {place}")), "{told}");
    }
    let head = "player,case_date,limiting_fault,plan_start\n";
    let days = ["2026-03-04", "2026-03-05", "2026-03-06"];
    let three = days.map(|day| format!("p1,2026-03-04,toss_low,{day}\n")).concat();
    let told = refused(&format!("{head}{three}"));
    let expected = "table, row 4, column limiting_fault: 'toss_low'; c1: n1 and n2 are in force";
    assert!(told.starts_with(expected), "{told}");
}

/// The rules that hold for a command hold for a table: which drill harms is the catalogue's word.
#[test]
fn a_table_passes_the_rules_of_coaching() {
    let (_folder, mut library) = library();
    let mut refused = |table: String| {
        let error = library.add_table(table.as_bytes()).unwrap_err().to_string();
        assert_eq!(library.counts().unwrap(), Counts::default(), "{table}");
        error
    };
    let catalogue = Catalogue::builtin();
    let drill = catalogue.drills().find(|drill| !drill.not_for.is_empty()).unwrap();
    let (fault, worse) = (&drill.faults[0], &drill.not_for[0]);
    let head = "player,case_date,faults,labelled_by,limiting_fault,drills\n";
    let told = refused(format!("{head}p1,2026-03-04,{worse}=0.7,anna,{fault},{}\n", drill.id));
    let expected =
        format!("table, row 2, column drills: '{0}'; '{0}' makes '{worse}' worse", drill.id);
    assert!(told.starts_with(&expected) && !told.contains("--"), "{told}");
    let told = refused(format!("{head}p1,2026-03-04,toss_low,program,,\n"));
    let expected = "table, row 2, column labelled_by: 'program'; 'program' is the program's own";
    assert!(told.starts_with(expected), "{told}");
    let fitting = &catalogue.drills_for("toss_low")[0].id;
    let told = refused(format!("{head}p1,2026-03-04,,,toss_low,{fitting}: 3 x 900\n"));
    assert!(told.contains("column drills") && told.contains("2700 repetitions"), "{told}");
}

/// Nobody can be asked about what was prescribed years ago: it is stored as it was, and told.
#[test]
fn an_odd_drill_in_a_table_is_told() {
    let (_folder, mut library) = library();
    let odd = Catalogue::builtin()
        .drills()
        .find(|drill| drill.not_for.is_empty() && drill.faults.iter().all(|id| id != "toss_low"))
        .unwrap();
    let head = "player,case_date,limiting_fault,drills\n";
    let table = format!("{head}p1,2026-03-04,toss_low,{}\n", odd.id);
    let added = library.add_table(table.as_bytes()).unwrap();
    assert_eq!((added.plans, added.notes.len(), added.notes[0].row), (1, 1, 2));
    let told = added.notes[0].to_string();
    assert!(told.starts_with(&format!("table, row 2: '{}' is meant for ", odd.id)), "{told}");
    assert!(told.ends_with("; stored as it was"), "{told}");
}
