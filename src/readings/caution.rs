//! What must be said of a measurement: codes with data. The sentences are made
//! in `report/cautions.rs`.

use serde::{Deserialize, Serialize};

use super::conditions::{Conditions, ReferenceKind};
use super::found::{CopyState, TuningHint, Vibrato};
use super::values::{ChannelUsed, Problem};
use crate::signal::timed::edges::NoPassage;
use crate::units::{Decibels, Hertz, Percent, Seconds};

/// Something to keep in mind with a measurement. Records and JSON have it as
/// [`Told`], whose sentence is made on the floor of words.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(from = "Told", into = "Told")]
#[allow(missing_docs)] // the names say it; the sentences stand where they are made
pub enum Caution {
    /// In words that are there already: a kept line's, or of what failed.
    Told(Told),

    // Of the reference.
    OwnErrorUnknown(Origin),
    HomeMade(Origin),
    RecordedHere,
    /// What is taken, what else it could be, and what is heard; `None` while the
    /// trimmer is turned, for the mean is nothing that the machine runs at.
    WhichTone([Hertz; 2], Option<Hertz>),
    /// What the tape says, or its card, named here, and what it is held against.
    Contradicts([String; 2], Option<String>),
    /// Whether it gives drift.
    GivesNoFlutter(ReferenceKind, bool),

    // Of a tone and its signal.
    Silence,
    NoTone,
    LikeATone,
    WrongTone(Hertz),
    /// What is heard, and the usual tone that it may be.
    AnotherTone(Hertz, Hertz),
    /// What is heard, and the hum that it may be.
    LikeHum(Hertz, Hertz),
    /// What is heard, and whether that is half speed or double.
    OtherSpeed(Hertz, Ratio),
    OtherMains,
    ToneLost(u64),
    ToneTooLow(Hertz),
    /// Samples, and their share of all where that is worth a figure.
    Clipped(u64, Option<Percent>),
    /// Whether they are alarming.
    Dropouts(u64, bool),
    /// The same as is said live.
    Trouble(Problem, ReferenceKind),
    /// How much louder the right channel is.
    LevelsDiffer(Decibels),
    /// RMS, and how often it comes.
    HeavyWow(Percent, Hertz),

    // Of lines of flutter and of two channels.
    /// Too short for lines.
    NoLinesYet,
    /// The card of this name is that of a kind of machine.
    GenericParts(String),
    /// The time between the channels is near half a period: it may be the other
    /// way round.
    LagNearHalfPeriod(f64),
    ChannelInverted,

    // Of a speed that was no steady one.
    TooShort,
    /// Whether it falls.
    Drifting(bool),
    Moved(u64),
    /// Before and after a moment, or in both halves.
    MovedBetween([Percent; 2], Option<Seconds>),
    /// Where the steady stretch lies that was measured.
    MovedBefore(Option<[Seconds; 2]>),
    Swept,

    // Of notes and music.
    NoNote,
    /// What is heard, and what was named.
    WrongNote(Hertz, Hertz),
    OctaveOff(Hertz, Ratio),
    /// Semitones to the nearer one, and how far off it that is.
    NearerNote(i32, Percent),
    Vibrato(Vibrato),
    PartialsStretched(f64),
    /// Whether it is the clearer one, and how far the other is off it.
    ChannelTaken(ChannelUsed, bool, Percent),
    VoicesApart(Percent),
    OrganStops,
    Music,
    Tuning(TuningHint),

    // Of passages and marks.
    NoPassage(NoPassage),
    /// How long it was, how long it should be, how far that is off, and whether
    /// it was timed by hand.
    PassageOff([Seconds; 2], Percent, bool),
    PassageAtSpeed(Seconds, Ratio),
    /// How long it sounds, how long it should, and how much silence is needed.
    PassageGoesOn([Seconds; 3]),
    /// The ±, and the length.
    EndsUnknown(Seconds, Seconds),
    EdgesSoft(Seconds),
    ByHand(Seconds),
    LoneClick,
    /// And the spacing that was named.
    NoMarks(NoMarks, Seconds),
    MarksOff(Seconds, Percent),
    /// How many, of how many.
    MarksMissing(u64, u64),
    SoundsLeftOut,
    /// Left and right: from when to when.
    TwoPassages([[Seconds; 2]; 2]),
    /// Left and right: how far apart the marks stand.
    TwoSpacings([Seconds; 2]),

