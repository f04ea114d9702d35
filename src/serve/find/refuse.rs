//! What was looked at and is no serve, with the reason.

use super::reader::Reader;
use super::spoken;
use crate::motion::{Dimensions, Gap, Joint, gaps};
use crate::serve::Found;
use crate::serve::detect::{Candidate, NEEDED, SEEN_FROM};
use crate::serve::track::{MAX_FILLED_GAP_S, cut};

impl Reader<'_> {
    /// Names what else looked like an overhead swing; if nothing was found at all, the best try.
    pub(super) fn refuse_the_rest(
        &self,
        candidates: &[Candidate],
        accepted: &[Candidate],
        found: &mut Found,
    ) {
        let free = |c: &&Candidate| {
            !accepted.iter().any(|a| c.top_s > a.toss_top_s - 1.0 && c.top_s < a.top_s + 1.5)
        };
        let mut tries: Vec<&Candidate> =
            candidates.iter().filter(|c| c.overhead).filter(free).collect();
        if tries.is_empty() && found.serves.is_empty() && found.refused.is_empty() {
            tries.extend(candidates.iter().max_by(|a, b| {
                let order = b.missing_count.cmp(&a.missing_count);
                order.then(a.score.total_cmp(&b.score))
            }));
        }
        let open = self.open_gaps();
        let lost = self.longest_loss(&open, 0, self.recording.frames());
        // Tops close together are one movement: its best try speaks.
        let mut i = 0;
        while i < tries.len() {
            let mut j = i + 1;
            while j < tries.len() && tries[j].top_s < tries[j - 1].top_s + 1.5 {
                j += 1;
            }
            let best = tries[i..j]
                .iter()
                .min_by(|a, b| {
                    let order = a.missing_count.cmp(&b.missing_count);
                    order.then(b.score.total_cmp(&a.score))
                })
                .copied();
            if let Some(best) = best {
                let mut reason = best.reason();
                if let Some(gap) = self.lost_around(&open, best) {
                    reason.push_str(&format!("; {gap}"));
                }
                if let Some(hidden) = self.hidden_around(best) {
                    reason.push_str(&format!("; {hidden}"));
                }
                if let Some(cut) = self.cut_around(best) {
                    reason.push_str(&format!("; {cut}"));
                }
                let (from, to) = (tries[i].toss_top_s, tries[j - 1].top_s);
                found.refused.push(self.refusal(from, to, reason));
            }
            i = j;
        }
        if found.serves.is_empty() && found.refused.is_empty() {
            let times = &self.recording.times_s;
            found.refused.push(self.refusal(
                times[0],
                times[times.len() - 1],
                "nothing moves like a serve: no hand rises and falls".to_owned(),
            ));
        }
        found.refused.sort_by_key(|refusal| refusal.frames);
        // Lost tracking explains the rest, so it is said first.
        if let Some((from, to)) = lost
            && found.serves.is_empty()
        {
            let reason = format!("tracking is broken: {}", self.loss(&open, from, to));
            let times = &self.recording.times_s;
            found.refused.insert(0, self.refusal(times[from], times[to - 1], reason));
        }
    }

    /// A stretch of lost frames in words: which joints, how long, where.
    fn loss(&self, open: &[Gap], from: usize, to: usize) -> String {
        let times = &self.recording.times_s;
        let lost = |joint: Joint| open.iter().any(|gap| gap.joint == joint && over(gap, from, to));
        let missing: Vec<Joint> = NEEDED.into_iter().filter(|&joint| lost(joint)).collect();
        let seen = |joint: Joint| (from..to).any(|at| self.recording.at(at, joint).is_some());
        let who = if missing.len() == NEEDED.len() && !missing.iter().any(|&joint| seen(joint)) {
            "no body".to_owned()
        } else {
            let missing: Vec<String> = missing.into_iter().map(spoken).collect();
            format!("no {}", missing.join(", "))
        };
        format!(
            "{who} for {:.2} s, frames {from}-{} (more than the {MAX_FILLED_GAP_S:.1} s we fill)",
            times[to.min(times.len() - 1)] - times[from],
            to - 1
        )
    }

    /// The longest loss within the time one try would have taken, in words.
    fn lost_around(&self, open: &[Gap], candidate: &Candidate) -> Option<String> {
        let (from, to) =
            (self.frame_at(candidate.toss_top_s - 1.5), self.frame_at(candidate.top_s + 1.0));
        let (from, to) = self.longest_loss(open, from, to + 1)?;
        Some(format!("tracking is broken near it: {}", self.loss(open, from, to)))
    }

    /// Which wrist of a picture is hidden, and when longest, within the time one try would have taken.
    fn hidden_around(&self, candidate: &Candidate) -> Option<String> {
        let recording = self.recording;
        let confidence = recording.confidence.as_ref()?;
        if recording.dimensions != Dimensions::Two {
            return None;
        }
        let (from, to) =
            (self.frame_at(candidate.toss_top_s - 1.5), self.frame_at(candidate.top_s + 1.0));
        let times = &recording.times_s;
        let longest = |wrist: Joint| {
            let column = recording.column(wrist)?;
            let hidden =
                |frame: usize| confidence[frame * recording.joints.len() + column] < SEEN_FROM;
            let (mut longest, mut first) = (0.0, from);
            let mut told = None;
            for frame in from..=to {
                if !hidden(frame) {
                    first = frame + 1;
                } else if times[frame] - times[first] > f64::max(longest, MAX_FILLED_GAP_S) {
                    longest = times[frame] - times[first];
                    let (from_s, to_s) = (times[first], times[frame]);
                    told = Some(format!("the {} from {from_s:.2} to {to_s:.2} s", spoken(wrist)));
                }
            }
            told
        };
        let told: Vec<String> =
            [Joint::LeftWrist, Joint::RightWrist].into_iter().filter_map(longest).collect();
        (!told.is_empty()).then(|| {
            format!(
                "out of sight, so only guessed at: {}; film it from another side",
                told.join(" and ")
            )
        })
    }

    /// A cut within the time one try would have taken, in words.
    fn cut_around(&self, candidate: &Candidate) -> Option<String> {
        let (from_s, to_s) = (candidate.toss_top_s - 1.5, candidate.top_s + 1.0);
        let at_s = |frame: usize| self.recording.times_s[frame];
        let cut = self.cuts.iter().find(|&&cut| (from_s..=to_s).contains(&at_s(cut)))?;
        Some(format!(
            "the film is cut there, at {:.2} s (frame {cut}), and a serve is not read over a cut",
            at_s(*cut)
        ))
    }

    /// The gaps of the joints the search needs that stay open.
    fn open_gaps(&self) -> Vec<Gap> {
        let mut open = gaps(&cut(self.recording, &NEEDED, 0, self.recording.frames() - 1));
        open.retain(|gap| !gap.inside || gap.duration_s > MAX_FILLED_GAP_S + 1e-9);
        open
    }

    /// The longest stretch with one of the joints the search needs in an open gap, as frames
    /// from..to.
    fn longest_loss(&self, open: &[Gap], first: usize, end: usize) -> Option<(usize, usize)> {
        let times = &self.recording.times_s;
        let mut lost = vec![false; end - first];
        for gap in open.iter().filter(|gap| over(gap, first, end)) {
            lost[gap.first.max(first) - first..(gap.last + 1).min(end) - first].fill(true);
        }
        let mut longest: Option<(usize, usize)> = None;
        let mut from = first;
        for frame in first..=end {
            if frame == end || !lost[frame - first] {
                if frame > from && longest.is_none_or(|(a, b)| frame - from > b - a) {
                    longest = Some((from, frame));
                }
                from = frame + 1;
            }
        }
        let (a, b) = longest?;
        (times[b.min(times.len() - 1)] - times[a] > MAX_FILLED_GAP_S).then_some((a, b))
    }
}

/// Whether a gap reaches into the frames from..to.
fn over(gap: &Gap, from: usize, to: usize) -> bool {
    gap.first < to && gap.last >= from
}
