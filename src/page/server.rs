use std::future::Future;
use std::io;
use std::net::{Ipv4Addr, TcpListener};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{get, post};
use axum::{Router, serve};
use thiserror::Error;

use super::desk::Desk;
use super::door::{self, Door};
use super::refusal::Refusal;
use super::{
    add, amend, asked, assets, case, catalogue, film, find, forget, guide, hand, own, plan, player,
    put_right, records, send, serve as serve_place, set_up, sharing, spoken, squads, today, told,
    upkeep, uploads, viewer, views,
};
use crate::library::{Author, Library, OpenError, WriteError};
use crate::work::Watch;

/// Largest body of a request, bytes: a long note is a few thousand.
const BODY_LIMIT_BYTES: usize = 256 * 1024;
/// Requests that read or change the library at once; others wait for their turn.
const AT_ONCE: usize = 16;
/// How often the server looks whether it is to end.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// How long requests that are being answered may take once the server is to end. A change takes
/// milliseconds once its turn has come, and is stored whole or not at all (our estimate).
const LAST_ANSWERS: Duration = Duration::from_secs(5);

/// What to serve, and for whom.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The library's folder.
    pub library: PathBuf,
    /// The coach's code, in whose name the page records.
    pub coach: String,
    /// Port; 0: any that is free.
    pub port: u16,
}

/// Why the page cannot be served.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PageError {
    /// There is no library to show.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The coach speaks as the program.
    #[error(transparent)]
    Coach(#[from] WriteError),
    /// The port is not to be had.
    #[error("port {port} of this computer: {source}; choose another, or 0 for any that is free")]
    Port {
        /// The port.
        port: u16,
        /// The cause.
        source: io::Error,
    },
    /// The system refused what a server needs.
    #[error("the page cannot be served: {0}; close other programs and try again")]
    System(io::Error),
}

/// The page, bound to its port and not answering yet.
#[derive(Debug)]
pub struct Server {
    listener: TcpListener,
    desk: Arc<Desk>,
}

impl Server {
    /// Takes the port on this computer's own address; nobody else's can reach it.
    ///
    /// # Errors
    /// [`PageError::Open`] without a library; [`PageError::Coach`], [`PageError::Port`].
    pub fn bind(settings: &Settings) -> Result<Self, PageError> {
        let Settings { library, coach, port } = settings;
        drop(Library::open_read_only(library)?);
        let coach = Author::coach(coach)?;
        let bound = TcpListener::bind((Ipv4Addr::LOCALHOST, *port)).and_then(|listener| {
            listener.set_nonblocking(true)?;
            let address = listener.local_addr()?;
            Ok((listener, address))
        });
        let (listener, address) =
            bound.map_err(|source| PageError::Port { port: *port, source })?;
        let door = Door::new(address.port());
        let desk = Desk::new(library.clone(), coach, door).map_err(PageError::System)?;
        Ok(Self { listener, desk: Arc::new(desk) })
    }

    /// The address that lets one browser in; it works once.
    #[must_use]
    pub fn address(&self) -> String {
        self.desk.door.first_address()
    }

    /// Answers until `watch` is stopped; a change that was acknowledged is stored by then.
    ///
    /// # Errors
    /// [`PageError::System`].
    pub fn run(self, watch: &Watch) -> Result<(), PageError> {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .max_blocking_threads(AT_ONCE)
            .enable_all()
            .build()
            .map_err(PageError::System)?;
        let desk = Arc::clone(&self.desk);
        let served = runtime.block_on(async {
            // Whoever looks on at long work waits for its end, so that comes first.
            let (ended, long) = (stopped(watch), Arc::clone(&desk));
            tokio::spawn(async move {
                ended.await;
                long.long.stop();
            });
            let listener =
                tokio::net::TcpListener::from_std(self.listener).map_err(PageError::System)?;
            let answering =
                serve(listener, routes(self.desk)).with_graceful_shutdown(stopped(watch));
            tokio::select! {
                ended = answering.into_future() => ended.map_err(PageError::System),
                () = patience(watch) => Ok(()),
            }
        });
        desk.films.end();
        runtime.shutdown_timeout(LAST_ANSWERS);
        let begun = Instant::now();
        while !desk.long.is_idle() && begun.elapsed() < LAST_ANSWERS {
            std::thread::sleep(LOOK_EVERY);
        }
        desk.uploads.clear();
        served
    }
}

/// Returns once the server is to end.
fn stopped(watch: &Watch) -> impl Future<Output = ()> + Send + 'static {
    let watch = watch.clone();
    async move {
        while !watch.is_stopped() {
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }
}

/// Returns once whoever still waits for an answer has waited long enough.
async fn patience(watch: &Watch) {
    stopped(watch).await;
    tokio::time::sleep(LAST_ANSWERS).await;
}

