//! What must hold of every reader, whatever bytes it is given: tried by the
//! fuzzer (`tests/fuzz`), over every input that once failed
//! (`tests/regressions/hostile`), and by property tests.

use std::cell::RefCell;
use std::fmt::Debug;
use std::fs;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use clap::{Command, CommandFactory};
use tapewright::audio::pick::Pick;
use tapewright::audio::recording::{Recording, RecordingError};
use tapewright::commands::cli::Cli;
use tapewright::commands::settings::Settings;
use tapewright::readings::Position;
use tapewright::records::places::Places;
use tapewright::records::{
    Clocks, Entry, JobFile, LinesError, LinesWarning, Record, Stamp, Unfinished, UnfinishedError,
};
use tapewright::references::parts::PartsCard;
use tapewright::references::{CardTextError, TapeCard};
use tempfile::TempDir;

/// Longer than a program takes to start on a busy computer.
const PATIENCE: Duration = Duration::from_secs(5);

/// A reader, what is tried on it, and where good inputs of its kind lie.
pub struct Target {
    pub name: &'static str,
    /// Panics where a promise is broken; false where the bytes were refused.
    pub holds: fn(&[u8]) -> bool,
    pub seeds: &'static [&'static str],
}

/// All of them; each has a fuzz target of its name.
pub const TARGETS: [Target; 9] = [
    Target {
        name: "wav",
        holds: wav,
        seeds: &["tests/fuzz/seeds/wav"],
    },
    Target {
        name: "decoded",
        holds: decoded,
        seeds: &["tests/fuzz/seeds/decoded"],
    },
    Target {
        name: "job",
        holds: job,
        seeds: &["tests/records", "tests/fuzz/seeds/job"],
    },
    Target {
        name: "snapshots",
        holds: snapshots,
        seeds: &["tests/records", "tests/fuzz/seeds/snapshots"],
    },
    Target {
        name: "clocks",
        holds: clocks,
        seeds: &["tests/records", "tests/fuzz/seeds/clocks"],
    },
    Target {
        name: "unfinished",
        holds: unfinished,
        seeds: &["tests/fuzz/seeds/unfinished"],
    },
    Target {
        name: "tape_card",
        holds: tape_card,
        seeds: &["tests/fuzz/seeds/tape_card"],
    },
    Target {
        name: "parts_card",
        holds: parts_card,
        seeds: &["assets/parts", "tests/fuzz/seeds/parts_card"],
    },
    Target {
        name: "settings",
        holds: settings,
        seeds: &["tests/fuzz/seeds/settings"],
    },
];

/// One in memory where the system has such a folder: the readers want a path,
/// and a disk would be all that is measured.
fn scratch<T>(work: impl FnOnce(&Path) -> T) -> T {
    thread_local! {
        static FOLDER: RefCell<Option<TempDir>> = const { RefCell::new(None) };
    }
    FOLDER.with_borrow_mut(|folder| {
        let folder = folder.get_or_insert_with(|| {
            let made = tempfile::tempdir_in("/dev/shm");
            made.or_else(|_| tempfile::tempdir()).expect("a folder")
        });
        work(folder.path())
    })
}

fn with_file<T>(name: &str, bytes: &[u8], work: impl FnOnce(PathBuf) -> T) -> T {
    scratch(|folder| {
        let path = folder.join(name);
        fs::write(&path, bytes).expect("room");
        work(path)
    })
}

/// A sentence for people: what was found and what to do.
fn is_told(error: &impl ToString) {
    let said = error.to_string();
    assert!(said.len() > 20, "{said}");
}

/// The reader of our own.
pub fn wav(bytes: &[u8]) -> bool {
    is_wave(bytes) && recording(bytes)
}

/// All that the decoders know.
pub fn decoded(bytes: &[u8]) -> bool {
    !is_wave(bytes) && recording(bytes)
}

/// But for what is compressed inside a WAV.
fn is_wave(bytes: &[u8]) -> bool {
    let begins = [b"RIFF", b"RF64", b"BW64"];
    let plain = bytes
        .get(20..22)
        .is_some_and(|tag| tag != [2, 0] && tag != [0x11, 0]);
    begins.iter().any(|it| bytes.starts_with(*it)) && plain
}

/// A byte says no more frames than these. The most that a format allows is a
/// block of silence in FLAC, 65,535 frames in 11 bytes (RFC 9639, sections 9.1
/// and 9.2.3).
const MOST_FRAMES_A_BYTE: u64 = 8192;

