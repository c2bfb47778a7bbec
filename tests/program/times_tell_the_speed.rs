//! A passage of known length and marks at a known spacing tell the speed:
//! files that an invented machine or another program played too fast or too
//! slow, measured by the real program.

use crate::support::folder::{Folder, Run, number};
use crate::support::timed_sounds::{Chance, Content, Fade, Machine, Marks, passage};
use serde_json::Value;

const RATE: u32 = 24_000;

fn codes(object: &Value) -> Vec<&str> {
    let cautions = object["cautions"].as_array().unwrap();
    cautions
        .iter()
        .map(|it| it["code"].as_str().unwrap())
        .collect()
}

/// The deviation and its ±.
fn speed(run: &Run) -> [f64; 2] {
    assert_eq!(run.status, Some(0), "{}", run.errors);
    let speed = &run.object["speed"];
    [&speed["deviation_percent"], &speed["uncertainty_percent"]].map(number)
}

fn machine(percent: f64) -> Machine {
    let mut machine = Machine::new(40.0);
    machine.rate_hz = f64::from(RATE);
    machine.speed = 1.0 + percent / 100.0;
    machine
}

/// A piece of music of 20 s, with silence before and after it.
fn played(machine: &Machine, seed: u64) -> Vec<f32> {
    let mut chance = Chance::new(seed);
    let tape = passage(Content::Music, 20.0, Fade::Cosine(0.02), &mut chance);
    machine.play(&tape, 1.5, 23.0 / machine.speed, &mut chance)
}

#[test]
fn a_passage_of_known_length_tells_the_speed() {
    let folder = Folder::new();
    for (percent, seed) in [(-8.0, 1), (0.0, 2), (3.0, 3)] {
        let sound = played(&machine(percent), seed);
        folder.write("a.wav", RATE, &[&sound]);
        let run = folder.read(&["--reference", "passage:20", "a.wav"]);
        let [deviation, limit] = speed(&run);
        assert!(
            (deviation - percent).abs() < limit,
            "{percent}: {deviation}"
        );
        // Twice what edges of 20 ms and the assumed wow leave in 20 s.
        assert!(limit < 0.2, "{limit}");
        let found = &run.object["passage"];
        let factor = 1.0 + percent / 100.0;
        assert!(
            (number(&found["start_s"]) - 1.5 / factor).abs() < 0.03,
            "{found}"
        );
        assert!(
            (number(&found["length_s"]) - 20.0 / factor).abs() < 0.03,
            "{found}"
        );
        assert!((number(&found["expected_s"]) - 20.0).abs() < 1e-9);
        assert_eq!(run.object["reference"]["kind"], "passage");
        // What a passage cannot tell is null, with a caution.
        for key in [
            "/reference/hz",
            "/speed/measured_hz",
            "/flutter/weighted_rms_percent",
        ] {
            assert!(run.object.pointer(key).unwrap().is_null(), "{key}");
        }
        assert!(codes(&run.object).contains(&"reference_gives_no_flutter"));
    }
}

#[test]
fn a_passage_on_both_channels_or_one_is_the_same() {
    let folder = Folder::new();
    let sound = played(&machine(1.0), 4);
    let silence = vec![0.0; sound.len()];
    for (channels, used) in [
        ([&sound[..], &sound[..]], "both"),
        ([&sound[..], &silence[..]], "left"),
        ([&silence[..], &sound[..]], "right"),
    ] {
        folder.write("a.wav", RATE, &channels);
        let run = folder.read(&["--reference", "passage:20", "a.wav"]);
        let [deviation, limit] = speed(&run);
        assert!((deviation - 1.0).abs() < limit, "{deviation}");
        assert_eq!(run.object["channel"], used);
    }
}

#[test]
fn what_is_known_of_clock_and_tape_is_taken_out() {
    let folder = Folder::new();
    folder.write("a.wav", RATE, &[&played(&machine(0.0), 5)]);
    let plain = speed(&folder.read(&["--reference", "passage:20", "a.wav"]));
    let said = [
        "--reference=passage:20",
        "--clock-error=1000",
        "--reference-error=-0.5",
        "--reference-uncertainty=0.1",
        "a.wav",
    ];
    let corrected = folder.read(&said);
    // A clock 1000 ppm fast counts too many seconds: the tape ran faster. A
    // tape that plays 0.5 % low on a true machine: faster again.
    let expected = ((1.0 + plain[0] / 100.0) * 1.001 / 0.995 - 1.0) * 100.0;
    assert!((speed(&corrected)[0] - expected).abs() < 1e-4);
    let with = &corrected.object["speed"]["uncertainty_with_reference_percent"];
    assert!(number(with) > 0.1);
    let length = |run: &Run| number(&run.object["passage"]["length_s"]);
    let run = folder.read(&["--reference", "passage:20", "a.wav"]);
    assert!((length(&run) / length(&corrected) - 1.001).abs() < 1e-6);
}

