//! From a library to the bytes of a pack.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use super::receiver::{ReceiverKey, lock_for};
use super::seal::{Cost, lock};
use super::{
    CASES, CatalogueNote, EntryNote, FORMAT, MADE, MANIFEST, Manifest, OwnEntry, PackError,
    PackKey, Passphrase, SIGNATURE,
};
use crate::catalogue::{Catalogue, EntryKind};
use crate::coaching::{Age, may_share};
use crate::exchange::{Item, Leaving};
use crate::files::zipped;
use crate::find::{Filter, Selection};
use crate::library::{CaseId, Consent, Library, PlayerId, ServeId, StoreError, WriteError};
use crate::work::{Stage, Watch};

/// What a pack is made of.
#[derive(Debug, Clone, Copy)]
pub struct Request<'a> {
    /// Cases with a serve it keeps; an empty one keeps all cases.
    pub filter: &'a Filter,
    /// What the receiver shall call this library.
    pub academy: Option<&'a str>,
    /// Whether free words may leave.
    pub with_notes: bool,
    /// When it is made.
    pub made: Timestamp,
    /// Signs it.
    pub key: Option<&'a PackKey>,
    /// Who will be able to open it.
    pub protection: Protection<'a>,
}

/// Who can open a pack. Whoever makes one has to say.
#[derive(Debug, Clone, Copy)]
pub enum Protection<'a> {
    /// The receivers with these keys and nobody else.
    For(&'a [ReceiverKey]),
    /// Whoever knows the passphrase.
    Passphrase(&'a Passphrase),
    /// Everybody who gets hold of the file.
    Open,
}

impl Protection<'_> {
    /// Whether the pack has to be signed: named receivers have to know whose it is.
    #[must_use]
    pub fn needs_signature(&self) -> bool {
        matches!(self, Self::For(_))
    }
}

/// Cases that matched and stay here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LeftOut {
    /// Cases of players who do not agree to sharing, or of whom that, or its day, is not recorded.
    pub no_consent: usize,
    /// Those players.
    pub players: usize,
    /// Cases that came in a pack: only who made them may share them.
    pub received: usize,
}

/// A player whose cases leave, with what was agreed. It stays here: no pack holds it.
#[derive(Debug, Clone, PartialEq)]
pub struct Agreed {
    /// The player's code.
    pub code: String,
    /// What was agreed, and when.
    pub consent: Consent,
    /// Whether a guardian had to agree.
    pub age: Age,
}

/// A pack in memory, to be written and recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct Packed {
    /// The file's bytes.
    pub bytes: Vec<u8>,
    /// Id of the pack.
    pub id: String,
    /// Players in it.
    pub players: usize,
    /// Recordings in it.
    pub recordings: usize,
    /// Players whose cases left before and whom it takes back.
    pub withdrawn: usize,
    /// Whose cases are in it, and what each of them agreed to.
    pub consents: Vec<Agreed>,
    /// What stays here and why.
    pub left_out: LeftOut,
    /// What was chosen from.
    pub selection: Selection,
    /// For the library's record: [`Writer::add_leaving`](crate::library::Writer::add_leaving).
    pub leaving: Leaving,
}

/// Lets a pack leave: it is recorded, then `write` writes its bytes, and where that fails it is
/// recorded no more. In this order, so that a pack that left is always known here.
///
/// # Errors
/// What `write` says; what the library says, with nothing written then.
pub fn send<E: From<WriteError>>(
    library: &mut Library,
    packed: &Packed,
    write: impl FnOnce(&[u8]) -> Result<(), E>,
) -> Result<(), E> {
    let number = library.write(|w| w.add_leaving(&packed.leaving))?;
    if let Err(error) = write(&packed.bytes) {
        library.write(|w| w.remove_leaving(number))?;
        return Err(error);
    }
    Ok(())
}

