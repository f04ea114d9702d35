use serde::{Deserialize, Serialize};

/// A side of the body, the person's own left or right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// The person's left.
    Left,
    /// The person's right.
    Right,
}

impl Side {
    /// The other side.
    #[must_use]
    pub fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }
}

macro_rules! joints {
    ($($(#[$doc:meta])* $variant:ident = $name:literal,)*) => {
        /// The canonical set of joints. Readers map into it and leave out what the source lacks.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum Joint {
            $($(#[$doc])* $variant,)*
        }

        impl Joint {
            /// Every joint, in canonical order.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The canonical name, for example `left_shoulder`.
            #[must_use]
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)* }
            }

            /// The joint with this canonical name.
            #[must_use]
            pub fn from_name(name: &str) -> Option<Self> {
                match name { $($name => Some(Self::$variant),)* _ => None }
            }
        }
    };
}

joints! {
    /// Tip of the nose.
    Nose = "nose",
    /// Left eye.
    LeftEye = "left_eye",
    /// Right eye.
    RightEye = "right_eye",
    /// Left ear.
    LeftEar = "left_ear",
    /// Right ear.
    RightEar = "right_ear",
    /// Centre of the head.
    Head = "head",
    /// Base of the neck (between the shoulders where the source says no better).
    Neck = "neck",
    /// Left shoulder joint.
    LeftShoulder = "left_shoulder",
    /// Right shoulder joint.
    RightShoulder = "right_shoulder",
    /// Left elbow joint.
    LeftElbow = "left_elbow",
    /// Right elbow joint.
    RightElbow = "right_elbow",
    /// Left wrist joint.
    LeftWrist = "left_wrist",
    /// Right wrist joint.
    RightWrist = "right_wrist",
    /// Middle of the left hand (the knuckle of the middle finger where that is what is marked).
    LeftHand = "left_hand",
    /// Middle of the right hand (the knuckle of the middle finger where that is what is marked).
    RightHand = "right_hand",
    /// Left thumb knuckle.
    LeftThumb = "left_thumb",
    /// Right thumb knuckle.
    RightThumb = "right_thumb",
    /// Left index knuckle.
    LeftIndex = "left_index",
    /// Right index knuckle.
    RightIndex = "right_index",
    /// Left little-finger knuckle.
    LeftLittle = "left_little",
    /// Right little-finger knuckle.
    RightLittle = "right_little",
    /// Left hip joint.
    LeftHip = "left_hip",
    /// Right hip joint.
    RightHip = "right_hip",
    /// Left knee joint.
    LeftKnee = "left_knee",
    /// Right knee joint.
    RightKnee = "right_knee",
    /// Left ankle joint.
    LeftAnkle = "left_ankle",
    /// Right ankle joint.
    RightAnkle = "right_ankle",
    /// Left heel.
    LeftHeel = "left_heel",
    /// Right heel.
    RightHeel = "right_heel",
    /// Left big toe.
    LeftToe = "left_toe",
    /// Right big toe.
    RightToe = "right_toe",
    /// Tip of the racket head.
    RacketTip = "racket_tip",
    /// Throat of the racket, where the shaft meets the head.
    RacketThroat = "racket_throat",
}

impl Joint {
    /// The joints a serve cannot do without; every reader delivers them or says what is missing.
    pub const CORE: [Self; 12] = [
        Self::LeftShoulder,
        Self::RightShoulder,
        Self::LeftElbow,
        Self::RightElbow,
        Self::LeftWrist,
        Self::RightWrist,
        Self::LeftHip,
        Self::RightHip,
        Self::LeftKnee,
        Self::RightKnee,
        Self::LeftAnkle,
        Self::RightAnkle,
    ];

    /// The side this joint belongs to; `None` for the midline and the racket.
    #[must_use]
    pub fn side(self) -> Option<Side> {
        let name = self.name();
        if name.starts_with("left_") {
            Some(Side::Left)
        } else if name.starts_with("right_") {
            Some(Side::Right)
        } else {
            None
        }
    }

    /// The same joint of the other side; midline joints and the racket are their own mirror.
    #[must_use]
    pub fn mirrored(self) -> Self {
        use Joint::*;
        match self {
            LeftEye => RightEye,
            RightEye => LeftEye,
            LeftEar => RightEar,
            RightEar => LeftEar,
            LeftShoulder => RightShoulder,
            RightShoulder => LeftShoulder,
            LeftElbow => RightElbow,
            RightElbow => LeftElbow,
            LeftWrist => RightWrist,
            RightWrist => LeftWrist,
            LeftHand => RightHand,
            RightHand => LeftHand,
            LeftThumb => RightThumb,
            RightThumb => LeftThumb,
            LeftIndex => RightIndex,
            RightIndex => LeftIndex,
            LeftLittle => RightLittle,
            RightLittle => LeftLittle,
            LeftHip => RightHip,
            RightHip => LeftHip,
            LeftKnee => RightKnee,
            RightKnee => LeftKnee,
            LeftAnkle => RightAnkle,
            RightAnkle => LeftAnkle,
            LeftHeel => RightHeel,
            RightHeel => LeftHeel,
            LeftToe => RightToe,
            RightToe => LeftToe,
            Nose | Head | Neck | RacketTip | RacketThroat => self,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_round_trip_and_mirrors_swap_sides() {
        for &joint in Joint::ALL {
            assert_eq!(Joint::from_name(joint.name()), Some(joint));
            assert_eq!(joint.mirrored().mirrored(), joint);
            assert_eq!(joint.mirrored().side(), joint.side().map(Side::other));
        }
    }
}
