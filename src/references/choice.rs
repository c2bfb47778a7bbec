//! The reference as the user names it: `tone:3150`, `3150`, `tone:auto`,
//! `passage:200`, `marks:1`, `recording:side-a.flac`.

use std::fmt;
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::str::FromStr;

use super::note::{self, CONCERT_PITCH, Note, NoteError};
use crate::readings::{Nominal, ReferenceKind};
use crate::units::{Hertz, Seconds};

/// Lowest and highest tone that can be followed at the usual sample rates.
const TONE_RANGE: [Hertz; 2] = [Hertz(100.0), Hertz(20_000.0)];

/// Lower notes have hardly a partial that a tape carries; of higher ones the
/// second lies beyond the highest rates of use.
const NOTE_RANGE: RangeInclusive<Note> = Note::C1..=Note::C8;

/// Shorter passages tell nothing: their ends alone leave more than 1 %. Longer
/// than 4 hours is no tape.
const PASSAGE_RANGE_S: RangeInclusive<f64> = 2.0..=14_400.0;

/// Closer marks run into each other; farther ones than this no tape repeats.
const MARKS_RANGE_S: RangeInclusive<f64> = 0.1..=3600.0;

/// What the machine is held against.
#[derive(Clone, Debug, PartialEq)]
pub enum Reference {
    /// A tone of this frequency.
    Tone(Hertz),
    /// The nearest of the usual tones.
    ToneAuto,
    /// A held note, with the concert pitch: the frequency of A4.
    Note(Note, Hertz),
    /// A passage, from its first sound to its last, of this length.
    Passage(Seconds),
    /// Clicks or bursts, this far apart.
    Marks(Seconds),
    /// A recording of which this file is a copy.
    Recording(PathBuf),
}

/// Why a reference was not understood.
#[derive(Debug, thiserror::Error, PartialEq)]
#[allow(missing_docs)] // Each sentence says what it is.
pub enum ReferenceParseError {
    #[error(
        "\"{0}\" is no reference; write tone:3150 (any frequency in Hz), tone:auto, note:A4 (A4@442 at another concert pitch), passage:200 or marks:1 (seconds), or recording:FILE (a digital copy of what is on the tape)"
    )]
    Unknown(String),
    #[error("\"{0}\" cannot be a reference tone; it must lie between 100 and 20000 Hz")]
    OutOfRange(String),
    #[error(transparent)]
    NoNote(#[from] NoteError),
    #[error("{0} cannot be a reference; a note must lie between C1 and C8")]
    NoteOutOfRange(Note),
    #[error("\"{text}\" says no length; write it in seconds, such as {kind}:{example}")]
    NoSeconds {
        text: String,
        kind: &'static str,
        example: &'static str,
    },
    #[error(
        "\"{0}\" is no reference; a passage must last between 2 s and 4 hours (14400 s), and the longer the better"
    )]
    PassageLength(String),
    #[error("\"recording:\" says no file; name the digital copy, such as recording:side-a.flac")]
    NoFile,
    #[error("\"{0}\" is no reference; marks must be between 0.1 and 3600 s apart")]
    MarksSpacing(String),
}

impl Reference {
    /// What kind it is.
    pub fn kind(&self) -> ReferenceKind {
        match self {
            Self::Tone(_) | Self::ToneAuto => ReferenceKind::Tone,
            Self::Note(..) => ReferenceKind::Note,
            Self::Passage(_) => ReferenceKind::Passage,
            Self::Marks(_) => ReferenceKind::Marks,
            Self::Recording(_) => ReferenceKind::Recording,
        }
    }

    /// Which frequency the engine is told. Without meaning where the kind has
    /// none.
    pub fn nominal(&self) -> Nominal {
        match self {
            Self::Note(note, concert_pitch) => Nominal::Fixed(note.frequency(*concert_pitch)),
            Self::Tone(hz) => Nominal::Fixed(*hz),
            Self::ToneAuto | Self::Passage(_) | Self::Marks(_) | Self::Recording(_) => {
                Nominal::Nearest
            }
        }
    }
}

