//! Whatever ends or interrupts the screen, the terminal is given back.
//!
//! The screen runs in a terminal with an unmoving state, inside this same test
//! program: see `inside`.

use std::time::{Duration, Instant};
use std::{env, fs, thread};

use rustix::process::{Pid, Signal, kill_process, test_kill_process};
use rustix::termios::{Action as Flow, tcflow};

use crate::support::program::PROGRAM;
use crate::support::window::{PROMPT, Window};
use tapewright::readings::Conditions;
use tapewright::references::{MachineClass, Reference};
use tapewright::screen::{
    self, Action, Effect, Ending, Event, Look, Outside, ScreenState, Setup, SourceKind, Terminal,
    terminal,
};
use tapewright::units::Hertz;

/// Says that the screen is up.
const UP: &str = "? help";

/// Starts the screen in a terminal and waits until it is up.
fn started(variables: &str) -> Window {
    let window = Window::open();
    let this = env::current_exe().expect("this program has a name");
    window.type_line("clear");
    window.type_line(&format!(
        "env {variables} {} --ignored --exact the_terminal_is_given_back::inside --nocapture --quiet",
        this.display()
    ));
    window.wait_for(UP);
    assert!(window.is_taken());
    window
}

fn number(digits: &str) -> Pid {
    let number = digits.trim().parse().ok();
    number.and_then(Pid::from_raw).expect("a process")
}

