//! What was kept is never lost, be it in a job, in the record of an earlier
//! version or the error of a sample clock: an interrupted write at any byte leaves every earlier line as it was,
//! damage elsewhere in the file does no harm, and programs that keep at the
//! same time do not tear each other's lines.

use std::fs;
use std::path::Path;
use std::process::Command;

use crate::support::invented;
use crate::support::program::Folder;
use serde_json::Value;
use tapewright::readings::ClockSource;
use tapewright::records::{
    About, Against, ClockFigure, Clocks, Entry, Fault, JobFile, Label, LinesError, LinesWarning,
    Record, Snapshot,
};
use tapewright::units::{Hertz, Ppm, Seconds};

/// A file of lines, each with a name.
trait Lines: Sized {
    const SCHEMA: &str;
    /// A write is torn at every byte, or of long lines at every other.
    const STEP: usize;
    fn open(path: &Path) -> Result<(Self, Vec<LinesWarning>), LinesError>;
    fn keep(&mut self, name: &str) -> Option<LinesWarning>;
    fn names(&self) -> Vec<String>;
}

fn snapshot(name: &str) -> Snapshot {
    let label = Label::Named(name.to_owned());
    let mut snapshot = Snapshot::new(label, "line in", invented::measurement());
    snapshot.machine = Some("deck 4".to_owned());
    snapshot.wiper_cleanings = Some(2);
    // What could break a line: line ends, quotes, letters of several bytes.
    snapshot.note = Some("new belt\n\"dry\" capstan\r, größer, 音".to_owned());
    snapshot
}

impl Lines for Record {
    const SCHEMA: &str = "tapewright.snapshot";
    const STEP: usize = 2;

    fn open(path: &Path) -> Result<(Self, Vec<LinesWarning>), LinesError> {
        Self::open(path)
    }

    fn keep(&mut self, name: &str) -> Option<LinesWarning> {
        self.append(&snapshot(name)).unwrap()
    }

    fn names(&self) -> Vec<String> {
        self.list().iter().map(|s| s.label.to_string()).collect()
    }
}

impl Lines for JobFile {
    const SCHEMA: &str = "tapewright.job";
    const STEP: usize = 2;

    fn open(path: &Path) -> Result<(Self, Vec<LinesWarning>), LinesError> {
        Self::open(path)
    }

    fn keep(&mut self, name: &str) -> Option<LinesWarning> {
        self.add(Entry::Snapshot(Box::new(snapshot(name)))).unwrap()
    }

    fn names(&self) -> Vec<String> {
        let snapshots = self.job().snapshots.iter();
        snapshots.map(|it| it.label.to_string()).collect()
    }
}

fn figure(input: &str, error_ppm: f64) -> ClockFigure {
    ClockFigure {
        input: input.to_owned(),
        name: "Invented Line In".to_owned(),
        rate_hz: 48_000,
        error: Ppm(error_ppm),
        uncertainty: Ppm(12.0),
        taken_at: jiff::Timestamp::from_second(1_790_000_000).unwrap(),
        against: Against::SystemClock {
            uncertainty: Ppm(5.0),
            disciplined: true,
        },
        over: Seconds(296.0),
    }
}

impl Lines for Clocks {
    const SCHEMA: &str = "tapewright.clock";
    const STEP: usize = 1;

    fn open(path: &Path) -> Result<(Self, Vec<LinesWarning>), LinesError> {
        Self::open(path)
    }

    fn keep(&mut self, name: &str) -> Option<LinesWarning> {
        self.keep(figure(name, 10.0)).unwrap()
    }

    fn names(&self) -> Vec<String> {
        self.list().iter().map(|it| it.input.clone()).collect()
    }
}

fn open<L: Lines>(path: &Path) -> (L, Vec<LinesWarning>) {
    L::open(path).unwrap_or_else(|error| panic!("{error}"))
}

/// Opened without a word.
#[track_caller]
fn whole<L: Lines>(path: &Path) -> L {
    let (lines, warnings) = open(path);
    assert!(warnings.is_empty(), "{warnings:?}");
    lines
}

