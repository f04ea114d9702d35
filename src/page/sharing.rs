//! Packs: cases out to another academy and in from one, each looked at before it is done.

use std::fs;
use std::sync::{Arc, Mutex};

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{Html, Response};
use jiff::Timestamp;
use zeroize::Zeroizing;

use super::case::go_to;
use super::desk::Desk;
use super::fields::Fields;
use super::long::{Lane, Outcome, State as Stand, lock};
use super::refusal::Refusal;
use super::squads::{filter, squads};
use super::told::{Confirm, Made, Told};
use super::uploads::Kind;
use super::view::Frame;
use crate::coaching::{describe_consent, guardians_to_ask};
use crate::exchange::{
    self, Arrived, Brought, Keys, PackError, PackKey, Packed, Passphrase, Protection, ReceiverKey,
    ReceivingKey, Request, Signing,
};
use crate::find::{Filter, FilterError, InStep};
use crate::library::Library;
use crate::words::count;

/// Digits of a pack's id that are shown.
const SHOWN_DIGITS: usize = 12;

struct PackView {
    id: String,
    shown: String,
    academy: String,
    made: String,
    received: String,
    holds: String,
}

#[derive(Template)]
#[template(path = "sharing.html")]
struct Page {
    frame: Frame,
    squads: Vec<String>,
    packs: Vec<PackView>,
    /// The key others lock packs with for this library, and its fingerprint.
    key: Option<(String, String)>,
}

/// What was received, and what can go out.
pub(super) async fn place(State(desk): State<Arc<Desk>>) -> Result<Html<String>, Refusal> {
    desk.read(|desk, library, _| {
        let packs = library.packs()?.into_iter().map(|pack| PackView {
            shown: pack.id.chars().take(SHOWN_DIGITS).collect(),
            academy: pack.academy.unwrap_or_else(|| "an unnamed academy".to_owned()),
            made: pack.made.get(..10).unwrap_or_default().to_owned(),
            received: pack.received.get(..10).unwrap_or_default().to_owned(),
            holds: format!("{} of {}", count(pack.cases, "session"), count(pack.players, "player")),
            id: pack.id,
        });
        let key = ReceivingKey::there(library.folder())?.map(|key| key.public());
        let page = Page {
            frame: Frame::of(desk, "Sharing"),
            packs: packs.collect(),
            key: key.map(|key| (key.to_string(), key.fingerprint())),
            squads: squads(library)?.into_iter().map(|(name, _)| name).collect(),
        };
        Ok(page.render()?)
    })
    .await
}

/// Makes the key others lock packs with for this library.
pub(super) async fn key(State(desk): State<Arc<Desk>>) -> Result<Response, Refusal> {
    desk.change(|_, library| Ok(ReceivingKey::of(library.folder())?)).await?;
    Ok(go_to("/sharing"))
}

/// What a pack is asked for; kept while the coach looks at what would leave.
#[derive(Debug)]
struct Wanted {
    filter: Filter,
    academy: Option<String>,
    with_notes: bool,
    sign: bool,
    lock: Lock,
}

/// Who will be able to open a pack.
#[derive(Debug, Clone)]
enum Lock {
    For(Vec<ReceiverKey>),
    Passphrase(Passphrase),
    Open,
}

impl Lock {
    fn of(fields: &Fields) -> Result<Self, Refusal> {
        let keys = fields.words("receivers").unwrap_or_default();
        let keys: Vec<ReceiverKey> = keys
            .lines()
            .filter(|line| !line.trim().is_empty())
            .map(str::parse)
            .collect::<Result<_, PackError>>()?;
        let passphrase = fields.words("passphrase").map(Zeroizing::new);
        if passphrase.as_deref().map(String::as_str) != fields.text("again") {
            return Err(Refusal::Said("The two passphrases differ".to_owned()));
        }
        let everybody = fields.text("unlocked").is_some();
        match (keys.is_empty(), passphrase, everybody) {
            (false, None, false) => Ok(Self::For(keys)),
            (true, Some(text), false) => {
                let passphrase = Passphrase::new(&text)?;
                passphrase.check_strong()?;
                Ok(Self::Passphrase(passphrase))
            }
            (true, None, true) => Ok(Self::Open),
            (true, None, false) => Err(Refusal::Said(
                "Say who may open the pack: those with these keys, whoever knows a passphrase, or \
                 everybody who gets the file"
                    .to_owned(),
            )),
            _ => Err(Refusal::Said(
                "Choose one way to protect the pack: keys, a passphrase, or none".to_owned(),
            )),
        }
    }

