//! What a player reads first.

/// What lies beside it.
#[derive(Debug, Default)]
pub(super) struct Readme<'a> {
    /// Day of the serve, in words.
    pub(super) day: String,
    pub(super) pdf: bool,
    /// How many practice cards.
    pub(super) cards: usize,
    /// Whether the coach spoke.
    pub(super) spoken: bool,
    /// What the moving serve is held beside, where there is a clip.
    pub(super) clip: Option<Option<&'a str>>,
    pub(super) cautions: Vec<String>,
}

impl Readme<'_> {
    /// Plain text with the line ends every phone and computer shows.
    pub(super) fn text(&self) -> String {
        let mut lines = vec![
            format!("Your serve of {}", self.day),
            String::new(),
            "Open review.html. It opens in your browser and works without the internet.".to_owned(),
            "On a phone: tap the file you were sent, let it unpack, then tap review.html."
                .to_owned(),
            String::new(),
        ];
        if self.pdf {
            lines.push("review.pdf is the same on paper.".to_owned());
        }
        if self.cards > 0 {
            lines.push(
                "The practice card (practice-card.html) is your plan: fill it in as you practise, on the \
                 phone or on paper, and send it back."
                    .to_owned(),
            );
        }
        if let Some(beside) = self.clip {
            let beside = beside.map(|beside| format!(" beside {beside}")).unwrap_or_default();
            lines.push(format!(
                "serve.mp4 is your serve{beside}: first at real speed, then four times slower \
                 around contact. It has no sound."
            ));
        }
        if self.spoken {
            lines.push("spoken-review.mp4 is your coach speaking over your clip.".to_owned());
        }
        lines.push("Other players are shown as drawings, without names.".to_owned());
        lines.push(String::new());
        lines.extend(self.cautions.iter().cloned());
        let mut text = lines.join("\r\n");
        text.push_str("\r\n");
        text
    }
}
