//! Room for words: how wide a text will be, where lines break, and labels that do not overlap.

/// Advance widths of the printable ASCII characters in thousandths of the type size, each rounded up:
/// of DejaVu Sans and Liberation Sans (a metric twin of Arial and Helvetica) the wider. A system without
/// any font that pages and drawings name sets them in its own, and DejaVu Sans is the widest of the
/// usual ones.
///
/// Read with fontTools 4.68 from Debian's fonts-dejavu-core 2.37-6 and fonts-liberation 1:1.07.4-11;
/// `tests/paper.rs` holds them against a browser.
const REGULAR: [u16; 95] = [
    318, 401, 460, 838, 637, 951, 780, 275, 391, 391, 500, 838, 318, 361, 318, 337, 637, 637, 637,
    637, 637, 637, 637, 637, 637, 637, 337, 337, 838, 838, 838, 557, 1016, 685, 687, 723, 771, 667,
    611, 778, 752, 295, 500, 667, 558, 863, 749, 788, 667, 788, 723, 667, 611, 732, 685, 989, 686,
    667, 686, 391, 337, 391, 838, 557, 500, 613, 635, 550, 635, 616, 353, 635, 634, 278, 278, 580,
    278, 975, 634, 612, 635, 635, 412, 521, 393, 634, 592, 818, 592, 592, 525, 637, 337, 637, 838,
];
/// The same of the bold weight, which a browser takes for 600 where a font has no other.
const BOLD: [u16; 95] = [
    349, 457, 521, 838, 696, 1002, 873, 307, 458, 458, 523, 838, 380, 416, 380, 366, 696, 696, 696,
    696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 611, 1000, 774, 763, 734, 831, 684,
    684, 821, 837, 373, 557, 775, 638, 996, 837, 851, 733, 851, 771, 721, 683, 813, 774, 1104, 771,
    725, 726, 458, 366, 458, 838, 557, 500, 675, 716, 593, 716, 679, 436, 716, 712, 343, 343, 666,
    343, 1042, 712, 688, 716, 716, 494, 596, 479, 712, 652, 924, 646, 652, 583, 712, 366, 712, 838,
];
/// Other characters our texts use, the wider of both weights, from the same fonts.
const OTHERS: [(char, u16); 8] = [
    ('\u{2026}', 1000),
    ('\u{2013}', 557),
    ('\u{2019}', 380),
    ('\u{b7}', 380),
    ('\u{b0}', 500),
    ('\u{b1}', 838),
    ('\u{d7}', 838),
    ('\u{2212}', 838),
];
/// Any other character: all of Latin-1 and Latin Extended but a few digraphs are narrower.
const ANY: u16 = 1104;

/// Room `text` takes at `size` pixels in the widest of the usual fonts.
pub(crate) fn width(text: &str, size: f64, bold: bool) -> f64 {
    let table = if bold { &BOLD } else { &REGULAR };
    let thousandths = |c: char| {
        let printable = (c as usize).checked_sub(32).and_then(|at| table.get(at));
        let other = || OTHERS.iter().find(|(known, _)| *known == c).map_or(ANY, |known| known.1);
        f64::from(printable.copied().unwrap_or_else(other))
    };
    text.chars().map(thousandths).sum::<f64>() / 1000.0 * size
}

/// `text` broken at spaces and hyphens into lines no wider than `room`; a longer piece is cut with
/// a "…".
pub(crate) fn wrap(text: &str, size: f64, bold: bool, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        for (index, piece) in word.split_inclusive('-').enumerate() {
            let joint = if index == 0 { " " } else { "" };
            let piece = shorten(piece, size, bold, room);
            match lines.last_mut() {
                Some(line) if width(&format!("{line}{joint}{piece}"), size, bold) <= room => {
                    line.push_str(joint);
                    line.push_str(&piece);
                }
                _ => lines.push(piece),
            }
        }
    }
    lines
}

/// `text`, cut with a "…" where it is wider than `room`.
pub(crate) fn shorten(text: &str, size: f64, bold: bool, room: f64) -> String {
    if width(text, size, bold) <= room {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        kept.push(c);
        if width(&kept, size, bold) + width("…", size, bold) > room {
            kept.pop();
            break;
        }
    }
    kept.truncate(kept.trim_end().len());
    kept.push('…');
    kept
}