/// The process that runs the screen, as it says itself.
fn process(window: &Window) -> Pid {
    let screen = window.wait_for("process ");
    let after = screen.split_once("process ").expect("just seen").1;
    number(
        &after
            .chars()
            .take_while(char::is_ascii_digit)
            .collect::<String>(),
    )
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

/// Waits until the thread that draws is held up by what it writes: until the
/// characters that it has written grow no more.
fn wait_until_blocked(process: Pid) {
    let written = || {
        let told = fs::read_to_string(format!("/proc/{}/io", process.as_raw_nonzero()));
        let told = told.expect("it runs");
        let line = told.lines().find(|line| line.starts_with("wchar"));
        line.expect("the kernel counts").to_owned()
    };
    let begun = Instant::now();
    let (mut last, mut since) = (written(), Instant::now());
    while since.elapsed() < Duration::from_secs(1) {
        assert!(begun.elapsed().as_secs() < 60, "never held up");
        thread::sleep(Duration::from_millis(50));
        let now = written();
        if now != last {
            (last, since) = (now, Instant::now());
        }
    }
}

/// Nothing happens outside.
struct Nothing {
    restless: bool,
}

impl Outside for Nothing {
    fn news(&mut self) -> Vec<Event> {
        Vec::new()
    }

    /// Another screen at every look, if as much as can be is to be written.
    fn by_ear(&mut self, state: &mut ScreenState) -> bool {
        if self.restless {
            let covered = state.overlay.is_some();
            let _ = state.act(if covered {
                Action::Uncover
            } else {
                Action::Help
            });
        }
        self.restless
    }

    fn carry_out(&mut self, _: Effect) -> Option<Event> {
        None
    }
}

/// Not a test of its own: what runs inside the terminal.
#[test]
#[ignore = "is started by the other tests, in a terminal of their own"]
fn inside() {
    let mut state = ScreenState::new(Setup {
        look: Look::new(false, None, |name| env::var(name).ok()),
        kind: SourceKind::Input,
        conditions: Conditions::default(),
        tolerance: MachineClass::Deck.tolerance(),
        reference: Reference::Tone(Hertz(3150.0)),
        tape: None,
        cards: Vec::new(),
        machine: None,
        parts: None,
        parts_cards: Vec::new(),
        runs: Vec::new(),
        job: None,
        zone: jiff::tz::TimeZone::UTC,
        message: Some(format!("process {}", std::process::id())),
    });
    let asked = |name: &str| env::var_os(name).is_some();
    let mut terminal = Terminal::enter().expect("a terminal");
    if asked("DIES") {
        thread::spawn(|| {
            thread::sleep(Duration::from_millis(500));
            panic!("invented misfortune");
        });
    }
    if asked("NOISE") {
        thread::spawn(|| {
            loop {
                eprintln!("noise of a sound library");
                thread::sleep(Duration::from_millis(20));
            }
        });
    }
    let restless = asked("RESTLESS");
    let ending = screen::run(&mut terminal, &mut state, &mut Nothing { restless });
    assert!(!asked("DIES_ITSELF"), "invented misfortune");
    terminal.leave();
    match ending.expect("the terminal works") {
        Ending::Quit => {}
        Ending::Signal(signal) => terminal::end_by(signal),
        Ending::SourceFailed(reason) => panic!("{reason}"),
        Ending::Panicked => {
            terminal::await_report();
            std::process::exit(101);
        }
    }
}

#[test]
fn after_keys_and_signals_that_end() {
    // 128 + SIGHUP 1, SIGINT 2, SIGTERM 15 (POSIX).
    for (key, signal, status) in [
        ("q", None, 0),
        ("C-c", None, 130),
        ("", Some(Signal::HUP), 129),
        ("", Some(Signal::TERM), 143),
    ] {
        let window = started("");
        window.press(key);
        if let Some(signal) = signal {
            kill(process(&window), signal);
        }
        assert_eq!(window.last_status(), status, "{key} {signal:?}");
        window.assert_given_back();
    }
}

#[test]
fn after_a_panic_in_any_thread_which_is_reported() {
    for (dies, key) in [("DIES=1", ""), ("DIES_ITSELF=1", "q")] {
        let window = started(&format!("{dies} RUST_BACKTRACE=0"));
        window.press(key);
        let screen = window.wait_for("invented misfortune");
        assert!(!screen.contains(UP), "{screen}");
        assert_eq!(window.last_status(), 101, "{dies}");
        window.assert_given_back();
    }
}

#[test]
fn while_stopped_by_key_or_from_outside_and_it_comes_back_whole() {
    for from_outside in [false, true] {
        let window = started("");
        if from_outside {
            kill(process(&window), Signal::TSTP);
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
    let window = started("");
    kill(process(&window), Signal::STOP);
    window.wait_for("Stopped");
    window.type_line("clear");
    window.type_line("fg");
    window.wait_for(UP);
    // Keys arrive one by one, so the terminal is in its raw mode again.
    window.press("?");
    window.wait_for("tapewright help, page 1");
    window.press("Escape");
    window.wait_for(UP);
    window.quit();
    window.assert_given_back();
}

#[test]
fn a_signal_ends_it_though_the_terminal_takes_nothing_more() {
    for signal in [Signal::TERM, Signal::HUP, Signal::INT] {
        let window = started("RESTLESS=1");
        let process = process(&window);
        // What lies between fills up.
        window.is_read(false);
        wait_until_blocked(process);
        kill(process, signal);
        assert_ends(process);
    }
}

#[test]
fn after_a_file_that_may_not_grow_any_more() {
    let window = Window::open();
    window.type_line(&format!("(ulimit -f 0; {PROGRAM} practise)"));
    window.wait_for("tone found");
    window.press("b");
    window.wait_for("NOT SAVED");
    window.press("q");
    window.wait_for("q again leaves without");
    window.press("q");
    window.wait_for("could not be saved");
    window.assert_given_back();
}

/// Whoever presses Ctrl-S by mistake stops all that is written.
#[test]
fn a_signal_ends_it_though_what_was_not_saved_cannot_be_told() {
    let window = Window::open();
    let tone = format!("{PROGRAM} tone --seconds 30 -o tone.wav");
    window.type_line(&format!("{tone} >made; clear; echo made"));
    window.wait_for("made");
    window.type_line(&format!(
        "(echo $BASHPID >process; ulimit -f 0; exec {PROGRAM} watch --file tone.wav)"
    ));
    window.wait_for("tone found");
    window.press("b");
    window.wait_for("NOT SAVED");
    window.wait_for("ENDED");
    let process = fs::read_to_string(window.home().join("process")).expect("it is there");
    let process = number(&process);
    let mut options = fs::File::options();
    let line = options.read(true).write(true).open(window.line());
    let line = line.expect("the line of this window");
    tcflow(&line, Flow::OOff).expect("it can be stopped");
    kill(process, Signal::TERM);
    assert_ends(process);
    tcflow(&line, Flow::OOn).expect("it goes on");
}

#[test]
fn a_terminal_that_cannot_place_letters_is_refused_with_a_sentence() {
    let window = Window::open();
    window.type_line(&format!("TERM=dumb {PROGRAM} practise"));
    window.wait_for("needs a terminal that can place letters");
    assert_eq!(window.last_status(), 6);
}

#[test]
fn a_window_that_is_closed_ends_the_program() {
    let window = started("");
    let process = process(&window);
    assert!(is_alive(process));
    drop(window);
    assert_ends(process);
}

#[test]
fn the_screen_follows_the_size_of_the_window() {
    let window = started("");
    window.resize(40, 10);
    window.wait_for("40 by 10");
    window.resize(120, 40);
    window.wait_for("████████████");
    window.quit();
}

#[test]
fn noise_on_standard_error_does_not_tear_the_screen() {
    let window = started("NOISE=1");
    window.press("?");
    window.wait_for("help, page 1");
    window.press("Escape");
    let screen = window.wait_for(UP);
    assert!(!screen.contains("noise of"), "{screen}");
    let log = window.home().join(".local/state/tapewright/screen.log");
    let log = fs::read_to_string(log).expect("the log is there");
    assert!(log.contains("noise of a sound library"));
}

#[test]
fn no_color_asks_for_no_colour_and_keeps_bold() {
    let window = started("NO_COLOR=1");
    window.look(|screen| {
        let (rows, columns) = screen.size();
        let places = (0..rows.get()).flat_map(|y| (0..columns.get()).map(move |x| (y, x)));
        let cells: Vec<_> = places.filter_map(|(y, x)| screen.cell(y, x)).collect();
        let plain = |it: &&vt100::Cell| it.fgcolor() == vt100::Color::Default;
        assert!(cells.iter().all(plain), "a coloured letter");
        assert!(cells.iter().any(|it| it.bold()), "nothing is bold");
    });
}
