//! Serves for other programs: arrays and tables that agree.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use ndarray::ArrayView3;
use ndarray_npy::{WriteNpyError, WriteNpyExt};
use thiserror::Error;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use crate::library::{Damage, Library, Named, ServeId, StoreError};
use crate::serve::{CURVE_FRAMES, EventKind, MEASURES, Reading, channels};

/// Why nothing was exported.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ExportError {
    /// Something of that name is there.
    #[error("{}: exists already; name a new folder, or move it away", .folder.display())]
    Exists {
        /// The folder.
        folder: PathBuf,
    },
    /// A folder or file could not be made.
    #[error("export: a file could not be written: {0}; check disk space and rights")]
    Io(#[from] std::io::Error),
    /// A table could not be written.
    #[error("export: a table could not be written: {0}; check disk space and rights")]
    Table(#[from] csv::Error),
    /// An array could not be written.
    #[error("export: an array could not be written: {0}; check disk space and rights")]
    Array(WriteNpyError),
    /// The archive could not be written.
    #[error("export: the archive could not be written: {0}; check disk space and rights")]
    Archive(#[from] zip::result::ZipError),
    /// The store could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Writes these serves into the new folder `output`: `serves.csv`, `measures.csv` and, per channel
/// set, a curve array (NPY, serves x samples x channels) with the same values as CSV; gives the
/// names of the latter. The folder appears whole or not at all.
///
/// # Errors
/// [`ExportError`].
pub fn export(
    library: &Library,
    serves: &[ServeId],
    output: &Path,
) -> Result<Vec<String>, ExportError> {
    if output.exists() {
        return Err(ExportError::Exists { folder: output.to_owned() });
    }
    // Written beside the goal and renamed: a folder with the wanted name is always whole.
    let parent = match output.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    std::fs::create_dir_all(parent)?;
    let making = tempfile::Builder::new().prefix(".export-").tempdir_in(parent)?;
    write_serves(library, serves, making.path())?;
    let sets = write_curves(library, serves, making.path())?;
    std::fs::rename(making.path(), output)?;
    // Renamed away: nothing is left to remove.
    let _ = making.keep();
    Ok(sets)
}

/// As [`export`], in one ZIP archive: the new file `output`, whole or not at all.
///
/// # Errors
/// [`ExportError`].
pub fn export_archive(
    library: &Library,
    serves: &[ServeId],
    output: &Path,
) -> Result<Vec<String>, ExportError> {
    let parent = output.parent().unwrap_or(Path::new("."));
    let making = tempfile::Builder::new().prefix(".export-").tempdir_in(parent)?;
    let folder = making.path().join("precedent-export");
    let sets = export(library, serves, &folder)?;
    let mut names: Vec<PathBuf> = Vec::new();
    for entry in std::fs::read_dir(&folder)? {
        names.push(entry?.path());
    }
    names.sort();
    let whole = making.path().join("archive");
    let mut archive = ZipWriter::new(BufWriter::new(File::create(&whole)?));
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    for path in names {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        archive.start_file(format!("precedent-export/{name}"), stored)?;
        std::io::copy(&mut File::open(&path)?, &mut archive)?;
    }
    archive.finish()?;
    std::fs::rename(&whole, output)?;
    Ok(sets)
}

fn write_serves(library: &Library, serves: &[ServeId], folder: &Path) -> Result<(), ExportError> {
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
) -> Result<Vec<String>, ExportError> {
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
        let shape = (ids.len(), CURVE_FRAMES, about.len());
        let array = ArrayView3::from_shape(shape, &values).map_err(|error| {
            let what = format!("curves of {set}");
            StoreError::Damaged { what, why: Damage::Value(error.to_string()) }
        })?;
        let file = format!("curves-{set}.npy");
        array
            .write_npy(BufWriter::new(File::create(folder.join(&file))?))
            .map_err(ExportError::Array)?;
        names.push(file);
        names.push(format!("curves-{set}.csv"));
    }
    Ok(names)
}
