//! Whatever ends or interrupts the screen, the terminal is given back: the real
//! program in a window of its own, left from every page and by every key and
//! signal, two of them a page, at any moment.

use std::time::{Duration, Instant};
use std::{fs, thread};

use rustix::process::{Pid, Signal, kill_process, test_kill_process};
use rustix::termios::{Action as Flow, tcflow};

use crate::support::dice::Dice;
use crate::support::environment::{are_there, within};
use crate::support::jobs::only_job;
use crate::support::preload;
use crate::support::program::PROGRAM;
use crate::support::window::{PROMPT, Window};

/// Says that the screen is up.
const UP: &str = "? help";

/// Starts the program in a window and waits until its screen is up.
fn started(before: &str) -> (Window, Pid) {
    let window = Window::open();
    window.type_line("clear");
    let process = window.start(before, "practise");
    window.wait_for(UP);
    assert!(window.is_taken());
    (window, process)
}

#[track_caller]
fn kill(process: Pid, signal: Signal) {
    kill_process(process, signal).expect("it is there");
}

fn is_alive(process: Pid) -> bool {
    test_kill_process(process).is_ok()
}

#[track_caller]
fn assert_ends(process: Pid) {
    let begun = Instant::now();
    while is_alive(process) {
        assert!(begun.elapsed().as_secs() < 20, "{process:?} lives on");
        thread::sleep(Duration::from_millis(20));
    }
}

/// Takes a note; what the screen says of it.
fn note(window: &Window, text: &str, said: &str) {
    window.press("e");
    window.wait_for("note: _");
    window.type_line(text);
    window.wait_until(said, |screen| {
        !screen.contains("note: ") && screen.contains(said)
    });
}

/// How the screen is left.
#[derive(Clone, Copy, Debug)]
enum Way {
    Key,
    Interrupt,
    By(Signal),
}

/// Each with what the shell is told: 128 and the number of the signal where one
/// ended it (POSIX: HUP 1, INT 2, QUIT 3, TERM 15).
const WAYS: [(Way, i32); 6] = [
    (Way::Key, 0),
    (Way::By(Signal::TERM), 143),
    (Way::Interrupt, 130),
    (Way::By(Signal::HUP), 129),
    (Way::By(Signal::INT), 130),
    (Way::By(Signal::QUIT), 131),
];

/// Every page and whatever lies over one: the keys to it, and what it says.
const PAGES: [(&str, &str); 17] = [
    ("", UP),
    ("?", "tapewright help, page 1"),
    ("w", "wiper check"),
    ("k", "contact check"),
    ("3", "what wavers"),
    ("38", "what wavers, and what to check"),
    ("4", "supply run"),
    ("4 ", "supply voltage of the machine: _"),
    ("0", "what does the tape carry?"),
    ("9", "no job yet"),
    ("s", "step 1 of"),
    ("i", "Esc back"),
    ("e", "note: _"),
    ("m", "machine on the bench: "),
    ("l", "tolerance band in percent: _"),
    ("b", "keeping before"),
    ("y", "long run"),
];

/// Leaves it from a page that says this.
fn leave(window: &Window, process: Pid, way: Way, sign: &str) {
    match way {
        Way::By(signal) => kill(process, signal),
        Way::Interrupt => window.press("C-c"),
        Way::Key => {
            let gone = |screen: &str| !screen.contains(sign);
            if window.screen().contains("Esc forgets") {
                window.press("Escape");
                window.wait_until("no line", gone);
            } else if sign != UP {
                // What lies over the screen goes first.
                window.press("q");
                window.wait_until("no page", gone);
            }
            if window.look(vt100::Screen::alternate_screen) {
                window.press("q");
            }
        }
    }
}

/// Windows at once: nearly all of the time is waited.
const WINDOWS: usize = 4;

#[test]
fn from_every_page_and_by_every_way_out() {
    let in_a_window = |first: usize| {
        let window = Window::open();
        window.type_line("ulimit -c 0");
        for nth in (first..PAGES.len()).step_by(WINDOWS) {
            for which in [2 * nth, 2 * nth + 1] {
                go_and_leave(&window, PAGES[nth], WAYS[which % WAYS.len()]);
            }
        }
    };
    thread::scope(|scope| {
        for first in 0..WINDOWS {
            scope.spawn(move || in_a_window(first));
        }
    });
}

fn go_and_leave(window: &Window, (keys, sign): (&str, &str), (way, status): (Way, i32)) {
    window.type_line("clear");
    let process = window.start("", "practise");
    // Without a tone nothing is kept or measured.
    let keeps = matches!(keys, "b" | "y" | "4 ");
    window.wait_for(if keeps { "tone found" } else { UP });
    for key in keys.chars() {
        window.press(&key.to_string());
    }
    window.wait_for(sign);
    assert!(window.is_taken());
    leave(window, process, way, sign);
    assert_eq!(window.last_status(), status, "{keys} {way:?}");
    window.assert_given_back();
}

