//! The guide, on a terminal.

use anyhow::bail;

use super::Exit;
use super::output::{Output, table};
use crate::guide::{TOPICS, Topic};

pub(super) fn run(topic: Option<&str>, out: &mut Output) -> anyhow::Result<Exit> {
    let Some(name) = topic else {
        let mut rows = table(&["topic", "about"]);
        for topic in TOPICS {
            if out.json {
                let told = serde_json::json!({ "topic": topic.name, "title": topic.title() });
                out.object(&told)?;
            } else {
                rows.add_row([topic.name, topic.title()]);
            }
        }
        if !out.json {
            out.line(&rows.to_string())?;
        }
        out.say("read one with guide TOPIC; begin with first-hour");
        return Ok(Exit::Found);
    };
    let Some(topic) = Topic::named(name) else {
        let names: Vec<&str> = TOPICS.iter().map(|topic| topic.name).collect();
        bail!("guide '{name}': no such topic; choose one of {}", names.join(", "));
    };
    if out.json {
        let told = serde_json::json!({
            "topic": topic.name, "title": topic.title(), "markdown": topic.text,
        });
        out.object(&told)?;
    } else {
        out.line(topic.plain().trim_end())?;
    }
    Ok(Exit::Found)
}
