//! What `tapewright tone` understands.

use std::path::PathBuf;

use clap::Args;

use super::number_between;
use crate::references::{Note, at_pitch};
use crate::units::Hertz;

pub(super) const ABOUT: &str = "\
Write or play a reference tone, marks or a whole reference tape

Makes a WAV file, or plays the tone out of a sound output, so that you can record a reference tape \
of your own. The tone is as true as the sample clock that plays it, usually within 100 ppm \
(0.01 %; common practice); its phase is counted in samples and adds no error, however long it \
lasts. It fades in and out over 10 ms, so that nothing clicks.

With --marks it makes short bursts at a spacing instead, which tell the speed by the time from one to the next, on any machine, through much hiss and with most of the treble gone.

With --programme it makes all that a reference tape needs, one thing after the other, with a list of \
what stands where: a tone to set the level by, an ident, left and right, the tone, marks, silence \
to hear the noise in, the tone again. The ident tells watch and read which machine the tape was \
recorded on; where that is the machine under test, they call nothing a speed error.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright tone
          3150 Hz at -12 dBFS for a minute, into tone-3150Hz.wav
  tapewright tone 3000 --seconds 1800 --bits 24 -o side-a.wav
          half an hour of 3000 Hz in 24 bit
  tapewright tone A4@442
          the note A4 of an orchestra tuned to 442 Hz
  tapewright tone --marks 1 --seconds 120
          a burst a second for two minutes, into marks-1s.wav; measured with
          tapewright read --reference marks:1
  tapewright tone --programme --machine \"deck 2\" --bits 24
          a reference tape of 3150 Hz that knows it was recorded on deck 2,
          into programme-3150Hz.wav
  tapewright tone 3150 --play --seconds 600
          ten minutes out of the default sound output

Recording a reference tape:
  Record on a machine whose speed you know, not on the one that you are going
  to set: a tape played on the machine that recorded it reads right at any
  speed of that machine. Then measure with --tape-error home-made, or with
  its figure and ± where you know them: --tape-error 0.1±0.2.

Cautions:
  A steady tone in headphones can harm your hearing: start at the lowest
  level. The same tone into loudspeakers can harm a tweeter.

Exit status: 0 done, 2 usage, 3 the file could not be written, 5 sound output.";

/// `tapewright tone`.
#[derive(Args, Debug)]
#[allow(clippy::struct_excessive_bools)] // switches of a command line are
pub struct ToneOptions {
    /// Frequency in Hz, or a note: A4, C#5, Db3, or A4@442 at another concert
    /// pitch
    #[arg(value_name = "HZ-OR-NOTE", default_value = "3150", value_parser = pitch)]
    pub pitch: Pitch,

    /// Marks this many seconds apart instead of a tone: bursts of 1 kHz, 20 ms
    /// long
    #[arg(long, value_name = "S", conflicts_with = "pitch", value_parser = spacing)]
    pub marks: Option<f64>,

    /// A whole tape: level, ident, left and right, tone, marks, silence, tone
    /// again
    ///
    /// The ident says which machine the tape was recorded on, when, and what it
    /// carries, in sounds that watch and read understand. --seconds is the
    /// length of each tone.
    #[arg(long, conflicts_with = "marks", requires = "machine")]
    pub programme: bool,

    /// With --programme: name of the machine that the tape is going to be
    /// recorded on
    #[arg(long, value_name = "NAME", requires = "programme")]
    pub machine: Option<String>,

    /// Level of the tone; a full-scale sine is 0 dBFS
    #[arg(long, short, value_name = "DBFS", default_value = "-12", allow_negative_numbers = true,
          value_parser = level)]
    pub level: f64,

    /// How long it lasts
    #[arg(long, short, value_name = "S", default_value = "60", value_parser = length)]
    pub seconds: f64,

    /// Samples a second in the file
    #[arg(long, value_name = "HZ", default_value = "48000",
          value_parser = clap::value_parser!(u32).range(8000..=768_000))]
    pub rate: u32,

    /// Sample format of the file
    #[arg(long, value_enum, default_value_t = Bits::Sixteen)]
    pub bits: Bits,

    /// One channel instead of two
    #[arg(long)]
    pub mono: bool,

    /// File to write [default: named after the tone]
    #[arg(long, short, value_name = "FILE")]
    pub output_file: Option<PathBuf>,

    /// Replace the file if it is there
    #[arg(long)]
    pub force: bool,

    /// Play it out instead of writing a file
    #[arg(long, conflicts_with_all = ["output_file", "force", "rate", "bits", "mono"])]
    pub play: bool,

    /// With --play: sound output by name or id, as `tapewright inputs` lists
    /// it
    #[arg(long, value_name = "NAME-OR-ID", requires = "play")]
    pub output: Option<String>,
}

/// What is played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pitch {
    /// A frequency.
    Frequency(Hertz),
    /// A note at a concert pitch.
    Note(Note, Hertz),
}

/// Sample format as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Bits {
    /// 16 bit with triangular dither
    #[value(name = "16")]
    Sixteen,
    /// 24 bit
    #[value(name = "24")]
    TwentyFour,
    /// 32-bit floating point
    #[value(name = "float")]
    Float,
}

impl ToneOptions {
    /// The frequency that was asked for.
    pub fn frequency(&self) -> Hertz {
        match self.pitch {
            Pitch::Frequency(hz) => hz,
            Pitch::Note(note, pitch) => note.frequency(pitch),
        }
    }
}

fn pitch(text: &str) -> Result<Pitch, String> {
    let number = text
        .trim_end_matches("Hz")
        .trim_end_matches("hz")
        .trim_end();
    if let Ok(hz) = number.parse::<f64>() {
        return if (10.0..=100_000.0).contains(&hz) {
            Ok(Pitch::Frequency(Hertz(hz)))
        } else {
            Err("must be a frequency between 10 and 100000 Hz".to_owned())
        };
    }
    match at_pitch(text) {
        Ok((note, pitch)) => Ok(Pitch::Note(note, pitch)),
        Err(error) => Err(format!("{error}; or write a frequency in Hz")),
    }
}

fn level(text: &str) -> Result<f64, String> {
    number_between(text, -90.0, 0.0, "a level in dBFS")
}

fn spacing(text: &str) -> Result<f64, String> {
    number_between(text, 0.1, 3600.0, "a number of seconds")
}

fn length(text: &str) -> Result<f64, String> {
    number_between(text, 0.1, 1e6, "a number of seconds")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frequencies_and_notes_are_told_apart() {
        assert_eq!(pitch("3150"), Ok(Pitch::Frequency(Hertz(3150.0))));
        assert_eq!(pitch("314.5 Hz"), Ok(Pitch::Frequency(Hertz(314.5))));
        assert!(matches!(pitch("A4"), Ok(Pitch::Note(..))));
        for nonsense in ["", "H4", "0", "-5", "1e9", "NaN", "inf"] {
            assert!(pitch(nonsense).is_err(), "{nonsense}");
        }
    }
}