/// Moments at which a signal comes.
const MOMENTS: usize = 40;

/// What is pressed before; none of it quits.
const KEYS: [&str; 16] = [
    "?", "w", "k", "3", "4", "9", "0", "s", "i", "b", "y", "u", "j", "Space", "Tab", "Escape",
];

#[test]
fn at_any_moment_from_its_start_to_its_end() {
    let window = Window::open();
    window.type_line("ulimit -c 0");
    let mut dice = Dice::new(20);
    let begun = Instant::now();
    let _ = window.start("", "practise");
    window.wait_for(UP);
    let start_up_ms = begun.elapsed().as_millis() as f64;
    window.quit();
    for moment in 0..MOMENTS {
        window.type_line("clear");
        let process = window.start("", "practise");
        let mut allowed = Vec::new();
        match moment % 4 {
            0 | 1 => {
                let wait = Duration::from_secs_f64(dice.between(0.0, 1.3 * start_up_ms) / 1000.0);
                thread::sleep(wait);
            }
            2 => {
                window.wait_for(UP);
                for _ in 0..3 {
                    window.press(dice.one_of(&KEYS));
                }
            }
            _ => {
                window.wait_for(UP);
                window.press("q");
                allowed.push(0);
                thread::sleep(Duration::from_secs_f64(dice.between(0.0, 0.06)));
            }
        }
        let signals = [Signal::TERM, Signal::HUP, Signal::INT, Signal::QUIT];
        for _ in 0..=dice.below(2) {
            let signal = dice.one_of(&signals);
            allowed.push(128 + signal.as_raw());
            // It may have ended by itself.
            let _ = kill_process(process, signal);
        }
        let status = window.last_status();
        assert!(allowed.contains(&status), "{moment}: {status} {allowed:?}");
        window.assert_given_back();
    }
    println!("{MOMENTS} moments, start-up {start_up_ms:.0} ms");
}

/// Until the characters that it has written grow no more: what it writes holds
/// up the thread that draws.
fn fill_what_lies_between(window: &Window, process: Pid) {
    let written = || {
        let told = fs::read_to_string(format!("/proc/{}/io", process.as_raw_nonzero()));
        let told = told.expect("it runs");
        let line = told.lines().find(|line| line.starts_with("wchar"));
        line.expect("the kernel counts").to_owned()
    };
    window.is_read(false);
    let begun = Instant::now();
    let (mut last, mut since) = (written(), Instant::now());
    while since.elapsed() < Duration::from_secs(1) {
        assert!(begun.elapsed().as_secs() < 60, "never held up");
        // Page after page of the help.
        window.press("?");
        thread::sleep(Duration::from_millis(20));
        let now = written();
        if now != last {
            (last, since) = (now, Instant::now());
        }
    }
}

#[test]
fn a_signal_ends_it_though_the_terminal_takes_nothing_more() {
    for signal in [Signal::TERM, Signal::HUP, Signal::INT] {
        let (window, process) = started("");
        fill_what_lies_between(&window, process);
        kill(process, signal);
        assert_ends(process);
        // What was broken off, the farewell behind it, and keys that nobody took.
        window.is_read(true);
        window.press("C-u");
        assert_eq!(window.last_status(), 128 + signal.as_raw());
        window.assert_given_back();
    }
}

#[test]
fn while_stopped_by_key_or_from_outside_and_it_comes_back_whole() {
    for from_outside in [false, true] {
        let (window, process) = started("");
        if from_outside {
            kill(process, Signal::TSTP);
        } else {
            window.press("C-z");
        }
        window.wait_for("Stopped");
        window.wait_until("a prompt", |screen| screen.trim_end().ends_with(PROMPT));
        window.assert_given_back();
        window.type_line("fg");
        let screen = window.wait_for(UP);
        assert!(window.is_taken());
        let whole = screen.contains("tapewright") && !screen.contains("Stopped");
        assert!(whole, "{screen}");
        window.quit();
        window.assert_given_back();
    }
}

#[test]
fn and_taken_again_after_a_stop_that_nothing_can_catch() {
    let (window, process) = started("");
    kill(process, Signal::STOP);
    window.wait_for("Stopped");
    window.type_line("clear");
    window.type_line("fg");
    window.wait_for(UP);
    // Keys arrive one by one, so the terminal is in its raw mode again.
    window.press("?");
    window.wait_for("tapewright help, page 1");
    window.press("Escape");
    window.wait_for(UP);
    // Nobody stopped it this time.
    kill(process, Signal::CONT);
    window.press("?");
    window.wait_for("tapewright help, page 1");
    window.press("q");
    window.wait_for(UP);
    window.quit();
    window.assert_given_back();
}