/// No block is larger: what is decoded at once is held at once.
const MOST_SAMPLES_A_BLOCK: usize = 1 << 22;

/// Read to its end in blocks: whole frames of numbers, as many as it says, in
/// bounded memory; the same again of one channel.
fn recording(bytes: &[u8]) -> bool {
    with_file("recording", bytes, |path| {
        let mut recording = match Recording::open(&path) {
            Ok(recording) => recording,
            Err(error) => {
                is_refusal(&error);
                return false;
            }
        };
        let channels = recording.format().channels;
        assert!((8_000..=768_000).contains(&recording.format().rate_hz));
        let frames = frames_of(&mut recording);
        assert!(
            frames <= bytes.len() as u64 * MOST_FRAMES_A_BYTE,
            "{frames} frames of {} bytes",
            bytes.len()
        );
        let faults = recording.faults();
        if let Some(total) = recording.total_frames()
            && frames < total
        {
            assert!(
                faults.cut_short || total - frames <= 4096,
                "{frames} of {total}"
            );
        }
        if faults.missing_frames > 0 {
            assert!(faults.cut_short, "{faults:?}");
        }
        let pick = Some(Pick::usual(1));
        let mut one = Recording::open_taking(&path, pick).expect("it was opened before");
        assert_eq!(one.format().channels, 1);
        assert_eq!(frames_of(&mut one), frames, "of {channels} channels");
        assert_eq!(one.faults(), faults);
        true
    })
}

fn frames_of(recording: &mut Recording) -> u64 {
    let channels = usize::from(recording.format().channels);
    let (mut block, mut frames) = (Vec::new(), 0);
    while let Some(more) = recording.next_block(&mut block) {
        assert!(more > 0 && block.len() == more * channels);
        assert!(block.len() <= MOST_SAMPLES_A_BLOCK, "{more} × {channels}");
        assert!(block.iter().all(|it| it.is_finite()));
        frames += more as u64;
    }
    assert_eq!(recording.read_frames(), frames);
    assert_eq!(recording.next_block(&mut block), None, "after its end");
    frames
}

fn is_refusal(error: &RecordingError) {
    is_told(error);
    let is_of_system = matches!(
        error,
        RecordingError::Io { .. } | RecordingError::Missing(_)
    );
    assert!(!is_of_system, "{error}");
}

/// A file of lines as one of the readers gives it.
trait Lines: Sized {
    type Content: PartialEq + Debug;

    fn open(path: &Path) -> Result<(Self, Vec<LinesWarning>), LinesError>;

    /// What it holds that can be written again.
    fn content(&self) -> Self::Content;

    /// Entries that were read, where they can be counted.
    fn count(&self) -> Option<usize>;

    /// Something was read; a line may also have taken away what was.
    fn is_begun(&self) -> bool;

    const TAKES_AWAY: bool = false;

    /// Adds all of it to another file.
    fn add_to(&self, other: &mut Self) -> Result<(), LinesError>;
}

/// Every line is read or told of; what was read is written again and means the
/// same; what is added behind it is there.
fn lines<L: Lines>(bytes: &[u8]) -> bool {
    with_file("lines.jsonl", bytes, |path| {
        let begun = lines_of(bytes).count();
        let opened_whole = opened::<L>(&path);
        if let Some((file, warnings)) = &opened_whole {
            let filled = filled_lines(bytes).count();
            let places: Vec<usize> = warnings.iter().map(|it| it.line).collect();
            assert!(places.is_sorted_by(|a, b| a < b), "{places:?}");
            assert!(
                places.iter().all(|it| (1..=begun).contains(it)),
                "{places:?}"
            );
            if let Some(count) = file.count() {
                assert_eq!(count + warnings.len(), filled);
            }
            means_the_same_again(file, &path.with_file_name("again.jsonl"));
            takes_more(file, &path);
        }
        for line in filled_lines(bytes).take(MOST_LINES_ALONE) {
            fs::write(&path, line).expect("room");
            if let Some((file, warnings)) = opened::<L>(&path) {
                let read = file.is_begun() || (L::TAKES_AWAY && warnings.is_empty());
                assert_eq!(usize::from(read) + warnings.len(), 1, "{warnings:?}");
            }
        }
        opened_whole.is_some_and(|(file, _)| file.is_begun())
    })
}