#[test]
fn a_passage_that_says_nothing_is_refused_with_the_reason() {
    let folder = Folder::new();
    let whole = played(&machine(0.0), 6);
    let at = |seconds: f64| (seconds * f64::from(RATE)) as usize;
    let mut chance = Chance::new(7);
    let mut noise = |seconds: f64| -> Vec<f32> {
        (0..at(seconds))
            .map(|_| 0.001 * chance.noise() as f32)
            .collect()
    };
    let silence = vec![0.0f32; at(5.0)];
    let hiss = noise(10.0);
    let late = [&noise(9.0)[..], &whole[..]].concat();
    let early = [&whole[..], &noise(9.0)[..]].concat();
    let mut slow = Chance::new(8);
    let fading = passage(Content::Speech, 20.0, Fade::Straight(4.0), &mut slow);
    let fading = machine(0.0).play(&fading, 1.5, 23.0, &mut slow);
    for (channels, reference, code, says) in [
        (
            vec![&silence[..]],
            "passage:20",
            "reference_not_found",
            "nothing but silence",
        ),
        (
            vec![&hiss[..]],
            "passage:20",
            "reference_not_found",
            "same from beginning to end",
        ),
        (
            vec![&whole[at(4.0)..]],
            "passage:20",
            "reference_cut_off",
            "may have begun before",
        ),
        (
            vec![&whole[..at(15.0)]],
            "passage:20",
            "reference_cut_off",
            "may not have ended",
        ),
        (
            vec![&whole[..]],
            "passage:30",
            "reference_mismatch",
            "+50 %",
        ),
        (
            vec![&whole[..]],
            "passage:10",
            "half_or_double_speed",
            "half speed",
        ),
        (
            vec![&early[..], &late[..]],
            "passage:20",
            "channels_disagree",
            "--channel",
        ),
        (
            vec![&fading[..]],
            "passage:20",
            "reference_not_found",
            "clean edges",
        ),
    ] {
        folder.write("a.wav", RATE, &channels);
        let run = folder.read(&["--reference", reference, "a.wav"]);
        assert_eq!(run.status, Some(4), "{says}: {}", run.object);
        assert!(run.object["speed"]["deviation_percent"].is_null(), "{says}");
        assert!(codes(&run.object).contains(&code), "{code}: {}", run.object);
        assert!(run.errors.contains(says), "{says}: {}", run.errors);
        assert_eq!(run.errors.lines().count(), 1);
    }
    // One of the two different things can be chosen.
    folder.write("a.wav", RATE, &[&early, &late]);
    for channel in ["left", "right"] {
        let run = folder.read(&["--reference=passage:20", "--channel", channel, "a.wav"]);
        let [deviation, limit] = speed(&run);
        assert!(deviation.abs() < limit, "{channel}: {deviation}");
    }
}

#[test]
fn marks_of_its_own_tell_the_speed_as_another_program_changes_it() {
    let folder = Folder::new();
    let made = folder.tapewright(&["tone", "--marks", "1", "--seconds", "62", "--rate", "24000"]);
    assert!(made.status.success(), "{made:?}");
    let told = String::from_utf8(made.stdout).unwrap();
    assert!(
        told.contains("marks-1s.wav: 61 marks, 1 s apart,"),
        "{told}"
    );
    let run = folder.read(&["--reference", "marks:1", "marks-1s.wav"]);
    let [deviation, limit] = speed(&run);
    assert!(
        deviation.abs() < 1e-4 && limit < 0.011,
        "{deviation} {limit}"
    );
    assert_eq!(run.object["marks"]["found"], 61);
    for factor in [0.78, 0.9, 1.0123, 1.2] {
        if !folder.sped_up_by_sox("marks-1s.wav", "fast.wav", factor, RATE) {
            return;
        }
        let run = folder.read(&["--reference", "marks:1", "fast.wav"]);
        let [deviation, _] = speed(&run);
        let expected = (factor - 1.0) * 100.0;
        assert!(
            (deviation - expected).abs() < 0.001,
            "{factor}: {deviation}"
        );
        let spacing = number(&run.object["marks"]["spacing_s"]);
        assert!((spacing * factor - 1.0).abs() < 1e-5, "{spacing}");
    }
}

#[test]
fn a_passage_is_as_fast_as_another_program_makes_it() {
    let folder = Folder::new();
    folder.write("right.wav", RATE, &[&played(&machine(0.0), 9)]);
    for factor in [0.93, 1.0005, 1.047] {
        if !folder.sped_up_by_sox("right.wav", "fast.wav", factor, RATE) {
            return;
        }
        let run = folder.read(&["--reference", "passage:20", "fast.wav"]);
        let [deviation, limit] = speed(&run);
        let expected = (factor - 1.0) * 100.0;
        assert!(
            (deviation - expected).abs() < limit,
            "{factor}: {deviation}"
        );
    }
}

