//! Files of lines that are only ever appended to: what a record and the kept
//! clock figures have in common on the disk.
//!
//! A line is appended in one write under an exclusive lock and forced to the
//! disk; nothing before it is touched. A last line that was torn is first
//! moved to a file beside it.

use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::whole::{self, sync_folder};

/// A file larger than this that does not begin as it should is refused
/// without being read: somebody named a recording instead.
const LARGEST_UNKNOWN_BYTES: u64 = 16 << 20;

/// What the lines of one kind of file are.
pub(super) struct Kind<T> {
    /// How every line of every version begins.
    pub(super) begins: &'static [u8],
    /// Schema of the lines that this version writes: `family/version`.
    pub(super) schema: &'static str,
    /// Numbers that cannot be are damage.
    pub(super) is_possible: fn(&T) -> bool,
    /// What the file and its lines are called.
    pub(super) words: &'static Words,
}

/// What a file of lines and its lines are called.
#[derive(Debug, PartialEq, Eq)]
pub struct Words {
    /// Behind "cannot read".
    pub(super) file: &'static str,
    /// What another file does not hold, behind its name.
    pub(super) other: &'static str,
    /// What a line holds.
    pub(super) entry: &'static str,
    /// What to do where one cannot be kept.
    pub(super) again: &'static str,
    /// What is not done with a line that is not understood.
    pub(super) taken: &'static str,
    /// What to do about one that a newer version wrote.
    pub(super) newer: &'static str,
}

/// Why a file of lines cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum LinesError {
    /// It exists but cannot be read.
    #[error(
        "cannot read {} {}: {source}; check that it is a file of yours, or name another folder with --data", of.file, path.display()
    )]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
        /// What it is called.
        of: &'static Words,
    },
    /// It cannot be written; nothing was added and nothing lost.
    #[error(
        "cannot write {} {}: {source}; nothing was added, so make room or name another folder with --data", of.file, path.display()
    )]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
        /// What it is called.
        of: &'static Words,
    },
    /// A file, but of something else.
    #[error(
        "{} {} and was left as it is; name another folder with --data", path.display(), of.other
    )]
    OfSomethingElse {
        /// The file.
        path: PathBuf,
        /// What was looked for.
        of: &'static Words,
    },
    /// A figure that cannot be written and read back.
    #[error("this {} cannot be kept: {reason}; {}", of.entry, of.again)]
    Unwritable {
        /// Which.
        reason: String,
        /// What it is called.
        of: &'static Words,
    },
}

/// A line that the user should know of; never fatal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinesWarning {
    /// The file.
    pub path: PathBuf,
    /// Which line, from 1.
    pub line: usize,
    /// Why it was not taken.
    pub fault: Fault,
    of: &'static Words,
}

impl fmt::Display for LinesWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            line, fault, of, ..
        } = self;
        let (path, aside) = (self.path.display(), torn_path(&self.path));
        let aside = aside.display();
        match fault {
            Fault::SetAside => write!(
                f,
                "the last line of {path} (line {line}) was incomplete, as after a power cut; it was moved to {aside}"
            ),
            Fault::Torn => write!(
                f,
                "the last line of {path} (line {line}) is incomplete, as after a power cut; the lines before it are whole, and the next {} moves it to {aside}",
                of.entry
            ),
            Fault::Damaged { reason } => write!(
                f,
                "line {line} of {path} is damaged ({reason}); it was left as it is and is not {}",
                of.taken
            ),
            Fault::Newer { schema } => write!(
                f,
                "line {line} of {path} was written by a newer version ({schema}); it is kept but not {}, so {}",
                of.taken, of.newer
            ),
        }
    }
}

/// A line, whole or not.
enum Line<T> {
    Blank,
    Entry(T),
    Newer {
        schema: String,
    },
    /// Whole, and of this kind, but not to be understood; why not.
    Damaged {
        reason: String,
    },
    Unknown,
}

/// Why a line was not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The last one is incomplete.
    Torn,
    /// It was, and is out of the way by now.
    SetAside,
    /// It cannot be understood.
    Damaged {
        /// What is wrong with it.
        reason: String,
    },
    /// Another version wrote it.
    Newer {
        /// What it calls itself.
        schema: String,
    },
}

/// What a file holds.
struct Sorted<T> {
    /// What this version understands, oldest first.
    entries: Vec<T>,
    /// The rest, by the numbers of the lines, from 1.
    faults: Vec<(usize, Fault)>,
}

