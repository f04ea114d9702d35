use super::WriteError;
use crate::motion::read::Processor;
use crate::motion::{Dimensions, Recording, Unit};

/// How a C3D file is laid down.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct C3dStyle {
    /// Byte order and float format.
    pub processor: Processor,
    /// Store points as 16-bit integers with a common scale instead of floats.
    pub integers: bool,
    /// Prefix for the labels: `Name:left_wrist`.
    pub subject: Option<String>,
    /// Analog samples of 0 to write with each frame.
    pub analog: u16,
}

impl Default for C3dStyle {
    /// Intel floats without subject or analog data.
    fn default() -> Self {
        Self { processor: Processor::Intel, integers: false, subject: None, analog: 0 }
    }
}

const BLOCK: usize = 512;

/// One parameter: dimensions and data, already in the target's bytes.
struct Parameter {
    group: u8,
    name: &'static str,
    kind: i8,
    dims: Vec<u8>,
    data: Vec<u8>,
}

/// `recording` as a C3D file: one point per joint under its canonical name, z up, metres (or no
/// unit where the scale is unknown). Gaps get residual -1. Floats hold positions to 7 digits,
/// integers to one part in 32000 of the farthest one.
///
/// # Errors
/// [`WriteError`] for a flat or uneven recording, one without frames or with more than 2^32 - 1.
pub fn c3d(recording: &Recording, style: &C3dStyle) -> Result<Vec<u8>, WriteError> {
    const FORMAT: &str = "C3D";
    if recording.dimensions != Dimensions::Three {
        return Err(WriteError::Flat { format: FORMAT, found: recording.dimensions });
    }
    if !recording.is_even() {
        return Err(WriteError::UnevenTime { format: FORMAT });
    }
    let most = u64::from(u32::MAX);
    let frames = recording.frames() as u64;
    if frames == 0 || frames > most {
        return Err(WriteError::Frames { format: FORMAT, most, found: frames });
    }
    let scale = if style.integers { integer_scale(recording) } else { -1.0 };
    // The data start is itself a parameter, of fixed size: lay the section out twice.
    let length = section(recording, style, scale, 0).len();
    let data_block = (2 + length.div_ceil(BLOCK)) as u16;
    let mut bytes = header(recording, style, scale, data_block);
    bytes.extend(section(recording, style, scale, data_block));
    bytes.resize((usize::from(data_block) - 1) * BLOCK, 0);
    data(recording, style, scale, &mut bytes);
    bytes.resize(bytes.len().next_multiple_of(BLOCK), 0);
    Ok(bytes)
}

fn integer_scale(recording: &Recording) -> f32 {
    let values = recording.positions.iter().flatten().filter(|x| !x.is_nan());
    let farthest = values.fold(0.0_f64, |most, x| most.max(x.abs()));
    if farthest > 0.0 { (farthest / 32_000.0) as f32 } else { 1.0 }
}

fn header(recording: &Recording, style: &C3dStyle, scale: f32, data_block: u16) -> Vec<u8> {
    let processor = style.processor;
    let mut bytes = vec![0; BLOCK];
    bytes[0] = 2;
    bytes[1] = 0x50;
    let mut word = |n: usize, value: u16| {
        bytes[2 * n - 2..2 * n].copy_from_slice(&processor.u16_bytes(value));
    };
    word(2, recording.joints.len() as u16);
    word(3, style.analog);
    word(4, 1);
    word(5, recording.frames().min(usize::from(u16::MAX)) as u16);
    word(9, data_block);
    word(10, u16::from(style.analog > 0));
    for (n, value) in [(7, scale), (11, recording.rate_hz as f32)] {
        bytes[2 * n - 2..2 * n + 2].copy_from_slice(&processor.f32_bytes(value));
    }
    bytes
}

