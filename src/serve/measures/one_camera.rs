//! How far measures read from one camera are off, as planted truth shows: drawn serves of a known
//! motion, read back from clips.

/// Root mean square error of measures read from one camera against planted truth, in each measure's
/// unit (deg or s): eight drawn serves by view, rate, blur and size,
/// `tests/fixtures/video/one-camera-planted.csv`. From behind no serve was found, so that view is
/// not in it.
const PLANTED: &[(&str, f64)] = &[
    ("front_knee_flexion_trophy", 15.2),
    ("front_knee_flexion_contact", 8.1),
    ("knee_extension_lead", 0.10),
    ("elbow_flexion_contact", 29.6),
    ("shoulder_elevation_trophy", 11.9),
    ("shoulder_elevation_contact", 32.4),
    ("trunk_inclination_trophy", 4.8),
    ("trunk_inclination_contact", 25.2),
    ("trunk_backward_lean_trophy", 14.8),
    ("trunk_side_tilt_contact", 27.7),
    ("tossing_arm_fall_time", 0.17),
    ("toss_start_to_contact_time", 0.32),
    ("release_to_contact_time", 0.14),
    ("trophy_to_contact_time", 0.11),
    ("racket_low_to_contact_time", 0.08),
    ("contact_to_finish_time", 0.17),
];

/// Root mean square error of one measure from one camera, as measured on drawn serves of known
/// motion, in the measure's unit; `None` where the truth was not planted.
#[must_use]
pub(super) fn planted_error(measure: &str) -> Option<f64> {
    PLANTED.iter().find(|(id, _)| *id == measure).map(|(_, error)| *error)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The constants are what the measurement's file says.
    #[test]
    fn planted_errors_are_those_of_the_measurement() {
        let file = include_str!("../../../tests/fixtures/video/one-camera-planted.csv");
        for (id, stated) in PLANTED {
            let squares: Vec<f64> = file
                .lines()
                .filter_map(|line| {
                    let fields: Vec<&str> = line.split(',').collect();
                    (fields[1] == *id).then(|| fields[2].parse::<f64>().unwrap().powi(2))
                })
                .collect();
            assert_eq!(squares.len(), 8, "{id}");
            let found = (squares.iter().sum::<f64>() / squares.len() as f64).sqrt();
            let slack = if *stated < 1.0 { 0.006 } else { 0.06 };
            assert!((found - stated).abs() <= slack, "{id}: {found}, {stated} stated");
        }
    }
}