impl<T: DeserializeOwned> Line<T> {
    fn parse(line: &[u8], kind: &Kind<T>) -> Self {
        #[derive(Deserialize)]
        struct Head {
            schema: String,
            /// Version of the program, where the lines of this kind say it.
            #[serde(default)]
            program: Option<Value>,
        }
        if line.trim_ascii().is_empty() {
            return Self::Blank;
        }
        let Ok(Head { schema, program }) = serde_json::from_slice(line) else {
            return Self::Unknown;
        };
        let family = kind.schema.trim_end_matches(|letter| letter != '/');
        if !schema.starts_with(family) {
            return Self::Unknown;
        }
        if is_newer(&schema, kind.schema) {
            return Self::Newer { schema };
        }
        let damaged = |reason| Self::Damaged { reason };
        if schema != kind.schema {
            return damaged(format!("there is no version {schema}"));
        }
        match serde_json::from_slice(line) {
            Ok(entry) if (kind.is_possible)(&entry) => Self::Entry(entry),
            Ok(_) => damaged("a figure in it is impossible".to_owned()),
            Err(error) => match program.as_ref().map(Value::as_str) {
                Some(Some(version)) if is_later(version, env!("CARGO_PKG_VERSION")) => {
                    Self::Newer {
                        schema: format!("{schema} by tapewright {version}"),
                    }
                }
                // All that were before it said it as text.
                Some(None) => Self::Newer { schema },
                _ => damaged(found_at(&error)),
            },
        }
    }
}

/// Whether one version of the program comes after another: 0.10.0 after 0.9.2.
fn is_later(version: &str, known: &str) -> bool {
    let numbers = |version: &str| -> Option<Vec<u64>> {
        version.split('.').map(|it| it.parse().ok()).collect()
    };
    numbers(version)
        .zip(numbers(known))
        .is_some_and(|(version, known)| version > known)
}

/// Whether the one has a higher number than the other of the same family.
fn is_newer(schema: &str, known: &str) -> bool {
    let number = |schema: &str| schema.rsplit('/').next()?.parse::<u32>().ok();
    number(schema)
        .zip(number(known))
        .is_some_and(|(number, known)| number > known)
}

/// What is wrong, and where within the line.
fn found_at(error: &serde_json::Error) -> String {
    let said = error.to_string();
    let what = said.rsplit_once(" at line ").map_or(&*said, |it| it.0);
    // Of a line that says one thing of several, serde names none of them.
    let what = if what.starts_with("no variant of enum") {
        "it says nothing that this version knows"
    } else {
        what
    };
    format!("{what}, at its byte {}", error.column())
}

/// Reads a file, which need not exist yet: what this version understands,
/// oldest first, and what is odd. Changes nothing on the disk.
pub(super) fn open<T: DeserializeOwned>(
    path: &Path,
    kind: &Kind<T>,
) -> Result<(Vec<T>, Vec<LinesWarning>), LinesError> {
    let of = kind.words;
    let owned = || path.to_owned();
    let sorted = read(path, kind).map_err(|source| match source.kind() {
        io::ErrorKind::InvalidData => LinesError::OfSomethingElse { path: owned(), of },
        _ => LinesError::Read {
            path: owned(),
            source,
            of,
        },
    })?;
    let warning = |(line, fault)| LinesWarning {
        path: owned(),
        line,
        fault,
        of,
    };
    Ok((
        sorted.entries,
        sorted.faults.into_iter().map(warning).collect(),
    ))
}

/// Adds an entry at the end, known to be understood again (a figure that is no
/// number would make its line unreadable), and forces it to the disk. A last
/// line that was torn is first moved to a file beside it; the warning says so.
/// Folders are made as needed.
pub(super) fn append<T: DeserializeOwned>(
    path: &Path,
    entry: &impl Serialize,
    kind: &Kind<T>,
) -> Result<Option<LinesWarning>, LinesError> {
    let of = kind.words;
    let unwritable = |reason: String| LinesError::Unwritable { reason, of };
    let mut line = serde_json::to_vec(entry).map_err(|error| unwritable(error.to_string()))?;
    line.push(b'\n');
    match Line::parse(&line, kind) {
        Line::Entry(_) => {}
        Line::Damaged { reason } => return Err(unwritable(reason)),
        _ => return Err(unwritable("it would not be understood again".to_owned())),
    }
    let torn = append_line(path, &line, kind).map_err(|source| unwritten(path, source, of))?;
    Ok(torn.map(|line| LinesWarning {
        path: path.to_owned(),
        line,
        fault: Fault::SetAside,
        of,
    }))
}

pub(super) fn unwritten(path: &Path, source: io::Error, of: &'static Words) -> LinesError {
    LinesError::Write {
        path: path.to_owned(),
        source,
        of,
    }
}

