//! A record file: JSON Lines, only ever appended to.
//!
//! The promises, and how they are kept:
//!
//! - An interrupted write never damages an earlier line: a line is appended in
//!   one write under an exclusive lock and forced to the disk; nothing before
//!   it is touched.
//! - A last line that was torn is set aside: the next append moves it to a
//!   file beside the record (`.torn`), so that the new line never joins it.
//! - What cannot be understood stays where it is and is reported: a damaged
//!   line, or one that a newer version wrote.

use std::io;
use std::path::{Path, PathBuf};

use super::lines::{Fault, Kind, append_line, check_place, read, torn_line};
use super::snapshot::{LINE_BEGINS, SCHEMA, Snapshot};

const LINES: Kind<Snapshot> = Kind {
    begins: LINE_BEGINS,
    schema: SCHEMA,
    is_possible: |_| true,
};

/// A record file and what it holds.
#[derive(Debug)]
pub struct Record {
    path: PathBuf,
    snapshots: Vec<Snapshot>,
}

/// Why a record cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// It exists but cannot be read.
    #[error(
        "cannot read the record {}: {source}; check that it is a file of yours, or name another folder with --data", path.display()
    )]
    Read {
        /// The record.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// It cannot be written; nothing was added and nothing lost.
    #[error(
        "cannot write the record {}: {source}; nothing was added, so make room or name another folder with --data", path.display()
    )]
    Write {
        /// The record.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A file, but of something else.
    #[error(
        "{} is no record of snapshots and was left as it is; name another folder with --data", path.display()
    )]
    NotARecord {
        /// The file.
        path: PathBuf,
    },
    /// A figure that cannot be written and read back.
    #[error("this snapshot cannot be kept: {reason}; take it again")]
    Unwritable {
        /// Which.
        reason: String,
    },
}

/// Something found in a record that the user should know; never fatal.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RecordWarning {
    /// The last line is incomplete.
    #[error("{}", torn_line(path, *line, *moved, "snapshot"))]
    Torn {
        /// The record.
        path: PathBuf,
        /// Which line, from 1.
        line: usize,
        /// It is out of the way by now.
        moved: bool,
    },
    /// A line cannot be understood.
    #[error("line {line} of {} is damaged ({reason}); it was left as it is and is not listed", path.display())]
    Damaged {
        /// The record.
        path: PathBuf,
        /// Which line, from 1.
        line: usize,
        /// What is wrong with it.
        reason: String,
    },
    /// A line that another version wrote.
    #[error(
        "line {line} of {} was written by a newer version ({schema}); it is kept but not listed, so use that version to see it", path.display()
    )]
    Newer {
        /// The record.
        path: PathBuf,
        /// Which line, from 1.
        line: usize,
        /// What it calls itself.
        schema: String,
    },
}

impl RecordWarning {
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

impl Record {
    /// Opens a record, which need not exist yet, and reads what it holds.
    /// Changes nothing on the disk.
    pub fn open(path: impl Into<PathBuf>) -> Result<(Self, Vec<RecordWarning>), RecordError> {
        let path = path.into();
        let read = match read(&path, &LINES) {
            Ok(read) => read,
            Err(error) if error.kind() == io::ErrorKind::InvalidData => {
                return Err(RecordError::NotARecord { path });
            }
            Err(source) => return Err(RecordError::Read { path, source }),
        };
        let warn = |(line, fault)| RecordWarning::of(&path, line, fault);
        let warnings = read.faults.into_iter().map(warn).collect();
        let snapshots = read.entries;
        Ok((Self { path, snapshots }, warnings))
    }

    /// Whether snapshots can be added, as far as that can be told without
    /// adding one.
    pub fn check_place(&self) -> Result<(), RecordError> {
        check_place(&self.path).map_err(|source| self.unwritten(source))
    }

    fn unwritten(&self, source: io::Error) -> RecordError {
        RecordError::Write {
            path: self.path.clone(),
            source,
        }
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// All snapshots that this version understands, oldest first.
    pub fn list(&self) -> &[Snapshot] {
        &self.snapshots
    }

    /// Adds a snapshot at the end and forces it to the disk. A last line that
    /// was torn is first moved to a file beside the record; the warning says
    /// so. Folders are made as needed.
    pub fn append(&mut self, snapshot: &Snapshot) -> Result<Option<RecordWarning>, RecordError> {
        let line = line_that_reads_back(snapshot)?;
        let torn =
            append_line(&self.path, &line, &LINES).map_err(|source| self.unwritten(source))?;
        self.snapshots.push(snapshot.clone());
        let path = self.path.clone();
        Ok(torn.map(|line| RecordWarning::Torn {
            path,
            line,
            moved: true,
        }))
    }
}

/// The line with its end, known to be understood again: a figure that is no
/// number would be written as `null` and make the line unreadable.
fn line_that_reads_back(snapshot: &Snapshot) -> Result<Vec<u8>, RecordError> {
    let unwritable = |error: serde_json::Error| RecordError::Unwritable {
        reason: error.to_string(),
    };
    let mut line = snapshot.to_line().map_err(unwritable)?;
    serde_json::from_str::<Snapshot>(&line).map_err(unwritable)?;
    line.push('\n');
    Ok(line.into_bytes())
}
