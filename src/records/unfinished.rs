//! What is done of a long piece of work, so that it can be gone on with where it
//! was broken off: a line of JSON for each part, in the order in which they were
//! finished, the file gone once all is done.
//!
//! Nothing here is ever asked for again that cannot be found anew: a torn line,
//! a file of another program or version count as nothing done.

use std::collections::HashMap;
use std::fs::{self, File, OpenOptions};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{self, BufRead, BufReader, Seek, SeekFrom, Write};
use std::marker::PhantomData;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::places::Places;

const SCHEMA: &str = "tapewright.unfinished/1";

/// What a power cut may take: the parts that were finished within the last
/// second are done once more.
const SAVED_EVERY: Duration = Duration::from_secs(1);

/// Whoever has not gone on by then does not (practice, no source).
const KEPT_FOR: Duration = Duration::from_secs(30 * 24 * 3600);

/// A file as it was when work on it began.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Stamp {
    /// Its name, in which whatever is no printable ASCII is written out.
    file: String,
    bytes: u64,
    modified_ns: u128,
}

impl Stamp {
    /// Of a regular file with a time of its own; what comes through a pipe comes
    /// once.
    pub fn of(path: &Path) -> Option<Self> {
        let found = fs::metadata(path).ok().filter(fs::Metadata::is_file)?;
        let since = |time: SystemTime| time.duration_since(UNIX_EPOCH).ok();
        Some(Self {
            file: path
                .as_os_str()
                .as_encoded_bytes()
                .escape_ascii()
                .to_string(),
            bytes: found.len(),
            modified_ns: since(found.modified().ok()?)?.as_nanos(),
        })
    }
}

#[derive(Serialize, Deserialize)]
struct Head {
    schema: String,
    /// All that a result depends on besides the file.
    of: String,
}

/// A line has one of the two.
#[derive(Serialize)]
struct NewLine<'a, T> {
    stamp: &'a Stamp,
    #[serde(skip_serializing_if = "Option::is_none")]
    begun: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    done: Option<&'a T>,
}

#[derive(Deserialize)]
struct KeptLine<T> {
    stamp: Stamp,
    begun: Option<String>,
    done: Option<T>,
}

/// Why nothing can be kept.
#[derive(Debug, thiserror::Error)]
pub enum UnfinishedError {
    /// Neither a folder was named nor has the system one.
    #[error("this system names no folder for data; name one with --data FOLDER")]
    NoFolder,
    /// Another run holds the file.
    #[error("the same work is just being done by another run")]
    InUse,
    /// The disk.
    #[error("{}: {source}", path.display())]
    Disk {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
}

/// The parts that are done.
pub struct Unfinished<T> {
    path: PathBuf,
    file: File,
    saved: Instant,
    /// Where the line of a stamp begins, by its digest. The lines stay on the
    /// disk, so that memory does not grow with what is done.
    lines: HashMap<u64, u64>,
    /// What was begun for a file, by the digest of its name.
    begun: HashMap<u64, String>,
    of: PhantomData<T>,
}

impl<T: Serialize + DeserializeOwned> Unfinished<T> {
    /// Begins anew, or goes on where work on the same was broken off. `work`
    /// is all that a result depends on besides its file.
    pub fn open(places: &Places, work: &str, go_on: bool) -> Result<Self, UnfinishedError> {
        let folder = places.unfinished().ok_or(UnfinishedError::NoFolder)?;
        let path = folder.join(format!("{:016x}.jsonl", digest(&work)));
        Self::open_file(&path, work, go_on).map_err(|source| match source.kind() {
            io::ErrorKind::WouldBlock => UnfinishedError::InUse,
            _ => UnfinishedError::Disk { path, source },
        })
    }

