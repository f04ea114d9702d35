//! From the library to looks: each row read once.

use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

use jiff::ToSpan;
use jiff::civil::Date;

use super::change::Followed;
use super::session::{Session, SessionServe, Unlike, pairs};
use super::verdict::{Came, FollowedPrecedent, Later, SEEN_AGAIN_DAYS, Verdict, began, later_days};
use crate::catalogue::Catalogue;
use crate::coaching::practised;
use crate::library::{
    Case, CaseId, DayViews, FollowUp, Library, Plan, PlayerId, RecordingId, RecordingRow,
    ServeHead, ServeId, ServeRow, StoreError,
};
use crate::matcher::Precedent;
use crate::serve::ServeReading;

/// A library as one request sees it: heads, cases, readings and serves, each read when first asked
/// for and then kept.
///
/// Holds what was asked for until it is dropped; make one for each request. What is changed in the
/// library meanwhile is not seen.
pub struct Snapshot<'a> {
    library: &'a Library,
    heads: RefCell<HashMap<ServeId, Rc<ServeHead>>>,
    cases: RefCell<HashMap<PlayerId, Rc<[Case]>>>,
    readings: RefCell<HashMap<ServeId, Rc<[ServeReading]>>>,
    serves: RefCell<HashMap<ServeId, Rc<ServeRow>>>,
    recordings: RefCell<HashMap<RecordingId, Rc<RecordingRow>>>,
    views: RefCell<HashMap<CaseId, Rc<DayViews>>>,
}

/// What is kept for `key`, read if it is not.
fn kept<K: std::hash::Hash + Eq, V: Clone>(
    cache: &RefCell<HashMap<K, V>>,
    key: K,
    read: impl FnOnce() -> Result<V, StoreError>,
) -> Result<V, StoreError> {
    if let Some(known) = cache.borrow().get(&key) {
        return Ok(known.clone());
    }
    let value = read()?;
    cache.borrow_mut().insert(key, value.clone());
    Ok(value)
}

impl<'a> Snapshot<'a> {
    /// Nothing read yet.
    #[must_use]
    pub fn new(library: &'a Library) -> Self {
        Self {
            library,
            heads: RefCell::default(),
            cases: RefCell::default(),
            readings: RefCell::default(),
            serves: RefCell::default(),
            recordings: RefCell::default(),
            views: RefCell::default(),
        }
    }