/// The number of each line and what is wrong with it, in the words of its kind.
fn faults(warnings: &[LinesWarning]) -> Vec<(usize, &'static str)> {
    let kind = |fault: &Fault| match fault {
        Fault::Torn => "torn",
        Fault::SetAside => "set aside",
        Fault::Damaged { .. } => "damaged",
        Fault::Newer { .. } => "newer",
    };
    let fault = |it: &LinesWarning| (it.line, kind(&it.fault));
    warnings.iter().map(fault).collect()
}

#[test]
fn what_was_kept_is_read_back() {
    let folder = Folder::new();
    // Folders are made as needed.
    let path = folder.path("new/folder/record.jsonl");
    let mut record: Record = whole(&path);
    assert!(record.list().is_empty());
    assert!(!path.exists(), "opening makes no file");
    let kept = [snapshot("one"), snapshot("two")];
    for snapshot in &kept {
        assert_eq!(record.append(snapshot).unwrap(), None);
    }
    assert_eq!(record.list(), kept);
    assert_eq!(whole::<Record>(&path).list(), kept);
    let text = fs::read_to_string(&path).unwrap();
    assert_eq!(text.lines().count(), 2);
    assert!(text.starts_with("{\"schema\":\"tapewright.snapshot/1\","));
    assert_ne!(kept[0].id, kept[1].id);
}

#[test]
fn the_newest_figure_of_an_input_counts_until_it_is_forgotten() {
    let folder = Folder::new();
    let path = folder.path("clocks.jsonl");
    let mut clocks: Clocks = whole(&path);
    let [a, b] = [figure("alsa:a", 10.0), figure("alsa:b", 20.0)];
    let tone = ClockFigure {
        against: Against::Tone {
            frequency: Hertz(10_000.0),
            uncertainty: Ppm(0.1),
            recorded: true,
        },
        ..figure("alsa:a", 11.0)
    };
    for figure in [&a, &b, &tone] {
        clocks.keep(figure.clone()).unwrap();
    }
    let mut clocks: Clocks = whole(&path);
    assert_eq!(clocks.list(), [tone.clone(), b.clone()]);
    assert_eq!(clocks.of("alsa:a", 48_000), Some(&tone));
    // Another rate may have another crystal.
    assert_eq!(clocks.of("alsa:a", 44_100), None);
    // Nothing that was there is gone.
    assert_eq!(fs::read_to_string(&path).unwrap().lines().count(), 3);
    clocks.forget("alsa:a").unwrap();
    let mut clocks: Clocks = whole(&path);
    assert_eq!(clocks.list(), [b]);
    clocks.keep(a.clone()).unwrap();
    assert_eq!(whole::<Clocks>(&path).of("alsa:a", 48_000), Some(&a));
}

#[test]
fn what_is_applied_of_a_clock_allows_for_other_days() {
    let clock = figure("alsa:a", 10.0).sample_clock();
    assert_eq!(clock.error, Ppm(10.0));
    // 12 and 5 in quadrature.
    assert!((clock.uncertainty.0 - 13.0).abs() < 1e-9, "{clock:?}");
    assert_eq!(clock.source, ClockSource::Measured);
}

/// A write may stop at any byte, in the first line too.
fn torn_at_any_byte<L: Lines>() {
    let folder = Folder::new();
    let path = folder.path("kept.jsonl");
    let torn = folder.path("kept.jsonl.torn");
    let mut lines: L = whole(&path);
    lines.keep("first");
    let one = fs::read(&path).unwrap().len();
    lines.keep("second");
    let both = fs::read(&path).unwrap();
    let is_near_an_end = |length: usize| [one, both.len()].iter().any(|it| it.abs_diff(length) < 9);
    for length in 1..=both.len() {
        if length % L::STEP > 0 && !is_near_an_end(length) {
            continue;
        }
        fs::write(&path, &both[..length]).unwrap();
        let _ = fs::remove_file(&torn);
        // Whole but for its line's end is whole.
        let is_whole = |end: &usize| length + 1 >= *end;
        let whole_lines = [one, both.len()].into_iter().filter(is_whole).count();
        let mut expected = ["first", "second"][..whole_lines].to_vec();
        let begins = if length < one { 0 } else { one };
        let is_torn = length > begins && ![one - 1, both.len() - 1, both.len()].contains(&length);
        let at = expected.len() + 1;

        let (mut lines, warnings) = open::<L>(&path);
        assert_eq!(lines.names(), expected, "{length}");
        let told = [(at, "torn")];
        assert_eq!(faults(&warnings), told[..usize::from(is_torn)], "{length}");
        let after = fs::read(&path).unwrap();
        assert_eq!(after, &both[..length], "opening changes nothing");

        let warning = lines.keep("third");
        let told = [(at, "set aside")];
        let warned = faults(warning.as_slice());
        assert_eq!(warned, told[..usize::from(is_torn)], "{length}");
        expected.push("third");
        assert_eq!(whole::<L>(&path).names(), expected, "{length}");
        let after = fs::read(&path).unwrap();
        let kept = begins.min(length);
        assert!(
            after.starts_with(&both[..kept]),
            "{length}: a line has changed"
        );
        if is_torn {
            let aside = [&both[begins..length], b"\n"].concat();
            assert_eq!(fs::read(&torn).unwrap(), aside, "{length}");
        } else {
            assert!(!torn.exists(), "{length}");
        }
    }
}

