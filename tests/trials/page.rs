//! The page about the trials: its tables, and what we read off them.

use std::fmt::Write as _;

use precedent::catalogue::Catalogue;
use precedent::simulator::{Fault, SensorKind};

use super::detection::{CHECKED, CHECKED_SEEDS, PAIRED, SETTINGS, Tally, Trial};

/// The page: what the detector finds of what was planted.
pub(crate) const PAGE: &str = include_str!("../../src/catalogue/DETECTION.md");
/// Where it stands.
pub(crate) const PAGE_PATH: &str =
    concat!(env!("CARGO_MANIFEST_DIR"), "/src/catalogue/DETECTION.md");

/// Read off the tables by us.
pub(crate) const WEAK: &str = "
A fault has to be strong and likely (four fifths of the reading's error beyond where it starts), so
what a source reads with a wide error is left unsaid rather than said wrongly: probably most of what
is missed from one camera and from a depth sensor, where a low toss, a rushed start and a pause go
mostly unsaid. Markers, too, miss *trunk opens early* in a third of the sessions and *too much
sideways tilt* in a fifth to a third: the trunk moves fast where both are read, so the opening is
mostly known to 20 to 30 deg and the tilt to 22, while the faults reach from where they start to
where they count fully in 25 and 12 deg.

A *tray* is judged while the forearm lies behind the head, within 45 deg of level, and against the
trunk. Before, the forearm stands and the palm looks to the side however the wrist is bent: judged
over the whole racket drop it was found once in five to seven times. Judged against the horizontal
half of the suspicions were false, three in four sessions of an arched back among them: a trunk that
leans back turns every palm to the sky. A tray and a low elbow look alike, because a hanging elbow
turns the palm up early in the racket drop, and the one study of the tray found a lower upper arm
with it (R117): look at the pictures before naming both.

What is weak: of the *short finishes* that one camera suspects at 120 Hz one in eight is false, none
of them in a faultless session; why was not looked into.

Not claimed: *contact too low* without the elbow's bend, so never from one camera, because a hanging
elbow and bent legs lower the wrist as well (judged by the height alone, two out of three suspicions
were false alarms); *rushed start* while the toss is suspected to be too low, because both shorten
the same time and the toss is fixed first (from a depth sensor one suspicion in three was a false
alarm, each of them a low toss); neither *rushed start* nor *toss too low* where knee bend and
racket drop are complete, because that is a style.

Not planted yet, so not in these tables: toss too high and too far in front, shallow racket drop,
not enough shoulder turn, hips and shoulders turning as one, shoulders staying level. They are
measured, and a test in every run (`a_sound_serve_of_any_type_is_suspected_of_nothing`) keeps them
off sound serves.
";

/// What we know of the pairs.
pub(crate) const HIDING: &str = "
Looked at one by one, two pairs are in the bodies. *Too much arch* is the trunk behind the thighs:
legs that stay bent carry the lean, so behind late legs there are 31 to 44 deg of it instead of 54
to 61. A front leg that hardly straightens does not tell when it straightens, so *late leg drive* is
not judged there, and that is said; nor is *front leg still bent at contact* judged while a late leg
drive is suspected, because legs that push late are still bent at contact. Two pairs are strong
enough, but a little less likely than four fifths (0.68 to just below 0.80 where not found): *trunk
opens early* behind a low elbow, with which its opening reads 4 to 23 deg less, and *too much
sideways tilt* behind an arm that does not turn, with which it reads 3 to 6 deg less. *Trunk opens early* behind too much tilt lacks its second sign: the
shoulder line of a trunk bent so far turns fastest 0.02 s before contact instead of 0.2.

Two pairs that were once hidden are checked together by a test in every run
(`two_faults_at_once_are_both_found`): the generated body itself had lost the fault, because what
was planted later moved what had been aimed at (finish behind toss), or because the aim ignored that
the swing turns the palm too (turn behind low elbow).

Still open: an arm that does not turn at all by itself shows 20 to 45 deg of *turn after contact* on
generated bodies, with a low elbow 45 to 65, because trunk and swing turn the palm; the fault counts
from 60 down to 25 deg, so behind a low elbow only an arm that works against its swing is found.
";

/// `precision / recall` in per cent, or why there is none.
fn cell(tally: Tally) -> String {
    let seen = tally.hit + tally.missed;
    if seen == 0 {
        return "not measurable".to_owned();
    }
    let precision = if tally.hit + tally.wrong == 0 {
        "-".to_owned()
    } else {
        format!("{:.0}", 100.0 * tally.precision())
    };
    format!("{precision} / {:.0} ({seen})", 100.0 * tally.recall())
}

pub(crate) fn label((kind, rate_hz, noise_m): (SensorKind, f64, f64)) -> String {
    let kind = match kind {
        SensorKind::Markers => "markers",
        SensorKind::OneCamera => "one camera",
        SensorKind::Depth => "depth",
    };
    format!("{kind} {rate_hz:.0} Hz, {:.0} mm", 1000.0 * noise_m)
}

/// What the suite finds again: one line a trial.
pub(crate) fn checked(setting: (SensorKind, f64, f64), trial: &Trial) -> String {
    let sum = trial.sum();
    format!(
        "- {}: {} found, {} missed, {} suspected though not planted",
        label(setting),
        sum.hit,
        sum.missed,
        sum.wrong
    )
}

fn percent(part: u32, of: u32) -> String {
    if of == 0 {
        "-".to_owned()
    } else {
        format!("{:.0} %", 100.0 * f64::from(part) / f64::from(of))
    }
}

fn name(fault: Fault) -> &'static str {
    &Catalogue::builtin().fault(fault.id()).expect("a fault of the catalogue").name
}

