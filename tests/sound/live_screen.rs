//! The whole program on real audio: another program plays a tone into a sound
//! server, `tapewright watch` takes it through the sound system and shows it
//! in a terminal, and the terminal is read.

use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use crate::support::environment::in_private_environment;
use crate::support::sound_server::with_sound_server;
use crate::support::terminal::{Screen, Terminal};

/// 1 % below 3150 Hz: 3150 × 0.99.
const TONE_HZ: f64 = 3118.5;

fn watch(folder: &Path, arguments: &str) -> Terminal {
    let program = env!("CARGO_BIN_EXE_tapewright");
    Terminal::start(folder, &format!("'{program}' watch {arguments}"))
}

/// The reading that the tone must give. A virtual sound card keeps time by
/// the computer's clock, so the second decimal is as far as it goes.
fn reads_one_percent_slow(screen: &Screen) -> bool {
    let figure = screen.large_figure();
    screen.says_beside_figure("SLOW") && figure.is_some_and(|figure| (figure + 1.0).abs() < 0.025)
}

#[test]
fn a_tape_is_read_kept_lost_and_read_again() {
    with_sound_server(&["tmux"], |mut server| {
        let player = server.play_tone(TONE_HZ, 120);
        let record = server.folder().join("record.jsonl");
        let terminal = watch(
            server.folder(),
            &format!(
                "--record '{}' --machine bench --reference 3150",
                record.display()
            ),
        );
        terminal.wait_for(Duration::from_secs(20), "1 % slow", reads_one_percent_slow);
        terminal.wait_for(Duration::from_secs(30), "settled, no gap", |screen| {
            screen.has("settled") && reads_one_percent_slow(screen) && !screen.has("gaps")
        });

        // What is kept lies in the record.
        terminal.press("b");
        terminal.wait_for(Duration::from_secs(60), "kept in the record", |_| {
            std::fs::metadata(&record).is_ok_and(|it| it.len() > 0)
        });
        let kept = std::fs::read_to_string(&record).expect("a record");

        // The sound server crashes.
        let killed = Instant::now();
        server.kill();
        drop(player);
        let lost = terminal.wait_for(Duration::from_secs(5), "the loss", |screen| {
            screen.has("LOST")
        });
        let took = killed.elapsed();
        assert!(took < Duration::from_millis(1500), "lost after {took:?}");
        assert!(lost.has("NOT LIVE"), "{}", lost.0);
        // The sound library complains at every try to get it back; none of
        // it tears the screen.
        thread::sleep(Duration::from_millis(2500));
        let waiting = terminal.screen();
        assert!(waiting.has("LOST"), "{}", waiting.0);
        assert!(!waiting.has("ALSA lib"), "{}", waiting.0);

        // It comes back, and so does the reading; it may be another input that
        // stands behind the default now, so nothing is averaged across.
        server.restart();
        let _player = server.play_tone(TONE_HZ, 120);
        let back = terminal.wait_for(Duration::from_secs(40), "the reading again", |screen| {
            !screen.has("LOST") && screen.has("all starts anew") && reads_one_percent_slow(screen)
        });
        assert!(!back.has("NOT LIVE") && !back.has("gaps"), "{}", back.0);

        // Nothing that was kept has changed, and the terminal is given back.
        terminal.press("q");
        terminal.wait_for(Duration::from_secs(10), "the end", |screen| {
            screen.has("ended with 0")
        });
        let now = std::fs::read_to_string(&record).expect("a record");
        assert_eq!(now, kept);
        assert_eq!(now.lines().count(), 1);
        let snapshot: serde_json::Value = serde_json::from_str(now.trim()).expect("JSON");
        let deviation = find(&snapshot, "deviation").expect("a deviation");
        assert!((deviation + 1.0).abs() < 0.02, "{deviation}");
    });
}

/// The first number of this name, wherever it stands.
fn find(value: &serde_json::Value, name: &str) -> Option<f64> {
    let object = value.as_object()?;
    object
        .get(name)
        .and_then(serde_json::Value::as_f64)
        .or_else(|| object.values().find_map(|inner| find(inner, name)))
}

#[test]
fn an_unknown_input_is_an_error_in_a_sentence() {
    with_sound_server(&["tmux"], |server| {
        let terminal = watch(server.folder(), "--input 'no such input'");
        let screen = terminal.wait_for(Duration::from_secs(10), "the end", |screen| {
            screen.has("ended with")
        });
        assert!(screen.has("ended with 5"), "{}", screen.0);
        assert!(screen.has("no such input"), "{}", screen.0);
        assert!(screen.has("alsa:default"), "{}", screen.0);
        // One sentence, however the terminal wraps it, and no noise.
        assert_eq!(screen.0.matches("tapewright:").count(), 1, "{}", screen.0);
        assert!(!screen.has("ALSA lib"), "{}", screen.0);
    });
}

#[test]
fn a_computer_without_inputs_rehearses_and_says_so() {
    // A default that leads to a card that is not there.
    let nowhere = "</usr/share/alsa/alsa.conf>\npcm.!default { type hw card 31 }\n";
    in_private_environment(&["tmux"], nowhere, |folder| {
        if !tapewright::audio::devices::list().inputs.is_empty() {
            eprintln!("SKIPPED: this computer has sound hardware");
            return;
        }
        let terminal = watch(folder, "");
        terminal.wait_for(Duration::from_secs(10), "a rehearsal", |screen| {
            screen.has("SIMULATED") && screen.has("no sound input")
        });
        terminal.press("q");
        terminal.wait_for(Duration::from_secs(10), "the end", |screen| {
            screen.has("ended with 0")
        });
    });
}
