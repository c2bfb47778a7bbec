//! `tapewright snapshots` lists and compares what jobs hold, and the record that
//! earlier versions wrote, and never changes any of it.

use std::fs;

use crate::support::invented;
use crate::support::program::{Answer, Folder};
use tapewright::records::{Entry, JobFile, Label, Record, Snapshot};
use tapewright::units::Percent;

/// Two machines: deck 4 before and after, and between them a portable that
/// only has a before. Each by its time in the record that earlier versions
/// wrote, or in a job: a job of deck 4 lies around that of the portable.
fn bench() -> Folder {
    let folder = Folder::new();
    let (mut record, _) = Record::open(folder.path("snapshots.jsonl")).unwrap();
    let job = |name: &str| {
        let path = folder.path(&format!("jobs/{name}.jsonl"));
        let (mut file, _) = JobFile::open(path).unwrap();
        let name = name.to_owned();
        let simulated = false;
        file.add(Entry::Opened { name, simulated }).unwrap();
        file
    };
    let (mut deck, mut portable) = (job("a deck"), job("b portable"));
    for (label, machine, deviation) in [
        (Label::Before, "deck 4", -1.5),
        (Label::Before, "portable", 2.5),
        (Label::Named("warm".to_owned()), "deck 4", -1.2),
        (Label::After, "deck 4", 0.05),
    ] {
        let mut snapshot = Snapshot::new(label.clone(), "line in", invented::measurement());
        snapshot.machine = Some(machine.to_owned());
        snapshot.measurement.speed.as_mut().unwrap().deviation = Percent(deviation);
        if label == Label::Before && machine == "deck 4" {
            record.append(&snapshot).unwrap();
        } else {
            let job = if machine == "portable" {
                &mut portable
            } else {
                &mut deck
            };
            job.add(Entry::Snapshot(Box::new(snapshot))).unwrap();
        }
    }
    folder
}

const FILES: [&str; 3] = [
    "snapshots.jsonl",
    "jobs/a deck.jsonl",
    "jobs/b portable.jsonl",
];

/// Nothing that is asked changes what is kept.
fn snapshots(folder: &Folder, line: &str) -> Answer {
    let all = || FILES.map(|file| fs::read(folder.path(file)).unwrap());
    let before = all();
    let answer = folder.run(&format!("snapshots --data . {line}"));
    assert_eq!(all(), before);
    answer
}

#[test]
fn the_list_numbers_what_is_there_and_keeps_the_numbers() {
    let bench = bench();
    let list = snapshots(&bench, "");
    let lines: Vec<&str> = list.ends(0).text.lines().collect();
    assert_eq!(lines.len(), 5, "{lines:?}");
    let row =
        |nth: usize, number, what| lines[nth].starts_with(number) && lines[nth].contains(what);
    assert!(row(1, "   1", "-1.500 ±0.012"), "{lines:?}");
    assert!(row(4, "   4", "after"), "{lines:?}");
    // One machine only, under the same numbers.
    let text = snapshots(&bench, "--machine 'Deck 4'").text;
    let numbers: Vec<_> = text.lines().skip(1).map(|line| line[..4].trim()).collect();
    assert_eq!(numbers, ["1", "3", "4"]);
}

#[test]
fn before_and_after_of_one_machine_are_found() {
    let bench = bench();
    let compared = snapshots(&bench, "compare");
    let text = &compared.ends(0).text;
    let head = "number                      1                         4\n";
    assert!(text.starts_with(head), "{text}");
    let figures = "-1.500 ±0.012 slow        +0.050 ±0.012\n";
    assert!(text.contains(figures), "{text}");
    compared.says(&["1.450 % nearer to right"]);
    compared.says(&["In a band of ±0.5 % deck: OUT BY THIS TAPE → RIGHT BY THIS TAPE."]);
    snapshots(&bench, "compare 2 3").says(&["different machines"]);
}

#[test]
fn what_cannot_be_compared_is_said() {
    let bench = bench();
    for (more, told) in [
        ("1 9", "there is no snapshot 9; the record has 1 to 4"),
        ("0 1", "there is no snapshot 0"),
        (
            "--machine portable",
            "no before and after of the same machine",
        ),
        ("1", "2 values required"),
    ] {
        let answer = snapshots(&bench, &format!("compare {more}"));
        answer.ends(2).complains(&[told]);
        assert_eq!(answer.text, "", "{more}");
    }
}

#[test]
fn a_torn_line_is_reported_and_the_rest_is_listed() {
    for (file, line, schema) in [(FILES[0], 2, "snapshot"), (FILES[1], 4, "job")] {
        let bench = bench();
        let mut kept = fs::read_to_string(bench.path(file)).unwrap();
        kept += &["{\"schema\":\"tapewright.", schema, "/1\",\"id\""].concat();
        bench.with(file, kept);
        let list = snapshots(&bench, "list");
        let line = format!("line {line}");
        list.ends(0).complains(&[line.as_str(), "incomplete"]);
        assert_eq!(list.text.lines().count(), 5, "{}", list.text);
    }
}

#[test]
fn a_file_that_cannot_be_used_is_told_and_the_rest_is_listed() {
    for file in FILES {
        let bench = bench();
        let lost = fs::read_to_string(bench.path(file)).unwrap();
        let lost = lost
            .lines()
            .filter(|line| line.contains("measurement"))
            .count();
        bench.with(file, "Dear aunt\n");
        let list = snapshots(&bench, "list");
        list.ends(3).complains(&[file]);
        assert_eq!(list.text.lines().count(), 5 - lost, "{}", list.text);
    }
}

#[test]
fn nothing_kept_yet_is_no_failure() {
    let folder = Folder::new();
    let none = folder.run("snapshots --data none");
    none.ends(0).says(&["No snapshots"]);
    // A folder is no record.
    std::fs::create_dir_all(folder.path("odd/snapshots.jsonl")).unwrap();
    let refused = folder.run("snapshots --data odd");
    refused.ends(3).complains(&["cannot read the record"]);
}
