//! Clips of one day that show the same serves, in words: what is known, and what has to be asked.

use crate::library::{CaseId, ClipPair, DayViews, Library, RecordingId, ServeId, StoreError};
use crate::serve::ClipsCompared;
use crate::words::list;

/// Two clips of a day, told.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct ClipsTold {
    /// The one that was stored first.
    #[serde(serialize_with = "crate::library::spelled")]
    pub one: RecordingId,
    /// The other.
    #[serde(serialize_with = "crate::library::spelled")]
    pub other: RecordingId,
    /// What they are to each other, or what is asked; a sentence.
    pub sentence: String,
    /// Serves that are the same.
    #[serde(serialize_with = "spelled_pairs")]
    pub same: Vec<(ServeId, ServeId)>,
    /// What to choose from where it is asked: two serves that may be one, the likeliest first.
    #[serde(serialize_with = "spelled_pairs")]
    pub choices: Vec<(ServeId, ServeId)>,
    /// Whether somebody said it.
    pub said: bool,
}

fn spelled_pairs<S: serde::Serializer>(
    pairs: &[(ServeId, ServeId)],
    to: S,
) -> Result<S::Ok, S::Error> {
    to.collect_seq(pairs.iter().map(|(a, b)| [a.to_string(), b.to_string()]))
}

/// Every two clips of a case that show the same serves, may show them, or were said not to.
///
/// # Errors
/// [`StoreError`] if there is no such case, or the store cannot be read.
pub fn clips_told(library: &Library, case: CaseId) -> Result<Vec<ClipsTold>, StoreError> {
    let views = library.views_of_day(case)?;
    views.same.clips.iter().filter_map(|clips| told(library, &views, clips).transpose()).collect()
}

/// What is asked of clips anywhere in the library, case by case.
///
/// # Errors
/// As [`clips_told`].
pub fn clips_asked(library: &Library) -> Result<Vec<(CaseId, ClipsTold)>, StoreError> {
    let mut asked = Vec::new();
    for case in library.cases_of_several_clips()? {
        let told = clips_told(library, case)?.into_iter();
        asked.extend(told.filter(|clips| !clips.choices.is_empty()).map(|clips| (case, clips)));
    }
    Ok(asked)
}

fn told(
    library: &Library,
    views: &DayViews,
    clips: &ClipPair,
) -> Result<Option<ClipsTold>, StoreError> {
    let Some((one, other)) = clips.one.zip(clips.other) else { return Ok(None) };
    let named = |id: RecordingId| -> Result<String, StoreError> {
        let seen = library.recording(id)?.view.map(|view| format!(" ({})", view.seen()));
        Ok(format!("{id}{}", seen.unwrap_or_default()))
    };
    let both = format!("{} and {}", named(one)?, named(other)?);
    let ids = |pairs: &[(usize, usize)]| -> Vec<(ServeId, ServeId)> {
        pairs.iter().map(|&(a, b)| (views.serves[a], views.serves[b])).collect()
    };
    let word = clips.said.as_ref().map(|by| format!(", as {by} said")).unwrap_or_default();
    let (mut same, mut choices) = (Vec::new(), Vec::new());
    let sentence = match &clips.found {
        ClipsCompared::Same(way) => {
            same = ids(&way.pairs);
            let pairs: Vec<String> = same.iter().map(|(a, b)| format!("{a} is {b}")).collect();
            format!("{both} show the same serves{word}: {}.", list(&pairs))
        }
        ClipsCompared::Unsure(ways) => {
            choices = ways.iter().filter_map(|way| ids(&way.pairs).first().copied()).collect();
            let asked: Vec<String> =
                choices.iter().map(|(a, b)| format!("is {a} the same serve as {b}")).collect();
            format!(
                "{both} may show the same serves: {}? Or do they show others?",
                asked.join(", or ")
            )
        }
        ClipsCompared::Apart => format!("{both} show different serves{word}."),
    };
    let said = clips.said.is_some();
    Ok(Some(ClipsTold { one, other, sentence, same, choices, said }))
}
