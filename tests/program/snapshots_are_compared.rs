//! `tapewright snapshots` lists and compares what a record holds, and never
//! changes it.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::support::invented;
use tapewright::records::{Label, Record, Snapshot};
use tapewright::units::Percent;
use tempfile::TempDir;

struct Bench {
    _folder: TempDir,
    record: PathBuf,
}

impl Bench {
    /// Two machines: deck 4 before and after, and between them a portable
    /// that only has a before.
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let record = folder.path().join("record.jsonl");
        let (mut open, _) = Record::open(&record).unwrap();
        for (label, machine, deviation) in [
            (Label::Before, "deck 4", -1.5),
            (Label::Before, "portable", 2.5),
            (Label::Named("warm".to_owned()), "deck 4", -1.2),
            (Label::After, "deck 4", 0.05),
        ] {
            let mut snapshot = Snapshot::new(label, "line in", invented::measurement());
            snapshot.machine = Some(machine.to_owned());
            snapshot.measurement.speed.as_mut().unwrap().deviation = Percent(deviation);
            open.append(&snapshot).unwrap();
        }
        Self {
            _folder: folder,
            record,
        }
    }

    fn run(&self, arguments: &[&str]) -> (Option<i32>, String, String) {
        snapshots(&self.record, arguments)
    }
}

fn snapshots(record: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .arg("snapshots")
        .args(arguments)
        .arg("--record")
        .arg(record)
        .output()
        .unwrap();
    (
        output.status.code(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

#[test]
fn the_list_numbers_what_is_there_and_keeps_the_numbers() {
    let bench = Bench::new();
    let before = fs::read(&bench.record).unwrap();
    let (status, text, _) = bench.run(&[]);
    assert_eq!(status, Some(0));
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), 5, "{text}");
    assert!(
        lines[1].starts_with("   1") && lines[1].contains("-1.500 ±0.012"),
        "{text}"
    );
    assert!(
        lines[4].starts_with("   4") && lines[4].contains("after"),
        "{text}"
    );
    // One machine only, under the same numbers.
    let (_, text, _) = bench.run(&["--machine", "Deck 4"]);
    let numbers: Vec<_> = text.lines().skip(1).map(|line| line[..4].trim()).collect();
    assert_eq!(numbers, ["1", "3", "4"]);
    assert_eq!(fs::read(&bench.record).unwrap(), before);
}

#[test]
fn before_and_after_of_one_machine_are_found() {
    let bench = Bench::new();
    let (status, text, _) = bench.run(&["compare"]);
    assert_eq!(status, Some(0));
    assert!(
        text.starts_with("number                      1                         4\n"),
        "{text}"
    );
    assert!(
        text.contains("-1.500 ±0.012 slow        +0.050 ±0.012\n"),
        "{text}"
    );
    assert!(
        text.replace('\n', " ").contains("1.450 % nearer to right"),
        "{text}"
    );
    assert!(
        text.contains("In a band of ±0.5 % deck: OUT BY THIS TAPE → RIGHT BY THIS TAPE."),
        "{text}"
    );
    let (_, text, _) = bench.run(&["compare", "2", "3"]);
    assert!(text.contains("different machines"), "{text}");
}

#[test]
fn what_cannot_be_compared_is_said() {
    let bench = Bench::new();
    for (arguments, told) in [
        (
            &["compare", "1", "9"][..],
            "there is no snapshot 9; the record has 1 to 4",
        ),
        (&["compare", "0", "1"], "there is no snapshot 0"),
        (
            &["compare", "--machine", "portable"],
            "no before and after of the same machine",
        ),
        (&["compare", "1"], "2 values required"),
    ] {
        let (status, text, errors) = bench.run(arguments);
        assert_eq!(status, Some(2), "{arguments:?}");
        assert_eq!(text, "", "{arguments:?}");
        assert!(errors.contains(told), "{errors}");
    }
}

#[test]
fn a_torn_line_is_reported_and_the_rest_is_listed() {
    let bench = Bench::new();
    let mut file = fs::OpenOptions::new()
        .append(true)
        .open(&bench.record)
        .unwrap();
    file.write_all(b"{\"schema\":\"tapewright.snapshot/1\",\"id\"")
        .unwrap();
    let before = fs::read(&bench.record).unwrap();
    let (status, text, errors) = bench.run(&["list"]);
    assert_eq!(status, Some(0));
    assert_eq!(text.lines().count(), 5, "{text}");
    assert!(
        errors.contains("line 5") && errors.contains("incomplete"),
        "{errors}"
    );
    assert_eq!(fs::read(&bench.record).unwrap(), before);
}

#[test]
fn nothing_kept_yet_is_no_failure() {
    let folder = tempfile::tempdir().unwrap();
    let (status, text, _) = snapshots(&folder.path().join("none.jsonl"), &[]);
    assert_eq!(status, Some(0));
    assert!(text.contains("No snapshots"), "{text}");
    // A folder is no record.
    let (status, _, errors) = snapshots(folder.path(), &[]);
    assert_eq!(status, Some(3));
    assert!(errors.contains("cannot read the record"), "{errors}");
}