    // Of the place in a copy.
    /// And the sound that was heard.
    NoPlace(CopyState, Seconds),
    PlaceRepeats,
    PlaceLost(u32),

    // Of a file.
    BeyondTheEnd(Seconds),
    /// What is missing, where that is known.
    CutShort(Option<Seconds>),
    Undecodable(u64),
    NoNumbers(u64),
    PartRead(Seconds),
    ThroughPipe,
    ToneNotNeeded,
}

/// As scripts and records have it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Told {
    /// For scripts.
    pub code: CautionCode,
    /// For people: a sentence or two.
    pub text: String,
}

/// Where a tape of which nobody knows its own error was recorded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Nobody has said.
    Unknown,
    /// The tape says so: name of the machine.
    OfIdent(String),
    /// Somebody says so.
    Said(String),
}

/// A machine at its other speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // the names say it
pub enum Ratio {
    Half,
    Double,
}

/// Why marks tell nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // the names say it
pub enum NoMarks {
    Silence,
    Nothing,
    One,
    /// Sounds that are no row.
    NoRow(usize),
}

/// The codes that scripts rely on. More may come; none changes its meaning.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // the names say it
pub enum CautionCode {
    ReferenceErrorUnknown,
    ReferenceHomeMade,
    ReferenceAmbiguous,
    ReferenceRecordedHere,
    RecordTooShort,
    ToneTooLow,
    ToneNotFound,
    ToneLost,
    HalfOrDoubleSpeed,
    MainsFrequencyMismatch,
    Clipped,
    Dropouts,
    Hum,
    LowSnr,
    ChannelsDisagree,
    SpeedMoved,
    Drifting,
    FileCutShort,
    FileUnreadable,
    SamplesReplaced,
    NotYetMeasured,
    ReferenceNotFound,
    ReferenceCutOff,
    ReferenceMismatch,
    ReferenceGivesNoFlutter,
    EdgesSoft,
    MarksMissing,
    Vibrato,
    PartialsStretched,
    TuningHint,
    ReferenceContradictsTape,
    PartRead,
    ToneNotNeeded,
    VoicesApart,
    OneChannel,
    LinesTooShort,
    ChannelPeriodAmbiguous,
    ChannelInverted,
    PartsCardGeneric,
    LevelsDiffer,
    HeavyWow,
    ThroughPipe,
    /// In a kept line of a version that knows more codes; its words say what.
    #[serde(other)]
    Other,
}

impl Caution {
    /// In these words.
    pub fn told(code: CautionCode, text: impl Into<String>) -> Self {
        Self::Told(Told {
            code,
            text: text.into(),
        })
    }

    /// What must be said of the reference's own error.
    pub fn of_reference(conditions: &Conditions) -> Option<Self> {
        let reference = &conditions.reference;
        if reference.recorded_here {
            Some(Self::RecordedHere)
        } else if reference.home_made {
            Some(Self::HomeMade(Origin::Unknown))
        } else {
            let is_unknown = reference.uncertainty.is_none();
            is_unknown.then_some(Self::OwnErrorUnknown(Origin::Unknown))
        }
    }

