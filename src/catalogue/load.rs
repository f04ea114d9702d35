use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use serde::{Deserialize, Serialize};

use super::CatalogueError;
use super::check::check;
use super::dose::Limit;
use super::place::line_of;
use super::types::{Drill, Fault, PlayerGroup, PublishedRow, Style};

const BUILTIN: [(&str, &str); 8] = [
    ("general.toml", include_str!("data/general.toml")),
    ("faults_body.toml", include_str!("data/faults_body.toml")),
    ("faults_toss.toml", include_str!("data/faults_toss.toml")),
    ("faults_arm.toml", include_str!("data/faults_arm.toml")),
    ("drills_legs.toml", include_str!("data/drills_legs.toml")),
    ("drills_toss.toml", include_str!("data/drills_toss.toml")),
    ("drills_arm.toml", include_str!("data/drills_arm.toml")),
    ("drills_serve.toml", include_str!("data/drills_serve.toml")),
];

static BUILT: LazyLock<Result<Catalogue, CatalogueError>> =
    LazyLock::new(|| Catalogue::default().merged(&BUILTIN));

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct Cautions {
    always: Vec<String>,
    #[serde(default)]
    juniors: Vec<String>,
    #[serde(default)]
    junior_sources: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    cautions: Cautions,
    #[serde(default)]
    fault: Vec<Fault>,
    #[serde(default)]
    drill: Vec<Drill>,
    #[serde(default)]
    style: Vec<Style>,
    #[serde(default)]
    group: Vec<PlayerGroup>,
    #[serde(default)]
    limit: Vec<Limit>,
    #[serde(default)]
    source: Vec<PublishedRow>,
}

/// A file of an academy's own faults and drills to start from; it passes every check.
///
/// ```
/// use precedent::catalogue::{Catalogue, catalogue_template};
/// let own = Catalogue::builtin().with_extra("own.toml", catalogue_template()).unwrap();
/// assert_eq!(own.own(), (1, 1));
/// ```
#[must_use]
pub fn catalogue_template() -> &'static str {
    include_str!("data/template.toml")
}

/// What a library's own catalogue can hold that cases name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EntryKind {
    /// A fault.
    Fault,
    /// A drill.
    Drill,
}

impl EntryKind {
    /// As stored and sent.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Fault => "fault",
            Self::Drill => "drill",
        }
    }
}

/// The faults and drills a library works with: checked, in a fixed order. A copy shares its entries, since
/// every reader of a library asks for one.
#[derive(Debug, Clone, Default)]
pub struct Catalogue {
    pub(super) faults: Arc<Vec<Fault>>,
    pub(super) drills: Arc<Vec<Drill>>,
    pub(super) styles: Vec<Style>,
    pub(super) groups: Vec<PlayerGroup>,
    pub(super) sources: Arc<Vec<PublishedRow>>,
    pub(super) always: Vec<String>,
    pub(super) juniors: Vec<String>,
    pub(super) junior_sources: Vec<String>,
    pub(super) limits: Arc<Vec<Limit>>,
    /// What others call faults and drills that this catalogue lacks, by kind and id.
    foreign: BTreeMap<(String, String), String>,
}