/// Centres for labels of the given lengths on one axis: as near as possible to the wanted centres,
/// in the same order, at least `gap` apart and inside `low..high`.
///
/// Where the room is too small for all, they share the overlap evenly from `low` on. Wanted centres
/// need not be sorted; the answer is in the order of the input. O(n^2), meant for a handful.
pub(crate) fn spread(labels: &[(f64, f64)], low: f64, high: f64, gap: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..labels.len()).collect();
    order.sort_by(|&a, &b| labels[a].0.total_cmp(&labels[b].0).then(a.cmp(&b)));
    let total: f64 = labels.iter().map(|label| label.1).sum::<f64>()
        + gap * labels.len().saturating_sub(1) as f64;
    let squeeze = if total > high - low { (high - low) / total } else { 1.0 };

    // Blocks of touching labels: (members, length, sum of wanted block starts); merged while they collide.
    let mut blocks: Vec<(Vec<usize>, f64, f64)> = Vec::new();
    for &index in &order {
        let length = (labels[index].1 + gap) * squeeze;
        blocks.push((vec![index], length, labels[index].0 - labels[index].1 * squeeze / 2.0));
        while blocks.len() > 1 {
            let clamp = |block: &(Vec<usize>, f64, f64)| {
                let room_end = high + gap * squeeze - block.1;
                (block.2 / block.0.len() as f64).min(room_end).max(low)
            };
            let [.., before, last] = blocks.as_slice() else { break };
            if clamp(before) + before.1 <= clamp(last) + 1e-9 {
                break;
            }
            // Each member wants the block to start so that the member lands on its own wish.
            let (shift, count) = (before.1, last.0.len() as f64);
            let Some((members, length, wishes)) = blocks.pop() else { break };
            if let Some(into) = blocks.last_mut() {
                into.0.extend(members);
                into.1 += length;
                into.2 += wishes - shift * count;
            }
        }
    }
    let mut centres = vec![0.0; labels.len()];
    for (members, length, wishes) in blocks {
        let room_end = high + gap * squeeze - length;
        let mut at = (wishes / members.len() as f64).min(room_end).max(low);
        for index in members {
            centres[index] = at + labels[index].1 * squeeze / 2.0;
            at += (labels[index].1 + gap) * squeeze;
        }
    }
    centres
}

/// About `count` round values from `low` to `high` for an axis, inside the range.
pub(crate) fn ticks(low: f64, high: f64, count: usize) -> Vec<f64> {
    let rough = (high - low) / count.max(1) as f64;
    if !(rough.is_finite() && rough > 0.0) {
        return vec![low];
    }
    let power = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * power)
        .find(|&step| step >= rough * 0.999)
        .unwrap_or(10.0 * power);
    let first = (low / step - 1e-9).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    (first..=last).map(|index| index as f64 * step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn widths_follow_the_font_metrics() {
        // Digits of DejaVu Sans are 1303 of 2048 units wide, bold 1425; an ellipsis is 2048.
        assert!((width("0123456789", 10.0, false) - 10.0 * 10.0 * 1303.0 / 2048.0).abs() < 0.1);
        assert!((width("0123456789", 10.0, true) - 10.0 * 10.0 * 1425.0 / 2048.0).abs() < 0.1);
        assert!((width("\u{2026}", 12.0, false) - 12.0).abs() < 1e-9);
    }

    #[test]
    fn lines_break_inside_the_room() {
        let lines = wrap("the ball leaves the tossing hand", 12.0, false, 80.0);
        assert!(lines.len() > 1);
        assert!(lines.iter().all(|line| width(line, 12.0, false) <= 80.0), "{lines:?}");
        assert_eq!(lines.join(" "), "the ball leaves the tossing hand");
        assert_eq!(wrap("follow-through", 10.0, false, 45.0), ["follow-", "through"]);
        assert_eq!(wrap("", 12.0, false, 80.0), Vec::<String>::new());
        assert!(wrap("incomprehensibilities", 12.0, false, 40.0)[0].ends_with('…'));
    }

    #[test]
    fn round_ticks() {
        assert_eq!(ticks(0.0, 100.0, 5), [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]);
        assert_eq!(ticks(3.0, 3.0, 4), [3.0]);
    }

    proptest! {
        #[test]
        fn labels_never_overlap_and_keep_their_order(
            wanted in proptest::collection::vec((0.0..100.0f64, 1.0..12.0f64), 1..8),
        ) {
            let centres = spread(&wanted, 0.0, 120.0, 2.0);
            let mut placed: Vec<_> =
                centres.iter().zip(&wanted).map(|(&c, &(w, l))| (w, c - l / 2.0, c + l / 2.0)).collect();
            placed.sort_by(|a, b| a.0.total_cmp(&b.0));
            for pair in placed.windows(2) {
                prop_assert!(pair[0].2 + 2.0 <= pair[1].1 + 1e-6, "{placed:?}");
            }
            for (_, from, to) in placed {
                prop_assert!(from >= -1e-6 && to <= 120.0 + 1e-6);
            }
        }

        #[test]
        fn labels_with_room_stay_where_they_want_to_be(at in 20.0..40.0f64, length in 1.0..8.0f64) {
            let centres = spread(&[(at, length), (at + 40.0, length)], 0.0, 120.0, 2.0);
            prop_assert!((centres[0] - at).abs() <= 1e-9 && (centres[1] - at - 40.0).abs() <= 1e-9);
        }
    }
}
