//! C3D as files of 1999 hold it in SGI order: a parameter section of 11 blocks without an end mark,
//! the data right behind it. Laid down here from the public C3D file format guide, not by this
//! project's writer, in three byte orders; the values are those put in.

use super::*;
use crate::motion::Joint;

#[derive(Clone, Copy, PartialEq)]
enum Order {
    Intel,
    Dec,
    Sgi,
}

const BLOCKS: usize = 11;
const LABELS: [&str; 17] = [
    "nose",
    "left_shoulder",
    "right_shoulder",
    "left_elbow",
    "right_elbow",
    "left_wrist",
    "right_wrist",
    "left_hip",
    "right_hip",
    "left_knee",
    "right_knee",
    "left_ankle",
    "right_ankle",
    "left_heel",
    "right_heel",
    "left_toe",
    "right_toe",
];
const FRAMES: usize = 40;

impl Order {
    fn word(self, value: u16) -> [u8; 2] {
        if self == Self::Sgi { value.to_be_bytes() } else { value.to_le_bytes() }
    }

    fn float(self, value: f32) -> [u8; 4] {
        match self {
            Self::Intel => value.to_le_bytes(),
            Self::Sgi => value.to_be_bytes(),
            // VAX F is four times less by the same bits, its halves exchanged.
            Self::Dec => {
                let [a, b, c, d] = (value * 4.0).to_le_bytes();
                [c, d, a, b]
            }
        }
    }
}

fn value(frame: usize, point: usize, axis: usize) -> f32 {
    // Exact in every float, feet below the head.
    let height = 1.75 - 0.0625 * point as f32;
    [0.25 + 0.015625 * frame as f32, 0.5 + 0.03125 * point as f32, height][axis]
}

/// One record: a group (`number` below 0) or a parameter with its kind, dimensions and data.
fn record(order: Order, name: &str, number: i8, rest: &[u8]) -> Vec<u8> {
    let mut bytes = vec![name.len() as u8, number as u8];
    bytes.extend(name.bytes());
    bytes.extend(order.word(2 + rest.len() as u16));
    bytes.extend(rest);
    bytes
}

fn parameter(order: Order, name: &str, kind: i8, dims: &[u8], data: &[u8]) -> Vec<u8> {
    let mut rest = vec![kind as u8, dims.len() as u8];
    rest.extend(dims);
    rest.extend(data);
    // No description.
    rest.push(0);
    record(order, name, 1, &rest)
}

/// `marked`: whether the section ends with the mark, as later writers set it.
fn take(order: Order, marked: bool) -> Vec<u8> {
    let code = match order {
        Order::Intel => 84,
        Order::Dec => 85,
        Order::Sgi => 86,
    };
    let data_block = (2 + BLOCKS) as u16;
    let mut bytes = vec![0; 512];
    bytes[..2].copy_from_slice(&[2, 0x50]);
    let words = [(2, LABELS.len() as u16), (4, 1), (5, FRAMES as u16), (9, data_block)];
    for (n, value) in words {
        bytes[2 * n - 2..2 * n].copy_from_slice(&order.word(value));
    }
    for (n, value) in [(7, -1.0), (11, 60.0)] {
        bytes[2 * n - 2..2 * n + 2].copy_from_slice(&order.float(value));
    }
    bytes.extend([1, 0x50, BLOCKS as u8, code]);
    bytes.extend(record(order, "POINT", -1, &[0]));
    bytes.extend(parameter(order, "USED", 2, &[], &order.word(LABELS.len() as u16)));
    bytes.extend(parameter(order, "SCALE", 4, &[], &order.float(-1.0)));
    bytes.extend(parameter(order, "RATE", 4, &[], &order.float(60.0)));
    bytes.extend(parameter(order, "DATA_START", 2, &[], &order.word(data_block)));
    bytes.extend(parameter(order, "FRAMES", 2, &[], &order.word(FRAMES as u16)));
    bytes.extend(parameter(order, "UNITS", -1, &[1], b"m"));
    let names: String = LABELS.iter().map(|name| format!("{name:<16}")).collect();
    bytes.extend(parameter(order, "LABELS", -1, &[16, LABELS.len() as u8], names.as_bytes()));
    // What else a laboratory keeps fills the section to its last byte.
    let end = (1 + BLOCKS) * 512;
    let filled = end - if marked { 2 } else { 0 };
    while bytes.len() < filled {
        // A record of this name takes 12 bytes beside its data.
        let room = filled - bytes.len();
        let data = vec![b'x'; if room > 12 + 255 { 200 } else { room - 12 }];
        bytes.extend(parameter(order, "FILL", -1, &[data.len() as u8], &data));
    }
    bytes.resize(end, 0);
    assert_eq!(bytes.len(), 6144);
    for frame in 0..FRAMES {
        for point in 0..LABELS.len() {
            for axis in 0..3 {
                bytes.extend(order.float(value(frame, point, axis)));
            }
            bytes.extend(order.float(0.0));
        }
    }
    bytes.resize(bytes.len().next_multiple_of(512), 0);
    bytes
}

#[test]
fn the_same_take_is_read_alike_in_every_byte_order_with_and_without_an_end_mark() {
    for order in [Order::Intel, Order::Dec, Order::Sgi] {
        for marked in [true, false] {
            let bytes = take(order, marked);
            let read = read_bytes(&bytes, &ReadOptions::default()).expect("a sound file");
            assert_eq!((read.frames(), read.rate_hz), (FRAMES, 60.0));
            for frame in 0..FRAMES {
                for (point, label) in LABELS.iter().enumerate() {
                    let at = read.at(frame, Joint::from_name(label).unwrap()).unwrap();
                    let put = [0, 1, 2].map(|axis| f64::from(value(frame, point, axis)));
                    assert_eq!(at, put, "frame {frame}, {label}");
                }
            }
        }
    }
}