#[test]
fn started_in_the_background_it_waits_there_for_its_turn() {
    let window = Window::open();
    window.type_line("set -b");
    window.run("practise &");
    within(Duration::from_secs(60), "stopped", || {
        window.type_line("jobs");
        window.screen().contains("Stopped")
    });
    window.type_line("clear");
    window.wait_until("an empty screen", |screen| !screen.contains("Stopped"));
    window.assert_given_back();
    window.type_line("fg");
    window.wait_for(UP);
    assert!(window.is_taken());
    window.quit();
    window.assert_given_back();
}

/// A file that may not grow any more is a full disk.
#[test]
fn from_the_question_whether_to_leave_what_is_not_saved() {
    let window = Window::open();
    for (way, status) in [WAYS[0], WAYS[1], WAYS[2]] {
        window.type_line("clear");
        let process = window.start("ulimit -f 0;", "practise");
        window.wait_for(UP);
        note(&window, "new belt", "NOT SAVED");
        window.press("q");
        window.wait_for("q again leaves without");
        leave(&window, process, way, UP);
        window.wait_for("could not be saved");
        assert_eq!(window.last_status(), status.max(3), "{way:?}");
        window.assert_given_back();
    }
}

/// Whoever presses Ctrl-S by mistake stops all that is written.
#[test]
fn a_signal_ends_it_though_what_was_not_saved_cannot_be_told() {
    let window = Window::open();
    let tone = format!("{PROGRAM} tone --seconds 5 -o tone.wav");
    window.type_line(&format!("{tone} >made; clear; echo made"));
    window.wait_for("made");
    let process = window.start("ulimit -f 0;", "watch --fast --file tone.wav");
    window.wait_for("ENDED");
    note(&window, "new belt", "NOT SAVED");
    let mut options = fs::File::options();
    let line = options.read(true).write(true).open(window.line());
    let line = line.expect("the line of this window");
    tcflow(&line, Flow::OOff).expect("it can be stopped");
    kill(process, Signal::TERM);
    assert_ends(process);
    tcflow(&line, Flow::OOn).expect("it goes on");
    assert_eq!(window.last_status(), 143);
    window.assert_given_back();
}

#[test]
fn whoever_reads_its_standard_error_may_go() {
    let window = Window::open();
    window.type_line(&format!("(ulimit -f 0; '{PROGRAM}' practise 2> >(true))"));
    window.wait_for(UP);
    note(&window, "new belt", "NOT SAVED");
    window.press("q");
    window.wait_for("q again leaves without");
    window.press("q");
    // What could not be told is told by this.
    assert_eq!(window.last_status(), 3);
    window.assert_given_back();
}

#[test]
fn a_terminal_that_is_none_or_cannot_place_letters_is_refused_with_a_sentence() {
    let window = Window::open();
    for (line, said) in [
        (format!("TERM=dumb {PROGRAM} practise"), "place letters"),
        (
            format!("{PROGRAM} practise | head -1; (exit ${{PIPESTATUS[0]}})"),
            "standard output goes",
        ),
    ] {
        window.type_line("clear");
        window.type_line(&line);
        window.wait_until(said, |screen| screen.replace('\n', " ").contains(said));
        assert_eq!(window.last_status(), 6);
        window.assert_given_back();
    }
}

#[test]
fn a_window_that_is_closed_ends_the_program_and_costs_nothing_that_was_kept() {
    for page in ["", "?", "w", "e"] {
        let (window, process) = started("");
        // It may still be on its way to the disk.
        note(&window, "new belt", "");
        window.press(page);
        let home = window.close();
        assert_ends(process);
        let job = only_job(&home.path(".local/share/tapewright/rehearsals"));
        let notes: Vec<_> = job.notes.iter().map(|it| it.text.as_str()).collect();
        assert_eq!(notes, ["new belt"], "{page}");
    }
}

#[test]
fn noise_on_standard_error_does_not_tear_the_screen() {
    if !are_there("noise", &[preload::COMPILER]) {
        return;
    }
    let window = Window::open();
    let noise = preload::built("noise", window.home());
    window.start(&format!("LD_PRELOAD='{}'", noise.display()), "practise");
    window.wait_for(UP);
    window.press("?");
    window.wait_for("help, page 1");
    window.press("Escape");
    let screen = window.wait_for(UP);
    assert!(!screen.contains("noise of"), "{screen}");
    let log = window.home().join(".local/state/tapewright/screen.log");
    let log = fs::read_to_string(log).expect("the log is there");
    assert!(log.contains("noise of a sound library"));
    window.quit();
}

#[test]
fn no_color_asks_for_no_colour_and_keeps_bold() {
    let (window, _) = started("NO_COLOR=1");
    window.look(|screen| {
        let (rows, columns) = screen.size();
        let places = (0..rows.get()).flat_map(|y| (0..columns.get()).map(move |x| (y, x)));
        let cells: Vec<_> = places.filter_map(|(y, x)| screen.cell(y, x)).collect();
        let plain = |it: &&vt100::Cell| it.fgcolor() == vt100::Color::Default;
        assert!(cells.iter().all(plain), "a coloured letter");
        assert!(cells.iter().any(|it| it.bold()), "nothing is bold");
    });
}
