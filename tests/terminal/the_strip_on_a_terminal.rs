//! The strip of steps and the runs, the real program on a terminal, with the
//! simulated machine: worked by keys, seen on the screen and in the job.

use crate::support::jobs::only_job;
use crate::support::window::Window;
use tapewright::records::{Direction, Job};

fn practise(more: &str) -> Window {
    let window = Window::open();
    window.run(&format!("practise {more}"));
    window.wait_for("tone found");
    window
}

fn job(window: &Window) -> Job {
    only_job(&window.home().join(".local/share/tapewright/rehearsals"))
}

#[test]
fn one_key_leads_along_the_strip() {
    let window = practise("");
    window.wait_for("✓signal");
    // Power off, the wiper, power on, all by the same key.
    for shown in [
        "Let it play until the drift",
        "not warm yet",
        "✓before",
        "Power off. Mark the trimmer",
        "power OFF",
        "cleaned 5x",
        "✓clean",
    ] {
        window.press("Space");
        window.wait_for(shown);
    }
    window.press("Tab");
    window.press("Tab");
    // At the trimmer the caution keeps its row.
    window.wait_for("Careful: Insulated tool");
    window.quit();
    assert_eq!(job(&window).snapshots.len(), 1);
}

#[test]
fn two_directions_are_two_runs_in_one_job() {
    let window = practise("--directions both");
    let screen = window.wait_for("run 1 of 2");
    assert!(screen.contains("forward | tone 3150 Hz"), "{screen}");
    window.press("b");
    window.wait_for("kept before, saved in");
    window.press("d");
    let screen = window.wait_for("switch the machine to reverse");
    assert!(screen.contains("run 2 of 2"), "{screen}");
    window.wait_for("settl");
    window.press("b");
    window.wait_for("kept before, saved in");
    // On a small screen it still says which is on.
    window.resize(50, 14);
    window.wait_for("run 2/2");
    window.quit();
    let kept = job(&window).snapshots;
    let directions = kept.iter().map(|it| it.run.and_then(|run| run.direction));
    let expected = [Direction::Forward, Direction::Reverse].map(Some);
    assert_eq!(directions.collect::<Vec<_>>(), expected);
}
