//! Requests to the coach's page, over a socket as a browser sends them.

use std::cell::RefCell;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::thread::JoinHandle;
use std::time::Duration;

use precedent::page::{Server, Settings};
use precedent::work::Watch;
use tempfile::TempDir;

use super::library;

/// A page that answers, and what its one browser is known by.
struct Open {
    /// Requests so far.
    asked: usize,
    watch: Watch,
    serving: Option<JoinHandle<()>>,
    _folder: TempDir,
    host: String,
    cookie: String,
}

/// Requests after which the page is opened anew on a whole library: what a long run adds would make every
/// answer longer.
const MOST_ASKED: usize = 8192;

impl Drop for Open {
    fn drop(&mut self) {
        self.watch.stop();
        if let Some(serving) = self.serving.take() {
            assert!(serving.join().is_ok() || std::thread::panicking(), "the page broke down");
        }
    }
}

thread_local! {
    static PAGE: RefCell<Open> = RefCell::new(open());
}

fn open() -> Open {
    let (folder, library) = library();
    drop(library);
    let settings = Settings { library: folder.path().to_owned(), coach: "ash".to_owned(), port: 0 };
    let server = Server::bind(&settings).unwrap();
    let address = server.address();
    let watch = Watch::default();
    let serving = Some(std::thread::spawn({
        let watch = watch.clone();
        move || server.run(&watch).unwrap()
    }));
    let (host, key) = address.strip_prefix("http://").unwrap().split_once('/').unwrap();
    let request = format!("GET /{key} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
    let answer = exchange(host, request.as_bytes(), WHOLE).unwrap();
    let answer = String::from_utf8(answer).unwrap();
    let cookie = answer.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    Open {
        host: host.to_owned(),
        cookie: cookie.split(';').next().unwrap().to_owned(),
        asked: 0,
        watch,
        serving,
        _folder: folder,
    }
}

/// How long a whole request is waited for.
const WHOLE: Duration = Duration::from_secs(10);
/// How long for one that may never be whole.
const PERHAPS: Duration = Duration::from_millis(200);

/// What comes back, as far as it comes with no longer pause than that.
fn exchange(host: &str, request: &[u8], pause: Duration) -> std::io::Result<Vec<u8>> {
    let mut stream = TcpStream::connect(host)?;
    stream.set_read_timeout(Some(pause))?;
    // Whoever is turned away early need not take the rest.
    let _ = stream.write_all(request);
    let mut answer = Vec::new();
    let mut part = [0; 1 << 14];
    loop {
        match stream.read(&mut part) {
            Ok(0) | Err(_) => return Ok(answer),
            Ok(read) => answer.extend_from_slice(&part[..read]),
        }
        if answer.len() > 1 << 24 {
            return Ok(answer);
        }
    }
}

/// What an input changes, the next one meets.
///
/// `METHOD /path?query`, then the body, from the browser that was let in; bytes that begin with `RAW `
/// go to the socket as they are, from somebody who was not.
pub(super) fn request(bytes: &[u8]) {
    PAGE.with_borrow_mut(|page| {
        if page.asked == MOST_ASKED {
            *page = open();
        }
        page.asked += 1;
        match bytes.strip_prefix(b"RAW ") {
            Some(raw) => stranger(page, raw),
            None => browser(page, bytes),
        }
    });
}

/// Nobody gets in without the cookie, which no input knows.
fn stranger(page: &Open, raw: &[u8]) {
    let answer = exchange(&page.host, raw, PERHAPS).unwrap();
    let status = status(&answer);
    assert!(status.is_none_or(|status| status >= 400), "a stranger was let in: {status:?}");
}

fn browser(page: &Open, bytes: &[u8]) {
    let cut = bytes.iter().position(|&byte| byte == b'\n').unwrap_or(bytes.len());
    let (line, body) = (&bytes[..cut], bytes.get(cut + 1..).unwrap_or_default());
    let Open { host, cookie, .. } = page;
    let mut request = line.to_vec();
    let head = format!(
        " HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nOrigin: http://{host}\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\
         Connection: close\r\n\r\n",
        body.len()
    );
    request.extend_from_slice(head.as_bytes());
    request.extend_from_slice(body);
    let answer = exchange(host, &request, WHOLE).unwrap();
    if let Some(status) = status(&answer) {
        let head = String::from_utf8_lossy(&answer[..answer.len().min(2000)]);
        assert!(status != 500, "the page broke: {head}");
        // What the server itself turns away never reached the page.
        if status != 400 && status != 431 {
            assert!(head.contains("content-security-policy: default-src 'none'"), "{head}");
        }
    }
}

fn status(answer: &[u8]) -> Option<u16> {
    let line = answer.strip_prefix(b"HTTP/1.1 ").or_else(|| answer.strip_prefix(b"HTTP/1.0 "))?;
    std::str::from_utf8(line.get(..3)?).ok()?.parse().ok()
}
