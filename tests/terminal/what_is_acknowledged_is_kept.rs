//! What the screen said is saved is there whatever ends the program, and at most a
//! second of a log is lost: a few kills at moments by chance. Hundreds are tried
//! by the test `five_hundred_kills` of the program `long`. What cannot be saved is
//! held until it can.

use std::fs;

use crate::support::environment::are_there;
use crate::support::jobs::only_job;
use crate::support::kills::kill_them;
use crate::support::preload::{COMPILER, built};
use crate::support::program::PROGRAM;
use crate::support::window::Window;

#[test]
fn a_kill_at_any_moment_loses_nothing_that_was_acknowledged() {
    let counts = kill_them(10, 2, 0x10);
    println!("{counts}");
    counts.assert_nothing_lost();
}

fn note(window: &Window, text: &str, answer: &str) {
    window.type_line(&format!("e{text}"));
    window.wait_for(answer);
}

/// Whatever the disk says, nothing is acknowledged that is not there, and what was
/// held is saved by a key once there is room.
#[test]
fn what_a_failing_disk_refused_is_held_and_saved_once_there_is_room() {
    if !are_there("a failing disk", &[COMPILER]) {
        return;
    }
    let window = Window::open();
    let library = built("disk_faults", window.home());
    let rules = window.home().join("rules");
    window.type_line(&format!(
        "LD_PRELOAD={} DISK_FAULTS={} '{PROGRAM}' practise --data kept --job a",
        library.display(),
        rules.display()
    ));
    window.wait_for("tone found");
    let faults = [
        "write ENOSPC a.jsonl",
        "write half:EIO a.jsonl",
        "open EROFS a.jsonl",
        "sync EDQUOT a.jsonl",
    ];
    let mut notes = vec!["the first".to_owned()];
    note(&window, "the first", "kept note, saved in job a");
    for (nth, fault) in faults.iter().enumerate() {
        fs::write(&rules, fault).expect("room");
        notes.push(format!("held {nth}"));
        note(&window, &notes[nth + 1], "NOT SAVED: note is held");
        let job = only_job(&window.home().join("kept/rehearsals"));
        assert_eq!(job.notes.len(), 1 + nth, "{fault}");
        fs::write(&rules, "").expect("room");
        window.press("r");
        window.wait_for("kept note, saved in job a");
    }
    window.quit();
    let job = only_job(&window.home().join("kept/rehearsals"));
    let kept: Vec<String> = job.notes.into_iter().map(|it| it.text).collect();
    assert_eq!(kept, notes);
}

/// The folder of jobs goes away under a sitting: what was kept goes with it, and what
/// follows is kept in a new one.
#[test]
fn a_folder_that_was_renamed_meanwhile_costs_nothing() {
    let window = Window::open();
    window.run("practise --data kept --job a");
    window.wait_for("tone found");
    note(&window, "before", "kept note, saved in job a");
    let folder = |name: &str| window.home().join(name);
    fs::rename(folder("kept"), folder("elsewhere")).expect("room");
    window.press("b");
    window.wait_for("kept before, saved in job a");
    note(&window, "after", "kept note, saved in job a");
    window.quit();
    let notes = |name: &str| {
        let job = only_job(&folder(name).join("rehearsals"));
        let notes: Vec<String> = job.notes.into_iter().map(|it| it.text).collect();
        (notes, job.snapshots.len())
    };
    assert_eq!(notes("elsewhere"), (vec!["before".to_owned()], 0));
    assert_eq!(notes("kept"), (vec!["after".to_owned()], 1));
}
