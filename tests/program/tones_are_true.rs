//! `tapewright tone` writes what it says: the right frequency and level, as
//! another WAV reader sees them, and never over a file that is there.

use std::f64::consts::TAU;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

#[cfg(unix)]
use crate::support::pipe;

fn tone(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .arg("tone")
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

fn left_channel(path: &Path) -> (hound::WavSpec, Vec<f64>) {
    let mut reader = hound::WavReader::open(path).unwrap();
    let spec = reader.spec();
    let channels = usize::from(spec.channels);
    let scale = match spec.sample_format {
        hound::SampleFormat::Float => 1.0,
        hound::SampleFormat::Int => f64::from(1u32 << (spec.bits_per_sample - 1)),
    };
    let samples: Vec<f64> = match spec.sample_format {
        hound::SampleFormat::Float => reader
            .samples::<f32>()
            .map(|s| f64::from(s.unwrap()))
            .collect(),
        hound::SampleFormat::Int => reader
            .samples::<i32>()
            .map(|s| f64::from(s.unwrap()) / scale)
            .collect(),
    };
    (spec, samples.into_iter().step_by(channels).collect())
}

/// Amplitude of the tone at `hz` and what is left of the samples without it,
/// root mean square, by least squares on whole cycles.
fn amplitude_and_rest(samples: &[f64], hz: f64, rate_hz: f64) -> (f64, f64) {
    let angle = |number: usize| TAU * hz * number as f64 / rate_hz;
    let count = samples.len() as f64;
    let (mut sine, mut cosine) = (0.0, 0.0);
    for (number, sample) in samples.iter().enumerate() {
        sine += sample * angle(number).sin() * 2.0 / count;
        cosine += sample * angle(number).cos() * 2.0 / count;
    }
    let rest = samples.iter().enumerate().map(|(number, sample)| {
        (sample - sine * angle(number).sin() - cosine * angle(number).cos()).powi(2)
    });
    (sine.hypot(cosine), (rest.sum::<f64>() / count).sqrt())
}

#[test]
fn frequency_level_and_format_are_as_asked() {
    let folder = tempfile::tempdir().unwrap();
    // Rest: rounding by 1/√12 of a step; with triangular dither √3 times it.
    let step = |bits: i32| 2f64.powi(1 - bits);
    for (arguments, hz, rate_hz, channels, decibels, rest) in [
        (&["3150"][..], 3150.0, 48_000, 2, -12.0, step(16) * 0.5),
        (
            &["3000", "--bits", "24", "--level", "-6"],
            3000.0,
            48_000,
            2,
            -6.0,
            step(24) * 0.289,
        ),
        (
            &[
                "A4",
                "--concert-pitch",
                "442",
                "--bits",
                "float",
                "--rate",
                "44100",
                "--mono",
            ],
            442.0,
            44_100,
            1,
            -12.0,
            1e-7,
        ),
    ] {
        let common = ["--seconds", "3", "--force", "-o", "t.wav"];
        let output = tone(folder.path(), &[arguments, &common[..]].concat());
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let said = String::from_utf8(output.stdout).unwrap();
        assert!(
            said.contains("headphones") && said.contains("machine under test"),
            "{said}"
        );
        let (spec, samples) = left_channel(&folder.path().join("t.wav"));
        assert_eq!((spec.sample_rate, spec.channels), (rate_hz, channels));
        assert_eq!(samples.len(), 3 * rate_hz as usize);
        // A whole second of the middle is a whole number of cycles.
        let middle = &samples[rate_hz as usize..2 * rate_hz as usize];
        let (amplitude, got_rest) = amplitude_and_rest(middle, hz, f64::from(rate_hz));
        let got = 20.0 * amplitude.log10();
        assert!((got - decibels).abs() < 0.001, "{arguments:?}: {got} dBFS");
        assert!(got_rest < rest * 1.05, "{arguments:?}: {got_rest}");
        // Nothing clicks at the ends.
        assert!(samples[0].abs() < 1e-4 && samples[samples.len() - 1].abs() < 1e-4);
    }
}

#[test]
fn a_file_that_is_there_is_not_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tone-3150Hz.wav");
    fs::write(&path, "mine").unwrap();
    let refused = tone(folder.path(), &["--seconds", "1"]);
    assert_eq!(refused.status.code(), Some(3));
    let said = String::from_utf8(refused.stderr).unwrap();
    assert!(said.contains("--force"), "{said}");
    assert_eq!(fs::read(&path).unwrap(), b"mine");
    let replaced = tone(folder.path(), &["--seconds", "1", "--force"]);
    assert_eq!(replaced.status.code(), Some(0));
    assert!(fs::read(&path).unwrap().starts_with(b"RIFF"));
}