impl FromStr for Reference {
    type Err = ReferenceParseError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let unknown = || ReferenceParseError::Unknown(text.to_owned());
        let Some((kind, said)) = text.split_once(':') else {
            // A bare number can only be the frequency of a tone.
            let hz = text.trim().trim_end_matches("Hz").trim_end();
            return tone(text, Hertz(hz.parse().map_err(|_| unknown())?));
        };
        match (kind, said) {
            ("tone", "auto") => Ok(Self::ToneAuto),
            ("tone", hz) => tone(text, Hertz(hz.parse().map_err(|_| unknown())?)),
            ("note", said) => match note::at_pitch(said)? {
                (note, pitch) if NOTE_RANGE.contains(&note) => Ok(Self::Note(note, pitch)),
                (note, _) => Err(ReferenceParseError::NoteOutOfRange(note)),
            },
            ("passage", _) => match seconds(text, kind, said, "200")? {
                length if PASSAGE_RANGE_S.contains(&length) => Ok(Self::Passage(Seconds(length))),
                _ => Err(ReferenceParseError::PassageLength(text.to_owned())),
            },
            ("marks", _) => match seconds(text, kind, said, "1")? {
                spacing if MARKS_RANGE_S.contains(&spacing) => Ok(Self::Marks(Seconds(spacing))),
                _ => Err(ReferenceParseError::MarksSpacing(text.to_owned())),
            },
            ("recording", "") => Err(ReferenceParseError::NoFile),
            ("recording", file) => Ok(Self::Recording(PathBuf::from(file))),
            _ => Err(unknown()),
        }
    }
}

fn tone(text: &str, hz: Hertz) -> Result<Reference, ReferenceParseError> {
    if (TONE_RANGE[0]..=TONE_RANGE[1]).contains(&hz) {
        Ok(Reference::Tone(hz))
    } else {
        Err(ReferenceParseError::OutOfRange(text.to_owned()))
    }
}

/// A finite number of seconds; its range is for the kind to judge.
fn seconds(
    text: &str,
    kind: &str,
    said: &str,
    example: &'static str,
) -> Result<f64, ReferenceParseError> {
    let kind = match kind {
        "marks" => ReferenceKind::Marks,
        _ => ReferenceKind::Passage,
    };
    let number: Option<f64> = said.trim_end_matches('s').trim_end().parse().ok();
    number
        .filter(|number| number.is_finite())
        .ok_or_else(|| ReferenceParseError::NoSeconds {
            text: text.to_owned(),
            kind: kind.name(),
            example,
        })
}

impl fmt::Display for Reference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let kind = self.kind().name();
        match self {
            Self::Tone(hz) => write!(f, "{kind}:{}", hz.0),
            Self::ToneAuto => write!(f, "{kind}:auto"),
            Self::Note(note, CONCERT_PITCH) => write!(f, "{kind}:{note}"),
            Self::Note(note, pitch) => write!(f, "{kind}:{note}@{}", pitch.0),
            Self::Passage(seconds) | Self::Marks(seconds) => write!(f, "{kind}:{}", seconds.0),
            Self::Recording(file) => write!(f, "{kind}:{}", file.display()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        for text in [
            "tone:3150",
            "tone:auto",
            "tone:314.5",
            "note:A4",
            "note:C#5",
            "note:A4@442",
            "passage:200",
            "passage:61.25",
            "marks:0.5",
            "recording:side a: live.flac",
        ] {
            let reference: Reference = text.parse().expect(text);
            assert_eq!(reference.to_string(), text);
        }
        for text in ["3150", "3150 Hz", "tone:3150"] {
            assert_eq!(text.parse(), Ok(Reference::Tone(Hertz(3150.0))), "{text}");
        }
        assert_eq!(
            "passage:200s".parse(),
            Ok(Reference::Passage(Seconds(200.0)))
        );
    }

    #[test]
    fn nonsense_is_refused_with_a_way_out() {
        for text in [
            "auto", "3150 kHz", "NaN", "50", "tone:", "tone:abc", "tone:NaN", "tone:-5", "tone:5",
            "tone:1e9", "song:a",
        ] {
            let error = text.parse::<Reference>().expect_err(text).to_string();
            assert!(error.contains("Hz"), "{error}");
        }
        for (text, way_out) in [
            ("note:H4", "A4, C#5, Db3"),
            ("note:", "A4, C#5, Db3"),
            ("note:A4@", "A4@442"),
            ("note:A4@44", "A4@442"),
            ("note:B0", "between C1 and C8"),
            ("note:C#8", "between C1 and C8"),
            ("passage:", "passage:200"),
            ("passage:long", "passage:200"),
            ("passage:NaN", "passage:200"),
            ("passage:0", "between 2 s and 4 hours"),
            ("passage:-200", "between 2 s and 4 hours"),
            ("passage:14401", "between 2 s and 4 hours"),
            ("marks:abc", "marks:1"),
            ("marks:inf", "marks:1"),
            ("marks:0", "between 0.1 and 3600 s"),
            ("recording:", "recording:side-a.flac"),
            ("marks:3601", "between 0.1 and 3600 s"),
            ("marks:1e-9", "\"marks:1e-9\" is no reference"),
            ("passage:1e99", "\"passage:1e99\" is no reference"),
            ("tone:1e99", "\"tone:1e99\" cannot be"),
        ] {
            let error = text.parse::<Reference>().expect_err(text).to_string();
            assert!(error.contains(way_out), "{text}: {error}");
        }
    }
}
