//! `tapewright watch`, the real program on a real terminal (tmux), with the
//! simulated machine and with a recording.

use crate::support::tmux::Tmux;

const PROGRAM: &str = env!("CARGO_BIN_EXE_tapewright");

/// A window in which nothing of the user's is read or written.
fn terminal() -> Option<Tmux> {
    Tmux::is_there().then(|| Tmux::start(80, 24))
}

/// A recording of a tone, 16 bit mono at 48 kHz.
fn recording(tmux: &Tmux, hz: f64, seconds: u32) -> String {
    let path = tmux.home().join("tone.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("a file");
    for at in 0..48_000 * seconds {
        let phase = f64::from(at) / 48_000.0 * hz * std::f64::consts::TAU;
        let sample = (phase.sin() * 16_000.0).round() as i16;
        writer.write_sample(sample).expect("room");
    }
    writer.finalize().expect("room");
    path.display().to_string()
}

#[test]
fn a_rehearsal_keeps_a_snapshot_in_a_record_of_its_own() {
    let Some(tmux) = terminal() else { return };
    tmux.type_line(&format!("{PROGRAM} watch --rehearse"));
    let screen = tmux.wait_for("tone found");
    assert!(screen.contains("SIMULATED"), "{screen}");
    tmux.press("b");
    tmux.wait_for("keeping before");
    tmux.wait_for("kept before, saved in");
    tmux.press("q");
    assert_eq!(tmux.last_status(), 0);
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
    let Some(tmux) = terminal() else { return };
    tmux.type_line(&format!("{PROGRAM} watch --rehearse"));
    tmux.wait_for("tone found");
    tmux.press("?");
    tmux.wait_for("tapewright help, page 1");
    tmux.resize(70, 20);
    tmux.wait_until("the new size", |screen| {
        screen.trim_end().lines().count() == 20
    });
    tmux.press("Escape");
    tmux.wait_for("SIMULATED");
    tmux.press("q");
    assert_eq!(tmux.last_status(), 0);
}

#[test]
fn the_power_of_the_simulated_machine_is_in_the_users_hand() {
    let Some(tmux) = terminal() else { return };
    tmux.type_line(&format!("{PROGRAM} watch --rehearse"));
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
    let Some(tmux) = terminal() else { return };
    // 1 % slow: 3118.5 Hz.
    let path = recording(&tmux, 3118.5, 12);
    tmux.type_line(&format!(
        "{PROGRAM} watch --fast --ascii --reference 3150 --file {path}"
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
    tmux.press("q");
    assert_eq!(tmux.last_status(), 0);
}

#[test]
fn an_input_that_is_not_there_is_a_sentence_and_no_rehearsal() {
    let Some(tmux) = terminal() else { return };
    tmux.type_line(&format!("{PROGRAM} watch --input no-such-input"));
    let screen = tmux.wait_for("no-such-input\"");
    assert!(!screen.contains("SIMULATED"), "{screen}");
    assert_eq!(tmux.last_status(), 5);
}

#[test]
fn without_a_terminal_it_says_so() {
    let said = std::process::Command::new(PROGRAM)
        .args(["watch", "--rehearse"])
        .stdin(std::process::Stdio::null())
        .output()
        .expect("it runs");
    assert_eq!(said.status.code(), Some(6));
    let sentence = String::from_utf8_lossy(&said.stderr);
    assert!(sentence.contains("needs a terminal"), "{sentence}");
    assert_eq!(sentence.lines().count(), 1, "{sentence}");
}

#[test]
fn a_snapshot_that_was_left_unsaved_is_told_by_the_exit_status() {
    let Some(tmux) = terminal() else { return };
    let record = tmux.home().join("record.jsonl");
    tmux.type_line(&format!(
        "{PROGRAM} watch --rehearse --record {}",
        record.display()
    ));
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
