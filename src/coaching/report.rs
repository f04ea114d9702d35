use crate::library::{BallFlight, Grip, Misses};

/// What somebody reports about the ball; what is left out stays as it was known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct BallReport {
    /// Typical serve speed, km/h.
    pub speed_kmh: Option<f64>,
    /// First serves in, percent.
    pub first_serve_pct: Option<f64>,
    /// Misses into the net.
    pub net: Option<u32>,
    /// Misses beyond the service line.
    pub long: Option<u32>,
    /// Misses beside the box.
    pub wide: Option<u32>,
}

impl BallReport {
    /// What is known once this is said over `known`. Misses are counted together: who names one
    /// side and never named another means none there.
    #[must_use]
    pub fn over(&self, known: BallFlight) -> BallFlight {
        let before = known.misses.unwrap_or_default();
        let counted = [self.net, self.long, self.wide].iter().any(Option::is_some);
        let misses = Misses {
            net: self.net.unwrap_or(before.net),
            long: self.long.unwrap_or(before.long),
            wide: self.wide.unwrap_or(before.wide),
        };
        BallFlight {
            speed_kmh: self.speed_kmh.or(known.speed_kmh),
            first_serve_pct: self.first_serve_pct.or(known.first_serve_pct),
            misses: if counted { Some(misses) } else { known.misses },
        }
    }
}

/// What is known of the grip once `said` is said over it; `None` where neither says anything.
pub(super) fn grip_over(said: Grip, known: Option<Grip>) -> Option<Grip> {
    let grip = Grip {
        index_knuckle: said.index_knuckle.or(known.and_then(|grip| grip.index_knuckle)),
        heel_pad: said.heel_pad.or(known.and_then(|grip| grip.heel_pad)),
    };
    (grip.index_knuckle.is_some() || grip.heel_pad.is_some()).then_some(grip)
}