fn names_in(folder: &Path) -> Vec<String> {
    let name = |entry: std::io::Result<fs::DirEntry>| entry.unwrap().file_name();
    let entries = fs::read_dir(folder).unwrap();
    entries.map(|it| name(it).into_string().unwrap()).collect()
}

#[cfg(unix)]
#[test]
fn where_there_is_no_room_the_old_file_stays() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("old.wav");
    fs::write(&path, "mine").unwrap();
    std::os::unix::fs::symlink("old.wav", folder.path().join("link.wav")).unwrap();
    // The system allows 32 KiB a file; with and without its signal.
    for before in ["", "trap '' XFSZ; "] {
        for name in ["old.wav", "link.wav", "new.wav"] {
            let output = Command::new("sh")
                .arg("-c")
                .arg(format!("{before}ulimit -f 64; exec \"$0\" \"$@\""))
                .arg(env!("CARGO_BIN_EXE_tapewright"))
                .args(["tone", "--seconds", "10", "--force", "-o", name])
                .current_dir(folder.path())
                .output()
                .unwrap();
            assert_eq!(output.status.code(), Some(3), "{before}{name}: {output:?}");
            let said = String::from_utf8(output.stderr).unwrap();
            assert!(said.contains(&format!("cannot write {name}")), "{said}");
            assert_eq!(fs::read(&path).unwrap(), b"mine", "{before}{name}");
            let mut names = names_in(folder.path());
            names.sort();
            assert_eq!(names, ["link.wav", "old.wav"], "{before}{name}");
        }
    }
}

#[cfg(unix)]
#[test]
fn what_is_no_regular_file_is_neither_written_nor_removed() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe.wav");
    pipe::make(&pipe);
    // A reader, without which opening would wait.
    let reader = fs::OpenOptions::new().read(true).write(true).open(&pipe);
    let output = tone(
        folder.path(),
        &["--seconds", "1", "--force", "-o", "pipe.wav"],
    );
    assert_eq!(output.status.code(), Some(3), "{output:?}");
    drop(reader);
    assert_eq!(names_in(folder.path()), ["pipe.wav"]);
}

#[cfg(unix)]
#[test]
fn ending_it_early_leaves_nothing_behind() {
    use std::os::unix::process::ExitStatusExt;
    let folder = tempfile::tempdir().unwrap();
    for signal in ["INT", "TERM", "HUP"] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tapewright"))
            .args([
                "tone",
                "--seconds",
                "7200",
                "--bits",
                "24",
                "-o",
                "long.wav",
            ])
            .current_dir(folder.path())
            .spawn()
            .unwrap();
        while names_in(folder.path()).is_empty() {
            assert_eq!(child.try_wait().unwrap(), None, "it ended by itself");
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        let kill = format!("kill -{signal} {}", child.id());
        assert!(
            Command::new("sh")
                .arg("-c")
                .arg(kill)
                .status()
                .unwrap()
                .success()
        );
        let status = child.wait().unwrap();
        assert!(status.signal().is_some(), "{signal}: {status}");
        assert_eq!(names_in(folder.path()), [""; 0], "{signal}");
    }
}

#[test]
fn what_makes_no_sense_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    for (arguments, told) in [
        (&["H9"][..], "is no note"),
        (&["5"], "between 10 and 100000 Hz"),
        (&["--level", "3"], "a level in dBFS"),
        (&["23000"], "too high for 48000 samples"),
        (&["--output", "x"], "--play"),
        (&["--play", "-o", "x.wav"], "cannot be used with"),
        (&["-o", "no/such/folder/x.wav"], "cannot write"),
        (&["--seconds", "100000"], "4 GiB"),
    ] {
        let output = tone(folder.path(), arguments);
        assert!(matches!(output.status.code(), Some(2 | 3)), "{arguments:?}");
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(said.contains(told), "{arguments:?}: {said}");
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}