fn marks(count: usize) -> Marks {
    Marks {
        spacing_s: 0.5,
        count,
        amplitude: 0.25,
        click: None,
        missing: Vec::new(),
        others: Vec::new(),
    }
}

fn played_marks(marks: &Marks, machine: &Machine, seconds: f64) -> Vec<f32> {
    machine.play_with(
        |place| marks.sample(place),
        seconds / machine.speed,
        &mut Chance::new(11),
    )
}

#[test]
fn missing_marks_and_other_clicks_do_no_harm() {
    let folder = Folder::new();
    let mut row = marks(61);
    row.missing = vec![3, 20, 21, 40];
    row.others = vec![7.3, 22.22];
    let mut machine = machine(-5.0).with_wow(0.1, &mut Chance::new(10));
    machine.snr_db = 20.0;
    folder.write("a.wav", RATE, &[&played_marks(&row, &machine, 31.5)]);
    let run = folder.read(&["--reference", "marks:0.5", "a.wav"]);
    let [deviation, limit] = speed(&run);
    assert!((deviation + 5.0).abs() < limit, "{deviation} {limit}");
    assert!(
        (deviation + 5.0).abs() < 0.01 && limit < 0.02,
        "{deviation} {limit}"
    );
    assert_eq!(run.object["marks"]["found"], 57);
    assert_eq!(run.object["marks"]["expected"], 61);
    assert!(codes(&run.object).contains(&"marks_missing"));
    let text = folder.tapewright(&["read", "--reference=marks:0.5", "--budget", "a.wav"]);
    let text = String::from_utf8(text.stdout).unwrap();
    assert!(text.contains("57 marks of 61 found"), "{text}");
    assert!(text.contains("wow and scatter"), "{text}");
}

#[test]
fn what_is_no_row_of_marks_is_refused() {
    let folder = Folder::new();
    let true_machine = machine(0.0);
    let one = played_marks(&marks(1), &true_machine, 3.0);
    let row = played_marks(&marks(41), &true_machine, 21.0);
    let other = played_marks(
        &Marks {
            spacing_s: 0.55,
            ..marks(37)
        },
        &true_machine,
        21.0,
    );
    let music = played(&true_machine, 12);
    let mut chance = Chance::new(13);
    let speech = passage(Content::Speech, 20.0, Fade::Abrupt, &mut chance);
    let speech = true_machine.play(&speech, 1.5, 23.0, &mut chance);
    let silence = vec![0.0f32; 3 * RATE as usize];
    for (channels, reference, says) in [
        (vec![&silence[..]], "marks:0.5", "nothing but silence"),
        (vec![&one[..]], "marks:0.5", "A single mark"),
        (vec![&music[..]], "marks:1", "No marks stand out"),
        (vec![&speech[..]], "marks:1", "no regular row"),
        // At double and at half speed, and 50 % too fast.
        (vec![&row[..]], "marks:1", "no regular row"),
        (vec![&row[..]], "marks:0.25", "no regular row"),
        (vec![&row[..]], "marks:0.75", "no regular row"),
        (
            vec![&row[..], &other[..]],
            "marks:0.5",
            "do not carry the same marks",
        ),
    ] {
        folder.write("a.wav", RATE, &channels);
        let run = folder.read(&["--reference", reference, "a.wav"]);
        assert_eq!(run.status, Some(4), "{says}: {}", run.object);
        assert!(run.object["speed"]["deviation_percent"].is_null());
        assert!(run.errors.contains(says), "{says}: {}", run.errors);
    }
}

#[test]
fn what_cannot_be_meant_is_a_usage_error() {
    let folder = Folder::new();
    folder.write("a.wav", RATE, &[&vec![0.0; 24_000]]);
    for (arguments, says) in [
        (
            &["read", "--reference", "passage:0", "a.wav"][..],
            "between 2 s and 4 hours",
        ),
        (
            &["read", "--reference", "passage:20000", "a.wav"],
            "between 2 s and 4 hours",
        ),
        (&["read", "--reference", "marks:abc", "a.wav"], "marks:1"),
        (
            &["read", "--sweep", "--reference", "marks:1", "a.wav"],
            "--sweep",
        ),
        (
            &["watch", "--rehearse", "--reference", "passage:200"],
            "the simulated machine plays a tone",
        ),
        (&["tone", "--marks", "0"], "between 0.1 and 3600"),
        (
            &["tone", "--marks", "2", "--seconds", "3"],
            "no room for two marks",
        ),
        (&["tone", "440", "--marks", "1"], "cannot be used with"),
    ] {
        let output = folder.tapewright(arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let errors = String::from_utf8(output.stderr).unwrap();
        assert!(errors.contains(says), "{arguments:?}: {errors}");
    }
}
