//! What a reading is taken against: the nominal tone, its own error, and the
//! sample clock. Filled in by the floors above.

use serde::{Deserialize, Serialize};

use crate::units::{Hertz, Percent, Ppm};

/// The tones that test tapes usually carry, in hertz.
///
/// 3150 Hz: IEC 60386, DIN 45507, AES6. 3000 Hz: JIS and NAB practice. 1000,
/// 440, 400 and 315 Hz: common practice, no source. 6300 and 10000 Hz lie on
/// alignment tapes and are named when heard; common practice, no source.
pub const USUAL_TONES: [Hertz; 8] = [
    Hertz(3150.0),
    Hertz(3000.0),
    Hertz(1000.0),
    Hertz(440.0),
    Hertz(400.0),
    Hertz(315.0),
    Hertz(6300.0),
    Hertz(10_000.0),
];

/// 95 % of a home-made tape's own error. Common practice, no source.
pub const HOME_MADE: Percent = Percent(3.0);

/// Which frequency means "right speed".
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Nominal {
    /// The tape carries this tone: somebody, its card or its label says so.
    Fixed(Hertz),
    /// Nobody has said; the commonest is taken until somebody does. In a record
    /// it is the tone that was taken, and a caution says what was in doubt.
    #[serde(rename(serialize = "Fixed"))]
    Assumed(Hertz),
    /// Not said: the nearest of [`USUAL_TONES`] to what is heard, kept from
    /// the first lock until somebody chooses.
    Nearest,
}

impl Nominal {
    /// The frequency; `None` until it is found.
    pub fn hz(self) -> Option<Hertz> {
        match self {
            Self::Fixed(hz) | Self::Assumed(hz) => Some(hz),
            Self::Nearest => None,
        }
    }

    /// Nobody has said which tone it is.
    pub fn is_open(self) -> bool {
        !matches!(self, Self::Fixed(_))
    }

    /// What was only assumed is known: the simulated tape says what it carries.
    #[must_use]
    pub fn known(self) -> Self {
        match self {
            Self::Assumed(hz) => Self::Fixed(hz),
            other => other,
        }
    }
}

/// What kind of reference the speed is taken against.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ReferenceKind {
    /// A steady tone.
    #[default]
    Tone,
    /// A held note of an instrument, a voice or a synthesiser.
    Note,
    /// A passage of known length.
    Passage,
    /// Clicks or bursts at a known spacing.
    Marks,
    /// A recording of which a digital copy is at hand.
    Recording,
}

impl ReferenceKind {
    /// The word for it, as it stands before the colon of `--reference`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Tone => "tone",
            Self::Note => "note",
            Self::Passage => "passage",
            Self::Marks => "marks",
            Self::Recording => "recording",
        }
    }

    /// Whether right speed is a frequency; else it is a time, and there is no
    /// measured frequency, no drift and no flutter.
    pub fn has_frequency(self) -> bool {
        match self {
            Self::Tone | Self::Note => true,
            Self::Passage | Self::Marks | Self::Recording => false,
        }
    }

    #[allow(clippy::trivially_copy_pass_by_ref)] // serde hands it over like this
    fn is_tone(&self) -> bool {
        *self == Self::Tone
    }
}

/// How far the reference itself can be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReferenceError {
    /// The reference's own error: positive plays high on a true machine.
    pub error: Percent,
    /// Its 95 % uncertainty; `None` when nobody has said, which is the rule.
    pub uncertainty: Option<Percent>,
    /// Declared home-made without a figure of its own.
    pub home_made: bool,
    /// Recorded on the machine that is measured: it reads right at any speed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub recorded_here: bool,
}

/// Where the figures about the sample clock come from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ClockSource {
    /// Nobody said: ±100 ppm, common practice for a consumer sound card.
    #[default]
    Default,
    /// Given on the command line.
    Option,
    /// Measured earlier and kept.
    Measured,
}

/// The sample clock's own error.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SampleClock {
    /// Known error, taken out of every reading; positive: the clock runs fast,
    /// so a true tone reads low.
    pub error: Ppm,
    /// What is left, 95 %.
    pub uncertainty: Ppm,
    /// Where the two come from.
    pub source: ClockSource,
}

/// Everything that turns a measured frequency into a speed deviation.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Conditions {
    /// What kind of reference it is.
    #[serde(default, skip_serializing_if = "ReferenceKind::is_tone")]
    pub kind: ReferenceKind,
    /// Which frequency means right speed; says nothing where the kind has
    /// none.
    pub nominal: Nominal,
    /// The reference's own error.
    pub reference: ReferenceError,
    /// The sample clock's own error.
    pub clock: SampleClock,
}

/// Which channels of the input are listened to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ChannelChoice {
    /// Both where both carry the tone, else the one that does.
    #[default]
    Auto,
    /// Left only.
    Left,
    /// Right only.
    Right,
}

impl Default for ReferenceError {
    fn default() -> Self {
        Self {
            error: Percent(0.0),
            uncertainty: None,
            home_made: false,
            recorded_here: false,
        }
    }
}

impl Default for SampleClock {
    fn default() -> Self {
        Self {
            error: Ppm(0.0),
            uncertainty: Ppm(100.0),
            source: ClockSource::Default,
        }
    }
}

impl Default for Conditions {
    fn default() -> Self {
        Self {
            kind: ReferenceKind::Tone,
            nominal: Nominal::Fixed(USUAL_TONES[0]),
            reference: ReferenceError::default(),
            clock: SampleClock::default(),
        }
    }
}

impl SampleClock {
    /// A frequency with the clock's known error taken out: a clock that runs
    /// fast by e delivers more samples a second and so reads every tone low by
    /// e.
    pub fn corrected(&self, heard: Hertz) -> Hertz {
        Hertz(heard.0 * (1.0 + self.error.0 * 1e-6))
    }
}

impl Conditions {
    /// The speed deviation of a measured frequency.
    ///
    /// deviation = (measured ÷ nominal) ÷ (1 + reference error) − 1, with the
    /// clock's error taken out first: a clock that runs fast by e delivers
    /// more samples a second and so reads every tone low by e.
    pub fn deviation(&self, measured: Hertz, nominal: Hertz) -> Percent {
        Percent::from_ratio(
            self.clock.corrected(measured).0 / nominal.0 / self.reference.error.ratio(),
        )
    }

    /// Percent of nominal speed for each hertz.
    pub fn percent_per_hz(&self, nominal: Hertz) -> f64 {
        self.deviation(Hertz(nominal.0 + 1.0), nominal).0 - self.deviation(nominal, nominal).0
    }
}