/// Each is a file of its own, which takes a while.
const MOST_LINES_ALONE: usize = 8;

fn lines_of(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    bytes.split_inclusive(|byte| *byte == b'\n')
}

fn filled_lines(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    lines_of(bytes).filter(|it| !it.trim_ascii().is_empty())
}

fn opened<L: Lines>(path: &Path) -> Option<(L, Vec<LinesWarning>)> {
    match L::open(path) {
        Ok((file, warnings)) => {
            warnings.iter().for_each(is_told);
            Some((file, warnings))
        }
        Err(error) => {
            is_told(&error);
            let is_other = matches!(error, LinesError::OfSomethingElse { .. });
            assert!(is_other, "{error}");
            None
        }
    }
}

fn means_the_same_again<L: Lines>(file: &L, again: &Path) {
    let _ = fs::remove_file(again);
    let (mut written, _) = L::open(again).unwrap_or_else(|error| panic!("{error}"));
    file.add_to(&mut written)
        .unwrap_or_else(|error| panic!("{error}"));
    let (read, warnings) = L::open(again).unwrap_or_else(|error| panic!("{error}"));
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!(read.content(), file.content());
}

/// Added to what is there already, it stands there twice.
fn takes_more<L: Lines>(file: &L, path: &Path) {
    let (mut longer, before) = L::open(path).unwrap_or_else(|error| panic!("{error}"));
    file.add_to(&mut longer)
        .unwrap_or_else(|error| panic!("{error}"));
    let (read, after) = L::open(path).unwrap_or_else(|error| panic!("{error}"));
    let _ = fs::remove_file(path.with_file_name("lines.jsonl.torn"));
    assert_eq!(read.content(), longer.content());
    let is_torn = |it: &&LinesWarning| it.fault == tapewright::records::Fault::Torn;
    let torn = before.iter().filter(is_torn).count();
    assert!(after.len() + torn >= before.len(), "{before:?} {after:?}");
}

impl Lines for Record {
    type Content = Vec<tapewright::records::Snapshot>;

    fn open(path: &Path) -> Result<(Self, Vec<LinesWarning>), LinesError> {
        Record::open(path)
    }

    fn content(&self) -> Self::Content {
        self.list().to_vec()
    }

    fn count(&self) -> Option<usize> {
        Some(self.list().len())
    }

    fn is_begun(&self) -> bool {
        !self.list().is_empty()
    }

    fn add_to(&self, other: &mut Self) -> Result<(), LinesError> {
        let mut each = self.list().iter();
        each.try_for_each(|it| other.append(it).map(drop))
    }
}

impl Lines for Clocks {
    const TAKES_AWAY: bool = true;

    type Content = Vec<tapewright::records::ClockFigure>;

    fn open(path: &Path) -> Result<(Self, Vec<LinesWarning>), LinesError> {
        Clocks::open(path)
    }

    fn content(&self) -> Self::Content {
        self.list().to_vec()
    }

    fn count(&self) -> Option<usize> {
        // A later figure takes an earlier one's place.
        None
    }

    fn is_begun(&self) -> bool {
        !self.list().is_empty()
    }

    fn add_to(&self, other: &mut Self) -> Result<(), LinesError> {
        let mut each = self.list().iter();
        each.try_for_each(|it| other.keep(it.clone()).map(drop))
    }
}

impl Lines for JobFile {
    type Content = (
        Vec<tapewright::records::Snapshot>,
        Vec<tapewright::records::WiperCheck>,
        Vec<String>,
    );

    fn open(path: &Path) -> Result<(Self, Vec<LinesWarning>), LinesError> {
        JobFile::open(path)
    }

    fn content(&self) -> Self::Content {
        let job = self.job();
        let notes = job.notes.iter().map(|it| it.text.clone());
        (job.snapshots.clone(), job.wipers.clone(), notes.collect())
    }

    fn count(&self) -> Option<usize> {
        // What was corrected stands in several lines.
        None
    }

    fn is_begun(&self) -> bool {
        JobFile::is_begun(self)
    }

    fn add_to(&self, other: &mut Self) -> Result<(), LinesError> {
        let job = self.job();
        for snapshot in &job.snapshots {
            other.add(Entry::Snapshot(Box::new(snapshot.clone())))?;
        }
        for wiper in &job.wipers {
            other.add_of(wiper.at, Entry::Wiper(Box::new(wiper.report.clone())))?;
        }
        for note in &job.notes {
            other.add_of(note.at, Entry::Note(note.text.clone()))?;
        }
        Ok(())
    }
}

