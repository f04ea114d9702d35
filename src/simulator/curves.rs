//! Large libraries of invented curves, for benchmarks.

use std::io::{self, Write};

use rand::Rng;
use rayon::prelude::*;

use super::body::{Body, Pose, column};
use super::chance::{Chance, chance, normal};
use super::fault::Fault;
use super::motion::ServeMotion;
use super::server::{Ask, Server};
use super::space::{V3, angle_deg, mix, norm, sub};
use crate::library::{Level, ServeType};
use crate::motion::{Joint, Side};
use crate::serve::{CORE_SET, CURVE_FRAMES, channels};
use crate::work::{Stage, Watch};

/// Serves of one player in a large library, in sessions of ten.
pub const SERVES_PER_PLAYER: usize = 50;
/// Serves per player moved through the whole body; the others vary between them.
const MOVED: usize = 4;
const CHANNELS: usize = 12;

/// `count` curves in the channel set [`CORE_SET`], player after player; shape
/// [`CURVE_FRAMES`] x 12 each, time first, already divided by the channels' fixed scales.
///
/// Each player has a body, a level, a hand, habits and up to two faults. Four serves per player
/// move the whole body, and their channels are read from the noiseless joints by the definitions
/// of [`channels`]; every other serve is a weighted mean of those four, weights drawn per
/// session and serve, plus two slow waves per channel of the size of ordinary serve-to-serve
/// spread (about 0.15 of a scale). So players are clusters, sessions are clusters within them,
/// and no two curves are equal. Same `seed`, same curves, whatever the number of threads.
///
/// Memory: one batch of players. Cost: about 2 ms per player.
pub fn curves(count: usize, seed: u64) -> impl Iterator<Item = Vec<f32>> {
    let players = count.div_ceil(SERVES_PER_PLAYER);
    let batch = 256;
    (0..players.div_ceil(batch))
        .flat_map(move |first| {
            let range = first * batch..((first + 1) * batch).min(players);
            range
                .into_par_iter()
                .map(|player| player_curves(seed, player as u64))
                .collect::<Vec<_>>()
        })
        .flatten()
        .take(count)
}

/// Writes `count` curves as one NPY array (format 1.0, little-endian `f4`, C order) of shape
/// `count` x [`CURVE_FRAMES`] x 12, telling `progress` how many are written.
///
/// # Errors
/// Whatever `out` reports.
pub fn write_npy(count: usize, seed: u64, mut out: impl Write, watch: &Watch) -> io::Result<()> {
    let shape = format!("({count}, {CURVE_FRAMES}, {CHANNELS})");
    let mut header =
        format!("{{'descr': '<f4', 'fortran_order': False, 'shape': {shape}, }}").into_bytes();
    // Magic, version and length take 10 bytes; the whole is padded to a multiple of 64.
    while (header.len() + 11) % 64 != 0 {
        header.push(b' ');
    }
    header.push(b'\n');
    out.write_all(b"\x93NUMPY\x01\x00")?;
    out.write_all(&(header.len() as u16).to_le_bytes())?;
    out.write_all(&header)?;
    let mut bytes = Vec::with_capacity(CURVE_FRAMES * CHANNELS * 4);
    for (number, curve) in curves(count, seed).enumerate() {
        bytes.clear();
        bytes.extend(curve.iter().flat_map(|value| value.to_le_bytes()));
        out.write_all(&bytes)?;
        watch.step(Stage::Serves, number + 1, count).map_err(io::Error::other)?;
    }
    out.flush()
}

