//! The whole program on real audio: another program plays a tone into a sound
//! server, `tapewright watch` takes it through the sound system and shows it
//! in a terminal, and the terminal is read.

use std::thread;
use std::time::{Duration, Instant};

use crate::support::environment::{NOWHERE, in_private_environment};
use crate::support::jobs::{job_files, only_job};
use crate::support::large_letters::{large_figure, says_beside_figure};
use crate::support::sound_server::with_sound_server;
use crate::support::window::Window;

/// 1 % below 3150 Hz: 3150 × 0.99.
const TONE_HZ: f64 = 3118.5;

fn watch(arguments: &str) -> Window {
    let window = Window::of(80, 24);
    window.run(&format!("watch {arguments}"));
    window
}

/// The reading that the tone must give. A virtual sound card keeps time by
/// the computer's clock, so the second decimal is as far as it goes.
fn reads_one_percent_slow(screen: &str) -> bool {
    let figure = large_figure(screen);
    let near = figure.is_some_and(|figure| (figure + 1.0).abs() < 0.025);
    near && says_beside_figure(screen, "SLOW")
}

#[test]
fn a_tape_is_read_kept_lost_and_read_again() {
    with_sound_server(&[], |mut server| {
        let player = server.play_tone(TONE_HZ, 120);
        let jobs = server.folder().join("jobs");
        let terminal = watch(&format!(
            "--data '{}' --machine bench --reference 3150",
            server.folder().display()
        ));
        let within = |seconds, what, is_so: &dyn Fn(&str) -> bool| {
            terminal.wait_within(Duration::from_secs(seconds), what, is_so)
        };
        within(20, "1 % slow", &reads_one_percent_slow);
        within(30, "settled, no gap", &|it| {
            it.contains("settled") && reads_one_percent_slow(it) && !it.contains("gaps")
        });

        // What is kept lies in the job.
        terminal.press("b");
        within(60, "kept in the job", &|it| it.contains("saved in job"));
        let file = job_files(&jobs).remove(0);
        let kept = std::fs::read(&file).expect("a job");

        // The sound server crashes.
        let killed = Instant::now();
        server.kill();
        drop(player);
        let lost = within(5, "the loss", &|it| it.contains("LOST"));
        let took = killed.elapsed();
        assert!(took < Duration::from_millis(1500), "lost after {took:?}");
        assert!(lost.contains("NOT LIVE"), "{lost}");
        // The sound library complains at every try to get it back; none of
        // it tears the screen.
        thread::sleep(Duration::from_millis(2500));
        let waiting = terminal.screen();
        assert!(waiting.contains("LOST"), "{waiting}");
        assert!(!waiting.contains("ALSA lib"), "{waiting}");

        // It comes back, and so does the reading; it may be another input that
        // stands behind the default now, so nothing is averaged across.
        server.restart();
        let _player = server.play_tone(TONE_HZ, 120);
        let back = within(40, "the reading again", &|it| {
            !it.contains("LOST") && it.contains("all starts anew") && reads_one_percent_slow(it)
        });
        assert!(
            !back.contains("NOT LIVE") && !back.contains("gaps"),
            "{back}"
        );

        // Nothing that was kept has changed, and the terminal is given back.
        terminal.quit();
        assert_eq!(std::fs::read(&file).expect("a job"), kept);
        let kept = only_job(&jobs);
        assert_eq!(kept.machine(), Some("bench"));
        assert_eq!(kept.snapshots.len(), 1);
        let speed = kept.snapshots[0].measurement.speed.expect("a speed");
        let deviation = speed.deviation.0;
        assert!((deviation + 1.0).abs() < 0.02, "{deviation}");
    });
}

#[test]
fn an_unknown_input_is_an_error_in_a_sentence() {
    with_sound_server(&[], |_server| {
        let terminal = watch("--input 'no such input'");
        terminal.wait_for("tapewright: ");
        assert_eq!(terminal.last_status(), 5);
        let screen = terminal.screen();
        assert!(screen.contains("no such input"), "{screen}");
        assert!(screen.contains("alsa:default"), "{screen}");
        // One sentence, however the terminal wraps it, and no noise.
        assert_eq!(screen.matches("tapewright:").count(), 1, "{screen}");
        assert!(!screen.contains("ALSA lib"), "{screen}");
        assert!(!screen.contains("SIMULATED"), "{screen}");
    });
}

#[test]
fn a_computer_without_inputs_rehearses_and_says_so() {
    in_private_environment(&[], NOWHERE, |_| {
        if !tapewright::audio::devices::list().inputs.is_empty() {
            eprintln!("SKIPPED: this computer has sound hardware");
            return;
        }
        let terminal = watch("");
        let said = |screen: &str| screen.contains("SIMULATED") && screen.contains("no sound input");
        terminal.wait_until("SIMULATED, no sound input", said);
        terminal.quit();
    });
}

#[test]
fn large_figures_are_read() {
    let screen = "title\n\
         \x20               ██      ██████ ██████  SLOW\n\
         \x20             ████      ██  ██     ██\n\
         \x20      ██████   ██      ██  ██ ██████\n\
         \x20               ██      ██  ██ ██\n\
         \x20             ██████ ██ ██████ ██████ %\n\
         L ████████████████████│· -6.0 dB  FAST\n";
    assert_eq!(large_figure(screen), Some(-1.02));
    assert!(says_beside_figure(screen, "SLOW"));
    assert!(!says_beside_figure(screen, "FAST"));
    assert_eq!(large_figure("no figure ██ ██\n"), None);
}

#[test]
fn large_words_are_read() {
    let screen = "██████       █████ ██   █████ ██   ██\n\
         ██  ██       ██    ██   ██ ██ ██   ██\n\
         ██  ██       █████ ██   ██ ██ ██ █ ██\n\
         ██  ██          ██ ██   ██ ██ ███ ███\n\
         ██████ %     █████ ████ █████ ██   ██\n";
    assert!(says_beside_figure(screen, "SLOW"));
    assert!(!says_beside_figure(screen, "FAST"));
}