/// Every place by its address; the door stands before all of them.
fn routes(desk: Arc<Desk>) -> Router {
    Router::new()
        .route("/", get(today::place))
        .route("/find", get(find::place))
        .route("/upload/{kind}", post(uploads::upload))
        .route("/leave/{file}", post(uploads::leave))
        .route("/add", get(add::place).post(add::begin))
        .route("/add/set-up", post(set_up::begin))
        .route("/asked", get(asked::place).post(asked::answer))
        .route("/work/{work}", get(told::place))
        .route("/work/{work}/events", get(told::events))
        .route("/work/{work}/stop", post(told::stop))
        .route("/work/{work}/file", get(told::file))
        .route("/work/{work}/document", get(told::document))
        .route("/work/{work}/paper", post(send::document))
        .route("/work/{work}/pack", post(sharing::confirm))
        .route("/work/{work}/store", post(add::store))
        .route("/work/{work}/again", post(add::again))
        .route("/work/{work}/leave", post(add::leave))
        .route("/player/{player}", get(player::place))
        .route("/player/{player}/progress", get(player::progress))
        .route("/player/{player}/progress/paper", post(send::progress))
        .route("/player/{player}/stored", post(player::stored))
        .route("/player/{player}/forget", get(forget::place).post(forget::forget))
        .route("/case/{case}", get(case::place))
        .route("/case/{case}/judge", post(case::judge))
        .route("/case/{case}/views", post(views::say))
        .route("/case/{case}/undo", post(case::undo))
        .route("/case/{case}/plan", get(plan::place).post(plan::record))
        .route("/plan/{plan}/card", get(send::card))
        .route("/plan/{plan}/follow-up", post(plan::follow_up))
        .route("/plan/{plan}/end", post(plan::end))
        .route("/plan/{plan}/practice", post(plan::practise))
        .route("/put-right/{item}", get(put_right::place))
        .route("/put-right/{item}/amend", post(amend::amend))
        .route("/put-right/{item}/move", post(amend::move_to))
        .route("/put-right/{item}/remove", post(amend::remove))
        .route("/put-right/{item}/undo", post(amend::undo))
        .route("/serve/{serve}", get(serve_place::place))
        .route("/serve/{serve}/review/{audience}", get(serve_place::review))
        .route("/serve/{serve}/review/{audience}/paper", post(send::review))
        .route("/serve/{serve}/bundle", post(send::bundle))
        .route("/serve/{serve}/spoken", get(spoken::parts))
        .route(
            "/serve/{serve}/spoken/part",
            post(spoken::part).layer(DefaultBodyLimit::max(spoken::STEPS_BYTES)),
        )
        .route("/serve/{serve}/spoken/back", post(spoken::back))
        .route("/serve/{serve}/spoken/make", post(spoken::make))
        .route("/serve/{serve}/spoken/{part}/steps", get(spoken::steps))
        .route("/serve/{serve}/spoken/{part}/voice", get(spoken::voice))
        .route("/serve/{serve}/moving", get(viewer::moving))
        .route("/serve/{serve}/moving/{beside}", get(viewer::moving_beside))
        .route("/serve/{serve}/ribbon/{channel}", get(viewer::ribbon))
        .route("/serve/{serve}/moment", post(hand::moment))
        .route("/serve/{serve}/draw", post(hand::draw))
        .route("/serve/{serve}/erase", post(hand::erase))
        .route("/serve/{serve}/undo", post(hand::undo))
        .route("/serve/{serve}/film", get(film::film))
        .route("/serve/{serve}/film/stop", post(film::stop))
        .route("/serve/{serve}/film/{size}", get(film::pictures))
        .route("/squads", get(squads::place).post(squads::report))
        .route("/records", get(records::place).post(records::read))
        .route("/records/past-records.csv", get(records::template))
        .route("/sharing", get(sharing::place).post(sharing::pack))
        .route("/sharing/key", post(sharing::key))
        .route("/sharing/look", post(sharing::look))
        .route("/sharing/{pack}/undo", post(sharing::undo))
        .route("/library", get(upkeep::place))
        .route("/library/check", post(upkeep::check))
        .route("/library/export", post(upkeep::export))
        .route("/library/retention", post(upkeep::keep))
        .route("/library/unsay", post(upkeep::unsay))
        .route("/catalogue", get(catalogue::place))
        .route("/catalogue/own", get(own::place).post(own::change))
        .route("/catalogue/fault/{fault}", get(catalogue::fault))
        .route("/catalogue/drill/{drill}", get(catalogue::drill))
        .route("/guide", get(guide::place))
        .route("/guide/{topic}", get(guide::topic))
        .route("/assets/{name}", get(assets::asset))
        .fallback(async || Refusal::NotHere("There is no such page.".to_owned()))
        .layer(DefaultBodyLimit::max(BODY_LIMIT_BYTES))
        .layer(middleware::from_fn_with_state(Arc::clone(&desk), door::guard))
        .with_state(desk)
}
