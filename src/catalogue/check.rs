use super::dose::Limit;
use super::types::{Direction, Drill, Fault, FaultMeasure, PlayerGroup};
use super::{Catalogue, CatalogueError};

/// Says which file and line a field of an entry (named like `fault 'x'`) came from.
type Origin<'a> = &'a dyn Fn(&str, &str) -> (String, Option<usize>);

/// Every rule an entry must keep, beyond its shape.
pub(super) fn check(catalogue: &Catalogue, origin: Origin<'_>) -> Result<(), CatalogueError> {
    for fault in catalogue.faults.iter() {
        let entry = format!("fault '{}'", fault.id);
        check_fault(catalogue, fault).map_err(|broken| broken.at(origin, &entry))?;
    }
    if let Some(circle) = circle(catalogue) {
        let entry = format!("fault '{}'", circle[0]);
        let broken = Broken::new(
            "upstream",
            "causes form no circle: each fault would wait for the other to be worked on first",
            circle.join(" <- "),
            "take out of upstream or explained_by what is more often a consequence than a cause",
        );
        return Err(broken.at(origin, &entry));
    }
    for group in &catalogue.groups {
        let entry = format!("group '{}'", group.id);
        check_group(catalogue, group).map_err(|broken| broken.at(origin, &entry))?;
    }
    for drill in catalogue.drills.iter() {
        let entry = format!("drill '{}'", drill.id);
        check_drill(catalogue, drill).map_err(|broken| broken.at(origin, &entry))?;
    }
    for limit in catalogue.limits.iter() {
        let entry = format!("limit '{}'", limit.id);
        check_limit(catalogue, limit).map_err(|broken| broken.at(origin, &entry))?;
    }
    known_sources(catalogue, "junior_sources", &catalogue.junior_sources)
        .map_err(|broken| broken.at(origin, "cautions"))?;
    if catalogue.always.is_empty() {
        return Err(Broken::new(
            "always",
            "the general cautions are never empty",
            "none",
            "list them under [cautions]",
        )
        .at(origin, "cautions"));
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

    fn at(self, origin: Origin<'_>, entry: &str) -> CatalogueError {
        let (file, line) = origin(entry, &self.field);
        CatalogueError::Rule {
            file,
            line: line.and_then(|line| u32::try_from(line).ok()),
            place: format!("{entry}, {}", self.field),
            rule: self.rule,
            found: self.found.into(),
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

/// The first circle of causes by `upstream` and `explained_by`, first fault repeated at its end.
///
/// Cost: faults times causes.
fn circle(catalogue: &Catalogue) -> Option<Vec<&str>> {
    let mut cleared = std::collections::BTreeSet::new();
    let mut path: Vec<(&Fault, usize)> = Vec::new();
    for start in catalogue.faults.iter() {
        if cleared.contains(start.id.as_str()) {
            continue;
        }
        path.push((start, 0));
        while let Some((fault, next)) = path.last_mut() {
            let cause = fault.upstream.iter().chain(&fault.explained_by).nth(*next);
            *next += 1;
            let Some(cause) = cause else {
                cleared.insert(fault.id.as_str());
                path.pop();
                continue;
            };
            if let Some(at) = path.iter().position(|(on_path, _)| on_path.id == *cause) {
                let mut circle: Vec<&str> =
                    path[at..].iter().map(|(fault, _)| fault.id.as_str()).collect();
                circle.push(circle[0]);
                return Some(circle);
            }
            if let Some(cause) = catalogue.fault(cause)
                && !cleared.contains(cause.id.as_str())
            {
                path.push((cause, 0));
            }
        }
    }
    None
}

fn check_limit(catalogue: &Catalogue, limit: &Limit) -> Result<(), Broken> {
    id(&limit.id)?;
    said("text", &limit.text)?;
    said("basis", &limit.basis)?;
    known_sources(catalogue, "sources", &limit.sources)?;
    if !(limit.most.is_finite() && limit.most > 0.0) {
        return Err(Broken::new(
            "most",
            "a limit is a positive number",
            limit.most.to_string(),
            "correct it",
        ));
    }
    match (limit.from_age, limit.below_age) {
        (Some(from), Some(below)) if from >= below => Err(Broken::new(
            "from_age",
            "an age range begins before it ends",
            format!("from {from}, below {below}"),
            "swap them",
        )),
        _ => Ok(()),
    }
}

fn check_group(catalogue: &Catalogue, group: &PlayerGroup) -> Result<(), Broken> {
    id(&group.id)?;
    said("name", &group.name)?;
    said("support", &group.support)?;
    some("text", &group.text)?;
    known_faults(catalogue, "faults_out", &group.faults_out)?;
    known_sources(catalogue, "sources", &group.sources)?;
    match group.drills_out.iter().find(|id| catalogue.drill(id).is_none()) {
        Some(id) => Err(Broken::new(
            "drills_out",
            "a drill referred to is in the catalogue",
            format!("'{id}'"),
            "correct the id, or add that drill",
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
            "keep the one that is worked on first and take the other out",
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
    let seen = fault.needs.joints.measured();
    if seen == fault.measures.is_empty() {
        return Err(Broken::new(
            "measures",
            "a fault that joints can show has measures, one that must be asked has none",
            format!(
                "needs.joints = {:?} with {} measures",
                fault.needs.joints,
                fault.measures.len()
            ),
            "add the measures, or set needs.joints to \"seen_or_asked\" or \"ask\"",
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
        if !(answers.score > 0.0 && answers.score <= 1.0) {
            return Err(Broken::new(
                "answers",
                "an answer that means the fault scores above 0 and at most 1",
                answers.score.to_string(),
                "correct the score",
            ));
        }
    }
    for (n, measure) in fault.measures.iter().chain(&fault.only_with).enumerate() {
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
    let own = std::iter::once((measure.starts, measure.full));
    let typed = measure.by_type.iter().map(|band| (band.starts, band.full));
    for (starts, full) in own.chain(typed) {
        let ordered = match measure.direction {
            Direction::Below => full < starts,
            Direction::Above => full > starts,
        };
        if !ordered || !starts.is_finite() || !full.is_finite() {
            return Err(Broken::new(
                field,
                "full lies beyond starts on the side the direction names",
                format!("direction {:?}, starts {starts}, full {full}", measure.direction),
                "swap them, or change the direction",
            ));
        }
    }
    for (n, band) in measure.by_type.iter().enumerate() {
        said("by_type", &band.basis)?;
        if measure.by_type[..n].iter().any(|other| other.serve_type == band.serve_type) {
            return Err(Broken::new(
                field,
                "a type of serve has one band",
                format!("{} twice", band.serve_type.label()),
                "take one out",
            ));
        }
    }
    if !(0.0..=1.0).contains(&measure.stature_power) {
        return Err(Broken::new(
            field,
            "a power of stature lies between 0 and 1",
            measure.stature_power.to_string(),
            "0.5 for times set by a ball's fall, 0 for what does not scale",
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
    let owned = |basis: &str| {
        let basis = basis.to_lowercase();
        basis.contains("our estimate") || basis.contains("common practice, no source")
    };
    if measure.sources.is_empty() && !owned(&measure.basis) {
        return Err(Broken::new(
            field,
            "a threshold names its source, or says 'our estimate' or 'common practice, no source'",
            format!("basis '{}'", measure.basis),
            "add the source row, or say that the number is ours",
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
