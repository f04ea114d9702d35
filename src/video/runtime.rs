//! The networks run by the LiteRT library, loaded when a clip is read and not before.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use edgefirst_tflite::{Library, litert};

use super::detector;
use super::landmarks::{self, Raw};
use super::model::{ModelError, Networks, PoseModel, TwoStage};
use super::setup::Installed;

fn failed(error: impl std::fmt::Display) -> ModelError {
    ModelError { what: error.to_string() }
}

/// Libraries loaded so far. One stays loaded: unloading it buys nothing, and each loading writes
/// a note to standard error (see [`with_model`]).
static LOADED: Mutex<Vec<(PathBuf, &'static Library)>> = Mutex::new(Vec::new());

fn library(path: &Path) -> Result<&'static Library, ModelError> {
    let mut loaded = LOADED.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some((_, library)) = loaded.iter().find(|(known, _)| known == path) {
        return Ok(library);
    }
    let library: &'static Library = Box::leak(Box::new(Library::from_path(path).map_err(failed)?));
    silence(library);
    loaded.push((path.to_owned(), library));
    Ok(library)
}

/// Loads runtime and networks, hands a ready model to `work`, and unloads the networks when it
/// returns.
///
/// Nothing of the process is changed: standard error and signals stay as they are. The part of
/// the runtime that compiles the networks writes one note to standard error, once a process, which
/// no level of its loggers keeps back (tried: error, silent, all of them); a face that wants to keep it
/// from its user does so itself while [`Stage::Networks`](crate::work::Stage) is under way.
///
/// The runtime's handles borrow one another, so they live on this stack frame.
///
/// # Errors
/// If the runtime or a network cannot be loaded, or has other shapes than the pipeline expects.
pub(super) fn with_model<T>(
    installed: &Installed,
    work: impl FnOnce(&mut dyn PoseModel) -> T,
) -> Result<T, ModelError> {
    let library = library(&installed.runtime)?;
    let environment = litert::Environment::new(library).map_err(failed)?;
    let detector = litert::Model::from_file(&environment, &installed.detector).map_err(failed)?;
    let landmarks = litert::Model::from_file(&environment, &installed.landmarks).map_err(failed)?;
    let options = litert::Options::new(library)
        .and_then(|options| options.hardware_accelerators(litert::HwAccelerators::CPU))
        .map_err(failed)?;
    let networks = LiteRt {
        detector: Network::new(
            &environment,
            &detector,
            &options,
            detector::INPUT * detector::INPUT * 3,
            &[Some(detector::ANCHORS * detector::VALUES), Some(detector::ANCHORS)],
        )?,
        landmarks: Network::new(
            &environment,
            &landmarks,
            &options,
            landmarks::INPUT * landmarks::INPUT * 3,
            &[
                Some(landmarks::ALL * 5),
                Some(1),
                None,
                Some(landmarks::HEATMAP * landmarks::HEATMAP * landmarks::ALL),
                Some(landmarks::ALL * 3),
            ],
        )?,
        raw: Raw { points: Vec::new(), flag: 0.0, heat: Vec::new(), world: Vec::new() },
    };
    Ok(work(&mut TwoStage::new(networks)))
}

/// Lets the runtime report errors only: it writes dozens of notes to stderr for each model, and
/// stderr is ours. Its logger is one for the whole process and is set through an environment's
/// options, which the safe layer cannot pass; a runtime that refuses merely stays talkative.
fn silence(library: &Library) {
    /// Tag of the logger's least severity among the environment's options.
    const MIN_SEVERITY: u32 = 25;
    /// The option's value is an integer.
    const INTEGER: u32 = 2;
    const ERRORS_ONLY: i64 = 3;
    let Some(functions) = library.litert() else {
        return;
    };
    let mut environment = std::ptr::null_mut();
    // SAFETY: an option is plain numbers, for which zero is a value; it is alive for the call, as
    // is the place for the handle. The handle is destroyed once, and nothing was made from it.
    unsafe {
        let mut option: edgefirst_tflite_sys::litert::EnvOption = std::mem::zeroed();
        option.tag = MIN_SEVERITY;
        option.value.type_ = INTEGER;
        option.value.__bindgen_anon_1.int_value = ERRORS_ONLY;
        let status = (functions.create_environment)(1, &raw const option, &raw mut environment);
        if status == 0 && !environment.is_null() {
            (functions.destroy_environment)(environment);
        }
    }
}

