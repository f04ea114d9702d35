//! Several subjects in one file, told apart by the prefix of their labels (`Name:LSHO`,
//! `name_LSHO`).

use std::collections::HashMap;

use super::ReadOptions;
use super::errors::ReadErrorKind;
use super::labels::role;
use super::markers::Markers;
use super::raw::assumed;
use crate::motion::{Assumption, Joint};

/// Refuses a label that occurs twice; empty ones and unlabelled trajectories (`*7`) may.
pub(super) fn unique(labels: &[String]) -> Result<(), ReadErrorKind> {
    let mut sorted: Vec<&String> =
        labels.iter().filter(|label| !label.is_empty() && !label.starts_with('*')).collect();
    sorted.sort();
    match sorted.windows(2).find(|pair| pair[0] == pair[1]) {
        Some(pair) => Err(ReadErrorKind::DuplicateLabel { label: pair[0].clone() }),
        None => Ok(()),
    }
}

/// The columns of the chosen subject: column in the file and label without prefix.
pub(super) type Columns = Vec<(usize, String)>;

pub(super) fn choose_subject(
    labels: Vec<String>,
    prefixes: &[String],
    options: &ReadOptions,
    assumptions: &mut Vec<Assumption>,
) -> Result<(Option<String>, Columns), ReadErrorKind> {
    let spoken = underscored(&labels);
    let mut subjects: Vec<(Option<String>, Columns)> = Vec::new();
    let mut index: HashMap<Option<String>, usize> = HashMap::new();
    for (column, label) in labels.into_iter().enumerate() {
        if label.is_empty() || label.starts_with('*') {
            continue;
        }
        let (subject, bare) = split(&label, prefixes, &spoken);
        let subject = subject.map(str::to_owned);
        let entry = (column, bare.to_owned());
        let at = *index.entry(subject.clone()).or_insert(subjects.len());
        match subjects.get_mut(at) {
            Some((_, columns)) => columns.push(entry),
            None => subjects.push((subject, vec![entry])),
        }
    }
    let names: Vec<String> = subjects.iter().filter_map(|(name, _)| name.clone()).collect();
    if let Some(wanted) = &options.subject {
        return match subjects.iter().position(|(name, _)| name.as_ref() == Some(wanted)) {
            Some(at) => Ok(subjects.swap_remove(at)),
            None => Err(ReadErrorKind::Subject { subjects: names, wanted: Some(wanted.clone()) }),
        };
    }
    if subjects.len() <= 1 {
        return Ok(subjects.pop().unwrap_or_default());
    }
    // Props and stray markers are subjects too: only those with a body's worth of markers count.
    let bodies: Vec<usize> = (0..subjects.len()).filter(|&s| is_body(&subjects[s].1)).collect();
    match bodies.as_slice() {
        &[only] => {
            let chosen = subjects.swap_remove(only);
            assumptions.push(assumed(
                "subject",
                chosen.0.as_deref().unwrap_or("labels without a prefix"),
                format!("the only one of {} with the joints of a body", subjects.len() + 1),
            ));
            Ok(chosen)
        }
        [] => {
            // None is whole: read everything together, so that the message names what is missing.
            let all = subjects.into_iter().flat_map(|(_, columns)| columns).collect();
            Ok((None, all))
        }
        several => {
            let subjects = several.iter().filter_map(|&s| subjects[s].0.clone()).collect();
            Err(ReadErrorKind::Subject { subjects, wanted: None })
        }
    }
}

fn split<'a>(label: &'a str, prefixes: &[String], spoken: &[String]) -> (Option<&'a str>, &'a str) {
    for prefix in prefixes.iter().filter(|prefix| !prefix.is_empty()) {
        if let Some(bare) = label.strip_prefix(prefix.as_str()) {
            let name = label[..prefix.len()].trim_end_matches([':', '_', '.', '-', ' ']);
            return (Some(name).filter(|name| !name.is_empty()), bare.trim_start_matches(':'));
        }
    }
    match label.rsplit_once(':') {
        Some((subject, bare)) if !subject.is_empty() => (Some(subject), bare),
        _ => match at_underscore(label) {
            Some((subject, bare)) if spoken.iter().any(|name| name == subject) => {
                (Some(subject), bare)
            }
            _ => (None, label),
        },
    }
}

/// A label that is none as a whole, at the first `_` behind which stands one: (`anna`, `LSHO`).
fn at_underscore(label: &str) -> Option<(&str, &str)> {
    if label.contains(':') || role(label).is_some() {
        return None;
    }
    let splits = label.match_indices('_').map(|(at, _)| (&label[..at], &label[at + 1..]));
    splits.into_iter().find(|(subject, bare)| !subject.is_empty() && role(bare).is_some())
}

/// Names before a `_` that as many labels bear as a body has limbs: fewer are an oddly named
/// marker, not a subject.
fn underscored(labels: &[String]) -> Vec<String> {
    const LEAST: usize = 8;
    let mut names: HashMap<&str, usize> = HashMap::new();
    for (subject, _) in labels.iter().filter_map(|label| at_underscore(label)) {
        *names.entry(subject).or_default() += 1;
    }
    names
        .into_iter()
        .filter(|(_, count)| *count >= LEAST)
        .map(|(name, _)| name.to_owned())
        .collect()
}

/// Do these labels give every joint a serve needs?
fn is_body(columns: &Columns) -> bool {
    // Gaps do not matter here: one empty frame asks only which joints the labels make.
    let (labels, points): (Vec<_>, Vec<_>) = columns
        .iter()
        .filter(|(_, label)| role(label).is_some())
        .map(|(_, label)| (label.clone(), [f64::NAN; 3]))
        .unzip();
    Markers { labels, points, confidence: None }
        .into_joints(None)
        .is_ok_and(|made| Joint::CORE.iter().all(|joint| made.joints.contains(joint)))
}
