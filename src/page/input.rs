//! Fields of a form with what is known in them.

use crate::catalogue::{Catalogue, Place};
use crate::coaching::{Cautions, ShownDrill};
use crate::library::{
    ConsentBy, FollowUp, Level, Named, Plan, Player, RecordingRow, ServeType, Setting,
};
use crate::motion::{Side, View};
use crate::words::{level, setting};

/// How a field is answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    Text,
    Day,
    Number,
    Words,
    Choice,
}

/// One field of a form.
#[derive(Debug)]
pub(super) struct Input {
    pub(super) name: String,
    pub(super) label: String,
    pub(super) way: Way,
    pub(super) value: String,
    /// Of a choice: value and words; the first is what an empty value says.
    pub(super) choices: Vec<(String, String)>,
}

impl Input {
    fn new(way: Way, name: &str, label: &str, value: impl ToString) -> Self {
        Self {
            name: name.to_owned(),
            label: label.to_owned(),
            way,
            value: value.to_string(),
            choices: Vec::new(),
        }
    }

    fn known<T: ToString>(way: Way, name: &str, label: &str, value: Option<T>) -> Self {
        Self::new(way, name, label, value.map(|value| value.to_string()).unwrap_or_default())
    }

    fn choice<T: Named>(
        name: &str,
        label: &str,
        none: &str,
        value: Option<T>,
        words: impl Fn(T, &'static str) -> String,
    ) -> Self {
        let all = T::NAMES.iter().map(|(value, name)| ((*name).to_owned(), words(*value, name)));
        Self {
            choices: [(String::new(), none.to_owned())].into_iter().chain(all).collect(),
            ..Self::new(Way::Choice, name, label, value.map(Named::name).unwrap_or_default())
        }
    }
}

/// The facts of a player.
pub(super) fn of_player(player: &Player) -> Vec<Input> {
    let agreed = match (player.consent.keep, player.consent.share) {
        (_, true) => "as recorded: keeping here and sharing without a name",
        (true, false) => "as recorded: keeping here",
        (false, false) if player.consent.date.is_some() => "as recorded: to nothing any more",
        (false, false) => "not recorded yet",
    };
    let consent = Input {
        choices: [
            ("", agreed),
            ("keep", "keeping recordings here"),
            ("share", "keeping here and sharing without a name"),
            ("none", "to nothing any more: nothing is added, nothing goes out"),
        ]
        .map(|(value, words)| (value.to_owned(), words.to_owned()))
        .into(),
        ..Input::new(Way::Choice, "consent", "Agreed to, from today on", "")
    };
    vec![
        Input::new(Way::Text, "code", "Code", &player.code),
        Input::known(Way::Text, "name", "Name, stays here", player.name.as_ref()),
        Input::choice("hand", "Hand", "not known", player.hand, |_: Side, name| name.to_owned()),
        Input::choice("level", "Level", "not known", player.level, |value: Level, _| {
            level(value).to_owned()
        }),
        Input::known(Way::Day, "born", "Born", player.born),
        Input::known(Way::Number, "stature", "Height in metres", player.stature_m),
        Input::new(Way::Text, "squads", "Squads, separated by commas", player.squads.join(", ")),
        Input::known(Way::Text, "coach", "The player's coach", player.coach.as_ref()),
        consent,
        Input::choice("consent_by", "Who agreed", "not recorded", player.consent.by, |by, _| {
            giver(by).to_owned()
        }),
    ]
}

/// Who agrees for a player, in words.
pub(super) fn giver(by: ConsentBy) -> &'static str {
    match by {
        ConsentBy::Player => "the player",
        ConsentBy::Guardian => "a parent or guardian",
    }
}

/// What is known of a recording beside its joints.
pub(super) fn of_recording(row: &RecordingRow, hand: Option<Side>) -> Vec<Input> {
    vec![
        Input::new(Way::Day, "date", "Day", row.date),
        Input::choice("setting", "Setting", "not said", row.setting, |value: Setting, _| {
            setting(value).to_owned()
        }),
        Input::choice("type", "Type of serve", "not said", row.serve_type, |_: ServeType, name| {
            name.to_owned()
        }),
        Input::choice(
            "view",
            "Filmed from (then it is read again)",
            "not said",
            row.view,
            |value: View, _| value.seen().to_owned(),
        ),
        Input::choice("hand", "Hand (then it is read again)", "as seen", hand, |_: Side, name| {
            name.to_owned()
        }),
    ]
}

/// What a plan says; its drills stay.
pub(super) fn of_plan(catalogue: &Catalogue, plan: &Plan, cautions: &mut Cautions) -> Vec<Input> {
    let mut inputs = vec![
        Input::new(Way::Day, "start", "First day", plan.start),
        Input::known(Way::Day, "review_on", "Next review", plan.review_on),
        Input::known(
            Way::Day,
            "ended",
            "Ended on (empty: still running)",
            plan.ended.as_ref().map(|end| end.day),
        ),
    ];
    for planned in &plan.drills {
        let shown = ShownDrill::planned(catalogue, planned, &plan.limiting_fault);
        let name = cautions.name(&shown).to_owned();
        inputs.push(Input::new(
            Way::Text,
            &format!("dose-{}", planned.drill),
            &format!("{name}: how much"),
            &planned.dose,
        ));
        inputs.push(Input::choice(
            &format!("where-{}", planned.drill),
            &format!("{name}: where"),
            "not said",
            planned.place,
            |place: Place, _| place.label().to_owned(),
        ));
    }
    inputs.push(Input::known(Way::Words, "note", "In your words", plan.note.as_ref()));
    inputs
}

/// What a follow-up says.
pub(super) fn of_follow_up(answer: &FollowUp) -> Vec<Input> {
    let misses = answer.ball.misses;
    let rating = Input {
        choices: RATINGS.map(|(value, words)| (value.to_owned(), words.to_owned())).into(),
        ..Input::known(Way::Choice, "rating", "How it is now", answer.rating)
    };
    vec![
        Input::new(Way::Day, "date", "Day", answer.date),
        rating,
        Input::known(Way::Number, "sessions", "Sessions done", answer.sessions_done),
        Input::known(Way::Number, "speed", "Serve speed, km/h", answer.ball.speed_kmh),
        Input::known(Way::Number, "first_serve", "First serves in, %", answer.ball.first_serve_pct),
        Input::known(Way::Number, "net", "Misses into the net", misses.map(|all| all.net)),
        Input::known(Way::Number, "long", "Misses long", misses.map(|all| all.long)),
        Input::known(Way::Number, "wide", "Misses wide", misses.map(|all| all.wide)),
        Input::known(Way::Words, "note", "In your words", answer.note.as_ref()),
    ]
}

/// A coach's rating, the best first.
const RATINGS: [(&str, &str); 6] = [
    ("", "not said"),
    ("2", "gone"),
    ("1", "better"),
    ("0", "as before"),
    ("-1", "a little worse"),
    ("-2", "worse"),
];
