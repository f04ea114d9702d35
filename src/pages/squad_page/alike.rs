//! Who serves alike: map, groups and tree.

use super::{MarkView, of};
use crate::drawing::{map_drawing, share_mark, tree_drawing};
use crate::pages::review::{NARROW, WIDE};
use crate::squad::{Alike, GroupFacts};
use crate::words::count;

/// Faults told of a group.
const GROUP_FAULTS: usize = 4;

pub(super) struct GroupView {
    pub(super) sentence: String,
    pub(super) who: String,
    pub(super) faults: Vec<MarkView>,
}

pub(super) struct AlikeView {
    pub(super) how: String,
    pub(super) map: String,
    pub(super) map_caption: String,
    pub(super) groups: Vec<GroupView>,
    pub(super) left_out: Vec<String>,
    pub(super) tree: String,
    pub(super) tree_note: &'static str,
}

pub(super) fn alike_view(alike: &Alike) -> AlikeView {
    // A look: what one day showed of one player in one set-up.
    let each = if alike.serves.len() > alike.looks {
        format!(", each by its most typical serve of {}", alike.serves.len())
    } else {
        String::new()
    };
    let how = match alike.silhouette {
        Some(width) => {
            let tried: Vec<String> =
                alike.tried.iter().map(|(k, width)| format!("{k}: {width:.2}")).collect();
            format!(
                "{} of {} compared, each with every other, by exact time warping{each}. {} groups: the number \
                 with the widest silhouette between players ({width:.2}; tried {}).{}",
                count(alike.looks, "look"),
                count(alike.players.len(), "player"),
                alike.groups.len(),
                tried.join(", "),
                alike.second.map_or_else(String::new, |second| format!(
                    " {} (Agreement {:.2} of 1.)",
                    second.verdict.sentence(),
                    second.agreement
                ))
            )
        }
        None => {
            let widest = alike.tried.iter().map(|tried| tried.1).reduce(f64::max);
            let why = widest.map_or_else(
                || "too few players to split".to_owned(),
                |width| format!("no number of groups splits the players well (widest silhouette {width:.2}, 0.25 wanted)"),
            );
            format!(
                "{} of {} compared, each with every other, by exact time warping{each}: {why}.",
                count(alike.looks, "look"),
                count(alike.players.len(), "player")
            )
        }
    };
    let pair = |wide: String, narrow: String| {
        format!(r#"<div class="wide">{wide}</div><div class="narrow">{narrow}</div>"#)
    };
    let drawn = |draw: fn(&Alike, f64) -> crate::drawing::Svg| {
        pair(draw(alike, WIDE).to_string(), draw(alike, NARROW).to_string())
    };
    AlikeView {
        how,
        map: drawn(map_drawing),
        map_caption: format!(
            "One dot: one look (a player, a day, a set-up), by its most typical serve; close together means alike. Two directions hold {:.0} % of the differences. \
             Figure: the serve that stands for its group, at trophy, seen from the \
             hitting side.",
            100.0 * alike.kept
        ),
        groups: alike.groups.iter().map(|group| group_view(group, alike.groups.len())).collect(),
        left_out: alike
            .left_out
            .iter()
            .map(|(serves, why)| {
                format!("Not compared: {}, because: {why}.", count(*serves, "serve"))
            })
            .collect(),
        tree: drawn(tree_drawing),
        tree_note: if alike.players.len() > 40 { "; the nearest share a wedge" } else { "" },
    }
}

fn group_view(group: &GroupFacts, groups: usize) -> GroupView {
    let stability = group.stability.map_or_else(String::new, |stability| {
        format!(" Comes back when the squad is resampled: {stability:.2} of 1.")
    });
    let shown = group.codes.iter().take(24).cloned().collect::<Vec<_>>();
    let more = match group.codes.len() - shown.len() {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    GroupView {
        sentence: group.sentence.clone(),
        who: format!(
            "{}{more}. Stands for it: {} of {}.{stability}",
            shown.join(", "),
            group.medoid,
            group.medoid_player
        ),
        faults: group
            .faults
            .iter()
            .filter(|fault| groups > 1 && fault.here.with > 0)
            .take(GROUP_FAULTS)
            .map(|fault| MarkView {
                name: fault.name.clone(),
                here: of(&fault.here),
                rest: of(&fault.rest),
                mark: share_mark(&fault.here, Some(&fault.rest), 180.0).to_string(),
                apart: fault.apart.map_or_else(String::new, |apart| {
                    format!(
                        "{:+.0} points ({:+.0} to {:+.0}){}",
                        100.0 * apart.by,
                        100.0 * apart.interval.0,
                        100.0 * apart.interval.1,
                        if apart.is_clear() { "" } else { ", not clear" }
                    )
                }),
            })
            .collect(),
    }
}
