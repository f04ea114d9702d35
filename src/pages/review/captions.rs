//! What stands under the drawings and pictures.

use crate::drawing::Channel;
use crate::library::Witness;
use crate::motion::Side;
use crate::pages::ReviewData;
use crate::words::{list, sentence};

pub(super) fn strip_caption(data: &ReviewData, outlined: bool, coach: bool) -> String {
    let mut text = if outlined {
        format!(
            "Solid: {}. Outline: the serve most like {}.",
            if coach { "this serve" } else { "you" },
            if coach { "it" } else { "yours" }
        )
    } else {
        "Without an outline: no precedent can be drawn yet.".to_owned()
    };
    if data.player.hand == Side::Left {
        text.push_str(if coach {
            " Left-handed, drawn mirrored: the hitting side is on the right."
        } else {
            " You serve left-handed; drawn mirrored, your hitting arm is on the right."
        });
    }
    let said = |of: fn(&Witness) -> bool| {
        let events = data.events.iter().zip(&data.witnesses).filter(|(_, witness)| of(witness));
        events.map(|(event, _)| event.kind.label().to_owned()).collect::<Vec<_>>()
    };
    let set = said(|witness| matches!(witness, Witness::Person(_)));
    if !set.is_empty() {
        let by = if coach { "a coach" } else { "your coach" };
        text.push_str(&format!(" Set by {by}: {}.", list(&set)));
    }
    let heard = said(|witness| *witness == Witness::Sound);
    if !heard.is_empty() {
        text.push_str(&format!(" Heard in the clip: {}.", list(&heard)));
    }
    let ball = said(|witness| *witness == Witness::Ball);
    if !ball.is_empty() {
        text.push_str(&format!(" Seen by the ball's flight: {}.", list(&ball)));
    }
    text
}

pub(super) fn shots_caption(data: &ReviewData, outlined: bool, coach: bool) -> String {
    let mut text = format!(
        "{} own clip at the six moments, with the joints as the program sees them.",
        if coach { "The player's" } else { "Your" }
    );
    if outlined {
        text.push_str(" Below: the closest precedent at the same moments.");
        if data.player.hand == Side::Left {
            text.push_str(" It is drawn with the hitting arm on the right.");
        }
    }
    text
}

pub(super) fn shots_missing(data: &ReviewData, coach: bool) -> String {
    let Some(pictures) = &data.pictures else { return String::new() };
    let Some(why) = &pictures.missing else { return String::new() };
    if coach {
        format!("{} It was: {}", sentence(why) + ".", pictures.place)
    } else {
        sentence(why) + "."
    }
}

pub(super) fn ribbon_caption(channel: Option<&Channel>, coach: bool) -> &'static str {
    match (channel.and_then(|channel| channel.band.as_ref()), coach) {
        (Some(_), true) => {
            "Line: this serve. Band: 10th to 90th percentile of the precedents, dashed: their median; events aligned."
        }
        (Some(_), false) => {
            "Your line against the players who serve most like you; 8 of 10 of them stay in the band."
        }
        (None, true) => "Line: this serve. Fewer than three precedents: no band.",
        (None, false) => "Your line alone: too few players to compare it with.",
    }
}
