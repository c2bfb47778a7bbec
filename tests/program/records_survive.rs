//! A record of snapshots loses nothing: an interrupted write at any byte
//! leaves every earlier line as it was, and programs that keep at the same
//! time do not tear each other's lines.

use std::fs;
use std::path::Path;
use std::process::Command;

use crate::support::invented;
use crate::support::program::Folder;
use serde_json::Value;
use tapewright::records::{Fault, Label, LinesError, LinesWarning, Record, Snapshot};

fn snapshot(name: &str) -> Snapshot {
    let mut snapshot = Snapshot::new(
        Label::Named(name.to_owned()),
        "line in",
        invented::measurement(),
    );
    snapshot.machine = Some("deck 4".to_owned());
    snapshot.wiper_cleanings = Some(2);
    // What could break a line: line ends, quotes, letters of several bytes.
    snapshot.note = Some("new belt\n\"dry\" capstan\r, größer, 音".to_owned());
    snapshot
}

fn names(record: &Record) -> Vec<String> {
    record.list().iter().map(|s| s.label.to_string()).collect()
}

fn open(path: &Path) -> (Record, Vec<LinesWarning>) {
    Record::open(path).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn what_was_kept_is_read_back() {
    let folder = Folder::new();
    // Folders are made as needed.
    let path = folder.path("new/folder/record.jsonl");
    let (mut record, warnings) = open(&path);
    assert!(record.list().is_empty() && warnings.is_empty());
    assert!(!path.exists(), "opening makes no file");
    let kept = [snapshot("one"), snapshot("two")];
    for snapshot in &kept {
        assert_eq!(record.append(snapshot).unwrap(), None);
    }
    assert_eq!(record.list(), kept);
    let (record, warnings) = open(&path);
    assert_eq!(record.list(), kept);
    assert!(warnings.is_empty());
    let text = fs::read_to_string(&path).unwrap();
    assert_eq!(text.lines().count(), 2);
    assert!(text.starts_with("{\"schema\":\"tapewright.snapshot/1\","));
    assert_ne!(kept[0].id, kept[1].id);
}

#[test]
fn a_write_torn_at_any_byte_costs_that_line_only() {
    let folder = Folder::new();
    let path = folder.path("record.jsonl");
    let torn = folder.path("record.jsonl.torn");
    let (mut record, _) = open(&path);
    record.append(&snapshot("first")).unwrap();
    let one = fs::read(&path).unwrap();
    record.append(&snapshot("second")).unwrap();
    let both = fs::read(&path).unwrap();
    for length in one.len()..=both.len() {
        fs::write(&path, &both[..length]).unwrap();
        let _ = fs::remove_file(&torn);
        // Whole but for its line's end is whole.
        let is_torn = length > one.len() && length < both.len() - 1;
        let mut expected = vec!["first"];
        if length >= both.len() - 1 {
            expected.push("second");
        }

        let (mut record, warnings) = open(&path);
        assert_eq!(names(&record), expected, "{length}");
        assert_eq!(warnings.len(), usize::from(is_torn), "{warnings:?}");
        let after = fs::read(&path).unwrap();
        assert_eq!(after, &both[..length], "opening changes nothing");

        let warning = record.append(&snapshot("third")).unwrap();
        assert_eq!(warning.is_some(), is_torn, "{length}");
        expected.push("third");
        let (record, warnings) = open(&path);
        assert_eq!(names(&record), expected, "{length}");
        assert!(warnings.is_empty(), "{length}: {warnings:?}");
        let after = fs::read(&path).unwrap();
        assert!(after.starts_with(&one), "{length}: the first has changed");
        if is_torn {
            let mut aside = both[one.len()..length].to_vec();
            aside.push(b'\n');
            assert_eq!(fs::read(&torn).unwrap(), aside, "{length}");
        } else {
            assert!(!torn.exists(), "{length}");
        }
    }
}

#[test]
fn the_very_first_line_may_be_torn_too() {
    let folder = Folder::new();
    let path = folder.path("record.jsonl");
    let (mut record, _) = open(&path);
    record.append(&snapshot("first")).unwrap();
    let whole = fs::read(&path).unwrap();
    for length in 1..whole.len() - 1 {
        fs::write(&path, &whole[..length]).unwrap();
        let (mut record, warnings) = open(&path);
        assert!(record.list().is_empty(), "{length}");
        assert!(matches!(
            warnings[..],
            [LinesWarning {
                line: 1,
                fault: Fault::Torn,
                ..
            }]
        ));
        record.append(&snapshot("again")).unwrap();
        assert_eq!(names(&open(&path).0), ["again"], "{length}");
    }
}

#[test]
fn other_lines_are_kept_and_reported() {
    let folder = Folder::new();
    let path = folder.path("record.jsonl");
    let (mut record, _) = open(&path);
    record.append(&snapshot("first")).unwrap();
    let newer = "{\"schema\":\"tapewright.snapshot/2\",\"all\":\"different\"}\n";
    let damaged = "{\"schema\":\"tapewright.snapsh\u{0}\u{0}\u{0}\n";
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text + newer + damaged).unwrap();
    let (mut record, warnings) = open(&path);
    record.append(&snapshot("second")).unwrap();
    assert_eq!(names(&open(&path).0), ["first", "second"]);
    let LinesWarning {
        line: 2,
        fault: Fault::Newer { schema },
        ..
    } = &warnings[0]
    else {
        panic!("{warnings:?}");
    };
    assert_eq!(schema, "tapewright.snapshot/2");
    assert!(matches!(
        warnings[1],
        LinesWarning {
            line: 3,
            fault: Fault::Damaged { .. },
            ..
        }
    ));
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains(newer) && text.contains(damaged));
}

