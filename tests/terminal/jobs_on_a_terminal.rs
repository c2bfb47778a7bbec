//! The job of a sitting, the real program on a terminal with the simulated
//! machine: what is kept lies in it whatever ends the program, another job is
//! opened by keys, and leaving tells what came of it.

use std::path::PathBuf;
use std::process::Command;

use crate::support::invented;
use crate::support::jobs::{job_files, only_job, whole_job};
use crate::support::program::PROGRAM;
use crate::support::window::Window;
use tapewright::records::{About, Entry, JobFile, Label, Snapshot};
use tapewright::units::Percent;

const DOWN: &str = "\u{1b}[B";

fn practise(window: &Window, more: &str) {
    window.run(&format!("practise --data kept {more}"));
    window.wait_for("tone found");
}

fn rehearsals(window: &Window) -> PathBuf {
    window.home().join("kept/rehearsals")
}

fn note(window: &Window, text: &str) {
    window.press("e");
    window.wait_for("note: _");
    window.type_line(text);
}

#[test]
fn leaving_tells_before_after_verdict_place_and_the_command_for_the_sheet() {
    let window = Window::open();
    practise(&window, "--job 'repair 117' --serial '00 42'");
    window.wait_for("new job repair 117");
    note(&window, "new belt; \"dry\" capstan");
    window.wait_for("kept note, saved in job repair 117");
    for (key, kept) in [("b", "kept before, saved"), ("a", "kept after, saved")] {
        window.press(key);
        window.wait_for(kept);
    }
    window.quit();
    let screen = window.screen().replace('\n', " ");
    let file = rehearsals(&window).join("repair-117.jsonl");
    assert!(file.exists());
    for told in [
        "before -",
        " % → after -",
        "In a band of ±0.5 % deck: OUT BY THIS TAPE → OUT BY THIS TAPE.",
        "kept in kept/rehearsals/repair-117.jsonl",
        "its sheet: tapewright sheet \"repair 117\" --rehearsal --data kept",
    ] {
        assert!(screen.contains(told), "{told} is missing:\n{screen}");
    }
    let job = only_job(&rehearsals(&window));
    assert_eq!(job.said(About::Serial), Some("00 42"));
    assert_eq!(job.notes[0].text, "new belt; \"dry\" capstan");
    let labels: Vec<_> = job.snapshots.iter().map(|it| it.label.clone()).collect();
    assert_eq!(labels, [Label::Before, Label::After]);
    let machine = job.machine().expect("it has a name").to_owned();
    assert!((job.snapshots.iter()).all(|it| it.machine.as_ref() == Some(&machine)));

    // It goes on, and is no job of another machine.
    window.run("practise --data kept --job 'Repair 117' --machine 'deck 5'");
    assert_eq!(window.last_status(), 2);
    window.type_line("clear");
    window.wait_until("an empty screen", |screen| !screen.contains("status="));
    practise(&window, "--job 'Repair 117'");
    window.wait_for("job repair 117 goes on: 2 snapshots, 1 note");
    window.quit();
    assert_eq!(only_job(&rehearsals(&window)), job);
}

#[test]
fn a_sitting_that_is_refused_says_nothing_in_its_job() {
    let window = Window::open();
    std::fs::write(window.home().join("side.jsonl"), "something\n").expect("room");
    window.run("practise --data kept --job a --serial 42 --log side.jsonl");
    assert_eq!(window.last_status(), 3);
    assert!(!rehearsals(&window).join("a.jsonl").exists());
}

