use std::fmt::{self, Write as _};

use super::style::{SANS, Tone};

/// A finished drawing: one `<svg>` element with title and description, ready to be put into a page.
///
/// Sizes are CSS pixels. All text in it is escaped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Svg(String);

impl Svg {
    /// The markup.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    #[cfg(test)]
    pub(crate) fn for_test(markup: String) -> Self {
        Self(markup)
    }
}

impl fmt::Display for Svg {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// `text` safe inside markup and attributes; characters XML forbids become spaces.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' | '\u{fffe}' | '\u{ffff}' => out.push(' '),
            c if c < ' ' => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// A coordinate with one decimal, without a trailing ".0".
pub(crate) fn num(value: f64) -> String {
    debug_assert!(value.is_finite(), "a coordinate must be finite");
    let text = format!("{value:.1}");
    match text.strip_suffix(".0") {
        Some("-0") => "0".to_owned(),
        Some(whole) => whole.to_owned(),
        None => text,
    }
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stroke {
    pub tone: Tone,
    pub width: f64,
    pub dash: Option<&'static str>,
}

impl Stroke {
    pub(crate) fn solid(tone: Tone, width: f64) -> Self {
        Self { tone, width, dash: None }
    }

    pub(crate) fn dashed(tone: Tone, width: f64, dash: &'static str) -> Self {
        Self { tone, width, dash: Some(dash) }
    }
}

/// How a shape is filled and outlined.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Paint {
    pub fill: Option<(Tone, f64)>,
    pub stroke: Option<Stroke>,
    /// The stroke lies under the fill, so that only its outer half shows.
    pub stroke_first: bool,
}

impl Paint {
    pub(crate) fn fill(tone: Tone) -> Self {
        Self { fill: Some((tone, 1.0)), ..Self::default() }
    }

    pub(crate) fn wash(tone: Tone, opacity: f64) -> Self {
        Self { fill: Some((tone, opacity)), ..Self::default() }
    }

    pub(crate) fn stroke(stroke: Stroke) -> Self {
        Self { stroke: Some(stroke), ..Self::default() }
    }

    pub(crate) fn and(mut self, stroke: Stroke) -> Self {
        self.stroke = Some(stroke);
        self
    }

    pub(crate) fn stroke_first(mut self) -> Self {
        self.stroke_first = true;
        self
    }
}

/// Which end of a text sits at its position.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Type {
    pub size: f64,
    pub bold: bool,
    pub tone: Tone,
    pub anchor: Anchor,
    /// With paper around the letters, for words that lie on lines.
    pub halo: bool,
}

impl Type {
    pub(crate) fn new(size: f64, tone: Tone) -> Self {
        Self { size, bold: false, tone, anchor: Anchor::Start, halo: false }
    }

    pub(crate) fn bold(mut self) -> Self {
        self.bold = true;
        self
    }

    pub(crate) fn halo(mut self) -> Self {
        self.halo = true;
        self
    }

    pub(crate) fn middle(mut self) -> Self {
        self.anchor = Anchor::Middle;
        self
    }

    pub(crate) fn end(mut self) -> Self {
        self.anchor = Anchor::End;
        self
    }
}

/// Writes one drawing.
pub(crate) struct Canvas {
    out: String,
}

impl Canvas {
    /// A drawing of `width` x `height` pixels; `title` and `description` are what a screen reader says.
    pub(crate) fn new(
        device: &str,
        width: f64,
        height: f64,
        title: &str,
        description: &str,
    ) -> Self {
        let (w, h) = (num(width), num(height));
        let mut out = String::new();
        let _ = write!(
            out,
            r#"<svg xmlns="http://www.w3.org/2000/svg" role="img" class="{device}" viewBox="0 0 {w} {h}" width="{w}" height="{h}" font-family="{SANS}"><title>{}</title><desc>{}</desc>"#,
            escape(title),
            escape(description)
        );
        Self { out }
    }

