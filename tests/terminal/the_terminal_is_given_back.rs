//! Whatever ends or interrupts the screen, the terminal is given back.
//!
//! The screen runs in a real terminal (tmux) with an unmoving state, inside
//! this same test program: see `inside`.

use std::time::{Duration, Instant};
use std::{env, thread};

use crate::support::program::PROGRAM;
use crate::support::tmux::{PROMPT, Tmux};
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
fn started(variables: &str) -> Option<Tmux> {
    let tmux = Tmux::open()?;
    let this = env::current_exe().expect("this program has a name");
    tmux.type_line("clear");
    tmux.type_line(&format!(
        "env {variables} {} --ignored --exact the_terminal_is_given_back::inside --nocapture --quiet",
        this.display()
    ));
    tmux.wait_for(UP);
    assert_eq!(tmux.figure("alternate_on"), "1");
    assert_eq!(tmux.figure("cursor_flag"), "0");
    Some(tmux)
}

/// The process that runs the screen, as it says itself.
fn process(tmux: &Tmux) -> String {
    let screen = tmux.wait_for("process ");
    let after = screen.split_once("process ").expect("just seen").1;
    after.chars().take_while(char::is_ascii_digit).collect()
}

fn send_signal(tmux: &Tmux, signal: &str) {
    kill(signal, &process(tmux));
}

fn kill(signal: &str, process: &str) {
    let sent = std::process::Command::new("kill")
        .args([signal, process])
        .status()
        .expect("kill runs");
    assert!(sent.success());
}

fn ends_within(process: &str, at_most: Duration) -> bool {
    let alive = || {
        let asked = std::process::Command::new("kill")
            .args(["-0", process])
            .output();
        asked.expect("kill runs").status.success()
    };
    let begun = Instant::now();
    while alive() {
        if begun.elapsed() >= at_most {
            return false;
        }
        thread::sleep(Duration::from_millis(20));
    }
    true
}

/// Waits until the thread that draws is held up by what it writes: until the
/// characters that it has written grow no more.
fn wait_until_blocked(process: &str) {
    let written = || {
        let told = std::fs::read_to_string(format!("/proc/{process}/io")).expect("it runs");
        let line = told.lines().find(|line| line.starts_with("wchar"));
        line.expect("the kernel counts").to_owned()
    };
    let begun = Instant::now();
    let (mut last, mut since) = (written(), Instant::now());
    while since.elapsed() < Duration::from_secs(2) {
        assert!(begun.elapsed() < Duration::from_secs(60), "never held up");
        thread::sleep(Duration::from_millis(100));
        let now = written();
        if now != last {
            (last, since) = (now, Instant::now());
        }
    }
}

/// Not a test of its own: what runs inside the terminal.
/// Nothing happens outside.
struct Nothing {
    restless: bool,
}

impl Outside for Nothing {
    fn news(&mut self) -> Vec<Event> {
        Vec::new()
    }

