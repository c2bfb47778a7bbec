//! What is known of the sample clocks of sound inputs: JSON Lines, only ever
//! appended to, the last line about an input being the one that counts.
//!
//! A figure is forgotten by a line without one, so that an interrupted write
//! never loses what was there, and two programs that write at once lose
//! nothing of each other's.

use std::io;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::lines::{Fault, Kind, Line, append_line, read, torn_line};
use crate::readings::{ClockSource, SampleClock};
use crate::units::{Hertz, Ppm, Seconds};

/// Schema of the lines that this version writes.
const SCHEMA: &str = "tapewright.clock/1";

const LINES: Kind<Entry> = Kind {
    begins: b"{\"schema\":\"tapewright.clock/",
    schema: SCHEMA,
    is_possible: |entry| entry.figure.as_ref().is_none_or(ClockFigure::is_possible),
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

/// Why the file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ClocksError {
    /// It exists but cannot be read.
    #[error(
        "cannot read the clock figures in {}: {source}; check that it is a file of yours, or name another folder with --data", path.display()
    )]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// It cannot be written; nothing was added and nothing lost.
    #[error(
        "cannot write the clock figures to {}: {source}; nothing was added, so make room or name another folder with --data", path.display()
    )]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A file, but of something else.
    #[error(
        "{} holds no clock figures and was left as it is; name another folder with --data", path.display()
    )]
    NotClocks {
        /// The file.
        path: PathBuf,
    },
    /// A figure that cannot be written and read back.
    #[error("this clock figure cannot be kept: {reason}; measure again")]
    Unwritable {
        /// Which.
        reason: String,
    },
}

/// Something found in the file that the user should know; never fatal.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ClocksWarning {
    /// The last line is incomplete.
    #[error("{}", torn_line(path, *line, *moved, "figure"))]
    Torn {
        /// The file.
        path: PathBuf,
        /// Which line, from 1.
        line: usize,
        /// It is out of the way by now.
        moved: bool,
    },
    /// A line cannot be understood.
    #[error("line {line} of {} is damaged ({reason}); it was left as it is and is not used", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Which line, from 1.
        line: usize,
        /// What is wrong with it.
        reason: String,
    },
    /// A line that another version wrote.
    #[error(
        "line {line} of {} was written by a newer version ({schema}); it is kept but not used, so use that version or measure again", path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Which line, from 1.
        line: usize,
        /// What it calls itself.
        schema: String,
    },
}

impl ClocksWarning {
    fn of(path: &Path, line: usize, fault: Fault) -> Self {
        let path = path.to_owned();
        match fault {
            Fault::Torn => Self::Torn {
                path,
                line,
                moved: false,
            },
            Fault::Damaged { reason } => Self::Damaged { path, line, reason },
            Fault::Newer { schema } => Self::Newer { path, line, schema },
        }
    }
}

impl Clocks {
    /// Opens a file, which need not exist yet, and reads what it holds.
    /// Changes nothing on the disk.
    pub fn open(path: impl Into<PathBuf>) -> Result<(Self, Vec<ClocksWarning>), ClocksError> {
        let path = path.into();
        let read = match read(&path, &LINES) {
            Ok(read) => read,
            Err(error) if error.kind() == io::ErrorKind::InvalidData => {
                return Err(ClocksError::NotClocks { path });
            }
            Err(source) => return Err(ClocksError::Read { path, source }),
        };
        let warn = |(line, fault)| ClocksWarning::of(&path, line, fault);
        let warnings = read.faults.into_iter().map(warn).collect();
        let mut clocks = Self {
            path,
            figures: Vec::new(),
        };
        for entry in read.entries {
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
    pub fn keep(&mut self, figure: ClockFigure) -> Result<Option<ClocksWarning>, ClocksError> {
        let entry = Entry {
            schema: SCHEMA.to_owned(),
            input: figure.input.clone(),
            figure: Some(figure),
        };
        self.add(entry)
    }

    /// Forgets the figures for an input, at all its rates.
    pub fn forget(&mut self, input: &str) -> Result<Option<ClocksWarning>, ClocksError> {
        let entry = Entry {
            schema: SCHEMA.to_owned(),
            input: input.to_owned(),
            figure: None,
        };
        self.add(entry)
    }

    fn add(&mut self, entry: Entry) -> Result<Option<ClocksWarning>, ClocksError> {
        let line = entry.line_that_reads_back()?;
        let torn = append_line(&self.path, &line, &LINES).map_err(|source| ClocksError::Write {
            path: self.path.clone(),
            source,
        })?;
        self.apply(entry);
        let path = self.path.clone();
        Ok(torn.map(|line| ClocksWarning::Torn {
            path,
            line,
            moved: true,
        }))
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

impl Entry {
    /// The line with its end, known to be understood again.
    fn line_that_reads_back(&self) -> Result<Vec<u8>, ClocksError> {
        let mut line = serde_json::to_vec(self).map_err(|error| ClocksError::Unwritable {
            reason: error.to_string(),
        })?;
        line.push(b'\n');
        match Line::parse(&line, &LINES) {
            Line::Entry(_) => Ok(line),
            _ => Err(ClocksError::Unwritable {
                reason: "a figure in it is impossible".to_owned(),
            }),
        }
    }
}
