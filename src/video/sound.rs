//! The sound of a clip, and the hit in it.
//!
//! A hit is short and bright: within a few milliseconds its high notes stand far above what was
//! there before, and soon after they are gone. Speech and wind lack the sharp beginning or last
//! longer. Two such sounds of about one strength near the joints' contact are nobody's: then nothing
//! was heard.

use std::path::Path;
use std::process::Command;

use super::decode::{LISTING, MOST_MEMORY, hold_to_limits};
use super::errors::ClipError;
use super::probe::{argument, missing_or};
use crate::process::{Ended, Limits, run};
use crate::work::Watch;

/// Samples a second the sound is brought to.
const RATE_HZ: usize = 16_000;
/// Samples in a millisecond, the grid on which strength is taken.
const MS: usize = RATE_HZ / 1000;
/// What was there before, milliseconds: up to here and so long.
const BEFORE_MS: std::ops::Range<usize> = 5..80;
/// A hit is at its strongest so soon, milliseconds.
const RISE_MS: usize = 5;
/// By then it has faded, milliseconds after it began.
const FADED_MS: std::ops::Range<usize> = 35..65;
/// Power of a hit over what was there before, and over what is left of it then (our estimates).
const OVER_BEFORE: f64 = 100.0;
const OVER_LEFT: f64 = 10.0;
/// Another sound that comes nearer to the strongest than this share of its power leaves it open
/// which of them was the hit.
const RIVAL: f64 = 0.25;
/// Sounds closer together than this are one, milliseconds.
const ONE_SOUND_MS: usize = 25;

/// One channel of a clip's sound, on the clock of its picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Sound {
    /// 16,000 samples a second from time 0, each -1 to 1.
    samples: Vec<f32>,
}

impl Sound {
    /// The sound of a clip; `None` where it has none that can be decoded.
    ///
    /// Memory: 64 kB a second of the clip.
    ///
    /// # Errors
    /// [`ClipError::NoDecoder`]; [`ClipError::Stopped`].
    pub fn of_clip(path: &Path, watch: &Watch) -> Result<Option<Self>, ClipError> {
        let mut command = Command::new("ffmpeg");
        command.args(["-v", "error", "-nostdin"]);
        hold_to_limits(&mut command);
        command
            .args(["-copyts", "-i"])
            .arg(argument(path))
            // Silence stands for what is missing, so that a sample's number is its time.
            .args(["-map", "0:a:0", "-vn", "-ac", "1", "-af"])
            .arg(format!("aresample={RATE_HZ}:async=1:first_pts=0"))
            .args(["-f", "s16le", "-"]);
        let limits = Limits { time: Some(LISTING), memory: Some(MOST_MEMORY) };
        let ended = run(&mut command, limits, watch);
        let done = match ended.map_err(|error| missing_or(path, "ffmpeg", &error))? {
            Ended::Itself(output) => output,
            Ended::Stopped(stopped) => return Err(ClipError::stopped(path)(stopped)),
            Ended::TooLong => return Ok(None),
        };
        let (pairs, _) = done.stdout.as_chunks::<2>();
        let samples: Vec<f32> =
            pairs.iter().map(|pair| f32::from(i16::from_le_bytes(*pair)) / 32_768.0).collect();
        Ok((!samples.is_empty()).then_some(Self { samples }))
    }

    /// These samples from time 0.
    #[cfg(test)]
    pub(crate) fn of_samples(samples: Vec<f32>) -> Self {
        Self { samples }
    }

    /// When the hit is heard, s, of a ball that is struck within `within_s` of `near_s`; `None` where
    /// nothing sounds like one, or more than one thing does.
    #[must_use]
    pub fn hit(&self, near_s: f64, within_s: f64) -> Option<f64> {
        let ms = |time_s: f64| (1000.0 * time_s).max(0.0) as usize;
        // Room for what was before and what is left after.
        let first = ms(near_s - within_s).saturating_sub(BEFORE_MS.end);
        let last = ms(near_s + within_s) + FADED_MS.end + 1;
        let bright = self.bright(first * MS, last * MS);
        let power: Vec<f64> = bright
            .chunks_exact(MS)
            .map(|part| part.iter().map(|y| y * y).sum::<f64>() + 1e-12)
            .collect();
        let wanted = ms(near_s - within_s)..=ms(near_s + within_s);
        let mut sounds: Vec<(f64, usize)> = (BEFORE_MS.end..power.len())
            .filter(|at| wanted.contains(&(first + at)))
            .filter_map(|at| Some((hit_power(&power, at)?, at)))
            .collect();
        sounds.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let &(strongest, at) = sounds.first()?;
        let rival = sounds
            .iter()
            .any(|&(power, other)| other.abs_diff(at) > ONE_SOUND_MS && power > RIVAL * strongest);
        if rival {
            return None;
        }
        // It begins where it first comes to a quarter of its height.
        let from = at.saturating_sub(RISE_MS) * MS;
        let part = &bright[from..((at + RISE_MS) * MS).min(bright.len())];
        let highest = part.iter().map(|y| y.abs()).fold(0.0, f64::max);
        let begins = part.iter().position(|y| y.abs() >= 0.25 * highest)?;
        Some((first * MS + from + begins) as f64 / RATE_HZ as f64)
    }

