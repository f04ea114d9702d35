use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufWriter;
use std::path::Path;

use anyhow::{Context, bail};
use ndarray::ArrayView3;
use ndarray_npy::WriteNpyExt;

use super::args::ExportArgs;
use super::face::{Face, count};
use super::{Outcome, place};
use crate::find::Filter;
use crate::library::{Library, Named, ServeId};
use crate::serve::{CURVE_FRAMES, EventKind, MEASURES, Reading, channels};

/// Writes, beside each other: `serves.csv`, `measures.csv`, and per channel set a curve array
/// (NPY, serves x samples x channels) with the same values as CSV.
pub(super) fn run(
    args: &ExportArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let library = place::for_reading(library)?;
    let filter = Filter::parse(args.filter.as_deref().unwrap_or_default())?;
    let selection = library.select(&filter)?;
    if let Some(why) = selection.why_empty() {
        face.say(&why);
        return Ok(Outcome::Nothing);
    }
    if args.output.exists() {
        bail!("{}: exists already; name a new folder, or move it away", args.output.display());
    }
    // Written beside the goal and renamed: a folder with the wanted name is always whole.
    let parent = match args.output.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    std::fs::create_dir_all(parent).with_context(|| format!("{}", parent.display()))?;
    let making = tempfile::Builder::new().prefix(".export-").tempdir_in(parent)?;
    write_serves(&library, &selection.serves, making.path())?;
    let sets = write_curves(&library, &selection.serves, making.path())?;
    std::fs::rename(making.path(), &args.output)
        .with_context(|| format!("{}", args.output.display()))?;
    // Renamed away: nothing is left to remove.
    let _ = making.keep();
    face.say(&format!(
        "{} to {}: serves.csv, measures.csv, {}",
        count(selection.serves.len(), "serve"),
        args.output.display(),
        sets.join(", ")
    ));
    Ok(Outcome::Found)
}

fn write_serves(library: &Library, serves: &[ServeId], folder: &Path) -> anyhow::Result<()> {
    let mut about = csv::Writer::from_path(folder.join("serves.csv"))?;
    let mut header = vec![
        "serve",
        "recording",
        "case",
        "player",
        "date",
        "hand",
        "capture",
        "view",
        "setting",
        "type",
        "rate_hz",
        "channel_set",
    ]
    .into_iter()
    .map(str::to_owned)
    .collect::<Vec<_>>();
    header.extend(EventKind::ALL.iter().map(|kind| format!("{}_s", kind.name())));
    about.write_record(&header)?;
    let mut measures = csv::Writer::from_path(folder.join("measures.csv"))?;
    measures.write_record([
        "serve",
        "player",
        "date",
        "measure",
        "value",
        "unit",
        "give_or_take",
        "trust",
        "not_measurable",
    ])?;
    for &id in serves {
        let head = library.serve_head(id)?;
        let row = library.serve(id)?;
        let recording = library.recording(row.recording)?;
        let mut fields = vec![
            id.to_string(),
            row.recording.to_string(),
            row.case.to_string(),
            head.player_code.clone(),
            head.date.to_string(),
            row.serve.hand.name().to_owned(),
            head.capture.name().to_owned(),
            head.view.map_or("", Named::name).to_owned(),
            head.setting.map_or("", Named::name).to_owned(),
            head.serve_type.map_or("", Named::name).to_owned(),
            recording.rate_hz.to_string(),
            head.channel_set.clone(),
        ];
        fields.extend(row.serve.events.iter().map(|event| format!("{:.4}", event.time_s)));
        about.write_record(&fields)?;
        for entry in &row.serve.readings {
            let unit =
                MEASURES.iter().find(|def| def.id == entry.measure).map_or("", |def| def.unit);
            let (value, give_or_take, trust, why) = match &entry.reading {
                Reading::Value { value, trust, give_or_take } => {
                    (value.to_string(), give_or_take.to_string(), trust.to_string(), "")
                }
                Reading::NotMeasurable { why } => {
                    (String::new(), String::new(), String::new(), why.as_str())
                }
            };
            measures.write_record([
                &id.to_string(),
                &head.player_code,
                &head.date.to_string(),
                &entry.measure,
                &value,
                unit,
                &give_or_take,
                &trust,
                why,
            ])?;
        }
    }
    about.flush()?;
    measures.flush()?;
    Ok(())
}

fn write_curves(
    library: &Library,
    serves: &[ServeId],
    folder: &Path,
) -> anyhow::Result<Vec<String>> {
    let mut sets: BTreeMap<String, Vec<ServeId>> = BTreeMap::new();
    for &id in serves {
        sets.entry(library.serve_head(id)?.channel_set).or_default().push(id);
    }
    let mut names = Vec::new();
    for (set, ids) in sets {
        let about = channels(&set);
        let mut values = Vec::new();
        let mut table = csv::Writer::from_path(folder.join(format!("curves-{set}.csv")))?;
        let mut header = vec!["serve".to_owned(), "percent".to_owned()];
        header.extend(about.iter().map(|channel| channel.name.to_owned()));
        table.write_record(&header)?;
        for &id in &ids {
            let curve = library.curve(id)?;
            for (sample, row) in curve.values.chunks_exact(curve.channels).enumerate() {
                let mut fields = vec![id.to_string(), sample.to_string()];
                fields.extend(row.iter().map(ToString::to_string));
                table.write_record(&fields)?;
            }
            values.extend(curve.values);
        }
        table.flush()?;
        let array = ArrayView3::from_shape((ids.len(), CURVE_FRAMES, about.len()), &values)?;
        let file = format!("curves-{set}.npy");
        array.write_npy(BufWriter::new(File::create(folder.join(&file))?))?;
        names.push(file);
        names.push(format!("curves-{set}.csv"));
    }
    Ok(names)
}
