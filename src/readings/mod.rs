//! Floor 2: what a technician reads.
//!
//! [`Engine`] is the only door: samples in, [`Reading`] or [`Measurement`]
//! out. It counts samples and knows no clock, no file, no thread: the same
//! samples give the same numbers whatever the block size.

mod alike;
mod along;
mod assemble;
mod averaging;
mod belief;
mod blocks;
mod by_ear;
mod conditions;
pub mod contact;
mod digits;
mod engine;
mod expanded;
mod fluctuation;
mod flutter;
mod guidance;
mod health;
mod holding;
mod ident;
mod judge;
mod keep;
pub mod matching;
mod noise;
mod notes;
mod reading;
mod short;
mod stability;
mod straying;
mod stretch;
mod sweep;
pub mod timed;
mod warming;
mod without_tone;
mod yardstick;

pub use along::{Along, Place, Position};
pub use by_ear::ByEar;
pub use conditions::{
    ChannelChoice, ClockSource, Conditions, Nominal, ReferenceError, ReferenceKind, SampleClock,
    USUAL_TONES,
};
pub use engine::{Engine, EngineError, KeepRequest, Settings};
pub use expanded::Expanded;
pub use flutter::weighting;
pub use guidance::{Advice, Guidance};
pub use holding::{Holding, Shift};
pub use ident::{IdentListener, TapeIdent};
pub use matching::MatchFigures;
pub use notes::{NoteFigures, TuningHint, TuningMeter, Vibrato};
pub use reading::{
    Caution, CautionCode, ChannelUsed, DriftReading, Dropout, FlutterReading, Keeping, Likely,
    Measurement, Problem, Reading, SignalFigures, SignalHealth, SpeedFigures, SpeedReading,
    Steadiness, ToneState, UncertaintyParts, WrongTone,
};
pub use stability::{StabilityPoint, Worth};
pub use sweep::{
    BadSpot, Direction, Pass, SpotKind, SpotSeen, SweepPicture, SweepProgress, SweepReport,
    SweepVerdict, Sweeping, Unclear, judge_track,
};
pub use timed::{MarksFigures, PassageFigures};
pub use warming::Warming;
pub use yardstick::Yardstick;