    /// Another screen at every look, if so much is to be written.
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

#[test]
#[ignore = "is started by the other tests, in a terminal of their own"]
fn inside() {
    let mut state = ScreenState::new(Setup {
        look: Look::new(false, |name| env::var(name).ok()),
        kind: SourceKind::Input,
        conditions: Conditions::default(),
        tolerance: MachineClass::Deck.tolerance(),
        reference: Reference::Tone(Hertz(3150.0)),
        tape: None,
        cards: Vec::new(),
        machine: None,
        runs: Vec::new(),
        message: Some(format!("process {}", std::process::id())),
    });
    let mut terminal = Terminal::enter().expect("a terminal");
    if env::var_os("DIES").is_some() {
        thread::spawn(|| {
            thread::sleep(Duration::from_millis(500));
            panic!("invented misfortune");
        });
    }
    if env::var_os("NOISE").is_some() {
        thread::spawn(|| {
            loop {
                eprintln!("noise of a sound library");
                thread::sleep(Duration::from_millis(20));
            }
        });
    }
    let restless = env::var_os("RESTLESS").is_some();
    let mut outside = Nothing { restless };
    let ending = screen::run(&mut terminal, &mut state, &mut outside);
    let dies = env::var_os("DIES_ITSELF").is_some();
    assert!(!dies, "invented misfortune");
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
fn after_quitting() {
    let Some(tmux) = started("") else { return };
    tmux.quit();
    tmux.assert_given_back();
}

#[test]
fn after_control_c() {
    let Some(tmux) = started("") else { return };
    tmux.press("C-c");
    // 128 + SIGINT, which is 2 (POSIX).
    assert_eq!(tmux.last_status(), 130);
    tmux.assert_given_back();
}

#[test]
fn after_signals_that_end() {
    // 128 + SIGHUP 1, SIGTERM 15 (POSIX).
    for (signal, status) in [("-HUP", 129), ("-TERM", 143)] {
        let Some(tmux) = started("") else { return };
        send_signal(&tmux, signal);
        assert_eq!(tmux.last_status(), status, "{signal}");
        tmux.assert_given_back();
    }
}

#[test]
fn after_a_panic_in_another_thread_which_is_reported() {
    let Some(tmux) = started("DIES=1 RUST_BACKTRACE=0") else {
        return;
    };
    let screen = tmux.wait_for("invented misfortune");
    assert!(!screen.contains(UP), "{screen}");
    assert_eq!(tmux.last_status(), 101);
    tmux.assert_given_back();
}

#[test]
fn after_a_panic_in_the_drawing_thread_which_is_reported() {
    let Some(tmux) = started("DIES_ITSELF=1 RUST_BACKTRACE=0") else {
        return;
    };
    tmux.press("q");
    tmux.wait_for("invented misfortune");
    assert_eq!(tmux.last_status(), 101);
    tmux.assert_given_back();
}

/// It is stopped and lets the terminal go; the screen when it goes on.
fn comes_back(tmux: &Tmux) -> String {
    tmux.wait_for("Stopped");
    tmux.wait_until("a prompt", |screen| screen.trim_end().ends_with(PROMPT));
    tmux.assert_given_back();
    tmux.type_line("fg");
    let screen = tmux.wait_for(UP);
    assert_eq!(tmux.figure("alternate_on"), "1");
    screen
}

#[test]
fn while_suspended_and_it_comes_back_whole() {
    let Some(tmux) = started("") else { return };
    tmux.press("C-z");
    let screen = comes_back(&tmux);
    assert!(
        screen.contains("tapewright") && !screen.contains("Stopped"),
        "{screen}"
    );
    tmux.quit();
    tmux.assert_given_back();
}

#[test]
fn while_stopped_from_outside_as_by_the_key() {
    let Some(tmux) = started("") else { return };
    send_signal(&tmux, "-TSTP");
    comes_back(&tmux);
    tmux.quit();
    tmux.assert_given_back();
}

#[test]
fn a_signal_ends_it_though_the_terminal_takes_nothing_more() {
    for signal in ["-TERM", "-HUP", "-INT"] {
        let Some(tmux) = started("RESTLESS=1") else {
            return;
        };
        let process = process(&tmux);
        // Whoever reads what is drawn stops; what lies between fills up.
        let reader = tmux.figure("pid");
        kill("-STOP", &reader);
        wait_until_blocked(&process);
        kill(signal, &process);
        let ended = ends_within(&process, Duration::from_secs(20));
        kill("-CONT", &reader);
        assert!(ended, "{signal}: process {process} lives on");
    }
}

#[test]
fn after_a_file_that_may_not_grow_any_more() {
    let Some(tmux) = Tmux::open() else { return };
    tmux.type_line(&format!("(ulimit -f 0; {PROGRAM} practise)"));
    tmux.wait_for("tone found");
    tmux.press("b");
    tmux.wait_for("NOT SAVED");
    tmux.press("q");
    tmux.wait_for("q again leaves without");
    tmux.press("q");
    tmux.wait_for("could not be saved");
    tmux.assert_given_back();
}

/// Whoever presses Ctrl-S by mistake stops all that is written.
#[test]
fn a_signal_ends_it_though_what_was_not_saved_cannot_be_told() {
    let Some(tmux) = Tmux::open() else { return };
    let tone = format!("{PROGRAM} tone --seconds 30 -o tone.wav");
    tmux.type_line(&format!("cd; {tone} >made; clear; echo made"));
    tmux.wait_for("made");
    tmux.type_line(&format!(
        "(echo $BASHPID >process; ulimit -f 0; exec {PROGRAM} watch --file tone.wav)"
    ));
    tmux.wait_for("tone found");
    tmux.press("b");
    tmux.wait_for("NOT SAVED");
    tmux.wait_for("ENDED");
    let process = std::fs::read_to_string(tmux.home().join("process")).expect("it is there");
    let process = process.trim();
    let mut options = std::fs::File::options();
    let line = options.read(true).write(true).open(tmux.figure("pane_tty"));
    let line = line.expect("the line of this window");
    rustix::termios::tcflow(&line, rustix::termios::Action::OOff).expect("it can be stopped");
    kill("-TERM", process);
    let ended = ends_within(process, Duration::from_secs(20));
    rustix::termios::tcflow(&line, rustix::termios::Action::OOn).expect("it goes on");
    assert!(ended, "process {process} lives on");
}

#[test]
fn a_terminal_that_cannot_place_letters_is_refused_with_a_sentence() {
    let Some(tmux) = Tmux::open() else { return };
    tmux.type_line(&format!("TERM=dumb {PROGRAM} practise"));
    tmux.wait_for("needs a terminal that can place letters");
    assert_eq!(tmux.last_status(), 6);
}

#[test]
fn and_taken_again_after_a_stop_from_outside() {
    let Some(tmux) = started("") else { return };
    let process = process(&tmux);
    send_signal(&tmux, "-STOP");
    tmux.wait_for("Stopped");
    tmux.type_line("clear");
    tmux.type_line("fg");
    tmux.wait_for(UP);
    // Keys arrive one by one, so the terminal is in its raw mode again.
    tmux.press("?");
    tmux.wait_for("tapewright help, page 1");
    tmux.press("Escape");
    assert!(!process.is_empty());
    tmux.wait_for(UP);
    tmux.quit();
    tmux.assert_given_back();
}

#[test]
fn a_window_that_is_closed_ends_the_program() {
    let Some(tmux) = started("") else { return };
    let process = process(&tmux);
    assert!(!ends_within(&process, Duration::ZERO));
    drop(tmux);
    let ended = ends_within(&process, Duration::from_secs(20));
    assert!(ended, "process {process} lives on");
}

#[test]
fn the_screen_follows_the_size_of_the_window() {
    let Some(tmux) = started("") else { return };
    tmux.resize(40, 10);
    tmux.wait_for("40 by 10");
    tmux.resize(120, 40);
    tmux.wait_until("large digits", |screen| screen.contains("████████████"));
    tmux.quit();
}

#[test]
fn noise_on_standard_error_does_not_tear_the_screen() {
    let Some(tmux) = started("NOISE=1") else {
        return;
    };
    tmux.press("?");
    tmux.wait_for("help, page 1");
    tmux.press("Escape");
    let screen = tmux.wait_for(UP);
    assert!(!screen.contains("noise of"), "{screen}");
    let log = tmux.home().join(".local/state/tapewright/screen.log");
    let log = std::fs::read_to_string(log).expect("the log is there");
    assert!(log.contains("noise of a sound library"));
}

#[test]
fn no_color_asks_for_no_colour_and_keeps_bold() {
    let Some(tmux) = started("NO_COLOR=1") else {
        return;
    };
    let screen = tmux.screen_with_styles();
    assert!(screen.contains("\u{1b}[1m"), "{screen:?}");
    // SGR 30 to 37 and 90 to 97 are colours of letters (ECMA-48, and common
    // practice for the bright ones).
    for colour in (30..38).chain(90..98) {
        for end in ["m", ";"] {
            let sequence = format!("\u{1b}[{colour}{end}");
            assert!(!screen.contains(&sequence), "{screen:?}");
        }
    }
}