fn section(recording: &Recording, style: &C3dStyle, scale: f32, data_block: u16) -> Vec<u8> {
    let processor = style.processor;
    let word = |value: u16| processor.u16_bytes(value).to_vec();
    let float = |value: f32| processor.f32_bytes(value).to_vec();
    let number = |group, name, kind, data| Parameter { group, name, kind, dims: vec![], data };
    let frames = recording.frames();
    let prefix = style.subject.as_ref().map_or_else(String::new, |name| format!("{name}:"));
    let labels: Vec<String> =
        recording.joints.iter().map(|joint| format!("{prefix}{}", joint.name())).collect();
    let mut parameters = vec![
        number(1, "USED", 2, word(recording.joints.len() as u16)),
        number(1, "SCALE", 4, float(scale)),
        number(1, "RATE", 4, float(recording.rate_hz as f32)),
        number(1, "DATA_START", 2, word(data_block)),
        number(1, "FRAMES", 2, word(frames.min(usize::from(u16::MAX)) as u16)),
        texts(1, "LABELS", &labels),
        number(2, "USED", 2, word(style.analog)),
        number(2, "RATE", 4, float(recording.rate_hz as f32)),
        number(2, "GEN_SCALE", 4, float(1.0)),
    ];
    if style.analog > 0 {
        // Readers that keep analog data need a name, a scale and an offset for every channel.
        let channels = style.analog.min(255);
        let list = |name, kind, data: Vec<u8>| Parameter {
            group: 2,
            name,
            kind,
            dims: vec![channels as u8],
            data,
        };
        let names: Vec<String> = (1..=channels).map(|n| format!("a{n}")).collect();
        parameters.push(texts(2, "LABELS", &names));
        parameters.push(list("SCALE", 4, float(1.0).repeat(usize::from(channels))));
        parameters.push(list("OFFSET", 2, word(0).repeat(usize::from(channels))));
    }
    if recording.unit == Unit::Metre {
        parameters.push(texts(1, "UNITS", &["m".to_owned()]));
    }
    if let Some(name) = &style.subject {
        parameters.push(texts(4, "NAMES", std::slice::from_ref(name)));
        parameters.push(texts(4, "LABEL_PREFIXES", std::slice::from_ref(&prefix)));
    }
    for (name, count) in [("ACTUAL_START_FIELD", 1), ("ACTUAL_END_FIELD", frames)] {
        let data = [word(count as u16), word((count >> 16) as u16)].concat();
        parameters.push(Parameter { group: 3, name, kind: 2, dims: vec![2], data });
    }

    let mut bytes = vec![1, 0x50, 0, processor.code()];
    for (id, name) in [(1_i8, "POINT"), (2, "ANALOG"), (3, "TRIAL"), (4, "SUBJECTS")] {
        bytes.extend([name.len() as u8, (-id) as u8]);
        bytes.extend(name.bytes());
        bytes.extend(processor.u16_bytes(3)); // to the next record: itself and no description
        bytes.push(0);
    }
    for parameter in parameters {
        bytes.extend([parameter.name.len() as u8, parameter.group]);
        bytes.extend(parameter.name.bytes());
        let rest = 2 + 2 + parameter.dims.len() + parameter.data.len() + 1;
        bytes.extend(processor.u16_bytes(rest as u16));
        bytes.extend([parameter.kind as u8, parameter.dims.len() as u8]);
        bytes.extend(parameter.dims);
        bytes.extend(parameter.data);
        bytes.push(0);
    }
    bytes.extend([0, 0]);
    bytes[2] = bytes.len().div_ceil(BLOCK) as u8;
    bytes
}

/// A list of texts, padded with blanks to one width. Longer than 255 bytes: cut.
fn texts(group: u8, name: &'static str, list: &[String]) -> Parameter {
    let width = list.iter().map(String::len).max().unwrap_or(0).min(255);
    let data = list
        .iter()
        .flat_map(|text| text.bytes().chain(std::iter::repeat(b' ')).take(width))
        .collect();
    Parameter { group, name, kind: -1, dims: vec![width as u8, list.len() as u8], data }
}

fn data(recording: &Recording, style: &C3dStyle, scale: f32, bytes: &mut Vec<u8>) {
    let processor = style.processor;
    for row in recording.positions.chunks_exact(recording.joints.len().max(1)) {
        for p in row {
            let gap = p[0].is_nan();
            let numbers = if gap { [0.0, 0.0, 0.0, -1.0] } else { [p[0], p[1], p[2], 0.0] };
            for (n, x) in numbers.into_iter().enumerate() {
                if !style.integers {
                    bytes.extend(processor.f32_bytes(x as f32));
                } else {
                    let steps = if n == 3 { x } else { (x / f64::from(scale)).round() };
                    bytes.extend(processor.u16_bytes(steps as i16 as u16));
                }
            }
        }
        let size = if style.integers { 2 } else { 4 };
        bytes.resize(bytes.len() + usize::from(style.analog) * size, 0);
    }
}