/// Sorts the lines of a file; [`io::ErrorKind::InvalidData`] when it is none
/// of this kind.
fn read<T: DeserializeOwned>(path: &Path, kind: &Kind<T>) -> io::Result<Sorted<T>> {
    let bytes = match read_locked(path, kind.begins) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Vec::new(),
        bytes => bytes?,
    };
    let mut sorted = Sorted {
        entries: Vec::new(),
        faults: Vec::new(),
    };
    let mut recognised = bytes.is_empty() || begins_with(&bytes, kind.begins);
    for (number, line) in (1..).zip(bytes.split_inclusive(|&byte| byte == b'\n')) {
        let fault = match Line::parse(line, kind) {
            Line::Blank => continue,
            Line::Entry(entry) => {
                sorted.entries.push(entry);
                recognised = true;
                continue;
            }
            Line::Newer { schema } => {
                recognised = true;
                Fault::Newer { schema }
            }
            Line::Damaged { reason } => {
                recognised = true;
                Fault::Damaged { reason }
            }
            Line::Unknown if line.ends_with(b"\n") => Fault::Damaged {
                reason: "it is no line of this kind".to_owned(),
            },
            Line::Unknown => Fault::Torn,
        };
        sorted.faults.push((number, fault));
    }
    if recognised {
        Ok(sorted)
    } else {
        Err(io::ErrorKind::InvalidData.into())
    }
}

/// True also for a beginning that was torn within its first bytes.
fn begins_with(bytes: &[u8], beginning: &[u8]) -> bool {
    let length = bytes.len().min(beginning.len());
    bytes[..length] == beginning[..length]
}

/// All bytes; [`io::ErrorKind::InvalidData`] for a large file that does not
/// begin as it should.
fn read_locked(path: &Path, beginning: &[u8]) -> io::Result<Vec<u8>> {
    whole::regular(path)?;
    let mut file = File::open(path)?;
    // Shared: waits for a line that is just being written, so that it is not
    // taken for a torn one. A file system without locks is read as it is.
    let _ = file.lock_shared();
    let mut bytes = Vec::new();
    if file.metadata()?.len() > LARGEST_UNKNOWN_BYTES {
        (&file)
            .take(beginning.len() as u64)
            .read_to_end(&mut bytes)?;
        if !begins_with(&bytes, beginning) {
            return Err(io::ErrorKind::InvalidData.into());
        }
    }
    file.read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Appends a line, which brings its end with it. Returns the number of a last
/// line that was torn and is now set aside.
fn append_line<T: DeserializeOwned>(
    path: &Path,
    line: &[u8],
    kind: &Kind<T>,
) -> io::Result<Option<usize>> {
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
        Err(error) if !has_no_locks(&error) => return Err(error),
        // Released when the file is closed.
        _ => {}
    }
    let torn = mend_end(path, &mut file, kind)?;
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
    Ok(torn)
}

/// A file system without locks, or a share whose server grants none.
fn has_no_locks(error: &io::Error) -> bool {
    error.kind() == io::ErrorKind::Unsupported
        || error.raw_os_error() == Some(rustix::io::Errno::NOLCK.raw_os_error())
}

/// Whether lines could be added, as far as that can be told without adding one.
pub(super) fn check_place(path: &Path) -> io::Result<()> {
    if path.exists() {
        return OpenOptions::new().append(true).open(path).map(drop);
    }
    // Folders are made as needed, within one that is there.
    let there = path.ancestors().skip(1).find(|folder| folder.exists());
    match there {
        Some(folder) if !folder.is_dir() => Err(io::ErrorKind::NotADirectory.into()),
        _ => Ok(()),
    }
}

/// Makes sure that the file ends with a line's end.
fn mend_end<T: DeserializeOwned>(
    path: &Path,
    file: &mut File,
    kind: &Kind<T>,
) -> io::Result<Option<usize>> {
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
    if !matches!(Line::parse(&bytes[start..], kind), Line::Unknown) {
        // Whole but for its end.
        file.write_all(b"\n")?;
        return Ok(None);
    }
    set_aside(&torn_path(path), &bytes[start..])?;
    file.set_len(start as u64)?;
    Ok(Some(bytes.split(|&byte| byte == b'\n').count()))
}

/// The torn bytes are safe on the disk before they leave the record.
fn set_aside(torn: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new().append(true).create(true).open(torn)?;
    file.write_all(bytes)?;
    file.write_all(b"\n")?;
    file.sync_data()
}

/// Where a torn line is moved to.
fn torn_path(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".torn");
    PathBuf::from(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_system_without_locks_is_told_from_one_that_fails() {
        let error = |errno: rustix::io::Errno| io::Error::from_raw_os_error(errno.raw_os_error());
        for without in [rustix::io::Errno::NOLCK, rustix::io::Errno::NOSYS] {
            assert!(has_no_locks(&error(without)), "{without}");
        }
        assert!(!has_no_locks(&error(rustix::io::Errno::IO)));
    }

    #[test]
    fn only_a_later_version_may_know_more() {
        for (version, later) in [
            ("0.10.0", true),
            ("1.0", true),
            ("0.9.2", false),
            ("0.9.1", false),
            ("0.9", false),
            ("", false),
            ("newest", false),
        ] {
            assert_eq!(is_later(version, "0.9.2"), later, "{version}");
        }
    }

    #[test]
    fn only_a_higher_number_is_newer() {
        for (schema, newer) in [
            ("a/2", true),
            ("a/1", false),
            ("a/0", false),
            ("a/x", false),
        ] {
            assert_eq!(is_newer(schema, "a/1"), newer, "{schema}");
        }
    }
}
