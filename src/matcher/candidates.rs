//! Who is searched: counted kind by kind, listed only where the search needs a list.

use super::{Source, incomparable};
use crate::find::{Among, CurveSet, KeptServes};
use crate::library::ServeId;

/// What a serve is to the one that asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Class {
    /// Of comparable sources and views.
    Same,
    Other,
    /// Of another channel set.
    Foreign,
}

/// The serves a search chooses from.
pub(super) struct Candidates<'a> {
    kept: &'a KeptServes,
    /// By kind.
    classes: Vec<Class>,
    /// Places of the serve's own serves, ascending, each once.
    own: Vec<usize>,
    /// Serves of the channel set in the store.
    of_set: usize,
    pub(super) same: usize,
    pub(super) other: usize,
    pub(super) foreign: usize,
    /// Own ones that the filter kept.
    pub(super) left_out: usize,
}

/// Serves that take part, or those that do not.
pub(super) struct Listed {
    serves: Vec<ServeId>,
    except: bool,
}

impl Listed {
    pub(super) fn view(&self) -> Among<'_> {
        if self.except { Among::Except(&self.serves) } else { Among::Only(&self.serves) }
    }
}

impl<'a> Candidates<'a> {
    /// `own`: serves that are left out, in any order.
    pub(super) fn of(
        kept: &'a KeptServes,
        own: Vec<ServeId>,
        source: Source,
        channel_set: &str,
    ) -> Self {
        let heads = &kept.heads;
        let class = |kind: &crate::find::Kind| {
            let theirs = Source { capture: kind.capture, view: kind.view };
            match incomparable(source, theirs) {
                _ if kind.channel_set != channel_set => Class::Foreign,
                None => Class::Same,
                Some(_) => Class::Other,
            }
        };
        let classes: Vec<Class> = heads.kinds.iter().map(class).collect();
        let mut own: Vec<usize> =
            own.into_iter().filter_map(|serve| heads.place_of(serve)).collect();
        own.sort_unstable();
        own.dedup();
        let mut found =
            Self { kept, classes, own, of_set: 0, same: 0, other: 0, foreign: 0, left_out: 0 };
        let mut counts = vec![[0; 2]; heads.kinds.len()];
        for (place, kind) in heads.kind.iter().enumerate() {
            counts[usize::from(*kind)][usize::from(kept.keeps(place))] += 1;
        }
        for (class, [out, kept]) in found.classes.iter().zip(counts) {
            match class {
                Class::Same => found.same += kept,
                Class::Other => found.other += kept,
                Class::Foreign => found.foreign += kept,
            }
            found.of_set += if *class == Class::Foreign { 0 } else { out + kept };
        }
        for &place in found.own.iter().filter(|&&place| kept.keeps(place)) {
            found.left_out += 1;
            match found.classes[usize::from(heads.kind[place])] {
                Class::Same => found.same -= 1,
                Class::Other => found.other -= 1,
                Class::Foreign => found.foreign -= 1,
            }
        }
        found
    }

    /// Those of comparable sources, or the others of the channel set: as whoever takes part, or, where the
    /// set holds just the serves of the store, as whoever does not, whichever is shorter.
    pub(super) fn among(&self, set: &CurveSet, comparable: bool) -> Listed {
        let wanted = if comparable { Class::Same } else { Class::Other };
        let count = if comparable { self.same } else { self.other };
        let except = self.of_set - count < count && set.is_all_of(self.of_set);
        let heads = &self.kept.heads;
        let mut own = self.own.iter().copied().peekable();
        let serves = (0..heads.len()).filter(|&place| {
            let class = self.classes[usize::from(heads.kind[place])];
            let is_own = own.next_if_eq(&place).is_some();
            let takes_part = class == wanted && !is_own && self.kept.keeps(place);
            if except { class != Class::Foreign && !takes_part } else { takes_part }
        });
        Listed { serves: serves.map(|place| heads.serve_at(place)).collect(), except }
    }
}