    fn open_file(path: &Path, work: &str, go_on: bool) -> io::Result<Self> {
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder)?;
            forget_old_ones(folder);
        }
        let mut options = OpenOptions::new();
        let file = options.read(true).append(true).create(true).open(path)?;
        match file.try_lock() {
            Err(fs::TryLockError::WouldBlock) => return Err(io::ErrorKind::WouldBlock.into()),
            // A file system without locks is used as it is.
            Err(fs::TryLockError::Error(_)) | Ok(()) => {}
        }
        let mut unfinished = Self {
            path: path.to_owned(),
            file,
            saved: Instant::now(),
            lines: HashMap::new(),
            begun: HashMap::new(),
            of: PhantomData,
        };
        let whole = if go_on {
            unfinished.look_through(work)?
        } else {
            0
        };
        // What was torn goes, and so does what is of another work.
        unfinished.file.set_len(whole)?;
        if whole == 0 {
            unfinished.lines.clear();
            unfinished.begun.clear();
            let (schema, of) = (SCHEMA.to_owned(), work.to_owned());
            unfinished.write(&Head { schema, of })?;
        }
        Ok(unfinished)
    }

    /// Finds the lines; returns how far they are whole, 0 where the file is of
    /// something else.
    fn look_through(&mut self, work: &str) -> io::Result<u64> {
        let mut reader = BufReader::new(&self.file);
        let (mut at, mut line) = (0, Vec::new());
        loop {
            line.clear();
            let length = reader.read_until(b'\n', &mut line)? as u64;
            if !line.ends_with(b"\n") {
                return Ok(at);
            }
            if at == 0 {
                let head: Option<Head> = serde_json::from_slice(&line).ok();
                if !head.is_some_and(|it| it.schema == SCHEMA && it.of == work) {
                    return Ok(0);
                }
            } else if let Ok(kept) = serde_json::from_slice::<KeptLine<T>>(&line) {
                if let Some(begun) = kept.begun {
                    self.begun.insert(digest(&kept.stamp.file), begun);
                }
                if kept.done.is_some() {
                    self.lines.insert(digest(&kept.stamp), at);
                }
            }
            at += length;
        }
    }

    /// Where they are kept.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How many of these are done and still the same.
    pub fn count(&self, of: impl IntoIterator<Item = Stamp>) -> usize {
        let of = of.into_iter();
        of.filter(|it| self.lines.contains_key(&digest(it))).count()
    }

    /// What came of this file, if it was finished and is still the same.
    pub fn done(&self, stamp: &Stamp) -> Option<T> {
        let at = *self.lines.get(&digest(stamp))?;
        let mut file = &self.file;
        file.seek(SeekFrom::Start(at)).ok()?;
        let mut line = Vec::new();
        BufReader::new(file).read_until(b'\n', &mut line).ok()?;
        let kept: KeptLine<T> = serde_json::from_slice(&line).ok()?;
        kept.done.filter(|_| kept.stamp == *stamp)
    }

    /// What this work has begun to leave behind for this file, whatever has
    /// become of the file since.
    pub fn begun(&self, stamp: &Stamp) -> Option<&str> {
        self.begun.get(&digest(&stamp.file)).map(String::as_str)
    }

    /// Notes, before it is there, what this work leaves behind for a file: when
    /// it is gone on with, that is its own.
    pub fn begin(&mut self, stamp: &Stamp, leaving: &str) -> io::Result<()> {
        let begun = Some(leaving);
        let done = None::<&T>;
        self.write(&NewLine { stamp, begun, done })?;
        self.save()
    }

    /// Keeps what came of a file.
    pub fn keep(&mut self, stamp: &Stamp, done: &T) -> io::Result<()> {
        let (begun, done) = (None, Some(done));
        self.write(&NewLine { stamp, begun, done })?;
        if self.saved.elapsed() >= SAVED_EVERY {
            self.file.sync_data()?;
            self.saved = Instant::now();
        }
        Ok(())
    }

    /// Forces to the disk what is done.
    pub fn save(&mut self) -> io::Result<()> {
        self.file.sync_data()
    }

    fn write(&mut self, line: &impl Serialize) -> io::Result<()> {
        let mut bytes = serde_json::to_vec(line)?;
        bytes.push(b'\n');
        self.file.write_all(&bytes)
    }

    /// All is done and told.
    pub fn end(self) {
        let Self { path, file, .. } = self;
        // Some systems take no open file away.
        drop(file);
        // One that stays costs a while of work at most, were it gone on with.
        let _ = fs::remove_file(path);
    }
}

fn digest(of: &impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    of.hash(&mut hasher);
    hasher.finish()
}

