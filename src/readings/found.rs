//! What was found of a reference besides its speed, as plain values: of a
//! note, a passage, marks, a copy, and of what a tape says of itself.

use serde::{Deserialize, Serialize};

use crate::units::{Cents, Hertz, Percent, Seconds};

/// A regular wavering of the pitch: the player's vibrato or the machine's wow.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Vibrato {
    /// Turns a second.
    pub rate: Hertz,
    /// Peak, to either side.
    pub depth: Percent,
}

/// Of a held note.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NoteFigures {
    /// `None` where the pitch does not waver regularly.
    pub vibrato: Option<Vibrato>,
    /// B of a stiff string, fₙ = n f₀ √(1 + B n²); 0 where none shows.
    pub stiffness: f64,
    /// Numbers of the partials that the speed was read from.
    pub partials: Vec<u32>,
}

/// Music's distance from equal temperament.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TuningHint {
    /// Concert pitch that it is taken against.
    pub concert_pitch: Hertz,
    /// Distance, −50 to 50; the true one may be any number of semitones more
    /// or less.
    pub offset: Cents,
    /// 95 % of it, from the scatter of pieces of the record.
    pub uncertainty: Cents,
    /// Circular standard deviation of the single lines.
    pub scatter: Cents,
}

impl TuningHint {
    /// The same as a deviation of the speed.
    pub fn deviation(&self) -> Percent {
        Percent(100.0 * ((self.offset.0 / 1200.0).exp2() - 1.0))
    }
}

/// A passage of known length, as it was found. Times count from the beginning
/// of the stretch that was measured; the sample clock's known error is taken
/// out of the length, not of the places.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PassageFigures {
    /// First sound; `None` where no beginning was found.
    pub start: Option<Seconds>,
    /// Last sound; `None` where no end was found.
    pub end: Option<Seconds>,
    /// From the first to the last; `None` where either is missing.
    pub length: Option<Seconds>,
    /// How long it lasts at right speed.
    pub expected: Seconds,
}

/// Marks at a known spacing, as they were found.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MarksFigures {
    /// Marks that the figure is made from.
    pub found: u64,
    /// Marks from the first to the last, had none been missing.
    pub expected: u64,
    /// Mean spacing, the sample clock's known error taken out; `None` where
    /// fewer than two marks were found.
    pub spacing: Option<Seconds>,
    /// Spacing at right speed.
    pub nominal: Seconds,
}

/// What is known of the tape's place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CopyState {
    /// No sound yet.
    Silent,
    /// Not enough sound to search for.
    Listening,
    /// Searched for in vain.
    NotFound,
    /// Music that repeats: places with different speeds are as likely.
    Ambiguous,
    /// The place is known, and followed.
    Following,
    /// It was known, and is searched for again.
    Lost,
}

/// Where the tape is in its copy, for those who watch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaceInCopy {
    /// What is known of it.
    pub state: CopyState,
    /// Where the tape is now; `None` unless followed.
    pub now: Option<Seconds>,
    /// How long the copy lasts.
    pub length: Seconds,
    /// Sound that was heard so far.
    pub heard: Seconds,
    /// Another place fits as well, at the same speed.
    pub repeats: bool,
    /// Left and right do not carry the same sound.
    pub two_things: bool,
}

/// Where the tape is in its digital copy.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MatchFigures {
    /// Whether tape and copy are the same recording, as far as can be heard.
    pub accepted: bool,
    /// Place in the copy at which the measured stretch begins; negative where
    /// it begins before the copy, `None` where no place was accepted.
    pub at_copy: Option<Seconds>,
    /// Median of how far single places lie off the line of place against
    /// time: wow, and what the ear for places errs. Of a place that was
    /// refused too; `None` where none was looked at closely.
    pub residual: Option<Seconds>,
    /// Sound that was followed.
    pub followed: Seconds,
}

/// A reference held against another frequency than the tape says, by more than
/// this ratio, is a slip.
const SAME_FREQUENCY: f64 = 0.002;

/// What a tape says of itself, as it is kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TapeIdent {
    /// The machine that the tape was recorded on.
    pub machine: String,
    /// The day, as 2026-11-26.
    pub date: String,
    /// The frequency of the reference on it.
    pub nominal: Hertz,
}

impl TapeIdent {
    /// True where the tape carries another frequency than that which is taken
    /// as right.
    pub fn contradicts(&self, nominal: Hertz) -> bool {
        (self.nominal.0 / nominal.0 - 1.0).abs() > SAME_FREQUENCY
    }
}