    /// For scripts.
    #[allow(clippy::match_same_arms)] // rows of a table
    pub fn code(&self) -> CautionCode {
        use Caution as C;
        use CautionCode as Code;
        match self {
            C::Told(told) => told.code,
            C::OwnErrorUnknown(_) => Code::ReferenceErrorUnknown,
            C::HomeMade(_) => Code::ReferenceHomeMade,
            C::RecordedHere => Code::ReferenceRecordedHere,
            C::WhichTone(..) | C::NearerNote(..) | C::OrganStops => Code::ReferenceAmbiguous,
            C::LoneClick | C::PlaceRepeats => Code::ReferenceAmbiguous,
            C::NoPlace(CopyState::Ambiguous, _) => Code::ReferenceAmbiguous,
            C::Contradicts(..) => Code::ReferenceContradictsTape,
            C::GivesNoFlutter(..) => Code::ReferenceGivesNoFlutter,
            C::Silence | C::NoTone | C::LikeATone | C::NoNote | C::Music => Code::ToneNotFound,
            C::WrongTone(_) | C::AnotherTone(..) | C::WrongNote(..) => Code::ToneNotFound,
            C::LikeHum(..) => Code::Hum,
            C::OtherSpeed(..) | C::OctaveOff(..) => Code::HalfOrDoubleSpeed,
            C::PassageAtSpeed(..) => Code::HalfOrDoubleSpeed,
            C::OtherMains => Code::MainsFrequencyMismatch,
            C::ToneLost(_) => Code::ToneLost,
            C::ToneTooLow(_) => Code::ToneTooLow,
            C::Clipped(..) => Code::Clipped,
            C::Dropouts(..) => Code::Dropouts,
            C::Trouble(problem, _) => of_problem(problem),
            C::LevelsDiffer(_) => Code::LevelsDiffer,
            C::NoLinesYet => Code::LinesTooShort,
            C::GenericParts(_) => Code::PartsCardGeneric,
            C::LagNearHalfPeriod(_) => Code::ChannelPeriodAmbiguous,
            C::ChannelInverted => Code::ChannelInverted,
            C::TwoPassages(_) | C::TwoSpacings(_) => Code::ChannelsDisagree,
            C::HeavyWow(..) => Code::HeavyWow,
            C::TooShort | C::BeyondTheEnd(_) => Code::RecordTooShort,
            C::NoPlace(CopyState::Listening | CopyState::Following, _) => Code::RecordTooShort,
            C::Drifting(_) => Code::Drifting,
            C::Moved(_) | C::MovedBetween(..) | C::MovedBefore(_) => Code::SpeedMoved,
            C::Swept => Code::SpeedMoved,
            C::ChannelTaken(..) => Code::ChannelsDisagree,
            C::Vibrato(_) => Code::Vibrato,
            C::PartialsStretched(_) => Code::PartialsStretched,
            C::VoicesApart(_) => Code::VoicesApart,
            C::Tuning(_) => Code::TuningHint,
            C::NoPassage(NoPassage::Begun | NoPassage::Unended) => Code::ReferenceCutOff,
            C::PassageGoesOn(_) | C::PlaceLost(_) => Code::ReferenceCutOff,
            C::NoPassage(_) | C::NoMarks(..) | C::NoPlace(..) => Code::ReferenceNotFound,
            C::EndsUnknown(..) => Code::ReferenceNotFound,
            C::PassageOff(..) | C::MarksOff(..) => Code::ReferenceMismatch,
            C::EdgesSoft(_) | C::ByHand(_) => Code::EdgesSoft,
            C::MarksMissing(..) | C::SoundsLeftOut => Code::MarksMissing,
            C::CutShort(_) => Code::FileCutShort,
            C::Undecodable(_) | C::NoNumbers(_) => Code::SamplesReplaced,
            C::PartRead(_) => Code::PartRead,
            C::ThroughPipe => Code::ThroughPipe,
            C::ToneNotNeeded => Code::ToneNotNeeded,
        }
    }
}

#[allow(clippy::match_same_arms)] // rows of a table
fn of_problem(problem: &Problem) -> CautionCode {
    use CautionCode as Code;
    match problem {
        Problem::NoSignal | Problem::NoTone | Problem::WrongTone(_) => Code::ToneNotFound,
        Problem::ToneLost => Code::ToneLost,
        Problem::Clipped => Code::Clipped,
        Problem::Hum { .. } => Code::Hum,
        Problem::LowSnr(_) | Problem::LowLevel(_) => Code::LowSnr,
        Problem::Dropouts(_) => Code::Dropouts,
        Problem::OneChannel(_) => Code::OneChannel,
        Problem::OtherSound { .. } | Problem::ChannelsDisagree => Code::ChannelsDisagree,
        Problem::ChannelTaken(_) => Code::ChannelsDisagree,
        Problem::Ambiguous { .. } => Code::ReferenceAmbiguous,
    }
}

impl From<Told> for Caution {
    fn from(told: Told) -> Self {
        Self::Told(told)
    }
}
