use super::types::{Direction, Drill, Fault, FaultMeasure, JointNeed};
use super::{Catalogue, CatalogueError};

/// Says which file an entry (named like `fault 'x'`) came from.
type Origin<'a> = &'a dyn Fn(&str) -> String;

/// Every rule an entry must keep, beyond its shape.
pub(super) fn check(catalogue: &Catalogue, origin: Origin<'_>) -> Result<(), CatalogueError> {
    for fault in &catalogue.faults {
        let entry = format!("fault '{}'", fault.id);
        check_fault(catalogue, fault).map_err(|broken| broken.at(origin(&entry), &entry))?;
    }
    for drill in &catalogue.drills {
        let entry = format!("drill '{}'", drill.id);
        check_drill(catalogue, drill).map_err(|broken| broken.at(origin(&entry), &entry))?;
    }
    if catalogue.always.is_empty() {
        return Err(Broken::new(
            "always",
            "the general cautions are never empty",
            "none",
            "list them under [cautions]",
        )
        .at(origin("cautions"), "cautions"));
    }
    Ok(())
}

struct Broken {
    field: String,
    rule: &'static str,
    found: String,
    next: &'static str,
}

impl Broken {
    fn new(
        field: impl Into<String>,
        rule: &'static str,
        found: impl Into<String>,
        next: &'static str,
    ) -> Self {
        Self { field: field.into(), rule, found: found.into(), next }
    }

    fn at(self, file: String, entry: &str) -> CatalogueError {
        CatalogueError::Rule {
            file,
            place: format!("{entry}, {}", self.field),
            rule: self.rule,
            found: self.found,
            next: self.next,
        }
    }
}

fn id(text: &str) -> Result<(), Broken> {
    let good = text.starts_with(|c: char| c.is_ascii_lowercase())
        && text.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_');
    if good {
        Ok(())
    } else {
        Err(Broken::new(
            "id",
            "an id is small letters, digits and '_', letter first",
            format!("'{text}'"),
            "rename the entry",
        ))
    }
}

fn said(field: &str, text: &str) -> Result<(), Broken> {
    if text.trim().is_empty() {
        Err(Broken::new(
            field,
            "every text says something",
            "an empty text",
            "write it, or leave the entry out",
        ))
    } else {
        Ok(())
    }
}

fn some<T>(field: &str, list: &[T]) -> Result<(), Broken> {
    if list.is_empty() {
        Err(Broken::new(field, "the list holds at least one item", "an empty list", "fill it in"))
    } else {
        Ok(())
    }
}

fn known_faults(catalogue: &Catalogue, field: &str, ids: &[String]) -> Result<(), Broken> {
    match ids.iter().find(|id| catalogue.fault(id).is_none()) {
        Some(id) => Err(Broken::new(
            field,
            "a fault referred to is in the catalogue",
            format!("'{id}'"),
            "correct the id, or add that fault",
        )),
        None => Ok(()),
    }
}

fn known_sources(catalogue: &Catalogue, field: &str, ids: &[String]) -> Result<(), Broken> {
    match ids.iter().find(|id| catalogue.source(id).is_none()) {
        Some(id) => Err(Broken::new(
            field,
            "a source referred to is listed as [[source]]",
            format!("'{id}'"),
            "add the row it comes from, or say 'common practice, no source'",
        )),
        None => Ok(()),
    }
}