#[test]
fn a_write_torn_at_any_byte_costs_that_line_only() {
    torn_at_any_byte::<JobFile>();
    torn_at_any_byte::<Record>();
    torn_at_any_byte::<Clocks>();
}

fn damaged_and_newer<L: Lines>() {
    let folder = Folder::new();
    let path = folder.path("kept.jsonl");
    whole::<L>(&path).keep("first");
    let good = fs::read_to_string(&path).unwrap();
    let schema = L::SCHEMA;
    let newer = format!("{{\"schema\":\"{schema}/2\",\"all\":\"different\"}}\n");
    let damaged = format!("{{\"schema\":\"{schema}\u{0}\u{0}\u{0}\n\u{0}rubbish\n");
    let written = good + &newer + &damaged;
    fs::write(&path, &written).unwrap();
    let (mut lines, warnings) = open::<L>(&path);
    let told = [(2, "newer"), (3, "damaged"), (4, "damaged")];
    assert_eq!(faults(&warnings), told);
    assert!(warnings[0].to_string().contains(&format!("{schema}/2")));
    lines.keep("second");
    let (lines, _) = open::<L>(&path);
    assert_eq!(lines.names(), ["first", "second"]);
    let now = fs::read_to_string(&path).unwrap();
    assert!(now.starts_with(&written), "{now}");
}

#[test]
fn damaged_and_newer_lines_are_kept_and_reported() {
    damaged_and_newer::<JobFile>();
    damaged_and_newer::<Record>();
    damaged_and_newer::<Clocks>();
}

fn left_alone<L: Lines>() {
    let folder = Folder::new();
    let letter = "Dear aunt,\nthe deck runs again.\n";
    for content in [letter, "RIFF", "{\"a\":1}\n", "\n\n"] {
        let path = folder.with("letter.txt", content);
        let refused = L::open(&path);
        let refused = matches!(refused, Err(LinesError::OfSomethingElse { .. }));
        assert!(refused, "{content}");
        assert_eq!(fs::read_to_string(&path).unwrap(), content);
    }
}

#[test]
fn another_file_is_left_alone() {
    left_alone::<JobFile>();
    left_alone::<Record>();
    left_alone::<Clocks>();
}

#[test]
fn a_figure_that_is_no_number_is_refused_before_anything_is_written() {
    let folder = Folder::new();
    let files = ["records.jsonl", "clocks.jsonl", "job.jsonl"];
    let [records, clocks, job] = files.map(|it| folder.path(it));
    Lines::keep(&mut whole::<Record>(&records), "first");
    Lines::keep(&mut whole::<Clocks>(&clocks), "first");
    Lines::keep(&mut whole::<JobFile>(&job), "first");
    let before = [&records, &clocks, &job].map(|path| fs::read(path).unwrap());
    let mut bad = snapshot("bad");
    bad.measurement.duration.0 = f64::NAN;
    let mut record: Record = whole(&records);
    let refused = record.append(&bad);
    assert!(matches!(refused, Err(LinesError::Unwritable { .. })));
    assert_eq!(record.names(), ["first"]);
    let mut file: JobFile = whole(&job);
    let refused = file.add(Entry::Snapshot(Box::new(bad)));
    assert!(matches!(refused, Err(LinesError::Unwritable { .. })));
    assert_eq!(file.names(), ["first"]);
    for bad in [f64::NAN, f64::INFINITY, 1e6] {
        let refused = whole::<Clocks>(&clocks).keep(figure("alsa:a", bad));
        let refused = matches!(refused, Err(LinesError::Unwritable { .. }));
        assert!(refused, "{bad}");
    }
    let after = [&records, &clocks, &job].map(|path| fs::read(path).unwrap());
    assert_eq!(after, before);
}

