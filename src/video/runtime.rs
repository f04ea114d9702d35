//! The networks run by the LiteRT library, loaded when a clip is read and not before.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use edgefirst_tflite::{Library, litert};

use super::detector;
use super::landmarks::{self, Raw};
use super::model::{ModelError, Networks, PoseModel, TwoStage};
use super::pare::pare;
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

/// Numbers that go into a network and come out of it; no number for an output nobody reads, which is
/// not computed then.
struct Shape {
    input: usize,
    outputs: &'static [Option<usize>],
}

const DETECTOR: Shape = Shape {
    input: detector::INPUT * detector::INPUT * 3,
    outputs: &[Some(detector::ANCHORS * detector::VALUES), Some(detector::ANCHORS)],
};

/// The third output is a picture of where the figure is.
const LANDMARKS: Shape = Shape {
    input: landmarks::INPUT * landmarks::INPUT * 3,
    outputs: &[
        Some(landmarks::ALL * 5),
        Some(1),
        None,
        Some(landmarks::HEATMAP * landmarks::HEATMAP * landmarks::ALL),
        Some(landmarks::ALL * 3),
    ],
};

impl Shape {
    /// Of the outputs that are read.
    fn read(&self) -> Vec<usize> {
        self.outputs.iter().copied().flatten().collect()
    }
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
    let detector = model(&environment, &installed.detector, &DETECTOR)?;
    let landmarks = model(&environment, &installed.landmarks, &LANDMARKS)?;
    let options = litert::Options::new(library)
        .and_then(|options| options.hardware_accelerators(litert::HwAccelerators::CPU))
        .map_err(failed)?;
    let networks = LiteRt {
        detector: Network::new(&environment, &detector, &options, &DETECTOR)?,
        boxes: vec![0.0; detector::ANCHORS * detector::VALUES],
        logits: vec![0.0; detector::ANCHORS],
        landmarks: Network::new(&environment, &landmarks, &options, &LANDMARKS)?,
        raw: Raw {
            points: vec![0.0; landmarks::ALL * 5],
            flag: 0.0,
            heat: vec![0.0; landmarks::HEATMAP * landmarks::HEATMAP * landmarks::ALL],
            world: vec![0.0; landmarks::ALL * 3],
        },
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

/// Reads a network, less what leads only to outputs nobody reads.
fn model<'env>(
    environment: &'env litert::Environment<'env>,
    path: &Path,
    shape: &Shape,
) -> Result<litert::Model<'env>, ModelError> {
    let mut file = std::fs::read(path).map_err(failed)?;
    let wanted: Vec<bool> = shape.outputs.iter().map(Option::is_some).collect();
    pare(&mut file, &wanted)?;
    litert::Model::from_buffer(environment, file).map_err(failed)
}

struct LiteRt<'env> {
    detector: Network<'env>,
    boxes: Vec<f32>,
    logits: Vec<f32>,
    landmarks: Network<'env>,
    raw: Raw,
}

impl Networks for LiteRt<'_> {
    fn detector(&mut self, input: &[f32]) -> Result<(&[f32], &[f32]), ModelError> {
        self.detector.run(input, &mut [&mut self.boxes, &mut self.logits])?;
        Ok((&self.boxes, &self.logits))
    }

    fn landmarks(&mut self, input: &[f32]) -> Result<&Raw, ModelError> {
        let Raw { points, flag, heat, world } = &mut self.raw;
        self.landmarks.run(input, &mut [points, std::slice::from_mut(flag), heat, world])?;
        Ok(&self.raw)
    }
}

/// One network with its buffers.
struct Network<'env> {
    compiled: litert::CompiledModel<'env>,
    inputs: Vec<litert::TensorBuffer<'env>>,
    outputs: Vec<litert::TensorBuffer<'env>>,
}