impl Catalogue {
    /// The catalogue inside the program.
    ///
    /// ```
    /// let catalogue = precedent::catalogue::Catalogue::builtin();
    /// let fault = catalogue.fault("shallow_leg_drive").unwrap();
    /// assert_eq!(fault.name, "Shallow leg drive");
    /// ```
    ///
    /// # Panics
    /// Never in a tested build: the embedded text is fixed and a test reads it.
    #[must_use]
    pub fn builtin() -> &'static Self {
        match &*BUILT {
            Ok(catalogue) => catalogue,
            Err(error) => unreachable!("embedded catalogue: {error}"),
        }
    }

    /// This catalogue with the entries of a library's own TOML `text` added; `file` names it in
    /// errors. An entry whose id exists already must say `replaces = true` and then takes its
    /// place; cautions are added, never removed.
    ///
    /// # Errors
    /// [`CatalogueError`] with place, rule, what was found and what to do; nothing is added then.
    pub fn with_extra(&self, file: &str, text: &str) -> Result<Self, CatalogueError> {
        self.clone().merged(&[(file, text)])
    }

    fn merged(mut self, files: &[(&str, &str)]) -> Result<Self, CatalogueError> {
        let mut origin = Vec::new();
        for &(file, text) in files {
            let parsed: File = toml::from_str(text).map_err(|error| shape(file, text, error))?;
            self.always.extend(parsed.cautions.always);
            self.juniors.extend(parsed.cautions.juniors);
            self.junior_sources.extend(parsed.cautions.junior_sources);
            for entry in parsed.fault {
                origin.push((format!("fault '{}'", entry.id), file));
                let (id, replaces) = (entry.id.clone(), entry.replaces);
                put(Arc::make_mut(&mut self.faults), entry, |have| have.id == id, replaces)
                    .map_err(|found| twice(file, text, &format!("fault '{id}'"), found))?;
            }
            for entry in parsed.drill {
                origin.push((format!("drill '{}'", entry.id), file));
                let (id, replaces) = (entry.id.clone(), entry.replaces);
                put(Arc::make_mut(&mut self.drills), entry, |have| have.id == id, replaces)
                    .map_err(|found| twice(file, text, &format!("drill '{id}'"), found))?;
            }
            for entry in parsed.style {
                origin.push((format!("style '{}'", entry.id), file));
                let id = entry.id.clone();
                put(&mut self.styles, entry, |have| have.id == id, false)
                    .map_err(|found| twice(file, text, &format!("style '{id}'"), found))?;
            }
            for entry in parsed.group {
                origin.push((format!("group '{}'", entry.id), file));
                let id = entry.id.clone();
                put(&mut self.groups, entry, |have| have.id == id, false)
                    .map_err(|found| twice(file, text, &format!("group '{id}'"), found))?;
            }
            for entry in parsed.limit {
                origin.push((format!("limit '{}'", entry.id), file));
                let id = entry.id.clone();
                put(Arc::make_mut(&mut self.limits), entry, |have| have.id == id, false)
                    .map_err(|found| twice(file, text, &format!("limit '{id}'"), found))?;
            }
            for entry in parsed.source {
                origin.push((format!("source '{}'", entry.id), file));
                let id = entry.id.clone();
                put(Arc::make_mut(&mut self.sources), entry, |have| have.id == id, false)
                    .map_err(|found| twice(file, text, &format!("source '{id}'"), found))?;
            }
        }
        let last = files.last().map_or("catalogue", |&(file, _)| file);
        check(&self, &|entry, field| {
            let file = origin.iter().rfind(|(name, _)| name == entry);
            let file = file.map_or(last, |&(_, file)| file);
            let text = files.iter().find(|(name, _)| *name == file).map_or("", |(_, text)| text);
            (file.to_owned(), line_of(text, entry, field))
        })?;
        Ok(self)
    }

    /// A fault or drill as the TOML of a catalogue file; `None` where it lacks it.
    #[must_use]
    pub fn entry_toml(&self, kind: EntryKind, id: &str) -> Option<String> {
        #[derive(Serialize)]
        struct One<'a> {
            #[serde(skip_serializing_if = "Option::is_none")]
            fault: Option<[&'a Fault; 1]>,
            #[serde(skip_serializing_if = "Option::is_none")]
            drill: Option<[&'a Drill; 1]>,
        }
        let one = match kind {
            EntryKind::Fault => One { fault: Some([self.fault(id)?]), drill: None },
            EntryKind::Drill => One { fault: None, drill: Some([self.drill(id)?]) },
        };
        // Every field of an entry has a place in TOML.
        toml::to_string_pretty(&one).ok()
    }

    /// Whether a text is the TOML of exactly this one fault or drill, as [`Self::entry_toml`] writes
    /// it; its rules are held against the catalogue it is added to, not here.
    #[must_use]
    pub fn is_entry(text: &str, kind: EntryKind, id: &str) -> bool {
        let Ok(file) = toml::from_str::<File>(text) else { return false };
        let rest = (file.style.len() + file.group.len(), file.limit.len() + file.source.len());
        let cautions = file.cautions.always.len() + file.cautions.juniors.len();
        if rest != (0, 0) || cautions != 0 {
            return false;
        }
        match (kind, &file.fault[..], &file.drill[..]) {
            (EntryKind::Fault, [fault], []) => fault.id == id,
            (EntryKind::Drill, [], [drill]) => drill.id == id,
            _ => false,
        }
    }

    /// Whether a fault or drill is a library's own: not in the program, or other than there.
    #[must_use]
    pub fn is_own(&self, kind: EntryKind, id: &str) -> bool {
        let builtin = Self::builtin();
        match kind {
            EntryKind::Fault => self.fault(id).is_some() && self.fault(id) != builtin.fault(id),
            EntryKind::Drill => self.drill(id).is_some() && self.drill(id) != builtin.drill(id),
        }
    }

    /// How many faults and drills of its own it holds.
    #[must_use]
    pub fn own(&self) -> (usize, usize) {
        let faults = self.faults.iter().filter(|one| self.is_own(EntryKind::Fault, &one.id));
        let drills = self.drills.iter().filter(|one| self.is_own(EntryKind::Drill, &one.id));
        (faults.count(), drills.count())
    }

    /// The same with names (kind `fault` or `drill`, id, name) for what it lacks: faults and drills of another academy's
    /// catalogue, whose cases came in a pack. They are names only; nothing is detected by them.
    #[must_use]
    pub fn with_foreign_names(mut self, names: impl IntoIterator<Item = [String; 3]>) -> Self {
        self.foreign.extend(names.into_iter().map(|[kind, id, name]| ((kind, id), name)));
        self
    }

    /// Name for people of the fault with this id; its id where nobody named it.
    #[must_use]
    pub fn fault_name(&self, id: &str) -> String {
        self.named("fault", id, self.fault(id).map(|fault| &fault.name))
    }

    /// Name for people of the drill with this id; its id where nobody named it.
    #[must_use]
    pub fn drill_name(&self, id: &str) -> String {
        self.named("drill", id, self.drill(id).map(|drill| &drill.name))
    }

    fn named(&self, kind: &str, id: &str, own: Option<&String>) -> String {
        own.or_else(|| self.foreign.get(&(kind.to_owned(), id.to_owned())))
            .cloned()
            .unwrap_or_else(|| id.to_owned())
    }

    /// The fault with this id.
    #[must_use]
    pub fn fault(&self, id: &str) -> Option<&Fault> {
        self.faults.iter().find(|fault| fault.id == id)
    }

    /// The drill with this id.
    #[must_use]
    pub fn drill(&self, id: &str) -> Option<&Drill> {
        self.drills.iter().find(|drill| drill.id == id)
    }

    /// The published row with this id.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&PublishedRow> {
        self.sources.iter().find(|row| row.id == id)
    }

    /// All faults, in catalogue order.
    pub fn faults(&self) -> impl ExactSizeIterator<Item = &Fault> {
        self.faults.iter()
    }

    /// All drills, in catalogue order.
    pub fn drills(&self) -> impl ExactSizeIterator<Item = &Drill> {
        self.drills.iter()
    }

    /// Ways of serving that are not faults.
    pub fn styles(&self) -> impl ExactSizeIterator<Item = &Style> {
        self.styles.iter()
    }

    /// Groups of players for whom part of the catalogue reads differently.
    pub fn groups(&self) -> impl ExactSizeIterator<Item = &PlayerGroup> {
        self.groups.iter()
    }

    /// The group with this id.
    #[must_use]
    pub fn group(&self, id: &str) -> Option<&PlayerGroup> {
        self.groups.iter().find(|group| group.id == id)
    }

    /// Drills for a fault: those made for it first, then those it is a side effect of.
    #[must_use]
    pub fn drills_for(&self, fault: &str) -> Vec<&Drill> {
        let mut found: Vec<(usize, &Drill)> = self
            .drills
            .iter()
            .filter(|drill| !drill.not_for.iter().any(|other| other == fault))
            .filter_map(|drill| {
                let place = drill.faults.iter().position(|other| other == fault)?;
                Some((place, drill))
            })
            .collect();
        found.sort_by_key(|&(place, _)| place);
        found.into_iter().map(|(_, drill)| drill).collect()
    }

    /// Whether either of two faults names the other as one whose plan can run beside its own;
    /// `None` where one of them is unknown.
    #[must_use]
    pub fn go_together(&self, one: &str, other: &str) -> Option<bool> {
        let (a, b) = (self.fault(one)?, self.fault(other)?);
        let named = |list: &[String], id: &str| list.iter().any(|known| known == id);
        Some(named(&a.goes_with, other) || named(&b.goes_with, one))
    }

    /// Whether either of two faults names the other as one whose fixing pulls the other way; `None`
    /// where one of them is unknown.
    #[must_use]
    pub fn opposed(&self, one: &str, other: &str) -> Option<bool> {
        let (a, b) = (self.fault(one)?, self.fault(other)?);
        let named = |list: &[String], id: &str| list.iter().any(|known| known == id);
        Some(named(&a.opposed, other) || named(&b.opposed, one))
    }

    /// What must be said wherever this drill is shown: its own cautions, then the general ones.
    #[must_use]
    pub fn cautions<'a>(&'a self, drill: &'a Drill) -> Vec<&'a str> {
        drill.cautions.iter().chain(&self.always).map(String::as_str).collect()
    }

    /// The cautions that go with every plan and report.
    pub fn general_cautions(&self) -> impl ExactSizeIterator<Item = &str> {
        self.always.iter().map(String::as_str)
    }

    /// What is said besides wherever a plan for a junior, or for a player of unknown age, is shown.
    pub fn junior_cautions(&self) -> impl ExactSizeIterator<Item = &str> {
        self.juniors.iter().map(String::as_str)
    }

    /// The published rows behind [`Self::junior_cautions`].
    pub fn junior_sources(&self) -> impl Iterator<Item = &PublishedRow> {
        self.junior_sources.iter().filter_map(|id| self.source(id))
    }

    /// What doses are held against.
    pub fn limits(&self) -> impl ExactSizeIterator<Item = &Limit> {
        self.limits.iter()
    }
}