/// Makes a pack of the cases `request` chooses; it may hold none. Whatever is chosen, it takes
/// back the players whose cases left before and who are forgotten or agree to sharing no more.
///
/// Cost: reads every chosen serve; memory twice their size.
///
/// # Errors
/// [`PackError::Filter`], [`PackError::Store`] (also if the work is stopped); [`PackError::Part`]
/// if it can not be encoded. `watch` is told each case and, under a passphrase, the key and each
/// locked part. Making the key cannot be stopped on its way, nor can deflating the pack.
pub fn pack(library: &Library, request: &Request<'_>, watch: &Watch) -> Result<Packed, PackError> {
    let catalogue = library.catalogue()?;
    let selection = library.select(request.filter)?;
    let kept: BTreeSet<ServeId> = selection.serves.iter().copied().collect();
    let mut left_out = LeftOut::default();
    let mut silent = BTreeSet::new();
    let mut consents = BTreeMap::new();
    let mut cases: Vec<(CaseId, PlayerId)> = Vec::new();
    // By kind, owner and uid: the order in the library, which tells who came when, stays here.
    let mut items: BTreeMap<(u8, String, String), Item> = BTreeMap::new();
    let all = library.case_ids(None)?;
    for (done, &id) in all.iter().enumerate() {
        watch.step(Stage::Cases, done, all.len()).map_err(StoreError::from)?;
        let case = library.case(id)?;
        if !request.filter.is_empty() && !case.serves.iter().any(|serve| kept.contains(serve)) {
            continue;
        }
        if library.is_received(case.player)? {
            left_out.received += 1;
            continue;
        }
        let player = library.player(case.player)?;
        if !may_share(player.consent) {
            left_out.no_consent += 1;
            silent.insert(case.player);
            continue;
        }
        consents.entry(case.player).or_insert_with(|| Agreed {
            code: player.code,
            consent: player.consent,
            age: Age::on(jiff::tz::TimeZone::UTC.to_datetime(request.made).date(), player.born),
        });
        cases.push((id, case.player));
        for item in library.items_to_share(id, request.with_notes, &catalogue)? {
            let kind = match &item {
                Item::Player(_) => 0,
                Item::Case(_) => 1,
                Item::Recording(_) => 2,
            };
            items.insert((kind, item.owner().to_owned(), item.uid()), item);
        }
    }
    left_out.players = silent.len();
    let of = |kind: u8| items.keys().filter(|key| key.0 == kind).count();
    let (players, recordings) = (of(0), of(2));
    let mut lines = Vec::new();
    let mut serves = 0;
    for item in items.values() {
        watch.check().map_err(StoreError::from)?;
        if let Item::Recording(recording) = item {
            serves += recording.serves.len();
        }
        lines.extend(item.line()?);
        lines.push(b'\n');
    }
    let made = request.made.strftime(MADE).to_string();
    let entry =
        EntryNote { bytes: lines.len() as u64, blake3: blake3::hash(&lines).to_hex().to_string() };
    let withdrawn = library.withdrawals()?;
    // What is in this pack is there again; what goes with its player needs no word of its own.
    let mut withdrawn_items = library.items_to_withdraw()?;
    withdrawn_items.retain(|key| {
        let kind = if key.kind == "case" { 1 } else { 2 };
        !withdrawn.contains(&key.player)
            && !items.contains_key(&(kind, key.player.clone(), key.uid.clone()))
    });
    let mut manifest = Manifest {
        format: FORMAT,
        id: String::new(),
        sender: library.uid().to_owned(),
        academy: request.academy.map(str::to_owned),
        made: made.clone(),
        with_notes: request.with_notes,
        signer: request.key.map(PackKey::public),
        withdrawn,
        withdrawn_items,
        catalogue: CatalogueNote {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            own: own_names(&catalogue, items.values()),
            entries: own_entries(&catalogue, items.values()),
        },
        players,
        cases: cases.len(),
        recordings,
        serves,
        entries: BTreeMap::from([(CASES.to_owned(), entry)]),
    };
    manifest.id = manifest.right_id().map_err(|error| encoding(MANIFEST, &error))?;
    let head = serde_json::to_vec(&manifest).map_err(|error| encoding(MANIFEST, &error))?;
    let signature = request.key.map(|key| key.sign(&head));
    let mut entries: Vec<(&str, &[u8])> = vec![(MANIFEST, &head), (CASES, &lines)];
    entries.extend(signature.as_ref().map(|signature| (SIGNATURE, &signature[..])));
    let mut bytes = zipped(&entries).map_err(|error| encoding("the pack", &error))?;
    watch.check().map_err(StoreError::from)?;
    let mut recipient = None;
    match request.protection {
        Protection::For(receivers) => {
            bytes = lock_for(&bytes, receivers, watch)?;
            let named: Vec<String> = receivers.iter().map(ReceiverKey::describe).collect();
            recipient = Some(named.join(", "));
        }
        Protection::Passphrase(passphrase) => bytes = lock(&bytes, passphrase, Cost::USUAL, watch)?,
        Protection::Open => {}
    }
    watch.check().map_err(StoreError::from)?;
    let leaving = Leaving {
        made,
        scope: request.filter.to_string(),
        recipient,
        file_hash: blake3::hash(&bytes).to_hex().to_string(),
        serves,
        cases,
    };
    let withdrawn = manifest.withdrawn.len();
    let id = manifest.id;
    let consents = consents.into_values().collect();
    Ok(Packed { bytes, id, players, recordings, withdrawn, consents, left_out, selection, leaving })
}

/// The faults and drills these items name that the built-in catalogue lacks.
fn own_names<'a>(
    catalogue: &Catalogue,
    items: impl Iterator<Item = &'a Item>,
) -> Vec<(String, String, String)> {
    let builtin = Catalogue::builtin();
    let mut own = BTreeSet::new();
    for item in items {
        let Item::Case(case) = item else { continue };
        let planned = case.plans.iter().map(|plan| &plan.limiting_fault);
        for id in case.labels.iter().map(|label| &label.fault).chain(planned) {
            if let (None, Some(fault)) = (builtin.fault(id), catalogue.fault(id)) {
                own.insert(("fault".to_owned(), id.clone(), fault.name.clone()));
            }
        }
        for id in case.plans.iter().flat_map(|plan| &plan.drills).map(|planned| &planned.drill) {
            if let (None, Some(drill)) = (builtin.drill(id), catalogue.drill(id)) {
                own.insert(("drill".to_owned(), id.clone(), drill.name.clone()));
            }
        }
    }
    own.into_iter().collect()
}

/// In full what [`own_names`] names, and what of the built-in catalogue the sender replaced.
fn own_entries<'a>(catalogue: &Catalogue, items: impl Iterator<Item = &'a Item>) -> Vec<OwnEntry> {
    let mut named = BTreeSet::new();
    for item in items {
        let Item::Case(case) = item else { continue };
        named.extend(case.labels.iter().map(|label| (EntryKind::Fault, label.fault.clone())));
        for plan in &case.plans {
            named.insert((EntryKind::Fault, plan.limiting_fault.clone()));
            let drills = plan.drills.iter().map(|planned| planned.drill.clone());
            named.extend(drills.map(|drill| (EntryKind::Drill, drill)));
        }
    }
    named.retain(|(kind, id)| catalogue.is_own(*kind, id));
    let entries = named.into_iter().filter_map(|(kind, id)| {
        let toml = catalogue.entry_toml(kind, &id)?;
        Some(OwnEntry { kind, id, toml })
    });
    entries.collect()
}

fn encoding(place: &str, error: &dyn std::error::Error) -> PackError {
    PackError::Part { place: place.to_owned(), why: error.to_string() }
}