#[test]
fn what_ends_the_program_costs_nothing_that_was_kept() {
    let window = Window::open();
    let mut notes = Vec::new();
    for (number, signal) in ["-TERM", "-INT", "-HUP", "-KILL"].into_iter().enumerate() {
        window.type_line(&format!(
            "sh -c 'echo $$ > pid; exec {PROGRAM} practise --data kept --job a'"
        ));
        window.wait_for("tone found");
        let text = format!("note {number}");
        note(&window, &text);
        if signal == "-KILL" {
            window.wait_for("kept note, saved");
        }
        let pid = std::fs::read_to_string(window.home().join("pid")).expect("its number");
        // The others come while it may still be on its way to the disk.
        if signal != "-KILL" {
            window.wait_until("the line is taken", |screen| !screen.contains("note: note"));
        }
        let killed = Command::new("kill").args([signal, pid.trim()]).status();
        assert!(killed.expect("kill runs").success());
        // What is killed outright leaves the terminal as it was.
        if signal == "-KILL" {
            window.wait_for("Killed");
        } else {
            assert!(window.last_status() > 128, "{signal}");
        }
        notes.push(text);
        let job = whole_job(&job_files(&rehearsals(&window))[0]);
        let kept: Vec<_> = job.notes.iter().map(|it| it.text.clone()).collect();
        assert_eq!(kept, notes, "{signal}");
    }
}

/// A file that may not grow any more is a full disk.
#[test]
fn a_full_disk_costs_only_what_did_not_fit_and_that_is_told() {
    let window = Window::open();
    window.type_line("ulimit -f 1");
    practise(&window, "--job a");
    note(&window, "it fits");
    window.wait_for("kept note, saved in job a");
    window.press("b");
    window.wait_for("NOT SAVED: before");
    window.press("q");
    window.wait_for("1 not saved");
    window.press("q");
    assert_eq!(window.last_status(), 3);
    let screen = window.screen().replace('\n', " ");
    assert!(screen.contains("the snapshot before (-"), "{screen}");
    assert!(screen.contains("could not be saved"), "{screen}");
    let (file, _) = JobFile::open(rehearsals(&window).join("a.jsonl")).expect("a job");
    let notes: Vec<_> = file.job().notes.iter().map(|it| it.text.as_str()).collect();
    assert_eq!(notes, ["it fits"]);
    assert!(file.job().snapshots.is_empty());
}

/// A job of last year, of the simulated machine under this name.
fn last_year(window: &Window, machine: &str) {
    let path = rehearsals(window).join("last-year.jsonl");
    let (mut file, _) = JobFile::open(path).expect("free");
    let (name, simulated) = ("last year".to_owned(), true);
    file.add(Entry::Opened { name, simulated }).expect("room");
    file.say(About::Machine, machine).expect("room");
    let mut snapshot = Snapshot::new(Label::After, "line in", invented::measurement());
    snapshot.machine = Some(machine.to_owned());
    snapshot.simulated = true;
    snapshot.taken_at = "2025-11-03T12:00:00Z".parse().expect("a time");
    snapshot
        .measurement
        .speed
        .as_mut()
        .expect("a speed")
        .deviation = Percent(0.034);
    file.add(Entry::Snapshot(Box::new(snapshot))).expect("room");
}

#[test]
fn an_earlier_job_is_seen_beside_the_needle_and_can_be_gone_on_with() {
    let window = Window::open();
    last_year(&window, "deck 4");
    practise(&window, "--machine Deck-4");
    window.wait_for("╎ last time");
    window.wait_for("last time +0.034 ±0.012 %");
    window.press("9");
    let page = window.wait_for("no job yet");
    assert!(page.contains("Earlier jobs of Deck-4:"), "{page}");
    // The marked row says what Enter does.
    while !window.screen().contains("Enter opens this job") {
        window.press(DOWN);
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    window.resize(50, 14);
    window.wait_for("Enter opens this job");
    window.resize(80, 24);
    window.type_line("");
    window.wait_for("job last year is open; 1 snapshot in it");
    note(&window, "still right?");
    window.wait_for("kept note, saved in job last year");
    window.press("9");
    let page = window.wait_for("job last year");
    assert!(page.contains("after +0.034"), "{page}");
    assert!(page.contains("still right?"), "{page}");
    assert!(page.contains("No earlier job of deck 4."), "{page}");
    window.press("9");
    window.quit();
    let job = only_job(&rehearsals(&window));
    assert_eq!((job.notes.len(), job.snapshots.len()), (1, 1));
}
