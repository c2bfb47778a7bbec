//! `tapewright watch`, the real program on a terminal, with the simulated
//! machine and with a recording.

use crate::support::program::{Answer, program, tone, write_wav};
use crate::support::window::Window;

fn practise() -> Window {
    let window = Window::open();
    window.run("practise");
    window.wait_for("tone found");
    window
}

#[test]
fn a_rehearsal_keeps_a_snapshot_in_a_record_of_its_own() {
    let window = practise();
    let screen = window.wait_for("SIMULATED");
    assert!(screen.contains("tone found"), "{screen}");
    window.press("b");
    window.wait_for("keeping before");
    window.wait_for("kept before, saved in");
    window.quit();
    window.assert_given_back();
    let record = window
        .home()
        .join(".local/share/tapewright/rehearsal.jsonl");
    let record = std::fs::read_to_string(record).expect("the record is there");
    assert_eq!(record.lines().count(), 1);
    assert!(record.contains("\"simulated\":true"), "{record}");
    let measured = window
        .home()
        .join(".local/share/tapewright/snapshots.jsonl");
    assert!(!measured.exists());
}

#[test]
fn a_key_after_a_change_of_size_is_taken_at_once() {
    let window = practise();
    window.press("?");
    window.wait_for("tapewright help, page 1");
    window.resize(70, 20);
    window.wait_until("the new size", |screen| {
        screen.trim_end().lines().count() == 20
    });
    window.press("Escape");
    window.wait_for("SIMULATED");
    window.quit();
}

#[test]
fn the_power_of_the_simulated_machine_is_in_the_users_hand() {
    let window = practise();
    window.press("c");
    window.wait_for("power off first");
    window.press("p");
    window.wait_for("power OFF");
    window.wait_for("NO READING");
    window.press("c");
    window.wait_for("cleaned 1x");
    window.press("p");
    window.wait_for("tone found");
}

#[test]
fn a_recording_is_measured_to_its_end() {
    let window = Window::open();
    // 1 % slow: 3118.5 Hz.
    let path = window.home().join("tone.wav");
    write_wav(&path, 48_000, 1, tone(48_000, 12.0, 3118.5, |_| 1.0));
    window.run(&format!(
        "watch --fast --ascii --reference 3150 --file {}",
        path.display()
    ));
    let screen = window.wait_for("has ended");
    assert!(screen.is_ascii(), "{screen}");
    for needed in ["3118.5 Hz heard", "OUT BY THIS TAPE", "NOT LIVE"] {
        assert!(screen.contains(needed), "{needed} is missing:\n{screen}");
    }
    // Cents lead by the key, in large figures; percent stand below them.
    assert!(!screen.contains("cents"), "{screen}");
    window.press("u");
    let screen = window.wait_for("cents");
    assert!(screen.contains("-1.00 %"), "{screen}");
    window.quit();
}

#[test]
fn without_a_terminal_it_says_so() {
    let mut watch = program("practise");
    let said = Answer::of(watch.stdin(std::process::Stdio::null()));
    said.ends(6).complains(&["needs a terminal"]);
    assert_eq!(said.errors.lines().count(), 1, "{}", said.errors);
}

#[test]
fn a_snapshot_that_was_left_unsaved_is_told_by_the_exit_status() {
    let window = Window::open();
    let record = window.home().join("rehearsal.jsonl");
    window.run(&format!("practise --data {}", window.home().display()));
    window.wait_for("tone found");
    // A folder comes in its way.
    std::fs::create_dir(&record).expect("room");
    window.press("b");
    window.wait_for("NOT SAVED");
    window.press("q");
    window.press("q");
    assert_eq!(window.last_status(), 3);
    assert!(window.screen().contains("could not be saved"));
}