    /// The library it reads.
    #[must_use]
    pub fn library(&self) -> &'a Library {
        self.library
    }

    /// The head of one serve.
    ///
    /// # Errors
    /// [`StoreError`] if there is none, or the store cannot be read.
    pub fn head(&self, id: ServeId) -> Result<Rc<ServeHead>, StoreError> {
        kept(&self.heads, id, || self.library.serve_head(id).map(Rc::new))
    }

    /// All cases of a player, by day and id.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn cases(&self, player: PlayerId) -> Result<Rc<[Case]>, StoreError> {
        kept(&self.cases, player, || Ok(self.library.cases(Some(player))?.into()))
    }

    /// Readings of a serve.
    ///
    /// # Errors
    /// [`StoreError`] if there is no such serve, or the store cannot be read.
    pub fn readings(&self, id: ServeId) -> Result<Rc<[ServeReading]>, StoreError> {
        kept(&self.readings, id, || match self.serves.borrow().get(&id) {
            Some(row) => Ok(row.serve.readings.clone().into()),
            None => Ok(self.library.readings(id)?.into()),
        })
    }

    /// A whole serve: curve, figures, readings.
    ///
    /// # Errors
    /// [`StoreError`] if there is no such serve, or the store cannot be read.
    pub fn serve(&self, id: ServeId) -> Result<Rc<ServeRow>, StoreError> {
        kept(&self.serves, id, || self.library.serve(id).map(Rc::new))
    }

    /// Which serves of a case are views of one stroke.
    ///
    /// # Errors
    /// [`StoreError`] if there is no such case, or the store cannot be read.
    pub fn views(&self, case: CaseId) -> Result<Rc<DayViews>, StoreError> {
        kept(&self.views, case, || self.library.views_of_day(case).map(Rc::new))
    }

    /// What is stored about a file.
    ///
    /// # Errors
    /// [`StoreError`] if there is no such recording, or the store cannot be read.
    pub fn recording(&self, id: RecordingId) -> Result<Rc<RecordingRow>, StoreError> {
        kept(&self.recordings, id, || self.library.recording(id).map(Rc::new))
    }

    /// These serves as what one day showed.
    ///
    /// # Errors
    /// [`StoreError`] if one is unknown, or the store cannot be read.
    pub fn session(&self, date: Date, serves: &[ServeId]) -> Result<Session, StoreError> {
        let heads =
            serves.iter().map(|&id| self.head(id)).collect::<Result<Vec<_>, StoreError>>()?;
        // Of one recording, or without a clip of one camera, each serve is a stroke of its own.
        let several = heads.iter().any(|head| head.recording != heads[0].recording)
            && heads.iter().any(|head| head.capture.is_one_camera());
        let of_day = |head: Rc<ServeHead>| {
            let id = head.id;
            let stroke = if several { self.views(head.case)?.stroke(id) } else { id };
            Ok(SessionServe::new(&head, self.readings(id)?, stroke))
        };
        let serves = heads.into_iter().map(of_day).collect::<Result<_, StoreError>>()?;
        Ok(Session { date, serves })
    }

    /// What came of a plan of `case`, or of a fault of it that nobody planned for (`plan` = `None`):
    /// the one answer every page and command gives.
    ///
    /// The first of [`later_days`] whose serves compare with those of the case decides (see
    /// [`super::change()`]). Where none compares, the first says why; without any it is
    /// [`Verdict::NotYet`].
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn came_of(
        &self,
        catalogue: &Catalogue,
        case: &Case,
        plan: Option<&Plan>,
        fault: &str,
    ) -> Result<Came, StoreError> {
        let days = later_days(case, plan, fault, &self.cases(case.player)?);
        let came = |verdict, later: Option<Later>| -> Result<Came, StoreError> {
            let practised = match (plan, &later) {
                (Some(plan), Some(later)) => {
                    let named = |answer: &&FollowUp| Some(answer.id) == later.follow_up;
                    let answer = case.follow_ups.iter().find(named);
                    practised(self.library(), catalogue, plan, answer, later.date)?
                }
                _ => None,
            };
            let (plan, fault) = (plan.map(|plan| plan.id), fault.to_owned());
            Ok(Came { plan, fault, verdict, later, practised })
        };
        let followed = Followed::by_id(catalogue, fault);
        let mut first = None;
        for later in days {
            let Some(followed) = followed else {
                return came(Verdict::of(Err(Unlike::NoMeasure)), Some(later));
            };
            let before = self.session(case.date, &case.serves)?;
            let after = self.session(later.date, &later.serves)?;
            match followed.change(&before, &after) {
                Ok(change) => return came(Verdict::of(Ok(change)), Some(later)),
                Err(why) => first = first.or(Some((why, later))),
            }
        }
        match first {
            Some((why, later)) => came(Verdict::of(Err(why)), Some(later)),
            None => {
                let day = |days: i32| began(case, plan).saturating_add(days.days());
                let (from, to) = (day(*SEEN_AGAIN_DAYS.start()), day(*SEEN_AGAIN_DAYS.end()));
                came(Verdict::NotYet { from, to }, None)
            }
        }
    }

    /// What came of every plan of a player's case, in the order of the case.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn came_of_plans(
        &self,
        catalogue: &Catalogue,
        player: PlayerId,
        case: CaseId,
    ) -> Result<Vec<Came>, StoreError> {
        let cases = self.cases(player)?;
        let own = cases.iter().filter(|known| known.id == case);
        own.flat_map(|case| case.plans.iter().map(move |plan| (case, plan)))
            .map(|(case, plan)| self.came_of(catalogue, case, Some(plan), &plan.limiting_fault))
            .collect()
    }

    /// A precedent with what came of its plans.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn follow(
        &self,
        catalogue: &Catalogue,
        precedent: Precedent,
    ) -> Result<FollowedPrecedent, StoreError> {
        let came = self.came_of_plans(catalogue, precedent.player_id, precedent.case)?;
        Ok(FollowedPrecedent { precedent, came })
    }

    /// What the look of `case` says about a fault since an earlier one, and which earlier case that
    /// is; `None` if there is none.
    ///
    /// Where the look is the one that decides about an earlier plan for the fault, that plan's
    /// verdict is the answer (of several plans the latest). Else the look is compared with the last
    /// earlier one that compares; where none compares, the last one says why.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn since(
        &self,
        catalogue: &Catalogue,
        case: &Case,
        fault: &str,
    ) -> Result<Option<Since>, StoreError> {
        let cases = self.cases(case.player)?;
        let earlier: Vec<&Case> =
            cases.iter().filter(|other| (other.date, other.id) < (case.date, case.id)).collect();
        for before in earlier.iter().rev() {
            if let Some(came) = self.decided(catalogue, before, case, fault)? {
                return Ok(Some(Since { before: (*before).clone(), came }));
            }
        }
        let followed = Followed::by_id(catalogue, fault);
        let mut first = None;
        for before in earlier.iter().rev() {
            let came = self.compared(before, case, followed, fault)?;
            let found = came.verdict.change().is_some();
            let since = Since { before: (*before).clone(), came };
            if found {
                return Ok(Some(since));
            }
            first = first.or(Some(since));
        }
        Ok(first)
    }

    /// What came of the plan for `fault` in `before` that the look of `after` decides, of several
    /// the latest; `None` if it decides none.
    fn decided(
        &self,
        catalogue: &Catalogue,
        before: &Case,
        after: &Case,
        fault: &str,
    ) -> Result<Option<Came>, StoreError> {
        for plan in before.plans.iter().rev().filter(|plan| plan.limiting_fault == fault) {
            let came = self.came_of(catalogue, before, Some(plan), fault)?;
            let decides = |later: &Later| {
                later.case == Some(after.id)
                    || later.serves.iter().any(|serve| after.serves.contains(serve))
            };
            if came.verdict.change().is_some() && came.later.as_ref().is_some_and(decides) {
                return Ok(Some(came));
            }
        }
        Ok(None)
    }

    /// How a fault moved over a stretch of a player's looks: the earliest that compares with a later
    /// one, against the latest it compares with; `None` for fewer than two looks.
    ///
    /// Where the later of the two is the look that decides about a plan for the fault made at the
    /// earlier, that plan's verdict is the answer, as in [`Self::since`]. Where nothing compares, the
    /// first and the last say why.
    ///
    /// `cases`: the looks, by day and id.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn over(
        &self,
        catalogue: &Catalogue,
        cases: &[&Case],
        fault: &str,
    ) -> Result<Option<Over>, StoreError> {
        let followed = Followed::by_id(catalogue, fault);
        let mut first = None;
        for (at, before) in cases.iter().enumerate() {
            for after in cases[at + 1..].iter().rev() {
                let came = match self.decided(catalogue, before, after, fault)? {
                    Some(came) => came,
                    None => self.compared(before, after, followed, fault)?,
                };
                let over = Over { from: before.date, to: after.date, came };
                if over.came.verdict.change().is_some() {
                    return Ok(Some(over));
                }
                first = first.or(Some(over));
            }
        }
        Ok(first)
    }

    /// Two looks compared, whatever was planned.
    fn compared(
        &self,
        before: &Case,
        after: &Case,
        followed: Option<Followed>,
        fault: &str,
    ) -> Result<Came, StoreError> {
        let before = self.session(before.date, &before.serves)?;
        let after = self.session(after.date, &after.serves)?;
        let compared =
            followed.map_or(Err(Unlike::NoMeasure), |followed| followed.change(&before, &after));
        let (fault, verdict) = (fault.to_owned(), Verdict::of(compared));
        Ok(Came { plan: None, fault, verdict, later: None, practised: None })
    }

    /// The last earlier case of the player any look of which compares with one of `case`, whatever
    /// the measure; the last one where none does; `None` if there is none.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn last_before(&self, case: &Case) -> Result<Option<Case>, StoreError> {
        let cases = self.cases(case.player)?;
        let now = self.session(case.date, &case.serves)?;
        let mut last = None;
        for before in cases.iter().rev() {
            if (before.date, before.id) >= (case.date, case.id) {
                continue;
            }
            if pairs(&self.session(before.date, &before.serves)?, &now).is_ok() {
                return Ok(Some(before.clone()));
            }
            last = last.or(Some(before));
        }
        Ok(last.cloned())
    }
}

/// What a look says about a fault since an earlier case.
#[derive(Debug, Clone, PartialEq)]
pub struct Since {
    /// The earlier case.
    pub before: Case,
    /// What came since; with the plan, where one lies between.
    pub came: Came,
}

/// What the looks of a stretch of time say about a fault.
///
/// As JSON flat: `from`, `to` and the fields of [`Came`].
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Over {
    /// Day of the earlier look.
    pub from: Date,
    /// Day of the later.
    pub to: Date,
    /// What came between; with the plan, where the later look decides about one.
    #[serde(flatten)]
    pub came: Came,
}
