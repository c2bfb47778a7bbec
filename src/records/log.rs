//! The file of a log: whole lines, each written at once, so that a program that
//! is killed loses no more than the line it was at, and a full disk leaves none that
//! is half. Nothing is forced to the disk: a power cut may take what the system still
//! held.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::Serialize;

/// Why a log cannot begin or go on.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// Something is in it already.
    #[error("{} is not empty, and a log is never written over; choose another name", .0.display())]
    NotEmpty(PathBuf),
    /// Another program holds it.
    #[error("{} is in use by another program; choose another name", .0.display())]
    Held(PathBuf),
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
    /// A new file, or one that is there and empty, with its first line.
    pub fn begin(path: &Path, head: &impl Serialize) -> Result<Self, LogError> {
        let refused = |source| LogError::Write {
            path: path.to_owned(),
            source,
        };
        let file = OpenOptions::new()
            .append(true)
            .create(true)
            .open(path)
            .map_err(refused)?;
        let there = file.metadata().map_err(refused)?;
        // Two may begin at once: whoever comes second finds the lock of the first, or
        // its line. Some file systems know no locks, and a pipe needs none.
        if there.is_file() && matches!(file.try_lock(), Err(TryLockError::WouldBlock)) {
            return Err(LogError::Held(path.to_owned()));
        }
        if file.metadata().map_err(refused)?.len() > 0 {
            return Err(LogError::NotEmpty(path.to_owned()));
        }
        let mut log = Self {
            path: path.to_owned(),
            file,
            length: 0,
        };
        log.write(head)?;
        let _ = log.file.unlock();
        Ok(log)
    }

    /// Writes one line, or takes away what was written of it.
    pub fn write(&mut self, line: &impl Serialize) -> Result<(), LogError> {
        let text = serde_json::to_string(line).map_err(io::Error::from);
        let written = text.and_then(|text| self.append(&(text + "\n")));
        written.map_err(|source| LogError::Write {
            path: self.path.clone(),
            source,
        })
    }

    fn append(&mut self, line: &str) -> io::Result<()> {
        let whole = self.length + line.len() as u64;
        let written = self.file.write_all(line.as_bytes());
        match written {
            Ok(()) => self.length = whole,
            Err(_) => self.take_back(whole),
        }
        written
    }

    /// Cuts off a line of ours that did not come to be whole. In a longer or shorter
    /// file somebody else has written, as may be where there are no locks.
    fn take_back(&self, whole: u64) {
        let there = self.file.metadata();
        if there.is_ok_and(|it| (self.length..whole).contains(&it.len())) {
            let _ = self.file.set_len(self.length);
        }
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
        let mut log = LogFile::begin(&path, &[1, 2]).expect("an empty file will do");
        log.write(&"größer").expect("room");
        let text = std::fs::read_to_string(&path).expect("it is there");
        assert_eq!(text, "[1,2]\n\"größer\"\n");
        let refused = LogFile::begin(&path, &1)
            .expect_err("it is not empty")
            .to_string();
        assert!(refused.contains("not empty") && refused.contains("another name"));
        assert_eq!(std::fs::read_to_string(&path).expect("still there"), text);
        let refused = LogFile::begin(folder.path(), &1)
            .expect_err("a folder")
            .to_string();
        assert!(refused.contains("cannot write"), "{refused}");
        let path = folder.path().join("held.jsonl");
        let held = File::create(&path).expect("room");
        held.lock().expect("nobody else");
        let refused = LogFile::begin(&path, &1).expect_err("it is held");
        assert!(refused.to_string().contains("another program"), "{refused}");
    }

    #[test]
    fn of_many_that_begin_at_once_one_is_taken() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("side.jsonl");
        let begun = std::thread::scope(|scope| {
            let begin = |nth: u32| {
                let path = &path;
                scope.spawn(move || LogFile::begin(path, &nth).is_ok())
            };
            let all: Vec<_> = (0..8).map(begin).collect();
            let begun = all.into_iter().map(|it| it.join().expect("no panic"));
            begun.filter(|it| *it).count()
        });
        assert_eq!(begun, 1);
        if cfg!(unix) {
            let nowhere = Path::new("/dev/null");
            let _one = LogFile::begin(nowhere, &1).expect("it takes all");
            LogFile::begin(nowhere, &2).expect("and from anybody");
        }
    }

    #[test]
    fn only_half_a_line_of_ours_is_cut_off() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("side.jsonl");
        let log = LogFile::begin(&path, &1).expect("a new file");
        let whole = log.length + 10;
        for (found, left) in [
            ("1\nhalf", "1\n"),
            ("1\n", "1\n"),
            ("1\ntheir line\nhalf", "1\ntheir line\nhalf"),
        ] {
            std::fs::write(&path, found).expect("room");
            log.take_back(whole);
            assert_eq!(std::fs::read_to_string(&path).expect("it is there"), left);
        }
    }
}
