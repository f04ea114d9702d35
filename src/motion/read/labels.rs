//! What a label means: marker names of the conventional gait set, joint-centre names, and plain
//! joint names in whatever spelling (`left_wrist`, `LWrist`, `R.Knee.Lat`).

use crate::motion::{Joint, Side};

/// What one label stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    /// The joint itself.
    Centre(Joint),
    /// One of two markers that bracket a joint: the outer (or thumb-side) one first.
    Bracket(Joint, usize),
    /// On top of the shoulder blade.
    Acromion(Side),
    /// Front of the pelvis.
    PelvisFront(Side),
    /// Back of the pelvis.
    PelvisBack(Side),
    /// Back of the pelvis, midline.
    Sacrum,
    /// On a band about the head: front left, front right, back left, back right.
    HeadBand(usize),
    /// Base of the neck, behind (C7) and in front (top of the breastbone).
    NeckBack,
    /// Top of the breastbone.
    NeckFront,
    /// Understood and not needed.
    Known,
}

/// The role of `label`, without subject prefix; `None` if it is not understood.
pub(super) fn role(label: &str) -> Option<Role> {
    let label = label.trim();
    if let Some(joint) = Joint::from_name(label) {
        return Some(Role::Centre(joint));
    }
    gait_name(&label.to_ascii_uppercase()).or_else(|| spelled_out(label))
}

fn joint_of(side: Side, left: Joint) -> Joint {
    match side {
        Side::Left => left,
        Side::Right => left.mirrored(),
    }
}

/// Names of the conventional gait marker set: `L` or `R` and a short code.
fn gait_name(name: &str) -> Option<Role> {
    match name {
        "C7" => return Some(Role::NeckBack),
        "CLAV" => return Some(Role::NeckFront),
        "SACR" | "SACRUM" => return Some(Role::Sacrum),
        "T10" | "STRN" | "RBAK" | "LBAK" => return Some(Role::Known),
        _ => {}
    }
    let side = match name.as_bytes().first()? {
        b'L' => Side::Left,
        b'R' => Side::Right,
        _ => return None,
    };
    let left = |joint| Some(Role::Centre(joint_of(side, joint)));
    let bracket = |joint, which| Some(Role::Bracket(joint_of(side, joint), which));
    match name.get(1..)? {
        "SHO" => Some(Role::Acromion(side)),
        "SJC" => left(Joint::LeftShoulder),
        "EJC" => left(Joint::LeftElbow),
        "WJC" => left(Joint::LeftWrist),
        "HJC" => left(Joint::LeftHip),
        "KJC" => left(Joint::LeftKnee),
        "AJC" => left(Joint::LeftAnkle),
        "ELB" | "ELBL" | "LEL" => bracket(Joint::LeftElbow, 0),
        "ELBM" | "MEL" => bracket(Joint::LeftElbow, 1),
        "WRA" => bracket(Joint::LeftWrist, 0),
        "WRB" => bracket(Joint::LeftWrist, 1),
        "FIN" => left(Joint::LeftHand),
        "ASI" | "ASIS" => Some(Role::PelvisFront(side)),
        "PSI" | "PSIS" => Some(Role::PelvisBack(side)),
        "KNE" | "KNEL" => bracket(Joint::LeftKnee, 0),
        "KNEM" | "KNM" | "MKNE" => bracket(Joint::LeftKnee, 1),
        "ANK" | "ANKL" => bracket(Joint::LeftAnkle, 0),
        "ANKM" | "ANM" | "MED" | "MMA" | "MANK" => bracket(Joint::LeftAnkle, 1),
        "HEE" | "HEEL" => left(Joint::LeftHeel),
        "TOE" => left(Joint::LeftToe),
        "FHD" => Some(Role::HeadBand(usize::from(side == Side::Right))),
        "BHD" => Some(Role::HeadBand(2 + usize::from(side == Side::Right))),
        "UPA" | "FRM" | "FRA" | "THI" | "TIB" | "MT1" | "MT5" => Some(Role::Known),
        _ => None,
    }
}

/// Joint names written out, with the side as a word or a letter before or after.
fn spelled_out(label: &str) -> Option<Role> {
    let words = words(label);
    let side_of = |word: &str| match word {
        "l" | "left" => Some(Side::Left),
        "r" | "right" => Some(Side::Right),
        _ => None,
    };
    let mut side = None;
    let mut part = String::new();
    for word in &words {
        match side_of(word) {
            Some(found) if side.is_none() => side = Some(found),
            _ => part.push_str(word),
        }
    }
    if side.is_none()
        && let [word] = words.as_slice()
        && let (Some(first), Some(rest)) = (word.get(..1), word.get(1..))
        && let Some(found) = side_of(first)
    {
        return sided(found, rest);
    }
    match side {
        Some(side) => sided(side, &part),
        None => midline(&part),
    }
}

