//! Ticks on real audio: the program ticks into a sound server, another program
//! records what comes out, and the ticks are counted in that. The copy beside the
//! tape goes the same way.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread;
use std::time::Duration;

use crate::support::environment::in_private_environment;
use crate::support::program::{Answer, program, write_wav};
use crate::support::sound_server::{SoundServer, with_sound_server};
use crate::support::tunes::{Player, RATE_HZ as RATE_OF_TUNES_HZ, tune};
use crate::support::window::Window;

const RATE_HZ: f64 = 48_000.0;

fn sitting(line: &str) -> Window {
    let window = Window::of(80, 24);
    window.run(line);
    window
}

/// The left channel of what the virtual output plays in so many seconds.
fn recorded(server: &SoundServer, seconds: u64) -> Vec<f64> {
    let file = server.folder().join("heard.raw");
    let mut recorder = Command::new("parec")
        .args(["-d", "deck.monitor", "--format=s16le", "--rate=48000"])
        .args(["--channels=2", "--latency-msec=50", "--raw"])
        .arg(&file)
        .stderr(Stdio::null())
        .spawn()
        .expect("parec starts");
    thread::sleep(Duration::from_secs(seconds));
    recorder.kill().expect("it can be ended");
    recorder.wait().expect("it ends");
    let bytes = fs::read(&file).expect("a recording");
    let left = bytes.chunks_exact(4).map(|frame| [frame[0], frame[1]]);
    left.map(|word| f64::from(i16::from_le_bytes(word)) / 32_768.0)
        .collect()
}

/// Starts of the ticks in seconds.
fn ticks(samples: &[f64]) -> Vec<f64> {
    let silence = (0.01 * RATE_HZ) as usize;
    let mut quiet_for = silence;
    let mut starts = Vec::new();
    for (number, sample) in samples.iter().enumerate() {
        if sample.abs() < 1e-3 {
            quiet_for += 1;
            continue;
        }
        if quiet_for >= silence {
            starts.push(number as f64 / RATE_HZ);
        }
        quiet_for = 0;
    }
    starts
}

#[test]
fn a_slow_machine_ticks_singly_out_of_the_output_that_was_named() {
    with_sound_server(&["parec"], |mut server| {
        // This simulated machine is 2.8 % slow.
        let terminal = sitting("practise 3 --ticks --output alsa:default");
        let wait = |seconds, text: &str| {
            let limit = Duration::from_secs(seconds);
            terminal.wait_within(limit, text, |screen| screen.contains(text))
        };
        let first = wait(20, "CAUTION");
        assert!(first.contains("x mute"), "{first}");
        wait(20, "ticks on: slow");
        thread::sleep(Duration::from_secs(4));
        let heard = recorded(&server, 5);
        let starts = ticks(&heard);
        assert!((4..=8).contains(&starts.len()), "{starts:?}");
        let singly = starts.windows(2).all(|pair| pair[1] - pair[0] > 0.5);
        assert!(singly, "{starts:?}");
        let peak = heard.iter().fold(0.0_f64, |high, it| high.max(it.abs()));
        assert!((peak - 0.1).abs() < 0.01, "peak {peak}");

        terminal.press("x");
        wait(10, "ticks muted");
        thread::sleep(Duration::from_millis(500));
        let muted = recorded(&server, 3);
        assert!(muted.len() > 48_000, "nothing was recorded");
        assert_eq!(ticks(&muted), Vec::<f64>::new());

        // The output goes away; the reading does not.
        terminal.press("x");
        wait(10, "ticks on: slow");
        server.kill();
        let lost = wait(20, "ticks LOST");
        assert!(lost.contains("SLOW"), "{lost}");
        server.restart();
        wait(30, "ticks on: slow");
        let again = ticks(&recorded(&server, 4));
        assert!(again.len() >= 2, "{again:?}");
        terminal.quit();
        let end = terminal.screen();
        assert!(end.contains("lowest level"), "{end}");
    });
}

/// The copy, and the same music from 5 s on as a machine plays it 1 % slow.
fn write_music(folder: &Path) {
    let music = tune(11, 1, 60.0);
    let tape = Player::good(0.99, 5.0, 50.0).play(&music);
    for (name, samples) in [("copy.wav", music), ("tape.wav", tape)] {
        write_wav(&folder.join(name), RATE_OF_TUNES_HZ, 1, samples);
    }
}

#[test]
fn the_copy_is_heard_beside_the_tape_until_it_is_muted() {
    with_sound_server(&["parec"], |server| {
        write_music(server.folder());
        let here = server.folder().display();
        let terminal = sitting(&format!(
            "watch --file '{here}/tape.wav' --reference 'recording:{here}/copy.wav' --listen \
             --output alsa:default"
        ));
        let wait = |seconds, text: &str| {
            let limit = Duration::from_secs(seconds);
            terminal.wait_within(limit, text, |screen| screen.contains(text))
        };
        wait(20, "CAUTION");
        let followed = wait(30, "copy on |");
        assert!(followed.contains("in the copy"), "{followed}");
        thread::sleep(Duration::from_secs(1));
        let level = |heard: &[f64]| {
            let sum: f64 = heard.iter().map(|it| it * it).sum();
            (sum / heard.len().max(1) as f64).sqrt()
        };
        // −30 dB of a full-scale sine's 0.707 in its loudest second.
        let heard = level(&recorded(&server, 4));
        assert!((0.004..0.03).contains(&heard), "{heard}");
        terminal.press("x");
        wait(10, "copy muted");
        thread::sleep(Duration::from_millis(500));
        let muted = level(&recorded(&server, 3));
        assert!(muted < 1e-6, "{muted}");
        terminal.quit();
    });
}

#[test]
fn without_an_output_that_is_named_nothing_begins() {
    in_private_environment(&[], "", |_| {
        for (line, told) in [
            ("--ticks", "--output NAME-OR-ID"),
            ("--ticks --output ' '", "--output NAME-OR-ID"),
            ("--output speaker", "--ticks"),
            ("--listen --output x", "--reference recording:FILE"),
            (
                "--listen --reference recording:a.wav",
                "--listen needs --output NAME-OR-ID",
            ),
            ("--ticks=0 --output x", "a level in dBFS between -60 and -6"),
            (
                "--ticks --output x --file a.wav --fast",
                "leave out --ticks or --fast",
            ),
        ] {
            let refused = Answer::of(&mut program(&format!("watch {line}")));
            refused.ends(2).complains(&[told]);
        }
    });
}
