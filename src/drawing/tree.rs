use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};
use super::text::{shorten, ticks, width};
use crate::squad::{Alike, Branch};

/// More twigs than this do not read on one sheet; the nearest players are drawn as one then.
const MOST: usize = 40;
const ROW: f64 = 15.0;

/// Players as a tree: those who meet far right serve most alike.
///
/// One leaf per player with code and group letter; in a large squad the nearest players share a
/// leaf that says how many they are.
#[must_use]
pub fn tree_drawing(alike: &Alike, width_px: f64) -> Svg {
    let branches = alike.tree.branches(MOST);
    let label = |branch: &Branch| label(alike, branch);
    let words = if width_px < 520.0 { 130.0 } else { 230.0 };
    let (left, right) = (10.0, width_px - words);
    let height = 8.0 + ROW * branches.len() as f64 + 24.0;
    let farthest = alike.tree.joins.iter().map(|join| join.distance).fold(1e-9, f64::max);
    let x = |distance: f64| right - distance / farthest * (right - left);
    let title = format!("Tree of {} players", alike.players.len());
    let description = "Players who join at a smaller distance serve more alike.";
    let mut canvas = Canvas::new("squad-tree", width_px, height, &title, description);
    let line = Stroke::solid(Tone::Ink, 1.2);
    let lane = |row: usize| 8.0 + ROW * (row as f64 + 0.5);
    // Height of each drawn node; twigs first, then the joins above them.
    let mut drawn: Vec<Option<f64>> = vec![None; alike.tree.leaves + alike.tree.joins.len()];
    for (row, branch) in branches.iter().enumerate() {
        drawn[branch.node] = Some(lane(row));
        let inside = alike.tree.join(branch.node).map_or(0.0, |join| join.distance);
        if branch.players.len() > 1 {
            // A wedge: what is inside is not drawn.
            let corners =
                [[x(inside), lane(row)], [right, lane(row) - 5.0], [right, lane(row) + 5.0]];
            canvas.shape(&corners, true, Paint::wash(Tone::Quiet, 0.35).and(line));
        }
        let text = shorten(&label(branch), 11.0, false, words - 10.0);
        canvas.text([right + 6.0, lane(row) + 4.0], &text, Type::new(11.0, Tone::Ink));
    }
    for (at, join) in alike.tree.joins.iter().enumerate() {
        let (Some(first), Some(second)) = (drawn[join.first], drawn[join.second]) else { continue };
        let from = |node: usize| {
            let inside = alike.tree.join(node).map_or(0.0, |below| below.distance);
            x(inside)
        };
        canvas.line([from(join.first), first], [x(join.distance), first], line);
        canvas.line([from(join.second), second], [x(join.distance), second], line);
        canvas.line([x(join.distance), first], [x(join.distance), second], line);
        drawn[alike.tree.leaves + at] = Some(f64::midpoint(first, second));
    }
    let base = height - 18.0;
    canvas.line([left, base], [right, base], Stroke::solid(Tone::Quiet, 1.0));
    for tick in ticks(0.0, farthest, 5) {
        let text = format!("{tick:.1}");
        canvas.line([x(tick), base], [x(tick), base + 4.0], Stroke::solid(Tone::Quiet, 1.0));
        canvas.text([x(tick), base + 16.0], &text, Type::new(10.5, Tone::Quiet).middle());
    }
    let unit = "spreads apart";
    if width(unit, 10.5, false) < words {
        canvas.text([right + 12.0, base + 16.0], unit, Type::new(10.5, Tone::Quiet));
    }
    canvas.finish()
}

fn label(alike: &Alike, branch: &Branch) -> String {
    let letter = |player: &usize| {
        let group = alike.group_of.get(*player).and_then(|&group| alike.groups.get(group));
        group.map_or("", |group| group.letter.as_str())
    };
    let grouped = alike.groups.len() > 1;
    match branch.players.as_slice() {
        [one] if grouped => format!("{} ({})", alike.players[*one], letter(one)),
        [one] => alike.players[*one].clone(),
        many => {
            let mut letters: Vec<&str> = many.iter().map(letter).collect();
            letters.sort_unstable();
            letters.dedup();
            let group = if grouped { format!(" ({})", letters.join(", ")) } else { String::new() };
            let names: Vec<&str> =
                many.iter().take(3).map(|&player| alike.players[player].as_str()).collect();
            let more = if many.len() > 3 { " ..." } else { "" };
            format!("{} players{group}: {}{more}", many.len(), names.join(", "))
        }
    }
}