fn sided(side: Side, part: &str) -> Option<Role> {
    let left = |joint| Some(Role::Centre(joint_of(side, joint)));
    let bracket = |joint, which| Some(Role::Bracket(joint_of(side, joint), which));
    match part {
        "eye" => left(Joint::LeftEye),
        "ear" => left(Joint::LeftEar),
        "shoulder" => left(Joint::LeftShoulder),
        "acromion" => Some(Role::Acromion(side)),
        "elbow" => left(Joint::LeftElbow),
        "elbowlat" | "elbowlateral" => bracket(Joint::LeftElbow, 0),
        "elbowmed" | "elbowmedial" => bracket(Joint::LeftElbow, 1),
        "wrist" => left(Joint::LeftWrist),
        "wristlat" | "wristlateral" | "wristradius" | "wristradial" => bracket(Joint::LeftWrist, 0),
        "wristmed" | "wristmedial" | "wristulna" | "wristulnar" => bracket(Joint::LeftWrist, 1),
        "hand" | "middleknuckle" => left(Joint::LeftHand),
        "thumb" | "thumbknuckle" => left(Joint::LeftThumb),
        "index" | "indexfinger" | "indexknuckle" => left(Joint::LeftIndex),
        "little" | "littlefinger" | "littleknuckle" | "pinky" => left(Joint::LeftLittle),
        "hip" => left(Joint::LeftHip),
        "asis" => Some(Role::PelvisFront(side)),
        "psis" => Some(Role::PelvisBack(side)),
        "knee" => left(Joint::LeftKnee),
        "kneelat" | "kneelateral" => bracket(Joint::LeftKnee, 0),
        "kneemed" | "kneemedial" => bracket(Joint::LeftKnee, 1),
        "ankle" => left(Joint::LeftAnkle),
        "anklelat" | "anklelateral" => bracket(Joint::LeftAnkle, 0),
        "anklemed" | "anklemedial" => bracket(Joint::LeftAnkle, 1),
        "heel" => left(Joint::LeftHeel),
        "toe" | "bigtoe" | "toetip" | "footindex" => left(Joint::LeftToe),
        "smalltoe" | "eyeinner" | "eyeouter" | "mouth" => Some(Role::Known),
        _ => None,
    }
}

fn midline(part: &str) -> Option<Role> {
    Some(match part {
        "nose" => Role::Centre(Joint::Nose),
        "head" => Role::Centre(Joint::Head),
        "neck" => Role::Centre(Joint::Neck),
        "rackettip" | "racquettip" => Role::Centre(Joint::RacketTip),
        "racketthroat" | "racquetthroat" => Role::Centre(Joint::RacketThroat),
        "sacral" | "vsacral" => Role::Sacrum,
        "spine" | "hip" | "midhip" | "pelvis" | "chest" | "hipcentre" | "hipcenter" => Role::Known,
        _ => return None,
    })
}

/// Lower-case words of a label: broken at anything but letters and digits, and where the case
/// turns (`RBigToe` = r, big, toe).
pub(super) fn words(label: &str) -> Vec<String> {
    let letters: Vec<char> = label.chars().collect();
    let mut words = Vec::new();
    let mut word = String::new();
    for (at, &c) in letters.iter().enumerate() {
        if !c.is_alphanumeric() {
            words.push(std::mem::take(&mut word));
            continue;
        }
        let before = at.checked_sub(1).map(|at| letters[at]);
        let after = letters.get(at + 1);
        let turns = c.is_uppercase()
            && before.is_some_and(|before| {
                before.is_lowercase()
                    || (before.is_uppercase() && after.is_some_and(|after| after.is_lowercase()))
            });
        if turns {
            words.push(std::mem::take(&mut word));
        }
        word.extend(c.to_lowercase());
    }
    words.push(word);
    words.retain(|word| !word.is_empty());
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_joint_in_many_spellings() {
        for label in
            ["left_wrist", "LeftWrist", "LWrist", "lwrist", "l_wrist", "Wrist_L", "L.Wrist", "LWJC"]
        {
            assert_eq!(role(label), Some(Role::Centre(Joint::LeftWrist)), "{label}");
        }
        assert_eq!(role("RBigToe"), Some(Role::Centre(Joint::RightToe)));
        assert_eq!(role("R.Knee.Lat"), Some(Role::Bracket(Joint::RightKnee, 0)));
        assert_eq!(role("LWRB"), Some(Role::Bracket(Joint::LeftWrist, 1)));
        assert_eq!(role("racket_tip"), Some(Role::Centre(Joint::RacketTip)));
    }

    #[test]
    fn angles_and_nonsense_are_not_joints() {
        for label in ["LShoulderAngles", "CentreOfMass", "*17", "", "L", "R", "left", "Émile"] {
            assert_eq!(role(label), None, "{label}");
        }
    }
}