    /// Opens a group with a class; close it with [`Self::close`].
    pub(crate) fn open(&mut self, class: &str) {
        let _ = write!(self.out, r#"<g class="{class}">"#);
    }

    pub(crate) fn close(&mut self) {
        self.out.push_str("</g>");
    }

    fn paint(&mut self, paint: Paint) {
        let classes: Vec<String> = [
            paint.fill.map(|(tone, _)| format!("f-{}", tone.name())),
            paint.stroke.map(|stroke| format!("s-{}", stroke.tone.name())),
        ]
        .into_iter()
        .flatten()
        .collect();
        let _ = write!(self.out, r#" class="{}""#, classes.join(" "));
        match paint.fill {
            Some((tone, opacity)) => {
                let _ = write!(self.out, r#" fill="{}""#, tone.light());
                if opacity < 1.0 {
                    let _ = write!(self.out, r#" fill-opacity="{opacity:.2}""#);
                }
            }
            None => self.out.push_str(r#" fill="none""#),
        }
        if let Some(stroke) = paint.stroke {
            let _ = write!(
                self.out,
                r#" stroke="{}" stroke-width="{}" stroke-linejoin="round""#,
                stroke.tone.light(),
                num(stroke.width)
            );
            match stroke.dash {
                Some(dash) => {
                    let _ = write!(self.out, r#" stroke-dasharray="{dash}""#);
                }
                None => self.out.push_str(r#" stroke-linecap="round""#),
            }
        }
        if paint.stroke_first {
            self.out.push_str(r#" paint-order="stroke""#);
        }
        self.out.push_str("/>");
    }

    pub(crate) fn line(&mut self, from: [f64; 2], to: [f64; 2], stroke: Stroke) {
        let _ = write!(
            self.out,
            r#"<line x1="{}" y1="{}" x2="{}" y2="{}""#,
            num(from[0]),
            num(from[1]),
            num(to[0]),
            num(to[1])
        );
        self.paint(Paint::stroke(stroke));
    }

    pub(crate) fn rect(&mut self, corner: [f64; 2], size: [f64; 2], round: f64, paint: Paint) {
        let _ = write!(
            self.out,
            r#"<rect x="{}" y="{}" width="{}" height="{}""#,
            num(corner[0]),
            num(corner[1]),
            num(size[0].max(0.0)),
            num(size[1].max(0.0))
        );
        if round > 0.0 {
            let _ = write!(self.out, r#" rx="{}""#, num(round));
        }
        self.paint(paint);
    }

    pub(crate) fn circle(&mut self, centre: [f64; 2], radius: f64, paint: Paint) {
        let _ = write!(
            self.out,
            r#"<circle cx="{}" cy="{}" r="{}""#,
            num(centre[0]),
            num(centre[1]),
            num(radius)
        );
        self.paint(paint);
    }

    /// A line through `points`, closed to a shape if `closed`; fewer than two points draw nothing.
    pub(crate) fn shape(&mut self, points: &[[f64; 2]], closed: bool, paint: Paint) {
        if points.len() < 2 {
            return;
        }
        self.out.push_str(r#"<path d=""#);
        for (index, point) in points.iter().enumerate() {
            let _ = write!(
                self.out,
                "{}{} {}",
                if index == 0 { "M" } else { "L" },
                num(point[0]),
                num(point[1])
            );
        }
        self.out.push_str(if closed { "Z\"" } else { "\"" });
        self.paint(paint);
    }

    pub(crate) fn text(&mut self, at: [f64; 2], text: &str, style: Type) {
        let _ = write!(
            self.out,
            r#"<text x="{}" y="{}" font-size="{}" class="f-{}{}" fill="{}""#,
            num(at[0]),
            num(at[1]),
            num(style.size),
            style.tone.name(),
            if style.halo { " s-paper" } else { "" },
            style.tone.light()
        );
        if style.halo {
            let paper = Tone::Paper.light();
            let _ = write!(
                self.out,
                r#" stroke="{paper}" stroke-width="4" stroke-linejoin="round" paint-order="stroke""#
            );
        }
        if style.bold {
            self.out.push_str(r#" font-weight="600""#);
        }
        self.out.push_str(match style.anchor {
            Anchor::Start => "",
            Anchor::Middle => r#" text-anchor="middle""#,
            Anchor::End => r#" text-anchor="end""#,
        });
        let _ = write!(self.out, ">{}</text>", escape(text));
    }

    pub(crate) fn finish(mut self) -> Svg {
        self.out.push_str("</svg>");
        Svg(self.out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_text_stays_text() {
        let mut canvas = Canvas::new("x", 10.0, 10.0, "a<b>\"&'", "\u{0}\u{b}");
        canvas.text([1.0, 2.0], "</text><script>alert(1)</script>", Type::new(12.0, Tone::Ink));
        let svg = canvas.finish();
        let tree = roxmltree::Document::parse(svg.as_str()).unwrap();
        assert!(tree.descendants().all(|node| node.tag_name().name() != "script"));
        let text = tree
            .descendants()
            .find(|node| node.has_tag_name(("http://www.w3.org/2000/svg", "text")));
        assert_eq!(text.unwrap().text(), Some("</text><script>alert(1)</script>"));
    }

    #[test]
    fn coordinates_are_short() {
        assert_eq!(num(-0.04), "0");
        assert_eq!(num(12.0), "12");
        assert_eq!(num(12.349), "12.3");
    }
}
