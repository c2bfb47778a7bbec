//! What stands on the terminal while many files are read, and how it ends.

use std::process::Command;
use std::thread;
use std::time::Duration;

use crate::support::program::{tone, write_wav};
use crate::support::window::Window;

/// A window whose home has a recording, and a pipe that nothing comes through.
fn window() -> Window {
    let window = Window::open();
    let at = |name: &str| window.home().join(name);
    write_wav(&at("a.wav"), 8000, 1, tone(8000, 3.0, 3150.0, |_| 1.0));
    let made = Command::new("mkfifo").arg(at("pipe.wav")).status();
    assert!(made.unwrap().success());
    window
}

#[test]
fn a_bar_shows_how_far_all_are_and_ctrl_c_says_how_to_go_on() {
    let window = window();
    window.run("read --reference 3150 a.wav pipe.wav");
    let screen = window.wait_for("x real time");
    assert!(
        screen.contains("1 of 2") && screen.contains("left"),
        "{screen}"
    );
    window.press("C-c");
    let screen = window.wait_for("interrupted with 1 of 2 recordings measured");
    assert!(screen.replace('\n', "").contains("--resume"), "{screen}");
    assert!(!screen.contains("real time"), "{screen}");
    assert_eq!(window.last_status(), 130);
    window.run("read --reference 3150 a.wav pipe.wav --resume");
    window.wait_for("measured before: 1 of 2");
    window.press("C-c");
    assert_eq!(window.last_status(), 130);
    window.assert_given_back();
}

#[test]
fn quiet_shows_no_bar() {
    let window = window();
    window.run("read --quiet --reference 3150 a.wav pipe.wav");
    // Much longer than it takes to show one.
    thread::sleep(Duration::from_secs(5));
    let screen = window.screen();
    assert!(
        screen.contains("3150 Hz") || screen.contains("Speed"),
        "{screen}"
    );
    assert!(!screen.contains("real time"), "{screen}");
    window.press("C-c");
    assert_eq!(window.last_status(), 130);
}

#[test]
fn the_live_screen_has_colours_as_it_is_asked() {
    for (line, expected) in [
        ("NO_COLOR=1 tapewright practise --color always", true),
        ("tapewright --color never practise", false),
        ("CLICOLOR=0 tapewright practise", false),
        ("TAPEWRIGHT_COLOR=never tapewright practise", false),
        ("tapewright practise", true),
    ] {
        let window = Window::open();
        let program = format!("'{}'", crate::support::program::PROGRAM);
        window.type_line(&line.replace("tapewright", &program));
        window.wait_for("tone found");
        let coloured = window.look(|screen| {
            let cells = (0..24).flat_map(|row| (0..80).map(move |column| (row, column)));
            let mut cells = cells.filter_map(|(row, column)| screen.cell(row, column));
            cells.any(|cell| cell.fgcolor() != vt100::Color::Default)
        });
        assert_eq!(coloured, expected, "{line}");
        window.quit();
    }
}
