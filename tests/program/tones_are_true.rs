//! `tapewright tone` writes what it says: the right frequency and level, as
//! another WAV reader sees them, and never over a file that is there.

use std::f64::consts::TAU;
use std::fs;
use std::path::Path;
use std::process::Command;

use crate::support::program::{Answer, Folder, PROGRAM};

fn left_channel(path: &Path) -> (hound::WavSpec, Vec<f64>) {
    let mut reader = hound::WavReader::open(path).unwrap();
    let spec = reader.spec();
    let samples: Vec<f64> = match spec.sample_format {
        hound::SampleFormat::Float => {
            let samples = reader.samples::<f32>();
            samples.map(|it| f64::from(it.unwrap())).collect()
        }
        hound::SampleFormat::Int => {
            let scale = f64::from(1u32 << (spec.bits_per_sample - 1));
            let samples = reader.samples::<i32>();
            samples.map(|it| f64::from(it.unwrap()) / scale).collect()
        }
    };
    let left = samples.into_iter().step_by(usize::from(spec.channels));
    (spec, left.collect())
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
    let folder = Folder::new();
    // Rest: rounding by 1/√12 of a step; with triangular dither √3 times it.
    let step = |bits: i32| 2f64.powi(1 - bits);
    let a4 = "A4@442 --bits float --rate 44100 --mono";
    for (asked, hz, (rate_hz, channels), decibels, rest) in [
        ("3150", 3150.0, (48_000, 2), -12.0, step(16) * 0.5),
        (
            "3000 --bits 24 --level -6",
            3000.0,
            (48_000, 2),
            -6.0,
            step(24) * 0.289,
        ),
        (a4, 442.0, (44_100, 1), -12.0, 1e-7),
    ] {
        let made = folder.run(&format!("tone {asked} --seconds 3 --force -o t.wav"));
        made.ends(0).says(&["headphones", "machine under test"]);
        let (spec, samples) = left_channel(&folder.path("t.wav"));
        assert_eq!((spec.sample_rate, spec.channels), (rate_hz, channels));
        assert_eq!(samples.len(), 3 * rate_hz as usize);
        // A whole second of the middle is a whole number of cycles.
        let middle = &samples[rate_hz as usize..2 * rate_hz as usize];
        let (amplitude, got_rest) = amplitude_and_rest(middle, hz, f64::from(rate_hz));
        let got = 20.0 * amplitude.log10();
        assert!((got - decibels).abs() < 0.001, "{asked}: {got} dBFS");
        assert!(got_rest < rest * 1.05, "{asked}: {got_rest}");
        // Nothing clicks at the ends.
        assert!(samples[0].abs() < 1e-4 && samples[samples.len() - 1].abs() < 1e-4);
    }
}

#[test]
fn a_file_that_is_there_is_not_replaced() {
    let folder = Folder::new();
    let path = folder.with("tone-3150Hz.wav", "mine");
    folder
        .run("tone --seconds 1")
        .ends(3)
        .complains(&["--force"]);
    assert_eq!(fs::read(&path).unwrap(), b"mine");
    folder.run("tone --seconds 1 --force").ends(0);
    assert!(fs::read(&path).unwrap().starts_with(b"RIFF"));
}

#[cfg(unix)]
#[test]
fn where_there_is_no_room_the_old_file_stays() {
    let folder = Folder::new();
    let path = folder.with("old.wav", "mine");
    std::os::unix::fs::symlink("old.wav", folder.path("link.wav")).unwrap();
    // The system allows 32 KiB a file; with and without its signal.
    for before in ["", "trap '' XFSZ; "] {
        for name in ["old.wav", "link.wav", "new.wav"] {
            let tone = format!("exec '{PROGRAM}' tone --seconds 10 --force -o {name}");
            let mut limited = Command::new("sh");
            limited
                .arg("-c")
                .arg(format!("{before}ulimit -f 64; {tone}"));
            folder.settle(&mut limited);
            let told = format!("cannot write {name}");
            Answer::of(&mut limited).ends(3).complains(&[&told]);
            assert_eq!(fs::read(&path).unwrap(), b"mine", "{before}{name}");
            assert_eq!(folder.names(), ["link.wav", "old.wav"], "{before}{name}");
        }
    }
}

#[cfg(unix)]
#[test]
fn what_is_no_regular_file_is_neither_written_nor_removed() {
    let folder = Folder::new();
    let pipe = folder.pipe("pipe.wav");
    // A reader, without which opening would wait.
    let reader = fs::OpenOptions::new().read(true).write(true).open(&pipe);
    folder.run("tone --seconds 1 --force -o pipe.wav").ends(3);
    drop(reader);
    assert_eq!(folder.names(), ["pipe.wav"]);
}

#[cfg(unix)]
#[test]
fn ending_it_early_leaves_nothing_behind() {
    use std::os::unix::process::ExitStatusExt;
    let folder = Folder::new();
    for signal in ["-INT", "-TERM", "-HUP"] {
        let mut long = folder.command("tone --seconds 7200 --bits 24 -o long.wav");
        let mut child = long.spawn().unwrap();
        while folder.names().is_empty() {
            assert_eq!(child.try_wait().unwrap(), None, "it ended by itself");
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        let id = child.id().to_string();
        let sent = Command::new("kill").args([signal, &id]).status();
        assert!(sent.unwrap().success());
        let status = child.wait().unwrap();
        assert!(status.signal().is_some(), "{signal}: {status}");
        assert_eq!(folder.names(), [""; 0], "{signal}");
    }
}

#[test]
fn what_makes_no_sense_is_refused() {
    let folder = Folder::new();
    for (asked, told) in [
        ("H9", "is no note"),
        ("5", "between 10 and 100000 Hz"),
        ("--level 3", "a level in dBFS"),
        ("23000", "too high for 48000 samples"),
        ("--output x", "--play"),
        ("--play -o x.wav", "cannot be used with"),
        ("-o no/such/folder/x.wav", "cannot write"),
        ("--seconds 100000", "4 GiB"),
    ] {
        let answer = folder.run(&format!("tone {asked}"));
        assert!(matches!(answer.status, Some(2 | 3)), "{asked}");
        answer.complains(&[told]);
    }
    assert_eq!(folder.names(), [""; 0]);
}
