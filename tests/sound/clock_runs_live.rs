//! `tapewright clock` and what becomes of its figure, on a private sound
//! server: real capture, the real program, no sound card. The server's
//! virtual input is paced by a timer of the system's own clock, so its error
//! is small, and known to be.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use crate::support::environment::within;
use crate::support::program::{Answer, PROGRAM, program};
use crate::support::sound_server::with_sound_server;
use crate::support::window::Window;
use tapewright::records::{Against, ClockFigure, Clocks};
use tapewright::units::{Ppm, Seconds};

fn clocks_path(folder: &Path) -> PathBuf {
    folder.join("clocks.jsonl")
}

fn clock(folder: &Path, line: &str) -> Answer {
    Answer::of(program(&format!("clock {line} --data")).arg(folder))
}

fn kept(folder: &Path) -> Vec<ClockFigure> {
    let (clocks, warnings) = Clocks::open(clocks_path(folder)).expect("readable");
    assert!(warnings.is_empty(), "{warnings:?}");
    clocks.list().to_vec()
}

#[test]
fn a_run_against_the_system_clock_covers_the_truth_or_says_why_not() {
    with_sound_server(&[], |server| {
        // A timer of a busy machine is a poor clock: any ± of the timing will
        // do. The server rounds the length of each block down to a
        // microsecond, which makes its clock fast by up to some 40 ppm; the
        // ±50 ppm of a system clock nobody disciplines cover that.
        let options = "--minutes 1 --wanted 1000 --system-clock-uncertainty 50";
        let said = clock(server.folder(), options);
        let kept = kept(server.folder());
        match said.status {
            Some(0) => {
                let [figure] = &kept[..] else {
                    panic!("{kept:?}");
                };
                assert_eq!(figure.input, "alsa:default");
                let covers = figure.error.0.abs() <= figure.uncertainty.0;
                assert!(covers, "{figure:?}\n{}", said.text);
                said.says(&["Kept for alsa:default"]);
            }
            Some(5) => {
                assert!(kept.is_empty(), "{kept:?}");
                let sentence = said.errors;
                // No other refusal is the busy machine's fault.
                let busy = ["too jittery", "the samples fell"];
                assert!(busy.iter().any(|it| sentence.contains(it)), "{sentence}");
                assert!(sentence.contains("; "), "what to do: {sentence}");
            }
            _ => panic!("{said:?}"),
        }
    });
}

#[test]
fn a_live_tone_is_compared_and_kept() {
    with_sound_server(&[], |server| {
        let _player = server.play_tone(3150.0, 60);
        // Begins with the tone: what comes before is no part of it.
        std::thread::sleep(Duration::from_secs(1));
        let tone = "--tone 3150 --tone-uncertainty 1 --minutes 0.3";
        clock(server.folder(), tone).ends(0);
        let kept = kept(server.folder());
        let [figure] = &kept[..] else {
            panic!("{kept:?}");
        };
        // The samples pass the server unchanged.
        assert!(figure.error.0.abs() < 1.0, "{figure:?}");
        assert!((1.0..10.0).contains(&figure.uncertainty.0), "{figure:?}");
    });
}

#[test]
fn a_run_that_is_ended_early_says_that_it_was_too_short() {
    with_sound_server(&[], |server| {
        let window = Window::of(100, 24);
        let clocks = clocks_path(server.folder());
        window.run(&format!("clock --data {}", server.folder().display()));
        window.wait_for("nothing to say yet");
        window.press("C-c");
        let screen = window.wait_for("too short to say");
        assert!(screen.contains("ended early"), "{screen}");
        assert_eq!(window.last_status(), 5);
        window.assert_given_back();
        assert!(!clocks.exists());
    });
}

#[test]
fn an_input_that_goes_away_ends_the_run() {
    with_sound_server(&[], |mut server| {
        let mut command = program("clock --data");
        command.arg(server.folder());
        let piped = command.stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut run = piped.spawn().expect("the program runs");
        std::thread::sleep(Duration::from_secs(3));
        server.kill();
        within(Duration::from_secs(10), "the run ends", || {
            run.try_wait().expect("a status").is_some()
        });
        let said = Answer::from(run.wait_with_output().expect("a status"));
        said.ends(5).complains(&["went away"]);
    });
}

#[test]
fn without_any_input_only_what_the_command_has_is_offered() {
    with_sound_server(&[], |mut server| {
        server.kill();
        let said = clock(server.folder(), "");
        said.ends(5).complains(&["no sound input", "--file"]);
        said.never_says(&["practise"]);
    });
}

#[test]
fn watch_applies_what_is_kept_unless_the_command_line_says_otherwise() {
    with_sound_server(&[], |server| {
        let _player = server.play_tone(3150.0, 120);
        let path = clocks_path(server.folder());
        let (mut clocks, _) = Clocks::open(&path).expect("a new file");
        // 2000 ppm are 0.2 %: 3150 Hz become 3156.3.
        let figure = ClockFigure {
            input: "alsa:default".to_owned(),
            name: "Default Audio Device".to_owned(),
            rate_hz: 48_000,
            error: Ppm(2000.0),
            uncertainty: Ppm(12.0),
            taken_at: "2026-11-20T12:00:00Z".parse().expect("a time"),
            against: Against::SystemClock {
                uncertainty: Ppm(5.0),
                disciplined: true,
            },
            over: Seconds(300.0),
        };
        clocks.keep(figure).expect("room");
        let window = Window::of(100, 30);
        let watch = format!("{PROGRAM} watch --data {}", server.folder().display());

        window.type_line(&watch);
        let screen = window.wait_for("3156.3 Hz heard");
        let measured = "sample clock as measured on 2026-11-20";
        assert!(screen.contains(measured), "{screen}");
        // 12 and 5 ppm in quadrature.
        window.wait_for("clock ±13 ppm");
        window.quit();

        window.type_line("clear");
        window.type_line(&format!("{watch} --clock 0"));
        let screen = window.wait_for("3150.0 Hz heard");
        assert!(!screen.contains("as measured on"), "{screen}");
        window.quit();

        fs::write(&path, "a letter\n").expect("room");
        window.type_line("clear");
        window.type_line(&watch);
        window.wait_for("holds no clock figures");
        assert_eq!(window.last_status(), 3);
    });
}
