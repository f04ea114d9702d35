//! What was looked at and is no serve, with the reason.

use super::reader::Reader;
use crate::serve::Found;
use crate::serve::detect::{Candidate, NEEDED};
use crate::serve::track::MAX_FILLED_GAP_S;

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
        let lost = self.longest_loss();
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
                found.refused.push(self.refusal(
                    tries[i].toss_top_s,
                    tries[j - 1].top_s,
                    best.reason(),
                ));
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
            let reason = format!(
                "tracking is broken: no body for {:.2} s (more than the {MAX_FILLED_GAP_S:.1} s we \
                 fill)",
                to - from
            );
            found.refused.insert(0, self.refusal(from, to, reason));
        }
    }

    /// The longest stretch without the joints the search needs, first to last lost time.
    fn longest_loss(&self) -> Option<(f64, f64)> {
        let times = &self.recording.times_s;
        let seen = |frame: usize| NEEDED.iter().all(|&j| self.recording.at(frame, j).is_some());
        let mut longest: Option<(usize, usize)> = None;
        let mut from = 0;
        for frame in 0..=times.len() {
            if frame == times.len() || seen(frame) {
                if frame > from && longest.is_none_or(|(a, b)| frame - from > b - a) {
                    longest = Some((from, frame));
                }
                from = frame + 1;
            }
        }
        let (a, b) = longest?;
        let (from_s, to_s) = (times[a], times[(b).min(times.len() - 1)]);
        (to_s - from_s > MAX_FILLED_GAP_S).then_some((from_s, to_s))
    }
}