struct LiteRt<'env> {
    detector: Network<'env>,
    landmarks: Network<'env>,
    raw: Raw,
}

impl Networks for LiteRt<'_> {
    fn detector(&mut self, input: &[f32]) -> Result<(&[f32], &[f32]), ModelError> {
        self.detector.run(input)?;
        Ok((&self.detector.results[0], &self.detector.results[1]))
    }

    fn landmarks(&mut self, input: &[f32]) -> Result<&Raw, ModelError> {
        self.landmarks.run(input)?;
        let results = &mut self.landmarks.results;
        self.raw.flag = results[1][0];
        for (ours, theirs) in
            [(&mut self.raw.points, 0), (&mut self.raw.heat, 3), (&mut self.raw.world, 4)]
        {
            ours.clone_from(&results[theirs]);
        }
        Ok(&self.raw)
    }
}

/// One network with its buffers.
struct Network<'env> {
    compiled: litert::CompiledModel<'env>,
    inputs: Vec<litert::TensorBuffer<'env>>,
    outputs: Vec<litert::TensorBuffer<'env>>,
    /// One per output; empty for an output nobody reads.
    results: Vec<Vec<f32>>,
}

impl<'env> Network<'env> {
    fn new(
        environment: &'env litert::Environment<'env>,
        model: &'env litert::Model<'env>,
        options: &litert::Options<'_>,
        input: usize,
        outputs: &[Option<usize>],
    ) -> Result<Self, ModelError> {
        let held = (model.num_inputs(0).map_err(failed)?, model.num_outputs(0).map_err(failed)?);
        if held != (1, outputs.len()) {
            return Err(failed(format!(
                "1 input and {} outputs expected, found {} and {}",
                outputs.len(),
                held.0,
                held.1
            )));
        }
        let compiled =
            litert::CompiledModel::create(environment, model, options).map_err(failed)?;
        let room = |what: &str, bytes: usize, floats: usize| {
            if bytes < floats * size_of::<f32>() {
                return Err(failed(format!(
                    "{what}: {} bytes expected, found {bytes}",
                    floats * size_of::<f32>()
                )));
            }
            Ok(())
        };
        let inputs = vec![compiled.create_input_buffer(0, 0).map_err(failed)?];
        room("input", inputs[0].size(), input)?;
        let mut buffers = Vec::new();
        for (k, &floats) in outputs.iter().enumerate() {
            let buffer = compiled.create_output_buffer(0, k).map_err(failed)?;
            room(&format!("output {k}"), buffer.size(), floats.unwrap_or(0))?;
            buffers.push(buffer);
        }
        Ok(Self {
            compiled,
            inputs,
            outputs: buffers,
            results: outputs.iter().map(|floats| vec![0.0; floats.unwrap_or(0)]).collect(),
        })
    }

    fn run(&mut self, input: &[f32]) -> Result<(), ModelError> {
        self.inputs[0].write_bytes(bytemuck::cast_slice(input)).map_err(failed)?;
        self.compiled.run_default(&mut self.inputs, &mut self.outputs).map_err(failed)?;
        for (buffer, result) in self.outputs.iter_mut().zip(&mut self.results) {
            if !result.is_empty() {
                buffer.read_bytes_into(bytemuck::cast_slice_mut(result)).map_err(failed)?;
            }
        }
        Ok(())
    }
}