fn player_curves(seed: u64, player: u64) -> Vec<Vec<f32>> {
    let mut chance = chance(seed ^ 0x00cu64.rotate_left(40), player);
    let moved = moved_curves(seed, player, &mut chance);
    let mut all = Vec::with_capacity(SERVES_PER_PLAYER);
    let mut session = [0.25f32; MOVED];
    for serve in 0..SERVES_PER_PLAYER {
        if serve % 10 == 0 {
            session = weights(&mut chance, [0.25; MOVED], 0.6);
        }
        let mix = weights(&mut chance, session, 0.25);
        let mut curve = vec![0f32; CURVE_FRAMES * CHANNELS];
        for (weight, base) in mix.iter().zip(&moved) {
            for (value, from) in curve.iter_mut().zip(base) {
                *value += weight * from;
            }
        }
        wave(&mut curve, &mut chance);
        all.push(curve);
    }
    all
}

/// Positive weights that sum to 1, around `centre`.
fn weights(chance: &mut Chance, centre: [f32; MOVED], spread: f64) -> [f32; MOVED] {
    let drawn = centre.map(|c| c * (spread * 2.0 * normal(chance)).exp() as f32);
    let sum: f32 = drawn.iter().sum();
    drawn.map(|each| each / sum)
}

/// Two slow waves per channel.
fn wave(curve: &mut [f32], chance: &mut Chance) {
    for channel in 0..CHANNELS {
        let (a, b) = (0.10 * normal(chance), 0.10 * normal(chance));
        let (fast, phase) = (chance.gen_range(1.0..2.5), chance.gen_range(0.0..1.0));
        for frame in 0..CURVE_FRAMES {
            let at = frame as f64 / (CURVE_FRAMES - 1) as f64;
            let slow = (std::f64::consts::PI * at).cos();
            let quick = (std::f64::consts::TAU * (fast * at + phase)).sin();
            curve[frame * CHANNELS + channel] += (a * slow + b * quick) as f32;
        }
    }
}

fn moved_curves(seed: u64, player: u64, chance: &mut Chance) -> Vec<Vec<f32>> {
    const LEVELS: [Level; 5] =
        [Level::Beginner, Level::Club, Level::Competition, Level::National, Level::Professional];
    let level = LEVELS[chance.gen_range(0..LEVELS.len())];
    let body = Body::new(
        chance.gen_range(1.45..1.95),
        chance.gen_range(0.97..1.03),
        chance.gen_range(0.97..1.03),
    );
    let server = Server::drawn(body, Side::Right, level, seed.wrapping_add(player << 8));
    let faults: Vec<(Fault, f64)> = (0..chance.gen_range(0..=2))
        .map(|_| {
            let fault = Fault::ALL[chance.gen_range(0..Fault::ALL.len())];
            (fault, chance.gen_range(0.3..1.0))
        })
        .collect();
    let serve_type = [ServeType::Flat, ServeType::Slice, ServeType::Kick][chance.gen_range(0..3)];
    (0..MOVED as u64)
        .map(|number| {
            let plan = server.plan(&Ask {
                faults: faults.clone(),
                serve_type,
                session: number,
                serve: number,
                variation: 1.2,
            });
            core_curve(&ServeMotion::new(&plan))
        })
        .collect()
}

/// The core channels of a noiseless motion, from the start of the toss to the finish.
fn core_curve(motion: &ServeMotion) -> Vec<f32> {
    let tempo = motion.tempo();
    let (start, contact) = (tempo.events_s[0], tempo.events_s[4]);
    let wrist_speed = |t: f64| {
        let at = |t: f64| motion.pose(t)[column(Joint::RightWrist)];
        norm(sub(at(t + 0.002), at(t - 0.002))) / 0.004
    };
    let slow = wrist_speed(contact - 0.02) / 5.0;
    let mut finish = contact + 0.1;
    while finish < tempo.seconds(5.5) && wrist_speed(finish) > slow {
        finish += 0.01;
    }
    let scales: Vec<f64> = channels(CORE_SET).iter().map(|channel| channel.scale).collect();
    let first = motion.pose(start);
    let stature = motion.body().stature_m;
    let mut values = Vec::with_capacity(CURVE_FRAMES * CHANNELS);
    for frame in 0..CURVE_FRAMES {
        let share = frame as f64 / (CURVE_FRAMES - 1) as f64;
        let pose = motion.pose(start + share * (finish - start));
        for (value, scale) in core_channels(&pose, &first, stature).iter().zip(&scales) {
            values.push((value / scale) as f32);
        }
    }
    values
}

