//! Reading the archive's `.ts` text files, and the 1-nearest-neighbour error.

use std::num::NonZeroUsize;
use std::path::Path;

use anyhow_free::Context;
use curve_index::{DtwParams, Index, Nearest, Shape, Strategy};

/// One file: all series of one length, channels interleaved, with their classes.
pub(crate) struct Labelled {
    pub(crate) shape: Shape,
    pub(crate) curves: Vec<Vec<f32>>,
    pub(crate) classes: Vec<String>,
}

/// Errors as text: an example needs no more.
mod anyhow_free {
    pub(super) trait Context<T> {
        fn context(self, what: impl FnOnce() -> String) -> Result<T, String>;
    }

    impl<T, E: std::fmt::Display> Context<T> for Result<T, E> {
        fn context(self, what: impl FnOnce() -> String) -> Result<T, String> {
            self.map_err(|error| format!("{}: {error}", what()))
        }
    }
}

/// Reads a `.ts` file: `@` and `#` lines, then one series a line, channels divided by `:`, the class
/// last, values by `,`.
pub(crate) fn read(path: &Path) -> Result<Labelled, String> {
    let name = path.display();
    let text = std::fs::read_to_string(path).context(|| format!("{name}: reading"))?;
    let mut shape: Option<Shape> = None;
    let (mut curves, mut classes) = (Vec::new(), Vec::new());
    for (number, line) in text.lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.starts_with(['@', '#']) {
            continue;
        }
        let place = || format!("{name}: line {}", number + 1);
        let (series, class) = line
            .rsplit_once(':')
            .ok_or_else(|| format!("{}: expected ':' before the class, found none", place()))?;
        let channels: Vec<Vec<f32>> = series
            .split(':')
            .map(|channel| channel.split(',').map(|value| value.trim().parse::<f32>()).collect())
            .collect::<Result<_, _>>()
            .context(place)?;
        let frames = channels[0].len();
        let found = Shape::new(frames, channels.len()).context(place)?;
        let expected = *shape.get_or_insert(found);
        if expected != found || channels.iter().any(|channel| channel.len() != frames) {
            return Err(format!("{}: series differ in length or channels", place()));
        }
        let at = |at: usize| channels[at % channels.len()][at / channels.len()];
        curves.push((0..found.values()).map(at).collect());
        classes.push(class.trim().to_owned());
    }
    let shape = shape.ok_or_else(|| format!("{name}: holds no series"))?;
    Ok(Labelled { shape, curves, classes })
}

/// How many of the test series have a nearest training series (ties: the earlier one) of another
/// class, and how many test series there are. `band` is a fraction of the length.
pub(crate) fn errors(
    train: &Labelled,
    test: &Labelled,
    band: f64,
    strategy: Strategy,
) -> Result<(usize, usize), String> {
    let mut builder = Index::in_memory(train.shape);
    for (id, curve) in (0_u64..).zip(&train.curves) {
        builder.push(id, curve).context(|| "training series".to_owned())?;
    }
    let index = builder.finish().context(|| "index".to_owned())?;
    let band_frames = (band * train.shape.frames() as f64).round() as usize;
    let params = DtwParams::new(train.shape.channels())
        .band_frames(band_frames)
        .check()
        .context(|| "parameters".to_owned())?;
    let threads = std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
    let what = Nearest::new(&params, 1).strategy(strategy).threads(threads);
    let mut wrong = 0;
    for (query, class) in test.curves.iter().zip(&test.classes) {
        let answer = index.nearest(query, &what).context(|| "test series".to_owned())?;
        let near = answer.neighbours.first().ok_or("no training series")?;
        wrong += usize::from(train.classes[near.id as usize] != *class);
    }
    Ok((wrong, test.curves.len()))
}
