//! Who may come in, and what every answer carries.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, COOKIE, HOST, HeaderMap, HeaderName, HeaderValue,
    LOCATION, ORIGIN, REFERRER_POLICY, SET_COOKIE, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{Method, StatusCode, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use blake3::Hash;
use rand::RngCore;
use rand::rngs::OsRng;

use super::desk::Desk;
use super::refusal::Refusal;

/// What our own pages may load and do: their own script, style and pictures, nothing inline,
/// nothing from elsewhere.
const OWN_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    img-src 'self'; connect-src 'self'; frame-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'";
/// What a review may: its own style and the pictures inside it. It has no script, no form and no
/// origin, and only our pages may frame it.
pub(super) const DOCUMENT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; \
    img-src data:; form-action 'none'; frame-ancestors 'self'; base-uri 'none'; sandbox";
const FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");
/// Name of the word in the first address.
const KEY: &str = "key";

/// The one browser that may come in, and what it is known by.
pub(super) struct Door {
    host: String,
    origin: String,
    /// Cookies do not know ports: two pages at once must not take each other's.
    cookie: String,
    key: String,
    session: String,
    used: AtomicBool,
}

/// Says nothing of what lets a browser in.
impl std::fmt::Debug for Door {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Door").field("host", &self.host).finish_non_exhaustive()
    }
}

/// What the door says to a request.
enum Said {
    Welcome,
    /// The first address: the browser gets its cookie and the address without the key.
    First,
    Closed,
}

impl Door {
    pub(super) fn new(port: u16) -> Self {
        let host = format!("127.0.0.1:{port}");
        Self {
            origin: format!("http://{host}"),
            host,
            cookie: format!("precedent-{port}"),
            key: secret(),
            session: secret(),
            used: AtomicBool::new(false),
        }
    }

    pub(super) fn first_address(&self) -> String {
        format!("{}/?{KEY}={}", self.origin, self.key)
    }

    fn judge(&self, method: &Method, uri: &Uri, headers: &HeaderMap) -> Said {
        if !self.is_ours(method, uri, headers) {
            return Said::Closed;
        }
        let key = uri.query().and_then(|query| {
            form_urlencoded::parse(query.as_bytes()).find(|(name, _)| name == KEY)
        });
        let known =
            cookies(headers).any(|(name, value)| name == self.cookie && same(value, &self.session));
        match key {
            Some(_) if known && uri.path() == "/" => Said::First,
            Some((_, key)) if method == Method::GET && uri.path() == "/" => {
                let first = same(&key, &self.key) && !self.used.swap(true, Ordering::SeqCst);
                if first { Said::First } else { Said::Closed }
            }
            _ if known => Said::Welcome,
            _ => Said::Closed,
        }
    }

    /// Whether the request was made to this address, and by one of its own pages or by hand. Without
    /// that a page elsewhere could have the coach's browser ask in its name.
    fn is_ours(&self, method: &Method, uri: &Uri, headers: &HeaderMap) -> bool {
        let one = |name: &HeaderName| {
            let mut all = headers.get_all(name).iter();
            let first = all.next();
            if all.next().is_some() { Some(None) } else { first.map(|value| value.to_str().ok()) }
        };
        let host = one(&HOST) == Some(Some(&self.host));
        let authority = uri.authority().is_none_or(|found| found.as_str() == self.host);
        let origin = one(&ORIGIN);
        let from_here = origin.is_none_or(|origin| origin == Some(&self.origin));
        let site = one(&FETCH_SITE);
        let own_site = site.is_none_or(|site| matches!(site, Some("same-origin" | "none")));
        // A change is asked for by a page of ours, and a browser says so.
        let reads = matches!(*method, Method::GET | Method::HEAD);
        let asked = reads || origin.is_some() || site == Some(Some("same-origin"));
        host && authority && from_here && own_site && asked
    }
}

fn secret() -> String {
    let mut bytes = [0_u8; 32];
    OsRng.fill_bytes(&mut bytes);
    Hash::from_bytes(bytes).to_hex().to_string()
}

/// Whether two secrets are equal, in the same time wherever they differ.
fn same(one: &str, other: &str) -> bool {
    blake3::hash(one.as_bytes()) == blake3::hash(other.as_bytes())
}

fn cookies(headers: &HeaderMap) -> impl Iterator<Item = (&str, &str)> {
    let lines = headers.get_all(COOKIE).iter().filter_map(|line| line.to_str().ok());
    lines.flat_map(|line| line.split(';')).filter_map(|one| one.trim().split_once('='))
}

/// Lets a request in or not, and seals whatever is answered.
pub(super) async fn guard(State(desk): State<Arc<Desk>>, request: Request, next: Next) -> Response {
    let door = &desk.door;
    let mut response = match door.judge(request.method(), request.uri(), request.headers()) {
        Said::Welcome => next.run(request).await,
        Said::First => {
            let cookie =
                format!("{}={}; Path=/; HttpOnly; SameSite=Strict", door.cookie, door.session);
            (StatusCode::SEE_OTHER, [(LOCATION, "/"), (SET_COOKIE, cookie.as_str())])
                .into_response()
        }
        Said::Closed => Refusal::Closed.into_response(),
    };
    seal(response.headers_mut());
    response
}

fn seal(headers: &mut HeaderMap) {
    headers.entry(CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(OWN_POLICY));
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    // Not "no-referrer": with that a browser hides the origin of our own forms, too.
    headers.insert(REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    // The microphone is for the spoken review, and for our own pages alone.
    headers.insert(
        HeaderName::from_static("permissions-policy"),
        HeaderValue::from_static(
            "microphone=(self), camera=(), geolocation=(), display-capture=(), usb=(), serial=()",
        ),
    );
    headers.insert(
        HeaderName::from_static("cross-origin-opener-policy"),
        HeaderValue::from_static("same-origin"),
    );
    headers.insert(
        HeaderName::from_static("cross-origin-resource-policy"),
        HeaderValue::from_static("same-origin"),
    );
}