pub fn job(bytes: &[u8]) -> bool {
    lines::<JobFile>(bytes)
}

pub fn snapshots(bytes: &[u8]) -> bool {
    lines::<Record>(bytes)
}

pub fn clocks(bytes: &[u8]) -> bool {
    lines::<Clocks>(bytes)
}

/// What is finished behind any lines is found again, and nothing that was not.
pub fn unfinished(bytes: &[u8]) -> bool {
    const WORK: &str = "one";
    let head = b"{\"schema\":\"tapewright.unfinished/1\",\"of\":\"one\"}\n";
    with_file("part", b"of a recording", |part| {
        let places = Places::in_folder(part.with_file_name(""));
        // A program that another test just starts holds the lock for a moment too, as
        // long as it is still a copy of this one.
        let begun = Instant::now();
        let open = |go_on| loop {
            match Unfinished::<String>::open(&places, WORK, go_on) {
                Err(UnfinishedError::InUse) if begun.elapsed() < PATIENCE => {
                    thread::sleep(Duration::from_millis(5));
                }
                opened => return opened.expect("room"),
            }
        };
        let path = open(false).path().to_owned();
        fs::write(&path, [head, bytes].concat()).expect("room");
        let stamp = Stamp::of(&part).expect("a file");
        let mut work = open(true);
        assert_eq!(work.done(&stamp), None);
        work.keep(&stamp, &"done".to_owned()).expect("room");
        work.save().expect("room");
        drop(work);
        assert_eq!(open(true).done(&stamp).as_deref(), Some("done"));
        true
    })
}

/// Refused in a sentence, or read, and then written again and the same.
fn card<C: PartialEq + Debug, E: Debug>(
    bytes: &[u8],
    read: fn(&str) -> Result<C, CardTextError>,
    write: fn(&C) -> Result<String, E>,
) -> Option<C> {
    let text = std::str::from_utf8(bytes).ok()?;
    match read(text) {
        Err(error) => {
            let said = error.to_string();
            assert!(!said.is_empty());
            None
        }
        Ok(card) => {
            let text = write(&card).expect("it was read");
            assert_eq!(read(&text).as_ref(), Ok(&card), "{text}");
            Some(card)
        }
    }
}

pub fn tape_card(bytes: &[u8]) -> bool {
    let Some(card) = card(bytes, TapeCard::from_toml, TapeCard::to_toml) else {
        return false;
    };
    let error = card.reference_error(None);
    assert!(error.error.0.abs() <= 25.0 && error.uncertainty.is_some_and(|it| it.0 <= 25.0));
    let typed = [card.speed.machine_percent, card.speed.read_percent];
    assert!(typed.iter().flatten().flatten().all(|it| it.is_finite()));
    assert_eq!(card.carries.is_some(), card.reference().is_some());
    true
}

pub fn parts_card(bytes: &[u8]) -> bool {
    let Some(card) = card(bytes, PartsCard::from_toml, PartsCard::to_toml) else {
        return false;
    };
    let places = [
        None,
        Some(Position::Start),
        Some(Position::Middle),
        Some(Position::End),
    ];
    for place in places {
        let rates = card.rates(place);
        assert_eq!(rates.len(), card.parts.len());
        for rate in rates {
            let [low, high] = rate.turns;
            // The widest that may be typed, and what a belt makes of it.
            assert!(1e-3 <= low && low <= high && high <= 1e4, "{rate:?}");
            assert!((0.0..=100.0).contains(&rate.tolerance_percent), "{rate:?}");
            let moves = rate.pack.map_or(0.0, |it| it.percent_per_minute(high));
            assert!(moves.is_finite(), "{rate:?}");
        }
    }
    true
}

/// Every key is taken or told of with its line.
pub fn settings(bytes: &[u8]) -> bool {
    thread_local! {
        static COMMAND: Command = Cli::command();
    }
    with_file("settings.toml", bytes, |path| {
        let settings = COMMAND.with(|it| Settings::load(Some(path), |_| None, it));
        for fault in settings.faults() {
            is_told(&fault);
        }
        settings.faults().next().is_none()
    })
}
