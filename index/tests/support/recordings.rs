//! Curves of real movements: people acting serves, throws, swings and waves before a depth sensor.
//!
//! Source: MSR Action3D, W. Li, Z. Zhang, Z. Liu, CVPR Workshops 2010; read where it lies beside the project,
//! never copied. A frame is 20 lines of x, y, z (m) and a confidence; 15 frames a second.

use std::path::Path;

use super::skip::skipped;

/// Frames and channels of the curves made.
pub(crate) const FRAMES: usize = 101;
pub(crate) const CHANNELS: usize = 12;

const JOINTS: usize = 20;
/// Elbows and wrists, counted from 0 ...
const ARMS: [usize; 4] = [7, 8, 9, 10];
/// ... relative to the middle of the hips.
const HIPS: usize = 6;
/// Frames of the windows that are cut out of a take and brought to [`FRAMES`].
const WINDOWS: [usize; 4] = [16, 20, 24, 28];

/// One file.
pub(crate) struct Take {
    /// Its name, as `serve_p01_t02`: movement, person, take.
    pub(crate) name: String,
    /// Per frame the place of [`ARMS`].
    frames: Vec<[f32; CHANNELS]>,
}

/// All takes, in order of their names, or `None` where the folder is not there; then that is said.
pub(crate) fn takes() -> Option<Vec<Take>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/recordings/depth-sensor");
    let Ok(files) = std::fs::read_dir(&folder) else {
        skipped("the recordings of the depth sensor are not beside the project");
        return None;
    };
    let mut takes: Vec<Take> = files.map(|file| read(&file.unwrap().path())).collect();
    takes.sort_by(|a, b| a.name.cmp(&b.name));
    assert!(takes.len() >= 20, "{} takes", takes.len());
    Some(takes)
}

fn read(path: &Path) -> Take {
    let text = std::fs::read_to_string(path).unwrap();
    let lines: Vec<[f32; 4]> = text
        .lines()
        .map(|line| {
            let numbers: Vec<f32> = line.split_whitespace().map(|n| n.parse().unwrap()).collect();
            numbers.try_into().unwrap_or_else(|_| panic!("{}: {line}", path.display()))
        })
        .collect();
    assert_eq!(lines.len() % JOINTS, 0, "{}", path.display());
    let place = |joints: &[[f32; 4]]| {
        std::array::from_fn(|at| joints[ARMS[at / 3]][at % 3] - joints[HIPS][at % 3])
    };
    let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
    Take { name, frames: lines.chunks_exact(JOINTS).map(place).collect() }
}

impl Take {
    /// Every window as a curve, values between frames on a line.
    pub(crate) fn curves(&self) -> Vec<Vec<f32>> {
        let mut curves = Vec::new();
        for window in WINDOWS.iter().flat_map(|&len| self.frames.windows(len)) {
            let mut values = Vec::with_capacity(FRAMES * CHANNELS);
            for frame in 0..FRAMES {
                let at = frame as f32 * (window.len() - 1) as f32 / (FRAMES - 1) as f32;
                let before = (at as usize).min(window.len() - 2);
                let share = at - before as f32;
                let (from, to) = (&window[before], &window[before + 1]);
                values.extend((0..CHANNELS).map(|c| from[c] + share * (to[c] - from[c])));
            }
            curves.push(values);
        }
        curves
    }
}
