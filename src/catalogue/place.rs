//! Where in a TOML text an entry's field stands, for errors.

/// The line, from 1, of a field of an entry named like `fault 'x'`; that of its id where the field is
/// not written, `None` where the entry is not in the text.
///
/// `field`: as a rule names it: `dose`, `cost.text`, `measure 2 ('front_knee')`.
pub(super) fn line_of(text: &str, entry: &str, field: &str) -> Option<usize> {
    let (kind, id) = entry.split_once(' ').unwrap_or((entry, ""));
    let id = id.trim_matches('\'');
    let (wanted, value) = wanted(field);
    let heads = |line: &str| {
        let name = line.strip_prefix("[[").and_then(|rest| rest.split_once("]]"));
        let name = name.or_else(|| line.strip_prefix('[').and_then(|rest| rest.split_once(']')));
        name.map(|(name, _)| name.trim().to_owned())
    };
    let mut begins: Option<usize> = None;
    let (mut inside, mut named) = (false, false);
    let mut found: Option<usize> = None;
    let mut at_id: Option<usize> = None;
    for (at, line) in text.lines().enumerate().map(|(at, line)| (at + 1, line.trim())) {
        if let Some(head) = heads(line) {
            if head == kind {
                if named {
                    break;
                }
                (begins, inside, found, at_id) = (Some(at), true, None, None);
            } else if !head.starts_with(&format!("{kind}.")) {
                if named {
                    break;
                }
                inside = false;
            }
            continue;
        }
        let Some((key, said)) = line.split_once('=').filter(|_| inside) else { continue };
        let (key, said) = (key.trim(), said.trim());
        if key == "id" && at_id.is_none() {
            named = said.trim_matches(['"', '\'']) == id;
            at_id = Some(at);
        }
        if key == wanted && value.is_none_or(|value| said.contains(value)) {
            found = found.or(Some(at));
        }
    }
    // `[cautions]` has no id.
    match (named || id.is_empty(), begins) {
        (true, Some(begins)) => found.or(at_id).or(Some(begins)),
        _ => None,
    }
}

/// The key that is written, and what its value holds, if that tells one of several apart.
fn wanted(field: &str) -> (&str, Option<&str>) {
    match field.strip_prefix("measure ") {
        Some(rest) => ("measure", rest.split('\'').nth(1)),
        None => (field.split('.').next().unwrap_or(field), None),
    }
}

#[cfg(test)]
mod tests {
    use super::line_of;

    const TEXT: &str = "# ours\n[[fault]]\nid = \"one\"\nname = \"One\"\n\n[[fault]]\nid = \"two\"\n\
        cost = { speed = 9 }\n  [[fault.measures]]\n  measure = \"a\"\n  [[fault.measures]]\n  \
        measure = \"b\"\n\n[[drill]]\nid = \"two\"\ndose = \"\"\n";

    #[test]
    fn a_field_is_found_in_its_own_entry() {
        assert_eq!(line_of(TEXT, "fault 'one'", "name"), Some(4));
        assert_eq!(line_of(TEXT, "fault 'two'", "cost.text"), Some(8));
        assert_eq!(line_of(TEXT, "fault 'two'", "measure 2 ('b')"), Some(12));
        assert_eq!(line_of(TEXT, "fault 'two'", "name"), Some(7), "not written: its id");
        assert_eq!(line_of(TEXT, "drill 'two'", "dose"), Some(16));
        assert_eq!(line_of(TEXT, "drill 'three'", "dose"), None);
        assert_eq!(line_of("[cautions]\nalways = []\n", "cautions", "always"), Some(2));
    }
}