    /// The high notes between two samples: second differences, which let a note through by the
    /// square of its pitch.
    fn bright(&self, from: usize, to: usize) -> Vec<f64> {
        let sample = |at: usize| self.samples.get(at).copied().map_or(0.0, f64::from);
        let to = to.min(self.samples.len());
        (from.min(to)..to)
            .map(|at| sample(at) - 2.0 * sample(at.wrapping_sub(1)) + sample(at.wrapping_sub(2)))
            .collect()
    }
}

/// The power of a hit that begins about this millisecond; `None` where none does.
fn hit_power(power: &[f64], at: usize) -> Option<f64> {
    let mut before = power.get(at - BEFORE_MS.end..at - BEFORE_MS.start)?.to_vec();
    before.sort_by(f64::total_cmp);
    let usual = before[before.len() / 2];
    let loudest_before = before[before.len() - 1];
    let peak = power.get(at..at + RISE_MS)?.iter().copied().fold(0.0, f64::max);
    let left = power.get(at + FADED_MS.start..at + FADED_MS.end)?;
    let left = left.iter().sum::<f64>() / left.len() as f64;
    let is_hit = peak >= OVER_BEFORE * usual
        && peak >= OVER_LEFT * loudest_before
        && peak >= OVER_LEFT * left;
    is_hit.then_some(peak)
}

#[cfg(test)]
mod tests {
    use rand::Rng;

    use super::*;
    use crate::simulator::chance;

    /// Invented sounds, planted: seconds of them at `RATE_HZ`.
    struct Court {
        samples: Vec<f32>,
        chance: crate::simulator::Chance,
    }

    impl Court {
        fn new(seconds: f64, seed: u64) -> Self {
            let samples = vec![0.0; (seconds * RATE_HZ as f64) as usize];
            Self { samples, chance: chance(seed, 0) }
        }

        fn add(&mut self, from_s: f64, last_s: f64, of: impl Fn(f64, f64) -> f64) {
            let from = (from_s * RATE_HZ as f64).round() as usize;
            let count = (last_s * RATE_HZ as f64) as usize;
            for n in 0..count {
                let noise = self.chance.gen_range(-1.0..1.0);
                if let Some(sample) = self.samples.get_mut(from + n) {
                    *sample += of(n as f64 / RATE_HZ as f64, noise) as f32;
                }
            }
        }

        /// A hit: noise and a ring of strings, gone within some 15 ms.
        fn hit(&mut self, at_s: f64, loud: f64) {
            self.add(at_s, 0.2, |t, noise| {
                let ring = (std::f64::consts::TAU * 3100.0 * t).sin();
                loud * (0.6 * noise + 0.4 * ring) * (-t / 0.006).exp()
            });
        }

        /// Gusts: low noise that comes and goes.
        fn wind(&mut self, loud: f64) {
            let mut low = 0.0;
            for n in 0..self.samples.len() {
                low += 0.02 * (self.chance.gen_range(-1.0..1.0) - low);
                let gust = 1.0 + 0.8 * (n as f64 / RATE_HZ as f64 * 4.0).sin();
                self.samples[n] += (8.0 * loud * gust * low) as f32;
                self.samples[n] += (0.002 * self.chance.gen_range(-1.0..1.0)) as f32;
            }
        }

        /// Syllables: a voice of 140 Hz with its overtones, and a hiss between.
        fn speech(&mut self, from_s: f64, last_s: f64, loud: f64) {
            let mut at = from_s;
            while at < from_s + last_s {
                self.add(at, 0.18, |t, _| {
                    let swell = (std::f64::consts::PI * t / 0.18).sin();
                    let voice: f64 = (1..20)
                        .map(|k| {
                            let k = f64::from(k);
                            (std::f64::consts::TAU * 140.0 * k * t).sin() / k
                        })
                        .sum();
                    loud * swell * voice
                });
                self.add(at + 0.18, 0.12, |t, noise| {
                    0.3 * loud * noise * (std::f64::consts::PI * t / 0.12).sin()
                });
                at += 0.32;
            }
        }

