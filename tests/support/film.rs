//! The demo's generated body filmed: a shaded figure in a clip whose truth is known.
#![allow(dead_code, reason = "each test file uses its part")]

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use precedent::library::Level;
use precedent::motion::{Recording, Side};
use precedent::simulator::{Ask, Body, Sensor, SensorKind, Server, Truth, record_serve};
use precedent::video::{ModelChoice, installed};

use crate::render::{Camera, Set};

/// Sub-frames drawn per frame; the shutter is open for the first half of them.
pub(crate) const SUB: usize = 8;

/// Standing height of the plain player, m.
pub(crate) const STATURE_M: f64 = 1.80;

/// How a serve is filmed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shot {
    pub(crate) around_deg: f64,
    pub(crate) rate_hz: f64,
    /// The plain player's stature over the picture's height.
    pub(crate) size: f64,
    pub(crate) blur: bool,
    /// Pixels across and down.
    pub(crate) picture: [usize; 2],
}

impl Shot {
    /// A quick one for tests: the picture is small, the figure in it is not.
    pub(crate) fn small(around_deg: f64) -> Self {
        Self { around_deg, rate_hz: 30.0, size: 0.5, blur: false, picture: [288, 512] }
    }

    pub(crate) fn camera(&self) -> Camera {
        let [width, height] = self.picture;
        Camera {
            width,
            height,
            around_deg: self.around_deg,
            pixels_per_m: self.size * height as f64 / STATURE_M,
        }
    }
}

/// A right-hander without personal departures.
pub(crate) fn plain() -> Server {
    Server::plain(Body::new(STATURE_M, 1.0, 1.0), Side::Right, Level::National)
}

/// One serve of `server` at [`SUB`] times the rate, for drawing, with its truth.
pub(crate) fn serve(server: &Server, ask: &Ask, rate_hz: f64) -> (Recording, Truth) {
    let sensor = Sensor {
        noise_m: 0.0,
        rate_hz: rate_hz * SUB as f64,
        ..Sensor::usual(SensorKind::Markers)
    };
    record_serve(&server.serve(ask), &sensor, 1)
}

/// The frame of `body` behind a frame of the clip.
pub(crate) fn sub_frame(frame: usize) -> usize {
    frame * SUB + 2
}

/// Writes the clip of `body`, which [`serve`] gave.
pub(crate) fn film(shot: &Shot, body: &Recording, path: &Path) {
    let set = Set::new(shot.camera());
    let [width, height] = shot.picture;
    let mut ffmpeg = Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s"])
        .arg(format!("{width}x{height}"))
        .args(["-r", &shot.rate_hz.to_string(), "-i", "-", "-c:v", "libx264", "-crf", "20"])
        .args(["-preset", "veryfast", "-pix_fmt", "yuv420p"])
        .arg(path)
        .stdin(Stdio::piped())
        .spawn()
        .unwrap();
    let mut pipe = ffmpeg.stdin.take().unwrap();
    let subs: &[usize] = if shot.blur { &[0, 1, 2, 3] } else { &[1] };
    let share = subs.len() as f32;
    for frame in 0..body.frames() / SUB {
        let mut light = set.draw(body, frame * SUB + subs[0]);
        for sub in &subs[1..] {
            for (total, more) in light.iter_mut().zip(set.draw(body, frame * SUB + sub)) {
                for k in 0..3 {
                    total[k] += more[k];
                }
            }
        }
        let bytes: Vec<u8> = light.iter().flatten().map(|v| (v / share).round() as u8).collect();
        pipe.write_all(&bytes).unwrap();
    }
    drop(pipe);
    assert!(ffmpeg.wait().unwrap().success());
}

/// Whether the networks are here; said where they are not.
pub(crate) fn ready() -> bool {
    match installed(ModelChoice::Full) {
        Ok(_) => true,
        Err(error) => {
            crate::skip::skipped(error);
            false
        }
    }
}
