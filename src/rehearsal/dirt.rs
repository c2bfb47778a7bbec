//! What a simulated volume control is like and where it is dirty, and the
//! faults that it plays.

use super::noise::{Purpose, Random};

/// How the control is made and how dirty it is.
#[derive(Clone, Debug, PartialEq)]
pub struct ControlConfig {
    /// Samples a second.
    pub rate_hz: u32,
    /// Interleaved channels, 1 or 2.
    pub channels: u16,
    /// Gain is position to this power: 1 is a linear track, 3 about a
    /// logarithmic one.
    pub taper: f64,
    /// How much louder the right track is at the lower end in dB; nothing at
    /// the upper end.
    pub tracking_db: f64,
    /// Places where contact breaks.
    pub break_spots: u32,
    /// How deep each break is in dB.
    pub break_depth_db: f64,
    /// How long each lasts in seconds, from half-way down to half-way up.
    pub break_length_s: f64,
    /// How long the level takes to fall and to rise, in seconds.
    pub break_edge_s: f64,
    /// Places where it crackles.
    pub crackle_spots: u32,
    /// Peak of the strongest scratch in dB below full scale.
    pub crackle_dbfs: f64,
    /// The dirt lies between these positions.
    pub dirt_between: [f64; 2],
    /// Which tracks are dirty.
    pub dirty: DirtyTracks,
}

/// Which tracks of the control are dirty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DirtyTracks {
    /// The left one only.
    Left,
    /// The right one only.
    Right,
    /// Both, each break in both.
    Both,
    /// Some spots on one, some on the other, some on both.
    Mixed,
}

impl ControlConfig {
    /// A clean control whose tracks agree.
    pub fn clean() -> Self {
        Self {
            rate_hz: 48_000,
            channels: 2,
            taper: 2.0,
            tracking_db: 0.0,
            break_spots: 0,
            break_depth_db: 0.0,
            break_length_s: 0.0,
            break_edge_s: 0.0003,
            crackle_spots: 0,
            crackle_dbfs: -20.0,
            dirt_between: [0.25, 0.95],
            dirty: DirtyTracks::Mixed,
        }
    }

    /// An old control as the seed will have it.
    pub fn dirty(seed: u64) -> Self {
        let mut random = Random::new(seed, Purpose::Control);
        Self {
            taper: random.between(1.5, 3.0),
            tracking_db: random.between(-2.5, 2.5),
            break_spots: 2 + (random.unit() * 3.0) as u32,
            break_depth_db: random.between(8.0, 30.0),
            break_length_s: random.between(0.004, 0.03),
            break_edge_s: random.between(0.0001, 0.001),
            crackle_spots: 3 + (random.unit() * 5.0) as u32,
            crackle_dbfs: random.between(-26.0, -14.0),
            ..Self::clean()
        }
    }
}

/// What a dirty spot does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ControlFaultKind {
    /// The level falls and comes back.
    Break,
    /// A scratch.
    Crackle,
}

/// A fault that was played: the truth that a reading is held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ControlFault {
    /// Frame at which it begins, counted from the first one passed.
    pub frame: u64,
    /// What it is.
    pub kind: ControlFaultKind,
    /// Whether the left and the right track have it.
    pub tracks: [bool; 2],
}

impl DirtyTracks {
    /// Which tracks the next spot lies on.
    pub(super) fn thrown(self, random: &mut Random) -> [bool; 2] {
        let drawn = (random.unit() * 3.0) as u32;
        match (self, drawn) {
            (Self::Left, _) | (Self::Mixed, 0) => [true, false],
            (Self::Right, _) | (Self::Mixed, 1) => [false, true],
            (Self::Both | Self::Mixed, _) => [true, true],
        }
    }
}
