//! What goes to a player in one file, read back by others: `zip`, `pdfinfo`, `ffprobe`, `ffmpeg`.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/film.rs"]
mod film;
#[path = "support/render.rs"]
mod render;
#[path = "support/skip.rs"]
mod skip;

use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;
use std::process::Command;

use desk::Desk;
use film::{Shot, film, ready, serve};
use precedent::library::Level;
use precedent::motion::Side;
use precedent::simulator::{Ask, Body, Fault, Server};

/// Every entry of the bundle by its name.
fn entries(path: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut archive = zip::ZipArchive::new(std::fs::File::open(path).unwrap()).unwrap();
    let mut all = BTreeMap::new();
    for at in 0..archive.len() {
        let mut entry = archive.by_index(at).unwrap();
        let name = entry.name().unwrap().into_owned();
        assert!(entry.enclosed_name().is_some(), "{name}");
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).unwrap();
        all.insert(name, bytes);
    }
    all
}

/// Nothing in a document is fetched from anywhere, on opening or on a tap.
fn points_nowhere(name: &str, html: &str) {
    // The name of SVG is written as an address and fetched by nobody.
    let html = html.replace("http://www.w3.org/2000/svg", "");
    for scheme in ["http:", "https:", "ftp:", "ws:", "wss:", "file:", "//fonts", "@import"] {
        assert!(!html.contains(scheme), "{name} holds {scheme}");
    }
    for attribute in ["src=\"", "href=\"", "url(", "action=\""] {
        for (_, rest) in
            html.match_indices(attribute).map(|(at, found)| (at, &html[at + found.len()..]))
        {
            let start = rest.trim_start_matches(['"', '\'']);
            let inside = start.starts_with("data:") || start.starts_with('#');
            assert!(inside, "{name}: {attribute}{}", &rest[..rest.len().min(40)]);
        }
    }
}

/// What `ffprobe` says of a clip: one line a stream.
fn streams(clip: &Path) -> String {
    let entries = "stream=codec_name,codec_type,width,height,pix_fmt,avg_frame_rate";
    let output = Command::new("ffprobe")
        .args(["-v", "error", "-show_entries", entries, "-of", "csv=p=0"])
        .arg(clip)
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap().trim().to_owned()
}

