//! A picture made so small that only its layout is left, and how like another one it is.

use super::frame::Frame;

/// Cells along each side.
const CELLS: usize = 32;
/// Pixels looked at along each side of a cell.
const LOOKS: usize = 4;

/// Mean brightness of each cell, less that of the whole.
pub(super) struct Sketch(Vec<f32>);

impl Sketch {
    /// `None` of a picture without pixels.
    pub(super) fn of(frame: &Frame) -> Option<Self> {
        if frame.width == 0 || frame.rgb.len() < 3 * frame.width * frame.height {
            return None;
        }
        let grid = CELLS * LOOKS;
        let mut cells = vec![0.0_f32; CELLS * CELLS];
        for y in 0..grid {
            let row = (2 * y + 1) * frame.height / (2 * grid);
            for x in 0..grid {
                let column = (2 * x + 1) * frame.width / (2 * grid);
                let at = (row * frame.width + column) * 3;
                // Green weighs most in what an eye calls bright.
                cells[y / LOOKS * CELLS + x / LOOKS] += f32::from(frame.rgb[at + 1]);
            }
        }
        let mean = cells.iter().sum::<f32>() / cells.len() as f32;
        cells.iter_mut().for_each(|cell| *cell -= mean);
        Some(Self(cells))
    }

    /// Correlation of two layouts: 1 where they are the same but for brightness and contrast; two even
    /// pictures are the same.
    pub(super) fn likeness(&self, other: &Self) -> f64 {
        let dot = |a: &[f32], b: &[f32]| -> f64 {
            a.iter().zip(b).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum()
        };
        let sizes = dot(&self.0, &self.0) * dot(&other.0, &other.0);
        if sizes > 0.0 { dot(&self.0, &other.0) / sizes.sqrt() } else { 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(of: impl Fn(usize, usize) -> u8) -> Frame {
        let pixels = (0..96).flat_map(|row| (0..128).map(move |column| (row, column)));
        let rgb = pixels.flat_map(|(row, column)| [of(row, column); 3]).collect();
        Frame { width: 128, height: 96, rgb }
    }

    #[test]
    fn a_layout_is_told_from_another_whatever_the_light() {
        let across = Sketch::of(&picture(|_, column| column as u8)).unwrap();
        let darker = Sketch::of(&picture(|_, column| column as u8 / 2 + 3)).unwrap();
        let down = Sketch::of(&picture(|row, _| row as u8)).unwrap();
        assert!(across.likeness(&darker) > 0.999);
        assert!(across.likeness(&down).abs() < 0.05);
        assert!(Sketch::of(&Frame::default()).is_none());
    }
}