pub(crate) fn page(
    settings: &[Trial],
    hidden: &[(Fault, Fault, u32)],
    small: &[Trial],
    sessions: u64,
) -> String {
    let mut text = format!(
        "# What the detector finds\n\n\
         Written by the test `detection_tables` in `tests/trials/detection.rs`; do not edit it.\n\n\
         All serves here are invented by the demo's generator. A session is three serves of one drawn player\n\
         (three in ten left-handed, any level and size, the camera or the floor turned by up to 40 deg) with\n\
         none to three faults of severity 0.5 to 1, where a fault starts to be suspected at 0.38. {sessions}\n\
         sessions per column. A real player's fault looks like the generator's only as far as the generator\n\
         is right: these figures are a ceiling, not a promise.\n\n\
         ## Precision and recall\n\n\
         `precision / recall (sessions in which it was planted and could be judged)`, in per cent.\n\n| fault |"
    );
    for setting in SETTINGS {
        write!(text, " {} |", label(setting)).unwrap();
    }
    text += &format!("\n|---|{}\n", "---|".repeat(SETTINGS.len()));
    for &fault in Fault::ALL {
        write!(text, "| {} |", name(fault)).unwrap();
        for trial in settings {
            write!(text, " {} |", cell(trial.tallies[&fault])).unwrap();
        }
        text += "\n";
    }
    let row = |text: &mut String, what: &str, of: &dyn Fn(&Trial) -> String| {
        write!(text, "| *{what}* |").unwrap();
        for trial in settings {
            write!(text, " {} |", of(trial)).unwrap();
        }
        *text += "\n";
    };
    row(&mut text, "all faults", &|trial| cell(trial.sum()));
    row(&mut text, "right-handers", &|trial| cell(trial.by_hand[0]));
    row(&mut text, "left-handers", &|trial| cell(trial.by_hand[1]));
    row(&mut text, "faultless sessions with any suspicion", &|trial| {
        format!("{} of {}", trial.clean_suspected, trial.clean)
    });
    row(&mut text, "sessions in which no serve was found", &|trial| trial.unread.to_string());

    text += WEAK;
    text += "\n## What is taken for what\n\nMarkers at 240 Hz. Share of the sessions with the planted \
             fault in which another one was suspected though it was not planted; shares below 5 % are \
             left out. Sessions may hold other planted faults, so some of it is theirs.\n\n\
             | planted | sessions | found | suspected besides |\n|---|---|---|---|\n";
    let first = &settings[0];
    for &fault in Fault::ALL {
        let sessions = first.planted.get(&fault).copied().unwrap_or(0);
        let mut others: Vec<(u32, &str)> = first
            .mixed
            .iter()
            .filter(|((planted, _), count)| *planted == fault && **count * 20 >= sessions)
            .map(|((_, other), count)| (*count, name(*other)))
            .collect();
        others.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(b.1)));
        let others: Vec<String> = others
            .iter()
            .map(|(count, other)| format!("{} {}", other.to_lowercase(), percent(*count, sessions)))
            .collect();
        let others = if others.is_empty() { "-".to_owned() } else { others.join(", ") };
        let found = percent(first.tallies[&fault].hit, sessions);
        writeln!(text, "| {} | {sessions} | {found} | {others} |", name(fault)).unwrap();
    }
    text += &format!(
        "\n## What hides what\n\nMarkers at 120 Hz, two faults planted together, both at 0.75, {} \
         sessions a pair. Pairs whose first is found in fewer than half of them, though alone it is \
         found in more:\n\n| hidden | behind | found |\n|---|---|---|\n",
        PAIRED.0
    );
    for (first, second, count) in hidden {
        writeln!(text, "| {} | {} | {count} of {} |", name(*first), name(*second), PAIRED.0)
            .unwrap();
    }
    if hidden.is_empty() {
        text += "| none | | |\n";
    }
    text += HIDING;
    text += &format!(
        "\n## Found again by every test run\n\nSeeds {} to {}:\n\n",
        CHECKED_SEEDS.start,
        CHECKED_SEEDS.end - 1
    );
    for ((kind, rate_hz, noise_m, ..), trial) in CHECKED.iter().zip(small) {
        text += &checked((*kind, *rate_hz, *noise_m), trial);
        text += "\n";
    }
    text
}