        /// A racket through the air: a hiss that swells and fades within 0.15 s.
        fn swish(&mut self, at_s: f64, loud: f64) {
            self.add(at_s - 0.075, 0.15, |t, noise| {
                loud * noise * (std::f64::consts::PI * t / 0.15).sin().powi(2)
            });
        }

        fn heard(self, near_s: f64) -> Option<f64> {
            Sound { samples: self.samples }.hit(near_s, 0.2)
        }
    }

    #[test]
    fn a_planted_hit_is_heard_to_a_few_milliseconds_over_wind_speech_and_other_courts() {
        for seed in 0..40 {
            let mut court = Court::new(4.0, seed);
            let at_s = 2.0 + 0.001 * seed as f64;
            court.wind(0.05);
            court.speech(0.3, 3.2, 0.04);
            // The ball bounced before, and others play further away.
            for (other_s, loud) in [(0.9, 0.3), (1.35, 0.2), (2.9, 0.12), (1.93, 0.03)] {
                court.hit(other_s, loud);
            }
            court.swish(at_s, 0.03);
            court.hit(at_s, 0.6);
            // The joints are up to 0.15 s off.
            let near_s = at_s + 0.15 * (seed as f64).sin();
            let heard = court.heard(near_s);
            let off_s = heard.map(|heard| (heard - at_s).abs());
            assert!(off_s.is_some_and(|off| off <= 0.003), "seed {seed}: {heard:?}, {at_s}");
        }
    }

    #[test]
    fn a_practice_swing_is_not_heard_as_a_hit() {
        for seed in 0..40 {
            let mut court = Court::new(4.0, seed);
            court.wind(0.05);
            court.speech(0.3, 3.2, 0.05 + 0.01 * (seed % 10) as f64);
            court.swish(2.0, 0.2);
            // Other courts, before and after.
            court.hit(1.4, 0.15);
            court.hit(2.6, 0.15);
            assert_eq!(court.heard(2.0), None, "seed {seed}");
        }
    }

    #[test]
    fn two_hits_alike_or_none_say_nothing() {
        let mut court = Court::new(3.0, 1);
        court.wind(0.02);
        court.hit(1.45, 0.5);
        court.hit(1.6, 0.45);
        assert_eq!(court.heard(1.5), None);
        let mut calm = Court::new(3.0, 2);
        calm.wind(0.02);
        assert_eq!(calm.heard(1.5), None);
        assert_eq!(Court::new(0.01, 3).heard(1.5), None);
        assert_eq!(Sound { samples: Vec::new() }.hit(0.0, 0.2), None);
    }

    /// A film whose sound begins later than its picture: a hit at 1.25 s of the picture's clock.
    #[test]
    fn the_sound_of_a_clip_runs_on_the_clock_of_its_picture() {
        let folder = tempfile::TempDir::new().unwrap();
        let mut court = Court::new(1.5, 4);
        court.hit(0.75, 0.6);
        let mut wav = Vec::new();
        for sample in &court.samples {
            wav.extend(((sample * 32_000.0) as i16).to_le_bytes());
        }
        let (raw, film) = (folder.path().join("a.raw"), folder.path().join("a.mov"));
        std::fs::write(&raw, wav).unwrap();
        let made = Command::new("ffmpeg")
            .args(["-v", "error", "-f", "lavfi", "-i", "color=c=gray:s=64x64:r=30:d=2.5"])
            .args(["-itsoffset", "0.5", "-f", "s16le", "-ar", "16000", "-ac", "1", "-i"])
            .arg(&raw)
            .args(["-map", "0:v", "-map", "1:a", "-c:v", "mpeg4", "-c:a", "pcm_s16le"])
            .arg(&film)
            .status();
        if !made.is_ok_and(|status| status.success()) {
            crate::skip::skipped("ffmpeg is absent");
            return;
        }
        let watch = Watch::default();
        let sound = Sound::of_clip(&film, &watch).unwrap().expect("it has sound");
        let heard = sound.hit(1.2, 0.2).expect("a hit");
        assert!((heard - 1.25).abs() < 0.002, "{heard}");
        let silent = folder.path().join("b.mov");
        let made = Command::new("ffmpeg")
            .args(["-v", "error", "-f", "lavfi", "-i", "color=c=gray:s=64x64:r=30:d=1"])
            .args(["-c:v", "mpeg4"])
            .arg(&silent)
            .status();
        assert!(made.unwrap().success());
        assert_eq!(Sound::of_clip(&silent, &watch).unwrap(), None);
    }
}
