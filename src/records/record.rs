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

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::snapshot::{LINE_BEGINS, SCHEMA, Snapshot};

/// A file larger than this that does not begin like a record is refused
/// without being read: somebody named a recording instead of a record.
const LARGEST_UNKNOWN_BYTES: u64 = 16 << 20;

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
        "cannot read the record {}: {source}; check that it is a file of yours, or name another one with --record", path.display()
    )]
    Read {
        /// The record.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// It cannot be written; nothing was added and nothing lost.
    #[error(
        "cannot write the record {}: {source}; nothing was added, so make room or name another one with --record", path.display()
    )]
    Write {
        /// The record.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A file, but of something else.
    #[error(
        "{} is no record of snapshots and was left as it is; name another file with --record", path.display()
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
    #[error(
        "the last line of {} (line {line}) is incomplete, as after a power cut; the lines before it are whole, and the next snapshot moves it to {}", path.display(), torn_path(path).display()
    )]
    Torn {
        /// The record.
        path: PathBuf,
        /// Which line, from 1.
        line: usize,
    },
    /// A line in the middle cannot be understood.
    #[error("line {line} of {} cannot be understood; it was left as it is and is not listed", path.display())]
    Damaged {
        /// The record.
        path: PathBuf,
        /// Which line, from 1.
        line: usize,
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

impl Record {
    /// Opens a record, which need not exist yet, and reads what it holds.
    /// Changes nothing on the disk.
    pub fn open(path: impl Into<PathBuf>) -> Result<(Self, Vec<RecordWarning>), RecordError> {
        let path = path.into();
        let bytes = match read_locked(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == io::ErrorKind::NotFound => Vec::new(),
            Err(error) if error.kind() == io::ErrorKind::InvalidData => {
                return Err(RecordError::NotARecord { path });
            }
            Err(source) => return Err(RecordError::Read { path, source }),
        };
        let mut record = Self {
            path,
            snapshots: Vec::new(),
        };
        let (warnings, recognised) = record.take_lines(&bytes);
        if recognised {
            Ok((record, warnings))
        } else {
            Err(RecordError::NotARecord { path: record.path })
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
        let warning = append_line(&self.path, &line).map_err(|source| RecordError::Write {
            path: self.path.clone(),
            source,
        })?;
        self.snapshots.push(snapshot.clone());
        Ok(warning)
    }

    /// Sorts the lines; says whether the file is a record at all.
    fn take_lines(&mut self, bytes: &[u8]) -> (Vec<RecordWarning>, bool) {
        let mut warnings = Vec::new();
        let mut recognised = bytes.is_empty() || begins_like_a_record(bytes);
        for (number, line) in bytes.split_inclusive(|&byte| byte == b'\n').enumerate() {
            let (path, number) = (self.path.clone(), number + 1);
            let whole = line.ends_with(b"\n");
            match Line::parse(line) {
                Line::Blank => continue,
                Line::Snapshot(snapshot) => self.snapshots.push(*snapshot),
                Line::Newer { schema } => warnings.push(RecordWarning::Newer {
                    path,
                    line: number,
                    schema,
                }),
                Line::Unknown if whole => {
                    warnings.push(RecordWarning::Damaged { path, line: number });
                    continue;
                }
                Line::Unknown => {
                    warnings.push(RecordWarning::Torn { path, line: number });
                    continue;
                }
            }
            recognised = true;
        }
        (warnings, recognised)
    }
}

/// A line, whole or not.
enum Line {
    Blank,
    Snapshot(Box<Snapshot>),
    Newer { schema: String },
    Unknown,
}

impl Line {
    fn parse(line: &[u8]) -> Self {
        #[derive(Deserialize)]
        struct Head {
            schema: String,
        }
        if line.trim_ascii().is_empty() {
            return Self::Blank;
        }
        let Ok(head) = serde_json::from_slice::<Head>(line) else {
            return Self::Unknown;
        };
        if !head.schema.starts_with("tapewright.snapshot/") {
            return Self::Unknown;
        }
        match serde_json::from_slice(line) {
            Ok(snapshot) if head.schema == SCHEMA => Self::Snapshot(Box::new(snapshot)),
            // A word that this version does not know, under the same number,
            // is newer too.
            _ => Self::Newer {
                schema: head.schema,
            },
        }
    }
}

/// True also for a beginning that was torn within its first bytes.
fn begins_like_a_record(bytes: &[u8]) -> bool {
    let length = bytes.len().min(LINE_BEGINS.len());
    bytes[..length] == LINE_BEGINS[..length]
}

fn read_locked(path: &Path) -> io::Result<Vec<u8>> {
    let mut file = File::open(path)?;
    // Shared: waits for a line that is just being written, so that it is not
    // taken for a torn one. A file system without locks is read as it is.
    let _ = file.lock_shared();
    let mut bytes = Vec::new();
    if file.metadata()?.len() > LARGEST_UNKNOWN_BYTES {
        (&file)
            .take(LINE_BEGINS.len() as u64)
            .read_to_end(&mut bytes)?;
        if !begins_like_a_record(&bytes) {
            return Err(io::ErrorKind::InvalidData.into());
        }
    }
    file.read_to_end(&mut bytes)?;
    Ok(bytes)
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

fn append_line(path: &Path, line: &[u8]) -> io::Result<Option<RecordWarning>> {
    let is_new = !path.exists();
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    let mut file = OpenOptions::new()
        .read(true)
        .append(true)
        .create(true)
        .open(path)?;
    match file.lock() {
        Err(error) if error.kind() != io::ErrorKind::Unsupported => return Err(error),
        // Released when the file is closed.
        _ => {}
    }
    let warning = mend_end(path, &mut file)?;
    let before = file.metadata()?.len();
    if let Err(error) = file.write_all(line).and_then(|()| file.sync_data()) {
        // Half a line is worse than none. If even this fails, the next append
        // sets it aside.
        let _ = file.set_len(before);
        return Err(error);
    }
    if is_new {
        sync_folder(path);
    }
    Ok(warning)
}

/// Makes sure that the file ends with a line's end.
fn mend_end(path: &Path, file: &mut File) -> io::Result<Option<RecordWarning>> {
    let length = file.seek(SeekFrom::End(0))?;
    if length == 0 {
        return Ok(None);
    }
    file.seek(SeekFrom::Start(length - 1))?;
    let mut last = [0];
    file.read_exact(&mut last)?;
    if last == *b"\n" {
        return Ok(None);
    }
    file.seek(SeekFrom::Start(0))?;
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes)?;
    let start = bytes
        .iter()
        .rposition(|&byte| byte == b'\n')
        .map_or(0, |at| at + 1);
    if !matches!(Line::parse(&bytes[start..]), Line::Unknown) {
        // Whole but for its end.
        file.write_all(b"\n")?;
        return Ok(None);
    }
    set_aside(&torn_path(path), &bytes[start..])?;
    file.set_len(start as u64)?;
    let line = bytes.split(|&byte| byte == b'\n').count();
    Ok(Some(RecordWarning::Torn {
        path: path.to_path_buf(),
        line,
    }))
}

/// The torn bytes are safe on the disk before they leave the record.
fn set_aside(torn: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new().append(true).create(true).open(torn)?;
    file.write_all(bytes)?;
    file.write_all(b"\n")?;
    file.sync_data()
}

fn torn_path(record: &Path) -> PathBuf {
    let mut name = record.as_os_str().to_owned();
    name.push(".torn");
    PathBuf::from(name)
}

/// A new file is only safe once its folder is; systems on which a folder
/// cannot be opened do this by themselves.
fn sync_folder(path: &Path) {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}
