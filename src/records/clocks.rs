//! What is known of the sample clocks of sound inputs: JSON Lines, only ever
//! appended to, the last line about an input being the one that counts.
//!
//! A figure is forgotten by a line without one, so that an interrupted write
//! never loses what was there, and two programs that write at once lose
//! nothing of each other's.

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::lines::{Kind, LinesError, LinesWarning, Words, append, open};
use crate::readings::{ClockSource, SampleClock};
use crate::units::{Hertz, Ppm, Seconds};

/// Schema of the lines that this version writes.
const SCHEMA: &str = "tapewright.clock/1";

const LINES: Kind<Entry> = Kind {
    begins: b"{\"schema\":\"tapewright.clock/",
    schema: SCHEMA,
    is_possible: |entry| entry.figure.as_ref().is_none_or(ClockFigure::is_possible),
    words: &Words {
        file: "the clock figures in",
        other: "holds no clock figures",
        entry: "clock figure",
        again: "measure again",
        taken: "used",
        newer: "use that version or measure again",
    },
};

/// A crystal follows the warmth of the day and its age; a figure is used on
/// other days than that of its measurement. ± 95 %, common practice, no
/// source.
const OTHER_DAYS: Ppm = Ppm(5.0);

/// A figure beyond this was not measured by this program.
const FARTHEST: Ppm = Ppm(10_000.0);

/// What the sample clock of an input was found to be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClockFigure {
    /// Id of the input, as `tapewright inputs` lists it.
    pub input: String,
    /// Its name, for people.
    pub name: String,
    /// Nominal rate that it ran at; others may have a clock of their own.
    pub rate_hz: u32,
    /// How much faster than nominal it runs.
    pub error: Ppm,
    /// 95 %, what it was measured against included.
    pub uncertainty: Ppm,
    /// When it was measured.
    pub taken_at: Timestamp,
    /// What it was measured against.
    pub against: Against,
    /// Over what length.
    pub over: Seconds,
}

/// What a sample clock was measured against.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Against {
    /// The system's monotonic clock.
    SystemClock {
        /// How true that was taken to be, 95 %.
        uncertainty: Ppm,
        /// The system said that it was kept right by another clock.
        disciplined: bool,
    },
    /// A reference tone, live or in a recording.
    Tone {
        /// Its frequency.
        frequency: Hertz,
        /// How true that was said to be, 95 %.
        uncertainty: Ppm,
        /// From a recording made through the input.
        recorded: bool,
    },
}

impl ClockFigure {
    /// As it is applied to readings, on other days too.
    pub fn sample_clock(&self) -> SampleClock {
        SampleClock {
            error: self.error,
            uncertainty: Ppm(self.uncertainty.0.hypot(OTHER_DAYS.0)),
            source: ClockSource::Measured,
        }
    }

    fn is_possible(&self) -> bool {
        self.error.0.abs() <= FARTHEST.0 && (0.0..=FARTHEST.0).contains(&self.uncertainty.0)
    }
}

/// The file, and the figures that count.
#[derive(Debug)]
pub struct Clocks {
    path: PathBuf,
    figures: Vec<ClockFigure>,
}

impl Clocks {
    /// Opens a file, which need not exist yet, and reads what it holds.
    /// Changes nothing on the disk.
    pub fn open(path: impl Into<PathBuf>) -> Result<(Self, Vec<LinesWarning>), LinesError> {
        let path = path.into();
        let (entries, warnings) = open(&path, &LINES)?;
        let mut clocks = Self {
            path,
            figures: Vec::new(),
        };
        for entry in entries {
            clocks.apply(entry);
        }
        Ok((clocks, warnings))
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The figures that count, one an input and rate, in the order in which
    /// inputs were first measured.
    pub fn list(&self) -> &[ClockFigure] {
        &self.figures
    }

    /// The figure for an input at a rate.
    pub fn of(&self, input: &str, rate_hz: u32) -> Option<&ClockFigure> {
        self.figures
            .iter()
            .find(|figure| figure.input == input && figure.rate_hz == rate_hz)
    }

    /// Adds a figure, which takes the place of the one before for its input
    /// and rate, and forces it to the disk. Folders are made as needed.
    pub fn keep(&mut self, figure: ClockFigure) -> Result<Option<LinesWarning>, LinesError> {
        let entry = Entry {
            schema: SCHEMA.to_owned(),
            input: figure.input.clone(),
            figure: Some(figure),
        };
        self.add(entry)
    }

    /// Forgets the figures for an input, at all its rates.
    pub fn forget(&mut self, input: &str) -> Result<Option<LinesWarning>, LinesError> {
        let entry = Entry {
            schema: SCHEMA.to_owned(),
            input: input.to_owned(),
            figure: None,
        };
        self.add(entry)
    }

    fn add(&mut self, entry: Entry) -> Result<Option<LinesWarning>, LinesError> {
        let torn = append(&self.path, &entry, &LINES)?;
        self.apply(entry);
        Ok(torn)
    }

    fn apply(&mut self, entry: Entry) {
        let Some(figure) = entry.figure else {
            self.figures.retain(|known| known.input != entry.input);
            return;
        };
        let same = |known: &&mut ClockFigure| {
            known.input == figure.input && known.rate_hz == figure.rate_hz
        };
        match self.figures.iter_mut().find(same) {
            Some(known) => *known = figure,
            None => self.figures.push(figure),
        }
    }
}

/// What a line says.
#[derive(Serialize, Deserialize)]
struct Entry {
    schema: String,
    input: String,
    /// `None` forgets.
    figure: Option<ClockFigure>,
}