/// Nobody goes on with work of long ago, and its files are not to pile up.
fn forget_old_ones(folder: &Path) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let age = entry.metadata().and_then(|it| it.modified());
        let age = age.ok().and_then(|it| it.elapsed().ok());
        let ours = entry.path().extension().is_some_and(|it| it == "jsonl");
        if ours && age.is_some_and(|age| age > KEPT_FOR) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Words = Unfinished<String>;

    fn open(folder: &Path, work: &str, go_on: bool) -> Words {
        let places = Places::in_folder(folder.to_owned());
        Unfinished::open(&places, work, go_on).expect("room")
    }

    fn stamp(folder: &Path, name: &str) -> Stamp {
        let path = folder.join(name);
        if !path.exists() {
            fs::write(&path, name).expect("room");
        }
        Stamp::of(&path).expect("a file")
    }

    fn file_in(folder: &Path) -> PathBuf {
        let mut entries = fs::read_dir(folder.join("unfinished")).expect("a folder");
        entries.next().expect("a file").expect("a file").path()
    }

    #[test]
    fn what_was_done_is_found_again_until_its_file_changes() {
        let folder = tempfile::tempdir().expect("a folder");
        let folder = folder.path();
        let [a, b] = ["a", "b"].map(|it| stamp(folder, it));
        let mut work = open(folder, "one", true);
        let count = |work: &Words| work.count([a.clone(), b.clone()]);
        assert_eq!((count(&work), work.done(&a)), (0, None));
        work.keep(&a, &"of a".to_owned()).expect("room");
        work.keep(&b, &"of b".to_owned()).expect("room");
        drop(work);
        let again = open(folder, "one", true);
        assert_eq!(again.done(&b).as_deref(), Some("of b"));
        assert_eq!(again.done(&a).as_deref(), Some("of a"));
        assert_eq!(count(&again), 2);
        fs::write(folder.join("a"), "longer").expect("room");
        let changed = stamp(folder, "a");
        assert_eq!(again.done(&changed), None);
        // What was kept of it as it was counts no more.
        assert_eq!(again.count([changed, b.clone()]), 1);
        drop(again);
        assert_eq!(count(&open(folder, "other", true)), 0);
        assert_eq!(count(&open(folder, "one", false)), 0);
    }

    #[test]
    fn what_was_begun_is_known_until_the_work_begins_anew() {
        let folder = tempfile::tempdir().expect("a folder");
        let folder = folder.path();
        let [a, b] = ["a", "b"].map(|it| stamp(folder, it));
        let mut work = open(folder, "one", false);
        work.begin(&a, "tables of a").expect("room");
        drop(work);
        let again = open(folder, "one", true);
        assert_eq!(
            (again.begun(&a), again.begun(&b)),
            (Some("tables of a"), None)
        );
        assert_eq!((again.count([a.clone()]), again.done(&a)), (0, None));
        fs::write(folder.join("a"), "longer").expect("room");
        let changed = stamp(folder, "a");
        assert_eq!(again.begun(&changed), Some("tables of a"));
        drop(again);
        assert_eq!(open(folder, "one", false).begun(&a), None);
    }

    #[test]
    fn a_line_that_was_torn_is_done_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let folder = folder.path();
        let [a, b] = ["a", "b"].map(|it| stamp(folder, it));
        let mut work = open(folder, "one", false);
        work.keep(&a, &"of a".to_owned()).expect("room");
        work.keep(&b, &"of b".to_owned()).expect("room");
        drop(work);
        let path = file_in(folder);
        let whole = fs::read(&path).expect("a file");
        let begins_b = whole.len()
            - 1
            - whole
                .iter()
                .rev()
                .skip(1)
                .position(|it| *it == b'\n')
                .expect("lines");
        for length in 0..whole.len() {
            fs::write(&path, &whole[..length]).expect("room");
            let mut torn = open(folder, "one", true);
            assert_eq!(torn.done(&b), None, "{length}");
            assert_eq!(torn.done(&a).is_some(), length >= begins_b, "{length}");
            torn.keep(&b, &"anew".to_owned()).expect("room");
            drop(torn);
            let mended = open(folder, "one", true);
            assert_eq!(mended.done(&b).as_deref(), Some("anew"), "{length}");
        }
        open(folder, "one", true).end();
        assert!(!path.exists());
    }

    #[test]
    fn two_runs_do_not_write_into_one_file_and_old_ones_go() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let held = open(folder.path(), "one", true);
        let second = Words::open(&places, "one", true).map(drop);
        assert!(matches!(second, Err(UnfinishedError::InUse)), "{second:?}");
        drop(held);
        let old = file_in(folder.path());
        let long_ago = SystemTime::now() - KEPT_FOR - Duration::from_secs(60);
        let file = File::options().append(true).open(&old).expect("a file");
        file.set_modified(long_ago).expect("a time");
        drop(open(folder.path(), "another", true));
        assert!(!old.exists());
        fs::write(folder.path().join("file"), "").expect("room");
        let nowhere = Places::in_folder(folder.path().join("file"));
        let refused = Words::open(&nowhere, "one", true).map(drop);
        assert!(
            matches!(refused, Err(UnfinishedError::Disk { .. })),
            "{refused:?}"
        );
    }
}