impl<'env> Network<'env> {
    fn new(
        environment: &'env litert::Environment<'env>,
        model: &'env litert::Model<'env>,
        options: &litert::Options<'_>,
        shape: &Shape,
    ) -> Result<Self, ModelError> {
        let outputs = shape.read();
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
        room("input", inputs[0].size(), shape.input)?;
        let mut buffers = Vec::new();
        for (k, floats) in outputs.into_iter().enumerate() {
            let buffer = compiled.create_output_buffer(0, k).map_err(failed)?;
            room(&format!("output {k}"), buffer.size(), floats)?;
            buffers.push(buffer);
        }
        Ok(Self { compiled, inputs, outputs: buffers })
    }

    /// Works the network through; `results` takes the outputs that are read, in their order.
    fn run(&mut self, input: &[f32], results: &mut [&mut [f32]]) -> Result<(), ModelError> {
        self.inputs[0].write_bytes(bytemuck::cast_slice(input)).map_err(failed)?;
        self.compiled.run_default(&mut self.inputs, &mut self.outputs).map_err(failed)?;
        for (buffer, result) in self.outputs.iter_mut().zip(results) {
            buffer.read_bytes_into(bytemuck::cast_slice_mut(result)).map_err(failed)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::video::model::ModelChoice;
    use crate::video::setup::installed;

    /// All outputs, as the network came.
    const WHOLE: Shape = Shape {
        input: LANDMARKS.input,
        outputs: &[
            LANDMARKS.outputs[0],
            LANDMARKS.outputs[1],
            Some(landmarks::INPUT * landmarks::INPUT),
            LANDMARKS.outputs[3],
            LANDMARKS.outputs[4],
        ],
    };

    /// What a network of this shape makes of an input.
    fn made(path: &Path, runtime: &Path, shape: &Shape, input: &[f32]) -> Vec<Vec<f32>> {
        let library = library(runtime).unwrap();
        let environment = litert::Environment::new(library).unwrap();
        let model = model(&environment, path, shape).unwrap();
        let options = litert::Options::new(library)
            .and_then(|options| options.hardware_accelerators(litert::HwAccelerators::CPU))
            .unwrap();
        let mut network = Network::new(&environment, &model, &options, shape).unwrap();
        let mut results: Vec<Vec<f32>> =
            shape.read().iter().map(|floats| vec![f32::NAN; *floats]).collect();
        let mut places: Vec<&mut [f32]> = results.iter_mut().map(Vec::as_mut_slice).collect();
        network.run(input, &mut places).unwrap();
        results
    }

    /// The networks as their makers published them, run whole, are what the pared ones are held to.
    #[test]
    fn outputs_that_are_read_are_those_of_the_whole_network_bit_for_bit() {
        let input: Vec<f32> =
            (0..LANDMARKS.input).map(|i| (i * 7919 % 1000) as f32 / 1e3).collect();
        for choice in ModelChoice::ALL {
            let installed = match installed(choice) {
                Ok(installed) => installed,
                Err(error) => return crate::skip::skipped(error),
            };
            let (network, runtime) = (&installed.landmarks, &installed.runtime);
            let mut whole = made(network, runtime, &WHOLE, &input);
            whole.remove(2);
            let pared = made(network, runtime, &LANDMARKS, &input);
            for (k, (whole, pared)) in whole.iter().zip(&pared).enumerate() {
                let bits = |floats: &[f32]| floats.iter().map(|f| f.to_bits()).collect::<Vec<_>>();
                assert!(whole.iter().all(|f| f.is_finite()), "{choice:?}, output {k}");
                assert!(bits(whole) == bits(pared), "{choice:?}, output {k}");
            }
            assert_eq!(pared.len(), 4);
        }
    }

    #[test]
    fn a_network_with_other_outputs_is_refused() {
        let installed = match installed(ModelChoice::Lite) {
            Ok(installed) => installed,
            Err(error) => return crate::skip::skipped(error),
        };
        let mut file = std::fs::read(&installed.landmarks).unwrap();
        let error = pare(&mut file, &[true, false]).unwrap_err().to_string();
        assert!(error.contains("2 outputs expected, found 5"), "{error}");
    }
}