#[test]
fn another_file_is_left_alone() {
    let folder = Folder::new();
    let path = folder.path("letter.txt");
    let letter = "Dear aunt,\nthe deck runs again.\n";
    for content in [letter, "RIFF", "{\"a\":1}\n", "\n\n"] {
        fs::write(&path, content).unwrap();
        let refused = Record::open(&path);
        let refused = matches!(refused, Err(LinesError::OfSomethingElse { .. }));
        assert!(refused, "{content}");
        assert_eq!(fs::read_to_string(&path).unwrap(), content);
    }
}

#[test]
fn a_figure_that_is_no_number_is_refused_before_anything_is_written() {
    let folder = Folder::new();
    let path = folder.path("record.jsonl");
    let (mut record, _) = open(&path);
    record.append(&snapshot("first")).unwrap();
    let before = fs::read(&path).unwrap();
    let mut bad = snapshot("bad");
    bad.measurement.duration.0 = f64::NAN;
    assert!(matches!(
        record.append(&bad),
        Err(LinesError::Unwritable { .. })
    ));
    assert_eq!(fs::read(&path).unwrap(), before);
    assert_eq!(names(&record), ["first"]);
}

/// Set for a copy of this test program that only appends.
const APPEND_TO: &str = "TAPEWRIGHT_TEST_APPEND_TO";
const EACH: usize = 40;

#[test]
fn programs_that_keep_at_the_same_time_do_not_tear_lines() {
    if let Ok(path) = std::env::var(APPEND_TO) {
        append_many(Path::new(&path));
        return;
    }
    let folder = Folder::new();
    let path = folder.path("record.jsonl");
    let children: Vec<_> = (0..3)
        .map(|_| {
            let test = "records_survive::programs_that_keep_at_the_same_time_do_not_tear_lines";
            Command::new(std::env::current_exe().unwrap())
                .args(["--exact", test])
                .env(APPEND_TO, &path)
                .spawn()
                .unwrap()
        })
        .collect();
    for mut child in children {
        assert!(child.wait().unwrap().success());
    }
    let (record, warnings) = open(&path);
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!(record.list().len(), 3 * EACH);
    let mut ids: Vec<_> = record.list().iter().map(|s| &s.id).collect();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), 3 * EACH, "two snapshots share an id");
}

fn append_many(path: &Path) {
    let (mut record, _) = open(path);
    for number in 0..EACH {
        record.append(&snapshot(&number.to_string())).unwrap();
    }
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
    let (old, new) = (folder.path("old"), folder.path("new"));
    fs::write(&old, frozen("snapshot-1.jsonl")).unwrap();
    let (record, warnings) = open(&old);
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!(record.list().len(), 4);
    let full = &record.list()[2];
    assert_eq!(full.tape.as_deref(), Some("tone tape 3"));
    assert_eq!(full.supply_volts, Some(13.8));
    assert_eq!(full.wiper.as_ref().unwrap().bad_spots.len(), 1);
    let speed = full.measurement.speed.unwrap();
    assert!((speed.deviation.0 + 3.514_844).abs() < 1e-6);
    // No figure of theirs is dropped when it is written again.
    let (mut again, _) = open(&new);
    for snapshot in record.list() {
        again.append(snapshot).unwrap();
    }
    let written = fs::read_to_string(&new).unwrap();
    for (kept, written) in frozen("snapshot-1.jsonl").lines().zip(written.lines()) {
        let [kept, written] = [kept, written].map(|it| serde_json::from_str::<Value>(it).unwrap());
        assert_eq!(missing(&kept, &written, ""), [""; 0]);
    }
}

