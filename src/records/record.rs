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

use std::path::{Path, PathBuf};

use super::lines::{Kind, LinesError, LinesWarning, Words, append, check_place, open, unwritten};
use super::snapshot::{LINE_BEGINS, SCHEMA, Snapshot};

const LINES: Kind<Snapshot> = Kind {
    begins: LINE_BEGINS,
    schema: SCHEMA,
    is_possible: |_| true,
    words: &Words {
        file: "the record",
        other: "is no record of snapshots",
        entry: "snapshot",
        again: "take it again",
        taken: "listed",
        newer: "use that version to see it",
    },
};

/// A record file and what it holds.
#[derive(Debug)]
pub struct Record {
    path: PathBuf,
    snapshots: Vec<Snapshot>,
}

impl Record {
    /// Opens a record, which need not exist yet, and reads what it holds.
    /// Changes nothing on the disk.
    pub fn open(path: impl Into<PathBuf>) -> Result<(Self, Vec<LinesWarning>), LinesError> {
        let path = path.into();
        let (snapshots, warnings) = open(&path, &LINES)?;
        Ok((Self { path, snapshots }, warnings))
    }

    /// Whether snapshots can be added, as far as that can be told without
    /// adding one.
    pub fn check_place(&self) -> Result<(), LinesError> {
        check_place(&self.path).map_err(|source| unwritten(&self.path, source, LINES.words))
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
    pub fn append(&mut self, snapshot: &Snapshot) -> Result<Option<LinesWarning>, LinesError> {
        let torn = append(&self.path, &snapshot.line(), &LINES)?;
        self.snapshots.push(snapshot.clone());
        Ok(torn)
    }
}
