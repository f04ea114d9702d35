use std::collections::BTreeMap;
use std::path::Path;

use anyhow::{Context as _, bail};

use super::args::ReadCommand;
use super::output::{Output, one_line, table};
use super::watch::Bars;
use super::{Exit, place, remedy};
use crate::drawing::Pictures;
use crate::intake::{self, Context, Looked, SeenClip, ServeObject};
use crate::motion::{Recording, Side};
use crate::pages::clip_pictures;
use crate::serve::{EventKind, FindOptions, MEASURES, PalmReading, Reading, Serve, palm_turn};

pub(super) fn run(command: &ReadCommand, out: &mut Output) -> anyhow::Result<Exit> {
    let known = FindOptions { hand: command.read.hand(), ..FindOptions::default() };
    let bars = Bars::new(1, out);
    let context =
        Context { read: command.read.options(), clip: command.read.clip(), ..Context::default() };
    let watch = bars.watch();
    bars.file(&command.file);
    let looked = intake::look(None, &command.file, &context, &known, &watch);
    bars.finish();
    let Looked { recording, found, clip, .. } = looked?;
    describe(&recording, clip.as_ref(), out)?;
    for refusal in &found.refused {
        out.say(&format!(
            "frames {} to {}: no serve: {}",
            refusal.frames.0, refusal.frames.1, refusal.reason
        ));
    }
    if found.serves.is_empty() {
        out.say(&format!("{}: no serve found", command.file.display()));
        return Ok(Exit::Nothing);
    }
    for (index, serve) in found.serves.iter().enumerate() {
        let seen = clip.as_ref().map(|clip| (clip, palm(serve, &recording)));
        if out.json {
            let seen = seen.as_ref().map(|(clip, palm)| (*clip, palm));
            out.object(&ServeObject::of(index + 1, serve, &recording, seen))?;
        } else {
            print(index + 1, serve, out)?;
        }
        if let Some((clip, palm)) = &seen {
            if !out.json {
                let frames: Vec<String> = palm.frames.iter().map(ToString::to_string).collect();
                out.line(&format!(
                    "palm after contact: {} ({}); look at frames {}",
                    palm.turn.name(),
                    palm.why,
                    frames.join(", ")
                ))?;
            }
            if let Some(folder) = &command.pictures {
                let pictures = clip_pictures(&command.file, &clip.kept, serve, &recording, &watch)?;
                write_pictures(folder, index + 1, &command.file, &pictures, out)?;
            }
        }
    }
    Ok(Exit::Found)
}

fn palm(serve: &Serve, recording: &Recording) -> PalmReading {
    palm_turn(recording, serve.events[EventKind::Contact as usize].time_s, serve.hand)
}

/// One SVG file per event and per look at the hand.
fn write_pictures(
    folder: &Path,
    number: usize,
    file: &Path,
    pictures: &Pictures,
    out: &mut Output,
) -> anyhow::Result<()> {
    if let Some(why) = &pictures.missing {
        bail!("{}: no pictures: {why}", file.display());
    }
    std::fs::create_dir_all(folder).with_context(|| format!("{}", folder.display()))?;
    let hands = pictures.palm.pictures.iter().enumerate();
    let hands = hands.map(|(at, (_, svg))| (format!("palm-{}", at + 1), svg));
    let moments = pictures.moments.iter().map(|(kind, svg)| (kind.name().to_owned(), svg));
    for (name, svg) in moments.chain(hands) {
        let path = folder.join(format!("serve-{number}-{name}.svg"));
        place::write_whole(&path, svg.as_bytes())?;
    }
    out.say(&format!("wrote the pictures of serve {number} into {}", folder.display()));
    Ok(())
}

/// What the recording is and what was assumed: data as text, talk beside JSON.
fn describe(
    recording: &Recording,
    clip: Option<&SeenClip>,
    out: &mut Output,
) -> anyhow::Result<()> {
    let mut lines = vec![format!("{}: {}", recording.format, recording.summary())];
    if let Some(clip) = clip {
        let (width, height) = clip.kept.size_px;
        let mut line = format!(
            "clip: {width} x {height} pixels, {} of {} frames without the player",
            clip.kept.lost_frames,
            recording.frames()
        );
        if let Some(pace_hz) = clip.pace_hz {
            line.push_str(&format!(", read at {pace_hz:.0} frames a second"));
        }
        lines.push(line);
    }
    lines.extend(recording.assumptions.iter().map(|assumed| {
        format!("assumed {}: {} ({})", assumed.what, assumed.taken, remedy::why(assumed))
    }));
    for line in lines {
        if out.json {
            out.say(&line);
        } else {
            out.line(&one_line(&line))?;
        }
    }
    Ok(())
}

fn print(number: usize, serve: &Serve, out: &mut Output) -> anyhow::Result<()> {
    let hand = match serve.hand {
        Side::Left => "left",
        Side::Right => "right",
    };
    out.line("")?;
    out.line(&format!(
        "Serve {number}: frames {} to {}, {hand}-handed ({})",
        serve.frames.0,
        serve.frames.1,
        how_sure(serve.hand_trust)
    ))?;
    let contact_s = serve.events[EventKind::Contact as usize].time_s;
    let mut events = table(&["event", "frame", "time", "from contact", "how sure"]);
    for event in &serve.events {
        events.add_row([
            event.kind.label().to_owned(),
            event.frame.to_string(),
            format!("{:.3} s", event.time_s),
            format!("{:+.3} s", event.time_s - contact_s),
            how_sure(event.trust).to_owned(),
        ]);
    }
    out.line(&events.to_string())?;
    let mut measures = table(&["measure", "value", "give or take", "how sure"]);
    let mut unseen: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for entry in &serve.readings {
        let Some(def) = MEASURES.iter().find(|def| def.id == entry.measure) else { continue };
        match &entry.reading {
            Reading::Value { value, trust, give_or_take } => {
                measures.add_row([
                    def.name.to_owned(),
                    quantity(*value, def.unit),
                    quantity(*give_or_take, def.unit),
                    how_sure(*trust).to_owned(),
                ]);
            }
            Reading::NotMeasurable { why } => unseen.entry(why).or_default().push(def.name),
        }
    }
    out.line(&measures.to_string())?;
    for (why, names) in unseen {
        out.line(&format!("not measurable ({why}): {}", names.join(", ")))?;
    }
    for note in &serve.notes {
        out.line(&format!("note: {note}"))?;
    }
    Ok(())
}

/// A number with as many digits as a coach can use.
pub(super) fn quantity(value: f64, unit: &str) -> String {
    match unit {
        "deg" => format!("{value:.0} deg"),
        "ratio" => format!("{value:.2}"),
        unit => format!("{value:.2} {unit}"),
    }
}

/// Trust in words.
pub(super) fn how_sure(trust: f64) -> &'static str {
    match trust {
        t if t >= 0.75 => "sure",
        t if t >= 0.5 => "fairly sure",
        t if t >= 0.25 => "unsure",
        _ => "very unsure",
    }
}