/// Set for a copy of this test program that only keeps.
const KEEP_IN: &str = "TAPEWRIGHT_TEST_KEEP_IN";
const EACH: usize = 50;
const PROGRAMS: usize = 8;

#[test]
fn programs_that_keep_at_the_same_time_do_not_tear_lines() {
    let keep = |folder: &Path| {
        let (mut record, _) = open::<Record>(&folder.join("records.jsonl"));
        let (mut clocks, _) = open::<Clocks>(&folder.join("clocks.jsonl"));
        let (mut job, _) = open::<JobFile>(&folder.join("job.jsonl"));
        for number in 0..EACH {
            Lines::keep(&mut record, &number.to_string());
            Lines::keep(&mut job, &number.to_string());
            let input = format!("{}-{number}", std::process::id());
            Lines::keep(&mut clocks, &input);
        }
    };
    if let Ok(folder) = std::env::var(KEEP_IN) {
        return keep(Path::new(&folder));
    }
    let folder = Folder::new();
    let test = "records_survive::programs_that_keep_at_the_same_time_do_not_tear_lines";
    let start = |_| {
        let mut copy = Command::new(std::env::current_exe().unwrap());
        copy.args(["--exact", test]).env(KEEP_IN, folder.root());
        copy.spawn().unwrap()
    };
    for mut child in [0; PROGRAMS].map(start) {
        assert!(child.wait().unwrap().success());
    }
    let record: Record = whole(&folder.path("records.jsonl"));
    let mut ids: Vec<_> = record.list().iter().map(|s| &s.id).collect();
    ids.sort_unstable();
    ids.dedup();
    let clocks: Clocks = whole(&folder.path("clocks.jsonl"));
    let job: JobFile = whole(&folder.path("job.jsonl"));
    let counts = [
        record.list().len(),
        ids.len(),
        clocks.list().len(),
        job.names().len(),
    ];
    assert_eq!(counts, [PROGRAMS * EACH; 4]);
}

/// A line of tests/records/, which never changes.
fn frozen(file: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/records");
    fs::read_to_string(folder.join(file)).unwrap()
}

/// Where one value says something that the other does not say as well.
fn missing(kept: &Value, of: &Value, at: &str) -> Vec<String> {
    match (kept, of) {
        (Value::Object(kept), Value::Object(of)) => (kept.iter())
            .flat_map(|(key, value)| {
                let at = format!("{at}/{key}");
                of.get(key)
                    .map_or_else(|| vec![at.clone()], |other| missing(value, other, &at))
            })
            .collect(),
        (Value::Array(kept), Value::Array(of)) if kept.len() == of.len() => (kept.iter().zip(of))
            .flat_map(|(value, other)| missing(value, other, at))
            .collect(),
        _ if kept == of => Vec::new(),
        _ => vec![at.to_owned()],
    }
}

