//! The file of a log: whole lines, each written at once, so that a program that
//! is killed loses no more than the line it was at, and a full disk leaves none that
//! is half. Nothing is forced to the disk: a power cut may take what the system still
//! held.

use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::Serialize;

/// Why a log cannot begin or go on.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// Something is in it already.
    #[error("{} is not empty, and a log is never written over; choose another name", .0.display())]
    NotEmpty(PathBuf),
    /// The system refuses.
    #[error("cannot write the log {}: {source}; check its folder and the room on the disk", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
}

/// A log that is being written.
#[derive(Debug)]
pub struct LogFile {
    path: PathBuf,
    file: File,
    /// Of the lines that are whole.
    length: u64,
}

impl LogFile {
    /// A new file, or one that is there and empty.
    pub fn begin(path: &Path) -> Result<Self, LogError> {
        let refused = |source| LogError::Write {
            path: path.to_owned(),
            source,
        };
        let file = OpenOptions::new()
            .append(true)
            .create(true)
            .open(path)
            .map_err(refused)?;
        if file.metadata().map_err(refused)?.len() > 0 {
            return Err(LogError::NotEmpty(path.to_owned()));
        }
        Ok(Self {
            path: path.to_owned(),
            file,
            length: 0,
        })
    }

    /// Writes one line, or takes away what was written of it.
    pub fn write(&mut self, line: &impl Serialize) -> Result<(), LogError> {
        let text = serde_json::to_string(line).map_err(io::Error::from);
        let written = text.and_then(|text| {
            let line = text + "\n";
            self.file.write_all(line.as_bytes())?;
            self.length += line.len() as u64;
            Ok(())
        });
        written.map_err(|source| {
            let _ = self.file.set_len(self.length);
            let path = self.path.clone();
            LogError::Write { path, source }
        })
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_with_something_in_it_is_left_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("side.jsonl");
        std::fs::write(&path, "").expect("room");
        let mut log = LogFile::begin(&path).expect("an empty file will do");
        log.write(&[1, 2]).expect("room");
        log.write(&"größer").expect("room");
        let text = std::fs::read_to_string(&path).expect("it is there");
        assert_eq!(text, "[1,2]\n\"größer\"\n");
        let refused = LogFile::begin(&path)
            .expect_err("it is not empty")
            .to_string();
        assert!(refused.contains("not empty") && refused.contains("another name"));
        assert_eq!(std::fs::read_to_string(&path).expect("still there"), text);
        let refused = LogFile::begin(folder.path())
            .expect_err("a folder")
            .to_string();
        assert!(refused.contains("cannot write"), "{refused}");
    }
}
