//! Clicks beside a passage, a speed that moves along the marks, silence,
//! lengths that cannot be and copies that cannot be used: none of them makes a
//! wrong figure, and each is told.

use crate::support::program::{Folder, deviation, has, number};
use crate::support::timed_sounds::{Content, Fade, Machine, Marks, passage, seeded};

const RATE: u32 = 24_000;

fn machine() -> Machine {
    Machine {
        rate_hz: f64::from(RATE),
        ..Machine::new(50.0)
    }
}

/// A piece of 24 s with 4 s of silence before and after it.
fn piece() -> Vec<f32> {
    let mut chance = seeded(21);
    let tape = passage(Content::Music, 24.0, Fade::Cosine(0.01), &mut chance);
    machine().play(&tape, 4.0, 32.0, &mut chance)
}

/// A loud crack at a moment.
fn crack(samples: &mut [f32], at_s: f64, length_s: f64) {
    let at = |seconds: f64| (seconds * f64::from(RATE)) as usize;
    let mut chance = seeded(22);
    for sample in &mut samples[at(at_s)..at(at_s + length_s)] {
        *sample += 0.3 * chance.noise() as f32;
    }
}

#[test]
fn a_click_before_or_after_a_passage_is_no_part_of_it() {
    let folder = Folder::new();
    for clicks in [
        &[(2.0, 0.002)][..],
        &[(30.0, 0.002)],
        &[(2.0, 0.06), (30.0, 0.002)],
        // A switch and what it starts.
        &[(1.0, 0.002), (2.0, 0.03)],
    ] {
        let mut samples = piece();
        for (at_s, length_s) in clicks {
            crack(&mut samples, *at_s, *length_s);
        }
        folder.write("a.wav", RATE, &[&samples]);
        let object = folder.measured("--reference passage:24 a.wav");
        let limit = number(&object["speed"]["uncertainty_percent"]);
        assert!(deviation(&object).abs() < limit, "{clicks:?}: {object}");
        assert!(limit < 0.1, "{clicks:?}: {limit}");
        assert!(has(&object, "reference_ambiguous"), "{clicks:?}");
    }
}

/// Marks a second apart whose speed goes up by so many percent half way.
fn stepped(percent: f64) -> Vec<f32> {
    let marks = Marks::row(1.0, 61);
    let step = 1.0 + percent / 100.0;
    let place = |t: f64| t.min(30.0) + step * (t - 30.0).max(0.0);
    machine().play_with(|t| marks.sample(place(t)), 61.5, &mut seeded(23))
}

#[test]
fn a_speed_that_moves_along_the_marks_is_named() {
    let folder = Folder::new();
    for (percent, says) in [
        (2.0, ": 0.00 % before, +2.00 % after"),
        (-0.5, ": 0.00 % before, -0.50 % after"),
    ] {
        folder.write("a.wav", RATE, &[&stepped(percent)]);
        let object = folder.measured("--reference marks:1 a.wav");
        assert!(has(&object, "speed_moved"), "{object}");
        let text = object["cautions"].to_string();
        assert!(text.contains(says), "{percent}: {text}");
        let limit = number(&object["speed"]["uncertainty_percent"]);
        let off = deviation(&object) - percent / 2.0;
        assert!(off.abs() < limit, "{off}");
        folder
            .run("read --reference=marks:1 a.wav")
            .says(&["MOVED"]);
    }
    folder.write("a.wav", RATE, &[&stepped(0.0)]);
    let object = folder.measured("--reference marks:1 a.wav");
    assert!(!has(&object, "speed_moved"), "{object}");
}

#[test]
fn silence_is_called_silence_whatever_was_to_be_heard() {
    let folder = Folder::new();
    folder.write("a.wav", RATE, &[&vec![0.0; 10 * RATE as usize]]);
    for reference in ["tone:3150", "tone:auto", "note:A4", "passage:20", "marks:1"] {
        let read = folder.read(&format!("--reference {reference} a.wav"));
        let errors = &read.ends(4).errors;
        assert!(
            errors.contains("nothing but silence"),
            "{reference}: {errors}"
        );
    }
}

#[test]
fn lengths_that_cannot_be_are_repeated_as_they_were_written() {
    let folder = Folder::new();
    for (reference, range) in [
        ("passage:1e99", "between 2 s and 4 hours"),
        ("passage:-1", "between 2 s and 4 hours"),
        ("marks:1e99", "between 0.1 and 3600 s"),
        ("marks:1e-9", "between 0.1 and 3600 s"),
        ("tone:1e99", "between 100 and 20000 Hz"),
    ] {
        let refused = folder.run(&format!("read --reference {reference} a.wav"));
        refused.ends(2).says(&[range, &format!("\"{reference}\"")]);
        refused.never_says(&["0000000"]);
    }
}

#[test]
fn every_file_has_its_object_where_the_copy_cannot_be_used() {
    let folder = Folder::new();
    folder.write("a.wav", RATE, &[&piece()]);
    folder.write("b.wav", RATE, &[&piece()]);
    folder.write("short.wav", RATE, &[&piece()[..3 * RATE as usize]]);
    folder.write("silent.wav", RATE, &[&vec![0.0; 10 * RATE as usize]]);
    folder.with("notes.txt", "no recording\n");
    for (copy, status, says) in [
        ("short.wav", 4, "too short"),
        ("silent.wav", 4, "is silent"),
        ("notes.txt", 3, "text file"),
        ("nowhere.wav", 3, "no such file"),
    ] {
        let read = folder.read(&format!("--reference recording:{copy} a.wav b.wav"));
        let errors = &read.ends(status).errors;
        assert!(errors.contains(copy) && errors.contains(says), "{errors}");
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert_eq!(read.objects.len(), 2, "{copy}: {}", read.text);
        for (object, file) in read.objects.iter().zip(["a.wav", "b.wav"]) {
            assert_eq!(object["file"], file);
            assert_eq!(object["signal"]["usable"], false);
            assert_eq!(object["reference"]["kind"], "recording");
            assert!(object["speed"]["deviation_percent"].is_null());
            assert!(has(object, "reference_not_found"), "{object}");
            assert!(object["cautions"].to_string().contains(says), "{object}");
        }
    }
}