fn put<T>(
    list: &mut Vec<T>,
    entry: T,
    same: impl Fn(&T) -> bool,
    replaces: bool,
) -> Result<(), &'static str> {
    match (list.iter_mut().find(|have| same(have)), replaces) {
        (None, false) => list.push(entry),
        (Some(have), true) => *have = entry,
        (Some(_), false) => return Err("an entry of that id already there"),
        (None, true) => return Err("'replaces = true' with nothing to replace"),
    }
    Ok(())
}

fn twice(file: &str, text: &str, place: &str, found: &str) -> CatalogueError {
    CatalogueError::Rule {
        file: file.to_owned(),
        line: line_of(text, place, "id").and_then(|line| u32::try_from(line).ok()),
        place: place.to_owned(),
        rule: "an id names one entry",
        found: found.into(),
        next: "choose another id, or say 'replaces = true' to replace the entry of that id",
    }
}

fn shape(file: &str, text: &str, error: toml::de::Error) -> CatalogueError {
    let at = error.span().map_or(0, |span| span.start.min(text.len()));
    CatalogueError::Shape {
        file: file.to_owned(),
        line: text.as_bytes()[..at].iter().filter(|&&b| b == b'\n').count() + 1,
        found: error.message().to_owned(),
        source: Box::new(error),
    }
}
