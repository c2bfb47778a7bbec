//! Floor 2: what a technician reads.
//!
//! [`Engine`] is the door for all that is live and for a recorded tone: samples
//! in, [`Reading`] or [`Measurement`] out. Beside it stand a meter for each
//! other kind of recorded reference, the contact check, and what listens for
//! idents and tuning. All count samples and know no clock, no file,
//! no thread: the same samples give the same numbers whatever the block size.

mod alike;
mod along;
mod assemble;
mod averaging;
mod belief;
mod blocks;
mod by_ear;
mod caution;
mod cautions;
mod channels;
mod conditions;
pub mod contact;
mod course;
mod digits;
mod engine;
mod expanded;
mod fluctuation;
mod flutter;
mod followed;
mod found;
mod guidance;
mod health;
mod holding;
mod ident;
mod judge;
mod keep;
mod lines;
pub mod matching;
mod measurement;
mod meter;
mod noise;
mod notes;
mod settings;
mod short;
mod stability;
mod straying;
mod stretch;
mod sweep;
mod target;
pub mod timed;
mod track;
mod values;
mod verdict;
mod vibrato;
mod warming;
mod wavering;
mod weighting;
mod without_tone;
mod wow;

pub use crate::signal::timed::edges::NoPassage;
pub use along::{Along, Place, Position};
pub use by_ear::ByEar;
pub use caution::{Caution, CautionCode, NoMarks, Origin, Ratio, Told};
pub use conditions::{
    ChannelChoice, ClockSource, Conditions, HOME_MADE, Nominal, ReferenceError, ReferenceKind,
    SampleClock, USUAL_TONES,
};
pub use course::SteadyParts;
pub use engine::{Engine, recorded};
pub use expanded::Expanded;

pub use found::{
    CopyState, MarksFigures, MatchFigures, NoteFigures, PassageFigures, PlaceInCopy, TapeIdent,
    TuningHint, Vibrato,
};
pub use guidance::{Advice, Guidance};
pub use health::DROPOUTS_ALLOWED;
pub use holding::{Holding, Shift};
pub use ident::IdentListener;
pub use measurement::{Keeping, Measurement, PassageState, Progress, Reading};
pub use meter::Meter;
pub use notes::TuningMeter;
pub use settings::{EngineError, KeepRequest, Settings, check_rate};
pub use stability::{StabilityPoint, Worth};
pub use sweep::{
    BadSpot, Direction, FEIGNED_BACKLASH, Pass, SpotKind, SpotSeen, SweepPicture, SweepProgress,
    SweepReport, SweepVerdict, Sweeping, Unclear, judge_track, judge_track_within,
};
pub use target::Target;
pub use track::Track;
pub use values::{
    ChannelUsed, Cut, DriftReading, Dropout, FlutterReading, Likely, Problem, SignalFigures,
    SignalHealth, SpeedFigures, SpeedReading, Steadiness, SteadyStretch, ToneState,
    UncertaintyParts, WrongTone,
};
pub use verdict::{Verdict, Way};
pub use warming::Warming;
pub use wavering::{
    Chirp, FlutterLine, FlutterLines, LikelyPart, LineAt, LineCourse, LineMotion, MonoLoss,
    SPECTRUM_CELLS, SPECTRUM_HZ, TREBLE, TwoChannels,
};
pub use weighting::weighting;