/// The first picture of a clip, as RGB.
fn first_picture(clip: &Path) -> Vec<u8> {
    let output = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(clip)
        .args(["-frames:v", "1", "-f", "rawvideo", "-pix_fmt", "rgb24", "-"])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

fn plays_on_a_phone(desk: &Desk, clip: &[u8]) -> Vec<u8> {
    let file = desk.at("from-the-bundle.mp4");
    std::fs::write(&file, clip).unwrap();
    assert_eq!(streams(&file), "h264,video,1280,720,yuv420p,30/1");
    // The index comes first, so that it plays while it still arrives (ISO/IEC 14496-12: boxes).
    let at = |name: &[u8]| clip.windows(4).position(|four| four == name).unwrap();
    assert!(at(b"moov") < at(b"mdat"));
    let picture = first_picture(&file);
    assert_eq!(picture.len(), 1280 * 720 * 3);
    picture
}

/// Share of a half's corner, between the words above and below, that is bare paper (#fbfaf6, as
/// shared/LOOK.md has it; the codec may be off by a little).
fn paper(picture: &[u8], right: bool) -> f64 {
    let left = if right { 650 } else { 4 };
    let corner = (80..140).flat_map(|y| (left..left + 60).map(move |x| (y * 1280 + x) * 3));
    let is_paper = |at: usize| {
        picture[at..at + 3]
            .iter()
            .zip([0xfb, 0xfa, 0xf6])
            .all(|(&a, b): (&u8, u8)| a.abs_diff(b) < 8)
    };
    corner.filter(|&at| is_paper(at)).count() as f64 / 3600.0
}

#[test]
fn a_bundle_opens_by_itself_and_shows_nobody_else() {
    let desk = Desk::stocked();
    let plan = ["plan", "c1", "--fault", "shallow_leg_drive", "--drill", "land_inside=3 x 8"];
    desk.expect(0, &[&plan[..], &["--start", "2026-03-15", "--sure"]].concat());
    let (_, err) = desk.expect(0, &["review", "s1", "--bundle", "out.zip"]);
    assert!(err.contains("wrote out.zip: read-me.txt, review.html, review.pdf"), "{err}");
    let all = entries(&desk.at("out.zip"));
    let names: Vec<&str> = all.keys().map(String::as_str).collect();
    let expected = ["practice-card.html", "read-me.txt", "review.html", "review.pdf", "serve.mp4"];
    assert_eq!(names, expected);
    for (name, bytes) in &all {
        if let Ok(text) = std::str::from_utf8(bytes) {
            assert!(
                !text.contains("dunlin") && !text.contains("knot"),
                "{name} names another player"
            );
            if name.ends_with(".html") {
                points_nowhere(name, text);
            }
        }
    }
    let readme = std::str::from_utf8(&all["read-me.txt"]).unwrap();
    for said in ["Open review.html", "that of a player who served like you", "clinician"] {
        assert!(readme.contains(said), "'{said}' is missing:\n{readme}");
    }
    // What is sent is what the coach sees alone.
    desk.expect(0, &["review", "s1", "-o", "review.html"]);
    assert_eq!(all["review.html"], std::fs::read(desk.at("review.html")).unwrap());
    std::fs::write(desk.at("review.pdf"), &all["review.pdf"]).unwrap();
    let info = Command::new("pdfinfo").arg(desk.at("review.pdf")).output().unwrap();
    let info = String::from_utf8(info.stdout).unwrap();
    assert!(
        info.contains("Pages:           1\n") || info.contains("Pages:           2\n"),
        "{info}"
    );
    // Markers have no picture: both are drawn.
    let picture = plays_on_a_phone(&desk, &all["serve.mp4"]);
    assert!(paper(&picture, false) > 0.95 && paper(&picture, true) > 0.95);
}

#[test]
fn what_cannot_be_made_is_left_out_and_said() {
    let desk = Desk::stocked();
    let run = desk
        .command(&["review", "s1", "--bundle", "out.zip"])
        .env("PATH", desk.at("no-commands-here"))
        .env("PRECEDENT_BROWSER", "")
        .output()
        .unwrap();
    let err = String::from_utf8(run.stderr).unwrap();
    assert_eq!(run.status.code(), Some(0), "{err}");
    assert!(err.contains("no review.pdf: a PDF is printed by a browser"), "{err}");
    assert!(err.contains("no serve.mp4: video needs the command 'ffmpeg'"), "{err}");
    let all = entries(&desk.at("out.zip"));
    assert_eq!(all.keys().collect::<Vec<_>>(), ["read-me.txt", "review.html"]);
    let readme = std::str::from_utf8(&all["read-me.txt"]).unwrap();
    assert!(!readme.contains(".pdf") && !readme.contains(".mp4"), "{readme}");
}

/// Planted: two players filmed in front of a wall that is not paper.
#[test]
fn only_the_players_own_pictures_are_in_it() {
    if !ready() {
        return;
    }
    let desk = Desk::new();
    let server =
        |seed: u64| Server::drawn(Body::new(1.76, 1.0, 1.0), Side::Right, Level::Competition, seed);
    let mut serves = Vec::new();
    for (name, player, seed, date) in
        [("first.mp4", "dunlin", 41, "2026-03-14"), ("second.mp4", "ruff", 43, "2026-03-15")]
    {
        let ask = Ask { faults: vec![(Fault::ShallowLegDrive, 0.8)], ..Ask::default() };
        let shot = Shot::small(90.0);
        film(&shot, &serve(&server(seed), &ask, shot.rate_hz).0, &desk.at(name));
        let all = ["add", name, "--player", player, "--date", date, "--view", "side"];
        let (out, _) = desk.expect(0, &[&all[..], &["--consent", "keep"]].concat());
        serves.push(out.split(": ").last().unwrap().trim().to_owned());
    }
    let bundle = |desk: &Desk| {
        let (_, err) = desk.expect(0, &["review", &serves[1], "--bundle", "out.zip"]);
        let clip = entries(&desk.at("out.zip")).remove("serve.mp4").unwrap();
        (plays_on_a_phone(desk, &clip), err)
    };
    let (picture, err) = bundle(&desk);
    assert!(!err.contains("drawn in"), "{err}");
    assert!(paper(&picture, false) < 0.05, "the player's own picture is missing");
    assert!(paper(&picture, true) > 0.95, "another player's picture is in it");
    // The clip is gone: drawn, and said.
    std::fs::remove_file(desk.at("second.mp4")).unwrap();
    let (picture, err) = bundle(&desk);
    assert!(err.contains("is drawn in serve.mp4: the clip is not where it was"), "{err}");
    assert!(paper(&picture, false) > 0.95);
}