#[test]
fn what_every_version_wrote_is_read_and_means_the_same() {
    let folder = Folder::new();
    let old = folder.with("old", frozen("snapshot-1.jsonl"));
    let record: Record = whole(&old);
    assert_eq!(record.list().len(), 5);
    let kept = &record.list()[4].measurement;
    let lines = kept.lines.as_ref().unwrap();
    assert_eq!(lines.card.as_deref(), Some("bench deck"));
    assert_eq!(lines.lines[0].parts[0].name, "capstan");
    assert!((kept.channels.unwrap().right_lags_us - 3.2).abs() < 1e-9);
    let full = &record.list()[2];
    assert_eq!(full.tape.as_deref(), Some("tone tape 3"));
    assert_eq!(full.supply_volts, Some(13.8));
    assert_eq!(full.wiper.as_ref().unwrap().bad_spots.len(), 1);
    let speed = full.measurement.speed.unwrap();
    assert!((speed.deviation.0 + 3.514_844).abs() < 1e-6);
    // No figure of theirs is dropped when it is written again.
    let new = folder.path("new");
    let mut again: Record = whole(&new);
    for snapshot in record.list() {
        again.append(snapshot).unwrap();
    }
    let written = fs::read_to_string(&new).unwrap();
    for (kept, written) in frozen("snapshot-1.jsonl").lines().zip(written.lines()) {
        let [kept, written] = [kept, written].map(|it| serde_json::from_str::<Value>(it).unwrap());
        let mut dropped = missing(&kept, &written, "");
        // The ± of backlash was none.
        dropped.retain(|at| !at.ends_with("/backlash_error"));
        assert_eq!(dropped, [""; 0]);
    }
    let clocks: Clocks = whole(&folder.with("clocks", frozen("clock-1.jsonl")));
    let kept = clocks.list().iter().map(|it| (&*it.input, it.error.0));
    let expected = [
        ("alsa:hw:CARD=A,DEV=0", -12.5),
        ("alsa:b", 3.5),
        ("alsa:c", 1.5),
    ];
    assert_eq!(kept.collect::<Vec<_>>(), expected);
}

/// What a file of this version holds, and what the same would be written as.
fn written_again(path: &Path, new: &Path) -> JobFile {
    let mut again: JobFile = whole(new);
    for line in fs::read_to_string(path).unwrap().lines() {
        let mut line: serde_json::Map<String, Value> = serde_json::from_str(line).unwrap();
        for key in ["schema", "at", "program"] {
            assert!(line.remove(key).is_some(), "{key}");
        }
        let entry: Entry = serde_json::from_value(Value::Object(line)).unwrap();
        again.add(entry).unwrap();
    }
    again
}

#[test]
fn a_job_of_every_version_is_read_and_means_the_same() {
    let folder = Folder::new();
    let path = folder.with("job.jsonl", frozen("job-1.jsonl"));
    let file: JobFile = whole(&path);
    let job = file.job();
    let said = About::ALL.map(|it| job.said(it).unwrap());
    let expected = ["bench deck 4", "0042", "eats tapes when warm", "4 cells"];
    assert_eq!((&*job.name, said), ("repair 117", expected));
    assert_eq!(job.notes[0].text, "new belt, größer, 音");
    assert_eq!(job.corrections.len(), 2);
    assert_eq!(job.wipers[0].report.picture.speed.len(), 3);
    let labels: Vec<_> = job
        .snapshots
        .iter()
        .map(|it| it.label.to_string())
        .collect();
    assert_eq!(labels, ["before", "after", "warm"]);
    // Kept under the wrong name, which a later line corrects.
    let machines = job.snapshots.iter().map(|it| it.machine.as_deref());
    assert_eq!(machines.collect::<Vec<_>>(), [Some("bench deck 4"); 3]);
    let track = job.snapshots[0].measurement.track.as_ref().unwrap();
    assert_eq!((track.speed.len(), track.flutter.len()), (3, 3));
    // Nothing in it is dropped when it is written again, and nothing is new.
    let new = folder.path("new.jsonl");
    written_again(&path, &new);
    let lines = |path| fs::read_to_string(path).unwrap();
    for (kept, written) in lines(path).lines().zip(lines(new).lines()) {
        let [mut kept, mut written] =
            [kept, written].map(|it| serde_json::from_str::<Value>(it).unwrap());
        for line in [&mut kept, &mut written] {
            line["at"] = Value::Null;
        }
        assert_eq!(missing(&kept, &written, ""), [""; 0]);
        assert_eq!(missing(&written, &kept, ""), [""; 0]);
    }
}