    fn protection(&self) -> Protection<'_> {
        match self {
            Self::For(keys) => Protection::For(keys),
            Self::Passphrase(passphrase) => Protection::Passphrase(passphrase),
            Self::Open => Protection::Open,
        }
    }

    fn describe(&self) -> Option<String> {
        match self {
            Self::For(keys) => {
                let names: Vec<String> = keys.iter().map(ReceiverKey::describe).collect();
                Some(format!("Opens only for {}", names.join(", ")))
            }
            Self::Passphrase(_) => {
                Some("Locked; tell the receiver the passphrase over the phone".to_owned())
            }
            Self::Open => None,
        }
    }
}

/// Makes a pack: first only to say what would leave, then, confirmed, to be saved.
pub(super) async fn pack(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let lock = Lock::of(&fields)?;
    let wanted = Wanted {
        filter: filter(&fields)?,
        academy: fields.words("academy"),
        with_notes: fields.text("notes").is_some(),
        sign: fields.text("sign").is_some() || lock.protection().needs_signature(),
        lock,
    };
    let desk_of_work = Arc::clone(&desk);
    let work = desk.long.begin(Lane::Other, "Checking what would leave", move |work| {
        let library = Library::open_read_only(desk_of_work.library())?;
        let looked = Wanted { lock: Lock::Open, sign: false, ..wanted.of() };
        let packed = make(&library, &looked, &work.watch())?;
        let told = would_leave(&packed, &work.id);
        Ok(Outcome::Pack(Arc::new(PackAtHand {
            told,
            wanted: Mutex::new(Some(Pending::Out(wanted))),
        })))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

impl Wanted {
    fn of(&self) -> Self {
        Self {
            filter: self.filter.clone(),
            academy: self.academy.clone(),
            with_notes: self.with_notes,
            sign: self.sign,
            lock: self.lock.clone(),
        }
    }
}

/// A pack that was looked at and waits for the coach's word.
#[derive(Debug)]
pub(super) struct PackAtHand {
    pub(super) told: Told,
    wanted: Mutex<Option<Pending>>,
}

#[derive(Debug)]
enum Pending {
    Out(Wanted),
    In(Box<Arrived>),
}

fn make(library: &Library, wanted: &Wanted, watch: &crate::work::Watch) -> Result<Packed, Refusal> {
    let key = wanted.sign.then(|| PackKey::of(library.folder())).transpose()?;
    let request = Request {
        filter: &wanted.filter,
        academy: wanted.academy.as_deref(),
        with_notes: wanted.with_notes,
        made: Timestamp::now(),
        key: key.as_ref(),
        protection: wanted.lock.protection(),
    };
    Ok(exchange::pack(library, &request, watch)?)
}

fn contents(packed: &Packed) -> Vec<String> {
    let mut lines = vec![
        format!(
            "{} of {} with {}: under pseudonyms, age bands for ages; no names, files or pictures",
            count(packed.leaving.cases.len(), "session"),
            count(packed.players, "player"),
            count(packed.leaving.serves, "serve"),
        ),
        "Days, level, height and the motion itself are in it: send it only to people you trust"
            .to_owned(),
    ];
    for one in &packed.consents {
        lines.push(format!("{}: {}", one.code, describe_consent(one.consent)));
    }
    lines.extend(guardians_to_ask(packed.consents.iter().map(|one| (one.age, one.consent))));
    let left = packed.left_out;
    if left.no_consent > 0 {
        lines.push(format!(
            "Left out: {} of {} with no dated consent to sharing",
            count(left.no_consent, "session"),
            count(left.players, "player"),
        ));
    }
    if left.received > 0 {
        lines.push(format!(
            "Left out: {} that came in a pack; only those who made them can share them",
            count(left.received, "session")
        ));
    }
    if packed.withdrawn > 0 {
        lines.push(format!(
            "It takes back {} sent earlier: forgotten since, or sharing no longer agreed to",
            count(packed.withdrawn, "player")
        ));
    }
    lines
}

fn would_leave(packed: &Packed, work: &str) -> Told {
    let links = vec![("Back to sharing".to_owned(), "/sharing".to_owned())];
    if packed.leaving.cases.is_empty() && packed.withdrawn == 0 {
        let why = packed.selection.why_empty().unwrap_or_else(|| {
            "None of them agreed to sharing; record it on the player's page".to_owned()
        });
        let title = "Nothing would leave.".to_owned();
        return Told { title, notes: vec![why], links, ..Told::default() };
    }
    Told {
        title: "This would leave; nothing has left yet.".to_owned(),
        lines: contents(packed),
        links,
        form: Some(Confirm {
            action: format!("/work/{work}/pack"),
            button: "Make the pack".to_owned(),
            fields: Vec::new(),
            tick: None,
        }),
        ..Told::default()
    }
}

/// Does what was looked at: makes the pack, or receives it.
pub(super) async fn confirm(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let gone = || Refusal::Said("This pack is not here any more; begin again".to_owned());
    let Stand::Ended(Ok(Outcome::Pack(at_hand))) = desk.long.work(&id)?.state() else {
        return Err(gone());
    };
    let needs_yes = at_hand.told.form.as_ref().is_some_and(|form| form.tick.is_some());
    if needs_yes && fields.text("sure").is_none() {
        return Err(Refusal::Said("Say that you asked the sender; nothing was stored".to_owned()));
    }
    let pending = lock(&at_hand.wanted).take().ok_or_else(gone)?;
    let desk_of_work = Arc::clone(&desk);
    let work = match pending {
        Pending::Out(wanted) => desk.long.begin(Lane::Other, "Making the pack", move |work| {
            let told = send(&desk_of_work, &wanted, &work.watch())?;
            desk_of_work.long.forget(&id);
            Ok(Outcome::Told(Arc::new(told)))
        }),
        Pending::In(pack) => desk.long.begin(Lane::Other, "Receiving the pack", move |_| {
            let mut library = InStep::new(Library::open(desk_of_work.library())?);
            let brought = library.write(|w| w.receive(&pack))?;
            desk_of_work.long.forget(&id);
            Ok(Outcome::Told(Arc::new(Told {
                title: "The pack is received.".to_owned(),
                lines: brought_lines(&brought),
                links: vec![
                    ("To Today".to_owned(), "/".to_owned()),
                    (
                        "Back to sharing, where it can be taken back".to_owned(),
                        "/sharing".to_owned(),
                    ),
                ],
                ..Told::default()
            })))
        }),
    };
    Ok(go_to(&format!("/work/{}", work.id)))
}

fn send(desk: &Desk, wanted: &Wanted, watch: &crate::work::Watch) -> Result<Told, Refusal> {
    let mut library = InStep::new(Library::open(desk.library())?);
    let packed = make(&library, wanted, watch)?;
    let folder = desk.uploads.folder()?;
    let name = format!("precedent-{}.pack", super::desk::today());
    let path = folder.path().join(&name);
    exchange::send(&mut library, &packed, |bytes| {
        fs::write(&path, bytes).map_err(|error| Refusal::Disk(error.kind()))
    })?;
    let mut lines = contents(&packed);
    if wanted.sign {
        let key = PackKey::of(library.folder())?;
        let print = key.fingerprint();
        lines.push(format!("Signed; read the receiver this fingerprint over the phone: {print}"));
    }
    lines.extend(wanted.lock.describe());
    if wanted.with_notes {
        lines.push("Notes are in it: other people may be named in them".to_owned());
    }
    Ok(Told {
        title: "The pack is made.".to_owned(),
        lines,
        links: vec![("Back to sharing".to_owned(), "/sharing".to_owned())],
        file: Some(Made { name, kind: "application/octet-stream", path, _folder: folder }),
        ..Told::default()
    })
}

/// Opens a pack that was sent, and says what it would bring.
pub(super) async fn look(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let id = fields.words("file").ok_or_else(|| Refusal::Said("No pack was sent".to_owned()))?;
    let passphrase = fields.words("passphrase").map(Zeroizing::new);
    let passphrase = passphrase.map(|text| Passphrase::new(&text)).transpose()?;
    let files = desk.uploads.take(Kind::Pack, std::slice::from_ref(&id))?;
    let name = files.first().map(|file| file.name.clone()).unwrap_or_default();
    let desk_of_work = Arc::clone(&desk);
    let work = desk.long.begin(Lane::Other, format!("Looking into {name}"), move |work| {
        let desk = &desk_of_work;
        let read = files.first().map(|file| fs::read(&file.path));
        let bytes = read.ok_or(Refusal::Broken)?.map_err(|error| Refusal::Disk(error.kind()))?;
        let own = ReceivingKey::there(desk.library())?;
        let keys = Keys { passphrase: passphrase.as_ref(), own: own.as_ref() };
        let pack = match exchange::open_with(&bytes, keys) {
            Ok(pack) => pack,
            Err(error) => {
                // A passphrase is easily mistyped: the file waits for the next try.
                if matches!(error, PackError::Locked | PackError::WrongPassphrase) {
                    desk.uploads.put_back(files);
                }
                return Err(error.into());
            }
        };
        let mut library = InStep::new(Library::open(desk.library())?);
        let brought = library.try_receive(&pack)?;
        let signature = Signing::of(&pack, &library.packs()?);
        let known = library.catalogue()?;
        let notices = pack.notices(&known).into_iter().map(|notice| notice.to_string());
        let of_catalogue = pack.catalogue_notices(&known);
        let notices = notices.chain(of_catalogue.iter().map(ToString::to_string));
        let academy = pack.academy.as_deref().unwrap_or("an unnamed academy");
        let made = pack.made.get(..10).unwrap_or_default();
        let mut lines = vec![format!("Made by {academy}, {made}"), signature.describe(&pack)];
        lines.extend(brought_lines(&brought));
        let told = Told {
            title: "This would come in; nothing is stored yet.".to_owned(),
            lines,
            notes: notices.collect(),
            links: vec![("Back to sharing".to_owned(), "/sharing".to_owned())],
            form: Some(Confirm {
                action: format!("/work/{}/pack", work.id),
                button: "Receive it".to_owned(),
                fields: Vec::new(),
                tick: signature.is_suspect().then(|| {
                    "I asked the sender in person or by phone: this pack is theirs".to_owned()
                }),
            }),
            ..Told::default()
        };
        let wanted = Mutex::new(Some(Pending::In(Box::new(pack))));
        Ok(Outcome::Pack(Arc::new(PackAtHand { told, wanted })))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

fn brought_lines(brought: &Brought) -> Vec<String> {
    let mut lines = vec![format!(
        "{}, {}, {} with {}",
        count(brought.players, "player"),
        count(brought.cases, "session"),
        count(brought.recordings, "recording"),
        count(brought.serves, "serve"),
    )];
    for (number, one, words) in [
        (brought.replaced, "session", "changes to a newer version"),
        (brought.taken_back, "player", "taken back by the sender"),
        (brought.forgotten, "player", "was forgotten here and is not taken"),
        (brought.in_the_way, "session", "is not shown: your own of that player and day stands"),
    ] {
        if number > 0 {
            lines.push(format!("{}: {words}", count(number, one)));
        }
    }
    if brought.known {
        lines.push("This pack has been received before".to_owned());
    }
    lines
}

/// Takes a received pack back.
pub(super) async fn undo(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    desk.change(move |_, library| {
        library.write(|w| w.undo_pack(&id))?;
        Ok(())
    })
    .await?;
    Ok(go_to("/sharing"))
}

impl From<PackError> for Refusal {
    fn from(error: PackError) -> Self {
        match error {
            PackError::Store(error) => error.into(),
            PackError::Filter(FilterError::Store(error)) => error.into(),
            PackError::Key { .. } => Self::Said(
                "The library's own key for signing cannot be used; without a signature the pack \
                 can be made"
                    .to_owned(),
            ),
            other => Self::Said(other.to_string()),
        }
    }
}
