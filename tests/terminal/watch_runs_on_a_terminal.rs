//! `tapewright watch`, the real program on a real terminal (tmux), with the
//! simulated machine and with a recording.

use crate::support::program::{Answer, program, tone, write_wav};
use crate::support::tmux::Tmux;

#[test]
fn a_rehearsal_keeps_a_snapshot_in_a_record_of_its_own() {
    let Some(tmux) = Tmux::open() else { return };
    tmux.run("practise");
    let screen = tmux.wait_for("tone found");
    assert!(screen.contains("SIMULATED"), "{screen}");
    tmux.press("b");
    tmux.wait_for("keeping before");
    tmux.wait_for("kept before, saved in");
    tmux.quit();
    tmux.assert_given_back();
    let record = tmux.home().join(".local/share/tapewright/rehearsal.jsonl");
    let record = std::fs::read_to_string(record).expect("the record is there");
    assert_eq!(record.lines().count(), 1);
    assert!(record.contains("\"simulated\":true"), "{record}");
    let measured = tmux.home().join(".local/share/tapewright/snapshots.jsonl");
    assert!(!measured.exists());
}

#[test]
fn a_key_after_a_change_of_size_is_taken_at_once() {
    let Some(tmux) = Tmux::open() else { return };
    tmux.run("practise");
    tmux.wait_for("tone found");
    tmux.press("?");
    tmux.wait_for("tapewright help, page 1");
    tmux.resize(70, 20);
    tmux.wait_until("the new size", |screen| {
        screen.trim_end().lines().count() == 20
    });
    tmux.press("Escape");
    tmux.wait_for("SIMULATED");
    tmux.quit();
}

#[test]
fn the_power_of_the_simulated_machine_is_in_the_users_hand() {
    let Some(tmux) = Tmux::open() else { return };
    tmux.run("practise");
    tmux.wait_for("tone found");
    tmux.press("c");
    tmux.wait_for("power off first");
    tmux.press("p");
    tmux.wait_for("power OFF");
    tmux.wait_for("NO READING");
    tmux.press("c");
    tmux.wait_for("cleaned 1x");
    tmux.press("p");
    tmux.wait_for("tone found");
}

#[test]
fn a_recording_is_measured_to_its_end() {
    let Some(tmux) = Tmux::open() else { return };
    // 1 % slow: 3118.5 Hz.
    let path = tmux.home().join("tone.wav");
    write_wav(&path, 48_000, 1, tone(48_000, 12.0, 3118.5, |_| 1.0));
    tmux.run(&format!(
        "watch --fast --ascii --reference 3150 --file {}",
        path.display()
    ));
    let screen = tmux.wait_for("has ended");
    assert!(screen.is_ascii(), "{screen}");
    for needed in ["3118.5 Hz heard", "OUT BY THIS TAPE", "NOT LIVE"] {
        assert!(screen.contains(needed), "{needed} is missing:\n{screen}");
    }
    // Cents lead by the key, in large figures; percent stand below them.
    assert!(!screen.contains("cents"), "{screen}");
    tmux.press("u");
    let screen = tmux.wait_for("cents");
    assert!(screen.contains("-1.00 %"), "{screen}");
    tmux.quit();
}

#[test]
fn an_input_that_is_not_there_is_a_sentence_and_no_rehearsal() {
    let Some(tmux) = Tmux::open() else { return };
    tmux.run("watch --input no-such-input");
    let screen = tmux.wait_for("no-such-input\"");
    assert!(!screen.contains("SIMULATED"), "{screen}");
    assert_eq!(tmux.last_status(), 5);
}

#[test]
fn without_a_terminal_it_says_so() {
    let mut watch = program("practise");
    let said = Answer::of(watch.stdin(std::process::Stdio::null()));
    said.ends(6).says(&["needs a terminal"]);
    assert_eq!(said.errors.lines().count(), 1, "{}", said.errors);
}

#[test]
fn a_snapshot_that_was_left_unsaved_is_told_by_the_exit_status() {
    let Some(tmux) = Tmux::open() else { return };
    let record = tmux.home().join("rehearsal.jsonl");
    tmux.run(&format!("practise --data {}", tmux.home().display()));
    tmux.wait_for("tone found");
    // A folder comes in its way.
    std::fs::create_dir(&record).expect("room");
    tmux.press("b");
    tmux.wait_for("NOT SAVED");
    tmux.press("q");
    tmux.press("q");
    assert_eq!(tmux.last_status(), 3);
    assert!(tmux.screen().contains("could not be saved"));
}
