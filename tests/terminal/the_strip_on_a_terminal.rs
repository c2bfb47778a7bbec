//! The strip of steps and the runs, the real program on a terminal, with the
//! simulated machine: worked by keys, seen on the screen and in the record.

use crate::support::window::Window;

fn practise(more: &str) -> Window {
    let window = Window::open();
    window.run(&format!("practise {more}"));
    window.wait_for("tone found");
    window
}

fn record(window: &Window) -> String {
    let record = window
        .home()
        .join(".local/share/tapewright/rehearsal.jsonl");
    std::fs::read_to_string(record).expect("the record is there")
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
    assert_eq!(record(&window).lines().count(), 1);
}

#[test]
fn two_directions_are_two_runs_with_a_record_each() {
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
    let record = record(&window);
    let lines: Vec<&str> = record.lines().collect();
    assert_eq!(lines.len(), 2, "{record}");
    for (line, direction) in lines.iter().zip(["forward", "reverse"]) {
        let named = format!("\"direction\":\"{direction}\"");
        assert!(line.contains(&named), "{record}");
    }
}