#[test]
fn what_a_later_version_adds_under_the_same_number_does_no_harm() {
    let folder = Folder::new();
    let path = folder.path("record.jsonl");
    fs::write(&path, frozen("snapshot-1-added-keys.jsonl")).unwrap();
    let (record, warnings) = open(&path);
    assert!(warnings.is_empty(), "{warnings:?}");
    let measurement = &record.list()[0].measurement;
    assert_eq!(measurement.rate_hz, 48_000);
    let unknown = measurement.cautions.last().unwrap();
    assert_eq!(unknown.to_string(), "Something that is not known yet.");
}

#[test]
fn a_line_damaged_by_hand_is_called_damaged_and_stays() {
    let folder = Folder::new();
    let path = folder.path("record.jsonl");
    let whole = frozen("snapshot-1.jsonl");
    let good = whole.lines().nth(1).unwrap();
    for (bad, told) in [
        (good.replace("\"duration\"", "\"durration\""), "duration"),
        (good.replace("\"before\"", "\"befor\""), "befor"),
        (
            good.replace("\"note\":null", "\"note\":null,\"note\":null"),
            "note",
        ),
        (good.replace("snapshot/1", "snapshot/0"), "snapshot/0"),
        (good.replace("10.09", "\"ten\""), "ten"),
    ] {
        assert_ne!(bad, good);
        // Also as the only line, and without its end.
        for (text, line) in [
            (format!("{good}\n{bad}\n{good}\n"), 2),
            (format!("{bad}\n"), 1),
            (bad.clone(), 1),
        ] {
            fs::write(&path, &text).unwrap();
            let (mut record, warnings) = open(&path);
            let [
                warning @ LinesWarning {
                    line: at,
                    fault: Fault::Damaged { .. },
                    ..
                },
            ] = &warnings[..]
            else {
                panic!("{told}: {warnings:?}");
            };
            assert_eq!(*at, line, "{told}");
            let said = warning.to_string();
            assert!(said.contains("damaged") && said.contains(told), "{said}");
            assert!(!said.contains("newer"), "{said}");
            assert_eq!(record.append(&snapshot("next")).unwrap(), None, "{told}");
            assert!(fs::read_to_string(&path).unwrap().starts_with(&text));
        }
    }
}

#[test]
fn a_torn_line_that_was_moved_is_said_to_have_been() {
    let folder = Folder::new();
    let path = folder.path("record.jsonl");
    fs::write(&path, &frozen("snapshot-1.jsonl").as_bytes()[..500]).unwrap();
    let (mut record, warnings) = open(&path);
    let warned = warnings[0].to_string();
    assert!(warned.contains("the next snapshot moves it"), "{warned}");
    let moved = record.append(&snapshot("next")).unwrap().unwrap();
    assert!(matches!(
        moved,
        LinesWarning {
            line: 1,
            fault: Fault::SetAside,
            ..
        }
    ));
    assert!(moved.to_string().contains("was moved to"), "{moved}");
}

#[cfg(unix)]
#[test]
fn what_is_no_regular_file_is_refused_before_anything_is_measured() {
    let folder = Folder::new();
    let pipe = folder.pipe("pipe");
    for path in [
        &pipe,
        Path::new("/dev/zero"),
        Path::new("/dev/null"),
        folder.root(),
    ] {
        let refused = Record::open(path).unwrap_err();
        let unread = matches!(refused, LinesError::Read { .. });
        assert!(unread, "{path:?}: {refused}");
    }
    // A file in the place of a folder.
    let file = folder.path("file");
    fs::write(&file, "x").unwrap();
    let within = Record::open(file.join("record.jsonl"));
    assert!(within.and_then(|(record, _)| record.check_place()).is_err());
    let (record, _) = open(&folder.path("new/record.jsonl"));
    record.check_place().unwrap();
}
