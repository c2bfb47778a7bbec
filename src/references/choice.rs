//! The reference as the user names it: `tone:3150`, `tone:auto`.

use std::fmt;
use std::str::FromStr;

use crate::readings::Nominal;
use crate::units::Hertz;

/// Lowest and highest tone that can be followed at the usual sample rates.
const TONE_RANGE: [Hertz; 2] = [Hertz(100.0), Hertz(20_000.0)];

/// What the machine is held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reference {
    /// A tone of this frequency.
    Tone(Hertz),
    /// The nearest of the usual tones.
    ToneAuto,
}

/// Why a reference was not understood.
#[derive(Debug, thiserror::Error, PartialEq)]
pub enum ReferenceParseError {
    /// Neither `tone:HZ` nor `tone:auto`.
    #[error("\"{0}\" is no reference; write tone:3150 (any frequency in Hz) or tone:auto")]
    Unknown(String),
    /// A tone outside what can be followed.
    #[error("{0} cannot be a reference tone; it must lie between 100 and 20000 Hz")]
    OutOfRange(Hertz),
}

impl Reference {
    /// What the engine is told.
    pub fn nominal(self) -> Nominal {
        match self {
            Self::Tone(hz) => Nominal::Fixed(hz),
            Self::ToneAuto => Nominal::Nearest,
        }
    }
}

impl FromStr for Reference {
    type Err = ReferenceParseError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let unknown = || ReferenceParseError::Unknown(text.to_owned());
        let tone = text.strip_prefix("tone:").ok_or_else(unknown)?;
        if tone == "auto" {
            return Ok(Self::ToneAuto);
        }
        let hz = Hertz(tone.parse().map_err(|_| unknown())?);
        if !(TONE_RANGE[0]..=TONE_RANGE[1]).contains(&hz) {
            return Err(ReferenceParseError::OutOfRange(hz));
        }
        Ok(Self::Tone(hz))
    }
}

impl fmt::Display for Reference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tone(hz) => write!(f, "tone:{}", hz.0),
            Self::ToneAuto => write!(f, "tone:auto"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        for text in ["tone:3150", "tone:auto", "tone:314.5"] {
            let reference: Reference = text.parse().expect(text);
            assert_eq!(reference.to_string(), text);
        }
    }

    #[test]
    fn nonsense_is_refused_with_a_way_out() {
        for text in [
            "3150", "tone:", "tone:abc", "tone:NaN", "tone:-5", "tone:5", "tone:1e9",
        ] {
            let error = text.parse::<Reference>().expect_err(text).to_string();
            assert!(error.contains("Hz"), "{error}");
        }
    }
}