fn check_fault(catalogue: &Catalogue, fault: &Fault) -> Result<(), Broken> {
    id(&fault.id)?;
    said("name", &fault.name)?;
    said("group", &fault.group)?;
    said("coach_sees", &fault.coach_sees)?;
    said("to_player", &fault.to_player)?;
    said("cost.text", &fault.cost.text)?;
    said("evidence_text", &fault.evidence_text)?;
    some("when", &fault.when)?;
    some("confused_with", &fault.confused_with)?;
    let cost = [fault.cost.speed, fault.cost.consistency, fault.cost.load];
    if cost.iter().any(|&part| part > 3) || cost == [0; 3] {
        return Err(Broken::new(
            "cost",
            "speed, consistency and load are 0 to 3 and not all 0",
            format!("{cost:?}"),
            "say what it costs; a fault without a cost is a style",
        ));
    }
    if !["A", "B", "C", "A/B", "B/C", "rule"].contains(&fault.evidence.as_str()) {
        return Err(Broken::new(
            "evidence",
            "evidence is A, B, C, A/B, B/C or rule",
            format!("'{}'", fault.evidence),
            "choose one",
        ));
    }
    if !(0.0..=10_000.0).contains(&fault.needs.min_rate_hz) {
        return Err(Broken::new(
            "needs.min_rate_hz",
            "a rate lies between 0 and 10000 Hz",
            fault.needs.min_rate_hz.to_string(),
            "correct it",
        ));
    }
    known_faults(catalogue, "upstream", &fault.upstream)?;
    known_faults(catalogue, "goes_with", &fault.goes_with)?;
    known_faults(catalogue, "opposed", &fault.opposed)?;
    known_faults(catalogue, "explained_by", &fault.explained_by)?;
    let lists = [&fault.upstream, &fault.goes_with, &fault.opposed, &fault.explained_by];
    if lists.iter().any(|list| list.contains(&fault.id)) {
        return Err(Broken::new(
            "upstream",
            "a fault does not refer to itself",
            format!("'{}'", fault.id),
            "take it out of upstream, goes_with, opposed and explained_by",
        ));
    }
    let back = |id: &&String| {
        catalogue.fault(id).is_some_and(|other| other.explained_by.contains(&fault.id))
    };
    if let Some(both) = fault.explained_by.iter().find(back) {
        return Err(Broken::new(
            "explained_by",
            "two faults do not explain each other: neither would ever be judged beside the other",
            format!("'{both}' and '{}'", fault.id),
            "keep the one that is cured first and take the other out",
        ));
    }
    let together = |other: &&String| catalogue.go_together(&fault.id, other) == Some(true);
    if let Some(both) = fault.opposed.iter().find(together) {
        return Err(Broken::new(
            "opposed",
            "two faults do not both go together and pull against each other",
            format!("'{both}' in goes_with and opposed"),
            "take it out of one, here or in the other fault",
        ));
    }
    known_sources(catalogue, "sources", &fault.sources)?;
    let seen = !matches!(fault.needs.joints, JointNeed::Ask | JointNeed::Ball);
    if seen == fault.measures.is_empty() {
        return Err(Broken::new(
            "measures",
            "a fault that joints can show has measures, one that must be asked has none",
            format!(
                "needs.joints = {:?} with {} measures",
                fault.needs.joints,
                fault.measures.len()
            ),
            "add the measures, or set needs.joints to \"ask\"",
        ));
    }
    if !seen && fault.ask.as_deref().is_none_or(|ask| ask.trim().is_empty()) {
        return Err(Broken::new(
            "ask",
            "a fault that joints cannot show has a question",
            "none",
            "write the question a coach would ask",
        ));
    }
    if let Some(answers) = &fault.answers {
        let bevels = [&answers.index_knuckle, &answers.heel_pad];
        if bevels.iter().all(|list| list.is_empty())
            || bevels.iter().any(|list| list.iter().any(|bevel| !(1..=8).contains(bevel)))
        {
            return Err(Broken::new(
                "answers",
                "bevels are 1 to 8 and at least one part of the hand is named",
                format!("{bevels:?}"),
                "correct the bevels",
            ));
        }
    }
    for (n, measure) in fault.measures.iter().enumerate() {
        check_measure(catalogue, measure, n)?;
    }
    if catalogue.drills_for(&fault.id).is_empty() {
        return Err(Broken::new(
            "id",
            "every fault has at least one drill",
            "none",
            "add a drill that lists this fault",
        ));
    }
    Ok(())
}

fn check_measure(catalogue: &Catalogue, measure: &FaultMeasure, n: usize) -> Result<(), Broken> {
    let field = format!("measure {} ('{}')", n + 1, measure.measure);
    let ordered = match measure.direction {
        Direction::Below => measure.full < measure.starts,
        Direction::Above => measure.full > measure.starts,
    };
    if !ordered || !measure.starts.is_finite() || !measure.full.is_finite() {
        return Err(Broken::new(
            field,
            "full lies beyond starts on the side the direction names",
            format!(
                "direction {:?}, starts {}, full {}",
                measure.direction, measure.starts, measure.full
            ),
            "swap them, or change the direction",
        ));
    }
    if !(measure.weight.is_finite() && measure.weight > 0.0) {
        return Err(Broken::new(
            field,
            "a weight is positive",
            measure.weight.to_string(),
            "correct it",
        ));
    }
    said("basis", &measure.basis)?;
    known_sources(catalogue, &field, &measure.sources)?;
    if measure.sources.is_empty() && !measure.basis.contains("common practice, no source") {
        return Err(Broken::new(
            field,
            "a threshold names its source or says 'common practice, no source'",
            format!("basis '{}'", measure.basis),
            "add the source row, or say that there is none",
        ));
    }
    Ok(())
}

fn check_drill(catalogue: &Catalogue, drill: &Drill) -> Result<(), Broken> {
    id(&drill.id)?;
    for (field, text) in [
        ("name", &drill.name),
        ("dose", &drill.dose),
        ("step_up", &drill.step_up),
        ("cue", &drill.cue),
        ("support", &drill.support),
    ] {
        said(field, text)?;
    }
    some("faults", &drill.faults)?;
    known_faults(catalogue, "faults", &drill.faults)?;
    known_faults(catalogue, "not_for", &drill.not_for)?;
    if let Some(both) = drill.not_for.iter().find(|id| drill.faults.contains(id)) {
        return Err(Broken::new(
            "not_for",
            "a drill does not both address a fault and make it worse",
            format!("'{both}' in both lists"),
            "take it out of one",
        ));
    }
    if drill.steps.len() < 2 {
        return Err(Broken::new(
            "steps",
            "a drill goes from easy to full in at least two steps",
            drill.steps.len().to_string(),
            "add the easier or the fuller step",
        ));
    }
    for step in &drill.steps {
        said("steps", &step.text)?;
    }
    known_sources(catalogue, "sources", &drill.sources)?;
    Ok(())
}