/// The twelve core channels in their own units, as [`channels`] defines them.
fn core_channels(pose: &Pose, first: &Pose, stature: f64) -> [f64; CHANNELS] {
    use Joint::{
        LeftAnkle, LeftElbow, LeftHip, LeftKnee, LeftShoulder, LeftWrist, RightAnkle, RightElbow,
        RightHip, RightKnee, RightShoulder, RightWrist,
    };
    let of = |pose: &Pose, joint: Joint| pose[column(joint)];
    let at = |joint: Joint| of(pose, joint);
    let flexion = |a, b, c| 180.0 - angle_deg(sub(at(a), at(b)), sub(at(c), at(b)));
    let hips = mix(at(LeftHip), at(RightHip), 0.5);
    let trunk = sub(mix(at(LeftShoulder), at(RightShoulder), 0.5), hips);
    let elevation = |shoulder, elbow| 180.0 - angle_deg(sub(at(elbow), at(shoulder)), trunk);
    // Opening to the net is a turn to the left seen from above for a right-hander.
    let heading = |pose: &Pose, left, right| {
        let line: V3 = sub(of(pose, right), of(pose, left));
        line[1].atan2(line[0]).to_degrees()
    };
    let turn = |left, right| {
        let turned = heading(pose, left, right) - heading(first, left, right);
        // Never more than a half turn from the stance.
        (turned + 540.0).rem_euclid(360.0) - 180.0
    };
    [
        flexion(LeftHip, LeftKnee, LeftAnkle),
        flexion(RightHip, RightKnee, RightAnkle),
        trunk[1].atan2(trunk[2]).to_degrees(),
        (-trunk[0]).atan2(trunk[2]).to_degrees(),
        turn(LeftHip, RightHip),
        turn(LeftShoulder, RightShoulder),
        elevation(RightShoulder, RightElbow),
        flexion(RightShoulder, RightElbow, RightWrist),
        (at(RightWrist)[2] - hips[2]) / stature,
        elevation(LeftShoulder, LeftElbow),
        flexion(LeftShoulder, LeftElbow, LeftWrist),
        (at(LeftWrist)[2] - hips[2]) / stature,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn curves_repeat_are_finite_and_cluster_by_player() {
        let all: Vec<_> = curves(120, 9).collect();
        assert_eq!(all, curves(120, 9).collect::<Vec<_>>());
        assert_eq!(all.len(), 120);
        assert!(all.iter().all(|curve| curve.len() == CURVE_FRAMES * CHANNELS));
        assert!(all.iter().flatten().all(|value| value.is_finite() && value.abs() < 40.0));
        let apart =
            |a: &[f32], b: &[f32]| -> f32 { a.iter().zip(b).map(|(x, y)| (x - y) * (x - y)).sum() };
        let (mut within, mut between) = (0.0, 0.0);
        for i in 0..50 {
            within += apart(&all[i], &all[(i + 1) % 50]);
            between += apart(&all[i], &all[50 + i]);
        }
        assert!(4.0 * within < between, "seed 9: within {within}, between {between}");
    }

    #[test]
    fn an_npy_file_starts_and_ends_as_the_format_says() {
        let mut bytes = Vec::new();
        write_npy(3, 1, &mut bytes, &Watch::default()).expect("memory");
        assert_eq!(&bytes[..8], b"\x93NUMPY\x01\x00");
        let header = usize::from(u16::from_le_bytes([bytes[8], bytes[9]]));
        assert_eq!((10 + header) % 64, 0);
        assert_eq!(bytes.len(), 10 + header + 3 * CURVE_FRAMES * CHANNELS * 4);
        let text = String::from_utf8_lossy(&bytes[10..10 + header]);
        assert!(text.contains("'shape': (3, 101, 12)"), "{text}");
    }
}
