//! Notes of equal temperament by name: `A4`, `C#5`, `Db3`, `C♯5`.
//!
//! f = A4 × 2^(n/12), n semitones from A4; A4 = 440 Hz (ISO 16:1975) unless
//! another concert pitch is given.

use std::fmt;
use std::ops::RangeInclusive;
use std::str::FromStr;

use crate::units::Hertz;

/// A note of equal temperament.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Note {
    semitones_from_a4: i32,
}

/// Why a note was not understood.
#[derive(Debug, thiserror::Error, PartialEq)]
#[error(
    "\"{0}\" is no note; write a letter A to G, # or b if need be, and an octave 0 to 9: A4, C#5, Db3, with another concert pitch (400 to 470 Hz) behind it: A4@442"
)]
pub struct NoteError(String);

/// Concert pitch where nobody says another one (ISO 16:1975).
pub const CONCERT_PITCH: Hertz = Hertz(440.0);

/// Concert pitches that are in use, and some more.
const PITCHES_HZ: RangeInclusive<f64> = 400.0..=470.0;

/// A note with the concert pitch that it is reckoned from: `A4` or `A4@442`.
pub fn at_pitch(text: &str) -> Result<(Note, Hertz), NoteError> {
    let Some((note, pitch)) = text.split_once('@') else {
        return Ok((text.parse()?, CONCERT_PITCH));
    };
    match pitch.parse() {
        Ok(hz) if PITCHES_HZ.contains(&hz) => Ok((note.parse()?, Hertz(hz))),
        _ => Err(NoteError(text.to_owned())),
    }
}

impl Note {
    /// The lowest C of a piano.
    pub const C1: Self = Self {
        semitones_from_a4: -45,
    };
    /// The highest.
    pub const C8: Self = Self {
        semitones_from_a4: 39,
    };

    /// The frequency at a concert pitch, which is that of A4.
    pub fn frequency(self, concert_pitch: Hertz) -> Hertz {
        Hertz(concert_pitch.0 * (f64::from(self.semitones_from_a4) / 12.0).exp2())
    }
}

/// With sharps: `C#5`.
impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const NAMES: [&str; 12] = [
            "C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B",
        ];
        let from_c0 = self.semitones_from_a4 + 9 + 48;
        let name = NAMES[from_c0.rem_euclid(12) as usize];
        write!(f, "{name}{}", from_c0.div_euclid(12))
    }
}

impl FromStr for Note {
    type Err = NoteError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let refused = || NoteError(text.to_owned());
        let mut rest = text.chars();
        let letter = match rest.next().ok_or_else(refused)?.to_ascii_uppercase() {
            'C' => 0,
            'D' => 2,
            'E' => 4,
            'F' => 5,
            'G' => 7,
            'A' => 9,
            'B' => 11,
            _ => return Err(refused()),
        };
        let rest = rest.as_str();
        let (accidental, octave) = if let Some(octave) = rest.strip_prefix(['#', '♯']) {
            (1, octave)
        } else if let Some(octave) = rest.strip_prefix(['b', '♭']) {
            (-1, octave)
        } else {
            (0, rest)
        };
        // Octaves are numbered from C; A4 is nine semitones above C4.
        match octave.as_bytes() {
            [digit @ b'0'..=b'9'] => Ok(Self {
                semitones_from_a4: letter + accidental - 9 + 12 * (i32::from(digit - b'0') - 4),
            }),
            _ => Err(refused()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_have_the_frequencies_of_equal_temperament() {
        // ISO 16:1975 for A4; the rest by f = 440 × 2^(n/12).
        for (name, hz) in [
            ("A4", 440.0),
            ("a4", 440.0),
            ("C4", 261.625_565),
            ("C#5", 554.365_262),
            ("Db5", 554.365_262),
            ("C♯5", 554.365_262),
            ("B3", 246.941_651),
            ("Cb4", 246.941_651),
            ("A0", 27.5),
        ] {
            let note: Note = name.parse().expect(name);
            assert!((note.frequency(Hertz(440.0)).0 - hz).abs() < 1e-5, "{name}");
        }
        let a4: Note = "A4".parse().expect("a note");
        assert_eq!(a4.frequency(Hertz(442.0)), Hertz(442.0));
    }

    #[test]
    fn what_is_no_note_is_refused() {
        for name in ["", "H4", "A", "A10", "A##4", "4A", "A-1", "A4x", "♯4"] {
            assert!(name.parse::<Note>().is_err(), "{name}");
        }
    }
}