#[test]
fn a_job_with_odd_lines_is_read_with_all_the_others() {
    let good = frozen("job-1.jsonl");
    let count = good.lines().count();
    for odd in 0..count {
        let mut lines: Vec<String> = good.lines().map(str::to_owned).collect();
        lines[odd] = lines[odd].replace("tapewright.job/1", "tapewright.job/2");
        lines.insert(odd, "{\"schema\":\"tapewright.job/1\",\"at\":3}".to_owned());
        let folder = Folder::new();
        let torn = "{\"schema\":\"tapewright.job/1\",\"at\":\"2026";
        let path = folder.with("job.jsonl", lines.join("\n") + "\n" + torn);
        let (file, warnings) = open::<JobFile>(&path);
        let told = [
            (odd + 1, "damaged"),
            (odd + 2, "newer"),
            (count + 2, "torn"),
        ];
        assert_eq!(faults(&warnings), told);
        let job = file.job();
        let kept = job.snapshots.len() + job.wipers.len() + job.notes.len();
        assert!(kept >= 4, "{odd}: {kept}");
        assert!(job.name == "repair 117" || (odd == 0 && job.name == "job"));
    }
}

/// What a later version writes under the same number is not damage, though this one
/// does not know it.
#[test]
fn a_line_that_only_a_later_version_knows_is_called_newer_and_stays() {
    let folder = Folder::new();
    let path = folder.path("job.jsonl");
    whole::<JobFile>(&path).keep("first");
    let good = fs::read_to_string(&path).unwrap();
    let own = format!("\"program\":\"{}\"", env!("CARGO_PKG_VERSION"));
    for (from, to, by, told) in [
        ("\"snapshot\":", "\"photograph\":", "\"99.0.0\"", "99.0.0"),
        (
            "\"duration\"",
            "\"duration_of_takes\"",
            "\"99.0.0\"",
            "99.0.0",
        ),
        ("\"snapshot\":", "\"photograph\":", "[99]", "newer version"),
    ] {
        let unknown = good.replacen(from, to, 1);
        assert_ne!(unknown, good);
        let later = unknown.replacen(&own, &format!("\"program\":{by}"), 1);
        assert_ne!(later, unknown);
        let written = good.clone() + &later + &unknown;
        fs::write(&path, &written).unwrap();
        let (mut file, warnings) = open::<JobFile>(&path);
        assert_eq!(faults(&warnings), [(2, "newer"), (3, "damaged")]);
        let said = warnings[0].to_string();
        assert!(said.contains(told) && said.contains("it is kept"), "{said}");
        assert_eq!(file.keep("second"), None);
        let (file, _) = open::<JobFile>(&path);
        assert_eq!(file.names(), ["first", "second"]);
        assert!(fs::read_to_string(&path).unwrap().starts_with(&written));
    }
}

/// In twenty years nobody may have the program: every key of a job stands in the
/// manual, and no other does.
#[test]
fn the_manual_has_every_key_of_a_job() {
    fn keys(of: &Value, all: &mut std::collections::BTreeSet<String>) {
        match of {
            Value::Object(object) => {
                for (key, value) in object {
                    all.insert(key.clone());
                    keys(value, all);
                }
            }
            Value::Array(items) => items.iter().for_each(|it| keys(it, all)),
            _ => {}
        }
    }
    let folder = Folder::new();
    let path = folder.with("job.jsonl", frozen("job-1.jsonl"));
    let new = folder.path("new.jsonl");
    written_again(&path, &new);
    let mut all = std::collections::BTreeSet::new();
    for line in fs::read_to_string(new).unwrap().lines() {
        keys(&serde_json::from_str(line).unwrap(), &mut all);
    }
    assert!(all.len() > 150, "{}", all.len());
    let manual = include_str!("../../assets/manual/records.md");
    let (_, manual) = manual.split_once("## A job without the program").unwrap();
    let missing = all
        .iter()
        .filter(|key| !manual.contains(&format!("`{key}`")));
    assert_eq!(missing.collect::<Vec<_>>(), [""; 0]);
}

#[test]
fn what_a_later_version_adds_under_the_same_number_does_no_harm() {
    let folder = Folder::new();
    let path = folder.with("record.jsonl", frozen("snapshot-1-added-keys.jsonl"));
    let record: Record = whole(&path);
    let measurement = &record.list()[0].measurement;
    assert_eq!(measurement.rate_hz, 48_000);
    let unknown = measurement.cautions.last().unwrap();
    assert_eq!(unknown.to_string(), "Something that is not known yet.");
}

