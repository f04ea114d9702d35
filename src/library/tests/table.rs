use jiff::civil::date;
use tempfile::TempDir;

use super::made;
use crate::library::*;

fn library() -> (TempDir, Library) {
    let folder = TempDir::new().unwrap();
    let library = Library::create(folder.path().join("lib")).unwrap();
    (folder, library)
}

#[test]
fn the_template_is_a_table_itself() {
    let (_folder, mut library) = library();
    let added = library.add_table(table_template().as_bytes()).unwrap();
    assert_eq!(added, TableAdded { rows: 2, players: 1, cases: 2, plans: 1, follow_ups: 1 });
    let player = library.player_by_code("p01").unwrap();
    assert_eq!(player.squads, ["girls", "monday"]);
    assert_eq!((player.level, player.stature_m), (Some(Level::Club), Some(1.58)));
    assert!(player.consent.keep && !player.consent.share);
    let cases = library.cases(Some(player.id)).unwrap();
    assert_eq!(cases[0].labels[0].fault, "toss_behind");
    assert_eq!(cases[0].labels[0].by, "anna");
    assert_eq!(
        cases[0].plans[0].drills,
        [PlannedDrill { drill: "toss_catch".to_owned(), dose: "3 x 10 daily".to_owned() }]
    );
    assert_eq!(cases[0].follow_ups[0].date, date(2026, 3, 3));
    assert_eq!(cases[0].follow_ups[0].rating, Some(1));
    assert_eq!(cases[1].note.as_deref(), Some("second review"));
    assert_eq!(library.find_words("calmer").unwrap().cases, Some(vec![cases[0].id]));
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
    assert_eq!(refused("player,stature_m\np1,162\n"), "table, row 2: stature_m: '162'; 0.5 to 2.6");
    assert_eq!(
        refused("player,faults\np1,late_toss\n"),
        "table, row 2, column faults: 'late_toss'; a case needs its day in case_date"
    );
    assert_eq!(
        refused("player,case_date,drills\np1,2026-03-04,toss_catch\n"),
        "table, row 2, column drills: 'toss_catch'; a plan needs its limiting_fault"
    );
    assert_eq!(
        refused("player,hand\np1,left\n,right\n"),
        "table, row 3, column player: ''; every row needs a player"
    );
    assert!(refused("spieler\np1\n").starts_with("table, header: unknown column 'spieler'; "));
    assert!(refused("hand\nleft\n").starts_with("table, header: column 'player' is missing"));
    assert!(refused("player,hand\np1\n").starts_with("table: CSV error: record 1"));
    let two = "player,case_date,limiting_fault\n";
    let three = format!("{two}{}", "p1,2026-03-04,late_toss\n".repeat(3));
    assert!(refused(&three).starts_with("table, row 4: c1: has two plans already"));
}
