use std::fmt::Write as _;

/// The few colours of reviews, squad reports and the page.
///
/// Every tone but [`Tone::Paper`] stands out from paper by at least 4.5:1, in the light and in the
/// dark variant (WCAG 2.1, success criterion 1.4.3); a test computes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Text and axes.
    Ink,
    /// The ground everything lies on.
    Paper,
    /// This serve.
    This,
    /// Precedents, or the earlier serve.
    Precedent,
    /// Where to look.
    Attention,
    /// What may be overlooked.
    Quiet,
}

impl Tone {
    /// Every tone.
    pub const ALL: [Self; 6] =
        [Self::Ink, Self::Paper, Self::This, Self::Precedent, Self::Attention, Self::Quiet];

    /// Name in style sheets.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Ink => "ink",
            Self::Paper => "paper",
            Self::This => "this",
            Self::Precedent => "precedent",
            Self::Attention => "attention",
            Self::Quiet => "quiet",
        }
    }

    /// Colour on light paper, `#rrggbb`.
    #[must_use]
    pub fn light(self) -> &'static str {
        match self {
            Self::Ink => "#1d2126",
            Self::Paper => "#fbfaf6",
            Self::This => "#0a5f73",
            Self::Precedent => "#90631a",
            Self::Attention => "#8c2f39",
            Self::Quiet => "#666d77",
        }
    }

    /// Colour in the dark variant, `#rrggbb`.
    #[must_use]
    pub fn dark(self) -> &'static str {
        match self {
            Self::Ink => "#eceae3",
            Self::Paper => "#15181b",
            Self::This => "#62bcd0",
            Self::Precedent => "#d6a54c",
            Self::Attention => "#ee8e97",
            Self::Quiet => "#9aa2ab",
        }
    }
}

/// Fonts every system has; the metrics of [`super::text`] are close to all of them.
pub(crate) const SANS: &str =
    "'Helvetica Neue', Helvetica, 'Segoe UI', Roboto, Arial, 'Liberation Sans', sans-serif";

/// The colours as style-sheet variables and the classes the drawings carry.
#[must_use]
pub fn style_variables() -> String {
    let list = |colour: fn(Tone) -> &'static str| {
        Tone::ALL.iter().fold(String::new(), |mut out, &tone| {
            let _ = write!(out, "--{}:{};", tone.name(), colour(tone));
            out
        })
    };
    let mut out = format!(
        ":root{{color-scheme:light dark;{}}}\n@media screen and (prefers-color-scheme: dark){{:root{{{}}}}}\n",
        list(Tone::light),
        list(Tone::dark)
    );
    for tone in Tone::ALL {
        let name = tone.name();
        let _ = writeln!(out, ".f-{name}{{fill:var(--{name})}}.s-{name}{{stroke:var(--{name})}}");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn luminance(hex: &str) -> f64 {
        let part = |at: usize| {
            let value = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
            if value <= 0.03928 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    }

    fn contrast(a: &str, b: &str) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn contrast_follows_the_published_formula() {
        // WCAG 2.1: black on white is 21:1; #767676 is the known lightest grey that passes on white.
        assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
        assert!(contrast("#767676", "#ffffff") >= 4.5);
        assert!(contrast("#777777", "#ffffff") < 4.5);
    }

    #[test]
    fn every_tone_reads_on_its_paper() {
        for tone in Tone::ALL.into_iter().filter(|&tone| tone != Tone::Paper) {
            for colour in [Tone::light, Tone::dark] {
                let ratio = contrast(colour(tone), colour(Tone::Paper));
                assert!(ratio >= 4.5, "{tone:?}: {} has only {ratio:.2}:1", colour(tone));
            }
        }
        for tone in Tone::ALL {
            assert!(contrast(tone.light(), "#ffffff") >= 4.5 || tone == Tone::Paper, "{tone:?}");
        }
    }
}