fn damaged_by_hand<L: Lines>(good: &str, bad: &str, told: &str) {
    let folder = Folder::new();
    assert_ne!(bad, good);
    // Also as the only line, and without its end.
    for (text, line) in [
        (format!("{good}\n{bad}\n{good}\n"), 2),
        (format!("{bad}\n"), 1),
        (bad.to_owned(), 1),
    ] {
        let path = folder.with("kept.jsonl", &text);
        let (mut lines, warnings) = open::<L>(&path);
        assert_eq!(faults(&warnings), [(line, "damaged")], "{told}");
        let said = warnings[0].to_string();
        assert!(said.contains("damaged") && said.contains(told), "{said}");
        assert!(!said.contains("newer"), "{said}");
        assert_eq!(lines.keep("next"), None, "{told}");
        assert!(fs::read_to_string(&path).unwrap().starts_with(&text));
    }
}

#[test]
fn a_line_damaged_by_hand_is_called_damaged_and_stays() {
    let [snapshots, clocks] = ["snapshot-1.jsonl", "clock-1.jsonl"].map(frozen);
    let good = snapshots.lines().nth(1).unwrap();
    for (from, to, told) in [
        ("\"duration\"", "\"durration\"", "duration"),
        ("\"before\"", "\"befor\"", "befor"),
        ("\"note\":null", "\"note\":null,\"note\":null", "note"),
        ("snapshot/1", "snapshot/0", "snapshot/0"),
        ("10.09", "\"ten\"", "ten"),
    ] {
        damaged_by_hand::<Record>(good, &good.replace(from, to), told);
    }
    let folder = Folder::new();
    whole::<JobFile>(&folder.path("job.jsonl")).keep("first");
    let job = fs::read_to_string(folder.path("job.jsonl")).unwrap();
    let good = job.lines().next().unwrap();
    for (from, to, told) in [
        ("\"duration\"", "\"durration\"", "duration"),
        (
            "\"snapshot\":",
            "\"snapshort\":",
            "nothing that this version knows",
        ),
        ("job/1", "job/0", "job/0"),
    ] {
        damaged_by_hand::<JobFile>(good, &good.replace(from, to), told);
    }
    let good = clocks.lines().next().unwrap();
    damaged_by_hand::<Clocks>(good, &good.replace("rate_hz", "rate"), "rate_hz");
    // A figure that no clock has.
    let bad = good.replace("-12.5", "1e9");
    damaged_by_hand::<Clocks>(good, &bad, "line");
}

#[test]
fn a_torn_line_that_was_moved_is_said_to_have_been() {
    let folder = Folder::new();
    let path = folder.with(
        "record.jsonl",
        &frozen("snapshot-1.jsonl").as_bytes()[..500],
    );
    let (mut record, warnings) = open::<Record>(&path);
    let warned = warnings[0].to_string();
    assert!(warned.contains("the next snapshot moves it"), "{warned}");
    let moved = Lines::keep(&mut record, "next").unwrap().to_string();
    assert!(moved.contains("was moved to"), "{moved}");
}

#[cfg(unix)]
#[test]
fn what_is_no_regular_file_is_refused_before_anything_is_measured() {
    let folder = Folder::new();
    let pipe = folder.pipe("pipe");
    let odd = [
        &pipe,
        Path::new("/dev/zero"),
        Path::new("/dev/null"),
        folder.root(),
    ];
    for path in odd {
        let refused = Record::open(path).unwrap_err();
        let unread = matches!(refused, LinesError::Read { .. });
        assert!(unread, "{path:?}: {refused}");
    }
    for path in odd {
        let refused = JobFile::open(path).unwrap_err();
        let unread = matches!(refused, LinesError::Read { .. });
        assert!(unread, "{path:?}: {refused}");
    }
    // A file in the place of a folder.
    let file = folder.with("file", "x");
    let within = Record::open(file.join("record.jsonl"));
    assert!(within.and_then(|(record, _)| record.check_place()).is_err());
    let within = JobFile::open(file.join("job.jsonl"));
    assert!(within.and_then(|(job, _)| job.check_place()).is_err());
    let record: Record = whole(&folder.path("new/record.jsonl"));
    record.check_place().unwrap();
    let job: JobFile = whole(&folder.path("new/job.jsonl"));
    job.check_place().unwrap();
}
