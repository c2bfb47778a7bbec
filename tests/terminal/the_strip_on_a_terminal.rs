//! The strip of steps and the runs, the real program on a real terminal
//! (tmux), with the simulated machine: worked by keys, seen on the screen and
//! in the record.

use crate::support::tmux::Tmux;

fn rehearse(tmux: &Tmux, more: &str) {
    tmux.run(&format!("practise {more}"));
    tmux.wait_for("tone found");
}

fn record(tmux: &Tmux) -> String {
    let record = tmux.home().join(".local/share/tapewright/rehearsal.jsonl");
    std::fs::read_to_string(record).expect("the record is there")
}

#[test]
fn one_key_leads_along_the_strip() {
    let Some(tmux) = Tmux::open() else { return };
    rehearse(&tmux, "");
    tmux.wait_for("✓signal");
    tmux.press("Space");
    tmux.wait_for("Let it play until the drift");
    tmux.press("Space");
    tmux.wait_for("not warm yet");
    tmux.press("Space");
    tmux.wait_for("keeping before");
    tmux.wait_for("✓before");
    // Power off, the wiper, power on, all by the same key.
    tmux.press("Space");
    tmux.wait_for("Power off. Mark the trimmer");
    tmux.press("Space");
    tmux.wait_for("power OFF");
    tmux.press("Space");
    tmux.wait_for("cleaned 5x");
    tmux.press("Space");
    tmux.wait_for("✓clean");
    tmux.press("Tab");
    tmux.press("Tab");
    // At the trimmer the caution keeps its row.
    tmux.wait_for("Careful: Insulated tool");
    tmux.quit();
    assert_eq!(record(&tmux).lines().count(), 1);
}

#[test]
fn two_directions_are_two_runs_with_a_record_each() {
    let Some(tmux) = Tmux::open() else { return };
    rehearse(&tmux, "--directions both");
    let screen = tmux.wait_for("run 1 of 2");
    assert!(screen.contains("forward | tone 3150 Hz"), "{screen}");
    tmux.press("b");
    tmux.wait_for("kept before, saved in");
    tmux.press("d");
    let screen = tmux.wait_for("switch the machine to reverse");
    assert!(screen.contains("run 2 of 2"), "{screen}");
    tmux.wait_for("settl");
    tmux.press("b");
    tmux.wait_for("kept before, saved in");
    // On a small screen it still says which is on.
    tmux.resize(50, 14);
    tmux.wait_for("run 2/2");
    tmux.quit();
    let record = record(&tmux);
    let lines: Vec<&str> = record.lines().collect();
    assert_eq!(lines.len(), 2, "{record}");
    assert!(lines[0].contains("\"direction\":\"forward\""), "{record}");
    assert!(lines[1].contains("\"direction\":\"reverse\""), "{record}");
}
