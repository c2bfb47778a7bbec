//! `tapewright watch`, the real program on a terminal, with the simulated
//! machine and with a recording.

use std::time::{Duration, Instant};

use crate::support::environment::within;
use crate::support::jobs::only_job;
use crate::support::program::{Answer, program, tone, write_wav};
use crate::support::stalls::Stalls;
use crate::support::window::Window;

fn practise() -> Window {
    let window = Window::open();
    window.run("practise");
    window.wait_for("tone found");
    window
}

#[test]
fn a_rehearsal_keeps_a_snapshot_in_a_job_of_its_own() {
    let window = practise();
    let screen = window.wait_for("SIMULATED");
    assert!(screen.contains("tone found"), "{screen}");
    window.press("b");
    window.wait_for("keeping before");
    window.wait_for("kept before, saved in");
    window.quit();
    window.assert_given_back();
    let data = window.home().join(".local/share/tapewright");
    let job = only_job(&data.join("rehearsals"));
    assert!(job.simulated);
    assert_eq!(job.snapshots.len(), 1);
    assert!(job.snapshots[0].simulated);
    // Nothing of it lies where measurements do, nor where they once did.
    let kept: Vec<_> = std::fs::read_dir(&data).expect("a folder").collect();
    assert_eq!(kept.len(), 1, "{kept:?}");
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
    let jobs = window.home().join("rehearsals");
    window.run(&format!("practise --data {}", window.home().display()));
    window.wait_for("tone found");
    // A file comes in the way of the folder.
    std::fs::write(&jobs, "").expect("room");
    window.press("b");
    window.wait_for("NOT SAVED");
    window.press("q");
    window.press("q");
    assert_eq!(window.last_status(), 3);
    assert!(window.screen().contains("could not be saved"));
}

/// The lines of a log that are whole; the last may have been torn.
fn logged(path: &std::path::Path) -> Vec<serde_json::Value> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    let mut lines: Vec<_> = text.lines().map(serde_json::from_str).collect();
    lines.pop_if(|line| line.is_err());
    let whole = lines.into_iter().map(|line| line.expect("a whole line"));
    whole.collect()
}

/// Kills a rehearsal that keeps a log: its lines, how many of them came in the
/// last seconds, and how many seconds these were, but for what the machine itself
/// was late.
fn killed_while_logging() -> (Vec<serde_json::Value>, f64, f64) {
    let window = Window::open();
    let log = window.home().join("side.jsonl");
    let program = crate::support::program::PROGRAM;
    window.type_line(&format!(
        "sh -c 'echo $$ > pid; exec {program} practise --log side.jsonl'"
    ));
    window.wait_for("tone found");
    within(Duration::from_secs(60), "three lines", || {
        logged(&log).len() >= 3
    });
    // One line has just come; count from it.
    let stalls = Stalls::watch();
    let (before, begun) = (logged(&log).len(), Instant::now());
    std::thread::sleep(Duration::from_millis(4500));
    let pid = std::fs::read_to_string(window.home().join("pid")).expect("its number");
    let passed = begun.elapsed().saturating_sub(stalls.take()).as_secs_f64();
    let killed = std::process::Command::new("kill")
        .args(["-9", pid.trim()])
        .status();
    assert!(killed.expect("kill runs").success());
    window.wait_for("Killed");
    let lines = logged(&log);
    let came = (lines.len() - before) as f64;
    (lines, came, passed)
}

#[test]
fn a_log_loses_at_most_a_second_when_killed() {
    let (lines, came, passed) = killed_while_logging();
    assert!(came > passed - 1.0, "{came} lines in {passed} s");
    assert_eq!(lines[0]["schema"], "tapewright.log/1");
    assert_eq!(lines[0]["simulated"], true);
    for (second, line) in (1u64..).zip(&lines[1..]) {
        assert_eq!(line["at_s"], second);
    }
    let last = &lines[lines.len() - 1];
    let deviation = last["deviation_percent"].as_f64().expect("a speed");
    assert!((-4.5..-2.0).contains(&deviation), "{last}");
}

#[test]
fn a_log_is_never_written_over_and_its_start_middle_and_end_are_told() {
    let window = Window::open();
    let path = window.home().join("tone.wav");
    // 200 s, 1 % slow.
    write_wav(&path, 48_000, 1, tone(48_000, 200.0, 3118.5, |_| 1.0));
    let run = "watch --fast --reference 3150 --file tone.wav --log side.jsonl";
    window.run(run);
    window.wait_for("has ended");
    window.quit();
    let told = window.screen();
    for needed in [
        "log side.jsonl: 3 min 20 s",
        "start -1.000 %, middle -1.000 %, end -1.000 %",
    ] {
        assert!(
            told.replace('\n', " ").contains(needed),
            "{needed} is missing:\n{told}"
        );
    }
    let log = window.home().join("side.jsonl");
    let lines = logged(&log);
    let minutes = lines.iter().filter(|line| line.get("lines").is_some());
    assert_eq!((lines.len(), minutes.count()), (1 + 200 + 3, 3));
    window.run(run);
    assert_eq!(window.last_status(), 3);
    assert!(window.screen().contains("is not empty"));
    assert_eq!(logged(&log).len(), lines.len());
}

/// A file that may not grow any more is a full disk.
#[test]
fn a_log_that_cannot_go_on_says_so_and_the_sitting_goes_on() {
    let window = Window::open();
    let log = window.home().join("side.jsonl");
    window.type_line("ulimit -f 1");
    window.run("practise --log side.jsonl");
    window.wait_for("the log has ended");
    // The needle goes on, and other words come.
    window.press("t");
    window.press("u");
    window.wait_for("cents");
    window.press("q");
    assert_eq!(window.last_status(), 3);
    assert!(window.screen().contains("the log ended early"));
    // No line is half.
    let text = std::fs::read_to_string(&log).expect("it was begun");
    assert!(text.ends_with("}\n"), "{text}");
    assert_eq!(logged(&log).len(), text.lines().count());
}
